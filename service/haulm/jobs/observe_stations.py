"""Stations and forecast services, fetched: the best station first, neighbours for its gaps, the first forecast had."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from haulm.errors import Complaint, SourceError
from haulm.garden import Place
from haulm.settings.load import Settings
from haulm.settings.weather_form import NetworkTable
from haulm.sources import met_norway, meteostat_files, meteostat_places, ncei, nws
from haulm.sources.blend import Blend, blend
from haulm.sources.catalogue import MET_NORWAY, NWS, Source
from haulm.sources.http import Endpoints, Fetching, Http, NotThereError
from haulm.sources.local_days import HOURLY, Hours
from haulm.sources.quality import cleaned, cleaned_record
from haulm.sources.readings import Issue, Reading
from haulm.sources.spool import Access
from haulm.sources.stations import Station
from haulm.store.database import Database
from haulm.store.hours import keep_hours, replace_hours
from haulm.store.weather import read_issues
from haulm.weather import DAY, FloatArray, Forecast, LastNight, Origin, Record

YEARS_OF_RECORD = 10  # for the place's own climate; past years are fetched once and kept
HOURS_LOOKED_BACK = timedelta(days=10)  # a week of bad mornings is made up for
ISSUES_LOOKED_BACK = timedelta(days=8)  # earlier issues bridge the days between the record and today
FORECASTERS: dict[str, tuple[Source, Callable[[Access, Place], Issue]]] = {
    "met-norway": (MET_NORWAY, met_norway.fetch),
    "us-weather-service": (NWS, nws.fetch),
}
Complaints = tuple[Complaint, ...]


@contextmanager
def access_to(settings: Settings, spool: Path, now: datetime) -> Iterator[Access]:
    """The one session to the weather services, as the settings have it."""
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


def record_of_stations(
    settings: Settings, spool: Path, today: date, now: datetime
) -> tuple[Record | None, Complaints, bool]:
    """One record of all stations, what was wrong, and whether the preferred station's newest file was had."""
    readings, complaints = [], []
    years = range(today.year - YEARS_OF_RECORD, today.year + 1)
    with access_to(settings, spool, now) as access:
        for name in settings.weather.stations:
            try:
                reading = read_station(access, name, settings.garden.place, years, today)
            except SourceError as fault:
                complaints.append(Complaint(f"{name} could not be had: {fault.what}", fault.where))
                continue
            record, doubtful = cleaned_record(reading.record, reading.record.origin.name, today=today)
            readings.append(replace(reading, record=_delayed(record, settings)))
            complaints += [*reading.complaints, *doubtful]
        night, told = _last_night(access, settings, today)
        complaints += told
    if not readings:
        return None, tuple(complaints), False
    joined = blend(readings, ZoneInfo(settings.garden.place.zone))
    in_time = not any(reading.stale for reading in readings[:1])
    return replace(_whole(joined), last_night=night), tuple(complaints), in_time


def read_station(access: Access, name: str, place: Place, years: range, today: date) -> Reading:
    """One station of the settings ("meteostat:10637", "ncei:USW00013722").

    Raises
    ------
    SourceError
        Nothing of it could be had.
    """
    source, _, key = name.partition(":")
    if source == "ncei":
        return ncei.fetch(access, Station(key), years, today)
    try:
        station = meteostat_places.describe(access, key, place)
    except SourceError:
        station = Station(key)  # its days are worth more than its description
    return meteostat_files.daily_reading(access, station, years, today)


def observed_hours_of(access: Access, settings: Settings, first: datetime) -> tuple[str, Hours] | None:
    """The hours of the first station that tells them, from an instant on; None if none of them does.

    Raises
    ------
    SourceError
        They are told, but could not be had.
    """
    for name in settings.weather.stations:
        source, _, key = name.partition(":")
        if source == "meteostat":
            try:
                return key, meteostat_files.observed_hours(access, Station(key), first)[0]
            except NotThereError:
                continue
    return None


def _last_night(access: Access, settings: Settings, today: date) -> tuple[LastNight | None, Complaints]:
    """The lowest hour since six o'clock yesterday evening."""
    zone = ZoneInfo(settings.garden.place.zone)
    evening = datetime.combine(today - DAY, time(18), zone).astimezone(UTC)
    try:
        found = observed_hours_of(access, settings, evening)
    except SourceError as fault:
        return None, (Complaint(f"last night's hours could not be had: {fault.what}", fault.where),)
    if found is None:
        return None, ()
    hours = found[1]
    known = np.flatnonzero(np.isfinite(hours.air_c))
    if not known.size:
        return None, ()
    until = hours.instant(int(known[-1]))
    return LastNight(float(hours.air_c[known].min()), until, int(known.size)), ()


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
    settings: Settings, spool: Path, database: Database | None, now: datetime
) -> tuple[tuple[Forecast, ...], Complaints, Issue | None]:
    """The first service's forecast that can be had with earlier issues from the store, and the one that came now."""
    complaints: list[Complaint] = []
    came: Issue | None = None
    place = settings.garden.place
    with access_to(settings, spool, now) as access:
        for name in settings.weather.forecasts:
            source, fetch = FORECASTERS[name]
            try:
                issue = fetch(access, place)
            except SourceError as fault:
                complaints.append(Complaint(f"{source.name} gave no forecast: {fault.what}", fault.where))
                continue
            days, doubtful = cleaned(issue.forecast.days, source.name)
            came = replace(issue, forecast=replace(issue.forecast, days=days))
            complaints += [*issue.complaints, *doubtful]
            break
    earlier = _earlier_issues(settings, database, now) if database is not None else ()
    newest = (came.forecast,) if came is not None else ()
    known = {(one.origin.key, one.issued): one for one in (*earlier, *newest)}
    return tuple(known.values()), tuple(complaints), came


def keep_observed_hours(settings: Settings, spool: Path, database: Database, now: datetime) -> None:
    """Keep the hours observed since the day before yesterday; what cannot be had now comes with a later morning."""
    with access_to(settings, spool, now) as access:
        try:
            found = observed_hours_of(access, settings, now - HOURS_LOOKED_BACK)
        except SourceError:
            return  # told by the night's own look at the same file
    if found is not None:
        keep_hours(database, found[0], found[1].first, _columns(found[1]))


def keep_coming_hours(database: Database, coming: Issue, place: Place) -> None:
    """Keep the hours of the newest issue, in place of those of the one before."""
    cell = forecast_cell(coming.forecast.origin, place)
    replace_hours(database, f"forecast {cell}", coming.hours.first, _columns(coming.hours))


def _columns(hours: Hours) -> dict[str, FloatArray]:
    return {name: getattr(hours, name) for name in HOURLY}


def _earlier_issues(settings: Settings, database: Database, now: datetime) -> tuple[Forecast, ...]:
    place = settings.garden.place
    origins = [FORECASTERS[name][0].origin for name in settings.weather.forecasts]
    return tuple(
        issue
        for origin in origins
        for issue in read_issues(database, origin, forecast_cell(origin, place), now - ISSUES_LOOKED_BACK, now)
    )


def forecast_cell(origin: Origin, place: Place) -> str:
    """What the store keeps an issue under: a forecast belongs to a spot, so that gardens side by side share it."""
    return f"{origin.key} {place.latitude_deg:.4f} {place.longitude_deg:.4f}"
