"""What the commands about notes answer: a note in plain words, in the reader's units."""

import textwrap
from collections.abc import Iterable
from datetime import date

from haulm.beds.noted import straw_changes
from haulm.errors import Complaint
from haulm.garden import Bed, Cause, Entry, Garden, Journal, What
from haulm.jobs.note_season import RANKS, courses_of, days_from_window
from haulm.jobs.note_words import Amount, tell_area, tell_value
from haulm.letter import amounts
from haulm.units import Display

COLUMNS = 80
_STRAW = {What.STRAW_LAID, What.STRAW_RAKED}


def said(entry: Entry, display: Display) -> str:
    """What an entry notes, with its amount: "watered 5 mm", "straw laid to 10 cm"."""
    what, told = entry.what, tell_value(entry.what, entry.value, display)
    if what in _STRAW and entry.value is not None:
        return f"{what} to {told}" if entry.value > 0.0 else f"{what} to the bare soil"
    cause = f", cause {entry.cause}" if entry.cause else ""
    return f"{what or 'nothing'} {told}".strip() + cause


def noted(garden: Garden, entry: Entry, amount: Amount, today: date) -> str:
    """The first sentence of an answer: what was noted, for which planting and bed, and of which day."""
    display, bed = garden.place.display, garden.bed(entry.bed)
    told = said(entry, display)
    if amount.is_volume:
        told = f"{entry.what} {amount.written}, which is {tell_value(entry.what, entry.value, display)}"
        told += f" on its {tell_area(bed, display)}"
    planting = next((one.name for one in garden.plantings if one.key == entry.planting), "")
    whose = f"{planting} in {bed.name}" if planting else bed.name
    return f"Noted for {whose} on {amounts.day(entry.day, today)}: {told}."


def noted_of_the_store(garden: Garden, entry: Entry, today: date) -> str:
    """The same for the store room, which belongs to no bed."""
    return f"Noted for the store on {amounts.day(entry.day, today)}: {said(entry, garden.place.display)}."


def remarks(garden: Garden, entry: Entry, journal: Journal, today: date) -> list[str]:
    """What the grower should know beside: how the note goes with the standing notes before it."""
    display, bed = garden.place.display, garden.bed(entry.bed)
    if entry.what in {What.WATERED, What.RAIN_READ}:
        return _sum_of_day(entry, journal, display)
    if entry.what in _STRAW:
        return _straw_before(entry, bed, journal, display)
    if entry.what is What.PLANTED:
        return _about_planting(garden, entry, bed, journal, today)
    if entry.what is What.LIFTED:
        first = next((held for held in _alike(entry, journal) if held.planting == entry.planting), None)
        if first is None:
            return []
        return [f"It is noted as lifted on {amounts.day(first.day, today)} too; this counts as a further part."]
    if entry.what is What.TOPS_CUT:
        return _cut_before(entry, journal, today)
    if entry.cause is Cause.UNKNOWN:
        known = ", ".join(cause for cause in Cause if cause is not Cause.UNKNOWN)
        return [f"When you know why, note it again with --cause, one of {known}."]
    return []


def listed(garden: Garden, entry: Entry, short_id: str, *, is_withdrawn: bool) -> str:
    """One entry as it stands in the list, folded to the width of a terminal."""
    display = garden.place.display
    told = said(entry, display)
    if entry.written and _bare(entry.written) != _bare(tell_value(entry.what, entry.value, display)):
        told += f" (written: {entry.written})"
    mark = " – withdrawn" if is_withdrawn else ""
    head = f"{entry.day.isoformat()}  {short_id}  "
    indent = " " * min(len(head), COLUMNS // 2)
    line = f"{head}{name_of(garden, entry)}: {told}{mark}"
    return textwrap.fill(printable(line), COLUMNS, subsequent_indent=indent, break_on_hyphens=False)


def complained(complaints: Iterable[Complaint]) -> list[str]:
    """What could not be read in the journal, under the name of its file, which is never folded."""
    told: list[str] = []
    where = None
    for complaint in complaints:
        if complaint.where != where:
            where = complaint.where
            told += ["", f"Not counted, in {printable(where)}:"]
        given = f" ({complaint.given})" if complaint.given else ""
        line = printable(f"line {complaint.line}: {complaint.what}{given}")
        told.append(textwrap.fill(line, COLUMNS, initial_indent="  ", subsequent_indent="    "))
    return told


def name_of(garden: Garden, entry: Entry) -> str:
    """The planting that an entry is about, or the bed; its bare key where the settings know it no more."""
    named = {bed.key: bed.name for bed in garden.beds} | {one.key: one.name for one in garden.plantings}
    named[""] = "the store"
    return named.get(entry.planting or entry.bed, entry.planting or entry.bed)


def left_hanging(entry: Entry, journal: Journal) -> str:
    """Which standing notes lose their ground when the planting itself was taken back; empty if none."""
    if entry.what is not What.PLANTED:
        return ""
    later = [
        str(held.what)
        for held in journal.entries
        if held.planting == entry.planting and held.what in RANKS and RANKS[held.what] > RANKS[What.PLANTED]
    ]
    return f" Still noted without it: {amounts.listing(later)}." if later else ""


def printable(text: str) -> str:
    """Text that cannot move the cursor: the file may have been written by anybody's hand."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def _bare(amount: str) -> str:
    return "".join(amount.split()).replace("°", "").replace(amounts.MINUS, "-").casefold()


def _sum_of_day(entry: Entry, journal: Journal, display: Display) -> list[str]:
    before = [held.value or 0.0 for held in _alike(entry, journal) if held.day == entry.day]
    if not before:
        return []
    sum_before = tell_value(entry.what, sum(before), display)
    whole = tell_value(entry.what, sum(before) + (entry.value or 0.0), display)
    return [f"It comes on top of {sum_before} noted for that day already: {whole} in all."]


def _cut_before(entry: Entry, journal: Journal, today: date) -> list[str]:
    before = [held for held in _alike(entry, journal) if held.planting == entry.planting and held.day < entry.day]
    if not before:
        return []
    when = amounts.day(before[-1].day, today)
    return [f"They are noted as cut on {when} too: new shoots, so the skins are counted from this day anew."]


def _straw_before(entry: Entry, bed: Bed, journal: Journal, display: Display) -> list[str]:
    depths_m = [depth_m for day, depth_m in straw_changes(bed, journal) if day <= entry.day]
    before_m, now_m = (depths_m[-1] if depths_m else 0.0), entry.value or 0.0
    is_odd = now_m > before_m if entry.what is What.STRAW_RAKED else now_m < before_m
    if not is_odd:
        return []
    lay = f"{tell_value(entry.what, before_m, display)} lay there" if before_m > 0.0 else "no straw lay there"
    return [f"By the notes before, {lay}: the amount is the whole depth that lies then, not what was moved."]


def _about_planting(garden: Garden, entry: Entry, bed: Bed, journal: Journal, today: date) -> list[str]:
    told = []
    planting = next(one for one in garden.plantings if one.key == entry.planting)
    if days_from_window(planting, entry.day):
        first, last = amounts.day(planting.window_first, today), amounts.day(planting.window_last, today)
        told.append(f"That is outside its window, {first} to {last}.")
    for course in courses_of(garden, bed, journal):
        after = course.first(What.PLANTED)
        if after is not None and after.day > entry.day:
            when = amounts.day(after.day, today)
            told.append(f"{course.planting.name} follows in that bed on {when}: note when this one was lifted.")
    return told


def _alike(entry: Entry, journal: Journal) -> list[Entry]:
    return [held for held in journal.entries if held.what is entry.what and held.bed == entry.bed]
