"""Copies of a store in use: whole, sound, closed to others, thinned out, and never in the way."""

import os
import shutil
import sqlite3
import stat
from collections import namedtuple
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from haulm.errors import BusyError, DamagedError, StoreError
from haulm.steps import Step
from haulm.store.copies import copies_in, newest_sound, thin_out
from haulm.store.database import Database, copies_of, damaged_of, open_database
from haulm.store.letters import Address, StoredLetter, keep_letter, letter_of
from haulm.store.lock import lock
from haulm.store.migrations import MIGRATIONS
from haulm.store.readable import check_copy_whole, runs_begun
from haulm.store.runs import begin_run
from haulm.store.soundness import check_copy

VERSION = len(MIGRATIONS)


@pytest.fixture
def folder(path: Path) -> Path:
    return copies_of(path)


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def named(folder: Path, *stamps: str) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for stamp in stamps:
        (folder / f"haulm-{stamp}.sqlite").write_bytes(b"")


def names(folder: Path) -> list[str]:
    return [copy.path.name.removeprefix("haulm-").removesuffix(".sqlite") for copy in copies_in(folder)]


def test_a_copy_holds_what_the_store_holds_and_is_one_file_closed_to_others(
    database: Database, folder: Path, letter: StoredLetter, addresses: tuple[Address, ...], now: datetime
) -> None:
    keep_letter(database, letter, addresses)
    copy = database.copy(folder, now)
    assert copy.path.name == "haulm-20270412T053000Z.sqlite"
    assert sorted(beside.name for beside in folder.iterdir()) == [".lock", copy.path.name]
    assert (mode(folder), mode(copy.path)) == (0o700, 0o600)
    shutil.copy(copy.path, folder / "taken.sqlite")
    with open_database(folder / "taken.sqlite") as taken:
        assert letter_of(taken, letter.garden, letter.kind, letter.day) == letter


def test_what_lies_only_in_the_log_is_copied_too(
    path: Path, database: Database, folder: Path, letter: StoredLetter, now: datetime
) -> None:
    keep_letter(database, letter, ())
    assert path.with_name("haulm.sqlite-wal").stat().st_size > 0
    copy = database.copy(folder, now)
    with sqlite3.connect(copy.path) as taken:
        assert taken.execute("SELECT COUNT(*) FROM letters").fetchone() == (1,)
        assert taken.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    taken.close()


def test_a_copy_is_made_beside_one_that_writes(path: Path, database: Database, folder: Path, now: datetime) -> None:
    with open_database(path) as other, other.transaction(Step.RUN_BEGUN):
        other.rows("INSERT INTO runs VALUES (1, 'g', 'k', 'd', 's', NULL, 'running', NULL, '')")
        copy = database.copy(folder, now)
    with sqlite3.connect(copy.path) as taken:
        assert taken.execute("SELECT COUNT(*) FROM runs").fetchone() == (0,)
    taken.close()


def test_a_copy_of_a_damaged_store_never_takes_its_name(path: Path, folder: Path, now: datetime) -> None:
    open_database(path).close()
    with path.open("r+b") as file:
        file.seek(4096 * 3)
        file.write(b"\xff" * 4096)
    with open_database(path) as database, pytest.raises(DamagedError):
        database.copy(folder, now)
    assert copies_in(folder) == ()
    assert [beside.name for beside in folder.iterdir()] == [".lock"]


def test_two_copies_are_not_made_at_once(database: Database, folder: Path, now: datetime) -> None:
    with lock(folder / ".lock", now), pytest.raises(BusyError):
        database.copy(folder, now)


def test_without_room_no_copy_is_made(
    database: Database, folder: Path, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(10**6, 10**6 - 1000, 1000))
    with pytest.raises(StoreError, match="MB are free"):
        database.copy(folder, now)
    assert copies_in(folder) == ()


def test_without_room_what_was_set_aside_and_the_oldest_copies_make_way(
    database: Database, path: Path, folder: Path, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    named(folder, *(f"2027050{number}T053000Z" for number in range(1, 7)))
    aside = [damaged_of(path) / f"haulm-2027040{number}T053000Z.sqlite" for number in (1, 2)]
    aside[0].parent.mkdir()
    for number, file in enumerate(aside):
        file.write_bytes(b"")
        os.utime(file, (number, number))
    usage = namedtuple("usage", "total used free")

    def only_once_files_are_gone(_: Path) -> tuple[int, int, int]:
        return usage(10**9, 0, 10**9 if len(copies_in(folder)) <= 4 and not aside[0].exists() else 1000)

    monkeypatch.setattr(shutil, "disk_usage", only_once_files_are_gone)
    made = database.copy(folder, now)
    assert not aside[0].exists()
    assert aside[1].exists(), "the newest is kept for a look"
    assert made in copies_in(folder)
    older = [name for name in names(folder) if name != f"{made.made:%Y%m%dT%H%M%SZ}"]
    assert older == [f"2027050{number}T053000Z" for number in (6, 5, 4, 3)]


def test_the_newest_few_copies_never_make_way(
    database: Database, folder: Path, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    named(folder, *(f"2027050{number}T053000Z" for number in range(1, 7)))
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(10**6, 10**6 - 1000, 1000))
    with pytest.raises(StoreError, match="MB are free"):
        database.copy(folder, now)
    assert names(folder) == [f"2027050{number}T053000Z" for number in (6, 5, 4)]


def test_a_file_in_the_folders_place_is_told(database: Database, folder: Path, now: datetime) -> None:
    folder.write_text("")
    with pytest.raises(StoreError, match="a file, not a folder"):
        database.copy(folder, now)


def test_thinning_out_keeps_days_and_weeks(folder: Path) -> None:
    first = datetime(2027, 1, 1, 6, 30, tzinfo=UTC)
    now = first + timedelta(days=99)
    named(folder, *(f"{first + timedelta(days=n):%Y%m%dT%H%M%SZ}" for n in range(100)))
    named(folder, "20270409T180000Z")
    thin_out(folder, 3, 2, now)
    assert names(folder) == [
        "20270410T063000Z",  # today, which is also the newest of its week
        "20270409T180000Z",  # the later of two of one day
        "20270408T063000Z",
        "20270404T063000Z",  # the Sunday of the week before
    ]


def test_thinning_out_counts_days_that_have_a_copy(folder: Path) -> None:
    """After months without a run the old copies are still worth more than none."""
    named(folder, "20270101T063000Z", "20270102T063000Z", "20270103T063000Z")
    assert thin_out(folder, 2, 0, datetime(2027, 8, 1, tzinfo=UTC))[0].path.name == "haulm-20270101T063000Z.sqlite"
    assert names(folder) == ["20270103T063000Z", "20270102T063000Z"]


def test_thinning_out_keeps_the_last_copy_before_a_change_of_tables_and_those_of_a_wrong_clock(folder: Path) -> None:
    named(folder, "20260101T063000Z-version-1", "20260601T063000Z-version-2", "20270103T063000Z", "20380119T031407Z")
    (folder / "notes.txt").write_text("a hand's own file is left alone")
    thin_out(folder, 1, 0, datetime(2027, 1, 3, 7, tzinfo=UTC))
    assert names(folder) == ["20380119T031407Z", "20270103T063000Z", "20260601T063000Z-version-2"]
    assert (folder / "notes.txt").exists()


def test_the_newest_sound_copy_is_found_past_damaged_ones(database: Database, folder: Path, now: datetime) -> None:
    sound = database.copy(folder, now)
    named(folder, "20270413T053000Z")
    (folder / "haulm-20270414T053000Z.sqlite").write_bytes(b"\x00" * 50_000)
    copied = bytearray(sound.path.read_bytes())
    copied[4096 * 3 : 4096 * 4] = b"\xff" * 4096
    (folder / "haulm-20270415T053000Z.sqlite").write_bytes(copied)
    (folder / "haulm-20270416T053000Z.sqlite").write_bytes(sound.path.read_bytes()[: 4096 * 4])
    found, unsound = newest_sound(folder, check_copy_whole, runs_begun)
    assert found == sound
    assert {copy.made.day for copy, _ in unsound} == {16, 15, 14, 13}
    assert all(why for _, why in unsound)


@pytest.mark.parametrize("ahead", [timedelta(days=9), timedelta(days=4000), timedelta(0)])
def test_the_newest_copy_is_the_one_that_came_farthest(database: Database, folder: Path, now: datetime, ahead) -> None:
    """Whatever a clock that was wrong for a day has called it: also once that day has come."""
    begin_run(database, "g", "morning", now.date(), now)
    wrong = database.copy(folder, now + ahead)
    assert newest_sound(folder, check_copy_whole, runs_begun)[0] == wrong
    begin_run(database, "g", "morning", now.date(), now)
    right = database.copy(folder, now - timedelta(days=3))
    assert newest_sound(folder, check_copy_whole, runs_begun)[0] == right


def test_a_strangers_file_and_a_newer_one_are_no_copies(folder: Path, database: Database, now: datetime) -> None:
    copy = database.copy(folder, now)
    with pytest.raises(StoreError, match="newer haulm"):
        check_copy(copy.path, VERSION - 1)
    with sqlite3.connect(folder / "theirs.sqlite") as theirs:
        theirs.execute("CREATE TABLE letters (a)")
    theirs.close()
    with pytest.raises(DamagedError, match="no store of haulm's"):
        check_copy(folder / "theirs.sqlite", VERSION)
    with sqlite3.connect(copy.path) as changed:
        changed.execute(f"PRAGMA user_version = {VERSION + 1}")
    changed.close()
    assert newest_sound(folder, check_copy_whole, runs_begun)[0] is None
