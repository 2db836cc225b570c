"""A damaged or lost store is set aside, and its newest sound copy takes its place.

What was damaged lies in ``damaged/`` under the instant it was set aside; the last few are kept. The order makes a kill
harmless at any point. The store's own file goes first, so that a log that stays behind is never taken for that of
another file; what takes its place is written beside it, with the note of what happened in it, and moved there in one
step. A run that finds the store gone begins here again.

No letter goes twice: what the post book knows is brought in before anything is handed over, whatever the copy says.
"""

import errno
import os
import shutil
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from haulm.errors import DamagedError, StoreError
from haulm.files import explain, make_folder, settle_folder
from haulm.steps import Step, marked
from haulm.store.copies import Copy, newest_sound, sync
from haulm.store.database import connect, copies_of, damaged_of, is_there, lock_of, migrate
from haulm.store.lock import lock
from haulm.store.readable import check_copy_whole, check_whole, runs_begun
from haulm.store.runs import keep_event

MENDED = "mend"
_PATIENCE_S = 10.0
_PARTS = ("", "-wal", "-shm")
KEPT_ASIDE = 3  # judgement: enough to look into what keeps happening


@dataclass(frozen=True, slots=True)
class Restored:
    """What was done: where the damaged store lies now, if there was any of it; the copy, if there was one.

    `unsound` are newer copies that could not be used, each with why; `told` is one sentence or two for a letter.
    """

    aside: Path | None
    copy: Copy | None
    unsound: tuple[tuple[Copy, str], ...]
    told: str


def restore(path: Path, now: datetime) -> Restored | None:
    """Put the newest sound copy in the place of a store, or a new store where there is none; None if it is sound.

    Raises
    ------
    BusyError
        Another run has the store open.
    StoreError
        The store was written by a newer haulm or is none, or the disk does not take the copy.
    """
    with lock(lock_of(path), now, holder="haulm mend", patience_s=_PATIENCE_S):
        if is_sound(path):
            return None  # another run has mended it meanwhile, or it never was damaged
        copy, unsound = newest_sound(copies_of(path), check_copy_whole, runs_begun)
        try:
            was = "damaged" if is_there(path) else "gone"
            aside = _set_aside(path, now)
            told = _told(was, aside, copy)
            _place(path, copy, now, told)
        except OSError as fault:
            what, remedy = explain(fault)
            raise StoreError(f"the store could not be mended: {what}", where=str(path), remedy=remedy) from fault
    return Restored(aside, copy, unsound, told)


def is_sound(path: Path) -> bool:
    """Whether a store is there and a full check finds nothing wrong; its lock is held.

    Raises
    ------
    StoreError
        It was written by a newer haulm, is not one of haulm's, or cannot be read.
    """
    if not is_there(path):
        return False
    try:
        with connect(path) as database:
            check_whole(database)
            database.try_to_write()
            return True
    except DamagedError:
        return False


def _set_aside(path: Path, now: datetime) -> Path | None:
    there = [part for part in _PARTS if path.with_name(path.name + part).exists()]
    if not there:
        return None
    folder = damaged_of(path)
    make_folder(folder)
    stem = f"haulm-{now.astimezone(UTC):%Y%m%dT%H%M%SZ}"
    number = 1
    while any(folder.glob(f"{_numbered(stem, number)}.sqlite*")):
        number += 1
    aside = folder / f"{_numbered(stem, number)}.sqlite"
    for part in there:
        with marked(Step.STORE_SET_ASIDE):
            path.with_name(path.name + part).replace(aside.with_name(aside.name + part))
    _drop_oldest(folder, aside)
    settle_folder(folder)
    settle_folder(path.parent)
    return aside


def _drop_oldest(folder: Path, aside: Path) -> None:
    """Let go of all but the newest few: a card that damages the store again and again must not fill itself with them.

    Its room is that of the copies, which are worth more. Newest by the file's own time, not by a name from a clock.
    """
    held = sorted(folder.glob("*.sqlite"), key=lambda file: (file != aside, -file.stat().st_mtime))
    for old in held[KEPT_ASIDE:]:
        for part in _PARTS:
            with marked(Step.COPY_DROPPED):
                old.with_name(old.name + part).unlink(missing_ok=True)


def _numbered(stem: str, number: int) -> str:
    return stem if number == 1 else f"{stem}-{number}"


def _place(path: Path, copy: Copy | None, now: datetime, told: str) -> None:
    beside = path.with_name(f".{path.name}.restoring")
    for part in _PARTS:
        beside.with_name(beside.name + part).unlink(missing_ok=True)
    if copy is not None:
        _fetch(copy, beside)
    with connect(beside) as database:
        if copy is None:
            migrate(database)
        keep_event(database, MENDED, now, told)
    sync(beside)
    with marked(Step.STORE_PUT_BACK):
        beside.replace(path)
    settle_folder(path.parent)


def _fetch(copy: Copy, beside: Path) -> None:
    os.close(os.open(beside, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
    try:
        shutil.copyfile(copy.path, beside)
    except OSError as fault:
        if fault.errno not in {errno.ENOSPC, errno.EDQUOT}:
            raise
        with marked(Step.COPY_DROPPED):  # there is no room for both: better one copy less than no letter
            copy.path.replace(beside)


def _told(was: str, aside: Path | None, copy: Copy | None) -> str:
    kept = f" and is set aside as {aside.parent.name}/{aside.name}" if aside is not None else ""
    begins = f"haulm's memory (its file haulm.sqlite) was {was}{kept}."
    if copy is not None:
        return (
            f"{begins} Its copy of {copy.made:%A %-d %B %Y, %H:%M} UTC took its place: what came in since is fetched "
            "anew or forgotten. Your notes have a file of their own, and no letter is sent twice."
        )
    return (
        f"{begins} There was no sound copy, so it begins anew: your notes have a file of their own, but what earlier "
        "letters said is forgotten, so some of it may be said again, and links to answer by in them no longer work. No "
        "letter is sent twice."
    )
