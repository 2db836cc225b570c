"""Blight weather at the place, day by day: from hours observed and hours forecast, never from daily values."""

from collections.abc import Sequence
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from haulm.garden import Place
from haulm.science.blight import humid_hours, hutton_day, missing_hours, severity_day
from haulm.settings.blight_thresholds import BlightThresholds
from haulm.weather import DAY, BlightWeather, Daily, FloatArray, Hours, Timeline

LOOKED_BACK_DAYS = 200  # a long season's leaf: severity values add up from the shoots on
LOOKED_AHEAD_DAYS = 3  # what comes hourly in forecasts; further ahead humidity means little (judgement)
LONGEST_DAY = 25
NOON, MIDNIGHT = time(12), time()

Starts = NDArray[np.int64]


def blight_weather_of(timeline: Timeline, place: Place, limits: BlightThresholds) -> BlightWeather | None:
    """What the hours say of the last months and the next days; None where neither station nor forecast tells hours."""
    told = [
        hours
        for hours in (timeline.hours_seen, timeline.hours_ahead)
        if hours is not None and np.isfinite(hours.humidity_pct).any()
    ]
    if not told:
        return None
    zone = ZoneInfo(place.zone)
    begins = max(min(hours.first for hours in told).astimezone(zone).date(), timeline.today - LOOKED_BACK_DAYS * DAY)
    days = max((timeline.today - begins).days, 0) + LOOKED_AHEAD_DAYS
    starts = _starts(begins, days, zone, MIDNIGHT)
    length = np.diff(starts).astype(np.float64)
    air, humidity = (_tables(told, name, starts) for name in ("air_c", "humidity_pct"))
    missing = missing_hours(air, humidity, length)
    observed = [hours for hours in told if hours is timeline.hours_seen]
    unseen = missing_hours(_tables(observed, "air_c", starts), _tables(observed, "humidity_pct", starts), length)
    return BlightWeather(
        hutton=Daily(begins, hutton_day(air, humidity, length, limits.least_c, limits.humid_hours)),
        humid_hours=Daily(begins, humid_hours(humidity)),
        lowest_c=Daily(begins, np.fmin.reduce(air, axis=-1)),
        missing_hours=Daily(begins, missing),
        forecast_hours=Daily(begins, unseen - missing),
        severity=Daily(begins, _severity(told, begins, days, zone)),
    )


def _severity(told: Sequence[Hours], begins: date, days: int, zone: ZoneInfo) -> FloatArray:
    """Each day's value from noon to noon, so that a night's wet leaves are counted whole, on the day the night ends."""
    starts = _starts(begins - DAY, days, zone, NOON)
    air, humidity = (_tables(told, name, starts) for name in ("air_c", "humidity_pct"))
    return severity_day(air, humidity, np.diff(starts).astype(np.float64))


def _starts(first: date, days: int, zone: ZoneInfo, at: time) -> Starts:
    """The number (since 1970, UTC) of the first hour that begins in each day, and of the day after the last."""
    begins = (datetime.combine(first + ahead * DAY, at, zone).timestamp() for ahead in range(days + 1))
    return np.array([-(-instant // 3600) for instant in begins], dtype=np.int64)


def _tables(told: Sequence[Hours], name: str, starts: Starts) -> FloatArray:
    """One quantity as a row of hours a day; of runs that overlap the first that knows an hour counts."""
    within = np.arange(LONGEST_DAY)
    wanted = starts[:-1, None] + within
    values = np.full(wanted.shape, np.nan)
    for hours in told:
        at = wanted - int(hours.first.timestamp() // 3600)
        inside = (at >= 0) & (at < len(hours))
        found = np.where(inside, getattr(hours, name)[np.clip(at, 0, len(hours) - 1)], np.nan)
        values = np.where(np.isfinite(values), values, found)
    return np.where(within < np.diff(starts)[:, None], values, np.nan)
