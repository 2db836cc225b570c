"""The journal's file, which is the truth: one JSON object a line, only ever added to.

Version 1 of a line holds the fields of `haulm.garden.Entry` under their names, with ``"version": 1``; instants are UTC
text, days ISO dates, what is not known is null. Fields that this program does not know are passed over.
"""

import json
import secrets
import sys
from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Any
from uuid import UUID

from haulm.errors import Complaint, JournalError, StoreError
from haulm.files import append_line, explain
from haulm.garden import Cause, Entry, Journal, What
from haulm.steps import Step
from haulm.store.instants import instant_of, instant_text
from haulm.store.lock import lock

VERSION = 1

_BOM = b"\xef\xbb\xbf"
_LONGEST_SHOWN = 60
_LARGEST = sys.float_info.max
_PATIENCE_S = 5.0  # an append holds its lock for some milliseconds


def new_id(now: datetime) -> str:
    """A fresh id for an entry that sorts by when it was made (UUID version 7, RFC 9562 section 5.7)."""
    milliseconds = int(now.timestamp() * 1000) & ((1 << 48) - 1)
    number = milliseconds << 80 | 0x7 << 76 | secrets.randbits(12) << 64 | 0b10 << 62 | secrets.randbits(62)
    return str(UUID(int=number))


def append_entry(path: Path, entry: Entry) -> bool:
    """Write one entry behind all others and have it on the disk; False if the file holds an entry of that id.

    The wait is for others who append, never for a morning that runs.

    Raises
    ------
    JournalError
        The file cannot be written; what it held is still there.
    BusyError
        Somebody has been appending for seconds.
    """
    line = line_of(entry).encode("utf-8") + b"\n"
    # The instant in the lock's words is that of the entry: nothing here looks at a clock.
    try:
        with lock(_lock_path(path), entry.instant, holder="haulm note", patience_s=_PATIENCE_S):
            journal, _ = read_journal(path)
            if any(held.id == entry.id for held in journal.entries):
                return False
            append_line(path, line, Step.NOTE_WRITTEN)
    except StoreError as fault:
        raise JournalError(fault.what, where=str(path), remedy=fault.remedy) from fault
    except OSError as fault:
        raise _unwritten(path, fault) from fault
    return True


def read_journal(path: Path) -> tuple[Journal, tuple[Complaint, ...]]:
    """All entries of a journal file, and what could not be read, with its line. No file is an empty journal.

    Raises
    ------
    JournalError
        The file is there and cannot be read at all.
    """
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return Journal(), ()
    except OSError as fault:
        what, remedy = explain(fault)
        raise JournalError(f"the journal cannot be read: {what}", where=str(path), remedy=remedy) from fault
    lines = data.removeprefix(_BOM).split(b"\n")
    entries: dict[str, Entry] = {}
    complaints: list[Complaint] = []
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            entry = entry_of(line.decode("utf-8"))
        except ValueError as fault:
            what = _reason(fault, is_unended=number == len(lines))
            complaints.append(Complaint(what, where=str(path), line=number, given=_shown(line)))
            continue
        if entry.id in entries:
            complaints.append(Complaint("a second note with the id of an earlier one", str(path), number, entry.id))
        entries.setdefault(entry.id, entry)
    return Journal(tuple(entries.values())), tuple(complaints)


def line_of(entry: Entry) -> str:
    """An entry as one line of the file, without its end.

    Raises
    ------
    ValueError
        Its value is no number, its instant has no time zone, or a text cannot be written as UTF-8.
    """
    fields = {
        "version": VERSION,
        "id": entry.id,
        "instant": instant_text(entry.instant),
        "day": entry.day.isoformat(),
        "bed": entry.bed,
        "planting": entry.planting,
        "what": entry.what,
        "written": entry.written,
        "value": entry.value,
        "cause": entry.cause,
        "origin": entry.origin,
        "withdraws": entry.withdraws,
    }
    line = json.dumps(fields, ensure_ascii=False, allow_nan=False)
    line.encode("utf-8")
    return line


def entry_of(line: str) -> Entry:
    """The entry of one line.

    Raises
    ------
    ValueError
        It is no entry, or one of a version not known here.
    """
    try:
        fields = json.loads(line)
    except RecursionError as fault:
        raise ValueError("not a note") from fault
    if not isinstance(fields, dict):
        raise ValueError("not a note")
    if fields.get("version") != VERSION:
        raise ValueError(f"a note of version {fields.get('version')}, where this haulm knows {VERSION}")
    return Entry(
        id=_text(fields, "id", needed=True),
        instant=instant_of(_text(fields, "instant", needed=True)),
        day=date.fromisoformat(_text(fields, "day", needed=True)),
        bed=_text(fields, "bed", needed=fields.get("what") not in {None, What.STORE_READ.value}),
        planting=_text(fields, "planting"),
        what=None if fields.get("what") is None else What(_text(fields, "what")),
        written=_text(fields, "written"),
        value=_value(fields.get("value")),
        cause=None if fields.get("cause") is None else Cause(_text(fields, "cause")),
        origin=_text(fields, "origin", needed=True),
        withdraws=_text(fields, "withdraws"),
    )


def _text(fields: Mapping[str, Any], name: str, *, needed: bool = False) -> str:
    found = fields.get(name, "")
    if not isinstance(found, str) or (needed and not found):
        raise ValueError(f'"{name}" is missing or no text')
    found.encode("utf-8")  # half a character, as JSON can spell it, could be stored nowhere
    return found


def _value(found: object) -> float | None:
    if found is None:
        return None
    if isinstance(found, bool) or not isinstance(found, int | float) or not abs(found) <= _LARGEST:
        raise ValueError('"value" is not a number that can be')
    return float(found)


def _lock_path(path: Path) -> Path:
    return path.with_name(f".{path.name}.lock")


def _unwritten(path: Path, fault: OSError) -> JournalError:
    what, remedy = explain(fault)
    return JournalError(f"the note could not be written: {what}", where=str(path), remedy=remedy)


def _reason(fault: ValueError, *, is_unended: bool) -> str:
    if isinstance(fault, json.JSONDecodeError | UnicodeDecodeError):
        cut_off = "this note was cut off while it was written"
        return cut_off if is_unended else "this line is not a note and is passed over"
    return f"this note is passed over: {fault}"


def _shown(line: bytes) -> str:
    text = line.decode("utf-8", "replace").strip()
    return text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}…"
