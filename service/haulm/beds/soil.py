"""Soil temperature where the seed lies: what it has been, what it is expected to be, and when it will be ready."""

from datetime import date, timedelta

import numpy as np

from haulm.beds.readings import Taught
from haulm.beds.soil_run import BARE, SoilRun
from haulm.condition import DayRange, SoilNow
from haulm.garden import Planting, Season
from haulm.science.frost import normal_cdf
from haulm.settings.thresholds import Thresholds
from haulm.weather import Daily, FloatArray


def soil_now(run: SoilRun, row: int, planting: Planting, taught: Taught, thresholds: Thresholds) -> SoilNow:
    """One planting's soil on the morning of `run.today`, moved by what readings taught about its bed."""
    days = run.past_c.shape[1]
    past, lies, under = (
        run.past_c[row] + taught.move_c[:days],
        run.ahead_c[row, 0] + taught.move_c[days:],
        run.ahead_c[row, 1] + taught.move_c[days:],
    )
    seen = np.concatenate([past, lies[0]])
    spread = np.hypot(taught.spread_c(seen), run.doubt_c)
    known = run.lost_c[days - 1] <= thresholds.data.soil_spread_limit_c
    return SoilNow(
        as_it_lies_c=Daily(run.first, seen),
        under_new_straw_c=Daily(run.today, under[0]),
        spread_c=Daily(run.first, spread),
        known=bool(known),
        ready=ready_range(past, lies, planting, thresholds, run.today) if known else None,
        questioned_c=taught.questioned,
        fit_chance=Daily(run.first, _fit_chance(seen, spread, planting, thresholds)),
        ready_if_raked=_if_raked(run, row, planting, taught, thresholds) if known else None,
    )


def _if_raked(run: SoilRun, row: int, planting: Planting, taught: Taught, thresholds: Thresholds) -> DayRange | None:
    """When the bed would be ready were it raked bare today; None in autumn, or where no straw lies."""
    days, straws_c = run.past_c.shape[1], run.ahead_c[row]
    if planting.season is not Season.SPRING or len(straws_c) <= BARE:
        return None
    past, bare = run.past_c[row] + taught.move_c[:days], straws_c[BARE] + taught.move_c[days:]
    return ready_range(past, bare, planting, thresholds, run.today)


def _fit_chance(soil_c: FloatArray, spread_c: FloatArray, planting: Planting, thresholds: Thresholds) -> FloatArray:
    """Chance that a day's mean is on the right side of the limit that planting waits for."""
    limits = thresholds.planting
    if planting.season is Season.SPRING:
        return normal_cdf((soil_c - limits.soil_ready_spring_c) / spread_c)
    return normal_cdf((limits.soil_ready_autumn_c - soil_c) / spread_c)


def ready_range(
    past_c: FloatArray, ways_c: FloatArray, planting: Planting, thresholds: Thresholds, today: date
) -> DayRange | None:
    """The morning on which the soil will have stood at its limit for the days asked, within the window's first day.

    From the place's own years where there are any (four in five between the ends), else from the mean year alone.
    """
    limits = thresholds.planting
    needed = limits.ready_days
    days = np.concatenate([np.broadcast_to(past_c[-needed:], (len(ways_c), needed)), ways_c], axis=1)
    spring = planting.season is Season.SPRING
    good = days >= limits.soil_ready_spring_c if spring else days <= limits.soil_ready_autumn_c
    # A run that ends with yesterday makes today the day: position 0.
    shifted = np.stack([good[:, back : good.shape[1] - needed + back + 1] for back in range(needed)])
    ended = np.logical_and.reduce(shifted, axis=0)
    opens = max((planting.window_first - today).days, 0)
    ended[:, :opens] = False
    found = np.where(ended.any(axis=1), ended.argmax(axis=1), -1)
    own = found[1:] if len(found) > 1 else found[:1]
    years = len(found) - 1
    came = own[own >= 0]
    if not came.size:
        return DayRange(None, None, None, 0.0, years)
    early, likely, late = (today + timedelta(days=round(float(q))) for q in np.quantile(came, [0.1, 0.5, 0.9]))
    ends = (early, late) if years > 1 else (None, None)
    return DayRange(ends[0], likely, ends[1], came.size / own.size, years)
