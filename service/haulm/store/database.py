"""The store's one file: opened, brought up to date, written in transactions. The only home of sqlite3."""

import os
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from time import monotonic, sleep
from types import TracebackType

from haulm.errors import BusyError, HaulmError, StoreError
from haulm.files import explain, make_folder
from haulm.steps import Step, marked
from haulm.store.migrations import MIGRATIONS

Value = None | int | float | str | bytes

# Stands in the file's head, so that a stranger's database is never taken for a store.
APPLICATION_ID = int.from_bytes(b"hlm1", "big")

_OLDEST_SQLITE = (3, 37, 0)  # the first that knows STRICT tables
_PATIENCE_S = 10.0
_PRAGMAS = ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON", "query_only = ON")


class Database:
    """An open store. Close it, or use it in a `with`.

    Every fault of the database is raised as a `StoreError`, or a `BusyError` where waiting helps.
    """

    __slots__ = ("_connection", "path")

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self._connection = connection

    def __enter__(self) -> "Database":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; what is not committed is gone."""
        self._connection.close()

    def rows(self, statement: str, values: Sequence[Value] = ()) -> list[sqlite3.Row]:
        """All rows that a statement gives."""
        try:
            with closing(self._connection.execute(statement, values)) as cursor:
                return cursor.fetchall()
        except sqlite3.Error as fault:
            raise _told(self.path, fault) from fault

    def row(self, statement: str, values: Sequence[Value] = ()) -> sqlite3.Row | None:
        """The first row that a statement gives, None if it gives none."""
        found = self.rows(statement, values)
        return found[0] if found else None

    def run_many(self, statement: str, values: Iterable[Sequence[Value]]) -> None:
        """One statement for each row of values."""
        try:
            self._connection.executemany(statement, values).close()
        except sqlite3.Error as fault:
            raise _told(self.path, fault) from fault

    @contextmanager
    def transaction(self, step: Step) -> Iterator[None]:
        """All that is written inside stands afterwards, or nothing of it. Inside another one it is a part of that.

        Outside of it the store can only be read: so there is no commit without a name.
        """
        if self._connection.in_transaction:
            yield
            return
        self.rows("PRAGMA query_only = OFF")
        try:
            self.rows("BEGIN IMMEDIATE")
            yield
            with marked(step):
                self.rows("COMMIT")
        finally:
            # A full disk ends some transactions by itself, so this asks first.
            if self._connection.in_transaction:
                self.rows("ROLLBACK")
            self.rows("PRAGMA query_only = ON")


def open_database(path: Path) -> Database:
    """The store in a file; made on first use, closed to others, and brought up to the newest version.

    Raises
    ------
    StoreError
        It cannot be opened, is no store, was written by a newer haulm, or this SQLite is too old.
    """
    if sqlite3.sqlite_version_info < _OLDEST_SQLITE:
        raise StoreError(
            f"SQLite {sqlite3.sqlite_version} is too old for the store, which needs 3.37",
            remedy="Use a Python that brings a newer SQLite.",
        )
    _make_file(path)
    database = _connected(path)
    try:
        _check_owner(database)
        for pragma in _PRAGMAS:
            _set_patiently(database, pragma)
        migrate(database)
    except HaulmError:
        database.close()
        raise
    return database


def _set_patiently(database: Database, pragma: str) -> None:
    """The change to WAL is refused at once, whatever the patience, while another run opens the same new file."""
    until = monotonic() + _PATIENCE_S
    while True:
        try:
            database.rows(f"PRAGMA {pragma}")
        except BusyError:
            if monotonic() > until:
                raise
            sleep(0.02)
        else:
            return


def migrate(database: Database, steps: tuple[tuple[str, ...], ...] = MIGRATIONS) -> int:
    """Bring the tables up to the newest version, a transaction for each step, and return that version.

    Raises
    ------
    StoreError
        The file was written by a newer haulm.
    """
    missing = list(enumerate(steps, start=1))[_pragma(database, "user_version") :]
    for version, statements in missing:
        with database.transaction(Step.TABLES_MADE):
            # Read again inside the transaction: two runs may open a new store at once.
            if _pragma(database, "user_version") >= version:
                continue
            for statement in statements:
                database.rows(statement)
            database.rows(f"PRAGMA application_id = {APPLICATION_ID}")
            database.rows(f"PRAGMA user_version = {version}")
    found = _pragma(database, "user_version")
    if found > len(steps):
        raise StoreError(
            f"it was written by a newer haulm (version {found} of the store; this one knows {len(steps)})",
            where=str(database.path),
            remedy="Install the newer haulm again, or give this one a store of its own.",
        )
    return found


def _make_file(path: Path) -> None:
    try:
        make_folder(path.parent)
        os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
    except OSError as fault:
        what, remedy = explain(fault)
        raise StoreError(f"the store cannot be opened: {what}", where=str(path), remedy=remedy) from fault


def _connected(path: Path) -> Database:
    try:
        connection = sqlite3.connect(path, isolation_level=None, timeout=_PATIENCE_S)
    except sqlite3.Error as fault:
        raise _told(path, fault) from fault
    connection.row_factory = sqlite3.Row
    return Database(path, connection)


def _check_owner(database: Database) -> None:
    # In this order: both change in one transaction, and another run may be making its first tables just now.
    empty = not database.rows("SELECT 1 FROM sqlite_schema LIMIT 1")
    owner = _pragma(database, "application_id")
    if owner == APPLICATION_ID or (owner == 0 and empty):
        return
    raise StoreError(
        "it is a database, but not one of haulm's",
        where=str(database.path),
        remedy="Give the store another path; this file is left as it is.",
    )


def _pragma(database: Database, name: str) -> int:
    found = database.row(f"PRAGMA {name}")
    return int(found[0]) if found else 0


def _told(path: Path, fault: sqlite3.Error) -> StoreError | BusyError:
    code = getattr(fault, "sqlite_errorcode", 0) & 0xFF
    if code in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}:
        return BusyError(
            f"another run has been writing to the store for over {_PATIENCE_S:.0f} s",
            where=str(path),
            remedy="Try later.",
        )
    what, remedy = _FAULTS.get(code, (f"the store failed: {fault}", "Check the disk that it lies on."))
    return StoreError(what, where=str(path), remedy=remedy)


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
    sqlite3.SQLITE_NOTADB: ("it is not a database", "Give the store another path; this file is left as it is."),
    sqlite3.SQLITE_CORRUPT: (
        "the store is damaged",
        "Move it away and put your copy back; without one, haulm begins a new store. The journal has its own file.",
    ),
    sqlite3.SQLITE_CONSTRAINT: ("that stands in the store already, or does not fit it", ""),
}
