"""Payloads written for the tests, true to the form of the services' own, and a loopback server that can misbehave."""

import gzip
import json
import os
import ssl
import threading
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from haulm.garden import Place
from haulm.sources.http import Endpoints, Fetching, Http
from haulm.sources.spool import Access
from haulm.sources.stations import Station
from haulm.units import Display

NOW = datetime(2024, 4, 20, 5, 12, tzinfo=UTC)
Behaviour = Callable[[BaseHTTPRequestHandler, threading.Event], None]


@pytest.fixture
def now() -> datetime:
    return NOW


@pytest.fixture
def place() -> Place:
    return Place("Brackenford", 51.123456, -0.987654, 84.6, "Europe/London", Display.METRIC, 1.0)


@pytest.fixture
def station() -> Station:
    return Station("99901", "Brackenford Hill", 7.5, 30.0)


@pytest.fixture
def http() -> Iterator[Http]:
    with Http(Fetching(contact="grower@brackenford.example", retries=0)) as session:
        yield session


@pytest.fixture
def access_at(http: Http, tmp_path: Path) -> Callable[..., Access]:
    def at(when: datetime = NOW) -> Access:
        return Access(http, Endpoints(), tmp_path / "spool", when)

    return at


@pytest.fixture
def measured() -> Path:
    """The true payloads, where this machine has them."""
    folder = os.environ.get("HAULM_MEASURED_DATA")
    if not folder:
        pytest.skip("HAULM_MEASURED_DATA does not name the folder of true payloads")
    return Path(folder) / "payloads"


# Meteostat's bulk files

DAILY = ("temp", "tmin", "tmax", "rhum", "prcp", "snwd", "wspd", "wpgt", "pres", "tsun", "cldc")
HOURLY = ("temp", "rhum", "prcp", "snwd", "wdir", "wspd", "wpgt", "pres", "tsun", "cldc", "coco")


@pytest.fixture
def year_text() -> Callable[..., str]:
    """A bulk file's text from rows of {column: value or (value, source id)} by day or hour."""

    def text(rows: Mapping[date | datetime, Mapping[str, Any]], source: str = "dwd_daily") -> str:
        hourly = isinstance(next(iter(rows)), datetime)
        columns = HOURLY if hourly else DAILY
        lines = [",".join(["year,month,day", *(["hour"] if hourly else []), *(f"{c},{c}_source" for c in columns)])]
        for when, values in rows.items():
            clock = [when.year, when.month, when.day, *([when.hour] if isinstance(when, datetime) else [])]
            fields = []
            for column in columns:
                value = values.get(column, "")
                pair = value if isinstance(value, tuple) else (value, source if value != "" else "")
                fields += pair
            lines.append(",".join(str(one) for one in [*clock, *fields]))
        return "\n".join(lines) + "\n"

    return text


@pytest.fixture
def year_file(year_text: Callable[..., str]) -> Callable[..., bytes]:
    def packed(rows: Mapping[date | datetime, Mapping[str, Any]], source: str = "dwd_daily") -> bytes:
        return gzip.compress(year_text(rows, source).encode())

    return packed


@pytest.fixture
def spring() -> dict[date, dict[str, Any]]:
    """A plain run of days, 1 January to 18 April 2024, each different from the next."""
    days = [date(2024, 1, 1) + timedelta(days=i) for i in range(109)]
    return {
        day: {
            "tmin": i / 10,
            "tmax": i / 10 + 8,
            "prcp": float(i % 5),
            "rhum": 80.0,
            "wspd": 18.0,
            "wpgt": 36.0,
            "cldc": 4,
        }
        for i, day in enumerate(days)
    }


# MET Norway

MET_UNITS = {
    "air_temperature": "celsius",
    "air_temperature_max": "celsius",
    "air_temperature_min": "celsius",
    "cloud_area_fraction": "%",
    "dew_point_temperature": "celsius",
    "precipitation_amount": "mm",
    "relative_humidity": "%",
    "wind_speed": "m/s",
}


@pytest.fixture
def met_body() -> Callable[..., bytes]:
    """A Locationforecast of steps (instant, details, {"next_1_hours": …})."""

    def body(steps: list[tuple[datetime, dict[str, Any], dict[str, Any]]], **meta: Any) -> bytes:
        series = [
            {
                "time": f"{when:%Y-%m-%dT%H:%M:%SZ}",
                "data": {"instant": {"details": details}}
                | {key: {"summary": {"symbol_code": "cloudy"}, "details": told} for key, told in periods.items()},
            }
            for when, details, periods in steps
        ]
        head = {"updated_at": "2024-04-20T04:30:00Z", "units": MET_UNITS} | meta
        return json.dumps(
            {
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": [-0.9877, 51.1235, 85]},
                "properties": {"meta": head, "timeseries": series},
            }
        ).encode()

    return body


@pytest.fixture
def met_run() -> list[tuple[datetime, dict[str, Any], dict[str, Any]]]:
    """Hourly steps for 54 hours from 05 UTC, then six-hourly to the tenth day; the last step has no period."""
    first = datetime(2024, 4, 20, 5, tzinfo=UTC)

    def details(at: int) -> dict[str, Any]:
        return {
            "air_temperature": 10.0 + at % 24 / 10,
            "relative_humidity": 80.0,
            "dew_point_temperature": 6.5,
            "wind_speed": 3.0,
            "cloud_area_fraction": 25.0,
        }

    steps: list[tuple[datetime, dict[str, Any], dict[str, Any]]] = []
    for at in range(55):
        six = {"precipitation_amount": 0.6, "air_temperature_min": 9.0, "air_temperature_max": 12.5}
        periods = {"next_1_hours": {"precipitation_amount": 0.1}} | ({"next_6_hours": six} if at < 50 else {})
        steps.append((first + timedelta(hours=at), details(at), periods))
    far = first + timedelta(hours=55)
    for at in range(29):
        six = {"precipitation_amount": 1.2, "air_temperature_min": 4.0, "air_temperature_max": 15.0}
        steps.append((far + timedelta(hours=6 * at), details(55 + 6 * at), {"next_6_hours": six} if at < 28 else {}))
    return steps


# US National Weather Service


@pytest.fixture
def nws_points() -> Callable[[str], bytes]:
    def body(grid_url: str) -> bytes:
        return json.dumps(
            {"type": "Feature", "properties": {"gridId": "SAW", "gridX": 12, "gridY": 34, "forecastGridData": grid_url}}
        ).encode()

    return body


@pytest.fixture
def nws_grid() -> Callable[..., bytes]:
    """A forecast grid of layers {name: (unit, [(validTime, value), …])}."""

    def body(layers: Mapping[str, tuple[str, list[tuple[str, float | None]]]], **more: Any) -> bytes:
        told = {
            name: {"uom": unit, "values": [{"validTime": when, "value": value} for when, value in values]}
            for name, (unit, values) in layers.items()
        }
        head = {"updateTime": "2024-04-20T04:10:00+00:00", "snowLevel": {"values": []}}
        return json.dumps({"type": "Feature", "properties": head | told | more}).encode()

    return body


# NOAA NCEI


@pytest.fixture
def ncei_body() -> Callable[..., bytes]:
    def body(rows: Mapping[date, Mapping[str, str]], station: str = "XX000099901") -> bytes:
        return json.dumps([{"DATE": day.isoformat(), "STATION": station, **row} for day, row in rows.items()]).encode()

    return body


# A server that can misbehave


@pytest.fixture
def serve(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., str]]:
    """Start a server on loopback that answers each GET with the given behaviour; gives its address."""
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    over = threading.Event()
    servers: list[ThreadingHTTPServer] = []

    def start(behaviour: Behaviour, secure: ssl.SSLContext | None = None) -> str:
        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                try:
                    behaviour(self, over)
                except OSError:  # the client has gone, as it should
                    self.close_connection = True

            def log_message(self, format: str, *args: Any) -> None:  # noqa: A002
                pass

        server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        server.daemon_threads = True
        server.block_on_close = False
        server.handle_error = lambda request, client: None  # type: ignore[method-assign]  # a client that turns away
        if secure:
            server.socket = secure.wrap_socket(server.socket, server_side=True)
        threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True).start()
        servers.append(server)
        return f"http{'s' if secure else ''}://127.0.0.1:{server.server_port}"

    yield start
    over.set()
    for server in servers:
        server.shutdown()
        server.server_close()
