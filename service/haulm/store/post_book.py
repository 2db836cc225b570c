"""The post book: what was handed over, kept a second time in a file beside the store, a garden a file.

The store is the truth of the outbox. But a store may be lost between two letters, or be had again from a copy of
yesterday, and then only this book knows that today's letter has gone: without it the letter would go twice, or would
have to be held back. One JSON object a line, only ever added to, on the disk before a letter is handed over; of two
lines about one delivery the later counts. Version 1 of a line holds the fields of `Posted` under their names, with
``"version": 1``. Lines of days that no copy of the store reaches back to are dropped.

A book that cannot be written is told in the log and stops no letter; one that cannot be read is no book.
"""

import json
import logging
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import date, datetime
from pathlib import Path
from urllib.parse import quote

from haulm.files import append_line, write_whole
from haulm.steps import Step
from haulm.store.instants import instant_of, instant_text

VERSION = 1
FOLDER = "post-book"
ON_ITS_WAY, SENT = "sending", "sent"

_LOG = logging.getLogger("haulm")


@dataclass(frozen=True, slots=True)
class Posted:
    """Where one delivery stood at an instant; its words are those of the store's `Delivery`."""

    garden: str
    kind: str
    day: date
    channel: str
    recipient: str
    message_id: str
    status: str
    attempts: int
    changed: datetime
    note: str = ""

    @property
    def key(self) -> tuple[str, date, str, str]:
        """Which delivery of the garden it is."""
        return self.kind, self.day, self.channel, self.recipient

    def reached(self) -> tuple[int, bool]:
        """How far it had come: a claim counts the attempt, a settlement ends it. It only grows, whatever clocks do."""
        return self.attempts, self.status != ON_ITS_WAY


def book_of(store: Path, garden: str) -> Path:
    """The book of a garden, beside the store that its letters lie in."""
    return store.parent / FOLDER / f"{quote(garden, safe='')}.jsonl"


def enter(store: Path, posted: Posted) -> None:
    """Write down where a delivery stands, and have it on the disk."""
    path = book_of(store, posted.garden)
    fields = {**asdict(posted), "day": posted.day.isoformat(), "changed": instant_text(posted.changed)}
    line = json.dumps({"version": VERSION, **fields}, ensure_ascii=False)
    try:
        append_line(path, line.encode() + b"\n", Step.BOOK_ENTERED)
    except OSError as fault:
        _untold(path, fault)


def read_book(store: Path, garden: str) -> tuple[Posted, ...]:
    """The last word about each delivery of a garden; lines that cannot be read are passed over."""
    found = {posted.key: posted for line in _lines(book_of(store, garden)) if (posted := _posted(line, garden))}
    return tuple(found.values())


def drop_before(store: Path, garden: str, day: date) -> None:
    """Drop the lines about letters of earlier days, and those that cannot be read. The garden's lock is held."""
    path = book_of(store, garden)
    lines = _lines(path)
    kept = [line for line in lines if (posted := _posted(line, garden)) and posted.day >= day]
    if len(kept) == len(lines):
        return
    try:
        write_whole(path, b"".join(line + b"\n" for line in kept), Step.BOOK_THINNED)
    except OSError as fault:
        _untold(path, fault)


def days_of(book: Iterable[Posted], kind: str) -> frozenset[date]:
    """The days of which a letter of a kind went out, or may have."""
    return frozenset(one.day for one in book if one.kind == kind and one.status in {ON_ITS_WAY, SENT})


def _lines(path: Path) -> list[bytes]:
    try:
        return [line for line in path.read_bytes().split(b"\n") if line.strip()]
    except OSError:
        return []


def _posted(line: bytes, garden: str) -> Posted | None:
    try:
        fields = json.loads(line)
        if fields.pop("version") != VERSION or fields["garden"] != garden:
            return None
        told = {**fields, "day": date.fromisoformat(fields["day"]), "changed": instant_of(fields["changed"])}
        posted = Posted(**{**told, "attempts": int(fields["attempts"])})
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    words = (posted.kind, posted.channel, posted.recipient, posted.message_id, posted.status, posted.note)
    return posted if all(isinstance(word, str) for word in words) else None


def _untold(path: Path, fault: OSError) -> None:
    _LOG.warning("%s: the post book could not be written: %s.", path, fault.strerror)
