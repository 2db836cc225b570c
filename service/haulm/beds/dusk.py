"""When it gets dark in the garden: the only home of astral.

Far north and south there are days without dusk, or without a sunset; then a fixed hour stands in, and that is said.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from astral import Observer
from astral.sun import dusk, sunrise, sunset

from haulm.garden import Place
from haulm.weather import DAY

NO_SUNSET_HOUR = time(20)  # judgement: the evening of a day on which the sun does not set, or did not rise
# Not before noon, for the far north's winter; nor so late that nobody reads it any more. Judgement.
EARLIEST_LOOK, LATEST_LOOK = time(12), time(22)
# The handbook's evening method asks for the air two hours after sunset; some minutes for it to be told. Judgement.
AFTER_SUNSET = timedelta(hours=2, minutes=15)
LATEST_AFTER_SUNSET = time(23, 30)


class Darkness(StrEnum):
    """What the hour of darkness was taken from."""

    DUSK = "dusk"
    SUNSET = "sunset"
    CLOCK = "clock"


@dataclass(frozen=True, slots=True)
class Evening:
    """The evening of a local day: when it is dark (civil dusk, the sun 6 degrees down), and what tells that."""

    dark: datetime
    by: Darkness


def evening_of(place: Place, day: date) -> Evening:
    """When it gets dark on a local day: civil dusk, where there is none sunset, where there is none a fixed hour."""
    for by, event in ((Darkness.DUSK, dusk), (Darkness.SUNSET, sunset)):
        found = _in_evening(event, place, day)
        if found is not None:
            return Evening(found, by)
    return Evening(datetime.combine(day, NO_SUNSET_HOUR, ZoneInfo(place.zone)), Darkness.CLOCK)


def look_at(place: Place, day: date, before: timedelta) -> datetime:
    """When to look at the coming night: some time before dark, on the garden's own day."""
    return _between(evening_of(place, day).dark - before, day, place, EARLIEST_LOOK, LATEST_LOOK)


def second_look_at(place: Place, day: date) -> datetime | None:
    """When the evening's own air tells the night's minimum best: two hours after sunset; None without a sunset."""
    set_at = sunset_of(place, day)
    if set_at is None:
        return None
    return _between(set_at + AFTER_SUNSET, day, place, EARLIEST_LOOK, LATEST_AFTER_SUNSET)


def sunset_of(place: Place, day: date) -> datetime | None:
    """The sunset (UTC) that ends a local day's light; None where the sun does not set, or did not rise."""
    return _in_evening(sunset, place, day)


def sunrise_after(place: Place, day: date) -> datetime | None:
    """The sunrise (UTC) that ends the night after a local day; None where there is none."""
    return _within(sunrise, place, day + DAY, datetime.combine(day, time(12), ZoneInfo(place.zone)) + DAY / 2)


def _in_evening(event: Callable[..., datetime], place: Place, day: date) -> datetime | None:
    return _within(event, place, day, datetime.combine(day, time(12), ZoneInfo(place.zone)))


def _within(event: Callable[..., datetime], place: Place, day: date, begins: datetime) -> datetime | None:
    """The event in the 24 hours from an instant on: in far places the evening of a day may fall past its midnight."""
    where, begins = Observer(place.latitude_deg, place.longitude_deg), begins.astimezone(UTC)
    for which in (day, day + DAY, day - DAY):
        try:
            found = event(where, date=which, tzinfo=UTC)
        except ValueError:  # astral's word for: it does not happen on that day
            continue
        if begins <= found < begins + DAY:
            return found
    return None


def _between(instant: datetime, day: date, place: Place, first: time, last: time) -> datetime:
    zone = ZoneInfo(place.zone)
    low, high = (datetime.combine(day, hour, zone).astimezone(UTC) for hour in (first, last))
    return min(max(instant.astimezone(UTC), low), high)
