"""Many gardens in one folder: what the tables say, who wins, and that one grower's slip is one grower's."""

from pathlib import Path

import pytest

from haulm.errors import SettingsError
from haulm.settings.gardens import gardens_in, settings_of
from haulm.settings.load import Settings, load

COMMON = """
[weather]
file = "hill.csv"
[post]
folder = "letters"
[thresholds.planting]
soil_ready_spring = "50 F"
"""
PLACES = """place,name,latitude,longitude,elevation,zone,units
hill,Hillside plots,44.0,-90.0,900 ft,America/Chicago,us
low,Lower field,44.1,-90.2,850 ft,America/Chicago,metric
"""
GROWERS = """grower,place,name,address,thresholds.planting.soil_ready_spring,letter.at
ann,hill,The first grower,one@example.org,,
bob,low,The second grower,two@example.org,52 F,05:45
"""
CROP = "planting.maturity,planting.season,planting.window_first,planting.window_last"
BEDS = f"""grower,bed,length,width,texture,straw.since,straw.depth,{CROP}
ann,gatebed,8 ft,4 ft,sandy loam,2026-10-20,4 in,early,spring,2027-04-10,2027-06-05
ann,gatebed,,,,,,late,autumn,2027-08-20,2027-09-20
bob,long,4 m,1.2 m,loam,,,mid,spring,2027-04-10,2027-06-05
"""


def office(folder: Path, **tables: str) -> Path:
    for name, text in {"common": COMMON, "places": PLACES, "growers": GROWERS, "beds": BEDS, **tables}.items():
        (folder / f"{name}.{'toml' if name == 'common' else 'csv'}").write_text(text, encoding="utf-8")
    return folder


def settings(folder: Path, *keys: str) -> list[Settings | SettingsError]:
    return [one for _, one in gardens_in(folder, {}).settings(keys)]


def test_a_row_makes_what_a_settings_file_makes(tmp_path):
    """The same garden, written as a file and as rows, is the same to the field."""
    (found,) = settings(office(tmp_path), "ann")
    (tmp_path / "alone.toml").write_text(
        f"""version = 1
        {COMMON}
        [place]
        key = "ann"
        name = "Hillside plots"
        latitude = 44.0
        longitude = -90.0
        elevation = "900 ft"
        zone = "America/Chicago"
        units = "us"
        [beds.gatebed]
        length = "8 ft"
        width = "4 ft"
        texture = "sandy loam"
        straw = [{{ since = 2026-10-20, depth = "4 in" }}]
        [plantings.gatebed-2027-04-10]
        bed = "gatebed"
        maturity = "early"
        season = "spring"
        window_first = 2027-04-10
        window_last = 2027-06-05
        [plantings.gatebed-2027-08-20]
        bed = "gatebed"
        maturity = "late"
        season = "autumn"
        window_first = 2027-08-20
        window_last = 2027-09-20
        [recipients.grower]
        name = "The first grower"
        address = "one@example.org"
        """,
        encoding="utf-8",
    )
    alone = load(tmp_path / "alone.toml")
    assert isinstance(found, Settings)
    assert found.garden == alone.garden
    assert (found.thresholds, found.weather, found.letter, found.post) == (
        alone.thresholds, alone.weather, alone.letter, alone.post,
    )  # fmt: skip


def test_the_nearer_one_wins(tmp_path):
    ann, bob = settings(office(tmp_path), "ann", "bob")
    assert ann.thresholds.planting.soil_ready_spring_c == pytest.approx(10.0)
    assert bob.thresholds.planting.soil_ready_spring_c == pytest.approx(100 / 9)
    assert f"{bob.letter.at:%H:%M}" == "05:45"


def test_the_environment_speaks_for_what_all_share_and_a_row_against_it(tmp_path):
    many = gardens_in(office(tmp_path), {"HAULM_THRESHOLDS__PLANTING__SOIL_READY_SPRING": "54 F"})
    (_, ann), (_, bob) = many.settings(["ann", "bob"])
    assert ann.thresholds.planting.soil_ready_spring_c == pytest.approx(110 / 9)
    assert bob.thresholds.planting.soil_ready_spring_c == pytest.approx(100 / 9)


def test_gardens_of_one_place_come_together(tmp_path):
    growers = GROWERS + "cid,hill,The third grower,three@example.org,,\n"
    beds = BEDS + "cid,one,2 m,1 m,loam,,,early,spring,2027-04-10,2027-06-05\n"
    many = gardens_in(office(tmp_path, growers=growers, beds=beds), {})
    assert list(many.groups()) == [("ann", "cid"), ("bob",)]
    assert len(many) == 3


def test_settings_files_lie_beside_tables(tmp_path):
    folder = office(tmp_path)
    text = (Path(__file__).parents[2] / "config" / "haulm.toml").read_text(encoding="utf-8")
    (folder / "brackenford.toml").write_text(text, encoding="utf-8")
    many = gardens_in(folder, {})
    assert list(many.groups()) == [("brackenford",), ("ann",), ("bob",)]
    ((_, found),) = many.settings(["brackenford"])
    assert found.garden.place.name == "Brackenford"


def test_one_slip_holds_up_nobody_else(tmp_path):
    """A slip is told with its table, line and column; the other grower's settings are there."""
    ann, bob = settings(office(tmp_path, beds=BEDS.replace("sandy loam", "sandy lom")), "ann", "bob")
    assert isinstance(bob, Settings)
    assert "beds.csv, line 2, texture: must be" in str(ann)
    assert 'Did you mean "sandy loam"?' in str(ann)
    assert "growers.csv, line 2, ann" in str(ann)


@pytest.mark.parametrize(
    ("tables", "told"),
    [
        ({"growers": GROWERS.replace("ann,hill", "ann,hil")}, 'line 2: the place "hil" of ann is not in places.csv.'),
        ({"growers": GROWERS.replace("ann,hill", ",hill")}, "line 2: this row has no grower"),
        ({"growers": GROWERS.replace("bob,low", "ann,low")}, "line 3: the grower ann stands here a second time"),
        ({"beds": BEDS.replace("bob,long", "bop,long")}, 'line 4: the grower "bop" of this bed is not in growers.csv.'),
    ],
)
def test_rows_that_belong_to_nobody_are_told(tmp_path, tables, told):
    many = gardens_in(office(tmp_path, **tables), {})
    assert any(told in fault for fault in many.faults), many.faults


@pytest.mark.parametrize(
    ("tables", "told"),
    [
        ({"growers": GROWERS.replace("letter.at", "letter.hour")}, "growers.csv, column letter.hour: no value has"),
        ({"growers": GROWERS.replace(",letter.at", ",beds.gatebed.length")}, "column beds.gatebed.length: no value"),
        ({"growers": GROWERS.replace("letter.at", "post.mail.password")}, "a secret does not belong in a table"),
        ({"beds": BEDS.replace("bob,long", "bob,")}, "line 4, bed: this row names no bed"),
        ({"beds": BEDS.replace("bob,long", "bob,Long Bed")}, "a key is written in small letters"),
        ({"growers": GROWERS.replace("two@example.org", "two")}, "growers.csv, line 3, address: is not one mail"),
        ({"common": COMMON.replace("50 F", "50 K")}, "common.toml, line 7, thresholds.planting.soil_ready_spring"),
        ({"common": COMMON + '[post.mail]\nhost = "mail.example.org"\n'}, "common.toml, line 8, post.mail.sender: is"),
    ],
)
def test_a_faulty_garden_says_where(tmp_path, tables, told):
    (bob,) = settings(office(tmp_path, **tables), "bob")
    if isinstance(bob, Settings):  # a value that only the other grower's row would set
        (bob,) = settings(office(tmp_path, **tables), "ann")
    assert told in str(bob)


@pytest.mark.parametrize(
    ("tables", "told"),
    [
        ({"growers": ""}, "the first line must name the columns"),
        ({"growers": GROWERS.replace("name,address", "name,name")}, 'two columns are called "name"'),
        ({"growers": GROWERS.replace("two@example.org", '"two@example.org')}, "line 3, a quote is opened"),
        ({"beds": BEDS + "ann,x,1 m,1 m,loam,,,,,,,,,surplus\n"}, "line 5, this row has 14 cells"),
        ({"beds": BEDS + "ann," + "x" * 30_000 + "\n"}, "line 5, this row is longer than 20,000 bytes"),
    ],
)
def test_what_is_no_table_is_refused_with_its_line(tmp_path, tables, told):
    with pytest.raises(SettingsError, match=told.replace(".", r"\.")):
        gardens_in(office(tmp_path, **tables), {})


def test_spreadsheets_write_semicolons_and_a_mark_of_bytes(tmp_path):
    folder = office(tmp_path, growers="\ufeff" + GROWERS.replace(",", ";"))
    (ann,) = settings(folder, "ann")
    assert isinstance(ann, Settings)


def test_latin_letters_of_an_old_spreadsheet_are_refused(tmp_path):
    folder = office(tmp_path)
    (folder / "growers.csv").write_bytes(GROWERS.replace("first", "f\u00fcrst").encode("latin-1"))
    with pytest.raises(SettingsError, match="saved as Latin-1"):
        gardens_in(folder, {})


def test_a_folder_without_gardens_and_no_folder(tmp_path):
    with pytest.raises(SettingsError, match="no garden in this folder"):
        gardens_in(tmp_path, {})
    with pytest.raises(SettingsError, match="no such folder"):
        gardens_in(tmp_path / "nowhere", {})


def test_a_key_that_nobody_has(tmp_path):
    (found,) = settings(office(tmp_path), "zoe")
    assert 'no garden has the key "zoe"' in str(found)


def test_what_is_written_alike_is_one_and_the_same(tmp_path):
    """So that many gardens take little room, and their sameness is seen at once; a number is no yes or no."""
    folder = office(tmp_path)
    ann, bob = settings(folder, "ann", "bob")
    assert ann.post is bob.post
    assert ann.thresholds is not bob.thresholds
    (folder / "common.toml").write_text(COMMON + "[backups]\ndays = 1\n", encoding="utf-8")
    rows = GROWERS.replace(",letter.at", ",letter.at,letter.evening").replace(",,\n", ",,,true\n")
    (folder / "growers.csv").write_text(rows.replace("05:45\n", "05:45,1\n"), encoding="utf-8")
    good, bad = settings(folder, "ann", "bob")
    assert isinstance(good, Settings)
    assert isinstance(bad, SettingsError)


def test_one_table_of_growers_is_enough(tmp_path):
    """An allotment: one place for all, a row a bed, the grower's name and address in each grower's first."""
    place = 'name = "Plots"\nlatitude = 44.0\nlongitude = -90.0\nelevation = "900 ft"\nzone = "America/Chicago"\n'
    (tmp_path / "common.toml").write_text("[place]\n" + place + COMMON, encoding="utf-8")
    (tmp_path / "growers.csv").write_text(
        f"grower,name,address,bed,length,width,straw.since,straw.depth,{CROP}\n"
        "ann,The first grower,one@example.org,gatebed,8 ft,4 ft,2026-10-20,4 in,early,spring,2027-04-10,2027-06-05\n"
        "ann,,,long,4 m,1 m,,,late,spring,2027-04-20,2027-06-05\n"
        "bob,The second grower,two@example.org,gatebed,3 m,1 m,,,mid,spring,2027-04-10,2027-06-05\n",
        encoding="utf-8",
    )
    many = gardens_in(tmp_path, {})
    assert many.faults == ()
    assert list(many.groups()) == [("ann", "bob")]
    ann, bob = (found for _, found in many.settings(("ann", "bob")))
    assert [bed.key for bed in ann.garden.beds] == ["gatebed", "long"]
    assert (ann.garden.beds[0].straw[0].depth_m, len(ann.garden.plantings)) == (pytest.approx(0.1016), 2)
    assert [one.address for one in ann.garden.recipients] == ["one@example.org"]
    assert ann.garden.place == bob.garden.place
    rows = (tmp_path / "growers.csv").read_text().replace("3 m,", "3 miles,")
    (tmp_path / "growers.csv").write_text(rows)
    (_, fault) = next(gardens_in(tmp_path, {}).settings(("bob",)))
    assert "growers.csv, line 4, length" in str(fault)


def test_one_garden_of_the_tables_is_named_by_its_folder_and_key(tmp_path):
    folder = office(tmp_path)
    ann = settings_of(folder / "ann", {})
    assert [ann] == settings(folder, "ann")
    changed = settings_of(folder / "ann", {}, {"thresholds.planting.soil_ready_spring": "12 C"})
    assert changed.thresholds.planting.soil_ready_spring_c == 12.0
    with pytest.raises(SettingsError, match="at all") as refused:
        settings_of(folder / "ann", {}, {"thresholds.planting.soil_ready_spring": "at all"})
    assert "changed value of thresholds.planting.soil_ready_spring" in str(refused.value)
    with pytest.raises(SettingsError, match='Did you mean "ann"'):
        settings_of(folder / "anne", {})
    with pytest.raises(SettingsError, match="there is no such file"):
        settings_of(folder / "haulm.toml", {})
