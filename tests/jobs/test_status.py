"""Silence is told: the line of each run, the sign of life, `haulm status`, and the other road after failures."""

import json
import logging
import re
import socketserver
import threading
from datetime import UTC, date, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from haulm.cli import main
from haulm.errors import BusyError, Exit
from haulm.jobs.morning import morning
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.status import as_json, as_lines, status_of, tell
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.store.database import open_database
from haulm.store.lock import lock
from haulm.store.runs import Outcome, begin_run, end_run

TODAY = date(2027, 5, 4)
NOW = datetime(2027, 5, 4, 12, 0, tzinfo=UTC)  # 07:00 in Chicago
TOKEN = "-".join(["a", "word", "that", "nobody", "may", "read"])
PARTS = re.compile(r'(\w+)=("(?:[^"\\]|\\.)*"|\S+)')


class Listener:
    """A small web server: what it was asked and sent, and how it answers."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.sent: list[dict] = []
        self.answer = 204
        listener = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self):
                listener.asked.append(self.path)
                self.send_response(listener.answer)
                self.send_header("Location", "http://127.0.0.1:1/elsewhere")
                self.end_headers()

            def do_POST(self):
                listener.sent.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
                self.send_response(listener.answer)
                self.end_headers()

            def log_message(self, *words):
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server.server_port}"


@pytest.fixture
def listener():
    found = Listener()
    yield found
    found.server.shutdown()
    found.server.server_close()


@pytest.fixture
def garden(tmp_path, write_invented_days, listener):
    """A settings file with its weather up to yesterday, a heartbeat and a webhook; other tables may be added."""

    def make(more: str = "", url: str = "") -> tuple:
        write_invented_days(tmp_path / "brackenford.csv", TODAY, 900, date(2024, 1, 1))
        (tmp_path / "haulm.toml").write_text(
            sample_toml()
            + f'\n[post.heartbeat]\nurl = "{url or listener.url}/{TOKEN}"\ntimeout_seconds = 1\n'
            + f'\n[post.webhook]\nurl = "{listener.url}/hook"\nsecret = "{"s" * 20}"\n'
            + more,
            encoding="utf-8",
        )
        return load(tmp_path / "haulm.toml"), StateFolder(tmp_path / "state")

    return make


def line_of(log: str) -> dict[str, str]:
    (line,) = [row for row in log.splitlines() if "haulm-run " in row]
    return dict(PARTS.findall(line))


def run_ended(state: StateFolder, day: date, outcome: Outcome, code: int, kind: str = "morning") -> None:
    """A run as the store remembers it."""
    begun = datetime(day.year, day.month, day.day, 11, 31, tzinfo=UTC)
    with open_database(state.store) as database:
        end_run(database, begin_run(database, "haulm", kind, day, begun), begun, outcome, code)


def test_each_run_ends_with_one_line_of_a_stable_form(garden, caplog):
    settings, state = garden()
    caplog.set_level(logging.INFO, "haulm")
    morning(settings, state, NOW)
    told = line_of(caplog.text)
    assert list(told) == [
        "version", "garden", "kind", "day", "outcome", "exit", "letter", "sent", "waiting", "refused", "answers",
        "observed", "forecast", "seconds",
    ]  # fmt: skip
    assert told["outcome"] == "done"
    assert (told["letter"], told["waiting"], told["refused"]) == ("yes", "0", "0")
    assert told["observed"] == "2027-05-03"
    assert float(told["seconds"]) >= 0.0


def test_a_run_that_fails_has_its_line_too(garden, caplog):
    settings, state = garden()
    with lock(state.lock(settings.garden), NOW), pytest.raises(BusyError):
        morning(settings, state, NOW)
    assert (line_of(caplog.text)["outcome"], line_of(caplog.text)["exit"]) == ("failed", "75")


def test_a_garden_with_an_odd_name_cannot_forge_a_line(garden, caplog, tmp_path):
    settings, state = garden()
    odd = tmp_path / "x exit=0\noutcome=done.toml"
    odd.write_bytes((tmp_path / "haulm.toml").read_bytes())
    caplog.set_level(logging.INFO, "haulm")
    morning(load(odd), state, NOW)
    told = line_of(caplog.text)
    assert json.loads(told["garden"]) == "x exit=0\noutcome=done"
    assert settings.garden.key == "haulm"


def test_the_heartbeat_is_asked_after_a_good_run_and_its_address_never_told(garden, listener, caplog, capsys):
    settings, state = garden()
    caplog.set_level(logging.INFO)
    assert morning(settings, state, NOW).exit_code is Exit.DONE
    assert listener.asked == [f"/{TOKEN}"]
    status = status_of(settings, state, NOW + timedelta(hours=2))
    assert "last 2 h ago" in "\n".join(as_lines(status))
    assert TOKEN not in caplog.text + capsys.readouterr().out + as_json(status)


@pytest.mark.parametrize("answer", [404, 500, 302])
def test_a_heartbeat_that_fails_is_tried_twice_and_changes_nothing(garden, listener, caplog, answer):
    settings, state = garden()
    listener.answer = answer
    assert morning(settings, state, NOW).exit_code in {Exit.DONE, Exit.PARTLY}
    asked = [path for path in listener.asked if TOKEN in path]
    assert len(asked) in {0, 2}  # the webhook got the same answer, and a letter that waits is no good run
    assert TOKEN not in caplog.text


def test_a_silent_heartbeat_is_told_in_the_letter_after_days(garden, caplog):
    with socketserver.TCPServer(("127.0.0.1", 0), socketserver.BaseRequestHandler) as taken:
        url = f"http://127.0.0.1:{taken.server_address[1]}"
    settings, state = garden(url=url)  # nothing listens there any more
    letters = [morning(settings, state, NOW + timedelta(days=k)).letter.text for k in range(5)]
    assert all("heartbeat" not in text for text in letters[:3])
    assert "The heartbeat has not come through since" in " ".join(letters[4].split())
    assert TOKEN not in "".join(letters) + caplog.text


def test_no_heartbeat_after_a_letter_without_fresh_data(garden, listener, tmp_path):
    settings, state = garden()
    (tmp_path / "brackenford.csv").unlink()
    assert morning(settings, state, NOW).exit_code is Exit.PARTLY
    assert not [path for path in listener.asked if TOKEN in path]


def test_all_is_well_after_a_good_morning(garden):
    settings, state = garden()
    morning(settings, state, NOW)
    status = status_of(settings, state, NOW + timedelta(minutes=5))
    lines = list(as_lines(status))
    assert (lines[-1], status.exit_code) == ("All is well.", Exit.DONE), lines
    assert max(map(len, lines)) <= 80
    told = json.loads(as_json(status))
    assert set(told) == {"version", "garden", "now", "well", "failed_runs", "lines"}
    assert [line["about"] for line in told["lines"]] == [
        "Morning", "Observed", "Forecast", "Post", "Heartbeat", "Memory", "Journal", "Next",
    ]  # fmt: skip


def test_before_the_first_morning_there_is_nothing_amiss(garden):
    settings, state = garden()
    status = status_of(settings, state, NOW)
    assert status.exit_code is Exit.DONE
    assert not state.store.exists()  # looked at, and not made


@pytest.mark.parametrize(
    ("after", "well"),
    [(timedelta(hours=20), True), (timedelta(hours=24, minutes=10), True), (timedelta(hours=25), False)],
)
def test_a_letter_that_did_not_come_is_amiss_an_hour_after_it_should_have(garden, after, well):
    settings, state = garden()
    morning(settings, state, datetime(2027, 5, 4, 11, 30, tzinfo=UTC))
    status = status_of(settings, state, datetime(2027, 5, 4, 11, 30, tzinfo=UTC) + after)
    assert status.well is well
    assert ("Is the timer, cron" in "\n".join(as_lines(status))) is not well


def test_a_letter_that_waits_a_damaged_store_and_a_broken_note_are_amiss(garden, listener):
    settings, state = garden()
    listener.answer = 500
    morning(settings, state, NOW)
    assert "ne letter waits; 2027-05-04 to" in "\n".join(as_lines(status_of(settings, state, NOW)))
    state.journal(settings.garden).write_text("{this is no note}\n", encoding="utf-8")
    assert "Mend that line" in "\n".join(as_lines(status_of(settings, state, NOW)))
    raw = bytearray(state.store.read_bytes())
    raw[4096 : 4096 + 3000] = b"\xff" * 3000
    state.store.write_bytes(raw)
    status = status_of(settings, state, NOW)
    assert not status.well
    assert "haulm mend" in "\n".join(as_lines(status))


def test_a_run_that_holds_the_lock_is_no_fault(garden):
    settings, state = garden()
    morning(settings, state, NOW)
    with lock(state.lock(settings.garden), NOW):
        assert status_of(settings, state, NOW).well


def test_the_webhook_is_told_after_three_failed_runs_and_once_a_day(garden, listener, caplog):
    settings, state = garden()
    for count in range(1, 5):
        run_ended(state, TODAY - timedelta(days=5 - count), Outcome.PARTLY, 1)
        tell(settings, state, status_of(settings, state, NOW + timedelta(minutes=count)))
        assert len(listener.sent) == (1 if count >= 3 else 0)
        assert "Morning: " in caplog.text
    (told,) = listener.sent
    assert (told["kind"], told["well"], told["failed_runs"]) == ("trouble", False, 3)
    tell(settings, state, status_of(settings, state, NOW + timedelta(days=1)))
    assert len(listener.sent) == 2


def test_a_good_run_begins_the_count_again(garden, listener):
    settings, state = garden()
    for back, outcome, code in [(4, Outcome.FAILED, 1), (3, Outcome.CUT_OFF, 1), (2, Outcome.DONE, 0)]:
        run_ended(state, TODAY - timedelta(days=back), outcome, code)
    assert status_of(settings, state, NOW).failed_runs == 0
    run_ended(state, TODAY - timedelta(days=1), Outcome.PARTLY, 75)
    assert status_of(settings, state, NOW).failed_runs == 1
    tell(settings, state, status_of(settings, state, NOW))
    assert listener.sent == []


def test_a_store_that_cannot_be_read_is_told_at_once(garden, listener):
    settings, state = garden()
    state.path.mkdir(parents=True)
    state.store.write_text("this is no store at all, but a text of some length" * 30, encoding="utf-8")
    for hours in (0, 1, 19, 21):  # a timer that asks each half hour must not tell it each half hour
        tell(settings, state, status_of(settings, state, NOW + timedelta(hours=hours)))
    assert [one["kind"] for one in listener.sent] == ["trouble", "trouble"]


def test_where_nothing_can_be_noted_the_webhook_is_told_all_the_same(garden, listener, caplog, tmp_path):
    settings, state = garden()
    state.path.mkdir(parents=True)
    state.store.write_text("this is no store at all, but a text of some length" * 30, encoding="utf-8")
    state.trouble(settings.garden).symlink_to(tmp_path / "no folder" / "file")
    tell(settings, state, status_of(settings, state, NOW))
    assert [one["kind"] for one in listener.sent] == ["trouble"]
    assert "tells the webhook again" in caplog.text


def test_broken_settings_are_told_to_the_log(garden, tmp_path, caplog, capsys, monkeypatch):
    garden()
    monkeypatch.setattr(logging.getLogger(), "handlers", [caplog.handler])
    (tmp_path / "haulm.toml").write_text("version = ", encoding="utf-8")
    assert main(["status", "--tell", "--settings", str(tmp_path / "haulm.toml")]) == Exit.SETTINGS
    assert "No letter can go out" in caplog.text
    assert "haulm.toml" in capsys.readouterr().err


def test_the_command_prints_and_answers_by_its_code(garden, tmp_path, capsys):
    garden()
    words = ["status", "--settings", str(tmp_path / "haulm.toml"), "--state", str(tmp_path / "state")]
    assert main(words) == Exit.DONE
    assert "All is well." in capsys.readouterr().out
    assert main([*words, "--json"]) == Exit.DONE
    assert json.loads(capsys.readouterr().out)["version"] == 1
    assert Path(tmp_path / "state").exists() is False


def test_a_garden_without_a_run_for_a_month_is_amiss(garden):
    settings, state = garden()
    run_ended(state, TODAY - timedelta(days=60), Outcome.DONE, 0)
    status = status_of(settings, state, NOW)
    assert not status.well
    assert "no run in the last 30 days" in "\n".join(as_lines(status))
