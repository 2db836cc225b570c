"""What a run notes of the gardens' hours changes nothing of what the next one does, but that it costs little."""

import os
import shutil
import subprocess
import sys
from dataclasses import replace
from datetime import datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from haulm.errors import Exit
from haulm.jobs.engine import Here
from haulm.jobs.gardens import morning_of_gardens
from haulm.jobs.office import Wishes
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.timetable import FILE, look, mark_of
from haulm.settings.gardens import gardens_in
from haulm.store.database import open_database
from haulm.store.letters import Address, keep_letter, letter_of

ZONE = ZoneInfo("Europe/London")
KILL = Path(__file__).parent / "kill"
HOURS = ["06:45", "07:15", "05:00", "06:00", "11:00"]


@pytest.fixture
def folder(office):
    """Five gardens, each with an hour of its own; the last may be written until noon, the others until ten."""
    folder, _ = office('[backups]\ndays = 1\n[thresholds.data]\nletter_catch_up_until = "10:00"\n')
    rows = (folder / "growers.csv").read_text().splitlines()
    columns = ["letter.at,thresholds.data.letter_catch_up_until", *(f"{at}," for at in HOURS[:4]), "11:00,12:00"]
    (folder / "growers.csv").write_text("\n".join(f"{row},{more}" for row, more in zip(rows, columns, strict=True)))
    return folder


@pytest.fixture
def state(folder):
    return StateFolder(folder.with_name("office-state"))


@pytest.fixture
def at(office):
    return lambda hour, days=0: datetime.combine(office.morning + timedelta(days=days), time.fromisoformat(hour), ZONE)


def run(folder, state, now, **wishes):
    known = look(folder, {}, state, now)
    return morning_of_gardens(gardens_in(folder, {}), state, now, Here(), Wishes(**wishes), known)


def counts(report):
    names = ("gardens", "written", "had", "early", "late", "busy", "failed", "exit_code")
    return {name: getattr(report, name) for name in names}


def test_a_day_of_runs_is_the_same_with_it_and_without(folder, state, at):
    without = StateFolder(shutil.copytree(state.path, folder.with_name("without")))
    asked = []
    for hour in ("04:30", "05:00", "06:20", "06:46", "06:50", "07:30", "10:30", "12:30", "23:50"):
        known = look(folder, {}, state, at(hour))
        asked.append(None if known.seen is None else sorted(key[-1] for key in known.seen.asked))
        found = run(folder, state, at(hour))
        (without.path / FILE).unlink(missing_ok=True)
        assert counts(found) == counts(run(folder, without, at(hour))), hour
    assert asked == [None, ["2"], ["3"], ["0"], [], ["1"], [], [], []]  # each at its hour, and none that is too late
    for where in (state, without):
        with open_database(where.store) as database:
            told = [letter_of(database, f"grower{n:06d}", "morning", at("12:30").date()) for n in range(5)]
        assert [letter is not None for letter in told] == [True, True, True, True, False]


def test_a_run_that_has_all_is_not_asked_for_again_until_the_morrow(folder, state, at):
    run(folder, state, at("11:30"), at_once=False)
    run(folder, state, at("11:31"))
    seen = look(folder, {}, state, at("11:45")).seen
    assert seen.asked == set()
    report = seen.report()
    assert (report.had, report.late, report.exit_code) == (1, 4, Exit.DONE)
    assert look(folder, {}, state, at("05:30", 1)).seen.asked >= {"grower000002"}


@pytest.mark.parametrize("name", ["common.toml", "growers.csv", "beds.csv", "places.csv", "another.toml"])
def test_any_change_of_what_is_read_has_all_of_it_read(folder, state, at, name):
    run(folder, state, at("06:50"))
    assert look(folder, {}, state, at("06:50")).seen is not None
    with (folder / name).open("a", encoding="utf-8") as file:
        file.write("\n")
    assert look(folder, {}, state, at("06:50")).seen is None


def test_a_change_of_the_environment_too_and_weather_not(folder, state, at):
    run(folder, state, at("06:50"))
    assert look(folder, {"HAULM_LETTER__AT": "07:00"}, state, at("06:50")).seen is None
    assert look(folder, {"LANG": "C"}, state, at("06:50")).seen is not None
    (folder / "station00000.csv").write_text("")
    assert look(folder, {}, state, at("06:50")).seen is not None
    assert mark_of(folder / "nowhere", {}) == ""


def test_where_a_garden_fails_all_are_read_each_time(folder, state, at):
    rows = (folder / "beds.csv").read_text()
    (folder / "beds.csv").write_text(rows.replace(" m,", " miles,", 1))
    for hour in ("06:50", "06:55"):
        report = run(folder, state, at(hour))
        assert (len(report.failed), report.exit_code) == (1, Exit.PARTLY)
    assert not (state.path / FILE).exists()
    (folder / "beds.csv").write_text(f"{rows}zoe,bed\n")
    for hour in ("06:56", "06:57"):
        assert run(folder, state, at(hour)).exit_code is Exit.PARTLY
    assert not (state.path / FILE).exists()


def test_a_change_while_it_runs_is_not_taken_for_read(folder, state, at):
    known = look(folder, {}, state, at("06:50"))
    many = gardens_in(folder, {})
    (folder / "common.toml").write_text((folder / "common.toml").read_text() + "\n")
    morning_of_gardens(many, state, at("06:50"), Here(), Wishes(), known)
    assert not (state.path / FILE).exists()


def test_who_has_a_letter_that_waits_is_asked(folder, state, at):
    run(folder, state, at("06:50"))
    run(folder, state, at("06:51"))
    with open_database(state.store) as database:
        letter = letter_of(database, "grower000003", "morning", at("06:50").date())
        keep_letter(database, replace(letter, kind="evening"), [Address("mail", "me@garden.example")])
    assert look(folder, {}, state, at("06:55")).seen.asked == {"grower000003"}


def test_a_heartbeat_is_asked_each_time(folder, state, at):
    with (folder / "common.toml").open("a", encoding="utf-8") as file:
        file.write('[post.heartbeat]\nurl = "http://127.0.0.1:9/alive"\n')
    run(folder, state, at("06:50"))
    seen = look(folder, {}, state, at("06:55")).seen
    assert len(seen.asked) == 1
    report = run(folder, state, at("06:55"))
    assert (report.gardens, report.had + report.early + report.late) == (5, 5)


@pytest.mark.parametrize("held", [b"", b"{", b"[]", b'{"version": 1}', b'{"version": 2, "mark": ""}', b"\xff"])
def test_a_note_that_cannot_be_read_is_none(folder, state, at, held):
    run(folder, state, at("06:50"))
    (state.path / FILE).write_bytes(held)
    assert look(folder, {}, state, at("06:50")).seen is None
    assert run(folder, state, at("06:55")).exit_code is Exit.DONE
    assert look(folder, {}, state, at("06:55")).seen is not None


def test_a_store_in_trouble_is_not_asked(folder, state, at):
    run(folder, state, at("06:50"))
    state.store.write_bytes(b"no store")
    assert look(folder, {}, state, at("06:55")).seen is None
    state.store.unlink()
    assert look(folder, {}, state, at("06:55")).seen is None


def test_where_it_cannot_be_written_the_run_goes_well(folder, state, at, caplog):
    (state.path / FILE).mkdir()
    assert run(folder, state, at("06:50")).exit_code is Exit.DONE
    assert "the next run reads all settings" in caplog.text


LOOKS = """
import sys
from haulm.cli import main
code = main("morning --gardens office --state office-state".split())
print(code, sorted({"numpy", "pydantic", "haulm.settings.load", "tqdm"} & set(sys.modules)))
"""


def test_a_run_with_nothing_to_do_loads_nothing_that_takes_long(folder, at):
    def start(hour):
        environ = os.environ | {"TRAVEL_TO": at(hour).isoformat()}
        environ["PYTHONPATH"] = os.pathsep.join([str(KILL), os.environ.get("PYTHONPATH", "")])
        words = [sys.executable, "-c", LOOKS]
        shown = subprocess.run(words, cwd=folder.parent, env=environ, capture_output=True, text=True, check=True)
        return shown.stdout.splitlines()

    assert start("11:30")[-1].startswith("0 ['haulm.settings.load', 'numpy'")
    assert start("11:45") == ["Gardens: 5. Letters written: 0; had theirs: 1.", "Too late for today, which the next "
                              "letter tells: 4.", "0 []"]  # fmt: skip
