"""The grower's own weather files: a record of days, and forecasts as issued, each in its own CSV file.

Two layouts are read, told apart by the header:

- the house's: ``date,air_min_c,air_max_c,rain_mm`` and, where known, ``humidity_pct,dew_point_c,wind_ms,gust_ms,
  cloud,rain_chance,received`` (`received` is the UTC instant from which the row was known);
- GHCN-Daily's: ``DATE,TMAX,TMIN,PRCP`` in any order, other columns ignored, in the units that were declared.

A file of forecasts has the column `issued` (a UTC instant) besides; a record never has it: the two are never mixed.
"""

import csv
import gzip
import io
import math
import re
import zlib
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from functools import lru_cache
from pathlib import Path

import numpy as np

from haulm.errors import Complaint, SourceError
from haulm.units import MM_PER_INCH, celsius_from_fahrenheit
from haulm.weather import QUANTITIES, Days, FloatArray, Forecast, Origin, Record

# A century of days in the house layout is about 3 MB (own count); more than this is some other file.
LIMIT_BYTES = 30_000_000
# Judgement: no forecast of single days reaches further; a row beyond it has a wrong date.
FORECAST_REACH = timedelta(days=60)
FIRST_YEAR, LAST_YEAR = 1750, 2199
_HTML_START = re.compile(r"\s*(<!doctype|<html|<\?xml|<head|<body)", re.IGNORECASE)
_NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d{1,3})?", re.IGNORECASE)
_DAY = re.compile(r"\d{4}-\d\d-\d\d|\d{8}")
_MISSING = {"", "na", "n/a", "nan", "null", "none", "-", "-9999", "-9999.0"}
_REMEDY = "Compare the file with the layouts described in the README, and give the file that fits."


class GhcnUnits(StrEnum):
    """The units of a GHCN-Daily file, which its header does not tell."""

    METRIC = "metric"  # °C, mm
    TENTHS = "tenths"  # tenths of °C, tenths of mm
    US = "us"  # °F, inches


Convert = Callable[[float], float]


def _as_it_is(value: float) -> float:
    return value


def _tenth(value: float) -> float:
    return value / 10.0


def _mm_from_inches(value: float) -> float:
    return value * MM_PER_INCH


_GHCN_CONVERT: Mapping[GhcnUnits, tuple[Convert, Convert]] = {
    GhcnUnits.METRIC: (_as_it_is, _as_it_is),
    GhcnUnits.TENTHS: (_tenth, _tenth),
    GhcnUnits.US: (celsius_from_fahrenheit, _mm_from_inches),
}
_HOUSE_REQUIRED = ("date", "air_min_c", "air_max_c", "rain_mm")
_GHCN_REQUIRED = ("date", "tmin", "tmax", "prcp")
_INSTANTS = {"received", "issued"}


@dataclass(frozen=True, slots=True)
class _Head:
    """What the header tells: where each column stands and how its numbers become the house's."""

    delimiter: str
    columns: Mapping[str, int]
    width: int
    quantities: tuple[tuple[str, int | None, Convert], ...]  # all of them in their order; None where it has no column
    unknown: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Row:
    """One good line."""

    line: int
    day: date
    values: tuple[float, ...]
    received: float
    issued: datetime | None


class _LineError(Exception):
    """A line that cannot be used; it becomes a complaint and goes no further."""


def fetch(path: Path, *, limit_bytes: int = LIMIT_BYTES) -> bytes:
    """The bytes of a file, no more than the limit.

    Raises
    ------
    SourceError
        No such file, no plain file, not readable, empty, or too large.
    """
    try:
        if not path.is_file():
            raise SourceError("there is no such file", where=str(path), remedy="Correct the path in the settings.")
        with path.open("rb") as file:
            content = file.read(limit_bytes + 1)
    except OSError as error:
        what = f"it cannot be read: {error.strerror or type(error).__name__}"
        raise SourceError(what, where=str(path), remedy="Let the user that haulm runs as read it.") from error
    if not content:
        raise SourceError("the file is empty", where=str(path), remedy="Write it anew from where it came.")
    return _within(content, limit_bytes, str(path))


def text_of(content: bytes, where: str, *, limit_bytes: int = LIMIT_BYTES) -> str:
    """The text of a file's bytes: unpacked if they are gzip, read as UTF-8, UTF-16 with its mark, or else Latin-1.

    Raises
    ------
    SourceError
        A broken or overlarge gzip file, a zip archive or spreadsheet, or anything else that is not text.
    """
    if content.startswith(b"\x1f\x8b"):
        content = _unpacked(content, where, limit_bytes)
    if content.startswith(b"PK\x03\x04"):
        raise SourceError("this is a spreadsheet or a zip archive", where=where, remedy="Save it as CSV and give that.")
    text = _decoded(content)
    if "\x00" in text:
        raise SourceError("this is not a text file", where=where, remedy=_REMEDY)
    return text


def _within(content: bytes, limit_bytes: int, where: str) -> bytes:
    if len(content) > limit_bytes:
        what = f"the file is larger than {limit_bytes / 1e6:.0f} MB"
        raise SourceError(what, where=where, remedy="Give a file of daily values for one station.")
    return content


def _unpacked(content: bytes, where: str, limit_bytes: int) -> bytes:
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(content)) as packed:
            unpacked = packed.read(limit_bytes + 1)
    except (EOFError, OSError, zlib.error) as error:
        what = "the gzip file is cut short or damaged"
        raise SourceError(what, where=where, remedy="Fetch or pack it again.") from error
    return _within(unpacked, limit_bytes, where)


def _decoded(content: bytes) -> str:
    coding = "utf-16" if content.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    try:
        return content.decode(coding)
    except UnicodeDecodeError:
        # Latin-1 always decodes; what matters here is digits and column names, which are the same in it.
        return content.decode("latin-1")


def parse_record(
    text: str, *, where: str, origin: Origin, usual_delay: timedelta, ghcn_units: GhcnUnits | None = None
) -> tuple[Record, tuple[Complaint, ...]]:
    """The record in a file's text, and what was wrong with lines that were left out.

    Rows are sorted, days without a row are NaN. A day given twice with the same values counts once;
    with other values the later line wins and a complaint says so.

    Raises
    ------
    SourceError
        No header, a column missing, a column `issued`, several stations, or no usable line at all.
    """
    head, rows, complaints = _read(text, where, ghcn_units)
    if "issued" in head.columns:
        what = 'the record has a column "issued", so it holds forecasts'
        raise SourceError(what, where=where, remedy="Keep observed days and forecasts in two files.")
    kept, doubled = _one_a_day(rows, where)
    first, count = _span(kept)
    received = np.full(count, np.nan)
    received[[(row.day - first).days for row in kept]] = [row.received for row in kept]
    return Record(origin, _days(kept), received, usual_delay), complaints + doubled


def parse_forecasts(
    text: str, *, where: str, origin: Origin, ghcn_units: GhcnUnits | None = None
) -> tuple[tuple[Forecast, ...], tuple[Complaint, ...]]:
    """The forecasts in a file's text, one for each instant of issue, the oldest first, and what was left out.

    An issue counts as received when its last row was.

    Raises
    ------
    SourceError
        No header, a column missing (`issued` too), several stations, or no usable line at all.
    """
    head, rows, complaints = _read(text, where, ghcn_units)
    if "issued" not in head.columns:
        what = 'the forecasts have no column "issued"'
        raise SourceError(what, where=where, remedy="Add when each row was issued, in UTC: 2026-05-01T03:00Z.")
    issues: dict[datetime, list[_Row]] = defaultdict(list)
    for row in rows:
        if row.issued is not None:
            issues[row.issued].append(row)
    forecasts = []
    for issued in sorted(issues):
        kept, doubled = _one_a_day(issues[issued], where)
        complaints += doubled
        forecasts.append(Forecast(origin, issued, _days(kept), _last_received(kept)))
    return tuple(forecasts), complaints


def _last_received(rows: Sequence[_Row]) -> datetime | None:
    noted = [row.received for row in rows if not math.isnan(row.received)]
    return datetime.fromtimestamp(max(noted), UTC) if noted else None


def _read(text: str, where: str, units: GhcnUnits | None) -> tuple[_Head, list[_Row], tuple[Complaint, ...]]:
    if _HTML_START.match(text):
        raise SourceError("this is a web page, not data", where=where, remedy="Fetch the data file itself.")
    # Not str.splitlines: it also breaks at signs that may stand inside a Latin-1 cell.
    numbered = enumerate(re.split(r"\r\n|\n|\r", text.removeprefix("\ufeff")), 1)
    lines = [(number, line) for number, line in numbered if line.strip()]
    if not lines:
        raise SourceError("there is nothing in it", where=where, remedy=_REMEDY)
    head = _head(lines[0][1], where, units)
    rows, broken = _rows(head, lines[1:], where)
    unknown = [Complaint("column not known and not used", where, given=name) for name in head.unknown]
    if not any(math.isfinite(value) for row in rows for value in row.values):
        example = f"; {broken[0].what} in line {broken[0].line} ({broken[0].given})" if broken else ""
        raise SourceError(f"no line of it can be used{example}", where=where, remedy=_REMEDY)
    return head, rows, tuple(unknown + broken)


def _head(line: str, where: str, units: GhcnUnits | None) -> _Head:
    delimiter = max(",;\t", key=line.count)
    names = [name.strip().strip('"').strip().casefold() for name in line.split(delimiter)]
    columns = {name: position for position, name in enumerate(names) if name}
    if len(columns) != sum(map(bool, names)):
        twice = next(name for name in names if name and names.count(name) > 1)
        raise SourceError(f'the column "{twice}" is there twice', where=where, remedy="Leave one of them out.")
    if {"tmin", "tmax", "prcp"} & columns.keys():
        return _ghcn_head(delimiter, columns, where, units)
    _demand(columns, _HOUSE_REQUIRED, where)
    quantities = tuple((name, columns.get(name), _as_it_is) for name in QUANTITIES)
    unknown = tuple(name for name in columns if name not in {"date", *QUANTITIES, *_INSTANTS})
    return _Head(delimiter, columns, max(columns.values()) + 1, quantities, unknown)


def _ghcn_head(delimiter: str, columns: Mapping[str, int], where: str, units: GhcnUnits | None) -> _Head:
    _demand(columns, _GHCN_REQUIRED, where)
    if units is None:
        what = "the file has the columns of GHCN-Daily, and its units are not declared"
        remedy = f"Say in the settings which they are: {', '.join(GhcnUnits)}."
        raise SourceError(what, where=where, remedy=remedy)
    air, rain = _GHCN_CONVERT[units]
    given = {"air_min_c": ("tmin", air), "air_max_c": ("tmax", air), "rain_mm": ("prcp", rain)}
    named = ((name, *given.get(name, ("", _as_it_is))) for name in QUANTITIES)
    quantities = tuple((name, columns.get(column), convert) for name, column, convert in named)
    return _Head(delimiter, columns, max(columns.values()) + 1, quantities, ())


def _demand(columns: Mapping[str, int], required: Sequence[str], where: str) -> None:
    lacking = [name for name in required if name not in columns]
    if len(lacking) == len(required):
        raise SourceError("the first line is no header that is known here", where=where, remedy=_REMEDY)
    if lacking:
        raise SourceError(f"the header lacks {', '.join(lacking)}", where=where, remedy=_REMEDY)


def _rows(head: _Head, lines: Sequence[tuple[int, str]], where: str) -> tuple[list[_Row], list[Complaint]]:
    rows: list[_Row] = []
    complaints: list[Complaint] = []
    stations: set[str] = set()
    for number, line in lines:
        try:
            cells = _cells(head, line)
            rows.append(_row(head, number, cells))
        except _LineError as error:
            complaints.append(Complaint(str(error), where, number, line.strip()[:80]))
            continue
        if "station" in head.columns:
            stations.add(cells[head.columns["station"]])
    if len(stations) > 1:
        what = f"the file holds {len(stations)} stations: {', '.join(sorted(stations)[:3])}"
        raise SourceError(what, where=where, remedy="Give a file with one station.")
    return rows, complaints


def _cells(head: _Head, line: str) -> list[str]:
    # Line by line, so that one stray quotation mark cannot swallow the lines after it; a plain one needs no reader.
    try:
        plain = '"' not in line and len(line) < csv.field_size_limit()
        split = line.split(head.delimiter) if plain else next(csv.reader([line], delimiter=head.delimiter, strict=True))
    except csv.Error as error:
        raise _LineError("the line is damaged") from error
    cells = [cell.strip() for cell in split]
    if len(cells) < head.width or any(cells[head.width :]):
        raise _LineError(f"{len(cells)} columns where the header has {head.width}")
    return cells


def _row(head: _Head, line: int, cells: Sequence[str]) -> _Row:
    day = _day(cells[head.columns["date"]])
    read = [math.nan if at is None else _value(name, cells[at], head, to) for name, at, to in head.quantities]
    received = issued = None
    if "received" in head.columns:
        received = _instant("received", cells[head.columns["received"]])
    if "issued" in head.columns:
        issued = _issued(cells[head.columns["issued"]], day)
    return _Row(line, day, tuple(read), math.nan if received is None else received.timestamp(), issued)


def _day(cell: str) -> date:
    if _DAY.fullmatch(cell):
        try:
            day = date.fromisoformat(cell)
        except ValueError:
            raise _LineError("there is no such day") from None
        if FIRST_YEAR <= day.year <= LAST_YEAR:
            return day
    raise _LineError("the date is not written as 2026-05-01")


def _value(name: str, cell: str, head: _Head, convert: Convert) -> float:
    value = _number(cell, head.delimiter)
    if value is None:
        raise _LineError(f"{name} is not a number")
    return convert(value)


@lru_cache(maxsize=4096)  # ten years of tenths of a degree are a few hundred different words
def _number(cell: str, delimiter: str) -> float | None:
    """What a cell says: NaN where it is empty, None where it is no number."""
    if cell.casefold() in _MISSING:
        return math.nan
    written = cell.replace("−", "-")
    if delimiter != ",":
        written = written.replace(",", ".")
    value = float(written) if _NUMBER.fullmatch(written) else math.nan
    return value if math.isfinite(value) else None


def _instant(name: str, cell: str) -> datetime | None:
    """An instant with its hour; the files are in UTC, so one without a zone is UTC too."""
    if cell.casefold() in _MISSING:
        return None
    try:
        instant = datetime.fromisoformat(cell)
        instant = instant.replace(tzinfo=UTC) if instant.tzinfo is None else instant.astimezone(UTC)
    except (ValueError, OverflowError):
        raise _LineError(f"{name} is not written as 2026-05-01T03:00Z") from None
    if len(cell) <= len("2026-05-01"):
        raise _LineError(f"{name} has no hour")
    return instant


def _issued(cell: str, day: date) -> datetime:
    issued = _instant("issued", cell)
    if issued is None:
        raise _LineError("issued is empty")
    # One day back: an evening issue in UTC can still speak of the local day that is ending west of it.
    if not timedelta(days=-1) <= day - issued.date() <= FORECAST_REACH:
        raise _LineError(f"the day does not belong to a forecast issued on {issued.date()}")
    return issued


def _one_a_day(rows: Sequence[_Row], where: str) -> tuple[list[_Row], tuple[Complaint, ...]]:
    kept: dict[date, _Row] = {}
    complaints = []
    for row in rows:
        before = kept.get(row.day)
        if before is not None and np.array_equal(before.values, row.values, equal_nan=True):
            continue
        if before is not None:
            what = f"{row.day} was given otherwise in line {before.line}; this line is used"
            complaints.append(Complaint(what, where, row.line))
        kept[row.day] = row
    return [kept[day] for day in sorted(kept)], tuple(complaints)


def _span(rows: Sequence[_Row]) -> tuple[date, int]:
    return rows[0].day, (rows[-1].day - rows[0].day).days + 1


def _days(rows: Sequence[_Row]) -> Days:
    """The rows, sorted by day, as one run without a break."""
    first, count = _span(rows)
    table: FloatArray = np.full((len(QUANTITIES), count), np.nan)
    table[:, [(row.day - first).days for row in rows]] = np.transpose([row.values for row in rows])
    return Days(first, **dict(zip(QUANTITIES, table, strict=True)))
