"""The weather services on loopback, one address for all, each of which can fail in every way that is named here."""

import gzip
import threading
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

from sky import Sky, points

# By the first part of the path. The list of all stations is asked for by `haulm init` alone, no morning reads it.
SOURCES = {
    "daily": "station's days", "hourly": "station's hours", "stations": "station's description",
    "ncei": "second station's days", "forecast": "first forecast", "points": "second forecast's grid point",
    "grid": "second forecast",
}  # fmt: skip
STATUSES = {"404": 404, "429": 429, "500": 500}
WAYS = (*STATUSES, "hang", "drip", "truncation", "garbage", "wrong charset", "stale", "future", "schema change")
STALE = {"forecast": timedelta(days=3), "grid": timedelta(days=3)}
AHEAD_DAYS = 4


class _Server(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request: Any, client_address: Any) -> None:  # the client has gone
        pass


class Services:
    """`now` is the true instant; `faults` says how a source fails, `struck` counts how often that was met."""

    def __init__(self, sky: Sky) -> None:
        self.sky, self.now = sky, datetime(2027, 1, 1, tzinfo=UTC)
        self.faults: dict[str, str] = {}
        self.struck: Counter[tuple[str, str]] = Counter()
        self.asked: Counter[str] = Counter()
        self.over = threading.Event()
        self._server = _Server(("127.0.0.1", 0), _handler(self))
        self.address = f"http://127.0.0.1:{self._server.server_port}"
        threading.Thread(target=self._server.serve_forever, args=(0.1,), daemon=True).start()

    def close(self) -> None:
        """Stop answering."""
        self.over.set()
        self._server.shutdown()
        self._server.server_close()

    @property
    def environ(self) -> dict[str, str]:
        """What points haulm here, with patience of parts of a second."""
        table = {
            "METEOSTAT_DAILY": "/daily/{year}/{station}.csv.gz", "METEOSTAT_HOURLY": "/hourly/{year}/{station}.csv.gz",
            "METEOSTAT_STATION": "/stations/{station}.json", "METEOSTAT_STATIONS": "/list.db", "NCEI": "/ncei",
            "MET_NORWAY": "/forecast", "US_WEATHER_SERVICE": "/points/{latitude},{longitude}",
        }  # fmt: skip
        told = {"CONNECT_SECONDS": "0.4", "READ_SECONDS": "0.3", "TOTAL_SECONDS": "0.9", "RETRIES": "1"}
        told |= {"RETRY_WAIT_SECONDS": "0.05", "RETRY_LONGEST_SECONDS": "0.1"}
        told |= {name: self.address + path for name, path in table.items()}
        return {f"HAULM_WEATHER__NETWORK__{name}": value for name, value in told.items()}

    def answer(self, source: str, path: str, query: dict[str, list[str]]) -> bytes | None:
        """The body for a request, as the source's own fault has it; None for 404."""
        way = self.faults.get(source, "")
        now = self.now - STALE.get(source, timedelta(days=12)) if way == "stale" else self.now
        renamed, ahead = way == "schema change", AHEAD_DAYS if way == "future" else 0
        year = int(path.split("/")[2]) if source in {"daily", "hourly"} else 0
        body: bytes | None
        if source == "daily":
            body = self.sky.daily(year, now, ahead=ahead, renamed=renamed)
        elif source == "hourly":
            body = self.sky.hourly(year, now, ahead=ahead, renamed=renamed)
        elif source == "ncei":
            body = self.sky.ncei(int(query["startDate"][0][:4]), now, ahead=ahead, renamed=renamed)
        elif source == "stations":
            body = self.sky.described(renamed=renamed)
        elif source == "points":
            body = points(self.address, renamed=renamed)
        else:
            made: Callable[..., bytes] = self.sky.met if source == "forecast" else self.sky.grid
            body = made(now, renamed=renamed, ahead=ahead)
        return _in_another_charset(body) if way == "wrong charset" and body else body


def _in_another_charset(body: bytes) -> bytes:
    packed = body.startswith(b"\x1f\x8b")
    text = (gzip.decompress(body) if packed else body).decode()
    return gzip.compress(text.encode("utf-16")) if packed else text.encode("utf-16")


def _handler(services: Services) -> type[BaseHTTPRequestHandler]:  # noqa: C901  a class within
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            parts = urlsplit(self.path)
            source = parts.path.split("/")[1]
            services.asked[source] += 1
            way = services.faults.get(source, "")
            if way:
                services.struck[source, way] += 1
            try:
                self._answer(source, way, parts.path, parse_qs(parts.query))
            except OSError:  # the client has gone
                self.close_connection = True

        def _answer(self, source: str, way: str, path: str, query: dict[str, list[str]]) -> None:
            if way in STATUSES:
                self._whole(STATUSES[way], b"")
            elif way == "hang":
                services.over.wait(0.6)
                self.close_connection = True
            else:
                body = services.answer(source, path, query) if source in SOURCES else None
                if way == "garbage":
                    body = bytes((17 * k * k + 91) % 256 for k in range(3000))
                if body is None:
                    self._whole(404, b"")
                elif way in {"drip", "truncation"}:
                    self._broken(body, way)
                else:
                    self._whole(200, body)

        def _head(self, status: int, length: int) -> None:
            self.send_response(status)
            self.send_header("Content-Length", str(length))
            if status == 200:
                told = services.now.astimezone(UTC).replace(microsecond=0)
                self.send_header("Last-Modified", format_datetime(told, usegmt=True))
                self.send_header("Expires", format_datetime(told + timedelta(minutes=30), usegmt=True))
            self.end_headers()

        def _whole(self, status: int, body: bytes) -> None:
            self._head(status, len(body))
            self.wfile.write(body)

        def _broken(self, body: bytes, way: str) -> None:
            self.close_connection = True
            self._head(200, len(body))
            if way == "truncation":
                self.wfile.write(body[: len(body) // 2])
                return
            for k in range(12):
                self.wfile.write(body[k : k + 1])
                self.wfile.flush()
                if services.over.wait(0.1):
                    return

        def log_message(self, format: str, *words: object) -> None:  # noqa: A002
            pass

    return Handler
