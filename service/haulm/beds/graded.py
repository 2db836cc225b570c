"""Forecasts against what the station then measured, as far as both are known on a morning.

A lead counts in local days from the day on which an issue came out to the day forecast. Of each day's issues the last
one is graded, and only those of the forecaster now in use; a day counts once it is observed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from haulm.beds.forcing import days_of_year
from haulm.beds.nights import skies_of
from haulm.garden import Place
from haulm.science.climatology import MeanYear, fit_mean_year, mean_year_at
from haulm.science.forecast_skill import Cases, Outlook, Skill, chance_at_or_below, learn, put_right
from haulm.science.frost import LEAST_CHANCE, MOST_CHANCE
from haulm.weather import Days, FloatArray, Forecast, ForecastsGraded, Mark, Timeline

LEADS = 8  # an issue's own day, then seven more; a longer lead is taken for the longest graded
GRADED_FOR = timedelta(days=400)  # judgement: each season once; older forecasts say little of today's
TOLD = ("air_min_c", "air_max_c", "rain_mm", "cloud", "wind_ms", "dew_point_c")
FEWEST_BEHIND = 30  # judgement: before that the prior speaks, not the place
FEWEST_TOLD = 10  # judgement: fewer nights are no news to a reader
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Issued:
    """Issues as a table.

    `told` is (quantities, issues, leads), NaN where nothing was said; `day` the local day of each issue, as an ordinal.
    """

    told: FloatArray
    day: IntArray

    def of(self, quantity: str) -> FloatArray:
        """One quantity as it was forecast, (issues, leads)."""
        return np.asarray(self.told[TOLD.index(quantity)])

    @property
    def day_of_year(self) -> FloatArray:
        """Of each day forecast, (issues, leads)."""
        ahead = self.day[:, None] + np.arange(LEADS)
        if not ahead.size:
            return ahead.astype(np.float64)
        first = int(ahead.min())
        run = days_of_year(date.fromordinal(first), int(ahead.max()) - first + 1)
        return np.asarray(run[ahead - first])


@dataclass(frozen=True, slots=True, eq=False)
class GradedMinima:
    """What forecasts of the minimum have been worth here; rows of `skill` are lead days 1 to 7.

    `pairs` counts the nights of each lead that were graded, `told` says how those of the coming night turned out.
    """

    skill: Skill
    usual_min_c: MeanYear
    usual_range_c: MeanYear
    pairs: IntArray
    told: ForecastsGraded | None

    def expect(self, days: Days, issued: date) -> Outlook:
        """The minima of days forecast by one issue, put right: (days, 1) each.

        Parameters
        ----------
        issued
            The local day on which the issue came out.
        """
        leads = (days.first - issued).days + np.arange(len(days))
        day_of_year = days_of_year(days.first, len(days))
        sky = skies_of(lambda name: days.of(name).values, day_of_year, self.usual_range_c)
        unusual = days.air_min_c - mean_year_at(self.usual_min_c, day_of_year)
        told = (days.air_min_c, unusual, sky.share, day_of_year)
        return put_right(self.skill.at(np.clip(leads, 1, LEADS - 1) - 1), Cases(*(one[:, None] for one in told)))


def graded_minima(
    forecasts: Sequence[Forecast], timeline: Timeline, place: Place, as_of: datetime, usual_range_c: MeanYear
) -> GradedMinima:
    """What is known on a morning of how forecast minima turned out.

    Parameters
    ----------
    forecasts
        All that is held; issues that were not known by `as_of`, or come from another forecaster, are left out here.
    timeline
        The weather as the morning knows it: only its observed days are measured against.
    usual_range_c
        The place's mean year of the day's range.
    """
    usual_min = _usual_minimum(timeline)
    told, error, target = _pairs(forecasts, timeline, place, as_of, usual_min, usual_range_c)
    skill = learn(told, error, timeline.today.toordinal() - target, np.arange(1.0, LEADS))
    return GradedMinima(skill, usual_min, usual_range_c, np.isfinite(error).sum(axis=1), _told(error[0]))


def chances_given(
    forecasts: Sequence[Forecast],
    timeline: Timeline,
    place: Place,
    as_of: datetime,
    usual_range_c: MeanYear,
    limit_c: float,
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Chances (0 to 1) that each day's issue gave for the night after, at the station, and whether it came.

    Each is learned afresh from what had been measured before that issue came out, so that none knows its own night
    (the mean year alone is that of the whole record); those with fewer than `FEWEST_BEHIND` nights before are left out.

    Parameters
    ----------
    limit_c
        The station's minimum at or below which a night counts [°C].
    """
    told, error, target = _pairs(forecasts, timeline, place, as_of, _usual_minimum(timeline), usual_range_c)
    rows = [one[0] for one in (told.value_c, told.unusual_c, told.clear, told.day_of_year)]
    error, night = error[0], target[0]
    chances, came = [], []
    for at in np.flatnonzero(np.isfinite(error)):
        before = np.isfinite(error) & (night < night[at] - 1)
        if before.sum() < FEWEST_BEHIND:
            continue
        known = Cases(*(one[before] for one in rows))
        skill = learn(known, error[before], night[at] - night[before], 1.0)
        expected = put_right(skill, Cases(*(one[at : at + 1] for one in rows)))
        chance = chance_at_or_below(limit_c, expected.mean_c, expected.spread_c, expected.errors_c)
        chances.append(float(np.clip(chance[0], LEAST_CHANCE, MOST_CHANCE)))
        came.append(rows[0][at] + error[at] <= limit_c)
    return np.array(chances), np.array(came, dtype=bool)


def _usual_minimum(timeline: Timeline) -> MeanYear:
    days = timeline.days
    return fit_mean_year(days_of_year(days.first, len(days)), _observed(timeline, "air_min_c"))


def _pairs(
    forecasts: Sequence[Forecast],
    timeline: Timeline,
    place: Place,
    as_of: datetime,
    usual_min_c: MeanYear,
    usual_range_c: MeanYear,
) -> tuple[Cases, FloatArray, FloatArray]:
    """Minima as they were forecast, the errors (NaN is no pair), and the days they are of, (leads from 1, issues)."""
    issued = table_of(known_issues(forecasts, timeline, as_of), place)
    day_of_year = issued.day_of_year
    sky = skies_of(issued.of, day_of_year, usual_range_c)
    low = issued.of("air_min_c")
    target = (issued.day[:, None] + np.arange(LEADS)).astype(np.float64)
    told = (low, low - mean_year_at(usual_min_c, day_of_year), sky.share, day_of_year)
    error = measured(issued, timeline, "air_min_c") - low
    return Cases(*(one.T[1:] for one in told)), error.T[1:], target.T[1:]


def _told(error_c: FloatArray) -> ForecastsGraded | None:
    known = error_c[np.isfinite(error_c)]
    if len(known) < FEWEST_TOLD:
        return None
    return ForecastsGraded(len(known), -float(known.mean()), float(known.std()))


def table_of(issues: Sequence[Forecast], place: Place) -> Issued:
    """The last issue of each local day as one table, oldest first."""
    last = {place.day_of(issue.issued): issue for issue in sorted(issues, key=lambda one: one.issued)}
    told = np.full((len(TOLD), len(last), LEADS), np.nan)
    if not last:
        return Issued(told, np.zeros(0, dtype=np.int64))
    held = list(last.values())
    day = np.array([one.toordinal() for one in last], dtype=np.int64)
    count = np.array([len(issue.days) for issue in held])
    row = np.repeat(np.arange(len(held)), count)
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    lead = within + np.repeat([issue.days.first.toordinal() for issue in held] - day, count)
    kept = (lead >= 0) & (lead < LEADS)
    for at, quantity in enumerate(TOLD):
        values = np.concatenate([getattr(issue.days, quantity) for issue in held])
        told[at, row[kept], lead[kept]] = values[kept]
    return Issued(told, day)


def measured(issued: Issued, timeline: Timeline, quantity: str) -> FloatArray:
    """What the station observed on each day forecast, (issues, leads); NaN where that is not known."""
    seen = _observed(timeline, quantity)
    at = issued.day[:, None] + np.arange(LEADS) - timeline.days.first.toordinal()
    inside = (at >= 0) & (at < timeline.today_index)
    return np.where(inside, seen[np.where(inside, at, 0)], np.nan) if len(seen) else np.full(at.shape, np.nan)


def known_issues(forecasts: Sequence[Forecast], timeline: Timeline, as_of: datetime) -> list[Forecast]:
    """Issues of the forecaster in use, else of the last one heard, as known by an instant, not too old to be graded."""
    since = as_of - GRADED_FOR
    known = [one for one in forecasts if since <= one.issued and max(one.known_since, one.issued) <= as_of]
    newest = max(known, key=lambda one: one.issued, default=None)
    origin = timeline.forecast_origin or (newest.origin if newest else None)
    return [one for one in known if origin is not None and one.origin.key == origin.key]


def _observed(timeline: Timeline, quantity: str) -> FloatArray:
    mark = timeline.rain_mark if quantity == "rain_mm" else timeline.air_mark
    return np.where(mark == Mark.OBSERVED, getattr(timeline.days, quantity), np.nan)
