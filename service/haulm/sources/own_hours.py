"""The grower's own hours: a CSV file that a garden's own weather station appends to.

``instant,air_c,humidity_pct`` and, where known, ``dew_point_c,wind_ms,gust_ms,cloud,rain_mm``. `instant` tells its
offset (``2027-05-04T18:00Z``, ``2027-05-04T20:00+02:00``); within an hour the value nearest to the full hour counts, so
that a station that writes every five minutes may be read as it is. Rain is what fell in the hour that begins there, and
is taken from rows at the full hour alone.
"""

import csv
import math
import re
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta

import numpy as np

from haulm.errors import Complaint, SourceError
from haulm.sources.local_days import hours_from
from haulm.weather import HOUR, HOURLY, FloatArray, Hours

REQUIRED = ("instant", "air_c", "humidity_pct")
READ = tuple(name for name in HOURLY if name != "rain_chance")
NEAR = timedelta(minutes=30)
LONGEST = timedelta(days=800)  # two years of a station's hours; more than that no rule looks at
MISSING = {"", "na", "n/a", "nan", "null", "none", "-"}
REMEDY = "Write a header like instant,air_c,humidity_pct and a line an hour below it."


def parse(text: str, where: str, now: datetime) -> tuple[Hours, tuple[Complaint, ...]]:
    """The hours in a file's text up to an instant, and what was wrong with lines that were left out.

    Raises
    ------
    SourceError
        A column is missing, or there is no usable line.
    """
    lines = [(number, line) for number, line in enumerate(re.split(r"\r\n|\n|\r", text), 1) if line.strip()]
    columns = _columns(lines[0][1] if lines else "", where)
    rows, complaints = [], []
    for number, line in lines[1:]:
        try:
            rows.append(_row(next(csv.reader([line])), columns))
        except (ValueError, OverflowError, IndexError, csv.Error):
            complaints.append(Complaint("is no line of hours: left out", where, line=number, given=line[:60]))
    newest = max((instant for instant, _ in rows if instant <= now), default=None)
    kept = [row for row in rows if row[0] <= now and newest is not None and newest - row[0] <= LONGEST]
    if not kept:
        raise SourceError("no line of it can be used", where=where, remedy=REMEDY)
    return _hours(kept), tuple(complaints)


def _columns(header: str, where: str) -> dict[str, int]:
    names = [name.strip().strip('"').casefold() for name in header.removeprefix("\ufeff").split(",")]
    lacking = [name for name in REQUIRED if name not in names]
    if lacking:
        raise SourceError(f"the column {lacking[0]} is missing", where=where, remedy=REMEDY)
    return {name: names.index(name) for name in ("instant", *READ) if name in names}


def _row(cells: list[str], columns: Mapping[str, int]) -> tuple[datetime, dict[str, float]]:
    instant = datetime.fromisoformat(cells[columns["instant"]].strip())
    if instant.tzinfo is None:
        raise ValueError("an instant needs its offset")
    values = {name: _number(cells[at]) for name, at in columns.items() if name != "instant"}
    return instant.astimezone(UTC), values


def _number(written: str) -> float:
    value = math.nan if written.strip().casefold() in MISSING else float(written)
    if math.isinf(value):
        raise ValueError("not a number")
    return value


def _hours(rows: list[tuple[datetime, dict[str, float]]]) -> Hours:
    """Each hour takes the row nearest to it; of rows as near the later line."""
    first, count = _whole(min(instant for instant, _ in rows)), 0
    nearest: dict[int, tuple[timedelta, dict[str, float]]] = {}
    for at, away, values in _placed(rows, first):
        if at not in nearest or away <= nearest[at][0]:
            nearest[at] = (away, values)
        count = max(count, at + 1)
    known: dict[str, FloatArray] = {name: np.full(count, np.nan) for name in READ}
    for at, (away, values) in nearest.items():
        for name, value in values.items():
            known[name][at] = value if name != "rain_mm" or not away else np.nan
    stated = np.any([np.isfinite(column) for column in known.values()], axis=0)
    return hours_from(first, stated.astype(np.int8), **known)


def _placed(
    rows: list[tuple[datetime, dict[str, float]]], first: datetime
) -> Iterator[tuple[int, timedelta, dict[str, float]]]:
    for instant, values in rows:
        hour = _whole(instant)
        yield (hour - first) // HOUR, abs(instant - hour), values


def _whole(instant: datetime) -> datetime:
    """The full hour nearest to an instant."""
    down = instant.replace(minute=0, second=0, microsecond=0)
    return down + HOUR if instant - down >= NEAR else down
