"""Finding and describing Meteostat's stations: the list of all, fetched by ourselves, searched by the library."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np

from haulm.errors import Complaint, SourceError
from haulm.garden import Place
from haulm.patience import within
from haulm.sources.catalogue import METEOSTAT
from haulm.sources.meteostat_files import daily_reading
from haulm.sources.payload import Json, number, part, read_json, table
from haulm.sources.readings import Reading
from haulm.sources.spool import Access, Kept, Wanted, kept, obtain
from haulm.sources.stations import Station, check_key, distance_km

LIST_NOT_WITHIN = timedelta(days=30)
DESCRIPTION_NOT_WITHIN = timedelta(days=30)
YEAR_DAYS = 365
SEARCH_PATIENCE_S = 20.0  # a true list of 16,000 stations is searched within a second
_SQLITE = b"SQLite format 3\x00"


@dataclass(frozen=True, slots=True)
class Candidate:
    """A station near a garden, for a person to choose by.

    `last_day` is the newest observed day, None if its files could not be had; `air_share` and `rain_share` are the
    shares of the last 365 days with both air temperatures, and with rain; `trouble` says why nothing is known.
    """

    station: Station
    last_day: date | None
    air_share: float
    rain_share: float
    trouble: str = ""


def nearby(access: Access, place: Place, radius_km: float = 50.0, most: int = 5) -> tuple[Candidate, ...]:
    """The stations nearest to a garden, nearest first, each with how well it reports.

    Raises
    ------
    SourceError
        The list of stations could not be had, or none lies within the radius.
    """
    held = station_list(access)
    rows = _searched(held.path, lambda: _within(held.path, place, radius_km, most))
    if not rows:
        raise SourceError(
            f"no weather station within {radius_km:g} km of {place.latitude_deg:g}, {place.longitude_deg:g}",
            where=METEOSTAT.name,
            remedy="Check that latitude comes first, and that west and south are negative. "
            "Else look farther: haulm init --within 150.",
        )
    today = place.day_of(access.now)
    return tuple(_candidate(access, _station(row, place), today) for row in rows)


def describe(access: Access, key: str, place: Place) -> Station:
    """One station as it lies to a garden.

    Raises
    ------
    SourceError
        Its description could not be had, now or before, or not be read.
    """
    url = access.endpoints.meteostat_station.format(station=check_key(key))
    what = f"{METEOSTAT.name}, description of station {key}"
    name = f"meteostat/stations/{key}.json"
    try:
        held = obtain(access, Wanted(name, url, what, _check_description, not_within=DESCRIPTION_NOT_WITHIN))
    except SourceError:
        last = kept(access.spool, name)  # stations hardly move
        if last is None:
            raise
        held = last
    return parse_description(held.body, key, place)


def parse_description(body: bytes, key: str, place: Place) -> Station:
    """A station from its description in JSON (form from memory: name by language, location with elevation).

    Raises
    ------
    SourceError
        It has not that form.
    """
    where = f"{METEOSTAT.name}, description of station {key}"
    told = read_json(body, where)
    location = part(told, "location", where)
    latitude, longitude = (number(part(location, axis, where), where) for axis in ("latitude", "longitude"))
    names = table(told, "name", where)
    name = names.get("en") or next(iter(names.values()), key)
    elevation = number(location.get("elevation"), where)
    height = None if np.isnan(elevation) else elevation - place.elevation_m
    return Station(key, str(name), distance_km(latitude, longitude, place), height)


def station_list(access: Access) -> Kept:
    """The list of all stations, a database of some megabytes.

    Raises
    ------
    SourceError
        It could not be had, or what came is no such database or not the whole of it.
    """
    what = f"{METEOSTAT.name}, list of stations"
    url = access.endpoints.meteostat_stations
    return obtain(access, Wanted("meteostat/stations.db", url, what, _check_list, not_within=LIST_NOT_WITHIN))


def _check_description(body: bytes, where: str) -> bytes:
    part(read_json(body, where), "location.latitude", where)
    return body


def _check_list(body: bytes, where: str) -> bytes:
    """A SQLite file, as long as its header says (bytes 16-17 page size, 28-31 page count; sqlite.org/fileformat2)."""
    if not body.startswith(_SQLITE):
        raise SourceError("the list of stations is no SQLite database", where=where)
    page = int.from_bytes(body[16:18], "big")
    size = (65536 if page == 1 else page) * int.from_bytes(body[28:32], "big")
    if len(body) < size:
        raise SourceError(f"the list of stations is cut off: {len(body)} of {size} bytes", where=where)
    return body


def _searched(path: Path, search: Callable[[], list[Json]], patience_s: float = SEARCH_PATIENCE_S) -> list[Json]:
    """What a search finds, waited for no longer than it may take: ten megabytes can ask for work without end."""
    try:
        return within(patience_s, search)
    except TimeoutError as fault:
        what = "the list of stations cannot be searched in good time"
        raise SourceError(what, where=str(path), remedy="Delete it, or name a station by its key.") from fault


def _within(path: Path, place: Place, radius_km: float, most: int) -> list[Json]:
    meteostat = import_module("meteostat")
    before = meteostat.config.stations_db_file, meteostat.config.stations_db_ttl
    meteostat.config.stations_db_file = str(path)
    # Else the library, finding the file old, would fetch another in its own way, and write over ours.
    meteostat.config.stations_db_ttl = 100 * YEAR_DAYS * 86400
    try:
        point = meteostat.Point(place.latitude_deg, place.longitude_deg)
        frame = meteostat.stations.nearby(point, radius=round(radius_km * 1000), limit=most)
    except ValueError as error:
        raise SourceError(f"the place cannot be looked up: {error}", where=METEOSTAT.name) from error
    except import_module("pandas").errors.DatabaseError as error:
        raise SourceError("the list of stations cannot be searched", where=str(path), remedy="Delete it.") from error
    finally:
        meteostat.config.stations_db_file, meteostat.config.stations_db_ttl = before
    found: list[Any] = frame.reset_index().to_dict("records")
    return found


def _station(row: Json, place: Place) -> Station:
    elevation = float("nan") if row["elevation"] is None else float(row["elevation"])
    height = None if np.isnan(elevation) else elevation - place.elevation_m
    return Station(str(row["id"]), str(row["name"]), float(row["distance"]) / 1000.0, height)


def _candidate(access: Access, station: Station, today: date) -> Candidate:
    try:
        reading = daily_reading(access, station, (today.year - 1, today.year), today)
    except SourceError as error:
        return Candidate(station, None, 0.0, 0.0, error.what)
    return _graded(station, reading, today)


def _graded(station: Station, reading: Reading, today: date) -> Candidate:
    days = reading.record.days
    yesterday = today - timedelta(days=1)
    year = days.cut(yesterday - timedelta(days=YEAR_DAYS - 1), yesterday)
    air = np.isfinite(year.air_min_c) & np.isfinite(year.air_max_c)
    told = np.flatnonzero(np.isfinite(days.air_min_c) & np.isfinite(days.air_max_c))
    last = days.first + timedelta(days=int(told[-1])) if told.size else None
    rain_share = float(np.isfinite(year.rain_mm).mean())
    return Candidate(station, last, float(air.mean()), rain_share, _first(reading.complaints))


def _first(complaints: Sequence[Complaint]) -> str:
    return complaints[0].what if complaints else ""
