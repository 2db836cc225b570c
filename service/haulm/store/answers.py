"""Answers by mail: each sentence once, what became of it, and how far the mailbox has been read."""

import json
import secrets
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from haulm.steps import Step
from haulm.store.database import Database
from haulm.store.instants import instant_of, instant_text

KEY_BYTES = 32


@dataclass(frozen=True, slots=True)
class Heard:
    """One sentence of an answer.

    Attributes
    ----------
    message, place
        The Message-ID it came with, and its place among the sentences of that message, from 0.
    outcome
        "note", "ask" or "nothing"; "refused" where it could not be noted.
    told
        What the next letter says of it.
    choices
        Where it is asked back: phrases it may have meant.
    """

    message: str
    place: int
    received: datetime
    sender: str
    bed: str
    sentence: str
    outcome: str
    told: str
    choices: tuple[str, ...] = ()


def keep_heard(database: Database, garden: str, heard: Iterable[Heard]) -> None:
    """Store sentences; those of a message that is held already are left as they are."""
    with database.transaction(Step.ANSWERS_KEPT):
        database.run_many(
            "INSERT OR IGNORE INTO answers VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, NULL)",
            [
                (
                    *(garden, one.message, one.place, instant_text(one.received), one.sender, one.bed, one.sentence),
                    *(one.outcome, one.told, json.dumps(one.choices, ensure_ascii=False)),
                )
                for one in heard
            ],
        )


def held_messages(database: Database, garden: str) -> frozenset[str]:
    """The Message-IDs of all messages that have been read."""
    return frozenset(
        row["message"] for row in database.rows("SELECT DISTINCT message FROM answers WHERE garden = ?", (garden,))
    )


def messages_from(database: Database, garden: str, sender: str) -> frozenset[str]:
    """The Message-IDs of what one person's mail has brought."""
    rows = database.rows("SELECT DISTINCT message, sender FROM answers WHERE garden = ?", (garden,))
    return frozenset(row["message"] for row in rows if row["sender"].casefold() == sender.casefold())


def to_be_told(database: Database, garden: str, day: date, until: datetime) -> tuple[Heard, ...]:
    """What no letter before that of a day has told of and was received before an instant, oldest first."""
    rows = database.rows(
        """SELECT * FROM answers WHERE garden = ? AND (told_on IS NULL OR told_on = ?) AND received < ?
           ORDER BY received, message, place""",
        (garden, day.isoformat(), instant_text(until)),
    )
    return tuple(_heard(row) for row in rows)


def mark_told(database: Database, garden: str, day: date, until: datetime) -> None:
    """All that was waiting, received before an instant, has been told of in the letter of a day."""
    with database.transaction(Step.LETTER_STORED):
        database.rows(
            "UPDATE answers SET told_on = ? WHERE garden = ? AND told_on IS NULL AND received < ?",
            (day.isoformat(), garden, instant_text(until)),
        )


def mailbox_place(database: Database, mailbox: str) -> tuple[int, int]:
    """Validity and last UID that were read of a garden's mailbox; zeros before the first reading."""
    row = database.row("SELECT validity, last_uid FROM mailboxes WHERE garden = ?", (mailbox,))
    return (0, 0) if row is None else (row["validity"], row["last_uid"])


def keep_place(database: Database, mailbox: str, validity: int, last_uid: int) -> None:
    """Remember how far the mailbox has been read."""
    with database.transaction(Step.PLACE_KEPT):
        database.rows("INSERT OR REPLACE INTO mailboxes VALUES (?, ?, ?)", (mailbox, validity, last_uid))


def signing_key(database: Database, now: datetime) -> bytes:
    """The key that signs the links of letters; made at first use, and it never leaves the store."""
    row = database.row("SELECT value FROM signing_keys ORDER BY made LIMIT 1")
    if row is not None:
        return bytes(row["value"])
    made = secrets.token_bytes(KEY_BYTES)
    with database.transaction(Step.KEY_MADE):
        database.rows("INSERT INTO signing_keys VALUES (?, ?)", (instant_text(now), made))
    return made


def _heard(row: sqlite3.Row) -> Heard:
    return Heard(
        message=row["message"],
        place=row["place"],
        received=instant_of(row["received"]),
        sender=row["sender"],
        bed=row["bed"],
        sentence=row["sentence"],
        outcome=row["outcome"],
        told=row["told"],
        choices=tuple(json.loads(row["choices"])),
    )
