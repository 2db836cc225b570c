"""Soil temperature where the seed lies: what it has been, what it is expected to be, and when it will be ready."""

from datetime import date

import numpy as np

from haulm.beds.readings import Heard, Taught
from haulm.beds.ready import errors_ahead_c, limit_of, ready_range
from haulm.beds.soil_run import BARE, SoilRun
from haulm.condition import DayRange, SoilNow
from haulm.garden import Planting, Season
from haulm.science.frost import normal_cdf
from haulm.science.soil_day import day_wave
from haulm.science.soil_properties import TEXTURES
from haulm.settings.thresholds import Thresholds
from haulm.weather import Daily, FloatArray


def no_soil(today: date) -> SoilNow:
    """For a crop that lies in no soil: nothing of it is known, or asked."""
    nothing = Daily(today, np.empty(0))
    return SoilNow(nothing, nothing, nothing, known=False, ready=None)


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
    errors = errors_ahead_c(taught, seen, run.doubt_c, lies, days - thresholds.planting.ready_days)
    return SoilNow(
        as_it_lies_c=Daily(run.first, seen),
        under_new_straw_c=Daily(run.today, under[0]),
        spread_c=Daily(run.first, spread),
        known=bool(known),
        ready=ready_range(past, lies, planting, thresholds, run.today, errors) if known else None,
        questioned_c=taught.questioned,
        fit_chance=Daily(run.first, _fit_chance(seen, spread, planting, thresholds)),
        ready_if_raked=_if_raked(run, row, planting, taught, thresholds, errors) if known else None,
        lowest_c=Daily(run.first, seen - _half_range_c(run.heard[row], planting.depth_m)),
    )


def _if_raked(
    run: SoilRun, row: int, planting: Planting, taught: Taught, thresholds: Thresholds, errors_c: FloatArray
) -> DayRange | None:
    """When the bed would be ready were it raked bare today; None in autumn, or where no straw lies."""
    days, straws_c = run.past_c.shape[1], run.ahead_c[row]
    if planting.season is not Season.SPRING or len(straws_c) <= BARE:
        return None
    past, bare = run.past_c[row] + taught.move_c[:days], straws_c[BARE] + taught.move_c[days:]
    return ready_range(past, bare, planting, thresholds, run.today, errors_c)


def _half_range_c(heard: Heard, depth_m: float) -> FloatArray:
    """Half of each day's range where the seed lies; freezing soil, which holds the wave back, is not looked at."""
    soil = TEXTURES[heard.bed.texture]
    share, _ = day_wave(depth_m, heard.layer_m2k_w, soil.conductivity_w_mk, soil.heat_capacity_mj_m3k)
    return np.asarray(heard.swing_c * share)


def _fit_chance(soil_c: FloatArray, spread_c: FloatArray, planting: Planting, thresholds: Thresholds) -> FloatArray:
    """Chance that a day's mean is on the right side of the limit that planting waits for."""
    above_c = soil_c - limit_of(planting, thresholds)
    return normal_cdf((above_c if planting.season is Season.SPRING else -above_c) / spread_c)
