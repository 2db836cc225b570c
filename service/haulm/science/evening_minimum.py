"""The night's minimum from the evening's air, and the course of the air until then (FAO frost handbook).

FAO = Snyder, R.L. & de Melo-Abreu, J.P. 2005. Frost protection: fundamentals, practice and economics, volume 1. Rome:
FAO. The method holds for radiation nights (clear, with light wind) and must be fitted on the place's own nights. The
handbook itself was not at hand: form, sample and its values were read in a public implementation that carries them.
Everything broadcasts; nothing is raised.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

LEAST_NIGHTS = 3  # as many as there are coefficients: with fewer there is no fit at all
SUNSET_HOURS = 2.0  # the trend begins two hours after sunset
# Two estimates of one night err alike in part: both are too warm when it clears unforeseen. Judgement.
ERRORS_IN_COMMON = 0.5
_ALIKE_C = 0.01  # evenings that do not differ by more teach no slope


@dataclass(frozen=True, slots=True)
class EveningFit:
    """Tmin = evening_share · T + dew_point_share · Td + constant_c, fitted on `nights`; NaN where it cannot be.

    `spread_c` is the standard deviation that a night not among them shows about it.
    """

    evening_share: float
    dew_point_share: float
    constant_c: float
    spread_c: float
    nights: int


def fit_evening(evening_c: ArrayLike, dew_point_c: ArrayLike, minimum_c: ArrayLike) -> EveningFit:
    """FAO's two steps: the minimum on the evening's air, then what is left on the evening's dew point.

    Parameters
    ----------
    evening_c, dew_point_c
        Air temperature and dew point [°C] at one and the same time from sunset (the handbook's: two hours after it),
        one a night.
    minimum_c
        The minimum [°C] of that night. A night that lacks any of the three is left out.

    Notes
    -----
    Not the joint least squares of both: the dew point gets only what the air has left unexplained. The spread is that
    of the residuals on nights - 3 degrees of freedom, so that few nights do not promise too much.
    """
    columns = np.stack([np.asarray(one, dtype=np.float64) for one in (evening_c, dew_point_c, minimum_c)])
    air, dew_point, minimum = columns[:, np.isfinite(columns).all(axis=0)]
    if len(air) < LEAST_NIGHTS or np.ptp(air) < _ALIKE_C:
        return EveningFit(math.nan, math.nan, math.nan, math.nan, len(air))
    slope, level = _line(air, minimum)
    left = minimum - slope * air - level
    second, more = _line(dew_point, left) if np.ptp(dew_point) >= _ALIKE_C else (0.0, 0.0)
    error = left - second * dew_point - more
    free = len(air) - LEAST_NIGHTS
    spread = math.sqrt(float(error @ error) / free) if free else math.nan
    return EveningFit(slope, second, level + more, spread, len(air))


def _line(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    away = x - x.mean()
    slope = float(away @ (y - y.mean()) / (away @ away))
    return slope, float(y.mean() - slope * x.mean())


def evening_minimum_c(fit: EveningFit, evening_c: ArrayLike, dew_point_c: ArrayLike) -> FloatArray:
    """The night's minimum [°C] from the evening's air temperature and dew point [°C]; NaN gives NaN."""
    air, dew_point = (np.asarray(one, dtype=np.float64) for one in (evening_c, dew_point_c))
    return np.asarray(fit.evening_share * air + fit.dew_point_share * dew_point + fit.constant_c)


def blended(
    first_c: ArrayLike, first_spread_c: ArrayLike, second_c: ArrayLike, second_spread_c: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Two estimates of one minimum [°C] as one, each weighing by its error, and the standard deviation of that.

    Parameters
    ----------
    first_c, second_c
        The estimates. Where one is NaN, or its spread is, the other stands as it is.
    first_spread_c, second_spread_c
        Their standard deviations, above 0.

    Notes
    -----
    The weights that make the variance least where the errors have a correlation of 0.5 (judgement): the blend is a
    little surer than the surer of both, less so than by two opinions of strangers, and an estimate with twice the
    error of the other is not heard at all.
    """
    one, other, s, t = np.broadcast_arrays(
        *(np.asarray(value, dtype=np.float64) for value in (first_c, second_c, first_spread_c, second_spread_c))
    )
    common = ERRORS_IN_COMMON * s * t
    weight = np.clip((t**2 - common) / (s**2 + t**2 - 2.0 * common), 0.0, 1.0)
    both = weight * one + (1.0 - weight) * other
    spread = np.sqrt((weight * s) ** 2 + ((1.0 - weight) * t) ** 2 + 2.0 * weight * (1.0 - weight) * common)
    known, also = np.isfinite(one) & np.isfinite(s), np.isfinite(other) & np.isfinite(t)
    mean = np.where(known & also, both, np.where(known, one, np.where(also, other, np.nan)))
    return mean, np.where(known & also, spread, np.where(known, s, np.where(also, t, np.nan)))


def night_trend_c(evening_c: ArrayLike, minimum_c: ArrayLike, hour: ArrayLike, last_hour: ArrayLike) -> FloatArray:
    """FAO's course of a radiation night: T2 + (Tmin - T2) · √((i - 2) / (n - 2)) [°C], as long as nothing turns.

    Parameters
    ----------
    evening_c
        Air temperature two hours after sunset [°C].
    minimum_c
        The minimum, reached at sunrise [°C].
    hour, last_hour
        Hours after sunset: of the answer (2 to n, outside the ends hold), and of sunrise (n, above 2).
    """
    evening, lowest = np.asarray(evening_c, dtype=np.float64), np.asarray(minimum_c, dtype=np.float64)
    at, end = np.asarray(hour, dtype=np.float64), np.asarray(last_hour, dtype=np.float64)
    share = np.clip((at - SUNSET_HOURS) / (end - SUNSET_HOURS), 0.0, 1.0)
    return np.asarray(evening + (lowest - evening) * np.sqrt(share))


def hour_reached(evening_c: ArrayLike, minimum_c: ArrayLike, limit_c: ArrayLike, last_hour: ArrayLike) -> FloatArray:
    """The hour after sunset at which that course falls to a limit; NaN where it does not, 2 where it begins below.

    Parameters
    ----------
    evening_c, minimum_c, last_hour
        As for `night_trend_c`.
    limit_c
        The temperature asked for [°C].
    """
    evening, lowest = np.asarray(evening_c, dtype=np.float64), np.asarray(minimum_c, dtype=np.float64)
    limit, end = np.asarray(limit_c, dtype=np.float64), np.asarray(last_hour, dtype=np.float64)
    fall = np.where(evening > lowest, evening - lowest, np.nan)
    share = np.clip((evening - limit) / fall, 0.0, None)
    hour = SUNSET_HOURS + (end - SUNSET_HOURS) * share**2
    return np.where(evening <= limit, SUNSET_HOURS, np.where(share <= 1.0, hour, np.nan))
