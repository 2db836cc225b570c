"""Reference evapotranspiration of a day (FAO-56, chapters 2 to 4).

Everything broadcasts; NaN in gives NaN in that place only; nothing is raised. Temperatures from -60 to 60 °C.
Reference evapotranspiration is never below 0: a day on which dew or frost forms takes nothing from the soil.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haulm.science.sun import clear_sky_radiation_mj, radiation_from_range_mj

FloatArray = NDArray[np.float64]

DEFAULT_WIND_MS = 2.0  # FAO-56 ch. 3: the mean of many stations, where wind is not known
LEAST_WIND_MS = 0.5  # FAO-56 ch. 3: air over a crop is never quite still
ALBEDO = 0.23  # FAO-56 eq 38, the grass reference
STEFAN_BOLTZMANN_MJ = 4.903e-9  # MJ/K⁴/m²/day, FAO-56 eq 39
LEAST_CLEARNESS = 0.3  # from memory: ASCE-EWRI 2005 eq 18 keeps Rs/Rso ≥ 0.3, FAO-56 names only the upper limit


def saturation_vapour_kpa(air_c: ArrayLike) -> FloatArray:
    """FAO-56 eq 11: saturation vapour pressure e° [kPa] at an air temperature [°C]."""
    air = _array(air_c)
    return 0.6108 * np.exp(17.27 * air / (air + 237.3))


def mean_saturation_vapour_kpa(air_min_c: ArrayLike, air_max_c: ArrayLike) -> FloatArray:
    """FAO-56 eq 12: the day's saturation vapour pressure [kPa], mean of that at both extremes [°C]."""
    return (saturation_vapour_kpa(air_min_c) + saturation_vapour_kpa(air_max_c)) / 2.0


def vapour_slope_kpa_c(air_c: ArrayLike) -> FloatArray:
    """FAO-56 eq 13: slope Δ of the saturation curve [kPa/°C] at an air temperature [°C]."""
    return 4098.0 * saturation_vapour_kpa(air_c) / (_array(air_c) + 237.3) ** 2


def air_pressure_kpa(elevation_m: ArrayLike) -> FloatArray:
    """FAO-56 eq 7: air pressure [kPa] at an elevation [m], -500 to 10 000."""
    return 101.3 * ((293.0 - 0.0065 * _array(elevation_m)) / 293.0) ** 5.26


def psychrometric_kpa_c(elevation_m: ArrayLike) -> FloatArray:
    """FAO-56 eq 8: psychrometric constant γ [kPa/°C] at an elevation [m]."""
    return 0.665e-3 * air_pressure_kpa(elevation_m)


def wind_at_2m_ms(wind_ms: ArrayLike, height_m: ArrayLike) -> FloatArray:
    """FAO-56 eq 47: wind speed at 2 m [m/s] from that at another height [m], at least 0.5 m over short grass."""
    return _array(wind_ms) * 4.87 / np.log(67.8 * np.maximum(_array(height_m), 0.5) - 5.42)


def vapour_from_humidity_kpa(
    air_min_c: ArrayLike, air_max_c: ArrayLike, humidity_min_pct: ArrayLike, humidity_max_pct: ArrayLike
) -> FloatArray:
    """FAO-56 eq 17: actual vapour pressure [kPa] from the day's extremes of temperature [°C] and humidity [%].

    The highest humidity belongs to the lowest temperature.
    """
    at_dawn = saturation_vapour_kpa(air_min_c) * _array(humidity_max_pct)
    at_noon = saturation_vapour_kpa(air_max_c) * _array(humidity_min_pct)
    return (at_dawn + at_noon) / 200.0


def vapour_from_dew_point_kpa(dew_point_c: ArrayLike) -> FloatArray:
    """FAO-56 eq 14: actual vapour pressure [kPa] from the dew point [°C]."""
    return saturation_vapour_kpa(dew_point_c)


def vapour_from_mean_humidity_kpa(
    air_min_c: ArrayLike, air_max_c: ArrayLike, humidity_mean_pct: ArrayLike
) -> FloatArray:
    """FAO-56 eq 19: actual vapour pressure [kPa] from the day's extremes [°C] and its mean humidity [%], 0 to 100.

    The equation is from memory.
    """
    humidity = np.clip(_array(humidity_mean_pct), 0.0, 100.0)
    return mean_saturation_vapour_kpa(air_min_c, air_max_c) * humidity / 100.0


def vapour_from_minimum_kpa(air_min_c: ArrayLike, lower_c: ArrayLike = 0.0) -> FloatArray:
    """FAO-56 eq 48: actual vapour pressure [kPa] where humidity is not known: the dew point is the minimum [°C].

    Parameters
    ----------
    air_min_c
        The day's minimum [°C].
    lower_c
        By how much the dew point lies below it [°C]: none, but 2 to 3 in dry places (from memory of FAO-56 annex 6).
    """
    return saturation_vapour_kpa(_array(air_min_c) - _array(lower_c))


def net_longwave_mj(
    air_min_c: ArrayLike,
    air_max_c: ArrayLike,
    vapour_kpa: ArrayLike,
    radiation_mj: ArrayLike,
    clear_sky_mj: ArrayLike,
) -> FloatArray:
    """FAO-56 eq 39: net outgoing longwave radiation Rnl [MJ/m²/day].

    Parameters
    ----------
    air_min_c, air_max_c
        The day's extremes [°C].
    vapour_kpa
        Actual vapour pressure [kPa].
    radiation_mj, clear_sky_mj
        Solar radiation and that of a clear sky [MJ/m²/day]. Their ratio is kept between 0.3 and 1; without any sun
        it cannot tell the clouds, and the sky counts as clear.
    """
    clear = _array(clear_sky_mj)
    ratio = _array(radiation_mj) / np.where(clear > 0.0, clear, 1.0)
    clearness = np.clip(np.where(clear <= 0.0, 1.0, ratio), LEAST_CLEARNESS, 1.0)
    warmth = ((_array(air_max_c) + 273.16) ** 4 + (_array(air_min_c) + 273.16) ** 4) / 2.0
    moisture = 0.34 - 0.14 * np.sqrt(np.maximum(_array(vapour_kpa), 0.0))
    return STEFAN_BOLTZMANN_MJ * warmth * moisture * (1.35 * clearness - 0.35)


def net_radiation_mj(
    air_min_c: ArrayLike,
    air_max_c: ArrayLike,
    vapour_kpa: ArrayLike,
    radiation_mj: ArrayLike,
    clear_sky_mj: ArrayLike,
) -> FloatArray:
    """FAO-56 eq 38 and 40: net radiation Rn [MJ/m²/day] of the grass reference; arguments as `net_longwave_mj`."""
    shortwave = (1.0 - ALBEDO) * _array(radiation_mj)
    return shortwave - net_longwave_mj(air_min_c, air_max_c, vapour_kpa, radiation_mj, clear_sky_mj)


def penman_monteith_mm(
    air_min_c: ArrayLike,
    air_max_c: ArrayLike,
    net_radiation_mj: ArrayLike,
    wind_ms: ArrayLike,
    vapour_kpa: ArrayLike,
    elevation_m: ArrayLike,
) -> FloatArray:
    """FAO-56 eq 6: reference evapotranspiration ETo [mm/day], Penman-Monteith, with no heat into the soil (eq 42).

    Parameters
    ----------
    air_min_c, air_max_c
        The day's extremes [°C].
    net_radiation_mj
        Net radiation [MJ/m²/day].
    wind_ms
        Wind speed at 2 m [m/s]; counts as at least 0.5.
    vapour_kpa
        Actual vapour pressure [kPa]; above saturation it counts as saturated.
    elevation_m
        Elevation [m].
    """
    air = (_array(air_min_c) + _array(air_max_c)) / 2.0
    wind = np.maximum(_array(wind_ms), LEAST_WIND_MS)
    slope, gamma = vapour_slope_kpa_c(air), psychrometric_kpa_c(elevation_m)
    dryness = np.maximum(mean_saturation_vapour_kpa(air_min_c, air_max_c) - _array(vapour_kpa), 0.0)
    sun_term = 0.408 * slope * _array(net_radiation_mj)
    wind_term = gamma * 900.0 / (air + 273.0) * wind * dryness
    return np.maximum((sun_term + wind_term) / (slope + gamma * (1.0 + 0.34 * wind)), 0.0)


def grass_et_mm(
    air_min_c: ArrayLike,
    air_max_c: ArrayLike,
    vapour_kpa: ArrayLike,
    wind_ms: ArrayLike,
    top_mj: ArrayLike,
    elevation_m: ArrayLike,
) -> FloatArray:
    """FAO-56 eq 6 with eq 50: Penman-Monteith ETo [mm/day] where the sun is known from the day's range alone.

    Parameters
    ----------
    air_min_c, air_max_c
        The day's extremes [°C].
    vapour_kpa, wind_ms
        Actual vapour pressure [kPa], and wind at 2 m [m/s], known or by the rules of chapter 3.
    top_mj
        Radiation at the top of the atmosphere, Ra [MJ/m²/day].
    elevation_m
        Elevation [m].
    """
    radiation = radiation_from_range_mj(air_min_c, air_max_c, top_mj, elevation_m=elevation_m)
    clear = clear_sky_radiation_mj(top_mj, elevation_m)
    net = net_radiation_mj(air_min_c, air_max_c, vapour_kpa, radiation, clear)
    return penman_monteith_mm(air_min_c, air_max_c, net, wind_ms, vapour_kpa, elevation_m)


def hargreaves_et_mm(air_min_c: ArrayLike, air_max_c: ArrayLike, radiation_mj: ArrayLike) -> FloatArray:
    """FAO-56 eq 52: reference evapotranspiration ETo [mm/day] from temperature alone (Hargreaves).

    Parameters
    ----------
    air_min_c, air_max_c
        The day's extremes [°C]; a maximum below the minimum counts as no range.
    radiation_mj
        Radiation at the top of the atmosphere, Ra [MJ/m²/day], as `sun.top_radiation_mj` gives it.

    Notes
    -----
    FAO-56 p. 64: too low where wind passes 3 m/s, too high in humid air; sums over several days are better than
    single days.
    """
    low, high = _array(air_min_c), _array(air_max_c)
    top_mm = 0.408 * _array(radiation_mj)  # FAO-56 eq 20
    loss = 0.0023 * ((low + high) / 2.0 + 17.8) * np.sqrt(np.maximum(high - low, 0.0)) * top_mm
    return np.maximum(loss, 0.0)


def _array(values: ArrayLike) -> FloatArray:
    return np.asarray(values, dtype=np.float64)
