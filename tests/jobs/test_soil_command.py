"""`haulm soil`: the table, what readings taught, and its JSON."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest

from haulm import cli
from haulm.condition import DayRange
from haulm.errors import Exit, JournalError
from haulm.garden import Entry, What
from haulm.jobs.soil import as_json, as_lines, picture, soil_report
from haulm.jobs.state_folder import StateFolder
from haulm.letter.amounts import ODDS
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.store.journal_file import append_entry
from haulm.taught import YearReady

TODAY = date(2027, 5, 4)
NOW = datetime(2027, 5, 4, 11, 40, tzinfo=UTC)


@pytest.fixture
def settings(tmp_path, write_invented_days):
    (tmp_path / "haulm.toml").write_text(sample_toml(), encoding="utf-8")
    found = load(tmp_path / "haulm.toml")
    write_invented_days(found.weather.file, TODAY, 480, date(2025, 1, 1))
    return found


@pytest.fixture
def state(tmp_path):
    return StateFolder(tmp_path / "state")


def read(settings, state, back, value_c):
    state.path.mkdir(exist_ok=True)
    day = TODAY - timedelta(days=back)
    instant = datetime.combine(day, time(12), UTC)
    entry = Entry(f"r{back}", instant, day, "gatebed", "", What.SOIL_READ, "", value_c)
    append_entry(state.journal(settings.garden), entry)


def told(settings, state):
    lines = list(as_lines(soil_report(settings, state, "gatebed", NOW)))
    assert max(map(len, lines)) <= 80
    return lines


def in_one(lines):
    return " ".join(" ".join(lines).split())


def test_without_readings_it_says_how_to_take_one(settings, state):
    lines = told(settings, state)
    assert any("No readings yet" in line for line in lines)
    days = [line for line in lines if line[4:6].strip().isdigit() and "°F" in line]
    assert len(days) == 14
    assert not state.path.exists()


def test_while_planting_waits_each_day_has_its_chance_and_the_day_its_range(settings, state):
    lines = told(settings, state)
    assert lines[2].split("   ")[-1].strip() == "50 °F or more"
    chances = [line[52:].strip() for line in lines[3:17]]
    assert set(chances) <= {row.told for row in ODDS}
    assert "Fit to plant, 50 °F or more on 3 days running" in in_one(lines)


def test_once_planted_nobody_asks_for_the_planting_limit(settings, state):
    state.path.mkdir()
    day = TODAY - timedelta(days=4)
    instant = datetime.combine(day, time(12), UTC)
    planted = Entry("p", instant, day, "gatebed", settings.garden.plantings[0].key, What.PLANTED, "", None)
    append_entry(state.journal(settings.garden), planted)
    report = soil_report(settings, state, "gatebed", NOW)
    assert "50 °F or more" not in "\n".join(as_lines(report))
    shown = json.loads(as_json(report))
    assert shown["ready"] is None
    assert {day["fit_chance"] for day in shown["days"]} == {None}


def test_readings_are_shown_beside_the_estimate_and_what_they_taught(settings, state):
    plain = soil_report(settings, state, "gatebed", NOW).condition.soil.as_it_lies_c
    for back in (2, 5, 9):
        read(settings, state, back, plain.at(TODAY - timedelta(days=back)) + 2.0)
    read(settings, state, 7, 33.0)
    report = soil_report(settings, state, "gatebed", NOW)
    lines = told(settings, state)
    assert "Three readings make yesterday's figure" in in_one(lines)
    assert "warmer than the air alone would" in in_one(lines)
    assert "91 °F on Tue 27 April is far from all else" in in_one(lines)
    assert [line.endswith("?") for line in lines if line.startswith(("Sun 25", "Tue 27", "Thu 29", "Sun 2"))][-4:] == [
        False, True, False, False,
    ]  # fmt: skip
    shown = json.loads(as_json(report))
    assert (shown["version"], len(shown["readings"]), len(shown["questioned"])) == (1, 4, 1)
    assert [one["believed"] for one in shown["readings"]] == [True, False, True, True]
    assert shown["taught"]["moved_c"] > 0.0
    assert shown["taught"]["spread_c"] < shown["taught"]["untaught_spread_c"]


def test_readings_of_last_season_are_shown_too_and_those_not_worked_out_are_counted(settings, state):
    plain = soil_report(settings, state, "gatebed", NOW).condition.soil.as_it_lies_c
    read(settings, state, 300, plain.at(TODAY - timedelta(days=300)))
    read(settings, state, 900, 12.0)
    lines = told(settings, state)
    assert any(line.startswith("Wed 8 July 2026") for line in lines)
    assert "One older reading is from before the days worked out." in lines


def test_only_a_swing_beyond_its_own_doubt_is_called_sunny_or_shady(settings, state):
    read(settings, state, 3, 12.0)
    report = soil_report(settings, state, "gatebed", NOW)

    def said(swing_c):
        taught = replace(report.condition.soil.taught, swing_c=swing_c, swing_spread_c=1.0)
        soil = replace(report.condition.soil, taught=taught)
        return in_one(as_lines(replace(report, condition=replace(report.condition, soil=soil))))

    assert "as in a sunnier bed (four cases in five within 2 °F, where it was 4 °F without)" in said(1.1)
    assert "as in a shadier bed" in said(-1.1)
    assert "they do not tell yet" in said(0.9)
    assert "they do not tell yet" in said(-0.9)


def test_readings_that_hardly_make_it_surer_are_told_so(settings, state):
    read(settings, state, 3, 12.0)
    report = soil_report(settings, state, "gatebed", NOW)
    taught = replace(report.condition.soil.taught, swing_spread_c=1.61, untaught_swing_spread_c=1.62)
    soil = replace(report.condition.soil, taught=taught)
    lines = in_one(as_lines(replace(report, condition=replace(report.condition, soil=soil))))
    assert "four cases in five within 4 °F, hardly less than without" in lines


def test_a_reading_that_is_not_believed_teaches_nothing_and_says_so(settings, state):
    read(settings, state, 3, 45.0)
    lines = in_one(told(settings, state))
    assert "No reading is used, so the estimate is that of the air alone." in lines
    assert "sunnier" not in lines


def test_the_ready_range_names_its_years(settings, state):
    report = soil_report(settings, state, "gatebed", NOW)
    ready = DayRange(date(2027, 5, 6), date(2027, 5, 9), date(2027, 5, 15), 1.0, 3)
    years = (YearReady(2024, date(2027, 5, 12)), YearReady(2025, None), YearReady(2026, date(2027, 5, 8)))
    soil = replace(report.condition.soil, ready=ready, ready_if_raked=None, ready_by_year=years)
    lines = in_one(as_lines(replace(report, condition=replace(report.condition, soil=soil))))
    assert "between 6 and 15 May, most likely the 9th." in lines
    assert "as it is: 8 May 2026, 12 May 2024." in lines
    never = replace(soil, ready=DayRange(None, None, None, 0.0, 3), ready_by_year=())
    lines = in_one(as_lines(replace(report, condition=replace(report.condition, soil=never))))
    assert "running: no likely day up to Wed 11 August." in lines
    raked = replace(never, ready_if_raked=DayRange(None, date(2027, 5, 9), None, 1.0, 3))
    lines = in_one(as_lines(replace(report, condition=replace(report.condition, soil=raked))))
    assert "running, raked bare: about Sun 9 May; under its straw: no likely day up to Wed 11 August." in lines
    there = replace(soil, ready=DayRange(TODAY, TODAY, date(2027, 5, 8), 1.0, 3))
    lines = in_one(as_lines(replace(report, condition=replace(report.condition, soil=there))))
    assert "running: now, by the estimate; by Sat 8 May in nine cases of ten. " in lines
    assert "With the weather of each year" not in lines


def test_its_json_is_plain_and_complete(settings, state):
    shown = json.loads(as_json(soil_report(settings, state, "gatebed", NOW)))
    assert all(f"{name}" in as_json.__doc__ for name in shown if name != "version")
    assert set(shown["ready"]) == {"early", "likely", "late", "share", "years", "by_year"}
    assert shown["taught"] is None
    assert shown["today"] == "2027-05-04"


def test_a_picture_can_be_had(settings, state):
    plain = picture(soil_report(settings, state, "gatebed", NOW), settings)
    read(settings, state, 3, 12.0)
    with_reading = picture(soil_report(settings, state, "gatebed", NOW), settings)
    assert plain.startswith(b"\x89PNG")
    assert with_reading != plain


def test_an_unknown_bed_is_told(settings, state):
    with pytest.raises(JournalError, match="gatbed"):
        soil_report(settings, state, "gatbed", NOW)


def test_the_command_runs(settings, state, capsys):
    words = ["--settings", str(settings.path), "--state", str(state.path)]
    assert cli.main(["soil", "nobed", *words]) == Exit.SETTINGS
    assert "nobed" in capsys.readouterr().err


def test_a_bed_whose_crop_is_lifted_has_no_soil_to_tell_of(settings, state):
    state.path.mkdir()
    for back, what in ((60, What.PLANTED), (3, What.LIFTED)):
        day = TODAY - timedelta(days=back)
        entry = Entry(f"n{back}", datetime.combine(day, time(12), UTC), day, "gatebed", "gate-early", what)
        append_entry(state.journal(settings.garden), entry)
    with pytest.raises(JournalError, match="nothing grows or is planned there now"):
        soil_report(settings, state, "gatebed", NOW)
