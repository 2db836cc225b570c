"""How forecasts err: more with the days ahead, wrong until news comes, and with an honest chance of rain.

Shared by the forecasts of the invented places and by hindcasts. The error of a day is a sum of shocks, one for each
morning still to come before it: the same news moves neighbouring days, and a wrong forecast stays wrong until it is
heard. Of the days given 30 % of rain, about 30 % are wet.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from haulm.weather import QUANTITIES, Days, FloatArray

# How far the forecast of a wet or dry day still knows more than the time of year does, today and the nine days after
# it. Judgement.
RAIN_KNOWN = np.array([0.92, 0.88, 0.83, 0.77, 0.70, 0.62, 0.54, 0.46, 0.39, 0.33])
FORECAST_DAYS = len(RAIN_KNOWN)
_CHANNELS = 6  # both temperatures together, minimum, maximum, rain, sky, wind
_ERROR_STAYS = 0.6


@dataclass(frozen=True, slots=True, eq=False)
class Usual:
    """What the time of year alone tells of the forecast's days: the share of wet days, and the rain of one [mm]."""

    wet_share: FloatArray
    rain_mm: FloatArray


def news(seed: Sequence[int], first: date, count: int) -> tuple[FloatArray, FloatArray]:
    """What each morning from a first one brings: shocks (morning, days ahead, channel), and what a wrong guess of its
    rain would be (morning, 2). A date's news depends on the seed and the date alone."""
    shocks, drawn = np.empty((count, FORECAST_DAYS, _CHANNELS)), np.empty((count, 2))
    for at in range(count):
        draw = np.random.default_rng([*seed, first.toordinal() + at])
        shocks[at], drawn[at] = draw.standard_normal((FORECAST_DAYS, _CHANNELS)), draw.random(2)
    for ahead in range(1, FORECAST_DAYS):
        shocks[:, ahead] = _ERROR_STAYS * shocks[:, ahead - 1] + np.sqrt(1.0 - _ERROR_STAYS**2) * shocks[:, ahead]
    return shocks, drawn


def errors(shocks: FloatArray, starts: NDArray[np.int64], spread_c: FloatArray) -> FloatArray:
    """Errors whose standard deviation is `spread_c` (days ahead,): (issue, days ahead, channel).

    Parameters
    ----------
    shocks
        From `news`.
    starts
        The morning of each issue, counted from the first of the news; nine more mornings follow the last.
    """
    shares = np.sqrt(np.diff(spread_c**2, prepend=0.0))
    found = np.zeros((len(starts), FORECAST_DAYS, shocks.shape[2]))
    for wait, share in enumerate(shares):
        # A day `ahead` days off hears its news of `wait` days before on the morning `ahead - wait` days from the issue.
        mornings = starts[:, None] + np.arange(FORECAST_DAYS - wait)
        found[:, wait:] += share * shocks[mornings, wait]
    return found


def told(true: Days, error: FloatArray, drawn: FloatArray, spread_c: FloatArray, usual: Usual) -> Days:
    """One issue: the true days with their errors on them; what is not known of a day is not told.

    Parameters
    ----------
    true
        The days from the issue's morning on, as many as the errors have.
    error
        Of this issue, (days ahead, channel), of standard deviation `spread_c`.
    drawn
        From `news`, of the same days.
    """
    both, of_min, of_max, of_rain, of_sky, of_wind = error.T
    low = true.air_min_c + 0.85 * both + 0.53 * of_min
    high = np.maximum(true.air_max_c + 0.75 * both + 0.47 * of_max, low + 0.5)
    rain, chance = _rain_told(true.rain_mm, of_rain / spread_c, of_sky, drawn, usual)
    humidity = np.clip(true.humidity_pct + 2.0 * of_sky, 8.0, 100.0)
    gain = np.exp(0.08 * of_wind)
    columns = (
        low,
        high,
        rain,
        humidity,
        dew_point((low + high) / 2.0, humidity),
        true.wind_ms * gain,
        true.gust_ms * gain,
    )
    shown = [np.round(column, 1) for column in columns]
    cloud = np.round(np.clip(true.cloud + 0.05 * of_sky, 0.0, 1.0), 2)
    return Days(true.first, **dict(zip(QUANTITIES, [*shown, cloud, np.round(chance, 2)], strict=True)))


_KNOWS = np.array([NormalDist().inv_cdf(share) for share in RAIN_KNOWN])


def _rain_told(
    rain_mm: FloatArray, luck: FloatArray, of_sky: FloatArray, drawn: FloatArray, usual: Usual
) -> tuple[FloatArray, FloatArray]:
    """Rain and its chance: either the forecaster knows, or guesses as often wet as the time of year is."""
    knows = luck < _KNOWS
    wet = np.where(knows, rain_mm > 0.0, drawn[:, 0] < usual.wet_share)
    guess = -usual.rain_mm * np.log1p(-drawn[:, 1])
    amount = np.where(knows, rain_mm * np.exp(0.1 * of_sky), guess)
    told_mm = np.where(wet, np.maximum(amount, 0.2), 0.0)
    # By Bayes' rule, exactly what a wet or a dry forecast is worth when it knows in RAIN_KNOWN of the cases.
    chance = np.where(wet, RAIN_KNOWN + (1.0 - RAIN_KNOWN) * usual.wet_share, (1.0 - RAIN_KNOWN) * usual.wet_share)
    unknown = np.isnan(rain_mm)
    return np.where(unknown, np.nan, told_mm), np.where(unknown, np.nan, chance)


def dew_point(air_c: FloatArray, humidity_pct: FloatArray) -> FloatArray:
    """Dew point (°C) from air temperature (°C) and humidity (%): the inverse of FAO-56 eq. 11 and 14."""
    pressure = np.log(humidity_pct / 100.0) + 17.27 * air_c / (air_c + 237.3)
    return 237.3 * pressure / (17.27 - pressure)
