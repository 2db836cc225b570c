"""Copies of the store: made while it is in use, checked before they count, and kept for so many days and weeks.

A copy is one file, ``haulm-20270504T053012Z.sqlite``, named by the instant (UTC) it was made; one that was made before
the tables were brought up to a newer version carries the version it has. It holds all that the store does (letters,
addresses, the key that signs links) and is closed to others as the store is; its name tells nothing.
"""

import os
import re
import shutil
import sqlite3
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from haulm.errors import HaulmError, StoreError
from haulm.files import explain, make_folder, settle_folder
from haulm.steps import Step, marked
from haulm.store.faults import RAISED, told
from haulm.store.lock import lock
from haulm.store.soundness import check_copy

_NAME = re.compile(r"haulm-(\d{8}T\d{6}Z)(?:-version-(\d+))?\.sqlite")
_STAMP = "%Y%m%dT%H%M%SZ"
_CLOCKS_ERR = timedelta(days=1)
LEAST_KEPT = 3  # judgement: so many of the newest copies are never let go of to make room


@dataclass(frozen=True, slots=True)
class Copy:
    """One copy. `version` is that of its tables where it was made before they were changed, else 0."""

    made: datetime
    path: Path
    version: int = 0

    @property
    def size_bytes(self) -> int:
        """How much of the disk it takes."""
        return self.path.stat().st_size


def copies_in(folder: Path) -> tuple[Copy, ...]:
    """All copies in a folder, newest first; what bears another name is passed over."""
    try:
        names = [(path, _NAME.fullmatch(path.name)) for path in folder.iterdir()]
    except OSError:
        return ()
    found = [Copy(_instant(named[1]), path, int(named[2] or 0)) for path, named in names if named]
    return tuple(sorted(found, key=lambda copy: (copy.made, copy.version), reverse=True))


def make_copy(
    source: sqlite3.Connection, folder: Path, made: datetime, version: int, mark: int = 0, spare: Sequence[Path] = ()
) -> Copy:
    """Copy an open store as it stands at this moment; others may go on writing to it.

    The copy takes its name only when it is whole, found sound and on the disk. Where the disk has no room for it, older
    ones make way: one of today is worth more than those of last month.

    Parameters
    ----------
    made
        The instant that names it.
    version
        The version of tables that this haulm knows.
    mark
        The version of the tables, where the copy is made before they are changed.
    spare
        Files that make way first, the first of them first.

    Raises
    ------
    StoreError
        There is no room for it, it cannot be written, or what was written is not sound.
    BusyError
        Another run is making one.
    """
    stamp = made.astimezone(UTC).strftime(_STAMP)
    copy = Copy(_instant(stamp), folder / f"haulm-{stamp}{f'-version-{mark}' if mark else ''}.sqlite", mark)
    try:
        make_folder(folder)
        with lock(folder / ".lock", made, holder="a copy of the store"):
            _make_room(source, folder, spare)
            _write(source, copy.path, version)
    except RAISED as fault:
        raise told(folder, fault) from fault
    except OSError as fault:
        what, remedy = explain(fault)
        raise StoreError(f"no copy could be made: {what}", where=str(folder), remedy=remedy) from fault
    return copy


def thin_out(folder: Path, days: int, weeks: int, now: datetime) -> tuple[Copy, ...]:
    """Delete the copies that are past their time, and return them.

    What stays: the newest of each of the last `days` days and of each of the last `weeks` weeks that have one, the
    newest that was made before a change of the tables, and those that a wrong clock dated into the future.
    """
    held = [copy for copy in copies_in(folder) if copy.made <= now + _CLOCKS_ERR]
    kept = {copy.path for copy in [copy for copy in held if copy.version][:1]}
    daily = [copy for copy in held if not copy.version]
    for most, span in ((days, "%Y-%m-%d"), (weeks, "%G-%V")):
        newest = {copy.made.strftime(span): copy.path for copy in reversed(daily)}
        kept |= {newest[name] for name in sorted(newest, reverse=True)[:most]}
    gone = tuple(copy for copy in held if copy.path not in kept)
    for copy in gone:
        with marked(Step.COPY_DROPPED):
            copy.path.unlink(missing_ok=True)
    return gone


def newest_sound(
    folder: Path, check: Callable[[Path], None], progress: Callable[[Path], int]
) -> tuple[Copy | None, tuple[tuple[Copy, str], ...]]:
    """The newest copy of which a check does not complain, and those before it that are not sound, each with why.

    Newest is the one that has come farthest, told by `progress` (a number that only grows): dates are those of a
    clock, which may have been wrong.
    """
    unsound: list[tuple[Copy, str]] = []
    ordered = sorted(copies_in(folder), key=lambda copy: (progress(copy.path), copy.made), reverse=True)
    for copy in ordered:
        try:
            check(copy.path)
        except HaulmError as fault:
            unsound.append((copy, fault.what))
        else:
            return copy, tuple(unsound)
    return None, tuple(unsound)


def _write(source: sqlite3.Connection, path: Path, version: int) -> None:
    making = path.with_name(".making.sqlite")
    _clear(making)
    try:
        os.close(os.open(making, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
        _pour(source, making)
        check_copy(making, version)
        sync(making)
        with marked(Step.STORE_COPIED):
            making.replace(path)
    finally:
        _clear(making)
    settle_folder(path.parent)


def _pour(source: sqlite3.Connection, making: Path) -> None:
    try:
        with closing(sqlite3.connect(making, isolation_level=None)) as target:
            source.backup(target)  # in one go: readers and writers of a log do not hinder each other
            target.execute("PRAGMA journal_mode = DELETE").close()  # so that the copy is one file
    except RAISED as fault:
        raise told(making, fault) from fault


def _make_room(source: sqlite3.Connection, folder: Path, spare: Sequence[Path]) -> None:
    """A copy must never take the room that the next letter needs."""
    size = _number(source, "page_count") * _number(source, "page_size")
    oldest = [copy.path for copy in reversed(copies_in(folder)[LEAST_KEPT:])]
    for old in (*spare, *oldest):
        if shutil.disk_usage(folder).free >= 2 * size:
            return
        with marked(Step.COPY_DROPPED):
            old.unlink(missing_ok=True)
    if shutil.disk_usage(folder).free < 2 * size:
        raise StoreError(
            f"no copy was made: less than {2 * size / 1e6:.0f} MB are free",
            where=str(folder),
            remedy="Make room on that disk.",
        )


def _number(source: sqlite3.Connection, name: str) -> int:
    with closing(source.execute(f"PRAGMA {name}")) as cursor:
        return int(cursor.fetchone()[0])


def _clear(making: Path) -> None:
    for ending in ("", "-journal", "-wal", "-shm"):
        making.with_name(making.name + ending).unlink(missing_ok=True)


def sync(path: Path) -> None:
    """Have a file on the disk."""
    descriptor = os.open(path, os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _instant(stamp: str) -> datetime:
    return datetime.strptime(stamp, _STAMP).replace(tzinfo=UTC)
