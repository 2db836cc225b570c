"""The coming dates as a calendar file (RFC 5545), all-day and local.

An event keeps its UID whatever its day becomes, so a calendar that reads the file again moves it instead of adding
another. One whose day and title stand is kept as it was, byte for byte.
"""

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime

from icalendar import Calendar, Event, vText

from haulm.letter.dates import Coming
from haulm.weather import DAY

PRODUCT = "-//haulm//coming dates//EN"


def calendar_file(coming: Iterable[Coming], garden: str, name: str, now: datetime, before: bytes = b"") -> bytes:
    """The file.

    Parameters
    ----------
    garden, name
        Key of the garden, which the UIDs carry; and what its calendar is called.
    now
        When it is written: the stamp of what is new or has changed.
    before
        The file as it stood, if it did; what cannot be read counts as none.
    """
    held = _events(before)
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", vText(name))  # of a name it does not know icalendar leaves commas bare
    for one in coming:
        calendar.add_component(_event(one, garden, now.astimezone(UTC).replace(microsecond=0), held))
    return bytes(calendar.to_ical())


def _event(one: Coming, garden: str, now: datetime, held: Mapping[str, Event]) -> Event:
    uid = f"{one.kind}.{one.planting}.{garden}@haulm"
    event, before = Event(), held.get(uid)
    event.add("uid", uid)
    event.add("summary", one.title)
    event.add("description", one.told)
    event.add("dtstart", one.day)
    event.add("dtend", one.day + DAY)
    event.add("transp", "TRANSPARENT")
    if before is not None and _same(before, event):
        return before
    event.add("dtstamp", now)
    event.add("sequence", 0 if before is None else int(before.get("sequence", 0)) + 1)
    return event


def _same(before: Event, event: Event) -> bool:
    """Whether day and title stand; the words below them name the day they were worked out on, and may not."""
    return all(before.decoded(name, None) == event.decoded(name) for name in ("summary", "dtstart", "dtend"))


def _events(before: bytes) -> Mapping[str, Event]:
    if not before:
        return {}
    try:
        held = Calendar.from_ical(before)
    except (ValueError, IndexError):
        return {}
    return {str(event.get("uid")): event for event in held.walk("VEVENT") if isinstance(event, Event)}
