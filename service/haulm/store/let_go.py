"""Old letters let go: their words and their picture, never that they were written, to whom they went, or when.

The room they took is SQLite's to use again: the file does not shrink, the next letters lie in it. A row keeps the page
that its beginning stood on, so some 2.6 KB stay of 19, where 0.9 are filled.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from haulm.steps import Step
from haulm.store.database import Database


@dataclass(frozen=True, slots=True)
class Rest:
    """What stays in the place of a letter's forms: plain text, and the form for programs."""

    text: str
    json: str


def past_letters(database: Database, garden: str, before: date, most: int) -> tuple[int, ...]:
    """The numbers of a garden's letters of earlier days that are held in full, the oldest first.

    Letters that wait to be handed over, or are on their way, are not among them.
    """
    rows = database.rows(
        """SELECT id FROM letters WHERE garden = ? AND day < ? AND html <> '' AND NOT EXISTS (
               SELECT 1 FROM deliveries WHERE letter = letters.id AND status IN ('ready', 'sending'))
           ORDER BY day LIMIT ?""",
        (garden, before.isoformat(), most),
    )
    return tuple(row["id"] for row in rows)


def let_go(database: Database, letters: Sequence[int], rest: Callable[[date, str, str], Rest | None]) -> None:
    """Put what stays in the place of some letters, all of them in one transaction.

    Parameters
    ----------
    rest
        What stays of a letter, by its day, its subject and its JSON; None where it is to stay as it is.
    """
    with database.transaction(Step.LETTERS_LET_GO):
        for letter in letters:
            row = database.row("SELECT day, subject, json FROM letters WHERE id = ?", (letter,))
            left = row and rest(date.fromisoformat(row["day"]), row["subject"], row["json"])
            if left:
                database.rows(
                    "UPDATE letters SET text = ?, html = '', json = ?, picture = NULL WHERE id = ?",
                    (left.text, left.json, letter),
                )
