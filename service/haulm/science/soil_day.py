"""The course of a day in the soil: how far a moment's reading stands from the mean of its day.

The day's wave of the air and sun, let through by what covers the soil and damped on its way down (`soil_waves`).
Parton & Logan's curve for soil at 10 cm (`soil_waves.SOIL_10_CM`) is of one soil under grass without straw; the wave
knows straw, soil and depth, and is what readings are put right with.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haulm.science.soil_waves import DAY_S, depth_response, surface_layer_response

FloatArray = NDArray[np.float64]

SUN_OVER_MEAN = np.pi / 2.0  # of half a sine by day and nothing by night: its first wave over its mean
WARMEST_HOUR = 13.5  # judgement: solar time at which sun (noon) and air (about 14, Parton & Logan 1981) drive hardest


def surface_swing_c(air_min_c: ArrayLike, air_max_c: ArrayLike, warming_c: ArrayLike) -> FloatArray:
    """Half the daily range [°C] of what the ground feels: that of the air, and of the sun's warming.

    Parameters
    ----------
    air_min_c, air_max_c
        The day's extremes [°C].
    warming_c
        `soil_surface.Felt.warming_c`; below zero it has no course of its own.
    """
    air = (np.asarray(air_max_c, dtype=np.float64) - np.asarray(air_min_c)) / 2.0
    return np.asarray(np.maximum(air, 0.0) + SUN_OVER_MEAN * np.maximum(np.asarray(warming_c), 0.0))


def day_wave(
    depth_m: ArrayLike, resistance_m2k_w: ArrayLike, conductivity_w_mk: ArrayLike, heat_capacity_mj_m3k: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """How much of the surface's daily swing arrives at a depth [-], and how many hours later.

    Arguments as for `soil_waves.surface_layer_response` and `depth_response`: what covers the soil, then the soil.
    """
    diffusivity = np.asarray(conductivity_w_mk, dtype=np.float64) / (np.asarray(heat_capacity_mj_m3k) * 1e6)
    through, late = surface_layer_response(resistance_m2k_w, conductivity_w_mk, heat_capacity_mj_m3k, DAY_S)
    down, later = depth_response(depth_m, diffusivity, DAY_S)
    return through * down, (late + later) / 3600.0


def off_the_mean_c(solar_hour: ArrayLike, swing_c: ArrayLike, share: ArrayLike, lag_h: ArrayLike) -> FloatArray:
    """How far the soil stands from its day's mean at an hour [°C].

    Parameters
    ----------
    solar_hour
        Solar time [h], noon at 12.
    swing_c
        From `surface_swing_c`.
    share, lag_h
        From `day_wave`.
    """
    turn = 2.0 * np.pi / 24.0 * (np.asarray(solar_hour, dtype=np.float64) - WARMEST_HOUR - np.asarray(lag_h))
    return np.asarray(np.asarray(swing_c) * np.asarray(share) * np.cos(turn))
