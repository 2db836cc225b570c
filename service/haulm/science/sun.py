"""Day length and solar radiation (FAO-56, chapter 3).

FAO-56 = Allen, R.G., Pereira, L.S., Raes, D., Smith, M. 1998. Crop evapotranspiration. FAO Irrigation and Drainage
Paper 56. Everything broadcasts; NaN in gives NaN in that place only; nothing is raised. South of the equator
latitudes are negative.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

SOLAR_CONSTANT_MJ_M2_MIN = 0.0820  # FAO-56 eq 21
RANGE_COEFFICIENT_INLAND = 0.16  # FAO-56 eq 50, kRs


def sun_distance_factor(day_of_year: ArrayLike) -> FloatArray:
    """FAO-56 eq 23: inverse relative distance of earth and sun, without a unit, for a day of the year (1 to 366)."""
    return 1.0 + 0.033 * np.cos(_year_angle(day_of_year))


def declination_rad(day_of_year: ArrayLike) -> FloatArray:
    """FAO-56 eq 24: the sun's declination [rad] on a day of the year (1 to 366)."""
    return 0.409 * np.sin(_year_angle(day_of_year) - 1.39)


def sunset_angle_rad(latitude_deg: ArrayLike, day_of_year: ArrayLike) -> FloatArray:
    """FAO-56 eq 25: hour angle of sunset [rad], 0 in the polar night and π in the polar day.

    Parameters
    ----------
    latitude_deg
        Latitude [degrees], -90 to 90.
    day_of_year
        1 to 366.

    Notes
    -----
    The equation has no answer where the sun does not set or rise; its cosine is limited to -1 … 1 there, which makes
    the day 24 or 0 hours.
    """
    cosine = -np.tan(np.radians(_array(latitude_deg))) * np.tan(declination_rad(day_of_year))
    return _array(np.arccos(np.clip(cosine, -1.0, 1.0)))


def top_radiation_mj(latitude_deg: ArrayLike, day_of_year: ArrayLike) -> FloatArray:
    """FAO-56 eq 21: radiation at the top of the atmosphere, Ra [MJ/m²/day].

    Parameters
    ----------
    latitude_deg
        Latitude [degrees], -90 to 90.
    day_of_year
        1 to 366.
    """
    latitude, declination = np.radians(_array(latitude_deg)), declination_rad(day_of_year)
    sunset = sunset_angle_rad(latitude_deg, day_of_year)
    slant = sunset * np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.sin(sunset)
    daily = 24.0 * 60.0 / np.pi * SOLAR_CONSTANT_MJ_M2_MIN * sun_distance_factor(day_of_year) * slant
    return _array(np.maximum(daily, 0.0))  # rounding at the edge of the polar night


def top_radiation_of_days_mj(latitude_deg: float, day_of_year: FloatArray) -> FloatArray:
    """The same of whole days of the year at one place, out of a table of its year."""
    return np.asarray(_top_radiation_of_the_year(latitude_deg)[day_of_year.astype(np.int64)])


@lru_cache(maxsize=64)
def _top_radiation_of_the_year(latitude_deg: float) -> FloatArray:
    return top_radiation_mj(latitude_deg, np.arange(367.0))


def daylight_hours(latitude_deg: ArrayLike, day_of_year: ArrayLike) -> FloatArray:
    """FAO-56 eq 34: daylight [hours] from latitude [degrees] and day of the year (1 to 366)."""
    return 24.0 / np.pi * sunset_angle_rad(latitude_deg, day_of_year)


def radiation_from_sunshine_mj(sunshine_hours: ArrayLike, daylight_hours: ArrayLike, top_mj: ArrayLike) -> FloatArray:
    """FAO-56 eq 35: solar radiation Rs [MJ/m²/day] from hours of sunshine, with as = 0.25 and bs = 0.50.

    Parameters
    ----------
    sunshine_hours, daylight_hours
        Bright sunshine and day length [hours]. Where the day has no length the share of sunshine counts as none.
    top_mj
        Radiation at the top of the atmosphere [MJ/m²/day].
    """
    length = _array(daylight_hours)
    share = _array(sunshine_hours) / np.where(length > 0.0, length, np.inf)
    return (0.25 + 0.50 * np.clip(share, 0.0, 1.0)) * _array(top_mj)


def clear_sky_radiation_mj(top_mj: ArrayLike, elevation_m: ArrayLike) -> FloatArray:
    """FAO-56 eq 37: clear-sky radiation Rso [MJ/m²/day] from Ra [MJ/m²/day] and elevation [m]."""
    return (0.75 + 2e-5 * _array(elevation_m)) * _array(top_mj)


def radiation_from_range_mj(
    air_min_c: ArrayLike,
    air_max_c: ArrayLike,
    top_mj: ArrayLike,
    coefficient: ArrayLike = RANGE_COEFFICIENT_INLAND,
    *,
    elevation_m: ArrayLike = 0.0,
) -> FloatArray:
    """FAO-56 eq 50: solar radiation Rs [MJ/m²/day] from the day's range of temperature, never above the clear sky.

    Parameters
    ----------
    air_min_c, air_max_c
        The day's extremes [°C]; a maximum below the minimum counts as no range.
    top_mj
        Radiation at the top of the atmosphere [MJ/m²/day].
    coefficient
        kRs, 0.16 inland and 0.19 on the coast.
    elevation_m
        For the clear-sky limit [m]; sea level where it is not given, the tightest.
    """
    spread = np.maximum(_array(air_max_c) - _array(air_min_c), 0.0)
    radiation = _array(coefficient) * np.sqrt(spread) * _array(top_mj)
    return np.minimum(radiation, clear_sky_radiation_mj(top_mj, elevation_m))


def _year_angle(day_of_year: ArrayLike) -> FloatArray:
    return 2.0 * np.pi / 365.0 * _array(day_of_year)


def _array(values: ArrayLike) -> FloatArray:
    return np.asarray(values, dtype=np.float64)
