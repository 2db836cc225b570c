"""What was said, in the store: facts of the past, never worked out again."""

import sqlite3
from collections.abc import Iterable
from datetime import date

from haulm.advice import Said
from haulm.steps import Step
from haulm.store.database import Database
from haulm.store.instants import day_of, day_text

_COLUMNS = "garden, rule, bed, planting, episode, day, verdict, level, first_on, last_on, ended_on"


def keep_said(database: Database, garden: str, day: date, episodes: Iterable[Said]) -> None:
    """Store each episode that the letter of a local day began or changed, as it stood after that letter."""
    with database.transaction(Step.LETTER_STORED):
        before = set(read_said(database, garden))
        database.run_many(
            f"INSERT OR REPLACE INTO said ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",  # noqa: S608 -- a constant
            [
                (
                    *(
                        garden,
                        said.rule,
                        said.bed,
                        said.planting,
                        said.episode,
                        day.isoformat(),
                        said.verdict,
                        said.level,
                    ),
                    *(said.first_on.isoformat(), said.last_on.isoformat(), day_text(said.ended_on)),
                )
                for said in episodes
                if said not in before
            ],
        )


def read_said(database: Database, garden: str, before: date | None = None) -> tuple[Said, ...]:
    """All episodes of a garden in the order they began, as they stand now.

    With `before`, as they stood ahead of that day's first letter: so a morning can be worked out afresh.
    """
    # SQLite gives the other columns from the row that holds the maximum.
    rows = database.rows(
        """SELECT rule, bed, planting, episode, verdict, level, first_on, last_on, ended_on, MAX(day) FROM said
           WHERE garden = ? AND day < ? GROUP BY rule, bed, planting, episode
           ORDER BY first_on, rule, bed, planting, episode""",
        (garden, "9999-12-32" if before is None else before.isoformat()),
    )
    return tuple(_said(row) for row in rows)


def _said(row: sqlite3.Row) -> Said:
    return Said(
        rule=row["rule"],
        bed=row["bed"],
        planting=row["planting"],
        episode=row["episode"],
        verdict=row["verdict"],
        level=row["level"],
        first_on=date.fromisoformat(row["first_on"]),
        last_on=date.fromisoformat(row["last_on"]),
        ended_on=day_of(row["ended_on"]),
    )
