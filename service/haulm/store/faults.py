"""What a fault of SQLite means to a person. A store that is damaged is told apart: it can be had again from a copy."""

import os
import sqlite3
from pathlib import Path

from haulm.errors import BusyError, DamagedError, StoreError
from haulm.files import is_full

PATIENCE_S = 10.0

MEND = "haulm mend puts the newest sound copy in its place; the next morning or evening does so by itself."
# Errors of reading: a sector that is gone, a file shorter than it says. The plain code is that of any disk trouble.
_UNREADABLE = frozenset(
    {
        sqlite3.SQLITE_IOERR_READ,
        sqlite3.SQLITE_IOERR_SHORT_READ,
        sqlite3.SQLITE_IOERR_CORRUPTFS,
        8202,  # SQLITE_IOERR_DATA, which the library has no name for before Python 3.12
    }
)
# Faults that have no code of their own: Python's, of a text that is none, and SQLite's of a head that it does not know.
_WITHOUT_CODE = ("Could not decode to UTF-8", "unsupported file format")
_DAMAGED = {
    sqlite3.SQLITE_CORRUPT: "the store is damaged",
    sqlite3.SQLITE_NOTADB: "it is not a database",
}
_FAULTS = {
    sqlite3.SQLITE_FULL: ("the disk is full: nothing was stored", "Make room on that disk, then run it again."),
    sqlite3.SQLITE_READONLY: (
        "the store cannot be written",
        "Give the user that runs haulm the right to write that file and its folder.",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "the store cannot be opened",
        "Check the path, and that the user that runs haulm may write in that folder.",
    ),
    sqlite3.SQLITE_CONSTRAINT: ("that stands in the store already, or does not fit it", ""),
}


# What the library raises; the second where the words of its own message are damaged.
RAISED = (sqlite3.Error, UnicodeDecodeError)


def told(
    path: Path, fault: sqlite3.Error | UnicodeDecodeError, *, in_transaction: bool = False
) -> StoreError | BusyError:
    """A fault of the library as one of ours. Within a transaction nothing but the file itself forbids writing."""
    whole = getattr(fault, "sqlite_errorcode", 0)
    code = whole & 0xFF
    if code in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}:
        return BusyError(
            f"another run has been writing to the store for over {PATIENCE_S:.0f} s",
            where=str(path),
            remedy="Try later.",
        )
    if isinstance(fault, UnicodeDecodeError) or str(fault).startswith(_WITHOUT_CODE):
        return DamagedError("the store is damaged: a text or its head cannot be read", where=str(path), remedy=MEND)
    may_write = all(os.access(one, os.W_OK) for one in (path, path.parent))
    if in_transaction and whole == sqlite3.SQLITE_READONLY and may_write:
        return DamagedError("the store's head forbids to write in it", where=str(path), remedy=MEND)
    if code in _DAMAGED or whole in _UNREADABLE:
        return DamagedError(_DAMAGED.get(code, "the disk cannot read all of the store"), where=str(path), remedy=MEND)
    if code in {sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN} and is_full(path.parent):
        code = sqlite3.SQLITE_FULL
    what, remedy = _FAULTS.get(code, (f"the store failed: {fault}", "Check the disk that it lies on."))
    return StoreError(what, where=str(path), remedy=remedy)
