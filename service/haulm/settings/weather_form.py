"""The part of the settings file that says where the weather comes from: a file, or stations and forecast services."""

import re
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit

from pydantic import BeforeValidator, ValidationInfo, WithJsonSchema, field_validator

from haulm.settings.quantities import Count, FilePath, HourCount, Seconds, TemperatureC, Text, WarmthC, fault
from haulm.settings.table import Table, setting
from haulm.settings.web_address import on_this_machine

# Kept as words here so that reading settings does not import the numerical part; a test holds them to the catalogue.
STATION_SOURCES = {"meteostat": re.compile(r"[A-Za-z0-9]{2,12}"), "ncei": re.compile(r"[A-Za-z0-9]{11}")}
FORECAST_SOURCES = ("met-norway", "us-weather-service")
FILE_DELAY_HOURS = 6
_MORE_STATIONS = 5
_FORMS = {"meteostat": "meteostat:10637", "ncei": "ncei:USW00013722"}


def _listed(given: object) -> object:
    """A list; text with commas too, since the environment knows nothing else."""
    return tuple(part.strip() for part in given.split(",") if part.strip()) if isinstance(given, str) else given


Stations = Annotated[
    tuple[Text, ...],
    BeforeValidator(_listed),
    WithJsonSchema({"type": "array", "items": {"type": "string", "pattern": "^(meteostat|ncei):[A-Za-z0-9]{2,12}$"}}),
]
Forecasts = Annotated[
    tuple[Text, ...],
    BeforeValidator(_listed),
    WithJsonSchema({"type": "array", "items": {"enum": list(FORECAST_SOURCES)}}),
]


class NetworkTable(Table):
    """How the weather services are asked."""

    meteostat_daily: Text = setting(
        "https://data.meteostat.net/daily/{year}/{station}.csv.gz",
        "Meteostat's days, one file a year and station.",
        "judgement: the service's own address",
    )
    meteostat_hourly: Text = setting(
        "https://data.meteostat.net/hourly/{year}/{station}.csv.gz",
        "Meteostat's hours, one file a year and station.",
        "judgement: the service's own address",
    )
    meteostat_station: Text = setting(
        "https://data.meteostat.net/stations/{station}.json",
        "Meteostat's description of one station.",
        "judgement: the service's own address",
    )
    meteostat_stations: Text = setting(
        "https://data.meteostat.net/stations.db",
        "Meteostat's list of all stations, which haulm init searches.",
        "judgement: the service's own address",
    )
    met_norway: Text = setting(
        "https://api.met.no/weatherapi/locationforecast/2.0/complete",
        "The forecast of MET Norway.",
        "judgement: the service's own address",
    )
    us_weather_service: Text = setting(
        "https://api.weather.gov/points/{latitude},{longitude}",
        "Where the US service tells the grid of a place.",
        "judgement: the service's own address",
    )
    ncei: Text = setting(
        "https://www.ncei.noaa.gov/access/services/data/v1",
        "The daily summaries of NOAA NCEI.",
        "judgement: the service's own address",
    )
    connect_seconds: Seconds = setting(
        10, "How long a server may take to answer the door.", "judgement", low=0.1, high=120
    )
    read_seconds: Seconds = setting(
        30, "How long a server may be silent within an answer.", "judgement", low=0.1, high=300
    )
    total_seconds: Seconds = setting(
        120,
        "How long one request may take with all its tries; a server that overruns is left alone that morning.",
        "judgement",
        low=0.1,
        high=900,
    )
    retries: Count = setting(4, "How often a request that failed is tried again.", "judgement", low=0, high=10)
    retry_wait_seconds: Seconds = setting(
        1, "The wait before the second retry; each one after waits twice as long.", "judgement", low=0, high=60
    )
    retry_longest_seconds: Seconds = setting(
        30, "The longest wait that a server may ask for between tries.", "judgement", low=0, high=600
    )
    most_megabytes: Count = setting(
        32, "No answer may be longer; the list of all stations has several.", "judgement", low=1, high=512
    )

    @field_validator(
        "meteostat_daily",
        "meteostat_hourly",
        "meteostat_station",
        "meteostat_stations",
        "met_norway",
        "us_weather_service",
        "ncei",
    )
    @classmethod
    def _a_web_address(cls, url: str, info: ValidationInfo) -> str:
        try:
            parts = urlsplit(url)
            host = parts.hostname or ""
        except ValueError as error:
            raise fault("is not a web address, like https://weather.example.org/daily") from error
        if parts.scheme not in {"http", "https"} or not host or re.search(r"\s", url):
            raise fault("is not a web address, like https://weather.example.org/daily")
        if parts.scheme == "http" and not on_this_machine(host):
            raise fault("must begin with https:// unless it is on this machine")
        _check_places(url, str(cls.model_fields[str(info.field_name)].default))
        return url


def _check_places(url: str, usual: str) -> None:
    wanted, written = (set(re.findall(r"\{(.*?)\}", text)) for text in (usual, url))
    if wanted != written or url.count("{") != url.count("}") or url.count("{") != len(written):
        named = " and ".join(f"{{{name}}}" for name in sorted(wanted)) or "nothing in { }"
        raise fault(f"must hold {named}, each once, as {usual} does")


class WeatherTable(Table):
    """Where the weather comes from."""

    source: Literal["file", "stations"] = setting(
        "file",
        "A file of station days beside this one, or stations and forecasts that haulm fetches itself.",
        "judgement",
    )
    file: FilePath | None = setting(
        None, "Of source file: the station's days; a relative path starts at this file.", example="brackenford.csv"
    )
    layout: Literal["house", "ghcn"] = setting(
        "house", "How the file is laid out: in the house's own columns, or as GHCN daily.", "judgement"
    )
    units: Literal["metric", "tenths", "us"] = setting(
        "metric", "The units in it: C and mm, tenths of those, or F and inches.", "judgement"
    )
    forecast_file: FilePath | None = setting(
        None,
        "Of source file: its forecasts, a file of the same form with a column issued; without one, none is foretold.",
        example="brackenford-forecast.csv",
    )
    hours_file: FilePath | None = setting(
        None,
        "Of source file: the station's hours (instant,air_c,humidity_pct), for blight weather and the evening's look.",
        example="brackenford-hours.csv",
    )
    station: Text | None = setting(
        None, "Of source file: what the letter calls the station.", example="Brackenford station"
    )
    stations: Stations = setting(
        (),
        "Of source stations: where days come from, the best first; others fill its gaps and may have the nearer "
        "rain gauge. haulm init finds them.",
        example=["meteostat:10637", "ncei:USW00013722"],
        range="meteostat:KEY or ncei:KEY, at most 5",
    )
    forecasts: Forecasts = setting(
        (),
        "Of source stations: whose forecast, the best first; the next is asked only where that one fails. "
        "us-weather-service serves the United States.",
        example=["met-norway"],
        range="met-norway, us-weather-service",
    )
    usual_delay_hours: HourCount | None = setting(
        None,
        "How long after the end of a day the station usually has it; without this key 6 for a file, and what "
        "its service is known for otherwise (a day at Meteostat, three at NCEI).",
        low=0,
        high=240,
        example=6,
    )
    contact: Text | None = setting(
        None,
        "An address at which weather services can reach you; they ask every program for one. Needed for source "
        "stations.",
        example="grower@example.org",
    )
    mean_air_c: TemperatureC | None = setting(
        None, "The year's mean, for a place whose record is short.", low=-15.0, high=35.0, example="45 F"
    )
    mean_range_c: WarmthC | None = setting(
        None,
        "From the coldest day of the mean year to the warmest; goes with mean_air.",
        low=0.0,
        high=60.0,
        example="55 F",
    )
    network: NetworkTable = setting({}, "How the weather services are asked: for a mirror, a slow line, or a test.")

    @field_validator("file")
    @classmethod
    def _a_file_to_read(cls, file: Any, info: ValidationInfo) -> Any:
        if file is None and info.data.get("source") == "file":
            what = 'is missing: the station\'s days; for example file = "brackenford.csv", or source = "stations"'
            raise fault(what, show=False, beside="source")
        return file

    @field_validator("stations")
    @classmethod
    def _known_stations(cls, stations: tuple[str, ...], info: ValidationInfo) -> tuple[str, ...]:
        for station in stations:
            _check_station(station)
        if len(set(stations)) != len(stations):
            raise fault("names a station twice")
        if len(stations) > _MORE_STATIONS:
            raise fault(f"names {len(stations)} stations; write at most {_MORE_STATIONS}, the best first")
        if not stations and info.data.get("source") == "stations":
            what = 'is missing: name one or more, like ["meteostat:10637"]; haulm init shows those near you'
            raise fault(what, show=False, beside="source")
        return stations

    @field_validator("forecasts")
    @classmethod
    def _known_forecasts(cls, forecasts: tuple[str, ...]) -> tuple[str, ...]:
        for name in forecasts:
            if name not in FORECAST_SOURCES:
                raise fault(f'"{name}" is none of {", ".join(FORECAST_SOURCES)}')
        if len(set(forecasts)) != len(forecasts):
            raise fault("names a service twice")
        return forecasts

    @field_validator("contact")
    @classmethod
    def _reachable(cls, contact: str | None, info: ValidationInfo) -> str | None:
        if contact is None and info.data.get("source") == "stations":
            what = "is missing: the weather services ask who is asking; write an address that reaches you"
            raise fault(what, show=False, beside="source")
        if contact is not None and not (contact.isascii() and contact.isprintable()):
            raise fault("must be plain letters on one line, since it is sent with every request")
        return contact

    @field_validator("mean_range_c")
    @classmethod
    def _both_or_neither(cls, mean_range: float | None, info: ValidationInfo) -> float | None:
        if "mean_air_c" in info.data and (mean_range is None) != (info.data["mean_air_c"] is None):
            raise fault("mean_air and mean_range go together: write both or neither", show=False, beside="mean_air")
        return mean_range


def _check_station(station: str) -> None:
    source, colon, key = station.partition(":")
    if not colon or source not in STATION_SOURCES:
        raise fault(f'"{station}" does not say whose station it is; write it like "meteostat:10637"')
    if not STATION_SOURCES[source].fullmatch(key):
        raise fault(f'"{key}" cannot be a station of {source}; its stations are written like "{_FORMS[source]}"')
