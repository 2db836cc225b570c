"""Soil temperature where the seed lies: what it has been, what it is expected to be, and when it will be ready."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from haulm.beds.forcing import days_of_year
from haulm.beds.readings import KITCHEN, Taught
from haulm.beds.ready import Waits, errors_ahead_c, limit_of, ready_by_year, ready_ranges, waits_of
from haulm.beds.soil_run import YEAR_DAYS, SoilRun
from haulm.condition import DayRange, SoilNow
from haulm.garden import Planting, Season
from haulm.science.frost import normal_cdf
from haulm.science.soil_day import day_wave
from haulm.science.soil_learning import spread_c
from haulm.science.soil_properties import TEXTURES
from haulm.science.soil_ready import DRAWS
from haulm.science.sun import top_radiation_mj
from haulm.settings.thresholds import Thresholds
from haulm.taught import SoilTaught, YearReady
from haulm.weather import DAY, Daily, FloatArray

LATELY_DAYS = 35  # how far back it is told how likely the soil was warm or cool enough
TOGETHER = 1 << 18  # numbers of drawn errors held at once: 2 MiB


@dataclass(frozen=True, slots=True, eq=False)
class Plot:
    """A planting whose soil is looked at for so many days ahead, and what readings taught about its bed.

    When the soil will be ready is asked only while the planting `waits`; with straw that `may_be_raked`, both ways.
    """

    planting: Planting
    thresholds: Thresholds
    taught: Taught
    days_ahead: int
    waits: bool
    may_be_raked: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Soils:
    """The estimates of all plots, moved by what readings taught: (plots, days), and by each way (plots, ways, days)."""

    past_c: FloatArray
    lies_c: FloatArray
    raked_c: FloatArray | None
    under_c: FloatArray
    series: FloatArray
    covariance: FloatArray

    @property
    def seen_c(self) -> FloatArray:
        """As the bed lies, by the first way, over all days run."""
        return np.concatenate([self.past_c, self.lies_c[:, 0]], axis=1)


@dataclass(frozen=True, slots=True)
class _Ready:
    as_it_lies: DayRange | None = None
    if_raked: DayRange | None = None
    by_year: tuple[YearReady, ...] = ()


def no_soil(today: date) -> SoilNow:
    """For a crop that lies in no soil: nothing of it is known, or asked."""
    nothing = Daily(today, np.empty(0))
    return SoilNow(nothing, nothing, nothing, known=False, ready=None)


def soils_now(run: SoilRun, plots: Sequence[Plot], years: Sequence[int] = ()) -> list[SoilNow]:
    """The soil of each planting on the morning of `run.today`, moved by what readings taught about its bed.

    `years` are the own years whose weather the further ways of `run` are.
    """
    soils = _moved(run, plots)
    days, seen = run.past_c.shape[1], soils.seen_c
    spread = np.hypot(spread_c(soils.series, soils.covariance, seen, KITCHEN), run.doubt_c)
    lately = max(days - LATELY_DAYS, 0)
    fit = _fit_chance(seen[:, lately:], spread[:, lately:], plots)
    lowest = soils.lies_c[:, 0] - _half_range_c(run, plots)
    ready = _readiness(run, plots, soils, years)
    found = []
    for row, plot in enumerate(plots):
        until = days + plot.days_ahead
        found.append(
            SoilNow(
                as_it_lies_c=Daily(run.first, seen[row, :until]),
                under_new_straw_c=Daily(run.today, soils.under_c[row, : plot.days_ahead]),
                spread_c=Daily(run.first, spread[row, :until]),
                known=_is_known(run, plot),
                ready=ready[row].as_it_lies,
                questioned_c=plot.taught.questioned,
                fit_chance=Daily(run.first + lately * DAY, fit[row, : until - lately]) if plot.waits else None,
                ready_if_raked=ready[row].if_raked,
                lowest_c=Daily(run.today, lowest[row, : plot.days_ahead]),
                ready_by_year=ready[row].by_year,
                taught=_told(run, row, plot.taught, seen[row], until) if plot.taught.readings else None,
            )
        )
    return found


def _moved(run: SoilRun, plots: Sequence[Plot]) -> _Soils:
    days = run.past_c.shape[1]
    move_c = np.stack([plot.taught.move_c for plot in plots])
    ahead = move_c[:, None, days:]
    return _Soils(
        run.past_c + move_c[:, :days],
        run.lies_c + ahead,
        None if run.raked_c is None else run.raked_c + ahead,
        run.covered_c + move_c[:, days:],
        np.stack([plot.taught.series for plot in plots]),
        np.stack([plot.taught.learned.covariance for plot in plots]),
    )


def _is_known(run: SoilRun, plot: Plot) -> bool:
    return bool(run.lost_c[run.past_c.shape[1] - 1] <= plot.thresholds.data.soil_spread_limit_c)


def _readiness(run: SoilRun, plots: Sequence[Plot], soils: _Soils, years: Sequence[int]) -> list[_Ready]:
    """When the soil of each plot will be ready: worked out for as many at once as are alike and fit into memory."""
    alike: dict[tuple[Season, int], list[int]] = {}
    for row, plot in enumerate(plots):
        if plot.waits and _is_known(run, plot):
            alike.setdefault((plot.planting.season, plot.thresholds.planting.ready_days), []).append(row)
    found = [_Ready() for _ in plots]
    for all_rows in alike.values():
        for rows in _parts(all_rows, soils.lies_c.shape[1] * soils.lies_c.shape[2] * DRAWS):
            own = [plots[row] for row in rows]
            waits = waits_of(
                [one.planting for one in own],
                [one.thresholds for one in own],
                [one.days_ahead for one in own],
                run.today,
            )
            for row, ready in zip(rows, _ready_of(run, own, soils, rows, waits, years), strict=True):
                found[row] = ready
    return found


def _parts(rows: list[int], numbers_each: int) -> Iterator[list[int]]:
    count = max(TOGETHER // numbers_each, 1)
    for first in range(0, len(rows), count):
        yield rows[first : first + count]


def _ready_of(
    run: SoilRun, plots: Sequence[Plot], soils: _Soils, rows: list[int], waits: Waits, years: Sequence[int]
) -> list[_Ready]:
    past, lies = soils.past_c[rows], soils.lies_c[rows]
    first = past.shape[1] - waits.needed
    seen, series = np.concatenate([past[:, first:], lies[:, 0]], axis=1), soils.series[rows][..., first:]
    errors = errors_ahead_c(series, soils.covariance[rows], seen, run.doubt_c[first:], lies)
    as_it_lies = ready_ranges(past, lies, waits, run.today, errors)
    by_year = ready_by_year(past, lies, years, waits, run.today)
    raked: list[DayRange | None] = [None] * len(rows)
    if waits.season is Season.SPRING and soils.raked_c is not None and any(plot.may_be_raked for plot in plots):
        told = ready_ranges(past, soils.raked_c[rows], waits, run.today, errors)
        raked = [one if plot.may_be_raked else None for one, plot in zip(told, plots, strict=True)]
    return [_Ready(*of) for of in zip(as_it_lies, raked, by_year, strict=True)]


def _told(run: SoilRun, row: int, taught: Taught, seen_c: FloatArray, until: int) -> SoilTaught:
    """What readings taught, set beside what was known without them."""
    untaught_c = spread_c(taught.series, taught.places, seen_c - taught.move_c, KITCHEN)
    bright = taught.series[:, : run.past_c.shape[1]] @ _bright_less_dull(run, run.heard[row].place.latitude_deg)
    after, before = (float(np.sqrt(bright @ one @ bright)) for one in (taught.learned.covariance, taught.places))
    return SoilTaught(
        taught.readings,
        Daily(run.first, taught.move_c[:until]),
        Daily(run.first, np.hypot(untaught_c, run.doubt_c)[:until]),
        float(taught.learned.mean @ bright),
        after,
        before,
    )


def _bright_less_dull(run: SoilRun, latitude_deg: float) -> FloatArray:
    """Weights of the days that were: the mean of the brightest quarter of the last year less that of its darkest."""
    last = run.past_c.shape[1]
    year = slice(max(last - YEAR_DAYS, 0), last)
    sun = top_radiation_mj(latitude_deg, days_of_year(run.first, last)[year])
    low, high = np.quantile(sun, [0.25, 0.75])
    weights = np.zeros(last)
    weights[year] = (sun >= high) / np.count_nonzero(sun >= high) - (sun <= low) / np.count_nonzero(sun <= low)
    return weights


def _half_range_c(run: SoilRun, plots: Sequence[Plot]) -> FloatArray:
    """Half the range of each day ahead where the seed lies; that freezing soil holds the wave back is left out."""
    days = run.past_c.shape[1]
    soils = [TEXTURES[one.bed.texture] for one in run.heard]
    depth_m = np.array([plot.planting.depth_m for plot in plots])[:, None]
    conductivity, capacity = (
        np.array([getattr(soil, name) for soil in soils])[:, None]
        for name in ("conductivity_w_mk", "heat_capacity_mj_m3k")
    )
    layer, swing = (np.stack([getattr(one, name)[days:] for one in run.heard]) for name in ("layer_m2k_w", "swing_c"))
    share, _ = day_wave(depth_m, layer, conductivity, capacity)
    return np.asarray(swing * share)


def _fit_chance(soil_c: FloatArray, spread_c: FloatArray, plots: Sequence[Plot]) -> FloatArray:
    """Chance that a day's mean is on the right side of the limit that planting waits for, where one waits."""
    chance = np.full(soil_c.shape, np.nan)
    rows = [row for row, plot in enumerate(plots) if plot.waits]
    if rows:
        limit_c = np.array([limit_of(plots[row].planting, plots[row].thresholds) for row in rows])
        side = np.array([1.0 if plots[row].planting.season is Season.SPRING else -1.0 for row in rows])
        chance[rows] = normal_cdf(side[:, None] * (soil_c[rows] - limit_c[:, None]) / spread_c[rows])
    return chance
