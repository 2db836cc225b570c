"""`haulm soil`: the table, what readings taught, and its JSON."""

import json
from datetime import UTC, date, datetime, time, timedelta

import pytest

from haulm import cli
from haulm.errors import Exit, JournalError
from haulm.garden import Entry, What
from haulm.jobs.soil import as_json, as_lines, picture, soil_report
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.sources.invented import invented_record
from haulm.store.journal_file import append_entry

TODAY = date(2027, 5, 4)
NOW = datetime(2027, 5, 4, 11, 40, tzinfo=UTC)


@pytest.fixture
def settings(tmp_path):
    (tmp_path / "haulm.toml").write_text(sample_toml(), encoding="utf-8")
    found = load(tmp_path / "haulm.toml")
    days = invented_record("brackenford", date(2025, 1, 1), TODAY, 7).days
    rows = ["date,air_min_c,air_max_c,rain_mm"]
    for back in range(480, 0, -1):
        day = TODAY - timedelta(days=back)
        low, high, rain = (days.of(name).at(day) for name in ("air_min_c", "air_max_c", "rain_mm"))
        rows.append(f"{day},{low},{high},{rain}")
    found.weather.file.write_text("\n".join(rows) + "\n")
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


def test_without_readings_it_says_how_to_take_one(settings, state):
    told = list(as_lines(soil_report(settings, state, "gatebed", NOW)))
    assert any("No readings yet" in line for line in told)
    assert max(map(len, told)) <= 80
    assert sum("°F" in line and "four" not in line for line in told) == 14
    assert not state.path.exists()


def test_readings_are_shown_beside_the_estimate_and_what_they_taught(settings, state):
    plain = soil_report(settings, state, "gatebed", NOW).condition.soil.as_it_lies_c
    for back in (2, 5, 9):
        read(settings, state, back, plain.at(TODAY - timedelta(days=back)) + 2.0)
    read(settings, state, 7, 33.0)
    report = soil_report(settings, state, "gatebed", NOW)
    told = "\n".join(as_lines(report))
    assert "Three readings make yesterday's figure" in told
    assert "warmer than the air alone would" in told
    assert "91 °F on Tue 27 April is far from all else" in told
    shown = json.loads(as_json(report))
    assert (shown["version"], len(shown["readings"]), len(shown["questioned"])) == (1, 4, 1)


def test_a_picture_can_be_had(settings, state):
    assert picture(soil_report(settings, state, "gatebed", NOW), settings).startswith(b"\x89PNG")


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
