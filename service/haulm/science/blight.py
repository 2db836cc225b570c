"""Weather in which late blight spreads: the Hutton criteria and Wallin's severity values, from hours.

Hours come as tables of shape (…, days, hours): a row is one day, as long as the longest of them; NaN is an hour that
is not known, or that a shorter day does not have. `hours_in_day` (…, days) tells how many it has: 23, 24 or 25. An
answer is given where it is the same whatever the missing hours hold, else it is NaN. Nothing is raised.

From daily values none of this can be worked out, and nothing here tries to.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

HUMID_PCT = 90.0
# Hutton criteria, as the AHDB publishes them (archive.ahdb.org.uk, project 11120018; ahdb.org.uk/late-blight): two
# consecutive days, each with a minimum of at least 10 °C and at least 6 hours of at least 90 % relative humidity.
HUTTON_LEAST_C, HUTTON_HOURS = 10.0, 6.0
# Wallin's severity values: mean temperature of the humid hours by class, and from how many such hours on the value is
# 1, 2, 3 and 4. Class limits as read in a public implementation; the coldest class's 25 hours for a 4, and the table
# as printed in Krause, Massie & Hyre 1975 (Plant Disease Reporter 59:95-98), from memory, which agrees.
SEVERITY_CLASSES_C = ((7.2, 11.6), (11.7, 15.0), (15.1, 26.6))
SEVERITY_HOURS = ((16.0, 19.0, 22.0, 25.0), (13.0, 16.0, 19.0, 22.0), (10.0, 13.0, 16.0, 19.0))
MOST_SEVERE = 4.0
_FEWEST_HOURS = min(hours[0] for hours in SEVERITY_HOURS)
_HAIR = 1e-9  # a limit written in another unit and brought back is still reached


def humid(humidity_pct: ArrayLike) -> BoolArray:
    """Which hours [%] count as humid: 90.0 does, 89.9 does not, NaN does not."""
    return _array(humidity_pct) >= HUMID_PCT - _HAIR


def humid_hours(humidity_pct: ArrayLike) -> FloatArray:
    """How many of each day's known hours are humid, shape (…, days)."""
    return _array(humid(humidity_pct).sum(axis=-1))


def missing_hours(air_c: ArrayLike, humidity_pct: ArrayLike, hours_in_day: ArrayLike) -> FloatArray:
    """How many hours of each day lack temperature [°C] or humidity [%], shape (…, days)."""
    both = np.isfinite(_array(air_c)) & np.isfinite(_array(humidity_pct))
    return _array(_array(hours_in_day) - both.sum(axis=-1))


def hutton_day(
    air_c: ArrayLike,
    humidity_pct: ArrayLike,
    hours_in_day: ArrayLike,
    least_c: float = HUTTON_LEAST_C,
    hours: float = HUTTON_HOURS,
) -> FloatArray:
    """Whether a local day does its half of the Hutton criteria: 1, 0, or NaN where missing hours would tell.

    Parameters
    ----------
    air_c, humidity_pct
        Hourly air temperature [°C] and relative humidity [%], shape (…, days, hours).
    hours_in_day
        How many hours each day has, shape (…, days).
    least_c, hours
        The criteria's own 10 °C and 6 hours, unless a grower has reason to set others.

    Notes
    -----
    The day's minimum is taken from its hours. A known hour below the limit settles the day, and so do too few hours
    that are, or might have been, humid.
    """
    air, humidity, length = _array(air_c), _array(humidity_pct), _array(hours_in_day)
    unknown_air = length - np.isfinite(air).sum(axis=-1)
    unknown_humidity = length - np.isfinite(humidity).sum(axis=-1)
    count = humid_hours(humidity)
    cold = (air < least_c - _HAIR).any(axis=-1)
    failed = cold | (count + unknown_humidity < hours)
    met = ~cold & (unknown_air <= 0) & (count >= hours)
    return np.where(failed, 0.0, np.where(met, 1.0, np.nan))


def hutton_period(day: ArrayLike) -> FloatArray:
    """Whether the criteria are met on the second of two consecutive days: 1, 0 or NaN, a value a day (last axis).

    Parameters
    ----------
    day
        Answers of `hutton_day`. What was on the day before the first is not known.
    """
    second = _array(day)
    first = np.concatenate([np.full((*second.shape[:-1], 1), np.nan), second[..., :-1]], axis=-1)
    return np.where((first == 0.0) | (second == 0.0), 0.0, first * second)


def severity_value(hours: ArrayLike, mean_c: ArrayLike) -> FloatArray:
    """Wallin's severity value, 0 to 4, of so many humid hours at a mean temperature; broadcasts.

    Parameters
    ----------
    hours
        Hours of at least 90 % relative humidity.
    mean_c
        Their mean temperature [°C], rounded here to 0.1 °C, since the table has gaps between its classes. Outside
        7.2 to 26.6 °C the value is 0.

    Notes
    -----
    NaN in either gives NaN, but no humid hour gives 0 whatever the temperature.
    """
    count, mean = np.broadcast_arrays(_array(hours), np.round(_array(mean_c), 1))
    value = np.zeros(count.shape)
    for (low, high), steps in zip(SEVERITY_CLASSES_C, SEVERITY_HOURS, strict=True):
        inside = (mean >= low - _HAIR) & (mean <= high + _HAIR)
        value = np.where(inside, np.searchsorted(np.asarray(steps), count, side="right"), value)
    return np.where(count == 0.0, 0.0, np.where(np.isnan(count) | np.isnan(mean), np.nan, value))


def severity_day(air_c: ArrayLike, humidity_pct: ArrayLike, hours_in_day: ArrayLike) -> FloatArray:
    """Severity value of each day from its hours; NaN where missing hours would tell.

    Parameters
    ----------
    air_c, humidity_pct, hours_in_day
        As for `hutton_day`. A night's wet leaves should lie in one day: let it run from noon to noon.

    Notes
    -----
    With hours missing only one thing is certain: fewer than 10 hours that are, or might have been, humid are worth
    nothing in any class.
    """
    air, humidity, length = _array(air_c), _array(humidity_pct), _array(hours_in_day)
    wet = humid(humidity)
    count = wet.sum(axis=-1).astype(np.float64)
    warmth = np.where(wet, air, 0.0).sum(axis=-1)
    mean = np.divide(warmth, count, out=np.full(count.shape, np.nan), where=count > 0.0)
    missing = missing_hours(air, humidity, length)
    unknown_humidity = length - np.isfinite(humidity).sum(axis=-1)
    nothing = count + unknown_humidity < _FEWEST_HOURS
    return np.where(nothing, 0.0, np.where(missing > 0.0, np.nan, severity_value(count, mean)))


def _array(value: ArrayLike) -> FloatArray:
    return np.asarray(value, dtype=np.float64)
