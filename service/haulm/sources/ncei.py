"""NOAA NCEI daily summaries: observed days of a station. Public domain.

The service gives numbers as strings, and tenths unless asked for metric units. A day of a volunteer's station may end
at 07:00; then its maximum and its rain belong mostly to the day before, which is told, not moved.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import NamedTuple

import numpy as np

from haulm.errors import Complaint, SourceError
from haulm.sources.arrivals import arrivals
from haulm.sources.catalogue import NCEI
from haulm.sources.payload import Json, part, read_json, unexpected
from haulm.sources.readings import Reading
from haulm.sources.spool import Access, Wanted, obtain
from haulm.sources.stations import Station, check_key
from haulm.weather import Record, unknown_days

THIS_YEAR_NOT_WITHIN = timedelta(hours=1)
PAST_YEAR_NOT_WITHIN = timedelta(days=7)
_COLUMNS = {"TMIN": "air_min_c", "TMAX": "air_max_c", "PRCP": "rain_mm"}
_MISSING = {"", "9999", "-9999", "9999.0", "-9999.0", "999.9"}
_HOTTEST_C = 65.0
_WETTEST_MM = 2000.0  # above any day's rain ever measured (1825 mm; from memory)


def fetch(access: Access, station: Station, years: Sequence[int], today: date) -> Reading:
    """The days of some years of a station, by its identifier in the Global Historical Climatology Network.

    A year that cannot be had is a complaint; its days are unknown. Days of `today` (local) or later are left out.

    Raises
    ------
    SourceError
        No year could be had, or there are no days.
    """
    had: list[tuple[bytes, datetime]] = []
    complaints: list[Complaint] = []
    missing: SourceError | None = None
    stale = False
    for year in sorted(years, reverse=True):  # the newest first: a server in trouble is not asked for many years
        try:
            held = obtain(access, _wanted(access, station, year))
        except SourceError as error:
            missing = error
            stale |= year == max(years)
            complaints.append(Complaint(f"the days of {year} are lacking: {error.what}", error.where))
        else:
            had.append((held.body, held.fetched))
    if missing and not had:
        raise missing
    reading = parse(had, station, today)
    days = reading.record.days
    memory = access.spool / "ncei" / f"{station.key}.arrivals.npz"
    stacked = np.column_stack([getattr(days, name) for name in _COLUMNS.values()])
    received = arrivals(memory, days.first, stacked, reading.record.received, NCEI.usual_delay)
    record = replace(reading.record, received=received)
    return replace(reading, record=record, complaints=(*complaints, *reading.complaints), stale=stale)


def parse(answers: Sequence[tuple[bytes, datetime]], station: Station, today: date) -> Reading:
    """The days in the service's answers, each with when it came; rows of `today` and later are left out.

    Raises
    ------
    SourceError
        One has not the form it should have, is in other units, or they hold no day.
    """
    where = _where(station)
    rows = [_row(one, came, where) for body, came in answers for one in _listed(body, where)]
    kept = {row.day: row for row in rows if row.day < today}
    if not kept:
        raise SourceError("there are no days for this station", where=where, remedy="Choose another station.")
    first, last = min(kept), max(kept)
    count = (last - first).days + 1
    values = {name: np.full(count, np.nan) for name in _COLUMNS.values()}
    received = np.full(count, np.nan)
    for day, row in kept.items():
        received[(day - first).days] = row.came.timestamp()
        for name, value in row.values.items():
            values[name][(day - first).days] = value
    record = Record(station.origin(NCEI.attribution), unknown_days(first, count, **values), received, NCEI.usual_delay)
    ids = {name: np.where(np.isfinite(column), NCEI.key, "") for name, column in values.items()}
    return Reading(record, ids, _complaints(rows, today, where))


def _where(station: Station) -> str:
    return f"{NCEI.name}, station {station.key}"


def _wanted(access: Access, station: Station, year: int) -> Wanted:
    asked = {
        "dataset": "daily-summaries",
        "stations": check_key(station.key),
        "startDate": f"{year}-01-01",
        "endDate": f"{year}-12-31",
        "dataTypes": ",".join(_COLUMNS),
        "includeAttributes": "true",
        "format": "json",
        "units": "metric",
    }
    wait = PAST_YEAR_NOT_WITHIN if access.now.year > year + 1 else THIS_YEAR_NOT_WITHIN
    what = f"{_where(station)}, days of {year}"
    return Wanted(f"ncei/{year}/{station.key}.json", access.endpoints.ncei, what, _check, asked, wait)


class _Row(NamedTuple):
    day: date
    came: datetime
    values: dict[str, float]
    doubted: int
    ends_early: bool


def _check(body: bytes, where: str) -> bytes:
    _listed(body, where)
    return body


def _listed(body: bytes, where: str) -> list[Json]:
    listed = read_json(body, where)
    if isinstance(listed, dict):
        raise SourceError(
            f"the service answers: {listed.get('errorMessage', 'something that is no list of days')}",
            where=where,
            remedy="Check the station's identifier.",
        )
    if not isinstance(listed, list):
        raise unexpected("it is no list of days", where)
    return listed


def _row(one: Json, came: datetime, where: str) -> _Row:
    try:
        day = date.fromisoformat(str(part(one, "DATE", where))[:10])
    except ValueError as error:
        raise unexpected(f"{one['DATE']!r} is not a date", where) from error
    values, doubted, ends_early = {}, 0, False
    for column, name in _COLUMNS.items():
        quality, ends_at = _attributes(one.get(f"{column}_ATTRIBUTES"))
        value = _value(one.get(column), column, where)
        ends_early |= not math.isnan(value) and "0000" < ends_at <= "1200"
        doubted += bool(quality) and not math.isnan(value)
        values[name] = math.nan if quality else value
    return _Row(day, came, values, doubted, ends_early)


def _attributes(written: Json) -> tuple[str, str]:
    """The quality mark and the hour the day ends at, from "measurement,quality,source,hour" (GHCN-Daily's order)."""
    marks = [*str(written or "").split(","), "", "", "", ""]
    return marks[1].strip(), marks[3].strip()


def _value(written: Json, column: str, where: str) -> float:
    text = "" if written is None else str(written).strip()
    if text in _MISSING:
        return math.nan
    try:
        value = float(text)
    except ValueError as error:
        raise unexpected(f'{column} "{text}" is not a number', where) from error
    limit = _WETTEST_MM if column == "PRCP" else _HOTTEST_C
    if not abs(value) <= limit or (column == "PRCP" and value < 0.0):
        raise SourceError(f"{column} of {text} cannot be in °C and mm: the answer is in other units", where=where)
    return value


def _complaints(rows: list[_Row], today: date, where: str) -> tuple[Complaint, ...]:
    ahead = sum(row.day > today for row in rows)
    doubted = sum(row.doubted for row in rows)
    early = sum(row.ends_early for row in rows)
    told = []
    if ahead:
        told.append(f"observed days that are still to come, which cannot be: left out ({ahead})")
    if doubted:
        told.append(f"values that failed the service's own quality check: left out ({doubted})")
    if early:
        told.append(f"days that end in the morning: maximum and rain belong mostly to the day before ({early})")
    return tuple(Complaint(one, where) for one in told)
