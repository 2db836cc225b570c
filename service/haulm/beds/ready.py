"""When the soil will be ready: over the place's own years, and over the errors that the estimate may have."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from haulm.beds.readings import KITCHEN
from haulm.condition import DayRange
from haulm.garden import Planting, Season
from haulm.science.soil_ready import IntArray, error_paths, first_mornings, quantiles_of_those_that_came
from haulm.settings.thresholds import Thresholds
from haulm.taught import YearReady
from haulm.weather import FloatArray

NO_ERROR = np.zeros((1, 1, 1))
FEWEST_YEARS_FOR_A_RANGE = 2
ENDS = (0.1, 0.5, 0.9)  # of the range that is told, and its middle


@dataclass(frozen=True, slots=True, eq=False)
class Waits:
    """What some plantings of a season wait for, (plantings,): the soil at its limit for so many days running.

    No morning before `opens` counts, and none after `closes` is looked at; both are counted from today.
    """

    season: Season
    needed: int
    limit_c: FloatArray
    opens: IntArray
    closes: IntArray

    def mornings(self, days_c: FloatArray) -> IntArray:
        """Of each path the first morning with its limit met, -1 for none; (plantings, …, needed + days)."""
        limit_c, opens, closes = (
            one.reshape(-1, *(1,) * (days_c.ndim - 2)) for one in (self.limit_c, self.opens, self.closes)
        )
        spring = self.season is Season.SPRING
        return first_mornings(days_c, limit_c, self.needed, at_least=spring, opens=opens, closes=closes)

    def with_last_days(self, past_c: FloatArray, ways_c: FloatArray) -> FloatArray:
        """Each way with the days before it that count, (plantings, ways, needed + days)."""
        plantings, ways, _ = ways_c.shape
        last = np.broadcast_to(past_c[:, None, -self.needed :], (plantings, ways, self.needed))
        return np.concatenate([last, ways_c], axis=-1)


def waits_of(
    plantings: Sequence[Planting], thresholds: Sequence[Thresholds], days_ahead: Sequence[int], today: date
) -> Waits:
    """What plantings wait for that are alike in season and in the days they ask for."""
    opens = [max((planting.window_first - today).days, 0) for planting in plantings]
    limits_c = [limit_of(planting, own) for planting, own in zip(plantings, thresholds, strict=True)]
    return Waits(
        plantings[0].season,
        thresholds[0].planting.ready_days,
        np.array(limits_c),
        np.array(opens, dtype=np.int64),
        np.array(days_ahead, dtype=np.int64),
    )


def errors_ahead_c(
    series: FloatArray, covariance: FloatArray, soil_c: FloatArray, doubt_c: FloatArray, ways_c: FloatArray
) -> FloatArray:
    """Errors that the estimate of each bed may have, day by day [°C], (plantings, draws, days).

    Parameters
    ----------
    series, covariance
        As for `error_paths`, (plantings, 4, days) and (plantings, 4, 4).
    soil_c, doubt_c
        The estimate, (plantings, days), and what doubt about the air leaves in it, (days,).
    ways_c
        The estimate's last days by each way the weather may go, (plantings, ways, days ahead); way 0 is the mean year.
        The doubt that own years show by differing is not drawn again.
    """
    left = np.repeat(doubt_c[None, :], len(soil_c), axis=0)
    if ways_c.shape[1] > 1:
        ahead = ways_c.shape[2]
        left[:, -ahead:] = np.sqrt(np.maximum(left[:, -ahead:] ** 2 - ways_c[:, 1:].std(axis=1) ** 2, 0.0))
    return error_paths(series, covariance, soil_c, left, KITCHEN)


def ready_ranges(
    past_c: FloatArray, ways_c: FloatArray, waits: Waits, today: date, errors_c: FloatArray = NO_ERROR
) -> list[DayRange]:
    """The morning on which each soil will have stood at its limit for the days asked, within the window's first day.

    Each of the place's own years with each of the errors; the mean year where there are no own years, and then no ends.
    The likely day is today if the estimate is at its limit, and no day up to today if it is not.

    Parameters
    ----------
    past_c, ways_c
        The estimate up to yesterday, (plantings, days), and by each way from today on, (plantings, ways, days).
    errors_c
        (plantings, draws, days asked + days of `ways_c`), from `errors_ahead_c`.
    """
    days = waits.with_last_days(past_c, ways_c)
    plain = waits.mornings(days)
    own = slice(1, None) if days.shape[1] > 1 else slice(None)
    found = waits.mornings(days[:, own, None] + errors_c[:, None]).reshape(len(days), -1)
    met_today = (plain[:, 0] == 0).tolist()
    shares = (plain[:, own] >= 0).mean(axis=1).tolist()
    ends, years = quantiles_of_those_that_came(found, ENDS).tolist(), days.shape[1] - 1
    return [
        _range(of_one, share, years, today, met_today=met)
        for of_one, share, met in zip(ends, shares, met_today, strict=True)
    ]


def _range(ends: Sequence[float], share: float, years: int, today: date, *, met_today: bool) -> DayRange:
    if np.isnan(ends[0]) or not share:
        return DayRange(None, None, None, 0.0, years)
    early, likely, late = (round(end) for end in ends)
    likely = 0 if met_today else max(likely, 1)
    day = today + timedelta(days=likely)
    if years < FEWEST_YEARS_FOR_A_RANGE:
        return DayRange(None, day, None, share, years)
    first, last = (today + timedelta(days=at) for at in (min(early, likely), max(late, likely)))
    return DayRange(first, day, last, share, years)


def ready_by_year(
    past_c: FloatArray, ways_c: FloatArray, years: Sequence[int], waits: Waits, today: date
) -> list[tuple[YearReady, ...]]:
    """The days by each own year's weather, as the estimate has it; none where the ways are not those of the years."""
    if ways_c.shape[1] != len(years) + 1:
        return [() for _ in ways_c]
    found = waits.mornings(waits.with_last_days(past_c, ways_c[:, 1:])).tolist()
    return [
        tuple(
            YearReady(year, None if at < 0 else today + timedelta(days=at)) for year, at in zip(years, of, strict=True)
        )
        for of in found
    ]


def limit_of(planting: Planting, thresholds: Thresholds) -> float:
    """The soil temperature that planting waits for in the season of a planting [°C]."""
    limits = thresholds.planting
    return limits.soil_ready_spring_c if planting.season is Season.SPRING else limits.soil_ready_autumn_c
