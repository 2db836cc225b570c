"""Chances of frost at a threshold, and how cold the leaves get below the screen.

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
STRAW_TERM_C = 1.0  # judgement: leaves over straw are about this much colder, straw keeps the soil's warmth from them

# Judgement: from here to there the night loses its clear, calm character.
_CLEAR_CLOUD, _COVERED_CLOUD = 0.3, 0.7
_CALM_WIND_MS, _STIRRED_WIND_MS = 2.0, 4.0

_ERF_P = 0.3275911
_ERF_A = (0.254829592, -0.284496736, 1.421413741, -1.453152027, 1.061405429)


def normal_cdf(z: ArrayLike) -> FloatArray:
    """Standard normal distribution function, right to 1.5e-7 (Abramowitz & Stegun 1964, 7.1.26, for erf).

    Parameters
    ----------
    z
        Standardised value, any shape. NaN gives NaN.
    """
    value = np.clip(np.asarray(z, dtype=np.float64), -40.0, 40.0)
    x = np.abs(value) / math.sqrt(2.0)
    t = 1.0 / (1.0 + _ERF_P * x)
    series = t * (_ERF_A[0] + t * (_ERF_A[1] + t * (_ERF_A[2] + t * (_ERF_A[3] + t * _ERF_A[4]))))
    tail = np.clip(0.5 * series * np.exp(-(x**2)), 0.0, 0.5)
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
    return np.clip(normal_chance(limit_c, mean_c, spread_c), LEAST_CHANCE, MOST_CHANCE)


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


def clear_and_calm(cloud_fraction: ArrayLike, wind_ms: ArrayLike) -> FloatArray:
    """How much of a clear, calm night it is: a weight from 0 (covered or windy) to 1; NaN where that is not known.

    Parameters
    ----------
    cloud_fraction
        Share of the sky covered in the night, 0 to 1: clear up to 0.3, covered from 0.7.
    wind_ms
        Wind of the night [m/s]: calm up to 2, stirred from 4. All four limits are judgement.

    Notes
    -----
    The lesser of both weights counts. Where one is not known the other may still settle it: a stirred night is not
    calm whatever the clouds.
    """
    clear = _falling(cloud_fraction, _CLEAR_CLOUD, _COVERED_CLOUD)
    calm = _falling(wind_ms, _CALM_WIND_MS, _STIRRED_WIND_MS)
    settled = (clear == 0.0) | (calm == 0.0)
    return np.where(settled, 0.0, np.minimum(clear, calm))


def _falling(values: ArrayLike, full: float, none: float) -> FloatArray:
    return np.clip((none - np.asarray(values, dtype=np.float64)) / (none - full), 0.0, 1.0)


def leaf_minimum_c(
    air_min_c: ArrayLike,
    clear_and_calm: ArrayLike,
    garden_offset_c: ArrayLike,
    straw_term_c: ArrayLike = STRAW_TERM_C,
) -> FloatArray:
    """Minimum at leaf height in the garden [°C] from the screen minimum of the station.

    Parameters
    ----------
    air_min_c
        Screen minimum [°C]. NaN gives NaN.
    clear_and_calm
        Weight of `clear_and_calm`. NaN (not known) counts as 1, for danger the colder answer.
    garden_offset_c
        How much colder the garden is than the station on clear, calm nights [°C].
    straw_term_c
        How much colder leaves over straw are on such nights [°C], about 1 (judgement); 0 where no straw lies.
    """
    weight = np.nan_to_num(np.asarray(clear_and_calm, dtype=np.float64), nan=1.0)
    colder = np.asarray(garden_offset_c, dtype=np.float64) + np.asarray(straw_term_c, dtype=np.float64)
    return np.asarray(air_min_c, dtype=np.float64) - weight * colder
