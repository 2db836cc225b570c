"""Chances of frost at a threshold, and how far a forecast minimum may be off.

Everything broadcasts; nothing is raised.
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# weather.gov/jan/frostfreeze: frost 36 °F, freeze 32 °F, hard freeze 28 °F.
FROST_C, FREEZE_C, HARD_FREEZE_C = (36.0 - 32.0) / 1.8, 0.0, (28.0 - 32.0) / 1.8

# A published 86.5 % of first-night minima within 2 °C (Met Office accuracy page, 119 sites, 36 months) implies this
# spread of a forecast without bias: 2 / Φ⁻¹(0.9325).
FIRST_NIGHT_SPREAD_C = 1.338

# Standard deviation of a forecast minimum by lead day 1 to 7: from memory, a plausible ramp; no published table was
# found. After day 7 it grows to that of the season's own weather on day 10, about when skill over climatology is
# gone (a verification article of 2006); the 4 °C there are judgement.
_LEAD_DAYS = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 10.0)
_LEAD_SPREADS_C = (1.4, 1.6, 1.9, 2.2, 2.5, 2.8, 3.0, 4.0)

LEAST_CHANCE, MOST_CHANCE = 0.01, 0.99  # judgement: no forecast of ours is certain either way

_FAR = 40.0  # standard deviations, past which nothing is left in double precision
_ERF_P = 0.3275911
_ERF_A = (0.254829592, -0.284496736, 1.421413741, -1.453152027, 1.061405429)


def normal_cdf(z: ArrayLike) -> FloatArray:
    """Standard normal distribution function, right to 1.5e-7 (Abramowitz & Stegun 1964, 7.1.26, for erf).

    Parameters
    ----------
    z
        Standardised value, any shape. NaN gives NaN.
    """
    value = np.asarray(z, dtype=np.float64)
    x = np.minimum(np.abs(value), _FAR) / math.sqrt(2.0)
    t = 1.0 / (1.0 + _ERF_P * x)
    series = t * (_ERF_A[0] + t * (_ERF_A[1] + t * (_ERF_A[2] + t * (_ERF_A[3] + t * _ERF_A[4]))))
    tail = 0.5 * series * np.exp(-(x * x))
    return np.where(value > 0.0, 1.0 - tail, tail)


def normal_chance(limit_c: ArrayLike, mean_c: ArrayLike, spread_c: ArrayLike) -> FloatArray:
    """Chance (0 to 1) that a normally spread temperature is at or below a limit: Φ((limit - mean) / spread).

    Parameters
    ----------
    limit_c, mean_c
        Threshold and expected temperature [°C], bias already taken off.
    spread_c
        Standard deviation [°C]; 0 makes it a step. NaN anywhere gives NaN.
    """
    gap = np.asarray(limit_c, dtype=np.float64) - np.asarray(mean_c, dtype=np.float64)
    return normal_cdf(gap / np.maximum(np.asarray(spread_c, dtype=np.float64), 1e-6))


def chance_at_or_below(limit_c: ArrayLike, mean_c: ArrayLike, spread_c: ArrayLike) -> FloatArray:
    """`normal_chance` kept between 0.01 and 0.99 (judgement): nobody is promised a night. Arguments the same."""
    return np.minimum(np.maximum(normal_chance(limit_c, mean_c, spread_c), LEAST_CHANCE), MOST_CHANCE)


def spread_by_lead_c(lead_days: ArrayLike) -> FloatArray:
    """Standard deviation [°C] to expect of a forecast minimum before its own record is long enough to tell.

    Parameters
    ----------
    lead_days
        Days ahead, 1 for the coming night; between whole days it is interpolated, outside 1 to 10 the end holds.
        NaN gives NaN.

    Notes
    -----
    From memory, see the table above: a prior, to be replaced by the place's own verification.
    """
    return np.asarray(np.interp(np.asarray(lead_days, dtype=np.float64), _LEAD_DAYS, _LEAD_SPREADS_C))
