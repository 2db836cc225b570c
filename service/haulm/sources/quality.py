"""What no thermometer or gauge can have measured: found, dropped and told; everything else is left as it is.

The limits are wide on purpose. A real extreme that is thrown away costs a frost warning;
a wrong value that is kept is one day among many.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from haulm.errors import Complaint
from haulm.weather import HOURLY, QUANTITIES, Days, FloatArray, Hours, Record

Mask = NDArray[np.bool_]

# Judgement, in the manner of the limits that weather services set for automatic stations (those from memory:
# air -80 to 60 °C, dew point -80 to 35 °C, wind to 75 m/s, gusts to 150 m/s). Potatoes do not grow below -60 °C,
# and a day's 500 mm is more often a lost decimal point than rain.
RANGES: Mapping[str, tuple[float, float]] = {
    "air_min_c": (-60.0, 60.0),
    "air_max_c": (-60.0, 60.0),
    "rain_mm": (0.0, 500.0),
    "humidity_pct": (0.0, 100.0),
    "dew_point_c": (-80.0, 35.0),
    "wind_ms": (0.0, 75.0),
    "gust_ms": (0.0, 150.0),
    "cloud": (0.0, 1.0),
    "rain_chance": (0.0, 1.0),
}
_HOURLY_RANGES: Mapping[str, tuple[float, float]] = {**RANGES, "air_c": RANGES["air_min_c"]}
# What the complaints call each quantity, and its unit.
_WORDS: Mapping[str, tuple[str, str]] = {
    "air_min_c": ("lowest air temperature", "°C"),
    "air_max_c": ("highest air temperature", "°C"),
    "rain_mm": ("rain", "mm"),
    "humidity_pct": ("humidity", "%"),
    "dew_point_c": ("dew point", "°C"),
    "wind_ms": ("wind", "m/s"),
    "gust_ms": ("gust", "m/s"),
    "cloud": ("cloud", "of 1"),
    "rain_chance": ("chance of rain", "of 1"),
}

# Cold fronts in the middle of a continent can move a day's maximum by 25 °C, but not there and back within two days.
# Judgement; a spike limit of this size is also used for a large public daily record (from memory).
STEP_C = 25.0
# Judgement. Both temperatures equal to the digit has a chance of a few in a hundred a day where whole degrees are
# written, so a week of it is one in many millions; a single temperature may well repeat for longer.
STUCK_BOTH_DAYS = 7
STUCK_ONE_DAYS = 20
# Small amounts do repeat (dew in the gauge, 0.2 mm tips), so only real rain counts as stuck. Judgement.
STUCK_RAIN_MM = 1.0
STUCK_RAIN_DAYS = 7


def cleaned(days: Days, where: str = "", *, today: date | None = None) -> tuple[Days, tuple[Complaint, ...]]:
    """The days without what cannot be true, and a complaint for each kind of fault.

    Parameters
    ----------
    days
        As parsed; not changed.
    where
        The file or station, for the complaints.
    today
        For a record: the local day, from which on nothing can have been observed in full. None for a forecast.

    Returns
    -------
    Days of the same first day and, but for rows of the future, the same length; what was dropped is NaN.
    """
    complaints: list[Complaint] = []
    if today is not None:
        days = _without_future(days, where, today, complaints)
    for check in (_ranges, _order, _spikes, _stuck):
        days = check(days, where, complaints)
    return days, tuple(complaints)


def cleaned_record(record: Record, where: str = "", *, today: date) -> tuple[Record, tuple[Complaint, ...]]:
    """A record with its days `cleaned`; when they were received is kept."""
    days, complaints = cleaned(record.days, where or record.origin.name, today=today)
    return replace(record, days=days, received=record.received[: len(days)]), complaints


def cleaned_hours(hours: Hours) -> Hours:
    """Hours without values outside the same limits; the days that the letter rests on tell of them already."""
    kept = {name: _within(getattr(hours, name), *_HOURLY_RANGES[name]) for name in HOURLY}
    return Hours(hours.first, span_hours=hours.span_hours, **kept)


def _within(values: FloatArray, low: float, high: float) -> FloatArray:
    return np.where((values >= low) & (values <= high), values, np.nan)


def _without_future(days: Days, where: str, today: date, complaints: list[Complaint]) -> Days:
    if days.last < today:
        return days
    late = days.cut(max(today, days.first), days.last)
    known = np.any([np.isfinite(getattr(late, name)) for name in QUANTITIES], axis=0)
    if known.any():
        what = f"rows of {_how_many(int(known.sum()))} that had not ended yet were left out"
        complaints.append(Complaint(what, where, given=f"from {_day(late, known)}"))
    return days.cut(days.first, max(today - timedelta(days=1), days.first - timedelta(days=1)))


def _ranges(days: Days, where: str, complaints: list[Complaint]) -> Days:
    for name, (low, high) in RANGES.items():
        values = getattr(days, name)
        wrong = ~np.isnan(values) & ~((values >= low) & (values <= high))
        words, unit = _WORDS[name]
        what = f"{words} outside {low:g} to {high:g} {unit}"
        days = _dropped(days, {name: wrong}, what, where, complaints)
    return days


def _order(days: Days, where: str, complaints: list[Complaint]) -> Days:
    wrong = days.air_min_c > days.air_max_c
    both = {"air_min_c": wrong, "air_max_c": wrong}
    return _dropped(days, both, "lowest air temperature above the highest", where, complaints)


def _spikes(days: Days, where: str, complaints: list[Complaint]) -> Days:
    for name in ("air_min_c", "air_max_c"):
        what = f"{_WORDS[name][0]} jumped by {STEP_C:g} °C or more and straight back"
        days = _dropped(days, {name: spikes(getattr(days, name))}, what, where, complaints)
    return days


def spikes(air_c: FloatArray) -> Mask:
    """Days that stand off by `STEP_C` or more, to the same side, from the day before and the day after.

    A jump that stays is weather, or a change that cannot be told from it, and is kept. NaN beside a day clears it.
    """
    step = np.diff(air_c)
    wrong = np.zeros(len(air_c), dtype=bool)
    up_and_back = (step[:-1] >= STEP_C) & (step[1:] <= -STEP_C)
    down_and_back = (step[:-1] <= -STEP_C) & (step[1:] >= STEP_C)
    wrong[1:-1] = up_and_back | down_and_back
    return wrong


def _stuck(days: Days, where: str, complaints: list[Complaint]) -> Days:
    low, high, rain = days.air_min_c, days.air_max_c, days.rain_mm
    both = repeats(lambda a, b: (low[a] == low[b]) & (high[a] == high[b]), len(days), STUCK_BOTH_DAYS)
    one_low = repeats(lambda a, b: low[a] == low[b], len(days), STUCK_ONE_DAYS)
    one_high = repeats(lambda a, b: high[a] == high[b], len(days), STUCK_ONE_DAYS)
    wet = repeats(lambda a, b: (rain[a] == rain[b]) & (rain[a] >= STUCK_RAIN_MM), len(days), STUCK_RAIN_DAYS)
    air = {"air_min_c": both | one_low, "air_max_c": both | one_high}
    days = _dropped(days, air, "air temperature the same day after day", where, complaints)
    return _dropped(days, {"rain_mm": wet}, "the same rain day after day", where, complaints)


def repeats(same: Callable[[slice, slice], Mask], count: int, shortest: int) -> Mask:
    """Days of runs in which each day is the `same` as the one before, if at least `shortest` long, but for their first.

    The first day of a run may have been true. `same` compares the days of two slices, one day apart.
    """
    if count < shortest:
        return np.zeros(count, dtype=bool)
    like_before = np.concatenate([[False], same(slice(1, None), slice(None, -1)), [False]])
    edges = np.flatnonzero(np.diff(like_before.astype(np.int8)))
    wrong = np.zeros(count, dtype=bool)
    for before, last in zip(edges[::2], edges[1::2], strict=True):
        if last - before + 1 >= shortest:
            wrong[before + 1 : last + 1] = True
    return wrong


def _dropped(days: Days, masks: Mapping[str, Mask], what: str, where: str, complaints: list[Complaint]) -> Days:
    """The days with the masked values NaN; one complaint tells how many days and names the first."""
    wrong = np.any(list(masks.values()), axis=0)
    if not wrong.any():
        return days
    at = int(np.argmax(wrong))
    seen = ", ".join(f"{getattr(days, name)[at]:g} {_WORDS[name][1]}" for name in masks)
    count = _how_many(int(wrong.sum()))
    complaints.append(Complaint(f"{what} on {count}, left out", where, given=f"first on {_day(days, wrong)}: {seen}"))
    kept = {name: getattr(days, name) for name in QUANTITIES}
    kept |= {name: np.where(mask, np.nan, kept[name]) for name, mask in masks.items()}
    return Days(days.first, **kept)


def _day(days: Days, mask: Mask) -> date:
    return days.first + timedelta(days=int(np.argmax(mask)))


def _how_many(days: int) -> str:
    return "1 day" if days == 1 else f"{days} days"
