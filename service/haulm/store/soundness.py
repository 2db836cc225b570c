"""Whether a store is sound: what SQLite itself finds in a file, in a time that has a limit.

The quick check reads every page and row (trees, types, what must not be missing); the full one also compares each index
with its table, and reads each text as text, for SQLite would hold what is no UTF-8. Neither can tell a changed letter
within a text: SQLite keeps no sums of its pages.
"""

import math
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from time import monotonic

from haulm.errors import DamagedError, StoreError
from haulm.store.faults import MEND, RAISED, told

# Stands in the file's head, so that a stranger's database is never taken for a store.
APPLICATION_ID = int.from_bytes(b"hlm1", "big")

_MOST_TOLD = 3
_OPERATIONS = 20_000  # of SQLite's own machine between two looks at the clock: some milliseconds


def check(connection: sqlite3.Connection, path: Path, *, full: bool = False, patience_s: float = math.inf) -> bool:
    """Check all tables; True if all were found sound, False if the time was up before the end.

    Raises
    ------
    DamagedError
        Something is wrong, with the first of what it is.
    StoreError, BusyError
        The file could not be read for another reason.
    """
    until, how = monotonic() + patience_s, "integrity_check" if full else "quick_check"
    connection.set_progress_handler(lambda: monotonic() > until, _OPERATIONS)
    try:
        _find(connection, path, how)
        if full:
            _read_texts(connection)
    except RAISED as fault:
        if getattr(fault, "sqlite_errorcode", 0) == sqlite3.SQLITE_INTERRUPT:
            return False
        raise told(path, fault) from fault
    finally:
        connection.set_progress_handler(None, 0)
    return True


def _find(connection: sqlite3.Connection, path: Path, how: str) -> None:
    found = [str(row[0]) for row in _rows(connection, f"PRAGMA {how}({_MOST_TOLD})")]
    if found != ["ok"]:
        raise DamagedError(f"the store is damaged: {_first_line(found)}", where=str(path), remedy=MEND)


def _read_texts(connection: sqlite3.Connection) -> None:
    for (table,) in _rows(connection, "SELECT name FROM sqlite_schema WHERE type = 'table'"):
        columns = [str(row[1]) for row in _rows(connection, f"PRAGMA table_info('{table}')") if row[2] == "TEXT"]
        statement = f"SELECT {', '.join(columns) or 1} FROM {table}"  # noqa: S608  our own names
        with closing(connection.execute(statement)) as rows:
            for _ in rows:
                pass


def _rows(connection: sqlite3.Connection, statement: str) -> list[tuple[str, ...]]:
    with closing(connection.execute(statement)) as rows:
        return [tuple(row) for row in rows]


def check_copy(path: Path, newest_version: int, *, full: bool = False) -> None:
    """Check a store that nobody has open and that has no log beside it, without writing anything.

    Raises
    ------
    DamagedError
        It is damaged, empty, or not one of haulm's.
    StoreError
        It cannot be opened, or was written by a newer haulm.
    """
    with reading(path) as connection:
        owner, version = (connection.execute(f"PRAGMA {name}").fetchone()[0] for name in _HEAD)
        if owner != APPLICATION_ID or version < 1:
            raise DamagedError("it is no store of haulm's", where=str(path))
        if version > newest_version:
            raise StoreError("it was written by a newer haulm", where=str(path))
        check(connection, path, full=full)


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """A store that nobody has open and that has no log beside it, to be read and never written.

    Raises
    ------
    DamagedError, StoreError
        What SQLite says of it, also while the block reads.
    """
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)) as connection:
            yield connection
    except RAISED as fault:
        raise told(path, fault) from fault


_HEAD = ("application_id", "user_version")


def _first_line(found: list[str]) -> str:
    """The first problem in one line, without the library's own heading."""
    lines = [line for problem in found for line in problem.splitlines() if line and not line.startswith("***")]
    return lines[0][:120] if lines else "no table answers"
