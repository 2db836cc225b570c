"""From hours in UTC to the local days of a place, which have 23, 24 or 25 of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from haulm.weather import DAY, HOUR, HOURLY, Days, FloatArray, Hours

# A day's value is given if at least this share of its hours is known (judgement: two hours of 24 may be lacking).
KNOWN_SHARE = 0.9
# The first day of a forecast is what is left of it, if that is at least this long (judgement: half a day).
LEFT_HOURS = 12


@dataclass(frozen=True, slots=True)
class Extreme:
    """The lowest and the highest air temperature (°C) of some hours; NaN where not given."""

    start: datetime
    hours: int
    low_c: float
    high_c: float


def hours_from(first: datetime, span_hours: NDArray[np.int8], **known: FloatArray) -> Hours:
    """Hours of which only the named quantities are known; a dew point not given is worked out from the humidity."""
    count = len(span_hours)
    values = {name: np.full(count, np.nan) for name in HOURLY} | known
    from_humidity = dew_point_c(values["air_c"], values["humidity_pct"])
    values["dew_point_c"] = np.where(np.isnan(values["dew_point_c"]), from_humidity, values["dew_point_c"])
    return Hours(first.astimezone(UTC), span_hours=span_hours, **values)


def joined(earlier: Hours, newer: Hours) -> Hours:
    """Two runs as one: where both know an hour the newer one counts, between them nothing is known."""
    first = min(earlier.first, newer.first)
    count = (max(earlier.end, newer.end) - first) // HOUR
    values = {name: np.full(count, np.nan) for name in HOURLY}
    span = np.zeros(count, dtype=np.int8)
    for hours in (earlier, newer):
        at = (hours.first - first) // HOUR
        inside = slice(at, at + len(hours))
        span[inside] = np.maximum(span[inside], hours.span_hours)
        for name, column in values.items():
            told = getattr(hours, name)
            column[inside] = np.where(np.isfinite(told), told, column[inside])
    return Hours(first, span_hours=span, **values)


def dew_point_c(air_c: FloatArray, humidity_pct: FloatArray) -> FloatArray:
    """Dew point from air temperature and humidity: FAO-56 eq. 11 with eq. 10, solved for the temperature.

    Parameters
    ----------
    air_c
        Air temperature [°C], -40 to 60.
    humidity_pct
        Relative humidity [%], above 0; NaN or 0 gives NaN.

    Source: Allen et al. 1998, FAO Irrigation and Drainage Paper 56, equations 10 and 11.
    """
    share = np.where(humidity_pct > 0.0, humidity_pct, np.nan) / 100.0
    exponent = np.log(share) + 17.27 * air_c / (air_c + 237.3)
    return np.asarray(237.3 * exponent / (17.27 - exponent), dtype=np.float64)


def hours_of_day(day: date, zone: ZoneInfo) -> float:
    """How long a local day is: 24 hours, or 23 or 25 where the clocks change."""
    start, end = (datetime.combine(which, time(), zone).astimezone(UTC) for which in (day, day + DAY))
    return (end - start) / HOUR


def fold(hours: Hours, zone: ZoneInfo, extremes: Sequence[Extreme] = (), *, rest_of_first_day: bool) -> Days:
    """Local days from hours. An hour belongs to the local day in which it begins.

    Minimum and maximum are the lowest and the highest of the hours and of the extremes; an extreme belongs to the day
    in which most of its hours lie. Rain is summed, each hour once. Gust and chance of rain are the day's highest,
    the other quantities its mean. A value is NaN unless 90 % of the day's hours are known. With `rest_of_first_day`
    (a forecast that begins in the middle of a day) the first day is what is left of it, if that is at least 12 hours:
    its minimum is the lowest still to come, its rain the rain still to come.
    """
    if not len(hours):
        return _days(hours.first.astimezone(zone).date(), [])
    numbers = np.array([hours.instant(i).astimezone(zone).toordinal() for i in range(len(hours))])
    first = int(numbers[0])
    covered = _covered(hours, extremes)
    by_day: dict[int, list[Extreme]] = {}
    for extreme in extremes:
        by_day.setdefault(_day_of(extreme, zone), []).append(extreme)
    rows = []
    for number in range(first, int(numbers[-1]) + 1):
        whole = hours_of_day(date.fromordinal(number), zone)
        inside = np.flatnonzero(numbers == number)
        if rest_of_first_day and number == first and len(inside) >= LEFT_HOURS:
            whole = len(inside)
        known = {name: mask[inside].sum() >= KNOWN_SHARE * whole for name, mask in covered.items()}
        row = _row(hours, inside, by_day.get(number, []))
        rows.append({name: value if known[_GIVEN_BY[name]] else np.nan for name, value in row.items()})
    return _days(date.fromordinal(first), rows)


_GIVEN_BY = {
    "air_min_c": "air_c",
    "air_max_c": "air_c",
    "rain_mm": "rain_mm",
    "humidity_pct": "humidity_pct",
    "dew_point_c": "dew_point_c",
    "wind_ms": "wind_ms",
    "gust_ms": "gust_ms",
    "cloud": "cloud",
    "rain_chance": "rain_chance",
}


def _days(first: date, rows: list[dict[str, float]]) -> Days:
    while rows and all(np.isnan(value) for value in rows[-1].values()):
        rows.pop()
    return Days(first, **{name: np.array([row[name] for row in rows], dtype=np.float64) for name in _GIVEN_BY})


def _covered(hours: Hours, extremes: Sequence[Extreme]) -> dict[str, NDArray[np.bool_]]:
    """For each quantity the hours for which something is known."""
    masks: dict[str, NDArray[np.bool_]] = {}
    for name in HOURLY:
        stated = np.isfinite(getattr(hours, name))
        if name in {"rain_mm", "rain_chance"}:
            masks[name] = stated
            continue
        masks[name] = np.zeros(len(hours), dtype=bool)
        for position in np.flatnonzero(stated):
            masks[name][position : position + int(hours.span_hours[position])] = True
    for extreme in extremes:
        start = round((extreme.start - hours.first) / HOUR)
        if np.isfinite(extreme.low_c) and np.isfinite(extreme.high_c):
            masks["air_c"][max(start, 0) : max(start + extreme.hours, 0)] = True
    return masks


def _day_of(extreme: Extreme, zone: ZoneInfo) -> int:
    """The local day in which most of the hours lie: the one in which the middle lies."""
    return (extreme.start + extreme.hours * HOUR / 2).astimezone(zone).toordinal()


def _row(hours: Hours, inside: NDArray[np.intp], extremes: list[Extreme]) -> dict[str, float]:
    span = hours.span_hours[inside].astype(np.float64)
    air = hours.air_c[inside]
    return {
        "air_min_c": _known(np.fmin, np.concatenate([air, [extreme.low_c for extreme in extremes]])),
        "air_max_c": _known(np.fmax, np.concatenate([air, [extreme.high_c for extreme in extremes]])),
        "rain_mm": float(np.nansum(hours.rain_mm[inside])),
        "humidity_pct": _mean(hours.humidity_pct[inside], span),
        "dew_point_c": _mean(hours.dew_point_c[inside], span),
        "wind_ms": _mean(hours.wind_ms[inside], span),
        "gust_ms": _known(np.fmax, hours.gust_ms[inside]),
        "cloud": _mean(hours.cloud[inside], span),
        "rain_chance": _known(np.fmax, hours.rain_chance[inside]),
    }


def _known(extreme_of: np.ufunc, values: FloatArray) -> float:
    return float(extreme_of.reduce(values)) if len(values) else float("nan")


def _mean(values: FloatArray, span: FloatArray) -> float:
    known = np.isfinite(values)
    weight = span[known].sum()
    return float((values[known] * span[known]).sum() / weight) if weight else float("nan")
