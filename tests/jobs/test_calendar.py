"""`haulm calendar` and `haulm completion` from the command line."""

import subprocess
from datetime import UTC, date, datetime

import pytest
import time_machine
from icalendar import Calendar

from haulm import cli
from haulm.errors import Exit
from haulm.settings.load import load
from haulm.settings.sample import sample_toml

NOW = datetime(2027, 4, 1, 12, tzinfo=UTC)


@pytest.fixture
def garden(tmp_path, monkeypatch, write_invented_days):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "haulm.toml").write_text(sample_toml(), encoding="utf-8")
    write_invented_days(load(tmp_path / "haulm.toml").weather.file, NOW.date(), 480, date(2025, 1, 1))
    return tmp_path


def test_the_file_is_written_and_brought_up_to_date(garden, capsys):
    words = ["calendar", "--state", str(garden / "state")]
    with time_machine.travel(NOW):
        assert cli.main(words) == Exit.DONE
        told = capsys.readouterr().out
        first = (garden / "haulm.ics").read_bytes()
        assert cli.main(words) == Exit.DONE
    assert "Plant (Gate early)" in told
    assert "in haulm.ics." in told
    assert (garden / "haulm.ics").read_bytes() == first
    assert [event["uid"] for event in Calendar.from_ical(first).walk("VEVENT")]


@pytest.mark.parametrize("shell", ["bash", "zsh", "tcsh"])
def test_a_shell_is_taught_every_command(shell, capsys):
    assert cli.main(["completion", shell]) == Exit.DONE
    told = capsys.readouterr().out
    for command in ("morning", "note", "calendar"):
        assert command in told
    if shell == "bash":
        subprocess.run(["bash", "-n"], input=told, text=True, check=True)


def test_where_nothing_is_near_it_says_why_there_are_no_dates(garden, capsys):
    with time_machine.travel(datetime(2026, 11, 25, 12, tzinfo=UTC)):
        assert cli.main(["calendar", "--state", str(garden / "state")]) == Exit.DONE
    assert "100 days before its window" in capsys.readouterr().out


def test_a_weather_file_that_cannot_be_used_leaves_the_calendar_as_it_was(garden, capsys):
    words = ["calendar", "--state", str(garden / "state")]
    with time_machine.travel(NOW):
        assert cli.main(words) == Exit.DONE
        before = (garden / "haulm.ics").read_bytes()
        load(garden / "haulm.toml").weather.file.unlink()
        assert cli.main(words) == Exit.PARTLY
    assert "there is no weather to reckon dates from" in capsys.readouterr().err
    assert (garden / "haulm.ics").read_bytes() == before


def test_dates_that_rest_on_old_weather_are_written_and_that_is_said(garden, capsys):
    with time_machine.travel(datetime(2027, 4, 20, 12, tzinfo=UTC)):
        assert cli.main(["calendar", "--state", str(garden / "state")]) == Exit.PARTLY
    shown = capsys.readouterr()
    assert "in haulm.ics." in shown.out
    assert "These dates rest on days up to" in shown.err


def test_a_calendar_that_cannot_be_written_is_told_with_what_to_do(garden, capsys):
    with time_machine.travel(NOW):
        assert cli.main(["calendar", str(garden), "--state", str(garden / "state")]) == Exit.SETTINGS
    assert "a folder stands where the file should be" in capsys.readouterr().err


def test_another_day_s_calendar_can_be_asked_for(garden, capsys):
    with time_machine.travel(NOW):
        assert cli.main(["calendar", "--today", "2026-11-25", "--state", str(garden / "state")]) == Exit.DONE
    assert "100 days before its window" in capsys.readouterr().out
