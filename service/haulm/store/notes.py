"""The index of the journal: made again from its file whenever that helps; what the file has lost stays in it."""

import sqlite3
from datetime import date

from haulm.garden import Cause, Entry, Journal, What
from haulm.steps import Step
from haulm.store.database import Database
from haulm.store.instants import instant_of, instant_text

_COLUMNS = "garden, id, place, instant, day, bed, planting, what, written, value, cause, origin, withdraws"


def reindex(database: Database, garden: str, journal: Journal) -> int:
    """Make the index of a garden anew from its journal, and return how many notes the file has lost."""
    with database.transaction(Step.NOTES_INDEXED):
        lost = lost_notes(database, garden, journal)
        database.rows("DELETE FROM notes WHERE garden = ?", (garden,))
        database.run_many(
            f"INSERT INTO notes ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",  # noqa: S608 -- a constant
            [
                (
                    *(
                        garden,
                        note.id,
                        place,
                        instant_text(note.instant),
                        note.day.isoformat(),
                        note.bed,
                        note.planting,
                    ),
                    *(note.what, note.written, note.value, note.cause, note.origin, note.withdraws),
                )
                for place, note in enumerate((*journal.entries, *lost))
            ],
        )
    return len(lost)


def lost_notes(database: Database, garden: str, journal: Journal) -> tuple[Entry, ...]:
    """The indexed notes that the journal's file does not hold any more, in the order they had in it.

    The file is only ever added to, so something has happened to it.
    """
    held = {note.id for note in journal.entries}
    return tuple(note for note in read_notes(database, garden, date.min, date.max) if note.id not in held)


def read_notes(database: Database, garden: str, first: date, last: date, bed: str = "") -> tuple[Entry, ...]:
    """The indexed notes about a span of local days, both included, of one bed where named, in the order of the file.

    Withdrawn notes and those that withdraw are among them, as they are in the file.
    """
    rows = database.rows(
        """SELECT * FROM notes WHERE garden = ?1 AND day BETWEEN ?2 AND ?3 AND (?4 = '' OR bed = ?4) ORDER BY place""",
        (garden, first.isoformat(), last.isoformat(), bed),
    )
    return tuple(_entry(row) for row in rows)


def _entry(row: sqlite3.Row) -> Entry:
    return Entry(
        id=row["id"],
        instant=instant_of(row["instant"]),
        day=date.fromisoformat(row["day"]),
        bed=row["bed"],
        planting=row["planting"],
        what=What(row["what"]) if row["what"] else None,
        written=row["written"],
        value=row["value"],
        cause=Cause(row["cause"]) if row["cause"] else None,
        origin=row["origin"],
        withdraws=row["withdraws"],
    )
