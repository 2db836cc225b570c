"""Meteostat's bulk files, fetched by ourselves: the library's own networking hangs, and turns every fault into silence.

`daily_reading` gives a station's record, `observed_hours` its hours. The library only parses what lies on disk, and
only when a file has changed (`meteostat_parse`).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np

from haulm.errors import Complaint, SourceError
from haulm.sources import meteostat_parse
from haulm.sources.arrivals import arrivals
from haulm.sources.catalogue import METEOSTAT
from haulm.sources.http import NotThereError
from haulm.sources.local_days import hours_from
from haulm.sources.meteostat_parse import Kind, Table
from haulm.sources.meteostat_text import pack, unpack
from haulm.sources.readings import IDS, IdArray, Reading
from haulm.sources.spool import Access, Kept, Wanted, kept, obtain
from haulm.sources.stations import Station, check_key
from haulm.weather import DAY, HOUR, QUANTITIES, FloatArray, Hours, Record, unknown_days

EPOCH = date(1970, 1, 1)
# The files are rebuilt about daily; a past year's only when something is mended (judgement).
THIS_YEAR_NOT_WITHIN = timedelta(hours=1)
PAST_YEAR_NOT_WITHIN = timedelta(days=7)
# A past year without a file is hardly ever given one later (judgement).
ABSENT_NOT_WITHIN = timedelta(days=30)
# In January the year just past is still being completed.
STILL_FILLING = timedelta(days=40)


@dataclass(frozen=True, slots=True, eq=False)
class _Year:
    year: int
    table: Table
    fetched: datetime
    fresh: bool


def daily_reading(access: Access, station: Station, years: Sequence[int], today: date) -> Reading:
    """The station's observed days of some years. Model values and days of `today` (local) or later are left out.

    A year that cannot be had is a complaint; its days are unknown. A year whose newest version cannot be had is read
    as last fetched, with a complaint.

    Raises
    ------
    SourceError
        No year could be had at all, or none holds an observed day.
    """
    had, complaints = _years(access, station, years, Kind.DAILY)
    values, ids, fetched, first, told = _placed(had, (today - EPOCH).days)
    where = _where(station)
    if not len(fetched):
        raise SourceError("the files hold no observed day", where=where, remedy="Choose another station.")
    attribution = ", ".join(dict.fromkeys(part for one in had for part in one.table.attribution.split(", ")))
    days = unknown_days(EPOCH + first * DAY, len(fetched), **values)
    # All quantities, so that a station that begins to tell one more has not all its rows counted as new.
    stacked = np.column_stack([getattr(days, name) for name in QUANTITIES])
    memory = access.spool / "meteostat" / "daily" / f"{station.key}.arrivals.npz"
    received = arrivals(memory, days.first, stacked, fetched, METEOSTAT.usual_delay)
    record = Record(station.origin(attribution), days, received, METEOSTAT.usual_delay)
    modelled = sum(one.table.modelled for one in had)
    stale = max(years) not in {one.year for one in had if one.fresh}
    return Reading(record, ids, (*complaints, *_told(told, "days", where)), modelled, stale)


def observed_hours(access: Access, station: Station, first: datetime) -> tuple[Hours, tuple[Complaint, ...]]:
    """The station's observed hours from an instant to now, without model values.

    Raises
    ------
    SourceError
        They could not be had, or there are none since then.
    """
    years = range(first.astimezone(UTC).year, access.now.astimezone(UTC).year + 1)
    had, complaints = _years(access, station, years, Kind.HOURLY)
    bounds = [_hour_number(moment) for moment in (first, access.now)]
    values, _, fetched, start, told = _placed(had, bounds[1] + 1, bounds[0])
    where = _where(station)
    if not len(fetched):
        raise SourceError("there are no observed hours since then", where=where, remedy="Choose another station.")
    # Theirs is the rain of the hour before, as in synoptic reports, ours of the hour that begins. Measured: only so
    # do a German station's hours add up to its own daily rain, from 06 to 06 UTC (a test shows it).
    rain = values.get("rain_mm", np.full(len(fetched), np.nan))
    values["rain_mm"] = np.append(rain[1:], np.nan)
    stated = np.any([np.isfinite(column) for column in values.values()], axis=0)
    hours = hours_from(datetime(1970, 1, 1, tzinfo=UTC) + start * HOUR, stated.astype(np.int8), **values)
    return hours, (*complaints, *_told(told, "hours", where))


def year_file(access: Access, station: Station, year: int, kind: Kind) -> Kept:
    """One year's file of a station, checked to be whole.

    Raises
    ------
    SourceError
        It could not be had, or is damaged; `NotThereError` if there is none for that year.
    """
    address = {Kind.DAILY: access.endpoints.meteostat_daily, Kind.HOURLY: access.endpoints.meteostat_hourly}[kind]
    url = address.format(year=year, station=check_key(station.key))
    what = f"{_where(station)}, {kind} file of {year}"
    over = datetime(year + 1, 1, 1, tzinfo=UTC) + STILL_FILLING
    past = access.now > over
    wait, absent = (PAST_YEAR_NOT_WITHIN, ABSENT_NOT_WITHIN) if past else (THIS_YEAR_NOT_WITHIN, timedelta(0))
    return obtain(access, Wanted(_name(station, year, kind), url, what, _check, not_within=wait, absent_within=absent))


def _name(station: Station, year: int, kind: Kind) -> str:
    return f"meteostat/{kind}/{year}/{station.key}.csv.gz"


def _where(station: Station) -> str:
    return f"{METEOSTAT.name}, station {station.key}"


def _check(body: bytes, where: str) -> bytes:
    unpack(body, where)
    # A server that marks the file as packed for transport has had it unpacked on the way: keep one form.
    return body if body.startswith(b"\x1f\x8b") else pack(body)


def _years(
    access: Access, station: Station, years: Sequence[int], kind: Kind
) -> tuple[list[_Year], tuple[Complaint, ...]]:
    had: list[_Year] = []
    complaints: list[Complaint] = []
    missing: dict[int, SourceError] = {}
    for year in sorted(years, reverse=True):  # the newest first: a server in trouble is not asked for many files
        try:
            held, told = _newest_or_last(access, station, year, kind)
            table = meteostat_parse.table(held, station.key, year, kind)
        except SourceError as error:
            missing[year] = error
            continue
        had.append(_Year(year, table, held.fetched, not told))
        complaints += [*told, *table.complaints]
    if missing and not had:
        raise _none(list(missing.values()), kind, station)
    return had, (*_lacking(missing, had, kind), *complaints)


def _lacking(missing: dict[int, SourceError], had: list[_Year], kind: Kind) -> Iterator[Complaint]:
    """A word for each year that could not be had; that a record does not reach further back is no fault."""
    begins = min((one.year for one in had), default=0)
    for year, error in missing.items():
        if year > begins or not isinstance(error, NotThereError):
            yield Complaint(f"the {kind} file of {year} is lacking: {error.what}", error.where)


def _none(missing: Sequence[SourceError], kind: Kind, station: Station) -> SourceError:
    if all(isinstance(error, NotThereError) for error in missing):
        return NotThereError(
            f"there is no {kind} file of the years asked for: the station has stopped, or never told such values",
            where=_where(station),
            remedy="Choose another station.",
        )
    return next(error for error in missing if not isinstance(error, NotThereError))


def _newest_or_last(access: Access, station: Station, year: int, kind: Kind) -> tuple[Kept, list[Complaint]]:
    """The year's file; where the newest cannot be had, the last one fetched and what was wrong."""
    try:
        return year_file(access, station, year, kind), []
    except NotThereError:
        raise
    except SourceError as error:
        last = kept(access.spool, _name(station, year, kind))
        if last is None:
            raise
        told = f"{error.what}; the {kind} file of {year} is the one fetched on {last.fetched:%Y-%m-%d %H:%M} UTC"
        return last, [Complaint(told, error.where)]


_Placed = tuple[dict[str, FloatArray], dict[str, IdArray], FloatArray, int, int]


def _placed(had: list[_Year], before: int, since: int | None = None) -> _Placed:
    """The tables' values on one unbroken run of days (or hours) with no row missing.

    Gives values, their sources, when each row's file came, the number of the first row, and how many rows lie after
    `before`. A row at `before` itself is only not over yet: it is left out, and that is nothing to tell.
    """
    times = np.concatenate([one.table.times for one in had])
    left_out = int((times > before).sum())
    inside = times[(times < before) & (times >= (since if since is not None else times.min(initial=0)))]
    if not inside.size:
        return {}, {}, np.empty(0), 0, left_out
    first, count = int(inside.min()), int(inside.max() - inside.min()) + 1
    names = sorted({name for one in had for name in one.table.values})
    values = {name: np.full(count, np.nan) for name in names}
    ids = {name: np.full(count, "", dtype=IDS) for name in names}
    fetched = np.full(count, np.nan)
    for one in had:
        at = one.table.times - first
        held = (at >= 0) & (at < count)
        fetched[at[held]] = one.fetched.timestamp()
        for name, column in one.table.values.items():
            values[name][at[held]] = column[held]
            ids[name][at[held]] = one.table.ids[name][held]
    return values, ids, fetched, first, left_out


def _told(left_out: int, what: str, where: str) -> tuple[Complaint, ...]:
    if not left_out:
        return ()
    return (Complaint(f"observed {what} that are still to come, which cannot be: left out ({left_out})", where),)


def _hour_number(moment: datetime) -> int:
    return int(moment.timestamp() // 3600)
