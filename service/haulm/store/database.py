"""The store's one file: opened, brought up to date, written in transactions.

Whoever has it open holds a lock beside it together with all others who do; only who puts another file in its place
(`haulm.store.mend`) holds that lock alone.
"""

import logging
import math
import os
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from time import monotonic, sleep
from types import TracebackType

from haulm.errors import BusyError, DamagedError, HaulmError, StoreError
from haulm.files import explain, make_folder
from haulm.steps import Step, marked
from haulm.store.copies import Copy, make_copy
from haulm.store.faults import MEND, PATIENCE_S, RAISED, told
from haulm.store.instants import instant_of
from haulm.store.lock import hold_with_others, let_go
from haulm.store.migrations import MIGRATIONS, tables_of
from haulm.store.post_book import FOLDER as POST_BOOK
from haulm.store.soundness import APPLICATION_ID, check

Value = None | int | float | str | bytes

_LOG = logging.getLogger("haulm")
_OLDEST_SQLITE = (3, 37, 0)  # the first that knows STRICT tables
_PRAGMAS = ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON", "query_only = ON")


class Database:
    """An open store. Close it, or use it in a `with`.

    Every fault of the database is raised as a `StoreError`, or a `BusyError` where waiting helps.
    """

    __slots__ = ("_connection", "_held", "path")

    def __init__(self, path: Path, connection: sqlite3.Connection, held: int | None = None) -> None:
        self.path = path
        self._connection = connection
        self._held = held

    def __enter__(self) -> "Database":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file, and let go of the lock; what is not committed is gone."""
        self._connection.close()
        if self._held is not None:
            let_go(self._held)
            self._held = None

    def check(self, *, full: bool = False, patience_s: float = math.inf) -> bool:
        """Check all tables; False if the time was up before the end. `DamagedError` where something is wrong."""
        return check(self._connection, self.path, full=full, patience_s=patience_s)

    def try_to_write(self) -> None:
        """Fail as a run would that cannot write; nothing is changed."""
        self.rows("PRAGMA query_only = OFF")
        self.rows("BEGIN IMMEDIATE")
        try:
            self.rows("DELETE FROM runs WHERE 0")
        finally:
            self.rows("ROLLBACK")
            self.rows("PRAGMA query_only = ON")

    def copy(self, folder: Path, made: datetime) -> Copy:
        """Make a sound copy in a folder; the errors are those of `make_copy`.

        Where there is no room, stores that were damaged and set aside go before older copies do, all but the newest.
        """
        damaged = sorted(damaged_of(self.path).glob("*.sqlite"), key=lambda file: file.stat().st_mtime)[:-1]
        spare = [file.with_name(file.name + part) for file in damaged for part in ("", "-wal", "-shm")]
        return make_copy(self._connection, folder, made, len(MIGRATIONS), spare=spare)

    def rows(self, statement: str, values: Sequence[Value] = ()) -> list[sqlite3.Row]:
        """All rows that a statement gives."""
        try:
            with closing(self._connection.execute(statement, values)) as cursor:
                return cursor.fetchall()
        except RAISED as fault:
            raise told(self.path, fault, in_transaction=self._connection.in_transaction) from fault

    def row(self, statement: str, values: Sequence[Value] = ()) -> sqlite3.Row | None:
        """The first row that a statement gives, None if it gives none."""
        found = self.rows(statement, values)
        return found[0] if found else None

    def run_many(self, statement: str, values: Iterable[Sequence[Value]]) -> None:
        """One statement for each row of values."""
        try:
            self._connection.executemany(statement, values).close()
        except RAISED as fault:
            raise told(self.path, fault) from fault

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

    Before a store in use is brought up, it is copied: no hand is needed to go back.

    Raises
    ------
    DamagedError
        It is damaged, or no database at all.
    StoreError
        It cannot be opened, is no store, was written by a newer haulm, or this SQLite is too old.
    BusyError
        Another file is just being put in its place.
    """
    if sqlite3.sqlite_version_info < _OLDEST_SQLITE:
        raise StoreError(
            f"SQLite {sqlite3.sqlite_version} is too old for the store, which needs 3.37",
            remedy="Use a Python that brings a newer SQLite.",
        )
    held = hold_with_others(lock_of(path), patience_s=PATIENCE_S)
    try:
        _refuse_gone(path)
        database = connect(path, held)
    except HaulmError:
        let_go(held)
        raise
    try:
        _copy_before_migration(database)
        migrate(database)
    except HaulmError:
        database.close()
        raise
    return database


def _refuse_gone(path: Path) -> None:
    """A store that is lost is never begun anew by opening it: what it had sent would be sent again."""
    if is_there(path):
        return
    left = traces(path)
    if left:
        what = (
            f"the store is {'empty' if path.exists() else 'gone'}, though {left[0]} beside it shows that there was one"
        )
        raise DamagedError(what, where=str(path), remedy=MEND)


def is_there(path: Path) -> bool:
    """Whether there is a file with anything in it."""
    try:
        return path.stat().st_size > 0
    except OSError:
        return False


def traces(path: Path) -> tuple[str, ...]:
    """What lies beside a store and would not be there if there had never been one."""
    folders = (copies_of(path), path.with_name(POST_BOOK), damaged_of(path))
    return tuple(folder.name for folder in folders if folder.is_dir() and any(folder.glob("[!.]*")))


def lock_of(path: Path) -> Path:
    """The lock of a store."""
    return path.with_name(f".{path.name}.lock")


def copies_of(path: Path) -> Path:
    """The folder of a store's copies."""
    return path.with_name("backups")


def damaged_of(path: Path) -> Path:
    """The folder of stores that were damaged and set aside."""
    return path.with_name("damaged")


def connect(path: Path, held: int | None = None) -> Database:
    """A store as it is, of whatever version up to ours: `open_database` without its lock and its changes."""
    _make_file(path)
    database = _connected(path, held)
    try:
        _check_owner(database)
        for pragma in _PRAGMAS:
            _set_patiently(database, pragma)
    except HaulmError:
        database._connection.close()
        raise
    return database


def _copy_before_migration(database: Database) -> None:
    """What fails here stops nothing: a migration is whole or not there at all."""
    version = _pragma(database, "user_version")
    if not 0 < version < len(MIGRATIONS):
        return
    newest = database.row("SELECT MAX(started) AS started FROM runs")
    made = instant_of(newest["started"]) if newest and newest["started"] else datetime(1970, 1, 1, tzinfo=UTC)
    try:
        make_copy(database._connection, copies_of(database.path), made, len(MIGRATIONS), mark=version)
    except HaulmError as fault:
        _LOG.warning("Before the store was brought up to version %d: %s", len(MIGRATIONS), fault)


def _set_patiently(database: Database, pragma: str) -> None:
    """The change to WAL is refused at once, whatever the patience, while another run opens the same new file."""
    until = monotonic() + PATIENCE_S
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
    """Bring the tables up to the newest version in one transaction, and return that version.

    There is no way back down: an older haulm refuses the file.

    Raises
    ------
    StoreError
        The file was written by a newer haulm; nothing was changed.
    """
    _refuse_newer(database, len(steps))
    if _pragma(database, "user_version") < len(steps):
        with database.transaction(Step.TABLES_MADE):
            # Read again inside the transaction: two runs may open a new store at once.
            for statements in steps[_pragma(database, "user_version") :]:
                for statement in statements:
                    database.rows(statement)
            database.rows(f"PRAGMA application_id = {APPLICATION_ID}")
            database.rows(f"PRAGMA user_version = {len(steps)}")
    return _pragma(database, "user_version")


def _refuse_newer(database: Database, known: int) -> None:
    found = _pragma(database, "user_version")
    if found > known:
        raise StoreError(
            f"it was written by a newer haulm (version {found} of the store; this one knows {known})",
            where=str(database.path),
            remedy="Install the newer haulm again, or give this one a store of its own; this file is left as it is.",
        )


def _refuse_false_tables(database: Database) -> None:
    """Tables that are not those of the version that the head names: one or the other is damaged.

    SQLite may take the form of a table for sound, and then know no column of it; and to make tables again that a
    damaged head calls missing would fail each day anew.
    """
    # In one statement: another run may be bringing the tables up just now, all in one transaction.
    rows = database.rows(
        "SELECT name, sql, (SELECT user_version FROM pragma_user_version) AS version FROM sqlite_schema"
    )
    if not rows:
        return
    held, known = {row["name"]: row["sql"] for row in rows}, rows[0]["version"]
    false = any(held.get(name) != made for name, made in tables_of(MIGRATIONS[:known]).items())
    if false or held.keys() & tables_of(MIGRATIONS[known:]).keys():
        raise DamagedError("the store's tables are damaged", where=str(database.path), remedy=MEND)


def _make_file(path: Path) -> None:
    try:
        make_folder(path.parent)
        # Not opened where it stands: closing it again would let go of the locks that SQLite has on it in this process.
        if not path.exists():
            os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
    except OSError as fault:
        what, remedy = explain(fault)
        raise StoreError(f"the store cannot be opened: {what}", where=str(path), remedy=remedy) from fault


def _connected(path: Path, held: int | None) -> Database:
    try:
        connection = sqlite3.connect(path, isolation_level=None, timeout=PATIENCE_S)
    except RAISED as fault:
        raise told(path, fault) from fault
    connection.row_factory = sqlite3.Row
    return Database(path, connection, held)


def _check_owner(database: Database) -> None:
    # In this order: both change in one transaction, and another run may be making its first tables just now.
    empty = not database.rows("SELECT 1 FROM sqlite_schema LIMIT 1")
    owner = _pragma(database, "application_id")
    if owner == APPLICATION_ID or (owner == 0 and empty):
        _refuse_newer(database, len(MIGRATIONS))
        return _refuse_false_tables(database)
    if database.rows("SELECT 1 FROM sqlite_schema WHERE name = 'waiting_deliveries'"):
        raise DamagedError("the store's head is damaged", where=str(database.path), remedy=MEND)
    raise StoreError(
        "it is a database, but not one of haulm's",
        where=str(database.path),
        remedy="Give the store another path; this file is left as it is.",
    )


def _pragma(database: Database, name: str) -> int:
    found = database.row(f"PRAGMA {name}")
    return int(found[0]) if found else 0
