"""The looks at the coming night of many gardens: those of the one-garden program, each once, each at its own hour."""

import csv
import sqlite3
from collections import Counter
from contextlib import closing
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from haulm.cli import main
from haulm.errors import Exit
from haulm.garden import Entry, What
from haulm.jobs.engine import Here, engine_for
from haulm.jobs.evening import evening
from haulm.jobs.gardens import morning_of_gardens
from haulm.jobs.gardens_evening import evening_of_gardens
from haulm.jobs.morning import morning
from haulm.jobs.office import Wishes
from haulm.jobs.state_folder import StateFolder
from haulm.settings.gardens import gardens_in
from haulm.steps import Step
from haulm.store.database import copies_of, open_database
from haulm.store.journal_file import append_entry
from haulm.store.letters import deliveries_of, letter_of
from haulm.store.runs import read_runs

ZONE = ZoneInfo("Europe/London")
KEYS = tuple(f"grower{number:06d}" for number in range(5))
COLD = ("-6.0", "11.0", "0.0", "70.0", "1.0", "0.0", "0.0")  # a clear, calm night


@pytest.fixture
def at(office):
    return lambda hour, days=0: datetime.combine(office.morning + timedelta(days=days), time.fromisoformat(hour), ZONE)


@pytest.fixture
def cold(office, at):
    """Five gardens, most in leaf, whose afternoon brings a forecast of hard frost; their morning is written already."""

    def make(common="", name="office", beds=10, in_leaf=3):
        folder, state = office(common, name=name, beds=beds)
        for key in KEYS[:in_leaf]:
            journal = state.path / f"{key}.journal.jsonl"
            journal.unlink(missing_ok=True)
            for what, back in ((What.PLANTED, 36), (What.SHOOTS_OUT, 6)):
                day = office.morning - timedelta(days=back)
                append_entry(journal, Entry(f"{key}{what}", at("18:00", -back), day, "bed0", "bed0-crop", what))
        for path in folder.glob("*-ahead.csv"):
            with path.open("a", newline="", encoding="utf-8") as file:
                days = [office.morning + timedelta(days=n) for n in range(5)]
                csv.writer(file).writerows([f"{office.morning}T16:00:00Z", day, *COLD] for day in days)
        report = morning_of_gardens(gardens_in(folder, {}), state, at("06:45"), Here(), Wishes())
        assert report.written == beds // 2
        return folder, state

    return make


def look(folder, state, now, engine=None, **wishes):
    return evening_of_gardens(gardens_in(folder, {}), state, now, engine or Here(), Wishes(**wishes))


def stored(state, day, kinds=("evening", "evening-worse")):
    found = {}
    with open_database(state.store) as database:
        for key in KEYS:
            for kind in kinds:
                letter = letter_of(database, key, kind, day)
                if letter is not None:
                    found[key, kind] = (letter.subject, letter.text, letter.html, letter.json)
    return found


def runs_of(state, day):
    with open_database(state.store) as database:
        return {
            key: [(run.kind, run.outcome, run.exit_code, run.note) for run in read_runs(database, key, day, "evening")]
            for key in KEYS
        }


def test_each_look_is_the_one_garden_programs(cold, at, tmp_path):
    """To the byte where there is a letter, and in its run where there is none; also of the second look."""
    folder, state = cold()
    alone = StateFolder(tmp_path / "alone")
    alone.path.mkdir()
    for path in state.path.glob("*.jsonl"):
        (alone.path / path.name).write_bytes(path.read_bytes())
    every = dict(gardens_in(folder, {}).settings(KEYS))
    for settings in every.values():
        morning(settings, alone, at("06:45"))
    for hour in ("19:45", "23:10"):
        report = look(folder, state, at(hour))
        assert (report.looked, report.exit_code) == (5, Exit.DONE)
        for settings in every.values():
            evening(settings, alone, at(hour))
    day = at("19:45").date()
    letters = stored(state, day)
    assert len({key for key, _ in letters}) >= 2
    assert letters == stored(alone, day)
    assert len(letters) < 10
    assert runs_of(state, day) == runs_of(alone, day)
    later = at("06:45", 1)
    morning_of_gardens(gardens_in(folder, {}), state, later, Here(), Wishes())
    for settings in every.values():
        morning(settings, alone, later)
    assert stored(state, later.date(), ("morning",)) == stored(alone, later.date(), ("morning",))


def test_by_other_processes_too(cold, at):
    folder, state = cold()
    _, other = cold(name="other")
    with engine_for(1) as pool:
        assert look(folder, state, at("19:45"), pool).looked == 5
    look(folder, other, at("19:45"))
    assert stored(state, at("19:45").date()) == stored(other, at("19:45").date())


def test_each_look_has_its_hour_and_is_taken_once(cold, at):
    folder, state = cold()
    seen = []
    for hour in ("09:00", "15:00", "19:45", "20:15", "23:10", "23:20", "23:59"):
        report = look(folder, state, at(hour))
        seen.append((hour, report.looked, report.had, report.early, report.late, int(report.exit_code)))
    assert seen == [
        ("09:00", 0, 0, 5, 0, 0), ("15:00", 0, 0, 5, 0, 0), ("19:45", 5, 0, 0, 0, 0), ("20:15", 0, 5, 0, 0, 0),
        ("23:10", 5, 0, 0, 0, 0), ("23:20", 0, 5, 0, 0, 0), ("23:59", 0, 5, 0, 0, 0),
    ]  # fmt: skip


def test_a_night_that_nobody_looked_at_is_late_and_some_want_no_look(cold, at):
    folder, state = cold('[place]\nclear_night_offset = "1 C"\n[thresholds.data]\nletter_catch_up_until = "10:00"\n')
    rows = (folder / "growers.csv").read_text().splitlines()
    columns = ["letter.evening,letter.evening_second_look", "false,", "false,", ",false", ",false", ",false"]
    (folder / "growers.csv").write_text("\n".join(f"{row},{more}" for row, more in zip(rows, columns, strict=True)))
    report = look(folder, state, at("23:59"))
    assert (report.off, report.late, report.looked, report.exit_code) == (2, 3, 0, Exit.DONE)
    assert report.lines() == [
        "Gardens: 5. Looked at: 0; letters written: 0.",
        "Too late for tonight: 3.",
        "Want no look in the evening: 2.",
    ]
    report = look(folder, state, at("23:59"), at_once=True)
    assert (report.off, report.looked) == (2, 3)


def test_a_letter_is_copied_with_the_store_and_the_run_has_one_line(cold, at, caplog):
    caplog.set_level("INFO")
    folder, state = cold()
    before = {path.name for path in copies_of(state.store).glob("*.sqlite")}
    report, report_at = look(folder, state, at("19:45")), at("19:45").astimezone(UTC)
    assert report.written
    after = {path.name for path in copies_of(state.store).glob("*.sqlite")}
    assert after - before == {f"haulm-{report_at:%Y%m%dT%H%M%SZ}.sqlite"}
    lines = [record.getMessage() for record in caplog.records if "haulm-gardens-evening" in record.getMessage()]
    (line,) = lines
    assert line.startswith(
        f"haulm-gardens-evening version=1 gardens=5 looked=5 written={report.written} had=0 early=0 late=0 off=0 "
        "busy=0 stale=0 unknown=0 undelivered=0 failed=0 exit=0 seconds="
    )
    assert not [record for record in caplog.records if record.getMessage().startswith("haulm-run ")]


def test_one_gardens_fault_is_its_own(cold, at, clumsy):
    folder, state = cold()
    state.path.joinpath(f"{KEYS[3]}.journal.jsonl").unlink(missing_ok=True)
    state.path.joinpath(f"{KEYS[3]}.journal.jsonl").mkdir()

    report = look(folder, state, at("19:45"), clumsy)
    assert (report.looked, len(report.failed), report.exit_code) == (3, 2, Exit.PARTLY)
    assert KEYS[3] in report.failed
    again = look(folder, state, at("20:15"))  # the timer asks again, and those that failed are looked at
    assert (again.looked, again.had, set(again.failed)) == (1, 3, {KEYS[3]})


def test_where_no_night_is_known_all_is_to_be_tried_again(cold, at):
    folder, state = cold(in_leaf=5)
    for path in folder.glob("station*.csv"):
        path.unlink()
    with closing(sqlite3.connect(state.store)) as store, store:
        store.execute("DELETE FROM forecast_values")
    report = look(folder, state, at("19:45"))
    assert (report.looked, report.unknown, report.exit_code) == (5, 5, Exit.TRY_LATER)
    assert "Tonight is not known, which the next run tries again: 5." in report.lines()
    assert look(folder, state, at("20:15")).looked == 5


def test_what_waits_is_handed_over_by_the_next_look(cold, at, mail_port, postman):
    mail = (
        f'[post.mail]\nhost = "127.0.0.1"\nport = {mail_port}\nsecurity = "none"\nsender = "haulm@example.org"\n'
        "most_a_minute = 60000\n"
    )
    folder, state = cold(mail)
    assert len(postman.letters) == 5
    postman.hold.set()
    report = look(folder, state, at("19:45"))
    assert (report.undelivered, report.exit_code) == (report.written, Exit.PARTLY)
    postman.hold.clear()
    report = look(folder, state, at("20:15"))
    assert (report.undelivered, report.exit_code) == (0, Exit.DONE)
    sent = Counter(str(letter["Message-ID"]) for letter in postman.letters)
    assert set(sent.values()) == {1}
    day = at("19:45").date()
    with open_database(state.store) as database:
        found = [one for key, kind in stored(state, day) for one in deliveries_of(database, key, kind, day)]
    assert {one.status for one in found} == {"sent"}
    assert len(found) + 5 == len(sent)


def test_a_day_by_name_is_looked_at_from_its_own_hour(cold, at, capsys):
    folder, state = cold()
    day = at("12:00").date()
    words = ["evening", "--gardens", str(folder), "--state", str(state.path), "--today", str(day)]
    assert main([*words, "--workers", "0"]) == Exit.DONE
    assert capsys.readouterr().out.startswith("Gardens: 5. Looked at: 5; letters written: ")
    assert main([*words, "--dry-run"]) == Exit.SETTINGS
    assert "--dry-run and --json show one letter" in capsys.readouterr().err
    assert len({text for _, text, *_ in stored(state, day).values()}) >= 2


def test_killed_at_any_step_every_letter_comes_once(cold, at, kill_points, postman, mail_port):
    """But for the one on its way between the server's taking it and our noting that."""
    words = ("evening", "--gardens", ".", "--workers", "0")
    when, later = ({"TRAVEL_TO": at(hour).isoformat()} for hour in ("19:45", "20:15"))

    def fresh(number):
        mail = (
            f'[post.mail]\nhost = "127.0.0.1"\nport = {mail_port}\nsecurity = "none"\n'
            f'sender = "e{number}@example.org"\nmost_a_minute = 60000\n'
        )
        folder, state = cold(mail, name=number, beds=6)
        state.path.rename(folder / "state")
        return folder

    def seen(folder, point, came_by):
        del came_by
        assert kill_points.run(words, folder, later) == 0, (folder / "printed").read_text(encoding="utf-8")
        mine = [one for one in postman.letters if f"e{folder.name}@" in str(one["From"])]
        with closing(sqlite3.connect(folder / "state" / "haulm.sqlite")) as store:
            assert {row[0] for row in store.execute("SELECT status FROM deliveries")} == {"sent"}
            ((letters,),) = store.execute("SELECT COUNT(*) FROM letters").fetchall()
            assert store.execute("SELECT COUNT(*) FROM letters WHERE kind <> 'morning'").fetchone()[0] >= 1
            assert store.execute("SELECT COUNT(*) FROM letters WHERE kind = 'evening-worse'").fetchone()[0] == 0
            assert store.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        open_window = point.step in {Step.MAIL_TAKEN, Step.DELIVERY_SETTLED, Step.BOOK_ENTERED}
        assert len({str(one["Message-ID"]) for one in mine}) == letters
        assert len(mine) <= letters + open_window

    made = kill_points.everywhere("evenings", words, when, fresh, seen, lambda point: point.time == 1)
    assert made >= 18
