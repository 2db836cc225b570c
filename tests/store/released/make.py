"""Make the dump of a store as an older haulm left it, with that haulm's own code and the invented scenario.

From a checkout of the commit, in an environment that has its dependencies and aiosmtpd:
``PYTHONPATH=CHECKOUT/service python make.py CHECKOUT DUMP.sql``. It reads the checkout's own loopback services.
"""

import importlib.util
import os
import sqlite3
import sys
import tempfile
import threading
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import urlsplit

from aiosmtpd.controller import Controller

from haulm.jobs.morning import morning
from haulm.jobs.notes import note, withdraw
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import load
from haulm.sources.invented import invented_record
from haulm.store.journal_file import read_journal

HERE, FIRST, PORT = Path(__file__).parent, date(2027, 5, 2), 2525
HEAD = ("application_id", "user_version")  # what the library's own dump leaves out
NETWORK = {
    "METEOSTAT_DAILY": "/daily/{year}/{station}.csv.gz",
    "METEOSTAT_HOURLY": "/hourly/{year}/{station}.csv.gz",
    "METEOSTAT_STATION": "/stations/{station}.json",
    "METEOSTAT_STATIONS": "/stations.db",
    "MET_NORWAY": "/forecast",
}


def services(checkout, folder):
    """The checkout's loopback weather services, begun this year so that the dump stays short; and their addresses."""
    spec = importlib.util.spec_from_file_location("of_the_checkout", checkout / "tests" / "jobs" / "conftest.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    module.BEGINS = date(2027, 2, 1)
    world = module.World(folder)

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            body = world.answer(urlsplit(self.path).path)
            self.send_response(200 if body is not None else 404)
            self.send_header("Content-Length", str(len(body or b"")))
            self.end_headers()
            self.wfile.write(body or b"")

        def log_message(self, *words):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    base = f"http://127.0.0.1:{server.server_port}"
    environ = {f"HAULM_WEATHER__NETWORK__{key}": base + path for key, path in NETWORK.items()}
    return world, module.Postman(), environ | {"HAULM_WEATHER__NETWORK__RETRIES": "0"}


def write_weather(path):
    days = invented_record("sallow-wells", date(2027, 1, 1), date(2027, 6, 1), 7).days
    rows = ["date,air_min_c,air_max_c,rain_mm"]
    for back in range(90, 0, -1):
        day = FIRST - timedelta(days=back)
        rows.append(",".join(str(value) for value in (day, *(days.of(n).at(day) for n in rows[0].split(",")[1:]))))
    path.write_text("\n".join(rows) + "\n")


def live(checkout, folder):
    """Three days of both gardens: notes, mornings, where there are any evenings, and a mail that could not go."""
    world, postman, environ = services(checkout, folder)
    for name in ("brackenford.toml", "sallow-wells.toml"):
        (folder / name).write_bytes((HERE / name).read_bytes())
    write_weather(folder / "weather.csv")
    state = StateFolder(folder / "state")
    north, south = load(folder / "brackenford.toml", environ), load(folder / "sallow-wells.toml")
    post = Controller(postman, hostname="127.0.0.1", port=PORT)
    post.start()
    for number in range(3):
        day = FIRST + timedelta(days=number)
        world.today = day
        now = datetime(day.year, day.month, day.day, 5, 30, tzinfo=UTC)
        if number == 0:
            take_notes(north, south, state, now)
        if number == 2:
            post.stop()
        for settings in (north, south):
            morning(settings, state, now + timedelta(hours=0 if settings is north else 8))
        with suppress(ImportError):
            from haulm.jobs.evening import evening  # noqa: PLC0415

            evening(north, state, now + timedelta(hours=11))
    with suppress(ImportError):
        answer(state, north, now)
    return state.store


def take_notes(north, south, state, now):
    note(north.garden, state, "gatebed", "planted", now=now, day=date(2027, 4, 16))
    note(north.garden, state, "gatebed", "soil 9 C", now=now)
    note(south.garden, state, "southbed", "planted", now=now, day=date(2027, 2, 8))
    note(south.garden, state, "southbed", "watered 12 mm", now=now)
    wrong = read_journal(state.journal(south.garden))[0].entries[-1]
    withdraw(south.garden, state, wrong.id, now)


def answer(state, settings, now):
    """What an answer by mail leaves behind."""
    from haulm.store.answers import Heard, keep_heard, keep_place, signing_key  # noqa: PLC0415
    from haulm.store.database import open_database  # noqa: PLC0415

    said = Heard(
        "<a1@example.org>", 0, now, "grower@example.org", "gatebed", "soil 52", "ask", "not clear", ("soil 52 F",)
    )
    with open_database(state.store) as database:
        signing_key(database, now)
        keep_heard(database, settings.garden.key, [said])
        keep_place(database, f"{settings.garden.key} mailbox", 17, 4)


def dump(store):
    with sqlite3.connect(store) as connection:
        head = [
            f"PRAGMA {n} = {connection.execute(f'PRAGMA {n}').fetchone()[0]};"
            for n in ("application_id", "user_version")
        ]
        lines = [*head, *connection.iterdump()]
    connection.close()
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        os.environ["MPLCONFIGDIR"] = made
        told = dump(live(Path(sys.argv[1]), Path(made)))
        Path(sys.argv[2]).write_text(told.replace(made, "/home/grower"), encoding="utf-8")
