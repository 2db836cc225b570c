"""A store that cannot take a letter: it is shown and told to the log, mails nothing, and loses nothing."""

import logging
import os
import shutil
import sqlite3
import subprocess
import tempfile
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine

from haulm import cli
from haulm.errors import Exit, StoreError
from haulm.jobs.evening import evening
from haulm.jobs.morning import morning, rehearse
from haulm.jobs.notes import note
from haulm.jobs.schedule import once
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.unsent import UnsentError, room_for
from haulm.settings.load import load
from haulm.store.database import open_database

DAY = date(2027, 5, 4)
ZONE = ZoneInfo("Europe/London")
MILD_C, COLD_C = 8.0, -0.3


def at(hour, minute=30, day=DAY):
    return datetime.combine(day, time(hour, minute), ZONE).astimezone(UTC)


class Disk:
    """A small disk of its own, which can be filled to its last byte."""

    def __init__(self, path):
        self.path = path

    def fill(self):
        filler = os.open(self.path / "filler", os.O_WRONLY | os.O_CREAT)
        with suppress(OSError):
            while os.write(filler, b"\0" * 4096):
                pass
        os.close(filler)

    def make_room(self):
        (self.path / "filler").unlink()


@pytest.fixture
def disk(tmp_path):
    path = tmp_path / "disk"
    path.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=8m", "tmpfs", path], capture_output=True, check=False)
    if mounted.returncode:
        pytest.skip("a disk that can be filled wants a mount, which root alone may make")
    yield Disk(path)
    subprocess.run(["umount", path], check=True)


@pytest.fixture
def settings(settings_file, network):
    return load(settings_file, network)


@pytest.fixture
def state(disk, settings):
    """The memory on the small disk, of a garden in leaf."""
    state = StateFolder(disk.path / "state")
    for what, on in (("planted", date(2027, 4, 11)), ("shoots out", date(2027, 5, 1))):
        note(settings.garden, state, "gatebed", what, now=at(20, day=on))
    return state


def test_on_a_full_disk_the_letter_is_worked_out_on_fresh_weather_and_not_sent(
    settings, state, disk, postman, tmp_path, monkeypatch
):
    passing = tmp_path / "passing"
    passing.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(passing))
    disk.fill()
    with pytest.raises(UnsentError) as caught:
        morning(settings, state, at(6))
    letter = " ".join(caught.value.letter.text.split())
    assert "the disk is full" in caught.value.what
    assert "this letter was not sent" in caught.value.what
    assert "Make room" in caught.value.remedy
    assert caught.value.exit_code == Exit.TRY_LATER
    assert "Newest day observed: Mon 3 May" in letter
    assert "could not be had" not in letter
    assert (postman.letters, list(passing.iterdir())) == ([], [])
    disk.make_room()
    assert morning(settings, state, at(7)).exit_code is Exit.DONE
    assert len(postman.letters) == 1


def test_what_was_said_before_is_still_known(settings, state, disk, world, postman):
    morning(settings, state, at(6))
    world.today = DAY + timedelta(days=1)
    later = at(6, day=world.today)
    expected = rehearse(settings, state, later, later).letter.text
    disk.fill()
    with pytest.raises(UnsentError) as caught:
        morning(settings, state, later)
    assert caught.value.letter.text == expected
    assert len(postman.letters) == 1


def test_a_disk_that_can_only_be_read_any_more_hides_no_letter(settings, state, disk, world, postman):
    """As a card does that is worn out."""
    morning(settings, state, at(6))
    world.today = DAY + timedelta(days=1)
    later = at(6, day=world.today)
    expected = rehearse(settings, state, later, later).letter.text
    subprocess.run(["mount", "-o", "remount,ro", disk.path], check=True)
    with pytest.raises(UnsentError, match="can only be read") as caught:
        morning(settings, state, later)
    assert caught.value.letter.text == expected
    assert len(postman.letters) == 1


def test_a_letter_that_went_before_the_disk_was_full_is_not_called_unsent(settings, state, disk, postman):
    morning(settings, state, at(6))
    disk.fill()
    with pytest.raises(StoreError, match="the disk is full") as caught:
        morning(settings, state, at(7))
    assert not isinstance(caught.value, UnsentError)
    assert len(postman.letters) == 1


def test_a_letter_that_waited_is_shown_as_it_was_written_and_goes_once_there_is_room(settings, state, disk, postman):
    postman.hold.set()
    stored = morning(settings, state, at(6)).letter
    postman.hold.clear()
    disk.fill()
    with pytest.raises(UnsentError) as caught:
        morning(settings, state, at(8))
    assert caught.value.letter == stored
    disk.make_room()
    morning(settings, state, at(9))
    assert [letter["Subject"] for letter in postman.letters] == [stored.subject]


def night(world, low_c, issued_hour=3):
    low, first = world.days.air_min_c.copy(), (DAY - world.days.first).days
    low[first : first + 2] = low_c
    world.days = replace(world.days, air_min_c=low)
    world.issued_hour, world.hour = issued_hour, issued_hour + 1


@pytest.mark.parametrize("low_c", [MILD_C, COLD_C])
def test_a_dangerous_night_is_shown_too_and_a_quiet_one_says_nothing(settings, state, disk, world, postman, low_c):
    night(world, MILD_C)
    morning(settings, state, at(6))
    disk.fill()
    night(world, low_c, 16)
    with pytest.raises(StoreError) as caught:
        evening(settings, state, at(18))
    assert isinstance(caught.value, UnsentError) is (low_c == COLD_C)
    if low_c == COLD_C:
        assert caught.value.letter.subject.startswith("Cover Gatebed tonight: frost")
    assert len(postman.letters) == 1


def test_a_night_that_was_warned_of_is_not_shown_again(settings, state, disk, world, postman):
    night(world, MILD_C)
    morning(settings, state, at(6))
    night(world, COLD_C, 16)
    assert evening(settings, state, at(18)).letter is not None
    disk.fill()
    with pytest.raises(StoreError) as caught:
        evening(settings, state, at(20))
    assert not isinstance(caught.value, UnsentError)
    assert len(postman.letters) == 2


@pytest.fixture
def newer(tmp_path, settings):
    """A store that a newer haulm has written."""
    state = StateFolder(tmp_path / "state")
    with open_database(state.store):
        pass
    with sqlite3.connect(state.store) as connection:
        connection.execute("PRAGMA user_version = 999")
    connection.close()
    return state


def test_a_store_of_a_newer_haulm_hides_no_letter(settings, newer, postman):
    before = newer.store.read_bytes()
    with pytest.raises(UnsentError, match="newer haulm") as caught:
        morning(settings, newer, at(6))
    assert caught.value.exit_code == Exit.PARTLY
    assert "Newest day observed: Mon 3 May" in caught.value.letter.text
    assert (newer.store.read_bytes(), postman.letters) == (before, [])


@pytest.mark.parametrize("words", [[], ["--json"]])
def test_the_command_shows_it_and_tells_it_to_the_log(
    settings_file, newer, network, monkeypatch, capsys, caplog, words
):
    for name, value in network.items():
        monkeypatch.setenv(name, value)
    caplog.set_level(logging.INFO, "haulm")
    with time_machine.travel(at(6)):
        code = cli.main(["morning", "--settings", str(settings_file), "--state", str(newer.path), *words])
    shown = capsys.readouterr()
    assert code == Exit.PARTLY
    assert shown.out.startswith("{" if words else "")
    assert "What this is based on" in (caplog.text if words else shown.out)
    assert "| What this is based on" in caplog.text
    assert "So this letter was not sent" in shown.err
    assert "exit=1 letter=no" in caplog.text


def test_where_no_disk_has_room_that_is_told():
    with pytest.raises(StoreError, match="no disk has"), room_for(shutil.disk_usage("/").total * 10**6):
        pass


def test_a_timer_starts_the_morning_though_the_store_tells_nothing(settings_file, newer, network, capfd):
    hour = {"HAULM_THRESHOLDS__DATA__LETTER_CATCH_UP_UNTIL": "23:59"}
    code = once(settings_file, newer, {**os.environ, **network, **hour}, datetime.now(UTC))
    told = capfd.readouterr().err
    assert code == Exit.PARTLY
    assert "What this is based on" in told
    assert "Memory: it was written by a newer haulm" in told
