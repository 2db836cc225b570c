"""The planting windows of a bed, from the place's own years: its soil run once over all of them, then every day asked.

Four rows of soil are run: the bed without straw, as it lies before a spring planting; with the straw of planting;
with shade beside it, as hot soil is planted; and with the straw of the grown crop.
"""

from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from haulm.beds.chances import killing_c
from haulm.beds.forcing import Climate, past
from haulm.beds.soil_run import ground_of
from haulm.beds.soil_years import UNTAUGHT, learned_from, soil_of_years
from haulm.garden import Bed, Journal, Light, Place, Planting
from haulm.science.bed_surface import settled_m
from haulm.science.climatology import MOST_MISSING_DAYS
from haulm.science.crop_fates import Fate, Fates, IntArray, Mask, Needs, Seasons, fates
from haulm.science.development import P_DAYS_NEEDED, p_days
from haulm.science.windows import CLASSES, RING_DAYS, Limits, Window, YearFates, meeting, windows
from haulm.settings.thresholds import Thresholds
from haulm.taught import SeasonFits
from haulm.weather import DAY, Mark, Timeline

HALF_RING = RING_DAYS // 2
STRAW_AGE_DAYS = 14.0  # judgement: laid straw counts as settled as it is after two weeks


@dataclass(frozen=True, slots=True)
class Sown:
    """The bed that is asked about, what is planned in it, and how deep that lies: on the soil where nothing is."""

    bed: Bed
    planting: Planting | None = None

    @property
    def depth_m(self) -> float:
        """How deep the seed lies."""
        return self.planting.depth_m if self.planting else 0.0


def year_fates(
    timeline: Timeline, climate: Climate, place: Place, sown: Sown, thresholds: Thresholds, journal: Journal
) -> YearFates:
    """What would have become of a crop planted on each day of each year of the record, its seed chitted.

    A year does not tell of a day when more than ten days of air are missing, or still to come, in the longest life of
    a crop from that day on. Years that tell of no day are left out. Readings in the journal move the soil of all years.
    """
    weather = _seasons(timeline, climate, place, sown, thresholds, journal)
    wants, limits = needs_of(thresholds), thresholds.windows
    whole = np.array([P_DAYS_NEEDED[name] for name in CLASSES])
    young = fates(weather, limits.enough_share * whole, wants)
    ripe = fates(weather, whole, replace(wants, heat_c=limits.slow_heat_c))
    years, at = _positions(timeline)
    inside = (at >= 0) & (at < len(weather.killing))
    at = np.where(inside, at, 0)
    told = inside & ~_full_of_holes(timeline, limits.longest_days)[at] & (young.fate[0] != Fate.NOT_KNOWN)[at]
    kept = told.any(axis=1)
    return _by_year(young, ripe, years[kept], at[kept], told[kept], thresholds.skins.days)


def windows_of(found: YearFates, thresholds: Thresholds) -> tuple[Window, ...]:
    """The windows that the years make, as the settings have it; none where no year tells."""
    return windows(found, limits_of(thresholds)) if found.years.size else ()


def season_fits(
    timeline: Timeline, climate: Climate, place: Place, sown: Sown, thresholds: Thresholds, journal: Journal
) -> SeasonFits | None:
    """What the years say of the planting of `sown` in its window; None where none tells, or nothing is planned."""
    planting = sown.planting
    found = year_fates(timeline, climate, place, sown, thresholds, journal)
    if planting is None or not found.known.any():
        return None
    listed = windows_of(found, thresholds)
    met = meeting(listed, *(_on_ring(day) for day in (planting.window_first, planting.window_last)))
    if met is None:
        good = any(one.good for one in listed)
        others = sorted(_next_open(one, timeline.today) for one in listed if one.good is good)
        return SeasonFits(any_window=bool(listed), others=tuple(others), others_good=good)
    from_first = (met.best - _on_ring(planting.window_first) + HALF_RING) % RING_DAYS - HALF_RING
    return SeasonFits(
        any_window=True,
        likely_day=planting.window_first + from_first * DAY,
        fitting=met.fitting,
        ripe_share=met.ripe_shares[CLASSES.index(planting.maturity.value)],
        years=met.years,
    )


def _on_ring(day: date) -> int:
    return min(day.timetuple().tm_yday, RING_DAYS) - 1


def _next_open(window: Window, today: date) -> tuple[date, date]:
    """First and last day of a window that is open, or of the next time it is."""
    last = _from_ring(window.last, today.year)
    last = last if last >= today else _from_ring(window.last, today.year + 1)
    first = _from_ring(window.first, last.year)
    return first if first <= last else _from_ring(window.first, last.year - 1), last


def _from_ring(position: int, year: int) -> date:
    return (date(2001, 1, 1) + position * DAY).replace(year=year)  # the ring knows no 29 February


def _positions(timeline: Timeline) -> tuple[IntArray, IntArray]:
    """The years that the record touches, and where their planting days lie in it."""
    first = timeline.days.first
    years = np.arange(first.year, timeline.today.year + 1)
    starts = np.array([(date(int(year), 1, 1) - first).days for year in years])
    return years, starts[:, None] + np.arange(RING_DAYS)


def _by_year(young: Fates, ripe: Fates, years: IntArray, at: IntArray, told: Mask, skins_days: int) -> YearFates:
    lift = np.maximum(np.minimum(ripe.ripe, ripe.end), young.ripe) + skins_days
    return YearFates(
        years=years,
        young=np.where(told, young.fate[:, at], Fate.NOT_KNOWN).astype(np.int8),
        ripe=np.where(told, ripe.fate[:, at], Fate.NOT_KNOWN).astype(np.int8),
        soil=young.soil[at],
        shoots=young.shoots[at],
        nights=young.nights[at],
        warmth=young.warmth[0, at],
        early_days=young.early[at],
        late_days=young.late[at],
        young_days=young.ripe[:, at],
        lift_days=lift[:, at],
    )


def limits_of(thresholds: Thresholds) -> Limits:
    """What share of years makes a window, as the settings have it."""
    return Limits(thresholds.windows.good_share, thresholds.windows.chancy_share)


def needs_of(thresholds: Thresholds) -> Needs:
    """What a crop wants of its weather, as the settings have it."""
    planting, limits = thresholds.planting, thresholds.windows
    return Needs(
        ready_c=planting.soil_ready_spring_c,
        ready_days=planting.ready_days,
        ahead_days=planting.look_ahead_days,
        cold_c=planting.too_cold_c,
        cold_days=planting.too_cold_days,
        hot_c=planting.soil_risky_autumn_c,
        hot_days=limits.hot_days,
        night_c=thresholds.shoots.forming_night_c,
        forming_after_days=thresholds.shoots.forming_after_days,
        forming_days=limits.forming_days,
        cool_nights=limits.cool_nights,
        heat_c=limits.lasting_heat_c,
        heat_days=limits.lasting_heat_days,
        longest_days=limits.longest_days,
    )


def _seasons(
    timeline: Timeline, climate: Climate, place: Place, sown: Sown, thresholds: Thresholds, journal: Journal
) -> Seasons:
    weather, ground = past(timeline, climate, timeline.days.first), ground_of(place, climate)
    new, deep = (
        float(settled_m(laid_m, STRAW_AGE_DAYS))
        for laid_m in (thresholds.planting.straw_at_planting_m, thresholds.straw.second_layer_straw_m)
    )
    shaded = replace(sown.bed, light=Light.SHADE if sown.bed.light is Light.SHADE else Light.HALF_SHADE)
    bare, strawed, cooled, grown = soil_of_years(
        ground,
        [sown.bed, sown.bed, shaded, sown.bed],
        sown.depth_m,
        np.array([0.0, new, new, deep]),
        weather,
        learned_from(journal, timeline, climate, ground, sown.bed, sown.planting) if sown.planting else UNTAUGHT,
    )
    low, high = weather.air_min_c[0], weather.air_max_c[0]
    return Seasons(
        bare_c=bare,
        planted_c=np.where(strawed > thresholds.planting.soil_ready_autumn_c, cooled, strawed),
        grown_c=grown,
        air_min_c=low,
        p_days=p_days(low, high),
        killing=low <= killing_c(place, thresholds),
    )


def _full_of_holes(timeline: Timeline, longest_days: int) -> Mask:
    """Whether too many days of the longest life from a day on are not known, or still to come."""
    missing = timeline.air_mark[: timeline.today_index] < Mark.FILLED
    total = np.concatenate([[0], np.cumsum(np.concatenate([missing, np.ones(longest_days, dtype=bool)]))])
    return np.asarray(total[longest_days:-1] - total[: -longest_days - 1] > MOST_MISSING_DAYS)
