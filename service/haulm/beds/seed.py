"""The seed before it is planted, and how long a season it would have."""

import math
from datetime import date, timedelta
from functools import lru_cache

import numpy as np

from haulm.beds.chances import FrostYears
from haulm.beds.forcing import Climate, days_of_year
from haulm.beds.noted import Noted
from haulm.condition import SeedNow
from haulm.garden import Planting, Season
from haulm.science.climatology import day_at_chance_before, mean_year_at
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY

LONGEST_DAYS = 300  # judgement: a season with nothing to end it before this is long enough for any potato


def to_be_bought(days: Noted, planting: Planting, thresholds: Thresholds, today: date) -> bool:
    """Whether the time to buy seed has come, and none was noted."""
    if days.seed_bought is not None or days.chitting is not None or days.planted is not None:
        return False
    return (planting.window_first - today).days <= thresholds.seed.buy_ahead_days and today <= planting.window_last


def seed_now(days: Noted, planting: Planting, frosts: FrostYears, climate: Climate, thresholds: Thresholds) -> SeedNow:
    """What was done with the seed, and when the season of its window ends."""
    if days.planted is not None:
        return SeedNow(days.seed_bought, days.seed_cut)
    frost = frost_after(planting.window_first, frosts, thresholds.planting.frost_chance)
    heat = None
    if planting.season is Season.SPRING and frosts.first.years:
        heat = heat_after(planting.window_first, climate, thresholds.heat.warm_night_c)
    ends = min((day for day in (frost, heat) if day is not None), default=None)
    return SeedNow(days.seed_bought, days.seed_cut, ends, ends_by_heat=ends is not None and ends == heat)


def frost_after(first: date, frosts: FrostYears, chance: float) -> date | None:
    """The next day by which a killing frost of autumn has come with a given chance; None where it seldom comes."""
    if not frosts.first.years:
        return None
    day = float(day_at_chance_before(frosts.first, chance))
    if math.isnan(day):
        return None
    for year in (first.year - 1, first.year, first.year + 1):
        found = date(year, 1, 1) + timedelta(days=math.floor(day) - 1)
        if found > first:
            return found if (found - first).days <= LONGEST_DAYS else None
    return None


@lru_cache(maxsize=32)
def heat_after(first: date, climate: Climate, warm_night_c: float) -> date | None:
    """The first day on which nights of the place's mean year are too warm for tubers to form.

    Kept, for many gardens of a place ask the same.
    """
    nights = mean_year_at(climate.air_min, days_of_year(first, LONGEST_DAYS))
    warm = np.flatnonzero(nights >= warm_night_c)
    return first + int(warm[0]) * DAY if warm.size else None
