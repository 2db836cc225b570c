"""The whole check of a store: its form, by SQLite, and whether what every run reads of it can be read.

A bit that flips in a date leaves the tables sound and would end each run from then on; so what says when and what was
sent and said is read once through.
"""

import math
import sqlite3
import sys
from datetime import UTC, date, datetime
from pathlib import Path

from haulm.errors import DamagedError, StoreError
from haulm.store.answers import to_be_told
from haulm.store.database import Database
from haulm.store.faults import MEND
from haulm.store.letters import all_deliveries
from haulm.store.migrations import MIGRATIONS
from haulm.store.runs import read_runs
from haulm.store.said import read_said
from haulm.store.soundness import check_copy, reading


def check_whole(database: Database, *, patience_s: float = math.inf) -> bool:
    """Check a store in full; True if all was found sound, False if the time was up before the end.

    Raises
    ------
    DamagedError
        Something is wrong, with the first of what it is.
    """
    done = database.check(full=True, patience_s=patience_s)
    with_answers = bool(database.rows("SELECT 1 FROM sqlite_schema WHERE name = 'answers'"))  # of version 3 and later
    try:
        for row in database.rows("SELECT DISTINCT garden FROM runs"):
            read_runs(database, row["garden"], date.min)
            read_said(database, row["garden"])
            all_deliveries(database, row["garden"])
            if with_answers:
                to_be_told(database, row["garden"], date.max, datetime.max.replace(tzinfo=UTC))
    except (ValueError, TypeError) as fault:
        raise DamagedError(f"the store is damaged: {fault}", where=str(database.path), remedy=MEND) from fault
    return done


def check_copy_whole(path: Path) -> None:
    """The same for a copy that nobody has open; nothing is written.

    Raises
    ------
    DamagedError
        It is damaged, empty, or not one of haulm's.
    StoreError
        It cannot be opened, or was written by a newer haulm.
    """
    check_copy(path, len(MIGRATIONS))
    with reading(path) as connection:
        connection.row_factory = sqlite3.Row
        check_whole(Database(path, connection))


def runs_begun(path: Path) -> int:
    """The number of the last run that a copy knows, which grows with every run.

    Where that cannot be read it is beyond any: such a copy is looked at first, found to be damaged, and told.
    """
    try:
        with reading(path) as connection:
            found = connection.execute("SELECT MAX(id) FROM runs").fetchone()[0]
    except StoreError:
        return sys.maxsize
    return found if isinstance(found, int) else 0
