"""The commands `haulm note` and `haulm notes`: write a line into the journal, take one back, list what stands there.

They need no lock but the journal's own short one, so they never wait for a morning that runs.
"""

import json
import re
from datetime import date, datetime, timedelta
from difflib import get_close_matches
from pathlib import Path

from haulm.errors import JournalError
from haulm.garden import Entry, Garden, Journal, What
from haulm.jobs import note_answers as answers
from haulm.jobs.note_season import planting_of, refuse_contradiction, short_ids, standing
from haulm.jobs.note_store import means_the_store, store_reading
from haulm.jobs.note_words import WANTED, Spot, find_spot, named_in_full, read_amount, read_cause, read_what, shortened
from haulm.jobs.state_folder import StateFolder
from haulm.letter import amounts
from haulm.store.instants import instant_text
from haulm.store.journal_file import append_entry, new_id, read_journal

VERSION = 1
OLDEST_DAYS = 400  # judgement: last season whole, and no slip of the year
_SEE_LIST = "haulm notes lists them all."
_DAY_WITHIN = re.compile(
    r"(?:\bon\s+)?(?P<day>\b\d{4}-\d\d-\d\d\b)|\bon\s+(?:mon|tues?|wed|thu|fri|sat|sun)\w*\b|\byesterday\b",
    re.IGNORECASE,
)


def note(
    garden: Garden,
    state: StateFolder,
    bed_words: str,
    what_and_amount: str,
    *,
    now: datetime,
    day: date | None = None,
    cause: str | None = None,
) -> str:
    """Write one note and say what was written.

    Parameters
    ----------
    bed_words
        A bed or a planting, by key or name; or the store, for its temperature.
    what_and_amount
        What was done or seen, and how much: "watered 2 x 10 l".
    day
        The local day it is about; today if not given.

    Raises
    ------
    JournalError, UnitError
        It cannot be taken; nothing was written.
    """
    today, path = garden.place.day_of(now), state.journal(garden)
    if means_the_store(garden, bed_words):
        return _note_store(garden, path, what_and_amount, now, _day_of_note(day, today))
    spot = find_spot(garden, bed_words)
    _no_day_within(what_and_amount)
    what, written = read_what(what_and_amount)
    why = read_cause(what, cause)
    amount = read_amount(what, written, spot.bed, garden.place.display)
    about = _day_of_note(day, today)
    journal = standing(read_journal(path)[0])
    planting = planting_of(garden, spot, what, about, journal)
    key = planting.key if planting else ""
    entry = Entry(new_id(now), now, about, spot.bed.key, key, what, amount.written, amount.value, why)
    refuse_contradiction(garden, entry, journal, today)
    append_entry(path, entry)
    told = [answers.noted(garden, entry, amount, today), *answers.remarks(garden, entry, journal, today)]
    if not named_in_full(spot, bed_words):
        told.append(f'"{bed_words}" was taken for {(spot.planting or spot.bed).name}.')
    short = short_ids(read_journal(path)[0].entries)[entry.id]
    return f"{' '.join(told)}\nTo take it back: haulm notes --withdraw {short}"


def _no_day_within(text: str) -> None:
    """A day among the words would be taken for an amount."""
    found = _DAY_WITHIN.search(text)
    if found is not None:
        day = found["day"] or "DATE"
        raise JournalError(
            f'"{shortened(found[0].strip())}" is a day, not an amount', remedy=f"Give the day with --on {day}."
        )


def _note_store(garden: Garden, path: Path, text: str, now: datetime, about: date) -> str:
    entry = store_reading(garden, text, standing(read_journal(path)[0]), now=now, day=about)
    append_entry(path, entry)
    short = short_ids(read_journal(path)[0].entries)[entry.id]
    told = answers.noted_of_the_store(garden, entry, garden.place.day_of(now))
    return f"{told}\nTo take it back: haulm notes --withdraw {short}"


def withdraw(garden: Garden, state: StateFolder, given: str, now: datetime) -> str:
    """Take one note back by another; it stays in the file.

    Parameters
    ----------
    given
        Its id, or an ending that no other note's id has.

    Raises
    ------
    JournalError
        No such note, several, or one that is withdrawn already.
    """
    path, today = state.journal(garden), garden.place.day_of(now)
    journal, _ = read_journal(path)
    entry = _by_id(journal, given)
    told = f"{answers.name_of(garden, entry)}, {amounts.day(entry.day, today)}"
    told += f": {answers.said(entry, garden.place.display)}"
    earlier = next((one for one in journal.entries if one.withdraws == entry.id), None)
    if earlier is not None:
        when = amounts.day(garden.place.day_of(earlier.instant), today)
        raise JournalError(f"withdrawn already on {when}: {told}", remedy=_SEE_LIST)
    withdrawal = Entry(new_id(now), now, entry.day, entry.bed, entry.planting, None, withdraws=entry.id)
    append_entry(path, withdrawal)
    hanging = answers.left_hanging(entry, standing(read_journal(path)[0]))
    return f"Withdrawn: {told}. It stays in the file and counts no more.{hanging}"


def list_notes(garden: Garden, state: StateFolder, bed_words: str = "", *, as_json: bool = False) -> str:
    """What stands in the journal by day, newest last, of all beds or of the bed or planting named.

    As JSON, version 1: ``garden``; ``entries`` with values in the house unit named beside them and those withdrawn
    marked; ``complaints`` about lines that could not be read.

    Raises
    ------
    JournalError
        No such bed, or the journal cannot be read at all.
    """
    journal, complaints = read_journal(state.journal(garden))
    of_store = means_the_store(garden, bed_words)
    spot = find_spot(garden, bed_words) if bed_words and not of_store else None
    withdrawn = {entry.withdraws for entry in journal.entries if entry.withdraws}
    entries = [entry for entry in journal.entries if entry.what is not None and _is_of(entry, spot)]
    if of_store:
        entries = [entry for entry in entries if entry.what is What.STORE_READ]
    entries.sort(key=lambda entry: (entry.day, entry.instant))
    if as_json:
        told = [_as_json(entry, is_withdrawn=entry.id in withdrawn) for entry in entries]
        broken = [str(complaint) for complaint in complaints]
        whole = {"version": VERSION, "garden": garden.key, "entries": told, "complaints": broken}
        return json.dumps(whole, indent=2, ensure_ascii=False)
    ids = short_ids(journal.entries)
    lines = [answers.listed(garden, one, ids[one.id], is_withdrawn=one.id in withdrawn) for one in entries]
    whose = "the store" if of_store else (spot.planting or spot.bed).name if spot else garden.place.name
    return "\n".join([*(lines or [f"Nothing is noted for {whose}."]), *answers.complained(complaints)])


def _day_of_note(day: date | None, today: date) -> date:
    if day is None:
        return today
    if day > today:
        raise JournalError(
            f"{amounts.full_day(day)} is still to come: here it is {amounts.full_day(today)}",
            remedy="Note it when it is done or seen.",
        )
    if day < today - timedelta(days=OLDEST_DAYS):
        raise JournalError(
            f"{amounts.full_day(day)} is more than {OLDEST_DAYS} days ago",
            remedy="Look at the year. Straw that has lain longer can stand with its bed in the settings.",
        )
    return day


def _by_id(journal: Journal, given: str) -> Entry:
    """The entry of an id, or of an ending that it alone has among the notes."""
    exact = [entry for entry in journal.entries if entry.id == given]
    notes = [entry for entry in journal.entries if entry.what is not None]
    found = exact or [entry for entry in notes if entry.id.endswith(given)]
    if len(found) > 1:
        raise JournalError(f'"{given}" is the end of several ids', remedy=f"Write more of it. {_SEE_LIST}")
    if not found:
        shown = {short: one for one, short in short_ids(journal.entries).items()}
        known = [short for short, one in shown.items() if one in {entry.id for entry in notes}]
        near = get_close_matches(given, known, n=1, cutoff=0.5)
        offer = f'Did you mean "{near[0]}"? ' if near else ""
        raise JournalError(f'no note has the id "{given}"', remedy=offer + _SEE_LIST)
    if found[0].what is None:
        raise JournalError(
            f'"{given}" takes another note back and cannot itself be taken back',
            remedy="Note it once more with haulm note.",
        )
    return found[0]


def _is_of(entry: Entry, spot: Spot | None) -> bool:
    if spot is None:
        return True
    return entry.planting == spot.planting.key if spot.planting else entry.bed == spot.bed.key


def _as_json(entry: Entry, *, is_withdrawn: bool) -> dict[str, object]:
    wanted = WANTED.get(entry.what) if entry.what else None
    return {
        "id": entry.id,
        "instant": instant_text(entry.instant),
        "day": entry.day.isoformat(),
        "bed": entry.bed,
        "planting": entry.planting,
        "what": entry.what,
        "written": entry.written,
        "value": entry.value,
        "unit": wanted.unit if wanted else "",
        "cause": entry.cause,
        "origin": entry.origin,
        "withdrawn": is_withdrawn,
    }
