"""When soil will have stood at a limit: over the ways the weather may go, and the errors the estimate may have.

One estimate meets a limit on one day; the soil itself meets it earlier or later, for the weather to come is not known
and the estimate is off by what the place, the season and the day make of it. Both are drawn: every way of the weather
is taken with every error, and the days on which all these soils meet the limit are the range.
"""

from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haulm.science.soil_learning import SERIES, Errors, day_spread_c, sum_over

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

DRAWS = 48  # errors drawn for each way; half of them are the other half's opposites, so that their mean is 0
LONGEST_DAYS = 300  # drawn at once and cut, so that the errors of a day do not change with how far is looked ahead
OUTLOOK_DAYS = 3.5  # in which an error of the air fades from the soil: the 0.75 a day of its doubt
_SEED = 10  # any: the draws are the same on every morning, so that a range moves with the weather alone


def first_mornings(
    soil_c: FloatArray,
    limit_c: ArrayLike,
    needed: int,
    *,
    at_least: bool,
    opens: ArrayLike = 0,
    closes: ArrayLike | None = None,
) -> IntArray:
    """The first morning before which the day's mean has stood at a limit for some days running.

    Parameters
    ----------
    soil_c
        Daily means [°C], (…, needed + days): from `needed` days before this morning on. NaN is never at the limit.
    limit_c
        The limit [°C], one or for each path; a day exactly at it counts.
    needed
        Days running.
    at_least
        True for days at or above the limit, False for days at or below it.
    opens, closes
        No morning earlier than the one counts, none later than the other; one or for each path.

    Returns
    -------
    NDArray
        (…,): mornings from today on, today being 0; -1 where it does not come.
    """
    limit = np.asarray(limit_c, dtype=np.float64)[..., None]
    good = soil_c >= limit if at_least else soil_c <= limit
    last = good.shape[-1] - needed + 1
    ended = good[..., :last].copy()
    for back in range(1, needed):
        ended &= good[..., back : back + last]
    morning = np.arange(last)
    ended &= morning >= np.asarray(opens)[..., None]
    if closes is not None:
        ended &= morning <= np.asarray(closes)[..., None]
    first = ended.argmax(axis=-1)
    return np.where(np.take_along_axis(ended, first[..., None], axis=-1)[..., 0], first, -1)


def quantiles_of_those_that_came(mornings: IntArray, shares: Sequence[float]) -> FloatArray:
    """Quantiles of the mornings on which it comes, for each row by itself; NaN where it never does.

    Parameters
    ----------
    mornings
        (rows, paths), as `first_mornings` gives them.
    shares
        The quantiles asked, 0 to 1; between two values in a straight line (Hyndman & Fan 1996, definition 7, numpy's
        own; the paper from memory).

    Returns
    -------
    FloatArray
        (rows, shares).
    """
    never = np.iinfo(mornings.dtype).max
    ordered = np.sort(np.where(mornings >= 0, mornings, never), axis=-1)
    came = np.count_nonzero(mornings >= 0, axis=-1)[:, None]
    place = np.asarray(shares) * np.maximum(came - 1, 0)
    below = np.floor(place).astype(np.int64)
    above = np.minimum(below + 1, np.maximum(came - 1, 0))
    low, high = (np.take_along_axis(ordered, at, axis=-1).astype(np.float64) for at in (below, above))
    return np.where(came > 0, low + (place - below) * (high - low), np.nan)


def error_paths(
    series: FloatArray, covariance: FloatArray, soil_c: FloatArray, air_doubt_c: FloatArray, errors: Errors
) -> FloatArray:
    """Errors that the estimate may have, day by day [°C], (…, DRAWS, days); their mean is 0.

    Parameters
    ----------
    series, covariance
        How each learned coefficient moves the estimate, (…, 4, days), and what is not known of the coefficients,
        (…, 4, 4); the same axes before them for as many beds.
    soil_c
        The estimate [°C], (…, days).
    air_doubt_c
        Standard deviation [°C] that weather neither observed nor shown by the ways leaves in the soil, (…, days).
    errors
        How estimates err for reasons that no property of the place explains.

    Notes
    -----
    The place's error keeps its course all season, a spell's fades in `errors.spell_days`, a day's weather in
    `errors.weather_days`. Their standard deviation on any one day is that of `soil_learning.spread_c`.
    """
    days = series.shape[-1]
    place, *courses = _draws(max(days, LONGEST_DAYS), errors)
    spell, weather, outlook = (course[:, :days] for course in courses)
    values, vectors = np.linalg.eigh(covariance)
    root = np.swapaxes(vectors * np.sqrt(np.maximum(values, 0.0))[..., None, :], -1, -2)
    lasting = sum_over(place @ root, series[..., None, :, :])
    whole = np.hypot(errors.spell_c, errors.weather_c)
    own = (errors.spell_c * spell + errors.weather_c * weather) / whole
    day_c = day_spread_c(series, soil_c, errors)
    return np.asarray(lasting + day_c[..., None, :] * own + air_doubt_c[..., None, :] * outlook)


@cache
def _draws(days: int, errors: Errors) -> tuple[FloatArray, ...]:
    """Standard normal draws: of the place's coefficients (DRAWS, 4), and three courses (DRAWS, days) that fade.

    So few would miss their spread by a fifth: they are stretched to have it.
    """
    chance = np.random.default_rng(_SEED)
    fades = (errors.spell_days, errors.weather_days, OUTLOOK_DAYS)
    courses = [_fading(chance.standard_normal((days, DRAWS // 2)), fade_days).T for fade_days in fades]
    place = chance.standard_normal((DRAWS // 2, len(SERIES)))
    root = np.linalg.cholesky(place.T @ place / len(place))
    halves = [place @ np.linalg.inv(root).T, *(course / np.sqrt(np.mean(course**2)) for course in courses)]
    return tuple(np.concatenate([half, -half]) for half in halves)


def _fading(shocks: FloatArray, fade_days: float) -> FloatArray:
    """A course of standard deviation 1 that forgets itself in some days, out of shocks, along the first axis."""
    kept = np.exp(-1.0 / fade_days)
    course = shocks.copy()
    for day in range(1, len(course)):
        course[day] = kept * course[day - 1] + np.sqrt(1.0 - kept**2) * shocks[day]
    return course
