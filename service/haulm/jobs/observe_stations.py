"""Stations and forecast services, fetched: the best station first, neighbours for its gaps, the first forecast had."""

from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from haulm.beds.graded import GRADED_FOR, TOLD
from haulm.errors import Complaint, SourceError
from haulm.garden import Place
from haulm.jobs.observe_hours import forecast_cell, hours_of_stations, night_of, with_hours
from haulm.letter import amounts
from haulm.settings.load import Settings
from haulm.settings.weather_form import NetworkTable
from haulm.sources import met_norway, meteostat_files, meteostat_places, ncei, nws
from haulm.sources.blend import Blend, blend
from haulm.sources.catalogue import CATALOGUE, MET_NORWAY, NWS, Source
from haulm.sources.held import known_by
from haulm.sources.http import Endpoints, Fetching, Http
from haulm.sources.quality import cleaned, cleaned_record
from haulm.sources.readings import Issue, Reading
from haulm.sources.spool import Access
from haulm.sources.stations import Station
from haulm.store.database import Database
from haulm.store.weather import read_brief_issues, read_issues, read_record
from haulm.weather import DAY, Forecast, Record

REMARKED_DAYS = 21
YEARS_OF_RECORD = 10  # for the place's own climate; past years are fetched once and kept
ISSUES_LOOKED_BACK = timedelta(days=8)  # earlier issues bridge the days between the record and today
FORECASTERS: dict[str, tuple[Source, Callable[[Access, Place], Issue]]] = {
    "met-norway": (MET_NORWAY, met_norway.fetch),
    "us-weather-service": (NWS, nws.fetch),
}
Complaints = tuple[Complaint, ...]


@contextmanager
def access_to(settings: Settings, spool: Path, now: datetime) -> Iterator[Access]:
    """The one session of a run to the weather services, as the settings have it; it connects when it is asked."""
    network = settings.weather.network
    fetching = Fetching(
        contact=settings.weather.contact or "",
        connect_s=network.connect_seconds,
        read_s=network.read_seconds,
        total_s=network.total_seconds,
        byte_cap=network.most_megabytes * 1024 * 1024,
        retries=network.retries,
        retry_wait_s=network.retry_wait_seconds,
        retry_after_max_s=round(network.retry_longest_seconds),
    )
    with Http(fetching) as http:
        yield Access(http, _endpoints(network), spool, now)


def _endpoints(network: NetworkTable) -> Endpoints:
    return Endpoints(
        meteostat_daily=network.meteostat_daily,
        meteostat_hourly=network.meteostat_hourly,
        meteostat_station=network.meteostat_station,
        meteostat_stations=network.meteostat_stations,
        met_norway=network.met_norway,
        nws_points=network.us_weather_service,
        ncei=network.ncei,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Gathered:
    """What the stations gave.

    Attributes
    ----------
    record
        One record of all of them, as far as it was known at the morning's instant.
    fetched
        Each station's own days as they came now, to be kept.
    faults, doubts
        What could not be had; and what was left out of that which came.
    remarks
        Which station stands in for which, for the letter's last part.
    in_time
        Whether the newest file of the preferred station was had.
    """

    record: Record | None
    fetched: tuple[Record, ...]
    faults: Complaints
    doubts: Complaints
    remarks: tuple[str, ...]
    in_time: bool


def record_of_stations(settings: Settings, access: Access, database: Database | None, as_of: datetime) -> Gathered:
    """One record of all stations; what a server does not give now is taken as the store holds it."""
    place, now = settings.garden.place, access.now
    fetched: list[Record] = []
    known: list[Reading] = []
    faults: list[Complaint] = []
    doubts: list[Complaint] = []
    in_time = False
    for name in settings.weather.stations:
        reading, told = _had(access, name, settings, now)
        if reading is not None:
            fetched.append(reading.record)
            doubts += told
            in_time |= name == settings.weather.stations[0] and not reading.stale
        faults += told if reading is None else told[:1] if reading.stale else ()
        record = _as_known(access, database, name, settings, reading, as_of, now)
        if record is not None:
            known.append(Reading(record) if reading is None else replace(reading, record=record))
    hours, told = hours_of_stations(access, settings, database, now)
    faults += told
    doubts = [one for one in doubts if one not in faults]
    if not known:
        return Gathered(None, tuple(fetched), tuple(faults), tuple(doubts), (), in_time)
    joined = blend(_realigned(known), ZoneInfo(place.zone))
    night = night_of(hours, place, place.day_of(as_of))
    whole = replace(_whole(joined), last_night=night, hours=hours, hours_had=now if not told else None)
    return Gathered(whole, tuple(fetched), tuple(faults), tuple(doubts), _remarks(joined, place, as_of), in_time)


def _had(access: Access, name: str, settings: Settings, now: datetime) -> tuple[Reading | None, Complaints]:
    """One station's days as they come now, cleaned, and what is to be told of them."""
    # By the clock, also where an earlier morning is worked out: else days that did end would be taken for the future.
    today = settings.garden.place.day_of(now)
    years = range(today.year - YEARS_OF_RECORD, today.year + 1)
    try:
        reading = read_station(access, name, settings.garden.place, years, today)
    except SourceError as fault:
        return None, (Complaint(f"{name} could not be had: {fault.what}", fault.where),)
    record, doubtful = cleaned_record(reading.record, reading.record.origin.name, today=today)
    return replace(reading, record=_delayed(record, settings)), (*reading.complaints, *doubtful)


def _as_known(
    access: Access,
    database: Database | None,
    name: str,
    settings: Settings,
    reading: Reading | None,
    as_of: datetime,
    now: datetime,
) -> Record | None:
    """A station as it was known at an instant; whole files fetched for just that instant need no help of the store."""
    held = None
    if database is not None and (reading is None or reading.stale or as_of < now or _breaks_off(reading.record, now)):
        source = CATALOGUE[name.partition(":")[0]]
        origin = (
            reading.record.origin
            if reading
            else station_of(access, name, settings.garden.place).origin(source.attribution)
        )
        found = read_record(database, origin, source.usual_delay, as_of)
        held = _delayed(found, settings) if found is not None else None
    return known_by(reading.record if reading else None, held, as_of)


def _breaks_off(record: Record, now: datetime) -> bool:
    """Whether the newest air temperatures are overdue: a file that has lost a column has not taken back its days."""
    known = np.flatnonzero(np.isfinite(record.days.air_min_c) & np.isfinite(record.days.air_max_c))
    if not known.size:
        return True
    ended = datetime.combine(record.days.first + (int(known[-1]) + 1) * DAY, time(), now.tzinfo)
    return now > ended + record.usual_delay + DAY


def _realigned(readings: list[Reading]) -> list[Reading]:
    """Source ids belong to a run of days; one that the store has lengthened goes without them."""
    return [
        one if all(len(ids) == len(one.record.days) for ids in one.ids.values()) else replace(one, ids={})
        for one in readings
    ]


def _remarks(joined: Blend, place: Place, as_of: datetime) -> tuple[str, ...]:
    """Who stood in for the first station in the last weeks."""
    today, told = place.day_of(as_of), []
    days = [today - DAY * back for back in range(1, REMARKED_DAYS + 1)]
    for quantity, what in (("rain_mm", "the rain"), ("air_min_c", "the lowest air temperature")):
        came = Counter(found.origin for day in days if (found := joined.provenance(quantity, day)))
        for origin, count in came.items():
            if origin.key != joined.stations[0].key:
                away = f", {amounts.distance(origin.distance_km, place.display)} away" if origin.distance_km else ""
                told.append(f"Of the last {REMARKED_DAYS} days, {what} of {count} is that of {origin.name}{away}.")
    return tuple(told)


def station_of(access: Access, name: str, place: Place) -> Station:
    """A station of the settings as it lies to the garden, as far as that can be had."""
    source, _, key = name.partition(":")
    try:
        return meteostat_places.describe(access, key, place) if source == "meteostat" else Station(key)
    except SourceError:
        return Station(key)  # its days are worth more than its description


def read_station(access: Access, name: str, place: Place, years: range, today: date) -> Reading:
    """One station of the settings ("meteostat:10637", "ncei:USW00013722").

    Raises
    ------
    SourceError
        Nothing of it could be had.
    """
    station = station_of(access, name, place)
    read = ncei.fetch if name.startswith("ncei:") else meteostat_files.daily_reading
    return read(access, station, years, today)


def _delayed(record: Record, settings: Settings) -> Record:
    hours = settings.weather.usual_delay_hours
    return record if hours is None else replace(record, usual_delay=timedelta(hours=hours))


def _whole(joined: Blend) -> Record:
    """The blended record, with what neighbours lend beside it and everybody's attribution."""
    named = dict.fromkeys(origin.attribution for origin in joined.stations if origin.attribution)
    origin = replace(joined.record.origin, attribution="; ".join(named))
    lent = Record(origin, joined.fills, joined.fills_received, joined.record.usual_delay)
    return replace(joined.record, origin=origin, lent=lent)


def forecasts_of_services(
    settings: Settings, access: Access, database: Database | None
) -> tuple[tuple[Forecast, ...], Complaints, Issue | None]:
    """The first service's forecast that can be had with earlier issues from the store, and the one that came now."""
    complaints: list[Complaint] = []
    came: Issue | None = None
    place, now = settings.garden.place, access.now
    oldest = timedelta(hours=settings.thresholds.data.forecast_max_age_hours)
    for name in settings.weather.forecasts:
        source, fetch = FORECASTERS[name]
        try:
            issue = fetch(access, place)
        except SourceError as fault:
            complaints.append(Complaint(f"{source.name} gave no forecast: {fault.what}", fault.where))
            continue
        if now - issue.forecast.issued > oldest:
            told = f"{source.name} still gives the forecast of {issue.forecast.issued:%Y-%m-%d %H:%M} UTC"
            complaints.append(Complaint(told, ""))
            continue
        days, doubtful = cleaned(issue.forecast.days, source.name)
        came = replace(issue, forecast=replace(issue.forecast, days=days))
        complaints += [*issue.complaints, *doubtful]
        break
    earlier = _earlier_issues(settings, database, now) if database is not None else ()
    newest = (came.forecast,) if came is not None else ()
    known = {(one.origin.key, one.issued): one for one in (*earlier, *newest)}
    return with_hours(tuple(known.values()), came, database, place, now), tuple(complaints), came


def kept_issues(settings: Settings, database: Database, since: datetime, until: datetime) -> tuple[Forecast, ...]:
    """The issues of the services in the settings that the store holds of a span of time."""
    place = settings.garden.place
    origins = [FORECASTERS[name][0].origin for name in settings.weather.forecasts]
    return tuple(
        issue
        for origin in origins
        for issue in read_issues(database, origin, forecast_cell(origin, place), since, until)
    )


def _earlier_issues(settings: Settings, database: Database, now: datetime) -> tuple[Forecast, ...]:
    """Those of the last days whole, to bridge with; those of thirteen months in brief, to be graded."""
    recent = now - ISSUES_LOOKED_BACK
    brief = _brief_issues(settings, database, now - GRADED_FOR, recent)
    return (*brief, *kept_issues(settings, database, recent, now))


def _brief_issues(settings: Settings, database: Database, since: datetime, until: datetime) -> tuple[Forecast, ...]:
    """The same in brief, one issue a day, to be graded."""
    place = settings.garden.place
    origins = [FORECASTERS[name][0].origin for name in settings.weather.forecasts]
    return tuple(
        issue
        for origin in origins
        for issue in read_brief_issues(database, origin, forecast_cell(origin, place), since, until, TOLD)
    )
