"""Notes as growers write them: which planting, how much, what is refused and why, the list and taking back."""

import json
import shutil
import tomllib
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haulm.cli import main
from haulm.errors import HaulmError, JournalError, UnitError
from haulm.garden import (
    Bed,
    Cause,
    Entry,
    Garden,
    Habit,
    Journal,
    Maturity,
    Place,
    Planting,
    Season,
    Straw,
    What,
)
from haulm.jobs.note_season import short_ids
from haulm.jobs.note_words import find_spot, read_amount, read_what
from haulm.jobs.notes import list_notes, note, withdraw
from haulm.jobs.state_folder import StateFolder
from haulm.store.journal_file import append_entry, read_journal
from haulm.store.lock import lock
from haulm.units import Display

SAMPLE = Path(__file__).parents[2] / "config" / "haulm.toml"
NOON = datetime(2027, 12, 1, 12, tzinfo=UTC)
Noter = Callable[..., str]

GATEBED = Bed("gatebed", "Gatebed", 2.5, 1.2, "loam", 0.3, (Straw(date(2026, 10, 20), 0.10),))
SOUTHBED = Bed("southbed", "Southbed", 2.4384, 1.2192, "sandy loam", 0.3)  # 8 by 4 ft
PLACE = Place("Brackenford", 44.0, -90.0, 270.0, "America/Chicago", Display.METRIC, 1.5)


def crop(key: str, bed: str, name: str, season: Season, first: date, last: date) -> Planting:
    return Planting(key, bed, name, Maturity.EARLY, Habit.DETERMINATE, season, 0.3, 0.0, first, last)


EARLY = crop("gate-early", "gatebed", "Gate early", Season.SPRING, date(2027, 4, 10), date(2027, 6, 5))
SPRING = crop("south-spring", "southbed", "Spring crop", Season.SPRING, date(2027, 1, 20), date(2027, 3, 5))
AUTUMN = crop("south-autumn", "southbed", "Autumn crop", Season.AUTUMN, date(2027, 8, 20), date(2027, 10, 5))


@pytest.fixture
def garden() -> Garden:
    return Garden("brackenford", PLACE, (GATEBED, SOUTHBED), (EARLY, SPRING, AUTUMN))


@pytest.fixture
def us(garden: Garden) -> Garden:
    return replace(garden, place=replace(PLACE, display=Display.US))


@pytest.fixture
def state(tmp_path: Path) -> StateFolder:
    return StateFolder(tmp_path / "state")


@pytest.fixture
def put(garden: Garden, state: StateFolder) -> Noter:
    """Note something at noon of a winter's day, about the day given as month and day."""

    def noter(bed: str, words: str, month: int = 12, day: int = 1, **more: str) -> str:
        return note(garden, state, bed, words, now=NOON, day=date(2027, month, day), **more)

    return noter


@pytest.fixture
def entries(garden: Garden, state: StateFolder) -> Callable[[], tuple[Entry, ...]]:
    return lambda: read_journal(state.journal(garden))[0].entries


@pytest.fixture
def cli(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str]]:
    shutil.copy(SAMPLE, tmp_path / "haulm.toml")

    def run(*words: str) -> tuple[int, str]:
        code = main([*words, "--settings", str(tmp_path / "haulm.toml"), "--state", str(tmp_path / "state")])
        printed = capsys.readouterr()
        return code, printed.out + printed.err

    return run


# Beds and plantings


@pytest.mark.parametrize(
    ("words", "bed", "planting"),
    [
        ("gatebed", "gatebed", None),
        ("GateBed", "gatebed", None),
        ("gate-early", "gatebed", "gate-early"),
        ("Gate Early", "gatebed", "gate-early"),
        ("gate e", "gatebed", "gate-early"),
        ("autumn", "southbed", "south-autumn"),
        ("gate", "gatebed", None),  # the bed and a planting of it: the bed, the day tells the rest
        ("south", "southbed", None),
    ],
)
def test_a_bed_is_named_by_key_name_or_beginning(garden: Garden, words: str, bed: str, planting: str | None) -> None:
    spot = find_spot(garden, words)
    assert spot.bed.key == bed
    assert (spot.planting.key if spot.planting else None) == planting


def test_a_wrong_bed_is_told_the_nearest_and_all(garden: Garden) -> None:
    with pytest.raises(JournalError) as raised:
        find_spot(garden, "gatbed")
    assert 'Did you mean "gatebed"?' in raised.value.remedy
    assert "south-autumn (Autumn crop)" in raised.value.remedy


@pytest.mark.parametrize("words", ["", "  ", "zzz"])
def test_words_like_nothing_offer_only_the_list(garden: Garden, words: str) -> None:
    with pytest.raises(JournalError) as raised:
        find_spot(garden, words)
    assert raised.value.remedy.startswith("There is: gatebed (Gatebed)")


def test_a_beginning_of_two_beds_or_two_plantings_is_not_taken(garden: Garden) -> None:
    wider = replace(garden, beds=(*garden.beds, replace(GATEBED, key="gateway", name="Gateway")))
    with pytest.raises(JournalError, match="several") as raised:
        find_spot(wider, "gate")
    assert "gatebed (Gatebed), gateway (Gateway)" in raised.value.remedy
    second = replace(EARLY, key="gate-late", name="Plot late")
    with pytest.raises(JournalError, match="several") as raised:
        find_spot(
            replace(
                garden,
                beds=(replace(GATEBED, name="Plot", key="plot"),),
                plantings=tuple(replace(one, bed="plot", name=one.key) for one in (EARLY, second)),
            ),
            "gate",
        )
    assert raised.value.remedy == "Name one of: gate-early, gate-late."


# The words


@pytest.mark.parametrize("what", list(What))
def test_every_kind_is_known_by_its_own_name(what: What) -> None:
    assert read_what(what.value) == (what, "")
    assert read_what(what.value.upper().replace(" ", "-")) == (what, "")


@pytest.mark.parametrize(
    ("words", "what", "rest"),
    [
        ("shoots", What.SHOOTS_OUT, ""),
        ("emerged", What.SHOOTS_OUT, ""),
        ("straw 4 in", What.STRAW_LAID, "4 in"),
        ("straw laid to 4 in", What.STRAW_LAID, "4 in"),
        ("straw off", What.STRAW_RAKED, ""),
        ("straw off: 2 cm", What.STRAW_RAKED, "2 cm"),
        ("water 2 x 10 L", What.WATERED, "2 x 10 L"),
        ("soil temp 48F", What.SOIL_READ, "48F"),
        ("soil at 48F", What.SOIL_READ, "48F"),
        ("store 5 C", What.STORE_READ, "5 C"),
        ("night minimum -2C", What.NIGHT_READ, "-2C"),
        ("chitting", What.CHITTING_BEGUN, ""),
        ("planted gate early", What.PLANTED, "gate early"),
    ],
)
def test_everyday_words_and_the_amount_behind_them(words: str, what: What, rest: str) -> None:
    assert read_what(words) == (what, rest)


@pytest.mark.parametrize(("words", "nearest"), [("wartered 3 gal", "watered"), ("plantd", "planted"), ("tops", "tops")])
def test_unclear_words_are_told_the_nearest_and_all(words: str, nearest: str) -> None:
    with pytest.raises(JournalError, match="not clear") as raised:
        read_what(words)
    assert f'Did you mean "{nearest}' in raised.value.remedy
    assert "standing water, lifted, into store" in raised.value.remedy


def test_no_words_at_all(put: Noter) -> None:
    with pytest.raises(JournalError, match="does not say what"):
        put("gatebed", "")


# Amounts


@pytest.mark.parametrize(
    ("words", "value"),
    [
        ("watered 0.5in", 12.7),
        ("watered 12 mm", 12.0),
        ("watered 30 l", 10.0),  # on 3 m²
        ("watered 2 x 15 l", 10.0),
        ("watered 3 gal", 3 * 3.785411784 / 3.0),
        ("watered 100 mm", 100.0),
        ("rain 0 mm", 0.0),
        ("rain 0.3in", 7.62),
        ("straw 4 in", 0.1016),
        ("straw 1 m", 1.0),
        ("raked off", 0.0),
        ("raked off to 3 cm", 0.03),
        ("soil 48F", 16 / 1.8),
        ("soil 122F", 50.0),
        ("night minimum -2,5 C", -2.5),
        ("night minimum - 2 C", -2.0),
        ("store 4 C", 4.0),
    ],
)
def test_amounts_become_house_values(
    put: Noter, entries: Callable[[], tuple[Entry, ...]], words: str, value: float
) -> None:
    put("gatebed", words)
    assert entries()[0].value == pytest.approx(value)
    assert entries()[0].written == read_what(words)[1]


def test_three_gallons_on_eight_by_four_feet(us: Garden, state: StateFolder) -> None:
    # R4: 1 in on 4 x 8 ft is 19.948 gal, so that many gallons read as one inch.
    told = note(us, state, "southbed", "watered 19.948 gal", now=NOON)
    assert "Noted for Southbed on Wed 1 December: watered 19.948 gal, which is 1 in on its 32 sq ft." in told
    assert read_journal(state.journal(us))[0].entries[0].value == pytest.approx(25.4, abs=0.002)


def test_litres_are_told_as_mm(put: Noter) -> None:
    assert "watered 2 x 10 l, which is 6.7 mm on its 3 m²." in put("gatebed", "watered 2 x 10 l")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("watered", "needs an amount"),
        ("soil temperature", "needs an amount"),
        ("straw laid", "needs an amount"),
        ("planted 5 kg", 'takes no amount, but "5 kg"'),
        ("shoots out 3 cm", "takes no amount"),
        ("watered -5 mm", "less than nothing"),
        ("watered 0 mm", "next to nothing"),
        ("rain -1 mm", "less than nothing"),
        ("straw 0 cm", "next to nothing"),
        ("watered 300 mm", "reads as 300 mm on Gatebed; more than 100 mm in one go"),
        ("watered 900 l", "reads as 300 mm on Gatebed; more than 100 mm"),
        ("watered 100.1 mm", "more than 100 mm"),
        ("soil 200F", "reads as 93.3 °C"),
        ("soil 50.1 C", "between −20 °C and 50 °C"),
        ("straw 1.01 m", "between"),
        ("straw 5 ft", "between"),
        ("night -51 C", "between"),
        ("store 46 C", "between"),
    ],
)
def test_amounts_that_cannot_be(put: Noter, state: StateFolder, garden: Garden, words: str, said: str) -> None:
    with pytest.raises(JournalError) as raised:
        put("gatebed", words)
    assert said in str(raised.value)
    assert raised.value.remedy
    assert not state.journal(garden).exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("watered 5", "has no unit"),
        ("watered lots", "not an amount"),
        ("watered 5 kg", "is a weight"),
        ("rain 3 gal", "is a volume"),
        ("soil 5 cm", "where a temperature is wanted"),
        ("watered " + "9" * 400 + " mm", "not an amount"),
    ],
)
def test_amounts_that_cannot_be_read(put: Noter, words: str, said: str) -> None:
    with pytest.raises(UnitError, match=said) as raised:
        put("gatebed", words)
    assert raised.value.where


def test_a_weight_is_judged_by_the_bed(put: Noter) -> None:
    put("gatebed", "planted", 4, 12)
    assert "lifted 60 kg" in put("gatebed", "lifted 60 kg", 8, 1)  # 20 kg/m² on 3 m²
    with pytest.raises(JournalError, match=r"reads as 60\.1 kg"):
        put("gatebed", "lifted 60.1 kg", 8, 2)


def test_a_question_about_much_water_says_how_to_answer(us: Garden, state: StateFolder) -> None:
    with pytest.raises(JournalError, match=r"reads as 12 in on Gatebed; more than 3\.9 in") as raised:
        note(us, state, "gatebed", "watered 12 in", now=NOON)
    assert "two entries" in raised.value.remedy


@given(mm=st.floats(0.1, 99.0), display=st.sampled_from(Display))
def test_any_depth_written_as_inches_litres_or_gallons_reads_alike(mm: float, display: Display) -> None:
    written = [f"{mm:.6f} mm", f"{mm / 25.4:.8f} in", f"{mm * 3.0:.6f} l", f"{mm * 3.0 / 3.785411784:.8f} gal"]
    for text in written:
        assert read_amount(What.WATERED, text, GATEBED, display).value == pytest.approx(mm, rel=1e-4)


# Days


def test_days_that_are_taken_and_refused(garden: Garden, state: StateFolder) -> None:
    def on(day: date) -> str:
        return note(garden, state, "gatebed", "watered 5 mm", now=NOON, day=day)

    today = NOON.date()
    assert "on Wed 1 December:" in on(today)
    assert "on Tue 27 October 2026:" in on(today - timedelta(days=400))
    with pytest.raises(JournalError, match="Thu 2 December 2027 is still to come"):
        on(today + timedelta(days=1))
    with pytest.raises(JournalError, match="more than 400 days ago"):
        on(today - timedelta(days=401))


def test_today_is_the_gardens_own_day(garden: Garden, state: StateFolder) -> None:
    late = datetime(2027, 6, 2, 3, 0, tzinfo=UTC)  # ten in the evening before, at the garden
    assert "on Tue 1 June:" in note(garden, state, "gatebed", "watered 5 mm", now=late)


# Which planting


def test_what_lies_on_a_bed_goes_with_what_grows_there(put: Noter, entries: Callable[[], tuple[Entry, ...]]) -> None:
    put("gatebed", "straw off", 4, 1)
    put("gate-early", "watered 5 mm", 4, 2)
    put("gatebed", "planted", 4, 12)
    put("gatebed", "watered 5 mm", 4, 12)
    put("gatebed", "lifted", 8, 20)
    put("gatebed", "rain 3 mm", 8, 20)
    assert [entry.planting for entry in entries()] == ["", "", "gate-early", "gate-early", "gate-early", ""]


@pytest.mark.parametrize(
    ("month", "day", "key"),
    [(1, 5, "south-spring"), (2, 8, "south-spring"), (7, 20, "south-autumn"), (9, 1, "south-autumn")],
)
def test_planting_goes_to_the_nearest_window(
    put: Noter, entries: Callable[[], tuple[Entry, ...]], month: int, day: int, key: str
) -> None:
    put("southbed", "planted", month, day)
    assert entries()[0].planting == key


def test_two_seasons_of_one_bed(put: Noter, entries: Callable[[], tuple[Entry, ...]]) -> None:
    year = (
        ("seed bought", 1, 2, "south-spring"),
        ("planted", 2, 8, "south-spring"),
        ("seed bought", 3, 1, "south-autumn"),  # the spring crop is in the ground
        ("shoots", 3, 4, "south-spring"),
        ("lifted", 6, 10, "south-spring"),
        ("into store", 6, 12, "south-spring"),
        ("store 60F", 7, 1, "south-spring"),
        ("chitting", 8, 1, "south-autumn"),
        ("planted", 9, 12, "south-autumn"),
        ("tops dead", 12, 1, "south-autumn"),
    )
    for words, month, day, _ in year:
        put("southbed", words, month, day)
    assert [entry.planting for entry in entries()] == [key for *_, key in year]


def test_several_plantings_that_fit_are_listed_with_how_to_name_one(put: Noter) -> None:
    put("south-spring", "seed bought", 1, 2)  # never planted
    with pytest.raises(JournalError, match="several plantings of Southbed: Spring crop and Autumn crop") as raised:
        put("southbed", "chitting", 8, 10)
    assert 'haulm note south-spring "chitting begun", or haulm note south-autumn' in raised.value.remedy
    put("south-autumn", "chitting", 8, 10)


def test_a_store_that_holds_two_crops_is_noted_for_the_bed(
    put: Noter, entries: Callable[[], tuple[Entry, ...]]
) -> None:
    for words, month, day in (("planted", 2, 8), ("lifted", 6, 1), ("planted", 9, 1), ("lifted", 11, 20)):
        put("southbed", words, month, day)
    put("southbed", "store 5 C")
    assert entries()[-1].planting == ""
    with pytest.raises(JournalError, match="several"):
        put("southbed", "sprouting")
    put("south-spring", "finished", 11, 19)
    put("southbed", "store 6 C")
    assert [entry.planting for entry in entries()[-2:]] == ["south-spring", "south-autumn"]
    put("southbed", "finished")
    assert entries()[-1].planting == "south-autumn"
    with pytest.raises(JournalError, match="no planting of Southbed is at that point"):
        put("southbed", "finished")


def test_seed_that_sprouts_is_the_seed_at_hand(put: Noter, entries: Callable[[], tuple[Entry, ...]]) -> None:
    put("gatebed", "sprouting", 3, 1)
    put("gatebed", "sprouting", 3, 2)
    assert {entry.planting for entry in entries()} == {"gate-early"}


def test_a_bed_without_plantings_takes_bed_matters_only(garden: Garden, state: StateFolder) -> None:
    bare = replace(garden, plantings=())
    note(bare, state, "gatebed", "watered 5 mm", now=NOON)
    with pytest.raises(JournalError, match="has no planting in the settings"):
        note(bare, state, "gatebed", "planted", now=NOON)


# What stands in the way


def test_the_order_of_a_season_is_kept(put: Noter) -> None:
    put("gatebed", "planted", 4, 12)
    in_the_way = r"shoots out on Thu 1 April would come before planted.*Mon 12 April"
    with pytest.raises(JournalError, match=in_the_way) as raised:
        put("gatebed", "shoots", 4, 1)
    assert "haulm notes --withdraw" in raised.value.remedy
    put("gatebed", "shoots", 5, 5)
    with pytest.raises(JournalError, match="tops dead on Tue 4 May would come before shoots out"):
        put("gatebed", "tops dead", 5, 4)
    put("gatebed", "tops dead", 8, 20)
    with pytest.raises(JournalError, match=r"dying back on Sat 21 August would come after tops dead"):
        put("gatebed", "dying back", 8, 21)
    put("gatebed", "dying back", 8, 1)  # noted late, in its place
    put("gatebed", "chitting", 3, 1)
    put("gatebed", "lifted", 8, 20)


@pytest.mark.parametrize("words", ["shoots", "dying back", "tops cut", "lifted 5 kg", "into store"])
@pytest.mark.parametrize("bed", ["gatebed", "gate-early"])
def test_nothing_grows_that_was_not_planted(put: Noter, bed: str, words: str) -> None:
    with pytest.raises(JournalError, match="noted as planted") as raised:
        put(bed, words)
    assert "haulm note gate-early planted --on" in raised.value.remedy


def test_one_bed_holds_one_crop_at_a_time(put: Noter) -> None:
    put("south-spring", "planted", 2, 8)
    with pytest.raises(JournalError, match=r"Spring crop grows in Southbed.* on Mon 8 February") as raised:
        put("south-autumn", "planted", 9, 1)
    assert "haulm note south-spring lifted" in raised.value.remedy
    put("south-spring", "lifted", 9, 1)
    put("south-autumn", "planted", 9, 1)


def test_an_earlier_crop_can_be_noted_after_a_later_one(put: Noter) -> None:
    put("south-autumn", "planted", 9, 1)
    told = put("south-spring", "planted", 2, 8)
    assert "Autumn crop follows in that bed on Wed 1 September: note when this one was lifted." in told


@pytest.mark.parametrize("day", [12, 13])
def test_a_dated_event_is_noted_once(put: Noter, day: int) -> None:
    put("gatebed", "planted", 4, 12)
    with pytest.raises(JournalError, match="planted is already noted for Gate early on Mon 12 April"):
        put("gatebed", "planted", 4, day)


def test_last_years_planting_is_not_planted_again(garden: Garden, state: StateFolder, put: Noter) -> None:
    put("gatebed", "planted", 4, 12)
    with pytest.raises(JournalError, match="already noted") as raised:
        put("gatebed", "planted", 10, 9)  # 180 days on
    assert "new season" not in raised.value.remedy
    with pytest.raises(JournalError, match="already noted") as raised:
        put("gatebed", "planted", 10, 10)
    assert raised.value.remedy.startswith("A new season needs a planting of its own in the settings.")


def test_the_other_planting_is_offered_where_there_is_one(put: Noter) -> None:
    put("southbed", "planted", 2, 8)
    with pytest.raises(JournalError, match="already noted for Spring crop") as raised:
        put("south-spring", "planted", 2, 9)
    assert raised.value.remedy.endswith("haulm note south-autumn planted")


def test_two_waterings_of_a_day_are_real_and_told(put: Noter, entries: Callable[[], tuple[Entry, ...]]) -> None:
    assert "on top" not in put("gatebed", "watered 5 mm")
    assert "on top of 5 mm noted for that day already: 10 mm in all" in put("gatebed", "watered 5 mm")
    assert len(entries()) == 2


def test_a_reading_twice_is_refused_but_another_value_or_day_is_not(put: Noter) -> None:
    put("gatebed", "rain 3 mm")
    with pytest.raises(JournalError, match="rain is already noted for this bed on Wed 1 December"):
        put("gatebed", "rain 0.3 cm")
    assert "7 mm in all" in put("gatebed", "rain 4 mm")
    put("gatebed", "rain 3 mm", 11, 30)
    put("southbed", "rain 3 mm")
    put("gatebed", "standing water")
    with pytest.raises(JournalError, match="already noted"):
        put("gatebed", "standing water")


def test_a_crop_is_lifted_in_parts(put: Noter) -> None:
    put("gatebed", "planted", 4, 12)
    assert "further part" not in put("gatebed", "lifted 5 kg", 8, 20)
    assert "on Fri 20 August too; this counts as a further part" in put("gatebed", "lifted 3 kg", 8, 22)
    with pytest.raises(JournalError, match="already noted"):
        put("gatebed", "lifted 3 kg", 8, 22)


def test_why_the_tops_go_down_may_look_different_later(put: Noter, entries: Callable[[], tuple[Entry, ...]]) -> None:
    put("gatebed", "planted", 4, 12)
    assert "cause unknown. When you know why" in put("gatebed", "dying back", 8, 1)
    put("gatebed", "dying back", 8, 2, cause="Frost")
    with pytest.raises(JournalError, match="dying back, cause frost, is already noted"):
        put("gatebed", "dying back", 8, 3, cause="frost")
    put("gatebed", "dying back", 8, 3, cause="age")
    assert [entry.cause for entry in entries()[1:]] == [Cause.UNKNOWN, Cause.FROST, Cause.AGE]


@pytest.mark.parametrize(
    ("words", "cause", "said"), [("planted", "age", "takes no cause"), ("dying back", "ag", 'Did you mean "age"')]
)
def test_causes_that_do_not_fit(put: Noter, words: str, cause: str, said: str) -> None:
    with pytest.raises(JournalError) as raised:
        put("gatebed", words, cause=cause)
    assert said in str(raised.value)


def test_straw_that_does_not_follow_from_what_lay_there_is_told(put: Noter) -> None:
    assert "10 cm lay there: the amount is the whole depth" in put("gatebed", "straw 6 cm", 4, 12)
    assert "lay there" not in put("gatebed", "straw 20 cm", 5, 20)
    assert "lay there" not in put("gatebed", "straw off to 5 cm", 6, 1)
    assert "5 cm lay there" in put("gatebed", "straw off to 8 cm", 6, 2)
    assert "no straw lay there" in put("southbed", "straw off to 8 cm", 6, 2)
    assert "straw raked off to the bare soil." in put("gatebed", "straw off", 6, 3)


def test_planting_outside_the_window_is_told(put: Noter) -> None:
    assert "outside its window, Sat 10 April to Sat 5 June." in put("gatebed", "planted", 4, 9)
    assert "window" not in put("southbed", "planted", 3, 5)


# The file, the list, taking back


def test_a_note_does_not_wait_for_a_morning(garden: Garden, state: StateFolder, put: Noter) -> None:
    with lock(state.lock(garden), NOON):
        assert put("gatebed", "watered 5 mm").startswith("Noted for Gatebed")


def test_taking_back_and_noting_anew(garden: Garden, state: StateFolder, put: Noter) -> None:
    short = put("gatebed", "planted", 4, 12).split()[-1]
    put("gatebed", "shoots", 5, 5)
    told = withdraw(garden, state, short, NOON)
    assert told.startswith("Withdrawn: Gate early, Mon 12 April: planted.")
    assert "Still noted without it: shoots out." in told
    put("gatebed", "planted", 4, 14)
    assert len(read_journal(state.journal(garden))[0].entries) == 4


def test_ids_that_cannot_be_taken_back(
    garden: Garden, state: StateFolder, put: Noter, entries: Callable[[], tuple[Entry, ...]]
) -> None:
    short = put("gatebed", "watered 5 mm").split()[-1]
    wrong = ("0" if short[0] != "0" else "1") + short[1:]
    with pytest.raises(JournalError, match="no note has the id") as raised:
        withdraw(garden, state, wrong, NOON)
    assert f'Did you mean "{short}"?' in raised.value.remedy
    withdraw(garden, state, entries()[0].id, NOON)
    with pytest.raises(JournalError, match="withdrawn already on Wed 1 December: Gatebed"):
        withdraw(garden, state, short, NOON)
    with pytest.raises(JournalError, match="cannot itself be taken back"):
        withdraw(garden, state, entries()[1].id, NOON)
    assert len(entries()) == 2


def test_endings_of_ids_grow_until_they_are_told_apart(garden: Garden, state: StateFolder) -> None:
    base = Entry("", NOON, NOON.date(), "gatebed", "", What.WATERED, "5 mm", 5.0)
    held = [replace(base, id=one) for one in ("aa-123456", "ba-123456", "short", "xx-654321")]
    assert list(map(short_ids(held).get, ("aa-123456", "ba-123456"))) == ["aa-123456", "ba-123456"]
    assert list(map(short_ids(held).get, ("short", "xx-654321"))) == ["short", "654321"]
    for entry in held:
        append_entry(state.journal(garden), entry)
    with pytest.raises(JournalError, match="end of several ids"):
        withdraw(garden, state, "123456", NOON)
    assert "Withdrawn" in withdraw(garden, state, "ba-123456", NOON)


def test_the_list_is_by_day_in_eighty_columns_with_the_withdrawn_marked(
    garden: Garden, state: StateFolder, put: Noter
) -> None:
    put("gatebed", "planted", 4, 12)
    short = put("gatebed", "watered 2 x 10 l", 6, 1).split()[-1]
    put("southbed", "soil 48F", 1, 2)
    withdraw(garden, state, short, NOON)
    long_name = replace(EARLY, name="Earlies from the neighbour over the brook " * 3)
    lines = list_notes(replace(garden, plantings=(long_name,)), state).splitlines()
    assert max(map(len, lines)) <= 80
    days = [line[:10] for line in lines if line.startswith("2027")]
    assert days == ["2027-01-02", "2027-04-12", "2027-06-01"]
    listed = list_notes(garden, state).splitlines()
    assert listed[2] == f"2027-06-01  {short}  Gate early: watered 6.7 mm (written: 2 x 10 l) – withdrawn"
    assert [line[20:] for line in list_notes(garden, state, "southbed").splitlines()] == [
        "Southbed: soil temperature 8.9 °C (written: 48F)"
    ]
    assert list_notes(garden, state, "gate-early").splitlines() == listed[1:]


def test_an_empty_list_says_so(garden: Garden, state: StateFolder) -> None:
    assert list_notes(garden, state) == "Nothing is noted for Brackenford."
    assert list_notes(garden, state, "gate-early") == "Nothing is noted for Gate early."


def test_broken_lines_are_told_and_cannot_move_the_cursor(garden: Garden, state: StateFolder, put: Noter) -> None:
    put("gatebed", "watered 5 mm")
    with state.journal(garden).open("a", encoding="utf-8") as file:
        file.write("no note \x1b[2J\n")
        file.write('{"version": 1, "id": "e", "instant": "2027-11-01T00:00:00Z", "day": "2027-11-01",')
        file.write('"bed": "old\\u001bbed", "what": "watered", "origin": "command"}\n')
    told = list_notes(garden, state)
    assert "Not counted, in " in told
    assert "line 2: this line is not a note" in told
    assert "\x1b" not in told
    assert "old?bed: watered" in told


def test_the_list_as_json(garden: Garden, state: StateFolder, put: Noter) -> None:
    put("gatebed", "planted", 4, 12)
    short = put("gatebed", "straw 4 in", 4, 12).split()[-1]
    withdraw(garden, state, short, NOON)
    told = json.loads(list_notes(garden, state, as_json=True))
    assert (told["version"], told["garden"], told["complaints"]) == (1, "brackenford", [])
    planted, straw = told["entries"]
    assert (planted["what"], planted["planting"]) == ("planted", "gate-early")
    assert (planted["value"], planted["unit"]) == (None, "")
    assert (straw["value"], straw["unit"], straw["written"]) == (pytest.approx(0.1016), "m", "4 in")
    assert [planted["withdrawn"], straw["withdrawn"]] == [False, True]


KINDS = ["watered 5 mm", "rain 2 mm", "soil 48F", "planted", "shoots", "lifted 2 kg"]


@settings(max_examples=30)
@given(st.lists(st.sampled_from(KINDS), max_size=6))
def test_whatever_is_noted_is_listed_once_and_nothing_refused_is_written(
    tmp_path_factory: pytest.TempPathFactory, words: list[str]
) -> None:
    garden = Garden("brackenford", PLACE, (GATEBED,), (EARLY,))
    state = StateFolder(tmp_path_factory.mktemp("state"))
    answered: list[bool] = []
    for said in words:
        try:
            answered.append(bool(note(garden, state, "gatebed", said, now=NOON)))
        except HaulmError as refused:
            answered.append(not refused.remedy)
    journal: Journal = read_journal(state.journal(garden))[0]
    assert len(journal.entries) == sum(answered)
    assert [entry["id"] for entry in json.loads(list_notes(garden, state, as_json=True))["entries"]] == [
        entry.id for entry in journal.entries
    ]


# As a person would


def test_a_night_below_zero_from_the_command_line(cli: Callable[..., tuple[int, str]]) -> None:
    assert tomllib.loads(SAMPLE.read_text("utf-8"))["place"]["units"] == "us"
    code, told = cli("note", "gate", "night", "minimum", "-2C")
    assert (code, "night minimum 28 °F." in told) == (0, True)
    code, told = cli("note", "gate", "watered", "-.5in")
    assert (code, "less than nothing" in told) == (2, True)
    assert cli("notes", "--json")[1].count('"id"') == 1


def test_commands_answer_with_exit_codes(cli: Callable[..., tuple[int, str]]) -> None:
    code, told = cli("note", "gatebed", "watered", "3", "gal")
    assert (code, "3 gal, which is 0.15 in on its 32 sq ft." in told) == (0, True)
    short = told.split()[-1]
    assert cli("notes", "--withdraw", short)[0] == 0
    assert cli("notes", "--withdraw", short)[0] == 2
    assert "– withdrawn" in cli("notes")[1]
    assert cli("note", "nowhere", "watered", "3", "gal")[0] == 2


# The store room, which belongs to no bed


@pytest.mark.parametrize(
    ("words", "value"),
    [
        ("6C", 6.0),
        ("store temperature 6C", 6.0),
        ("store 43F", (43 - 32) / 1.8),
        ("temperature at 6.5 C", 6.5),
        ("-1C", -1.0),
        ("store -1C", -1.0),
    ],
)
def test_a_reading_of_the_store_belongs_to_no_bed(put: Noter, entries: Callable[[], tuple[Entry, ...]], words, value):
    told = put("store", words)
    (entry,) = entries()
    assert (entry.bed, entry.planting, entry.what) == ("", "", What.STORE_READ)
    assert entry.value == pytest.approx(value)
    assert told.startswith("Noted for the store on Wed 1 December: store temperature ")


def test_readings_of_the_store_are_listed_and_taken_back(garden: Garden, state: StateFolder, put: Noter):
    put("store", "6C")
    put("gatebed", "rain 3 mm", 11, 30)
    assert "the store: store temperature 6 °C" in list_notes(garden, state)
    assert "rain" not in list_notes(garden, state, "store")
    short = list_notes(garden, state, "store").split()[1]
    assert withdraw(garden, state, short, NOON).startswith("Withdrawn: the store, Wed 1 December: store temperature")
    assert "withdrawn" in list_notes(garden, state, "store")


@pytest.mark.parametrize("words", ["lifted 4 kg", "", "warm", "sprouting"])
def test_of_the_store_only_the_temperature_can_be_noted(put: Noter, words: str):
    with pytest.raises(JournalError, match="only its temperature"):
        put("store", words)


def test_a_reading_of_the_store_that_cannot_be_or_is_there_already_is_refused(put: Noter):
    with pytest.raises(JournalError, match="is taken"):
        put("store", "70C")
    with pytest.raises(UnitError):
        put("store", "6 mm")
    put("store", "6C")
    with pytest.raises(JournalError, match="already noted"):
        put("store", "6C")
    put("store", "7C")


def test_a_bed_called_store_goes_before_the_store_room(garden: Garden, state: StateFolder):
    named = replace(garden, beds=(*garden.beds, replace(GATEBED, key="store", name="Store")))
    note(named, state, "store", "rain 3 mm", now=NOON)
    assert read_journal(state.journal(named))[0].entries[0].bed == "store"


@pytest.mark.parametrize(
    ("words", "what", "value"),
    [
        ("lifted 4.2 kg", What.LIFTED, 4.2),
        ("into store", What.INTO_STORE, None),
        ("sprouting", What.SPROUTING, None),
        ("store 6C", What.STORE_READ, 6.0),
    ],
)
def test_what_is_noted_of_a_lifted_crop(put: Noter, entries: Callable[[], tuple[Entry, ...]], words, what, value):
    put("gatebed", "planted", 5, 1)
    put("gatebed", "tops cut", 8, 20)
    if what is not What.LIFTED:
        put("gatebed", "lifted", 9, 10)
    put("gatebed", words, 10, 1)
    last = entries()[-1]
    assert (last.what, last.planting, last.value) == (what, "gate-early", value)


def test_tops_that_grew_again_and_were_cut_again_are_noted_anew(put: Noter, entries: Callable[[], tuple[Entry, ...]]):
    put("gatebed", "planted", 5, 1)
    assert "anew" not in put("gatebed", "tops cut", 8, 20)
    assert "noted as cut on Fri 20 August too: new shoots" in put("gatebed", "tops cut", 9, 1)
    with pytest.raises(JournalError, match="already noted"):
        put("gatebed", "tops cut", 9, 1)
    assert [entry.day.day for entry in entries() if entry.what is What.TOPS_CUT] == [20, 1]


@pytest.mark.parametrize(
    "words", ["planted on 2027-04-16", "planted 2027-04-16", "watered 5 mm on Tuesday", "shoots yesterday"]
)
def test_a_day_among_the_words_is_pointed_to_its_option(garden: Garden, tmp_path: Path, words: str) -> None:
    with pytest.raises(JournalError, match="is a day") as raised:
        note(garden, StateFolder(tmp_path), "gatebed", words, now=NOON)
    assert "--on" in raised.value.remedy


def test_a_beginning_that_was_taken_for_a_bed_is_said(garden: Garden, tmp_path: Path) -> None:
    taken = note(garden, StateFolder(tmp_path), "gateb", "straw 5 cm", now=NOON)
    assert '"gateb" was taken for Gatebed.' in taken
    assert "taken for" not in note(garden, StateFolder(tmp_path), "Gatebed", "straw 6 cm", now=NOON)
