"""Warmth in the soil by closed forms: steady waves of a day or a year, a layer on top, and the curve of a day."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

DAY_S = 86400.0


def damping_depth_m(diffusivity_m2_s: ArrayLike, period_s: ArrayLike) -> FloatArray:
    """D = √(2κ/ω): the depth at which a wave of temperature has shrunk to 1/e.

    Parameters
    ----------
    diffusivity_m2_s, period_s
        κ [m²/s] and the wave's period [s], any shapes that broadcast; below zero or NaN gives NaN.

    Returns
    -------
    FloatArray
        Damping depth [m].

    References
    ----------
    Nofziger, D.L., *Soil temperature changes with time and depth*, Oklahoma State University (after Hillel 1982).
    """
    square = _array(diffusivity_m2_s) * _array(period_s) / np.pi
    return _array(np.sqrt(np.where(square >= 0.0, square, np.nan)))


def depth_response(depth_m: ArrayLike, diffusivity_m2_s: ArrayLike, period_s: float) -> tuple[FloatArray, FloatArray]:
    """exp(−z/D) and z/(D ω): how much of a surface wave arrives at a depth [-], and how much later [s].

    Arguments as for `damping_depth_m`, and the depth z [m]; same source.
    """
    depths = _array(depth_m) / damping_depth_m(diffusivity_m2_s, period_s)
    return np.exp(-depths), depths * (period_s / (2.0 * np.pi))


def damped_wave_c(
    time_s: ArrayLike,
    depth_m: ArrayLike,
    mean_c: ArrayLike,
    amplitude_c: ArrayLike,
    diffusivity_m2_s: ArrayLike,
    period_s: float,
    phase_rad: float = 0.0,
) -> FloatArray:
    """T(z,t) = Tm + A exp(−z/D) sin(ωt − z/D + φ): a steady wave in homogeneous soil.

    Parameters
    ----------
    time_s, depth_m
        t [s] and z ≥ 0 [m].
    mean_c, amplitude_c
        Tm and A of the surface [°C]. All arrays broadcast; NaN gives NaN.
    diffusivity_m2_s, period_s, phase_rad
        κ [m²/s], period [s], and φ [rad].

    Returns
    -------
    FloatArray
        Soil temperature [°C]. Same source as `damping_depth_m`.
    """
    ratio, lag_s = depth_response(depth_m, diffusivity_m2_s, period_s)
    angle = 2.0 * np.pi / period_s * (_array(time_s) - lag_s) + phase_rad
    return _array(mean_c) + _array(amplitude_c) * ratio * np.sin(angle)


def kusuda_achenbach_c(
    day: ArrayLike,
    depth_m: ArrayLike,
    mean_c: ArrayLike,
    amplitude_c: ArrayLike,
    diffusivity_m2_s: ArrayLike,
    coldest_day: ArrayLike,
) -> FloatArray:
    """Kusuda & Achenbach 1965: T = Tm − A exp(−z √(π/(365α))) cos(2π/365 (t − t0 − z/2 √(365/(πα)))).

    Parameters
    ----------
    day, depth_m
        t [days] and z ≥ 0 [m].
    mean_c, amplitude_c
        Tm and A of the surface over the year [°C]. All arrays broadcast; NaN gives NaN.
    diffusivity_m2_s
        α [m²/s]; the formula has it in m²/day.
    coldest_day
        t0, the day with the coldest surface.

    Returns
    -------
    FloatArray
        Soil temperature [°C], with a year of 365 days as in the paper (ASHRAE Transactions 71; volume from memory).
    """
    period_s = 365.0 * DAY_S
    ratio, lag_s = depth_response(depth_m, diffusivity_m2_s, period_s)
    since = _array(day) - _array(coldest_day) - lag_s / DAY_S
    return _array(mean_c) - _array(amplitude_c) * ratio * np.cos(2.0 * np.pi / 365.0 * since)


def surface_layer_response(
    resistance_m2k_w: ArrayLike, conductivity_w_mk: ArrayLike, heat_capacity_mj_m3k: ArrayLike, period_s: float
) -> tuple[FloatArray, FloatArray]:
    """1/(1 + R √(iωλC)): what a layer without heat of its own lets through to the soil surface.

    Parameters
    ----------
    resistance_m2k_w
        R of the layer [m² K/W], ≥ 0.
    conductivity_w_mk, heat_capacity_mj_m3k
        λ [W/m/K] and C [MJ/m³/K] of the soil below, taken as endless in depth. NaN gives NaN.
    period_s
        Period of the wave [s].

    Returns
    -------
    tuple of FloatArray
        Ratio of the amplitudes [-] and lag [s]. Derived here from the equation of heat; finite differences agree.
    """
    product = _array(conductivity_w_mk) * _array(heat_capacity_mj_m3k) * 1e6
    side = _array(resistance_m2k_w) * np.sqrt(np.where(product >= 0.0, product, np.nan) * np.pi / period_s)
    ratio = 1.0 / np.hypot(1.0 + side, side)
    return ratio, np.arctan2(side, 1.0 + side) * (period_s / (2.0 * np.pi))


@dataclass(frozen=True, slots=True)
class DailyShape:
    """Parton & Logan's coefficients: a, how long the maximum trails noon [h]; b, how fast night cools; c, how long
    the minimum trails sunrise [h]."""

    a: float
    b: float
    c: float


# Denver; Parton & Logan 1981, as given in the manual of a public implementation.
AIR_150_CM = DailyShape(1.86, 2.20, -0.17)
AIR_10_CM = DailyShape(1.52, 2.00, -0.18)
SOIL_SURFACE = DailyShape(0.50, 1.81, 0.49)
SOIL_10_CM = DailyShape(0.45, 2.28, 1.83)


def daily_curve_c(
    hour: ArrayLike, min_c: ArrayLike, max_c: ArrayLike, day_length_h: ArrayLike, shape: DailyShape
) -> FloatArray:
    """Parton & Logan 1981: a sine by day, an exponential fall by night.

    Parameters
    ----------
    hour
        Solar time [h], 0 to 24, noon at 12.
    min_c, max_c
        Tn and Tx of the day [°C]. All arrays broadcast; NaN gives NaN.
    day_length_h
        Y [h], sunrise to sunset, more than c and less than 24; else NaN.
    shape
        a, b, c.

    Returns
    -------
    FloatArray
        Temperature [°C]: Tn + (Tx−Tn) sin(π m/(Y+2a)) with m hours after the minimum; by night
        Tn + (Tset−Tn) exp(−b n/(24−Y)) with n hours after sunset. Agric. Meteorol. 23:205-216.
    """
    hours, length = _array(hour), _array(day_length_h)
    length = np.where((length > max(shape.c, 0.0)) & (length < 24.0), length, np.nan)
    low = _array(min_c)
    span = _array(max_c) - low
    wave = length + 2.0 * shape.a
    since_min = hours - (12.0 - length / 2.0) - shape.c
    since_set = np.mod(hours - (12.0 + length / 2.0), 24.0)
    by_day = span * np.sin(np.pi * since_min / wave)
    at_set = span * np.sin(np.pi * (length - shape.c) / wave)
    by_night = at_set * np.exp(-shape.b * since_set / (24.0 - length))
    return _array(low + np.where((since_min >= 0.0) & (hours <= 12.0 + length / 2.0), by_day, by_night))


def _array(values: ArrayLike) -> FloatArray:
    return np.asarray(values, dtype=np.float64)
