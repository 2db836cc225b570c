"""Invented hours for the demo places: a day's course drawn through its invented lowest and highest air temperature."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from haulm.sources.local_days import hours_from
from haulm.weather import DAY, HOUR, Days, FloatArray, Hours

# Local hours of the coldest and the warmest air, and at which a day's dew point and wind stand. Judgement.
COLDEST_HOUR, WARMEST_HOUR, MIDDAY_HOUR = 5.0, 15.0, 12.0


def invented_hours(days: Days, zone: str) -> Hours:
    """The hours of some invented days, in UTC, from the first local midnight to the last.

    The air runs on half a cosine from each day's lowest to its highest and on to the next day's lowest; dew point,
    cloud and wind run straight from one midday to the next.
    """
    clock = ZoneInfo(zone)
    first, end = (datetime.combine(day, time(), clock).astimezone(UTC) for day in (days.first, days.last + DAY))
    count = max((end - first) // HOUR, 0)
    offset = datetime.combine(days.first, time(12), clock).utcoffset() or timedelta()
    # By the sun's own regularity, not by the clocks that are put forward: hours since the first day's midnight.
    local = np.arange(float(count)) + (first + offset - datetime.combine(days.first, time(), UTC)) / HOUR
    number = np.arange(float(len(days)))
    air = _course(local, number, days)
    dew_point, cloud, wind = (
        np.interp(local, 24.0 * number + MIDDAY_HOUR, column) for column in (days.dew_point_c, days.cloud, days.wind_ms)
    )
    wet = np.asarray(np.minimum(dew_point, air), dtype=np.float64)
    humidity = 100.0 * np.exp(17.27 * wet / (wet + 237.3) - 17.27 * air / (air + 237.3))
    return hours_from(
        first,
        np.ones(count, dtype=np.int8),
        air_c=np.round(air, 1),
        dew_point_c=np.round(wet, 1),
        humidity_pct=np.round(humidity, 0),
        cloud=cloud,
        wind_ms=wind,
    )


def _course(local: FloatArray, number: FloatArray, days: Days) -> FloatArray:
    turns = np.ravel(np.column_stack([24.0 * number + COLDEST_HOUR, 24.0 * number + WARMEST_HOUR]))
    values = np.ravel(np.column_stack([days.air_min_c, days.air_max_c]))
    after = np.clip(np.searchsorted(turns, local, side="right"), 1, len(turns) - 1)
    begun, length = turns[after - 1], turns[after] - turns[after - 1]
    share = 0.5 - 0.5 * np.cos(np.pi * np.clip((local - begun) / length, 0.0, 1.0))
    return np.asarray(values[after - 1] + (values[after] - values[after - 1]) * share)
