"""A reading of the garden's store room: it belongs to no bed, whichever crops lie there."""

import re
from datetime import date, datetime

from haulm.errors import JournalError, UnitError
from haulm.garden import Entry, Garden, Journal, What
from haulm.jobs.note_words import WANTED, same_words, tell_value
from haulm.letter import amounts
from haulm.store.journal_file import new_id
from haulm.units import Kind, read_quantity

_NAMES = {"store", "the store", "store room", "the store room"}
_BEFORE_AMOUNT = re.compile(r"^(?:store\b)?\s*(?:[_-]?temp(?:erature)?\b)?\s*(?:at\b|of\b|is\b|now\b|[:=])?\s*", re.I)


def means_the_store(garden: Garden, words: str) -> bool:
    """Whether the first words of a note name the store room; a bed or planting of that name goes before."""
    named = [(one.key, one.name) for one in garden.beds] + [(one.key, one.name) for one in garden.plantings]
    taken = {same_words(name) for names in named for name in names}
    return same_words(words) in _NAMES - taken


def store_reading(garden: Garden, text: str, journal: Journal, *, now: datetime, day: date) -> Entry:
    """The entry of a reading: "6C", "temperature 6C", "store temperature 43F".

    Parameters
    ----------
    journal
        Its standing notes.

    Raises
    ------
    JournalError
        It cannot be true, is no temperature, or is noted already.
    UnitError
        It cannot be read.
    """
    what, written = What.STORE_READ, _BEFORE_AMOUNT.sub("", text.strip(), count=1)
    example = "Write it like: haulm note store 6C."
    if not re.match(r"[-+−.,]?\d", written):
        raise JournalError("of the store only its temperature can be noted", remedy=example)
    try:
        value = read_quantity(written, Kind.TEMPERATURE).value
    except UnitError as fault:
        raise UnitError(fault.what, where=what, remedy=fault.remedy) from fault
    display, wanted = garden.place.display, WANTED[what]
    if not wanted.low <= value <= wanted.high:
        limits = f"between {tell_value(what, wanted.low, display)} and {tell_value(what, wanted.high, display)}"
        told = f'"{written}" reads as {tell_value(what, value, display)}; what lies {limits} is taken'
        raise JournalError(told, where=what, remedy="Look at the number and its unit once more.")
    alike = (one for one in journal.entries if one.what is what and not one.bed and one.day == day)
    if any(one.value == value for one in alike):
        raise JournalError(f"{what} {tell_value(what, value, display)} is already noted for {amounts.full_day(day)}")
    return Entry(new_id(now), now, day, "", "", what, written, value)
