"""Ended at every step, before it and after it: the next run completes, nothing is lost, and nothing comes twice.

A letter may come twice in one window alone, between the mail server taking it and our noting that; then under the same
Message-ID.
"""

import json
import os
import re
import shutil
import signal
import sqlite3
import threading
from collections import Counter
from contextlib import closing
from datetime import UTC, date, datetime, time, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from time import monotonic, sleep
from zoneinfo import ZoneInfo

import pytest

from haulm.errors import Exit
from haulm.garden import Entry, What
from haulm.settings.sample import sample_toml
from haulm.sources.invented import invented_record
from haulm.steps import Step
from haulm.store.journal_file import append_entry, read_journal

TODAY, TOMORROW = date(2026, 5, 12), date(2026, 5, 13)
ZONE = ZoneInfo("America/Chicago")
NAMES = ("air_min_c", "air_max_c", "rain_mm")
MILD_C, COLD_C = 7.0, -4.0


def at(day, hour, minute=30, zone=ZONE):
    """The environment in which the clock shows that hour of the garden."""
    return {"TRAVEL_TO": datetime.combine(day, time(hour, minute), zone).isoformat()}


MORNING, EVENING, NEXT = (("morning",), at(TODAY, 6)), (("evening",), at(TODAY, 19)), (("morning",), at(TOMORROW, 6))


def table(days, first, last, issued="", low_c=None):
    lines = []
    for n in range((last - first).days + 1):
        day = first + timedelta(days=n)
        values = [days.of(name).at(day) for name in NAMES]
        if low_c is not None:
            values = [low_c + n % 3, 14.0 + n % 4, 0.0]
        lines.append(",".join(map(str, [day, *values, *([issued] if issued else [])])))
    return "\n".join(lines) + "\n"


@pytest.fixture
def receiver():
    """Takes letters as JSON: which address got which delivery."""
    taken = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            body = self.rfile.read(int(self.headers["Content-Length"]))
            taken.append((self.path.removeprefix("/"), self.headers["Haulm-Delivery"], json.loads(body)["day"]))
            self.send_response(204)
            self.end_headers()

        def do_GET(self):
            self.send_response(204)
            self.end_headers()

        def log_message(self, *words):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    server.taken = taken
    yield server
    server.shutdown()
    server.server_close()


@pytest.fixture
def prepared(tmp_path):
    """A garden in leaf before a night that turns cold by the afternoon's forecast."""
    folder = tmp_path / "prepared"
    folder.mkdir()
    days = invented_record("brackenford", date(2025, 1, 1), TODAY + timedelta(days=12), 7).days
    (folder / "brackenford.csv").write_text(
        f"date,{','.join(NAMES)}\n" + table(days, date(2025, 1, 1), TODAY - timedelta(days=1)), encoding="utf-8"
    )
    issues = [(TODAY, "T03:00Z", MILD_C), (TODAY, "T16:00Z", COLD_C), (TOMORROW, "T03:00Z", MILD_C)]
    rows = [table(days, day, day + timedelta(days=6), f"{day}{hour}", low_c) for day, hour, low_c in issues]
    (folder / "forecast.csv").write_text(f"date,{','.join(NAMES)},issued\n" + "".join(rows), encoding="utf-8")
    _note(folder)
    return folder


@pytest.fixture
def fresh(tmp_path, prepared, mail_port, receiver):
    """Makes a copy of the garden, whose letters tell by their recipients whose they are."""

    def make(number, of=None):
        folder = tmp_path / number
        shutil.copytree(of or prepared, folder)
        text = sample_toml().replace("2026-10", "2025-10").replace("2027-", "2026-")
        text = re.sub(r"# forecast_file = .*", 'forecast_file = "forecast.csv"', text)
        text = text.replace("grower@example.org", f"grower-{number}@example.org")
        text = re.sub(r"(?m)^# log = .*", "log = true", text)
        text = re.sub(r"(?m)^(#.*)?\n", "", text)  # read faster
        text += (
            f'\n[post.mail]\nhost = "127.0.0.1"\nport = {mail_port}\nsecurity = "none"\nsender = "haulm@example.org"\n'
            f'\n[post.webhook]\nurl = "http://127.0.0.1:{receiver.server_port}/{number}"\nsecret = "{"s" * 20}"\n'
            f'\n[post.heartbeat]\nurl = "http://127.0.0.1:{receiver.server_port}/alive"\n'
        )
        (folder / "haulm.toml").write_text(text, encoding="utf-8")
        return folder

    return make


def _note(folder):
    for number, (what, back) in enumerate([(What.PLANTED, 36), (What.SHOOTS_OUT, 6)]):
        day = TODAY - timedelta(days=back)
        noted = datetime(day.year, day.month, day.day, 18, tzinfo=UTC)
        append_entry(journal_of(folder), Entry(f"n{number}", noted, day, "gatebed", "gate-early", what))


def journal_of(folder):
    return folder / "state" / "haulm.journal.jsonl"


def rows(folder, statement):
    with closing(sqlite3.connect(folder / "state" / "haulm.sqlite")) as store:
        return [tuple(row) for row in store.execute(statement)]


def facts(folder):
    """All that must be the same, whatever befell the runs."""
    whole = {
        "letters": "SELECT garden, kind, day, subject, text, json FROM letters ORDER BY day, kind",
        "said": "SELECT * FROM said ORDER BY 1, 2, 3, 4, 5, 6",
        "notes": "SELECT * FROM notes ORDER BY place",
        "weather": "SELECT station, quantity, day, value FROM weather ORDER BY 1, 2, 3",
        "forecasts": "SELECT issued, quantity, day, value FROM forecasts JOIN forecast_values ON forecast = id",
        "deliveries": "SELECT kind, day, channel, status FROM deliveries JOIN letters ON letter = letters.id",
        "integrity": "PRAGMA integrity_check",
        "keys": "PRAGMA foreign_key_check",
    }
    found = {name: rows(folder, statement) for name, statement in whole.items()}
    found["forecasts"].sort()
    found["deliveries"].sort()
    journal, complaints = read_journal(journal_of(folder))
    letters = folder / "letters"
    files = {file.relative_to(letters).as_posix(): file.read_bytes() for file in letters.rglob("*") if file.is_file()}
    return {**found, "journal": journal, "complaints": complaints, "files": files}


def differing(found, wanted):
    return [name for name in wanted if found[name] != wanted[name]]


def in_the_window(point, came_by, step):
    """Whether a step's doing had been seen by others, and not yet been noted."""
    order = [(one.step, one.moment, one.time) for one in came_by]
    seen = order.index((step, "after", 1))
    noted = next(n for n in range(seen, len(order)) if order[n][:2] == (Step.DELIVERY_SETTLED, "after"))
    return seen <= order.index((point.step, point.moment, point.time)) < noted


class Post:
    """What came to whom."""

    def __init__(self, postman, receiver):
        self.postman, self.receiver = postman, receiver

    def mails(self, folder):
        mine = [letter for letter in self.postman.letters if f"grower-{folder.name}@" in str(letter["To"])]
        return Counter((str(letter["Message-ID"]), str(letter["Subject"])) for letter in mine)

    def posts(self, folder):
        return Counter(delivery for place, delivery, _ in self.receiver.taken if place == folder.name)

    def check(self, folder, letters, point, came_by):
        """Each letter once, but for the one that was on its way; then once more, under the same id."""
        for found, step in ((self.mails(folder), Step.MAIL_TAKEN), (self.posts(folder), Step.WEBHOOK_POSTED)):
            twice = in_the_window(point, came_by, step)
            assert sorted(found.values()) == [1] * (letters - twice) + [2] * twice, (step, found)


@pytest.fixture
def post(postman, receiver):
    return Post(postman, receiver)


@pytest.fixture
def go(kill_points):
    """Run the program to its end, one command after another, each at its hour."""

    def run(folder, *commands, code=0):
        for words, environ in commands:
            assert kill_points.run(words, folder, environ) == code, (folder / "printed").read_text(encoding="utf-8")
        return (folder / "printed").read_text(encoding="utf-8")

    return run


def let_hours_pass(folder):
    """Whatever lies unfinished is now hours old."""
    for path in folder.rglob(".haulm-*.part"):
        os.utime(path, (path.stat().st_mtime - 7200,) * 2)


def test_a_morning(kill_points, fresh, post, go):
    calm = fresh("calm")
    go(calm, MORNING)
    today = facts(calm)
    go(calm, NEXT)
    wanted = facts(calm)
    assert [len(wanted[name]) for name in ("letters", "deliveries", "files")] == [2, 8, 8]

    def look(folder, point, came_by):
        go(folder, MORNING)
        assert differing(facts(folder), today) == [] or point.step is Step.FOLDER_FILLED
        if point.time == 1:  # what comes after is the same for all that are left alike
            let_hours_pass(folder)
            go(folder, NEXT)
            assert differing(facts(folder), wanted) == []
        post.check(folder, 1 + (point.time == 1), point, came_by)

    assert kill_points.everywhere("morning", *MORNING, fresh, look) >= 60


def test_an_evening(kill_points, fresh, post, go):
    """The outbox is that of the morning: of what comes several times, the first."""
    before = fresh("before")
    go(before, MORNING)
    calm = fresh("calm", before)
    go(calm, EVENING, NEXT)
    wanted = facts(calm)
    assert [kind for _, kind, *_ in wanted["letters"]] == ["evening", "morning", "morning"]

    def look(folder, point, came_by):
        go(folder, EVENING)
        let_hours_pass(folder)
        go(folder, NEXT)
        assert differing(facts(folder), wanted) == []
        post.check(folder, 2, point, came_by)

    made = kill_points.everywhere(
        "evening", *EVENING, lambda number: fresh(number, before), look, lambda point: point.time == 1
    )
    assert made == 22


def test_a_morning_that_finds_one_cut_off(kill_points, fresh, go):
    before = fresh("before")
    assert kill_points.run(MORNING[0], before, MORNING[1], "weather kept:after:1") == -signal.SIGKILL
    calm = fresh("calm", before)
    assert "The morning of 2026-05-12 that began at 2026-05-12 11:30:0" in go(calm, MORNING)
    wanted = facts(calm)
    runs = rows(calm, "SELECT outcome, exit_code, note FROM runs WHERE garden <> '' ORDER BY id")
    assert runs == [("cut off", None, "The run was cut off."), ("done", 0, "")]

    def look(folder, point, came_by):
        told = go(folder, MORNING)
        assert ("was cut off before it was done" in told) or point.moment == "after"
        assert differing(facts(folder), wanted) == []
        assert "was cut off" not in go(folder, MORNING)

    assert kill_points.everywhere("cut off", *MORNING, lambda number: fresh(number, before), look) == 2


def test_what_was_cut_off_and_not_made_up_for_is_told_by_the_next_letter(kill_points, fresh, go):
    garden = fresh("garden")
    go(garden, MORNING)
    for words, environ in (EVENING, NEXT):
        assert kill_points.run(words, garden, environ, "weather kept:after:1") == -signal.SIGKILL
    told = " ".join(go(garden, (("morning",), at(TOMORROW + timedelta(days=1), 6)), code=1).split())
    assert "There was no letter on Wednesday 13 May, for its run was cut off; what it would have said is in" in told
    assert "The morning of 2026-05-13 that began at 2026-05-13 11:30:0" in told


def test_letters_that_are_let_go(kill_points, fresh, go):
    """Whole or let go, never between; what proves that they went is there in either case."""
    before = fresh("before")
    go(before, MORNING)
    with closing(sqlite3.connect(before / "state" / "haulm.sqlite")) as store, store:
        for copied in [(50, "2025-01-01"), (51, "2025-01-02")]:
            store.execute(
                """INSERT INTO letters SELECT ?, garden, kind, ?, written, subject, text, html, json, picture
                   FROM letters WHERE id = 1""",
                copied,
            )
            store.execute(
                """INSERT INTO deliveries (letter, channel, recipient, message_id, status, attempts, changed, note)
                   SELECT ?, channel, recipient, '', status, attempts, changed, note FROM deliveries
                   WHERE letter = 1""",
                copied[:1],
            )
    calm = fresh("calm", before)
    go(calm, NEXT)
    wanted = facts(calm)
    full = "SELECT day, html <> '', picture IS NOT NULL FROM letters ORDER BY day"
    assert rows(calm, full) == [("2025-01-01", 0, 0), ("2025-01-02", 0, 0), (str(TODAY), 1, 1), (str(TOMORROW), 1, 1)]

    def look(folder, point, came_by):
        let_go = point.moment == "after"
        assert [bool(html) for _, html, _ in rows(folder, full)] == [not let_go, not let_go, True, True]
        go(folder, NEXT)
        assert differing(facts(folder), wanted) == []

    assert kill_points.everywhere("let go", *NEXT, lambda number: fresh(number, before), look) == 2


def test_an_evening_cut_off_is_told_by_the_morning(kill_points, fresh, go):
    garden = fresh("garden")
    go(garden, MORNING)
    assert kill_points.run(EVENING[0], garden, EVENING[1], "weather kept:after:1") == -signal.SIGKILL
    told = " ".join(go(garden, NEXT).split())
    assert "The look at the night after Tuesday 12 May was cut off, so no warning could come of it." in told


def test_a_note(kill_points, fresh, go):
    words, when = ("note", "gatebed", "watered 10 l"), at(TODAY, 18)

    def look(folder, point, came_by):
        journal, complaints = read_journal(journal_of(folder))
        noted = [entry for entry in journal.entries if entry.what is What.WATERED]
        assert (len(noted), complaints) == (point.moment == "after", ())
        told = go(folder, (words, when))
        assert ("on top of" in told) == bool(noted)  # who notes it again is told that it stands there already
        assert go(folder, (("notes",), when)).count("(written: 10 l)") == len(noted) + 1
        go(folder, NEXT)

    assert kill_points.everywhere("note", words, when, fresh, look) == 2


def test_the_pages(kill_points, fresh, go):
    before = fresh("before")
    go(before, MORNING)
    words, when = ("page", "pages"), at(TODAY, 8)
    calm = fresh("calm", before)
    go(calm, (words, when))
    wanted = pages_in(calm)
    listed = kill_points.points(words, fresh("counted", before), when)
    last = max(point.time for point in listed if point.step is Step.PAGES_WRITTEN)

    def look(folder, point, came_by):
        there = {name: page for name, page in pages_in(folder).items() if not name.endswith(".part")}
        assert there.items() <= wanted.items()  # whole, however many there are
        let_hours_pass(folder)
        go(folder, (words, when))
        assert pages_in(folder) == wanted

    chosen = {1, last}
    made = kill_points.everywhere(
        "page", words, when, lambda number: fresh(number, before), look, lambda point: point.time in chosen
    )
    assert made == 4


def pages_in(folder):
    return {path.name: path.read_bytes() for path in (folder / "pages").rglob("*") if path.is_file()}


@pytest.mark.parametrize(
    ("name", "words", "files"),
    [
        ("calendar", ("calendar", "dates.ics"), ["dates.ics"]),
        ("soil", ("soil", "gatebed", "--picture", "soil.png"), ["soil.png"]),
        ("season", ("season", "--picture", "year.png"), ["year.png"]),
        (
            "replay",
            ("replay", "--from", "2026-05-01", "--to", "2026-05-03", "--picture", "said.png", "--csv", "said.csv"),
            ["said.png", "said.csv"],
        ),
    ],
)
def test_files_that_are_asked_for(kill_points, fresh, go, name, words, files):
    when = at(TODAY, 8)
    calm = fresh("calm")
    go(calm, (words, when))

    def look(folder, point, came_by):
        let_hours_pass(folder)
        go(folder, (words, when))
        for file in files:
            assert whole(folder / file) == whole(calm / file)
        assert list(folder.glob(".haulm-*")) == []

    assert kill_points.everywhere(name, words, when, fresh, look) == 2 * len(files)


def whole(path):
    """A file, but for the second in which a calendar says it was made."""
    return re.sub(rb"DTSTAMP:.*", b"", path.read_bytes())


def test_settings_that_are_made(kill_points, tmp_path, go):
    options = [
        *("--name", "Brackenford", "--latitude", "52.5", "--longitude", "-3.0", "--elevation", "140 m"),
        *("--zone", "Europe/London", "--contact", "grower@example.org", "--bed", "gatebed: 2.4 m x 1.2 m, loam"),
        *("--station", "meteostat:99901"),
    ]
    words = ("init", *options)

    def empty(number):
        folder = tmp_path / number
        folder.mkdir()
        return folder

    def look(folder, point, came_by):
        made = point.moment == "after"
        assert (folder / "haulm.toml").exists() == made
        let_hours_pass(folder)
        go(folder, (words, {}), code=2 if made else 0)
        go(folder, (("check",), {}), ((*words, "--overwrite"), {}))
        assert {path.name for path in folder.iterdir()} - {"printed", "steps", "state"} == {"haulm.toml"}

    assert kill_points.everywhere("init", words, {}, empty, look) == 2


@pytest.fixture
def far(tmp_path, settings_file, network, world):
    """A garden that fetches its weather, and the environment in which it does."""
    kept = tmp_path / "far"
    kept.mkdir()
    shutil.move(settings_file, kept / "haulm.toml")

    def make(number):
        return shutil.copytree(kept, tmp_path / number)

    return make, {**network, **at(world.today, 6, zone=ZoneInfo("Europe/London"))}


def test_weather_that_is_fetched(kill_points, far, go):
    make, when = far
    kill_points.bring("meteostat")
    morning, calm = (("morning",), when), make("calm")
    go(calm, morning)
    wanted = fetched(calm)
    assert len(wanted["hours"]) > 60

    def look(folder, point, came_by):
        let_hours_pass(folder)
        go(folder, morning)
        assert differing(fetched(folder), wanted) == []

    some = {1, 2}
    made = kill_points.everywhere("stations", *morning, make, look, lambda point: point.time in some)
    assert made == 14


def fetched(folder):
    found = {
        "weather": rows(folder, "SELECT station, quantity, day, value FROM weather ORDER BY 1, 2, 3"),
        "hours": rows(folder, "SELECT * FROM hours ORDER BY 1, 2, 3"),
        "letters": rows(folder, "SELECT kind, day, subject, text FROM letters"),
        "integrity": rows(folder, "PRAGMA integrity_check"),
    }
    return {**found, "spool": sorted(path.name for path in (folder / "state" / "spool").rglob("*"))}


def test_the_timer(kill_points, fresh, post, go):
    calm = fresh("calm")
    words, when = ("schedule", "--once"), MORNING[1]
    go(calm, (words, when))
    wanted = facts(calm)
    assert len(wanted["letters"]) == 1

    def look(folder, point, came_by):
        # A morning that was started goes on alone. Whoever comes meanwhile is told to come back.
        until = monotonic() + 30
        while (code := kill_points.run(words, folder, when)) == 75 and monotonic() < until:
            sleep(0.1)
        assert code == 0, (folder / "printed").read_text(encoding="utf-8")
        assert differing(facts(folder), wanted) == []
        assert list(post.mails(folder).values()) == list(post.posts(folder).values()) == [1]

    assert kill_points.everywhere("schedule", words, when, fresh, look) == 2


@pytest.mark.parametrize("point", ["run begun:after:1", "letter stored:before:1", "delivery claimed:after:3"])
def test_a_morning_killed_under_the_timer(kill_points, fresh, post, go, point):
    garden = fresh("garden")
    words, when = ("schedule", "--once"), MORNING[1]
    assert kill_points.run(words, garden, {**when, "KILL_AT_STEP": point}) == Exit.TRY_LATER
    assert "was cut off" in go(garden, (words, when))
    assert list(post.mails(garden).values()) == list(post.posts(garden).values()) == [1]
    assert "was cut off" not in go(garden, (words, when))


def test_the_program_is_killed_at_every_step_there_is(kill_points):
    assert set(Step) == set().union(*kill_points.reached_by.values())
