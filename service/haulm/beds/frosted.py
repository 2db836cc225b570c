"""A killing frost that nobody noted: ripe tops are gone after it, by estimate."""

from datetime import date
from typing import NamedTuple

import numpy as np

from haulm.beds.noted import Noted
from haulm.condition import DayRange
from haulm.garden import Bed, Journal, What
from haulm.weather import DAY, Daily, Mark, Timeline

# Published: HortScience 27:244 (1992), abstract (potato leaves are killed at -4 C within a night). Tops that are only
# nearly ripe are not given up for less.
KILLS_ALL_C = -4.0


class Frosted(NamedTuple):
    """The morning of the frost, and how cold it was [°C]."""

    day: date
    lowest_c: float


def tops_frosted(
    days: Noted, ripe: DayRange | None, bed: Bed, timeline: Timeline, journal: Journal, severe_c: float
) -> Frosted | None:
    """The first night that killed ripe tops, by the minima observed; None where none did, or more was noted.

    Parameters
    ----------
    ripe
        When the tops are ripe (`CropNow.ripe`). Tops noted as going down count as ripe from that day on.
    severe_c
        At or below this at the station, or on the grower's own thermometer, ripe tops are dead.
    """
    if days.planted is None or days.tops_gone is not None or days.out_of_ground is not None:
        return None
    lowest = _observed(bed, timeline, journal)
    likely, early = (ripe.likely, ripe.early) if ripe is not None else (None, None)
    found = [
        _first(lowest, since, limit_c)
        for since, limit_c in ((days.dying or likely, severe_c), (days.dying or early, min(severe_c, KILLS_ALL_C)))
        if since is not None
    ]
    return min((one for one in found if one is not None), default=None)


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
