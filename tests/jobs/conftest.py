"""A loopback world: weather services true to form, a mail server that takes letters, and settings that name them."""

import gzip
import importlib.util
import json
import sqlite3
import sys
import threading
from datetime import UTC, date, datetime, timedelta
from email import message_from_bytes, policy
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from aiosmtpd.controller import Controller

from haulm.jobs.engine import Here
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.write_chunk import Unwritten
from haulm.settings.fill import filled, text_value
from haulm.sources.invented import invented_record

HEADER = "year,month,day,temp,temp_source,tmin,tmin_source,tmax,tmax_source,rhum,rhum_source,prcp,prcp_source"
BEGINS = date(2022, 1, 1)
OFFICE = Path(__file__).parents[1] / "speed" / "office.py"


class World:
    """What the services know: `today` moves, and everything can be down."""

    def __init__(self, folder):
        self.today = date(2027, 5, 4)
        self.down = False
        self.hourly = True
        self.hour, self.issued_hour = 4, 3  # UTC: up to when hours are observed, and when the forecast was issued
        self.asked = []
        self.days = invented_record("brackenford", BEGINS, date(2027, 6, 1), 7).days
        self._stations = folder / "stations.db"
        _write_stations(self._stations)

    def answer(self, path):
        """The body for a path, or None for 404."""
        self.asked.append(path)
        if path == "/stations.db":
            return self._stations.read_bytes()
        if path.startswith("/stations/"):
            return json.dumps(_described()).encode()
        if path.startswith("/daily/"):
            return self._year(int(path.split("/")[2]))
        if path.startswith("/hourly/"):
            return self._hours(int(path.split("/")[2]))
        if path == "/forecast":
            return json.dumps(self._forecast()).encode()
        return None

    def _year(self, year):
        first, last = max(date(year, 1, 1), BEGINS), min(date(year, 12, 31), self.today - timedelta(days=1))
        if first > last:
            return None
        rows = [HEADER]
        for k in range((last - first).days + 1):
            day = first + timedelta(days=k)
            low, high, rain = (self.days.of(n).at(day) for n in ("air_min_c", "air_max_c", "rain_mm"))
            rows.append(
                f"{day.year},{day.month},{day.day},{(low + high) / 2:.1f},dwd_daily,{low},dwd_daily,{high},dwd_daily,"
                f"80,dwd_daily,{rain},dwd_daily"
            )
        return gzip.compress(("\n".join(rows) + "\n").encode())

    def _hours(self, year):
        if not self.hourly or year != self.today.year:
            return None
        rows = ["year,month,day,hour,temp,temp_source,rhum,rhum_source"]
        start = datetime(self.today.year, self.today.month, self.today.day, self.hour, tzinfo=UTC) - timedelta(hours=60)
        for hour in range(61):
            at = start + timedelta(hours=hour)
            warm = 3.0 + abs(at.hour - 4) * 0.5
            rows.append(f"{at.year},{at.month},{at.day},{at.hour},{warm},dwd_hourly,90,dwd_hourly")
        return gzip.compress(("\n".join(rows) + "\n").encode())

    def _forecast(self):
        issued = datetime(self.today.year, self.today.month, self.today.day, self.issued_hour, tzinfo=UTC)
        steps = []
        for hour in range(72):
            at = issued + timedelta(hours=hour)
            low, high = (self.days.of(n).at(at.date()) for n in ("air_min_c", "air_max_c"))
            warm = low + (high - low) * max(0.0, 1.0 - abs(at.hour - 14) / 10.0)
            steps.append(_step(at, warm))
        units = {
            "air_temperature": "celsius", "relative_humidity": "%", "wind_speed": "m/s",
            "cloud_area_fraction": "%", "precipitation_amount": "mm", "dew_point_temperature": "celsius",
        }  # fmt: skip
        meta = {"updated_at": issued.strftime("%Y-%m-%dT%H:%M:%SZ"), "units": units}
        point = {"type": "Point", "coordinates": [-3.0, 52.5, 140]}
        return {"type": "Feature", "geometry": point, "properties": {"meta": meta, "timeseries": steps}}


def _step(at, warm):
    details = {
        "air_temperature": round(warm, 1), "relative_humidity": 80.0, "wind_speed": 3.0,
        "cloud_area_fraction": 60.0, "dew_point_temperature": round(warm - 3.0, 1),
    }  # fmt: skip
    hour = {"details": {"precipitation_amount": 0.1}, "summary": {"symbol_code": "cloudy"}}
    return {"time": at.strftime("%Y-%m-%dT%H:%M:%SZ"), "data": {"instant": {"details": details}, "next_1_hours": hour}}


def _described():
    return {
        "id": "99901", "country": "GB", "region": "", "name": {"en": "Brackenford Hill"},
        "location": {"latitude": 52.55, "longitude": -3.05, "elevation": 180}, "timezone": "Europe/London",
    }  # fmt: skip


def _write_stations(path):
    with sqlite3.connect(path) as made:
        made.execute(
            "CREATE TABLE stations (id TEXT PRIMARY KEY, country TEXT, region TEXT, latitude REAL, longitude REAL,"
            " elevation INTEGER, timezone TEXT)"
        )
        made.execute("CREATE TABLE names (station TEXT, language TEXT, name TEXT)")
        made.execute("CREATE TABLE identifiers (station TEXT, key TEXT, value TEXT)")
        made.execute("INSERT INTO stations VALUES ('99901', 'GB', '', 52.55, -3.05, 180, 'Europe/London')")
        made.execute("INSERT INTO names VALUES ('99901', 'en', 'Brackenford Hill')")
    made.close()


@pytest.fixture
def world(tmp_path):
    return World(tmp_path)


@pytest.fixture
def services(world):
    """The address of the loopback services."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            body = None if world.down else world.answer(urlsplit(self.path).path)
            status = 503 if world.down else 200 if body is not None else 404
            self.send_response(status)
            self.send_header("Content-Length", str(len(body or b"")))
            self.end_headers()
            self.wfile.write(body or b"")

        def log_message(self, *words):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()


@pytest.fixture
def network(services):
    """The environment that points every service at the loopback ones, without waits."""
    table = {
        "METEOSTAT_DAILY": services + "/daily/{year}/{station}.csv.gz",
        "METEOSTAT_HOURLY": services + "/hourly/{year}/{station}.csv.gz",
        "METEOSTAT_STATION": services + "/stations/{station}.json",
        "METEOSTAT_STATIONS": services + "/stations.db",
        "MET_NORWAY": services + "/forecast",
        "US_WEATHER_SERVICE": services + "/points/{latitude},{longitude}",
        "NCEI": services + "/ncei",
        "RETRIES": "0",
        "READ_SECONDS": "2",
        "TOTAL_SECONDS": "5",
    }
    return {f"HAULM_WEATHER__NETWORK__{key}": value for key, value in table.items()}


class Postman:
    """Takes letters; `hold` keeps the door shut after the greeting of a letter."""

    def __init__(self):
        self.letters = []
        self.hold = threading.Event()
        self.knocked = threading.Event()

    async def handle_MAIL(self, server, session, envelope, address, mail_options):  # noqa: N802
        self.knocked.set()
        if self.hold.is_set():
            return "451 not now"
        envelope.mail_from = address
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        self.letters.append(message_from_bytes(envelope.content, policy=policy.default))
        return "250 OK"


@pytest.fixture
def postman():
    return Postman()


@pytest.fixture
def mail_port(postman, free_port):
    controller = Controller(postman, hostname="127.0.0.1", port=free_port)
    controller.start()
    yield free_port
    controller.stop()


@pytest.fixture
def free_port():
    import socket  # noqa: PLC0415

    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        return held.getsockname()[1]


@pytest.fixture
def settings_file(tmp_path, mail_port):
    """A garden that fetches its weather from the loopback services and mails its letters."""
    values = {
        "place": {
            "name": text_value("Brackenford"), "latitude": "52.5", "longitude": "-3.0", "elevation": '"140 m"',
            "zone": '"Europe/London"', "units": '"metric"',
        },
        "beds.gatebed": {"length": '"2.4 m"', "width": '"1.2 m"', "texture": '"loam"'},
        "plantings.gate-early": {
            "bed": '"gatebed"', "maturity": '"early"', "season": '"spring"', "window_first": "2027-04-10",
            "window_last": "2027-06-05",
        },
        "recipients.me": {"name": '"Grower"', "address": '"grower@example.org"'},
        "weather": {
            "source": '"stations"', "stations": '["meteostat:99901"]', "forecasts": '["met-norway"]',
            "contact": '"grower@example.org"',
        },
        "post": {},
        "post.mail": {
            "host": '"127.0.0.1"', "port": str(mail_port), "security": '"none"', "sender": '"haulm@example.org"',
        },
    }  # fmt: skip
    file = tmp_path / "haulm.toml"
    file.write_text(filled(values), encoding="utf-8")
    return file


@pytest.fixture(scope="session")
def kill_points():
    """What ends haulm at each of its steps, and the processes it takes."""
    spec = importlib.util.spec_from_file_location("kill_points", Path(__file__).parent / "kill" / "points.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["kill_points"] = module
    spec.loader.exec_module(module)
    killer = module.Killer()
    yield killer
    killer.end()


@pytest.fixture(scope="session")
def drawn():
    spec = importlib.util.spec_from_file_location("office", OFFICE)
    module = importlib.util.module_from_spec(spec)
    sys.modules["office"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def office(tmp_path, drawn):
    """Makes an office of five gardens at two places; its settings and its memory."""

    def make(common="", beds=10, stations=2, name="office"):
        folder, state = tmp_path / name, tmp_path / f"{name}-state"
        common = f"[letter]\npicture = false\n[post]\nlog = false\n{common}"
        drawn.make_office(folder, state, drawn.Office(beds, stations), common)
        return folder, StateFolder(state)

    make.morning = drawn.MORNING
    return make


@pytest.fixture
def clumsy():
    """An engine that cannot write the first letter of each chunk."""

    class Clumsy(Here):
        def submit(self, work, task):
            def result():
                found = work(task)
                found[0][0] = Unwritten("a fault of haulm's own")
                return found

            return result

    return Clumsy()
