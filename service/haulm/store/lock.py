"""A lock that one run holds: taken without waiting, let go by the system even when the run is killed."""

import json
import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path

from haulm.errors import BusyError, StoreError
from haulm.files import explain, make_folder
from haulm.store.instants import instant_text

if sys.platform == "win32":
    import msvcrt

    # A byte far behind what is written in the file: Windows lets nobody read a locked byte.
    _LOCKED_BYTE = 1 << 20

    def _take(descriptor: int, *, shared: bool = False) -> None:
        if not shared:  # it knows no shared locks, and lets nobody move a file that another has open
            os.lseek(descriptor, _LOCKED_BYTE, os.SEEK_SET)
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _take(descriptor: int, *, shared: bool = False) -> None:
        fcntl.flock(descriptor, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)


_PAUSE_S = 0.02


@contextmanager
def lock(path: Path, now: datetime, *, holder: str = "haulm", patience_s: float = 0.0) -> Iterator[None]:
    """Hold a lock file while the block runs.

    The file stays behind and means nothing by itself: what counts is the system's lock on it, which ends with the
    process. Its words only tell others who holds it.

    Parameters
    ----------
    now
        The instant told to others as the beginning.
    holder
        What is running, for the message that others get.
    patience_s
        How long to wait for it, in seconds; by default not at all.

    Raises
    ------
    BusyError
        Another run holds it.
    StoreError
        The file cannot be made, or its disk knows no locks.
    """
    descriptor = _opened(path)
    try:
        _take_within(descriptor, path, patience_s)
        _write(descriptor, json.dumps({"process": os.getpid(), "since": instant_text(now), "holder": holder}))
        try:
            yield
        finally:
            _write(descriptor, "")
    finally:
        os.close(descriptor)


def hold_with_others(path: Path, *, patience_s: float = 0.0) -> int:
    """Hold a lock that any number may hold beside each other, until `let_go` of what is returned.

    `lock` on the same file waits until all of them have let go, and they wait for it.

    Raises
    ------
    BusyError, StoreError
        As for `lock`.
    """
    descriptor = _opened(path)
    try:
        _take_within(descriptor, path, patience_s, shared=True)
    except BaseException:
        os.close(descriptor)
        raise
    return descriptor


def let_go(descriptor: int) -> None:
    """Let go of a lock held with others."""
    os.close(descriptor)


def _opened(path: Path) -> int:
    try:
        make_folder(path.parent)
        return os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as fault:
        what, remedy = explain(fault)
        raise StoreError(f"the lock cannot be opened: {what}", where=str(path), remedy=remedy) from fault


def _take_within(descriptor: int, path: Path, patience_s: float, *, shared: bool = False) -> None:
    until = time.monotonic() + patience_s
    while True:
        try:
            return _take(descriptor, shared=shared)
        except (BlockingIOError, PermissionError) as fault:
            if time.monotonic() >= until:
                raise BusyError(_who_holds(path), where=str(path), remedy="Try again when it is done.") from fault
            time.sleep(_PAUSE_S)
        except OSError as fault:
            raise StoreError(
                f"this disk gives no locks ({fault.strerror})",
                where=str(path),
                remedy="Keep the store on a local disk.",
            ) from fault


def _who_holds(path: Path) -> str:
    try:
        told = json.loads(path.read_text("utf-8"))
        return f"{told['holder']} holds the lock, process {told['process']}, since {told['since']}"
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return "another run holds the lock"  # it has only just taken it, and not said who it is


def _write(descriptor: int, words: str) -> None:
    # Who holds it is a courtesy: on a full disk the lock holds without, and what needs the room tells of it.
    with suppress(OSError):
        os.ftruncate(descriptor, 0)
        os.lseek(descriptor, 0, os.SEEK_SET)
        os.write(descriptor, words.encode("utf-8"))
