"""Hindcasts: what a forecaster might have said on past mornings of which no forecast was kept.

Drawn from the days that were then still to come, with errors on them: never perfect foresight, and never a forecast
that anybody issued. Their spread is that of `science.frost.spread_by_lead_c`, which the alerts reckon with too; how the
errors hang together is told in `forecast_error`. A date's errors depend on the seed and the date alone.
"""

from collections.abc import Sequence
from datetime import date, datetime, timedelta

import numpy as np

from haulm.science.frost import spread_by_lead_c
from haulm.sources.forecast_error import FORECAST_DAYS, Usual, errors, news, told
from haulm.weather import DAY, Days, FloatArray, Forecast, Origin, Record

HINDCAST = Origin("hindcast", "a hindcast: the days that came, with the errors of a forecast drawn on them")
ISSUED_BEFORE = timedelta(hours=2)  # the morning; so that it is known by then in every zone
# Today's own minimum is known no better than tonight's: no forecast of it is verified here.
SPREAD_C: FloatArray = spread_by_lead_c(np.maximum(np.arange(float(FORECAST_DAYS)), 1.0))
WET_MM = 0.1
FEWEST_DAYS = 60  # judgement: days of a time of the year, before the place's own rain is worth counting
USUAL_WET_SHARE, USUAL_RAIN_MM = 0.35, 5.0  # judgement, where it is not
HALF_SEASON_DAYS = 45  # judgement: days about a date that tell of its rain
YEAR_DAYS = 365


def hindcasts(record: Record, mornings: Sequence[tuple[date, datetime]], seed: int) -> tuple[Forecast, ...]:
    """One issue for each morning: its day and the nine after it, as far as the record holds them.

    Parameters
    ----------
    record
        What was observed; the days from a morning on are what its issue is drawn from. How often it rains at a time of
        the year is counted on the days before the first morning, and on no other.
    mornings
        Local day and instant of each, in any order.
    seed
        Not negative.
    """
    if not mornings:
        return ()
    first = min(day for day, _ in mornings)
    shocks, drawn = news((seed,), first, (max(day for day, _ in mornings) - first).days + FORECAST_DAYS)
    starts = np.array([(day - first).days for day, _ in mornings], dtype=np.int64)
    rain = usual_rain(record.days, first)
    return tuple(
        Forecast(
            HINDCAST, at - ISSUED_BEFORE, _issue(record.days, day, error, drawn[start : start + FORECAST_DAYS], rain)
        )
        for (day, at), start, error in zip(mornings, starts, errors(shocks, starts, SPREAD_C), strict=True)
    )


def _issue(truth: Days, morning: date, error: FloatArray, drawn: FloatArray, rain: Usual) -> Days:
    true = truth.cut(morning, morning + (FORECAST_DAYS - 1) * DAY)
    of_year = (morning.timetuple().tm_yday - 1 + np.arange(FORECAST_DAYS)) % YEAR_DAYS
    return told(true, error, drawn, SPREAD_C, Usual(rain.wet_share[of_year], rain.rain_mm[of_year]))


def usual_rain(days: Days, before: date) -> Usual:
    """How often it rains, and how much then, about each day of the year (365,), on the days before a date."""
    held = days.cut(days.first, max(before - DAY, days.first - DAY)).rain_mm
    of_year = (days.first.timetuple().tm_yday - 1 + np.arange(len(held))) % YEAR_DAYS
    known, wet = np.isfinite(held), held >= WET_MM
    counts = [np.bincount(of_year[which], minlength=YEAR_DAYS) for which in (known, wet)]
    sums = np.bincount(of_year[wet], weights=held[wet], minlength=YEAR_DAYS)
    seen, rained, fell = (_about(values.astype(np.float64)) for values in (*counts, sums))
    enough = (seen >= FEWEST_DAYS) & (rained > 0.0)
    share = np.where(enough, rained / np.maximum(seen, 1.0), USUAL_WET_SHARE)
    return Usual(share, np.where(enough, fell / np.maximum(rained, 1.0), USUAL_RAIN_MM))


def _about(values: FloatArray) -> FloatArray:
    """Sums over the days about each day of the year, round its end."""
    around = np.concatenate([values[-HALF_SEASON_DAYS:], values, values[:HALF_SEASON_DAYS]])
    return np.convolve(around, np.ones(2 * HALF_SEASON_DAYS + 1), mode="valid")
