"""A killing frost that nobody noted: ripe tops are gone after it, by estimate."""

from datetime import date
from typing import NamedTuple

import numpy as np

from haulm.beds.noted import Noted
from haulm.condition import CropNow
from haulm.garden import Bed, Cause, Journal, What
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, Daily, Mark, Timeline

# Published: HortScience 27:244 (1992), abstract (potato leaves are killed at -4 C within a night). Tops that are only
# nearly ripe are not given up for less.
KILLS_ALL_C = -4.0
MAY_RECOVER = {Cause.FROST, Cause.THIRST}


class Frosted(NamedTuple):
    """The morning of the frost, and how cold it was [°C]."""

    day: date
    lowest_c: float


def tops_frosted(
    days: Noted, crop: CropNow, bed: Bed, timeline: Timeline, journal: Journal, thresholds: Thresholds
) -> Frosted | None:
    """The first night that killed ripe tops, by the minima observed; None where none did, or more was noted.

    At or below a hard freeze at the station, or on the grower's own thermometer, ripe tops are dead; nearly ripe and
    old ones where it kills every leaf. Young tops grow again.
    """
    if days.planted is None or days.tops_gone is not None or days.out_of_ground is not None:
        return None
    severe_c = thresholds.frost.severe_c
    likely, early = _ripe_from(days, crop, thresholds.ripening.least_days)
    asked = [
        (since, limit_c)
        for since, limit_c in ((likely, severe_c), (early, min(severe_c, KILLS_ALL_C)))
        if since is not None and since < timeline.today
    ]
    if not asked:
        return None
    lowest = _observed(bed, timeline, journal)
    found = [_first(lowest, since, limit_c) for since, limit_c in asked]
    return min((one for one in found if one is not None), default=None)


def _ripe_from(days: Noted, crop: CropNow, least_days: int) -> tuple[date | None, date | None]:
    """From when on the tops are ripe, and old enough not to come again: as noted, else by warmth and by age."""
    out = crop.shoots.late if crop.shoots is not None else None
    grown = None if out is None else out + least_days * DAY
    if days.dying is not None and days.dying_cause not in MAY_RECOVER:
        ripe = None if grown is None else max(days.dying, grown)
        return ripe, ripe
    by_warmth = crop.ripe.early if crop.ripe is not None else None
    old = min((day for day in (by_warmth, grown) if day is not None), default=None)
    return crop.ripe.likely if crop.ripe is not None else None, old


def _observed(bed: Bed, timeline: Timeline, journal: Journal) -> Daily:
    """Observed minima up to yesterday, NaN where there are none; the grower's own reading goes before the station's."""
    until = timeline.today_index
    lowest = np.where(timeline.air_mark[:until] == Mark.OBSERVED, timeline.days.air_min_c[:until], np.nan)
    for entry in journal.of(bed.key, "", What.NIGHT_READ):
        at = (entry.day - timeline.days.first).days
        if 0 <= at < until and entry.value is not None:
            lowest[at] = entry.value
    return Daily(timeline.days.first, lowest)


def _first(lowest: Daily, since: date, limit_c: float) -> Frosted | None:
    values = lowest.between(since, lowest.last)
    cold = np.flatnonzero(values <= limit_c)
    return Frosted(since + int(cold[0]) * DAY, float(values[cold[0]])) if cold.size else None
