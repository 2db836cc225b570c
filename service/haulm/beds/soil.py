"""Soil temperature where the seed lies: what it has been, what it is expected to be, and when it will be ready."""

from collections.abc import Sequence
from datetime import date

import numpy as np

from haulm.beds.forcing import days_of_year
from haulm.beds.readings import KITCHEN, Heard, Taught
from haulm.beds.ready import errors_ahead_c, limit_of, ready_by_year, ready_range
from haulm.beds.soil_run import YEAR_DAYS, SoilRun
from haulm.condition import DayRange, SoilNow
from haulm.garden import Planting, Season
from haulm.science.frost import normal_cdf
from haulm.science.soil_day import day_wave
from haulm.science.soil_learning import spread_c
from haulm.science.soil_properties import TEXTURES
from haulm.science.sun import top_radiation_mj
from haulm.settings.thresholds import Thresholds
from haulm.taught import SoilTaught, YearReady
from haulm.weather import Daily, FloatArray


def no_soil(today: date) -> SoilNow:
    """For a crop that lies in no soil: nothing of it is known, or asked."""
    nothing = Daily(today, np.empty(0))
    return SoilNow(nothing, nothing, nothing, known=False, ready=None)


def soil_now(
    run: SoilRun, row: int, planting: Planting, taught: Taught, thresholds: Thresholds, years: Sequence[int] = (),
    *, waits: bool,
) -> SoilNow:  # fmt: skip
    """One planting's soil on the morning of `run.today`, moved by what readings taught about its bed.

    `years` are the own years whose weather the further ways of `run` are. When the soil will be ready is asked only
    while the planting `waits`.
    """
    days = run.past_c.shape[1]
    past, lies, under = (
        run.past_c[row] + taught.move_c[:days],
        run.lies_c[row] + taught.move_c[days:],
        run.covered_c[row] + taught.move_c[days:],
    )
    seen = np.concatenate([past, lies[0]])
    spread = np.hypot(taught.spread_c(seen), run.doubt_c)
    known = run.lost_c[days - 1] <= thresholds.data.soil_spread_limit_c
    ready = raked = None
    by_year: tuple[YearReady, ...] = ()
    if known and waits:
        errors = errors_ahead_c(taught, seen, run.doubt_c, lies, days - thresholds.planting.ready_days)
        ready = ready_range(past, lies, planting, thresholds, run.today, errors)
        raked = _if_raked(run, row, planting, taught, thresholds, errors)
        by_year = ready_by_year(past, lies, years, planting, thresholds, run.today)
    return SoilNow(
        as_it_lies_c=Daily(run.first, seen),
        under_new_straw_c=Daily(run.today, under),
        spread_c=Daily(run.first, spread),
        known=bool(known),
        ready=ready,
        questioned_c=taught.questioned,
        fit_chance=Daily(run.first, _fit_chance(seen, spread, planting, thresholds)),
        ready_if_raked=raked,
        lowest_c=Daily(run.first, seen - _half_range_c(run.heard[row], planting.depth_m)),
        ready_by_year=by_year,
        taught=_told(run, row, taught, seen) if taught.readings else None,
    )


def _told(run: SoilRun, row: int, taught: Taught, seen_c: FloatArray) -> SoilTaught:
    """What readings taught, set beside what was known without them."""
    untaught_c = spread_c(taught.series, taught.places, seen_c - taught.move_c, KITCHEN)
    bright = taught.series @ _bright_less_dull(run, run.heard[row].place.latitude_deg)
    after, before = (float(np.sqrt(bright @ one @ bright)) for one in (taught.learned.covariance, taught.places))
    return SoilTaught(
        taught.readings,
        Daily(run.first, taught.move_c),
        Daily(run.first, np.hypot(untaught_c, run.doubt_c)),
        float(taught.learned.mean @ bright),
        after,
        before,
    )


def _bright_less_dull(run: SoilRun, latitude_deg: float) -> FloatArray:
    """Weights of the days run: the mean of the brightest quarter of the last year less that of its darkest."""
    last = run.past_c.shape[1]
    year = slice(max(last - YEAR_DAYS, 0), last)
    sun = top_radiation_mj(latitude_deg, days_of_year(run.first, last)[year])
    low, high = np.quantile(sun, [0.25, 0.75])
    weights = np.zeros(len(run.doubt_c))
    weights[year] = (sun >= high) / np.count_nonzero(sun >= high) - (sun <= low) / np.count_nonzero(sun <= low)
    return weights


def _if_raked(
    run: SoilRun, row: int, planting: Planting, taught: Taught, thresholds: Thresholds, errors_c: FloatArray
) -> DayRange | None:
    """When the bed would be ready were it raked bare today; None in autumn, or where no straw lies."""
    if planting.season is not Season.SPRING or run.raked_c is None:
        return None
    days = run.past_c.shape[1]
    past, bare = run.past_c[row] + taught.move_c[:days], run.raked_c[row] + taught.move_c[days:]
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
