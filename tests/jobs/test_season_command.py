"""`haulm season`: its windows, table, frosts, picture and JSON, from the grower's own weather file."""

import io
import json
import re
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from PIL import Image

from haulm import cli
from haulm.errors import Exit, JournalError
from haulm.garden import Entry, What
from haulm.jobs.season import as_json, as_lines, picture, season_told
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.store.journal_file import append_entry

NOW = datetime(2027, 3, 4, 11, 40, tzinfo=UTC)


def weather_rows(first_year, *, mean_c=12.0, half_c=11.0, seed=4):
    """Plain seasons with honest day-to-day noise, to the eve of NOW."""
    draw, spell = np.random.default_rng(seed), 0.0
    day = date(first_year, 1, 1)
    yield "date,air_min_c,air_max_c,rain_mm"
    while day < NOW.date():
        spell = 0.8 * spell + draw.normal(0.0, 1.6)
        middle = mean_c - half_c * np.cos(2.0 * np.pi * (day.timetuple().tm_yday - 25) / 365.25) + spell
        yield f"{day},{middle - 5.5:.1f},{middle + 5.5:.1f},{2.0 if draw.random() < 0.3 else 0.0}"
        day += timedelta(days=1)


def settings_of(folder):
    """The sample's own garden."""
    (folder / "haulm.toml").write_text(sample_toml(), encoding="utf-8")
    return load(folder / "haulm.toml")


@pytest.fixture
def told(tmp_path):
    """The year of the sample's garden over so many years of a climate; `asked` is a day for the frosts."""

    def work_out(first_year=2014, bed="", asked=None, **climate):
        settings = settings_of(tmp_path)
        settings.weather.file.write_text("\n".join(weather_rows(first_year, **climate)) + "\n")
        return season_told(settings, StateFolder(tmp_path / "state"), NOW, bed, asked)

    return work_out


def test_the_table_names_the_window_and_all_it_asks_of_the_grower(told):
    lines = list(as_lines(told()))
    text = "\n".join(lines)
    assert max(map(len, lines)) <= 80
    assert re.search(r"^Window 1: \d+ (April|May) to \d+ \w+, best about \d+ (April|May|June)$", text, re.M)
    for label in ("chance", "class", "seed", "shoots", "lifting", "failed"):
        assert re.search(rf"^  {label} ", text, re.M), label
    assert "13 years of weather, 2014-2026" in lines[0]
    assert sum(line.endswith("window") for line in lines) >= 1
    assert "Only" not in text
    assert "Past years are no promise." in text


def test_without_any_weather_the_command_says_what_is_wrong_with_the_file(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    file = settings_of(tmp_path).weather.file
    for content, told in ((None, "there is no such file"), (b"", "the file is empty"), (b"\x1f\x8bx", "damaged")):
        if content is not None:
            file.write_bytes(content)
        assert cli.main(["season", "--state", str(tmp_path / "state")]) == Exit.PARTLY
        shown = capsys.readouterr()
        assert shown.out == ""
        assert "there is no weather to go by" in shown.err
        assert told in shown.err


def test_half_a_month_stands_in_each_row_of_the_table(told):
    lines = list(as_lines(told()))
    rows = [line for line in lines if re.match(r"^(1|16) \w+ +\d+ %", line)]
    assert len(rows) == 24


def test_for_a_window_after_spring_seed_is_bought_in_spring(told):
    text = " ".join("\n".join(as_lines(told(mean_c=19.0, half_c=9.5))).split())
    spring, later = text.split("Window 2:")
    assert "buy in spring" not in spring
    assert "where none is sold then, buy in spring and hold it dark at 37 to 41 °F" in later


def test_readings_of_the_bed_are_told_and_move_its_soil(told, tmp_path):
    plain = told()
    state = StateFolder(tmp_path / "state")
    state.path.mkdir()
    for back in (20, 26, 32, 38, 44):
        day = NOW.date() - timedelta(days=back)
        noted = Entry(f"r{back}", NOW - timedelta(days=back), day, "gatebed", "", What.SOIL_READ, "", 7.0)
        append_entry(state.journal(settings_of(tmp_path).garden), noted)
    taught = told()
    assert "Soil as five readings of your thermometer taught it." in "\n".join(as_lines(taught))
    assert np.nansum(taught.shares.soil[60:120]) > np.nansum(plain.shares.soil[60:120])


def test_few_years_are_said(told):
    text = "\n".join(as_lines(told(2023)))
    assert "Only 3 years" in text or "Only 4 years" in text


def test_without_a_whole_year_it_says_that_it_is_not_known(told):
    found = told(2027)
    text = "\n".join(as_lines(found))
    assert "not known" in text
    assert found.windows == ()
    assert json.loads(as_json(found))["windows"] == []
    assert picture(found).startswith(b"\x89PNG")


def test_a_place_too_cold_says_what_goes_wrong(told):
    text = "\n".join(as_lines(told(mean_c=2.0, half_c=9.0)))
    assert "No planting day here brings a crop" in text
    assert re.search(r"\d{4}: (frost|soil|too)", text.replace("\n", " "))


def test_the_frosts_of_the_garden_are_those_of_the_station_moved(told):
    rows = told().frosts
    assert [row.limit_c for row in rows] == pytest.approx([20 / 9, 0.0, -20 / 9])  # 36, 32 and 28 °F
    ends = [row.last.mean_day for row in rows]
    assert ends == sorted(ends, reverse=True)
    begins = [row.first.mean_day for row in rows]
    assert begins == sorted(begins)


@pytest.mark.parametrize(
    ("asked", "words"), [(date(2027, 4, 20), "still comes after"), (date(2027, 10, 5), "has come by")]
)
def test_the_chance_of_frost_about_any_day(told, asked, words):
    found = told(asked=asked)
    text = "\n".join(as_lines(found))
    assert len(re.findall(rf"°F: .* {words} {asked.day} ", text)) == 3
    chances = [row.asked for row in found.frosts]
    assert chances == sorted(chances, reverse=True)
    assert min(chances) > 0.0
    assert max(chances) < 1.0


def test_json_tells_every_planting_day(told):
    whole = json.loads(as_json(told()))
    assert whole["version"] == 1
    assert {len(column) for column in whole["days"].values()} == {365}
    assert whole["days"]["planted"][0] == "01-01"
    window = whole["windows"][0]
    position = whole["days"]["planted"].index(window["best"])
    assert whole["days"]["young_early_share"][position] == pytest.approx(window["share"], abs=1e-3)
    assert window["share"] >= 0.7
    early, late = (
        whole["days"]["frost_after_shoots"][whole["days"]["planted"].index(day)] for day in ("02-01", "05-10")
    )
    assert early > late
    assert whole["days"]["frost_after_shoots"][whole["days"]["planted"].index("09-01")] is None
    assert whole["frosts"][0]["garden_c"] == pytest.approx(2.222, abs=1e-3)


def test_the_picture_is_small_and_upright(told):
    drawn = picture(told())
    assert len(drawn) < 20_000
    with Image.open(io.BytesIO(drawn)) as image:
        assert image.width == 720
        assert image.height > image.width


def test_a_year_round_place_is_drawn_and_told_as_one(told):
    found = told(mean_c=16.0, half_c=1.0)
    assert found.windows[0].whole_year
    assert "any day of the year" in "\n".join(as_lines(found))
    assert picture(found).startswith(b"\x89PNG")


def test_a_window_over_new_year_is_drawn_whole(told):
    found = told(mean_c=20.0, half_c=6.5)
    assert any(window.last < window.first for window in found.windows)
    assert len(picture(found)) < 20_000


def test_an_unknown_bed_is_told(told):
    with pytest.raises(JournalError, match="gatbed"):
        told(bed="gatbed")


def test_the_command_writes_table_and_picture(told, tmp_path, capsys):
    told()
    words = ["--settings", str(tmp_path / "haulm.toml"), "--state", str(tmp_path / "state")]
    assert cli.main(["season", "--bed", "gatebed", "--picture", str(tmp_path / "year.png"), *words]) == Exit.DONE
    assert "Window 1" in capsys.readouterr().out
    assert (tmp_path / "year.png").read_bytes().startswith(b"\x89PNG")
    assert cli.main(["season", "--json", *words]) == Exit.DONE
    assert json.loads(capsys.readouterr().out)["bed"] == "gatebed"
    assert cli.main(["season", "--bed", "nobed", *words]) == Exit.SETTINGS
    assert "nobed" in capsys.readouterr().err
