"""A kept crop as seed: when it wakes in the store, when it is too old, and for which window."""

from collections.abc import Mapping
from datetime import date, timedelta

import numpy as np

from haulm.beds.noted import Noted
from haulm.condition import DayRange, KeptSeed, StoreNow
from haulm.garden import Garden, Planting
from haulm.science.dormancy import EARLIEST, LATEST, OLD_AT_C_D, age_c_d, slept_share
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, FloatArray

LONGEST_HELD = timedelta(days=300)  # judgement: nobody thinks of holding seed for longer


def kept_seed_of(
    garden: Garden, planting: Planting, days: Mapping[str, Noted], store: StoreNow, thresholds: Thresholds, today: date
) -> KeptSeed | None:
    """What a crop lifted and kept would be as seed; None for one not noted as lifted, or for a window too far off."""
    own = days[planting.key]
    if own.out_of_ground is None:
        return None
    ahead = thresholds.seed.chit_ahead_days * DAY
    first, name, again = _next_window(garden, days, ahead, today)
    if first - ahead > own.out_of_ground + LONGEST_HELD:
        return None
    wakes = _wakes(own, store) if store.known else None
    return KeptSeed(
        wakes=wakes,
        too_old=_too_old(wakes, store) if wakes is not None else None,
        sprouting=own.sprouting,
        blight=own.blight,
        window_first=first,
        window_of=name,
        again=again,
        chitting=first - ahead,
    )


def _next_window(garden: Garden, days: Mapping[str, Noted], ahead: timedelta, today: date) -> tuple[date, str, bool]:
    """The window whose seed is woken next: of a crop to come, else of one like those of this year, a year on.

    With it the crop's name, and whether it is one of this year that would come again.
    """
    to_come = [(one.window_first, one.name, False) for one in garden.plantings if not _has_its_seed(days[one.key])]
    again = [(_from_on(one.window_first, today + ahead), one.name, True) for one in garden.plantings]
    waiting = [window for window in to_come if window[0] - ahead >= today]
    return min(waiting or again, key=lambda window: window[0])


def _has_its_seed(days: Noted) -> bool:
    return days.chitting is not None or days.planted is not None


def _from_on(first: date, earliest: date) -> date:
    """The same day of the first year in which it is not too early."""
    while first < earliest:
        first = _year_on(first)
    return first


def _year_on(day: date) -> date:
    leap = (day.month, day.day) == (2, 29)
    return day.replace(year=day.year + 1, day=28 if leap else day.day)


def _wakes(own: Noted, store: StoreNow) -> DayRange:
    """As noted, else by the warmth it lies in since it was lifted."""
    if own.sprouting is not None:
        return DayRange(own.sprouting, own.sprouting, own.sprouting, 1.0, 0)
    lifted = own.out_of_ground or store.room_c.first
    slept = slept_share(store.room_c.between(lifted, store.room_c.last))
    early, likely, late = (_first_at(slept, share, lifted) for share in (EARLIEST, 1.0, LATEST))
    return DayRange(early, likely, late, 1.0, 0)


def _too_old(wakes: DayRange, store: StoreNow) -> date | None:
    if wakes.likely is None:
        return None
    return _first_at(age_c_d(store.room_c.between(wakes.likely, store.room_c.last)), OLD_AT_C_D, wakes.likely)


def _first_at(grown: FloatArray, limit: float, since: date) -> date | None:
    """The first day on which a growing sum has reached a limit."""
    reached = np.flatnonzero(grown >= limit)
    return since + timedelta(days=int(reached[0])) if reached.size else None
