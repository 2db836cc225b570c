"""The store room on one morning: from the outdoor air, corrected by the readings noted."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from haulm.beds.forcing import SPREAD_OF_UNKNOWN_C, Climate, Forcing, days_of_year
from haulm.condition import StoreNow
from haulm.garden import Garden, Journal, What
from haulm.science.climatology import mean_year_at
from haulm.science.store_room import ROOMS, room_days
from haulm.settings.thresholds import Thresholds
from haulm.weather import Daily, FloatArray

LOOKED_AHEAD_DAYS = 420  # to the window of next year, whenever this year's was


@dataclass(frozen=True, slots=True, eq=False)
class Outdoors:
    """Daily means of the air [°C] and their spread, without holes, from `first` on."""

    first: date
    air_c: FloatArray
    spread_c: FloatArray


def outdoors(been: Forcing, coming: Forcing, climate: Climate) -> Outdoors:
    """The air as it was, as it is forecast, and then as in the mean year."""
    joined = been.days + coming.days
    further = max(been.days + LOOKED_AHEAD_DAYS - joined, 0)
    day = days_of_year(been.first + timedelta(days=joined), further)
    usual = (mean_year_at(climate.air_min, day) + mean_year_at(climate.air_max, day)) / 2.0
    means = [(one.air_min_c[0] + one.air_max_c[0]) / 2.0 for one in (been, coming)]
    spreads = [been.air_spread_c, coming.air_spread_c, np.full(further, SPREAD_OF_UNKNOWN_C)]
    return Outdoors(been.first, np.concatenate([*means, usual]), np.concatenate(spreads))


def store_now(garden: Garden, journal: Journal, air: Outdoors, thresholds: Thresholds, today: date) -> StoreNow:
    """The garden's one store, whichever bed or crop its readings were noted for."""
    entries = [
        entry
        for entry in journal.entries
        if entry.what is What.STORE_READ and entry.value is not None and entry.day >= air.first
    ]
    at = np.array([(entry.day - air.first).days for entry in entries], dtype=np.int64)
    read_c = np.array([entry.value for entry in entries], dtype=np.float64)
    found = room_days(ROOMS[garden.store.value], air.air_c, air.spread_c, at, read_c)
    wild = tuple((entries[k].day, float(read_c[k])) for k in np.flatnonzero(found.questioned))
    room, spread = Daily(air.first, found.room_c), Daily(air.first, found.spread_c)
    known = spread.at(today) <= thresholds.store.spread_limit_c
    return StoreNow(room, spread, known, len(entries) - len(wild), wild)
