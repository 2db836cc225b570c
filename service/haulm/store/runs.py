"""The runs of each letter day: when, how they ended, and what was to be said about it."""

import sqlite3
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import StrEnum

from haulm.steps import Step
from haulm.store.database import Database
from haulm.store.instants import instant_of, instant_text

_CUT_OFF = "The run was cut off."


class Outcome(StrEnum):
    """How far a run came. One that was cut off stays `RUNNING` or `WRITTEN`, with no end, until the next finds it."""

    RUNNING = "running"
    WRITTEN = "letter written"
    DONE = "done"
    PARTLY = "partly failed"
    FAILED = "failed"
    CUT_OFF = "cut off"


@dataclass(frozen=True, slots=True)
class Run:
    """One run for a garden, a kind of letter and a local day. `ended` and `exit_code` are None while it goes on.

    Of one that was cut off `ended` is when that was found, and there is no exit code.
    """

    id: int
    garden: str
    kind: str
    day: date
    started: datetime
    ended: datetime | None
    outcome: Outcome
    exit_code: int | None
    note: str


def note_cut_off(database: Database, garden: str, now: datetime) -> tuple[Run, ...]:
    """Mark the runs that never ended, and return them. Asked while holding the garden's lock: none of them lives."""
    if database.row("SELECT 1 FROM runs WHERE garden = ? AND ended IS NULL", (garden,)) is None:
        return ()
    with database.transaction(Step.CUT_OFF_NOTED):
        rows = database.rows(
            """UPDATE runs SET ended = ?, outcome = CASE outcome WHEN ? THEN ? ELSE outcome END,
                   note = CASE note WHEN '' THEN ? ELSE note || ' ' || ? END
               WHERE garden = ? AND ended IS NULL RETURNING *""",
            (instant_text(now), Outcome.RUNNING, Outcome.CUT_OFF, *[_CUT_OFF] * 2, garden),
        )
    return tuple(_run(row) for row in rows)


def begin_run(database: Database, garden: str, kind: str, day: date, now: datetime) -> int:
    """Note that a run begins, and return its number. It is on the disk at once: a run that is killed is not hidden."""
    with database.transaction(Step.RUN_BEGUN):
        added = database.rows(
            "INSERT INTO runs (garden, kind, day, started, outcome, note) VALUES (?, ?, ?, ?, ?, '') RETURNING id",
            (garden, kind, day.isoformat(), instant_text(now), Outcome.RUNNING),
        )
    return int(added[0]["id"])


def mark_written(database: Database, run: int, note: str = "") -> None:
    """Note that the run's letter is stored."""
    with database.transaction(Step.LETTER_STORED):
        database.rows("UPDATE runs SET outcome = ?, note = ? WHERE id = ?", (Outcome.WRITTEN, note, run))


def end_run(database: Database, run: int, now: datetime, outcome: Outcome, exit_code: int, note: str = "") -> None:
    """Note how a run ended; an empty note leaves the one it has."""
    with database.transaction(Step.RUN_ENDED):
        database.rows(
            """UPDATE runs SET ended = ?1, outcome = ?2, exit_code = ?3, note = CASE WHEN ?4 = '' THEN note ELSE ?4 END
               WHERE id = ?5""",
            (instant_text(now), outcome, int(exit_code), note, run),
        )


def read_runs(database: Database, garden: str, since: date, kind: str = "") -> tuple[Run, ...]:
    """All runs for a local day and those after it, of one kind or of all, in the order they began."""
    rows = database.rows(
        "SELECT * FROM runs WHERE garden = ? AND kind = ? AND day >= ? ORDER BY started, id"
        if kind
        else "SELECT * FROM runs WHERE garden = ? AND kind <> ? AND day >= ? ORDER BY started, id",
        (garden, kind, since.isoformat()),
    )
    return tuple(_run(row) for row in rows)


def has_run(database: Database, garden: str) -> bool:
    """Whether a garden ever had a run."""
    return database.row("SELECT 1 FROM runs WHERE garden = ? LIMIT 1", (garden,)) is not None


def keep_event(database: Database, kind: str, now: datetime, note: str, *, newest_only: bool = False) -> None:
    """Note what happened to the store itself, whose gardens may be many: a run of no garden, on its day in UTC."""
    with database.transaction(Step.EVENT_NOTED):
        if newest_only:
            database.rows("DELETE FROM runs WHERE garden = '' AND kind = ?", (kind,))
        end_run(database, begin_run(database, "", kind, now.astimezone(UTC).date(), now), now, Outcome.DONE, 0, note)


def events(database: Database, kind: str) -> tuple[Run, ...]:
    """What happened to the store itself, of one kind, in the order of time."""
    rows = database.rows("SELECT * FROM runs WHERE garden = '' AND kind = ? ORDER BY started, id", (kind,))
    return tuple(_run(row) for row in rows)


def first_run(database: Database) -> datetime | None:
    """When the first run of any garden began."""
    row = database.row("SELECT started FROM runs WHERE garden <> '' ORDER BY id LIMIT 1")
    return instant_of(row["started"]) if row is not None else None


def _run(row: sqlite3.Row) -> Run:
    return Run(
        id=row["id"],
        garden=row["garden"],
        kind=row["kind"],
        day=date.fromisoformat(row["day"]),
        started=instant_of(row["started"]),
        ended=instant_of(row["ended"]) if row["ended"] else None,
        outcome=Outcome(row["outcome"]),
        exit_code=row["exit_code"],
        note=row["note"],
    )
