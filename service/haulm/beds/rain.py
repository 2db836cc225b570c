"""The chance of rain where a forecaster gives only amounts: from how often such forecasts came true at the station."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np

from haulm.beds.graded import LEADS, known_issues, measured, table_of
from haulm.garden import Place
from haulm.science.rain_skill import WET_MM, wet_chance
from haulm.weather import FloatArray, Forecast, Mark, Timeline

FEWEST_DAYS = 30  # judgement: with fewer days graded, amounts are left to speak for themselves
YEAR_DAYS = 365


def with_rain_chances(timeline: Timeline, forecasts: Sequence[Forecast], place: Place, as_of: datetime) -> Timeline:
    """The same weather with a chance of rain on each coming day that has an amount and no chance.

    Parameters
    ----------
    forecasts
        All that is held; what was not known by `as_of`, or is another forecaster's, is left out here.
    """
    days, first = timeline.days, timeline.today_index
    lacking = np.isnan(days.rain_chance[first:]) & np.isfinite(days.rain_mm[first:])
    if timeline.forecast_issued is None or not lacking.any():
        return timeline
    issued = table_of(known_issues(forecasts, timeline, as_of), place)
    told, came = issued.of("rain_mm"), measured(issued, timeline, "rain_mm")
    if np.isfinite(told[:, :2] + came[:, :2]).any(axis=1).sum() < FEWEST_DAYS:
        return timeline
    begun = (timeline.today - place.day_of(timeline.forecast_issued)).days
    age = timeline.today.toordinal() - (issued.day[:, None] + np.arange(LEADS))
    lead = np.minimum(begun + np.arange(len(lacking)), LEADS - 1)
    chance = days.rain_chance.copy()
    for at in np.flatnonzero(lacking):
        asked = np.full(LEADS, np.nan)
        asked[lead[at]] = days.rain_mm[first + at]
        chance[first + at] = wet_chance(asked, told, came, age, _usual_share(timeline))[lead[at]]
    return replace(timeline, days=replace(days, rain_chance=chance))


def _usual_share(timeline: Timeline) -> float:
    rain_mm: FloatArray = timeline.days.rain_mm[timeline.rain_mark == Mark.OBSERVED]
    return float((rain_mm >= WET_MM).mean()) if len(rain_mm) >= YEAR_DAYS else float("nan")
