"""What the place's own years say about frost around a planting."""

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from haulm.beds.memo import Memo
from haulm.condition import DayRange, SeasonChances
from haulm.garden import Place, Planting, Season
from haulm.science.climatology import (
    MixedDates,
    chance_after,
    chance_before,
    day_at_chance_before,
    first_in_autumn,
    fit_mixed_dates,
    last_in_spring,
    season_begun,
)
from haulm.science.development import CLASS_DAYS
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, Mark, Timeline

_SPRING_OPENS_AFTER = 6  # the month after which a southern year's growing season begins: judgement


@dataclass(frozen=True, slots=True)
class FrostYears:
    """When the last killing frost of spring and the first of autumn come, from the place's own years."""

    last: MixedDates
    first: MixedDates
    southern: bool


def killing_c(place: Place, thresholds: Thresholds) -> float:
    """The station's minimum at which the garden's shoots are killed, taking every night for a clear one."""
    return thresholds.frost.severe_c + place.clear_night_offset_c


def frost_years(timeline: Timeline, place: Place, thresholds: Thresholds, memo: Memo | None = None) -> FrostYears:
    """Killing frosts in the garden. A spring or an autumn counts once it is over."""
    return frosts_at(timeline, place, killing_c(place, thresholds), memo)


def frosts_at(timeline: Timeline, place: Place, limit_c: float, memo: Memo | None = None) -> FrostYears:
    """Nights on which the station's minimum is at or below a limit; a spring or an autumn counts once it is over."""
    first_day = timeline.days.first
    until = max((season_begun(timeline.today) - first_day).days, 0)
    seen = np.where(timeline.air_mark[:until] >= Mark.FILLED, timeline.days.air_min_c[:until], np.nan)
    southern = place.latitude_deg < 0.0

    def counted() -> FrostYears:
        return FrostYears(
            fit_mixed_dates(last_in_spring(first_day, seen, limit_c, southern=southern)),
            fit_mixed_dates(first_in_autumn(first_day, seen, limit_c, southern=southern)),
            southern,
        )

    return (memo or Memo()).kept("frosts", (first_day, seen, limit_c, southern), counted)


def frost_still_comes(frosts: FrostYears, day: date) -> float | None:
    """Chance that the last frost of spring comes after a day; None outside the half of the year it belongs to."""
    spring, count = _in_season(day, southern=frosts.southern)
    return float(chance_after(frosts.last, count)) if spring and frosts.last.years else None


def frost_has_come(frosts: FrostYears, day: date) -> float | None:
    """Chance that the first frost of autumn comes by a day; None outside the half of the year it belongs to."""
    spring, count = _in_season(day, southern=frosts.southern)
    return None if spring or not frosts.first.years else float(chance_before(frosts.first, count))


def _in_season(day: date, *, southern: bool) -> tuple[bool, int]:
    """Whether a day belongs to spring, and how it counts from 1 January of the year in which its season began.

    The halves of the year begin on 24 January and 24 July (climate.usu.edu; the second is judgement).
    """
    early, late = (day.month, day.day) < (1, 24), (day.month, day.day) >= (7, 24)
    begun = day.year - 1 if early else day.year
    return (early or late) == southern, (day - date(begun, 1, 1)).days + 1


def chances_of(
    frosts: FrostYears, planting: Planting, shoots: DayRange | None, thresholds: Thresholds
) -> SeasonChances:
    """Frost after the early shoots, and the last day that leaves the crop its weeks before the killing frost."""
    early = shoots.early if shoots else None
    after = float(chance_after(frosts.last, _day_of_spring(early, frosts))) if early else math.nan
    return SeasonChances(frosts.last.years, after, _last_safe_planting(frosts, planting, thresholds))


def _last_safe_planting(frosts: FrostYears, planting: Planting, thresholds: Thresholds) -> date | None:
    """None where no whole year tells. A place whose frost seldom kills has no last day but the window's own."""
    if planting.season is Season.SPRING:
        return planting.window_last
    if not frosts.first.years:
        return None
    frost_day = float(day_at_chance_before(frosts.first, thresholds.planting.frost_chance))
    if math.isnan(frost_day):
        return planting.window_last
    # South of the equator the autumn after a window that opens late in a year is that of the next.
    year = planting.window_first.year + (frosts.southern and planting.window_first.month > _SPRING_OPENS_AFTER)
    frost = date(year, 1, 1) + timedelta(days=math.floor(frost_day) - 1)
    return min(frost - CLASS_DAYS[planting.maturity.value][0] * DAY, planting.window_last)


def _day_of_spring(day: date, frosts: FrostYears) -> int:
    """Day counted from 1 January of the year in which the spring began, as `SeasonDates` counts."""
    begun = day.year - 1 if frosts.southern and day.month < 7 else day.year
    return (day - date(begun, 1, 1)).days + 1
