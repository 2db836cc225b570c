"""Five mornings alone, stepped through `due`: one with every source down, one killed between store and send."""

import os
import signal
import subprocess
import sys
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from haulm.errors import Exit
from haulm.jobs.check_live import as_lines, check_live
from haulm.jobs.due import Standing, due
from haulm.jobs.morning import morning
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import load
from haulm.steps import Step
from haulm.store.database import open_database
from haulm.store.hours import read_hours
from haulm.store.runs import read_runs

FIRST = date(2027, 5, 4)
ZONE = ZoneInfo("Europe/London")
# The morning as a process of its own, at an instant of ours, so that it can be killed.
ALONE = """
import os, sys
from datetime import datetime
from pathlib import Path
from haulm.jobs.morning import morning
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import load
morning(load(Path(sys.argv[1]), os.environ), StateFolder(Path(sys.argv[2])), datetime.fromisoformat(sys.argv[3]))
"""


@pytest.fixture
def state(tmp_path):
    return StateFolder(tmp_path / "state")


def at(day, hour=6, minute=30):
    return datetime.combine(day, time(hour, minute), ZONE).astimezone(UTC)


def standing(settings, state, now):
    runs = ()
    if state.store.exists():
        with open_database(state.store) as database:
            runs = read_runs(database, settings.garden.key, now.date() - timedelta(days=7))
    until = settings.thresholds.data.letter_catch_up_until
    return due(now, runs, settings.letter.at, settings.garden.place.zone, until)


def text_of(letter):
    return " ".join(letter.get_body(("plain",)).get_content().split())


def killed_before_sending(settings_file, state, now, network, postman):
    """A morning that dies while the mail server has it waiting at the door."""
    postman.hold.set()
    process = subprocess.Popen(
        [sys.executable, "-c", ALONE, str(settings_file), str(state.path), now.isoformat()],
        env={**os.environ, **network},
    )
    assert postman.knocked.wait(timeout=30)
    process.send_signal(signal.SIGKILL)
    process.wait(timeout=10)
    postman.hold.clear()


def test_five_mornings_five_letters(settings_file, state, world, network, postman):
    settings = load(settings_file, network)
    for number in range(5):
        world.today = FIRST + timedelta(days=number)
        now = at(world.today)
        world.down = number == 3
        assert standing(settings, state, now - timedelta(minutes=1)) is Standing.EARLY
        assert standing(settings, state, now) is Standing.DUE
        if number == 2:
            killed_before_sending(settings_file, state, now, network, postman)
            now += timedelta(minutes=10)
        done = morning(settings, state, now)
        assert done.exit_code == (Exit.PARTLY if world.down else Exit.DONE)
        assert standing(settings, state, now + timedelta(minutes=1)) is Standing.DONE
        assert morning(settings, state, now + timedelta(minutes=2)).letter == done.letter
    assert len(postman.letters) == 5
    assert len({letter["Message-ID"] for letter in postman.letters}) == 5
    fourth = text_of(postman.letters[3])
    assert "the server is in trouble (503)" in fourth
    assert "503" not in text_of(postman.letters[4])
    assert "Meteostat" in text_of(postman.letters[0])
    assert "MET Norway" in text_of(postman.letters[0])


def test_last_nights_lowest_hour_is_told_and_the_hours_are_kept(settings_file, state, world, network):
    settings = load(settings_file, network)
    letter = morning(settings, state, at(FIRST)).letter
    assert "Lowest: 3 °C at the station, by the 12 hours known" in " ".join(letter.text.split())
    with open_database(state.store) as database:
        air = read_hours(database, "99901", "air_c", at(FIRST) - timedelta(days=3), at(FIRST))
        coming = database.rows("SELECT DISTINCT series FROM hours WHERE series LIKE 'forecast %'")
    assert len(air) == 61
    assert len(coming) == 1


def test_a_station_without_hours_is_no_fault(settings_file, state, world, network):
    world.hourly = False
    done = morning(load(settings_file, network), state, at(FIRST))
    assert done.exit_code == Exit.DONE
    assert "Lowest" not in done.letter.text


def test_everything_is_reached_and_named_in_a_live_check(settings_file, tmp_path, world, network):
    settings = load(settings_file, network)
    tried, code = check_live(settings, tmp_path / "spool", at(world.today))
    told = "\n".join(as_lines(tried))
    assert code == Exit.DONE
    assert "its newest day is 2027-05-03, 1 day ago" in told
    assert "CC BY 4.0" in told
    assert "Mail" in told


def test_a_cached_morning_imports_neither_the_library_nor_pandas(settings_file, state, world, network):
    settings = load(settings_file, network)
    morning(settings, state, at(FIRST))
    looks = ALONE + "\nprint([m for m in ('meteostat', 'pandas') if m in sys.modules])"
    later = (at(FIRST) + timedelta(minutes=5)).isoformat()
    with open_database(state.store) as database, database.transaction(Step.DELIVERY_SETTLED):
        database.rows("DELETE FROM letters")
    shown = subprocess.run(
        [sys.executable, "-c", looks, str(settings_file), str(state.path), later],
        env={**os.environ, **network}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert shown.stdout.strip() == "[]"
