"""Finished letters and their way out: the outbox. A letter is stored before anything of it is sent.

Each step of a delivery is written into the post book too, once it is in the store; a store that was had again from a
copy, or lost its last transactions, is brought up to what the book knows before anything is handed over.
"""

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from haulm.errors import StoreError
from haulm.steps import Step
from haulm.store.database import Database
from haulm.store.instants import instant_of, instant_text
from haulm.store.post_book import Posted, enter, read_book

# After so many attempts a delivery counts as refused, and the next letter tells of it.
MOST_ATTEMPTS = 6


class Status(StrEnum):
    """Where a delivery stands. `SENDING` after a run has died means: nobody knows whether it went out."""

    READY = "ready"
    SENDING = "sending"
    SENT = "sent"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class StoredLetter:
    """A letter in each of its forms, as it was written; at most one for a garden, kind and local day."""

    garden: str
    kind: str
    day: date
    written: datetime
    subject: str
    text: str
    html: str
    json: str
    picture: bytes | None = None


@dataclass(frozen=True, slots=True)
class Address:
    """Where a letter is to go: a channel ("mail", "webhook") and who gets it there. `message_id` stays for ever."""

    channel: str
    recipient: str
    message_id: str = ""


@dataclass(frozen=True, slots=True)
class Delivery:
    """One letter on its way to one recipient. `note` is the last word of the server about it."""

    id: int
    garden: str
    kind: str
    day: date
    address: Address
    status: Status
    attempts: int
    changed: datetime
    note: str


_DELIVERIES = """SELECT deliveries.id, garden, kind, day, channel, recipient, message_id, status, attempts, changed,
                 note FROM deliveries JOIN letters ON letters.id = deliveries.letter """


def keep_letter(database: Database, letter: StoredLetter, addresses: Iterable[Address]) -> None:
    """Store a finished letter with a delivery, ready to go, for each address to which the book knows of none.

    Raises
    ------
    StoreError
        The garden has a letter of that kind and day already; it stays as it is.
    """
    with database.transaction(Step.LETTER_STORED):
        if has_letter(database, letter.garden, letter.kind, letter.day):
            raise StoreError(f"the {letter.kind} letter of {letter.garden} for {letter.day} is stored already")
        written = instant_text(letter.written)
        added = database.rows(
            """INSERT INTO letters (garden, kind, day, written, subject, text, html, json, picture)
               VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id""",
            (
                *(letter.garden, letter.kind, letter.day.isoformat(), written),
                *(letter.subject, letter.text, letter.html, letter.json, letter.picture),
            ),
        )
        database.run_many(
            """INSERT INTO deliveries (letter, channel, recipient, message_id, status, attempts, changed, note)
               VALUES (?, ?, ?, ?, ?, 0, ?, '')""",
            [(added[0]["id"], a.channel, a.recipient, a.message_id, Status.READY, written) for a in addresses],
        )
        follow_book(database, letter.garden)


def follow_book(database: Database, garden: str) -> int:
    """Bring deliveries up to what the post book knows of them; how many were behind it.

    In a store that nothing has happened to there are none.
    """
    book = {posted.key: posted for posted in read_book(database.path, garden)}
    if not book:
        return 0
    since = min(posted.day for posted in book.values())
    rows = database.rows(_DELIVERIES + "WHERE garden = ? AND day >= ?", (garden, since.isoformat()))
    behind = []
    for row in rows:
        held = _delivery(row)
        posted = book.get(_entry(held).key)
        if posted is not None and posted.reached() > _entry(held).reached():
            told = (posted.message_id, posted.status, posted.attempts, instant_text(posted.changed), posted.note)
            behind.append((*told, held.id))
    if behind:
        with database.transaction(Step.BOOK_FOLLOWED):
            database.run_many(
                """UPDATE deliveries SET message_id = ?, status = ?, attempts = ?, changed = ?, note = ?
                   WHERE id = ?""",
                behind,
            )
    return len(behind)


def letter_of(database: Database, garden: str, kind: str, day: date) -> StoredLetter | None:
    """The letter that was written for a local day; None if there is none."""
    row = database.row(
        "SELECT * FROM letters WHERE garden = ? AND kind = ? AND day = ?", (garden, kind, day.isoformat())
    )
    if row is None:
        return None
    return StoredLetter(
        garden=row["garden"],
        kind=row["kind"],
        day=date.fromisoformat(row["day"]),
        written=instant_of(row["written"]),
        subject=row["subject"],
        text=row["text"],
        html=row["html"],
        json=row["json"],
        picture=row["picture"],
    )


def has_letter(database: Database, garden: str, kind: str, day: date) -> bool:
    """Whether a letter was written for a local day."""
    values = (garden, kind, day.isoformat())
    return database.row("SELECT 1 FROM letters WHERE garden = ? AND kind = ? AND day = ?", values) is not None


@dataclass(frozen=True, slots=True)
class Heading:
    """A letter as a list names it."""

    garden: str
    kind: str
    day: date
    subject: str
    has_picture: bool


def headings(database: Database, garden: str) -> tuple[Heading, ...]:
    """All letters of a garden, oldest first."""
    rows = database.rows(
        """SELECT kind, day, subject, picture IS NOT NULL AS drawn FROM letters WHERE garden = ?
           ORDER BY day, written, id""",
        (garden,),
    )
    return tuple(
        Heading(garden, row["kind"], date.fromisoformat(row["day"]), row["subject"], bool(row["drawn"])) for row in rows
    )


def letters_between(
    database: Database, garden: str, kind: str, first: date, last: date
) -> tuple[tuple[date, str], ...]:
    """The letters of a stretch of days in their form for programs (JSON), oldest first."""
    rows = database.rows(
        "SELECT day, json FROM letters WHERE garden = ? AND kind = ? AND day BETWEEN ? AND ? ORDER BY day",
        (garden, kind, first.isoformat(), last.isoformat()),
    )
    return tuple((date.fromisoformat(row["day"]), row["json"]) for row in rows)


def last_letter_between(database: Database, garden: str, kind: str, first: date, last: date) -> str | None:
    """The newest letter of a stretch of days in its form for programs (JSON); None if there is none."""
    row = database.row(
        "SELECT json FROM letters WHERE garden = ? AND kind = ? AND day BETWEEN ? AND ? ORDER BY day DESC LIMIT 1",
        (garden, kind, first.isoformat(), last.isoformat()),
    )
    return row["json"] if row is not None else None


def waiting(database: Database, garden: str) -> tuple[Delivery, ...]:
    """Deliveries that are ready to go, oldest letter first."""
    return _with_status(database, garden, Status.READY)


def left_sending(database: Database, garden: str) -> tuple[Delivery, ...]:
    """Deliveries found on their way. Asked while holding the lock, these are what a killed run left behind."""
    return _with_status(database, garden, Status.SENDING)


def refused_since(database: Database, garden: str, since: datetime) -> tuple[Delivery, ...]:
    """Deliveries given up since an instant, which the next letter has to tell of."""
    return tuple(d for d in _with_status(database, garden, Status.REFUSED) if d.changed >= since)


def unreached(database: Database, garden: str, since: datetime) -> tuple[Delivery, ...]:
    """Deliveries given up since an instant, to whom no later letter has got through yet: nobody has told them."""
    rows = database.rows(
        """SELECT channel, recipient, MAX(day) AS day FROM deliveries JOIN letters ON letters.id = deliveries.letter
           WHERE garden = ? AND status = ? GROUP BY channel, recipient""",
        (garden, Status.SENT),
    )
    reached = {(row["channel"], row["recipient"]): date.fromisoformat(row["day"]) for row in rows}
    given_up = refused_since(database, garden, since)
    return tuple(
        one for one in given_up if one.day > reached.get((one.address.channel, one.address.recipient), date.min)
    )


def deliveries_of(database: Database, garden: str, kind: str, day: date) -> tuple[Delivery, ...]:
    """All deliveries of one letter."""
    rows = database.rows(
        _DELIVERIES + "WHERE garden = ? AND kind = ? AND day = ? ORDER BY deliveries.id",
        (garden, kind, day.isoformat()),
    )
    return tuple(_delivery(row) for row in rows)


def all_deliveries(database: Database, garden: str) -> tuple[Delivery, ...]:
    """Every delivery of a garden's letters."""
    rows = database.rows(_DELIVERIES + "WHERE garden = ? ORDER BY deliveries.id", (garden,))
    return tuple(_delivery(row) for row in rows)


def claim(database: Database, delivery: int, now: datetime) -> bool:
    """Mark a ready delivery as sending, and count the attempt. True for the one caller that may now send it."""
    with database.transaction(Step.DELIVERY_CLAIMED):
        claimed = database.rows(
            """UPDATE deliveries SET status = ?, attempts = attempts + 1, changed = ?
               WHERE id = ? AND status = ? RETURNING id""",
            (Status.SENDING, instant_text(now), delivery, Status.READY),
        )
    if claimed:
        _enter(database, delivery)
    return bool(claimed)


def settle(database: Database, delivery: int, status: Status, now: datetime, note: str = "") -> Status:
    """Mark what became of a sending delivery, and return where it now stands.

    `Status.READY` puts it back for another attempt, under the same message id; after `MOST_ATTEMPTS` it counts as
    refused instead.

    Raises
    ------
    StoreError
        It was not sending.
    """
    if status is Status.SENDING:
        raise ValueError("a delivery is settled as ready, sent or refused")
    with database.transaction(Step.DELIVERY_SETTLED):
        row = database.row("SELECT attempts FROM deliveries WHERE id = ? AND status = ?", (delivery, Status.SENDING))
        if row is None:
            raise StoreError(f"delivery {delivery} is not on its way")
        spent = status is Status.READY and row["attempts"] >= MOST_ATTEMPTS
        final = Status.REFUSED if spent else status
        database.rows(
            "UPDATE deliveries SET status = ?, changed = ?, note = ? WHERE id = ?",
            (final, instant_text(now), note, delivery),
        )
    _enter(database, delivery)
    return final


def _enter(database: Database, delivery: int) -> None:
    row = database.row(_DELIVERIES + "WHERE deliveries.id = ?", (delivery,))
    if row is not None:
        enter(database.path, _entry(_delivery(row)))


def _entry(held: Delivery) -> Posted:
    """A delivery as the post book writes it."""
    to = held.address
    return Posted(
        held.garden, held.kind, held.day, to.channel, to.recipient, to.message_id,
        held.status.value, held.attempts, held.changed, held.note,
    )  # fmt: skip


def gardens_that_wait(database: Database) -> frozenset[str]:
    """The gardens of which something waits to be handed over, or is on its way."""
    rows = database.rows(
        """SELECT DISTINCT garden FROM deliveries JOIN letters ON letters.id = deliveries.letter
           WHERE status <> 'sent' AND status IN (?, ?)""",
        (Status.READY, Status.SENDING),
    )
    return frozenset(row["garden"] for row in rows)


def _with_status(database: Database, garden: str, status: Status) -> tuple[Delivery, ...]:
    # The first words name the index of what is not sent, which is short; without them all letters are looked through.
    rows = database.rows(
        _DELIVERIES + "WHERE status <> 'sent' AND status = ? AND garden = ? ORDER BY written, deliveries.id",
        (status, garden),
    )
    return tuple(_delivery(row) for row in rows)


def _delivery(row: sqlite3.Row) -> Delivery:
    return Delivery(
        id=row["id"],
        garden=row["garden"],
        kind=row["kind"],
        day=date.fromisoformat(row["day"]),
        address=Address(row["channel"], row["recipient"], row["message_id"]),
        status=Status(row["status"]),
        attempts=row["attempts"],
        changed=instant_of(row["changed"]),
        note=row["note"],
    )
