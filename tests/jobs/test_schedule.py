"""haulm on its own: the watch over mornings with real child processes, and the real scheduler in real time."""

import json
import logging
import math
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import tracemalloc
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from haulm.errors import Exit, SettingsError
from haulm.jobs.schedule import Limits, Watch, keep_watch, once
from haulm.jobs.state_folder import StateFolder
from haulm.store.database import open_database
from haulm.store.letters import Status, deliveries_of
from haulm.store.runs import Outcome, read_runs

CONFIG = Path(__file__).parents[2] / "config" / "haulm.toml"
DAY = date(2027, 4, 12)
HOUR = datetime(2027, 4, 12, 11, 30, tzinfo=UTC)  # 06:30 in Chicago
MINUTE = timedelta(minutes=1)
MOST_S = 30.0

# A small real program in place of haulm: it does to the store what its plan says for this call, and ends as told.
STAND_IN = """
import json, sys, time
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo
from haulm.store.database import open_database
from haulm.store.letters import Address, Status, StoredLetter, claim, letter_of, settle, waiting
from haulm.store.mornings import record_morning
from haulm.store.runs import Outcome, begin_run, end_run

folder = Path(sys.argv[0]).parent
if sys.argv[1] == "status":
    with (folder / "told").open("a") as told:
        told.write(json.dumps(sys.argv[1:]) + "\\n")
    sys.exit(1)
plan = json.loads((folder / "plan.json").read_text())
with (folder / "calls").open("a") as calls:
    calls.write(json.dumps(sys.argv[1:]) + "\\n")
step = plan[len((folder / "calls").read_text().splitlines()) - 1]
now = datetime.fromisoformat((folder / "now").read_text())
if step["do"] != "nothing":
    with open_database(Path(sys.argv[sys.argv.index("--state") + 1]) / "haulm.sqlite") as database:
        if sys.argv[1] == "evening":
            day = now.astimezone(ZoneInfo("America/Chicago")).date()
            end_run(database, begin_run(database, "haulm", "evening", day, now), now, Outcome.DONE, step["code"])
        elif letter_of(database, "haulm", "morning", now.date()) is None:
            run = begin_run(database, "haulm", "morning", now.date(), now)
            if step["do"] in ("write", "deliver"):
                letter = StoredLetter("haulm", "morning", now.date(), now, "s", "t", "h", "{}")
                record_morning(database, run, letter, addresses=[Address("log", "log")])
                end_run(database, run, now, Outcome.DONE, step["code"])
        for each in waiting(database, "haulm"):
            claim(database, each.id, now)
            settle(database, each.id, Status.SENT if step["do"] == "deliver" else Status.READY, now)
time.sleep(step.get("sleep", 0))
(folder / "finished").write_text("")
sys.exit(step["code"])
"""


class Stage:
    """A settings file, a state folder, and the stand-in with its plan."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.settings = folder / "haulm.toml"
        self.state = StateFolder(folder / "state")
        self.good = CONFIG.read_text(encoding="utf-8")
        self.settings.write_text(self.good, encoding="utf-8")
        (folder / "stand_in.py").write_text(STAND_IN, encoding="utf-8")
        self.program = (sys.executable, str(folder / "stand_in.py"))
        self.environ = {name: value for name, value in os.environ.items() if not name.startswith("HAULM_")}
        self.environ["HAULM_LETTER__EVENING"] = "false"  # its own tests let it look

    def plan(self, *steps: dict[str, Any]) -> None:
        (self.folder / "plan.json").write_text(json.dumps(steps))

    def watch(self, limits: Limits | None = None) -> Watch:
        return Watch(self.settings, self.state, self.environ, self.program, limits or Limits())

    def tick(self, watch: Watch, now: datetime) -> None:
        self.set_clock(now)
        watch.tick(now)

    def set_clock(self, now: datetime) -> None:
        (self.folder / "now").write_text(now.isoformat())

    def once(self, now: datetime) -> int:
        self.set_clock(now)
        return once(self.settings, self.state, self.environ, now, self.program)

    def edit(self, text: str) -> None:
        """Write the file anew, with another time of change even on a coarse clock."""
        self.settings.write_text(text, encoding="utf-8")
        self._edits = getattr(self, "_edits", 0) + 1
        os.utime(self.settings, ns=(self._edits, self._edits))

    @property
    def calls(self) -> list[list[str]]:
        path = self.folder / "calls"
        return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    return Stage(tmp_path)


@pytest.fixture(autouse=True)
def told(caplog: pytest.LogCaptureFixture) -> Callable[[], list[str]]:
    caplog.set_level(logging.INFO, "haulm")
    return lambda: [record.getMessage() for record in caplog.records if record.name == "haulm"]


def until(true: Callable[[], bool], what: str) -> None:
    end = time.monotonic() + MOST_S
    while not true():
        assert time.monotonic() < end, f"waited {MOST_S:.0f} s in vain for {what}"
        time.sleep(0.02)


WROTE = {"do": "deliver", "code": 0}


def test_one_morning_a_day_whatever_the_minutes(stage: Stage, told: Callable[[], list[str]]) -> None:
    stage.plan(WROTE, WROTE)
    watch = stage.watch()
    for minutes in (-1, 0, 1, 2, 300, 600, 24 * 60 - 1, 24 * 60, 24 * 60 + 1):
        stage.tick(watch, HOUR + minutes * MINUTE)
    assert len(stage.calls) == 2
    assert stage.calls[0] == ["morning", "--settings", str(stage.settings), "--state", str(stage.state.path)]
    assert told() == [
        "The morning of 2027-04-12 ended with exit code 0: the letter is written and handed over.",
        "The morning of 2027-04-13 ended with exit code 0: the letter is written and handed over.",
    ]


def test_a_second_start_on_the_same_day_sends_nothing_again(stage: Stage) -> None:
    stage.plan(WROTE)
    stage.tick(stage.watch(), HOUR)
    stage.tick(stage.watch(), HOUR + MINUTE)
    assert len(stage.calls) == 1


def test_a_start_in_mid_morning_catches_up_and_one_past_noon_says_so(
    stage: Stage, told: Callable[[], list[str]]
) -> None:
    stage.plan(WROTE)
    stage.tick(stage.watch(), HOUR + timedelta(hours=4))
    assert len(stage.calls) == 1
    late = stage.watch()
    for minutes in (0, 1, 2):
        stage.tick(late, HOUR + timedelta(days=1, hours=6) + minutes * MINUTE)
    assert len(stage.calls) == 1
    assert told()[1:] == ["The morning of 2027-04-13 was missed, and it is past 12:00; the next letter tells of it."]


@pytest.mark.parametrize("trace", ["nothing", "begin"])
def test_what_failed_is_tried_again_after_growing_waits(
    stage: Stage, told: Callable[[], list[str]], trace: str
) -> None:
    """Whether or not the child came as far as the store, which then knows of its run."""
    stage.plan({"do": trace, "code": 1}, {"do": trace, "code": 75}, WROTE)
    watch, began = stage.watch(), []
    for minutes in range(30):
        before = len(stage.calls)
        stage.tick(watch, HOUR + minutes * MINUTE)
        began += [minutes] * (len(stage.calls) - before)
    assert began == [0, 5, 20]
    assert told() == [
        "The morning of 2027-04-12 ended with exit code 1: not all is done; the next try is at 06:35.",
        "The morning of 2027-04-12 ended with exit code 75: not all is done; the next try is at 06:50.",
        "The morning of 2027-04-12 ended with exit code 0: the letter is written and handed over.",
    ]


def test_the_last_try_before_noon_says_that_no_other_follows(stage: Stage, told: Callable[[], list[str]]) -> None:
    stage.plan({"do": "nothing", "code": 1})
    stage.tick(stage.watch(), HOUR + timedelta(hours=5, minutes=28))
    assert told() == [
        "The morning of 2027-04-12 ended with exit code 1: not all is done, and today it is too late to try again; "
        "the next letter tells of it."
    ]


def test_a_letter_that_stayed_behind_is_handed_over_later(stage: Stage) -> None:
    stage.plan({"do": "write", "code": 75}, {"do": "write", "code": 75}, WROTE)
    watch = stage.watch()
    for minutes in range(60):
        stage.tick(watch, HOUR + minutes * MINUTE)
    assert len(stage.calls) == 3
    with open_database(stage.state.store) as database:
        (delivery,) = deliveries_of(database, "haulm", "morning", DAY)
        assert (delivery.status, delivery.attempts) == (Status.SENT, 3)
        assert len(read_runs(database, "haulm", DAY)) == 1


def test_a_program_that_cannot_start_is_told_and_tried_again(stage: Stage, told: Callable[[], list[str]]) -> None:
    watch = Watch(stage.settings, stage.state, stage.environ, (str(stage.folder / "absent"),))
    stage.tick(watch, HOUR)
    stage.tick(watch, HOUR + MINUTE)
    assert told() == [
        "The morning of 2027-04-12 could not be started: No such file or directory",
        "The morning of 2027-04-12 ended with exit code none: not all is done; the next try is at 06:35.",
    ]


def test_settings_broken_meanwhile_are_told_once_a_change_and_mended_ones_taken_up(
    stage: Stage, told: Callable[[], list[str]]
) -> None:
    stage.plan(WROTE)
    watch = stage.watch()
    stage.tick(watch, HOUR - 9 * MINUTE)
    stage.edit(stage.good.replace("latitude = 44.0", "latitude = 444.0"))
    for minutes in (-8, -7, 0, 1):
        stage.tick(watch, HOUR + minutes * MINUTE)
    assert len(told()) == 1
    assert "Nothing is sent until the settings are mended." in told()[0]
    assert "latitude" in told()[0]
    stage.edit(stage.good.replace('"06:30"', '"half past"').replace("# at =", "at ="))
    stage.tick(watch, HOUR + 2 * MINUTE)
    assert len(told()) == 2
    stage.settings.unlink()
    for minutes in (3, 4):
        stage.tick(watch, HOUR + minutes * MINUTE)
    assert "there is no such file" in told()[2]
    assert stage.calls == []
    stage.edit(stage.good)
    stage.tick(watch, HOUR + 5 * MINUTE)
    assert len(stage.calls) == 1
    assert told()[3:] == [
        "The morning of 2027-04-12 ended with exit code 0: the letter is written and handed over.",
        "What was wrong is mended; haulm goes on.",
    ]


def test_a_new_hour_in_the_file_counts_from_the_next_minute(stage: Stage) -> None:
    stage.plan(WROTE)
    watch = stage.watch()
    stage.tick(watch, HOUR - 60 * MINUTE)
    stage.edit(stage.good.replace('# at = "06:30"', 'at = "05:00"'))
    stage.tick(watch, HOUR - 59 * MINUTE)
    assert len(stage.calls) == 1


def test_a_later_catch_up_hour_brings_back_a_morning_that_was_given_up(stage: Stage) -> None:
    stage.plan(WROTE)
    watch, afternoon = stage.watch(), HOUR + timedelta(hours=7)
    stage.tick(watch, afternoon)
    stage.edit(stage.good.replace('# letter_catch_up_until = "12:00"', 'letter_catch_up_until = "15:00"'))
    stage.tick(watch, afternoon + MINUTE)
    assert len(stage.calls) == 1


def test_a_store_that_is_no_store_keeps_no_morning_from_being_started(stage: Stage) -> None:
    """The morning tells of it, and works its letter out without; its next try waits as after any failure."""
    stage.plan({"do": "nothing", "code": 1}, {"do": "nothing", "code": 1})
    stage.state.path.mkdir()
    with sqlite3.connect(stage.state.store) as connection:
        connection.execute("CREATE TABLE theirs (a)")
    connection.close()
    watch = stage.watch()
    for minutes in range(5):
        stage.tick(watch, HOUR + minutes * MINUTE)
    assert len(stage.calls) == 1
    stage.tick(watch, HOUR + 5 * MINUTE)
    assert len(stage.calls) == 2


def test_a_damaged_store_keeps_no_morning_from_being_started(stage: Stage) -> None:
    """The morning mends it; one that cannot waits as after any failure."""
    stage.plan({"do": "nothing", "code": 1})
    stage.state.path.mkdir()
    stage.state.store.write_bytes(
        b"this was a database once, and is long enough to be looked at as if it were one" * 20
    )
    watch = stage.watch()
    for minutes in range(3):
        stage.tick(watch, HOUR + minutes * MINUTE)
    assert len(stage.calls) == 1


def test_a_morning_under_way_finishes_when_haulm_is_told_to_end(stage: Stage) -> None:
    stage.plan({**WROTE, "sleep": 0.8})
    watch = stage.watch()
    at_work = threading.Thread(target=stage.tick, args=(watch, HOUR))
    at_work.start()
    until(lambda: len(stage.calls) == 1, "the child")
    watch.end()
    at_work.join(MOST_S)
    assert (stage.folder / "finished").exists()
    stage.tick(watch, HOUR + timedelta(days=1))
    assert len(stage.calls) == 1, "nothing starts after the end"


@pytest.mark.parametrize("limits", [Limits(longest_s=0.6), Limits(at_end_s=0.3)])
def test_a_morning_that_hangs_is_ended(stage: Stage, told: Callable[[], list[str]], limits: Limits) -> None:
    stage.plan({"do": "nothing", "code": 0, "sleep": 600})
    watch = stage.watch(limits)
    at_work = threading.Thread(target=stage.tick, args=(watch, HOUR))
    at_work.start()
    if limits.at_end_s < 1.0:
        until(lambda: len(stage.calls) == 1, "the child")
        watch.end()
    at_work.join(MOST_S)
    assert not at_work.is_alive()
    assert told()[0] == "The morning of 2027-04-12 takes too long and is ended."
    assert f"exit code {-signal.SIGTERM}" in told()[1]


def test_idle_minutes_take_no_memory(stage: Stage) -> None:
    stage.plan(WROTE)
    watch = stage.watch()
    for minutes in range(3):
        stage.tick(watch, HOUR + minutes * MINUTE)
    tracemalloc.start()
    try:
        begin, _ = tracemalloc.get_traced_memory()
        for minutes in range(3, 1003):
            watch.tick(HOUR + minutes * MINUTE)
        end, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert end - begin < 20_000  # bytes; a leak of one small object a minute would be more


def test_once_writes_the_letter_at_the_callers_hour_and_passes_its_code_on(stage: Stage) -> None:
    stage.plan({"do": "deliver", "code": 1})
    assert stage.once(HOUR - timedelta(hours=1)) == Exit.PARTLY
    assert stage.once(HOUR) == Exit.DONE
    assert len(stage.calls) == 1


def test_a_run_that_does_not_end_well_is_told_by_another_road(stage: Stage) -> None:
    stage.plan({"do": "begin", "code": 1}, WROTE)
    assert stage.once(HOUR) == Exit.PARTLY
    told = (stage.folder / "told").read_text().splitlines()
    assert [json.loads(line)[:2] for line in told] == [["status", "--tell"]]
    assert stage.once(HOUR + timedelta(hours=1)) == Exit.DONE
    assert len((stage.folder / "told").read_text().splitlines()) == 1


def test_once_does_not_wait_between_tries(stage: Stage) -> None:
    stage.plan({"do": "begin", "code": 75}, {"do": "write", "code": 75}, WROTE)
    codes = [stage.once(HOUR + minutes * MINUTE) for minutes in range(4)]
    assert codes == [75, 75, 0, 0]
    assert len(stage.calls) == 3


def test_once_past_noon_writes_nothing_and_says_so(stage: Stage, told: Callable[[], list[str]]) -> None:
    assert stage.once(HOUR + timedelta(hours=6)) == Exit.DONE
    assert stage.calls == []
    assert told() == ["The morning of 2027-04-12 was missed, and it is past 12:00; the next letter tells of it."]


def test_settings_broken_at_the_start_are_told_at_once(stage: Stage) -> None:
    stage.edit(stage.good.replace("version = 1", "version = 7"))
    with pytest.raises(SettingsError, match="version"):
        keep_watch(stage.settings, stage.state, stage.environ)
    with pytest.raises(SettingsError, match="version"):
        stage.once(HOUR)


@pytest.fixture
def live(stage: Stage) -> Stage:
    """The stage for real mornings in real time: noon is now, wherever that is, and the weather is a plain wave."""
    noon = 12 - datetime.now(UTC).hour
    zone = f"Etc/GMT{-noon:+d}" if noon else "Etc/GMT"
    stage.edit(stage.good.replace('zone = "America/Chicago"', f'zone = "{zone}"'))
    days = [datetime.now(UTC).date() - timedelta(days=n) for n in range(40, 0, -1)]
    means = [9.0 + 4.0 * math.sin(day.toordinal()) for day in days]
    rows = [f"{day},{mean - 5.0:.1f},{mean + 5.0:.1f},0.0" for day, mean in zip(days, means, strict=True)]
    heading = "date,air_min_c,air_max_c,rain_mm"
    (stage.folder / "brackenford.csv").write_text("\n".join([heading, *rows, ""]), encoding="utf-8")
    stage.environ |= {
        "HAULM_LETTER__AT": f"12:{datetime.now(UTC).minute:02d}",
        "HAULM_THRESHOLDS__DATA__LETTER_CATCH_UP_UNTIL": "23:59",
        "HAULM_POST__FOLDER": "letters",
    }
    return stage


@pytest.fixture
def scheduler(live: Stage) -> Iterator["subprocess.Popen[str]"]:
    """The command itself, as a process."""
    words = ["schedule", "--settings", str(live.settings), "--state", str(live.state.path)]
    with subprocess.Popen(
        [sys.executable, "-m", "haulm", *words], env=live.environ, stderr=subprocess.PIPE, text=True
    ) as process:
        yield process
        process.kill()


@pytest.mark.skipif(os.name != "posix", reason="Windows has no SIGTERM that a process can answer")
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_the_real_scheduler_sends_one_letter_and_ends_when_told(
    live: Stage, scheduler: "subprocess.Popen[str]", number: int
) -> None:
    assert scheduler.stderr is not None
    lines = [scheduler.stderr.readline()]
    while "exit code" not in lines[-1]:
        lines.append(scheduler.stderr.readline())
    scheduler.send_signal(number)
    _, rest = scheduler.communicate(timeout=MOST_S)
    assert scheduler.returncode == Exit.DONE
    assert "A letter each morning at 12:" in lines[0]
    # Partly, for the settings name no forecast: such a letter goes out, and says so.
    assert "ended with exit code" in lines[-1]
    assert "the letter is written and handed over" in lines[-1]
    assert rest.strip().endswith("haulm was told to end, and has ended.")
    with open_database(live.state.store) as database:
        (run,) = read_runs(database, "haulm", datetime.now(UTC).date() - timedelta(days=2))
    assert run.outcome in {Outcome.DONE, Outcome.PARTLY}
    assert len(list((live.folder / "letters").rglob("*.txt"))) == 1


# --- evenings: the sample's garden lies in Wisconsin (44 N, 90 W), dusk on 12 April about 20:05 by Chicago's clock

LOOK = datetime(2027, 4, 12, 23, 12, tzinfo=UTC)
SECOND = datetime(2027, 4, 13, 2, 55, tzinfo=UTC)
LOOKED = {"do": "look", "code": 0}


@pytest.fixture
def evenings(stage: Stage) -> Stage:
    del stage.environ["HAULM_LETTER__EVENING"]
    return stage


def test_a_morning_and_two_looks_each_once(evenings: Stage, told: Callable[[], list[str]]) -> None:
    evenings.plan(WROTE, LOOKED, LOOKED)
    watch = evenings.watch()
    for instant in (
        HOUR,
        HOUR + MINUTE,
        LOOK - 60 * MINUTE,
        LOOK,
        LOOK + MINUTE,
        SECOND - 60 * MINUTE,
        SECOND,
        SECOND + MINUTE,
    ):
        evenings.tick(watch, instant)
    assert [call[0] for call in evenings.calls] == ["morning", "evening", "evening"]
    assert told() == [
        "The morning of 2027-04-12 ended with exit code 0: the letter is written and handed over.",
        "The evening look of 2027-04-12 ended with exit code 0: the coming night is looked at.",
        "The second look of 2027-04-12 ended with exit code 0: the coming night is looked at.",
    ]


def test_a_failed_look_is_tried_again_while_it_helps(evenings: Stage, told: Callable[[], list[str]]) -> None:
    evenings.plan(WROTE, {"do": "nothing", "code": 75}, LOOKED)
    watch = evenings.watch()
    for minutes in (0, 1, 4, 5, 6):
        evenings.tick(watch, LOOK + minutes * MINUTE) if minutes else (
            evenings.tick(watch, HOUR),
            evenings.tick(watch, LOOK),
        )
    assert [call[0] for call in evenings.calls] == ["morning", "evening", "evening"]
    assert "not all is done; the next try is at 18:17" in told()[1]


def test_a_machine_that_was_off_till_late_looks_once(evenings: Stage, told: Callable[[], list[str]]) -> None:
    """Past what the first look is worth, before midnight: the second one is still wanted."""
    evenings.plan(LOOKED)
    watch = evenings.watch()
    for minutes in range(3):
        evenings.tick(watch, datetime(2027, 4, 13, 4, 0, tzinfo=UTC) + minutes * MINUTE)
    assert [call[0] for call in evenings.calls] == ["evening"]
    assert any("The evening look of 2027-04-12 was missed" in line for line in told())


def test_no_look_where_the_settings_want_none(stage: Stage) -> None:
    stage.plan(WROTE)
    watch = stage.watch()
    for instant in (HOUR, LOOK, SECOND):
        stage.tick(watch, instant)
    assert [call[0] for call in stage.calls] == ["morning"]


def test_a_letter_that_waits_is_handed_over_by_the_evening_alone(evenings: Stage) -> None:
    evenings.plan({"do": "write", "code": 75}, LOOKED, LOOKED)
    watch = evenings.watch()
    evenings.tick(watch, HOUR)
    evenings.tick(watch, LOOK)
    assert [call[0] for call in evenings.calls] == ["morning", "evening"]


@pytest.mark.parametrize(
    ("now", "calls"),
    [(LOOK - 60 * MINUTE, 0), (LOOK, 1), (SECOND, 1), (datetime(2027, 4, 13, 4, 50, tzinfo=UTC), 0)],
)
def test_a_timer_may_ask_for_the_look_as_often_as_it_likes(evenings: Stage, now: datetime, calls: int) -> None:
    evenings.plan(LOOKED, LOOKED)
    for _ in range(3):
        evenings.set_clock(now)
        assert once(
            evenings.settings, evenings.state, evenings.environ, now, evenings.program, evening=True
        ) == Exit.DONE  # fmt: skip
    assert [call[0] for call in evenings.calls] == ["evening"] * calls
