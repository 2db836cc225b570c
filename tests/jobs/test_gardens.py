"""Many gardens in one run: the letters of the one-garden program, each once, and one garden's fault its own."""

import importlib
import sqlite3
from collections import Counter
from contextlib import closing
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from haulm.cli import main
from haulm.errors import Exit
from haulm.jobs import gardens as office_run
from haulm.jobs.engine import Here, WorkerLostError, engine_for
from haulm.jobs.gardens import morning_of_gardens
from haulm.jobs.morning import as_of_morning, morning
from haulm.jobs.office import Wishes
from haulm.jobs.state_folder import StateFolder
from haulm.settings.gardens import gardens_in
from haulm.steps import Step
from haulm.store.database import open_database
from haulm.store.letters import Status, all_deliveries, letter_of


@pytest.fixture
def run(office):
    def morning_of(folder, state, engine=None, environ=(), now=None, **wishes):
        now = now or datetime.combine(office.morning, time(6, 45), ZoneInfo("Europe/London"))
        many = gardens_in(folder, dict(environ))
        return morning_of_gardens(many, state, now, engine or Here(), Wishes(**wishes))

    return morning_of


def letters(state, keys, day):
    with open_database(state.store) as database:
        found = [letter_of(database, key, "morning", day) for key in keys]
    return {letter.garden: (letter.subject, letter.text, letter.html, letter.json) for letter in found if letter}


def mail_by(port, sender="haulm"):
    return (
        f'[post.mail]\nhost = "127.0.0.1"\nport = {port}\nsecurity = "none"\nsender = "{sender}@example.org"\n'
        "most_a_minute = 60000\n"
    )


KEYS = tuple(f"grower{number:06d}" for number in range(5))


def test_each_letter_is_the_one_garden_programs(office, run, tmp_path):
    """To the byte, also on the second morning, which knows what the first said."""
    folder, state = office()
    alone = StateFolder(tmp_path / "alone")
    alone.path.mkdir()
    for path in state.path.glob("*.jsonl"):
        (alone.path / path.name).write_bytes(path.read_bytes())
    for day in (office.morning, office.morning + timedelta(days=1)):
        now = datetime.combine(day, time(6, 30), ZoneInfo("Europe/London"))
        report = run(folder, state, now=now)
        assert (report.written, report.failed) == (5, {})
        for _, settings in gardens_in(folder, {}).settings(KEYS):
            morning(settings, alone, now)
        together, one_by_one = (letters(where, KEYS, day) for where in (state, alone))
        assert together.keys() == set(KEYS)
        assert together == one_by_one
    assert len({text for _, text, *_ in together.values()}) == 5


def test_by_other_processes_too(office, run):
    folder, state = office()
    _, other = office(name="other")
    with engine_for(2) as pool:
        assert run(folder, state, pool).written == 5
    assert run(folder, other).written == 5
    assert letters(state, KEYS, office.morning) == letters(other, KEYS, office.morning)


def test_by_an_engine_of_others_too(office, run):
    """Dask, where it is installed: two workers in processes of their own."""
    distributed = pytest.importorskip("distributed", reason="the extra `scale` is not installed")
    folder, state = office()
    _, other = office(name="other")
    with (
        distributed.LocalCluster(2, processes=True, threads_per_worker=1, dashboard_address=None) as cluster,
        engine_for(0, cluster.scheduler_address) as engine,
    ):
        assert run(folder, state, engine).written == 5
    assert run(folder, other).written == 5
    assert letters(state, KEYS, office.morning) == letters(other, KEYS, office.morning)


def test_a_second_run_finds_nothing_to_do(office, run):
    folder, state = office()
    run(folder, state)
    again = run(folder, state)
    assert (again.written, again.had, again.exit_code) == (0, 5, Exit.DONE)


def test_each_garden_waits_for_its_own_hour(office, run):
    folder, state = office()
    rows = (folder / "growers.csv").read_text().splitlines()
    hours = ["letter.at", "06:45", "07:15", "05:00", "06:00", "11:00"]
    (folder / "growers.csv").write_text("\n".join(f"{row},{at}" for row, at in zip(rows, hours, strict=True)))
    report = run(folder, state)
    assert (report.written, report.early, report.exit_code) == (3, 2, Exit.DONE)
    later = datetime.combine(office.morning, time(13, 0), ZoneInfo("Europe/London"))
    report = run(folder, state, now=later)
    assert (report.written, report.had, report.early, report.late) == (0, 3, 0, 2)
    assert run(folder, state, now=later, at_once=True).written == 2


def test_one_growers_slip_is_that_growers_alone(office, run):
    folder, state = office()
    rows = (folder / "beds.csv").read_text().splitlines()
    rows[1] = rows[1].replace(" m,", " miles,", 1)
    (folder / "beds.csv").write_text("\n".join(rows))
    state.path.joinpath("grower000003.journal.jsonl").unlink(missing_ok=True)
    state.path.joinpath("grower000003.journal.jsonl").mkdir()
    report = run(folder, state)
    assert report.written == 3
    assert report.failed.keys() == {"grower000000", "grower000003"}
    assert report.exit_code is Exit.PARTLY
    told = "\n".join(report.lines())
    assert "beds.csv, line 2" in told
    assert "the journal cannot be read" in told


def test_a_fault_of_the_common_file_is_told_once(office, run, caplog, capsys):
    folder, state = office("[backups]\ndays = 1\n")
    common = folder / "common.toml"
    common.write_text(common.read_text().replace("days = 1", "dais = 1"))
    report = run(folder, state)
    assert (len(report.failed), report.exit_code) == (5, Exit.SETTINGS)
    told = "All 5 gardens: 1 fault in the settings\n  - common.toml, line 6, backups.dais: unknown key."
    for texts in (report.lines(), [record.getMessage() for record in caplog.records]):
        assert [text.count("backups.dais") for text in texts if "backups.dais" in text] == [1]
        assert any(text.startswith(told) for text in texts)
    assert "Could not be done: 5." in report.lines()
    assert "failed=5 exit=2" in caplog.text
    assert main(["check", "--gardens", str(folder)]) == Exit.SETTINGS
    shown = capsys.readouterr().out
    assert shown.startswith(told)
    assert shown.count("backups.dais") == 1
    assert "Rows or files that cannot be used: 5." in shown


def test_the_log_has_the_trace_of_a_fault_of_our_own(office, run, caplog, monkeypatch):
    def stumble(*_):
        raise ZeroDivisionError

    monkeypatch.setattr(office_run, "bring", stumble)
    folder, state = office()
    report = run(folder, state)
    (told,) = (record for record in caplog.records if "fault of haulm's own" in record.getMessage())
    assert told.getMessage().startswith("All 5 gardens: a fault of haulm's own (ZeroDivisionError")
    assert told.exc_info is not None
    assert len(report.failed) == 5


def test_a_letter_that_cannot_be_written_spoils_no_other(office, run, clumsy):
    folder, state = office()

    report = run(folder, state, clumsy)
    assert (report.written, len(report.failed)) == (4, 1)
    again = run(folder, state)
    assert (again.written, again.had) == (1, 4)


class Deadly(Here):
    """Loses its worker over one garden each time, and over any chunk that holds it."""

    def __init__(self, victim):
        self.victim, self.lost = victim, 0

    def submit(self, work, task):
        def result():
            if any(one.garden.key == self.victim for alike in task for one in alike.letters):
                self.lost += 1
                raise WorkerLostError("gone")
            return work(task)

        return result


def test_a_garden_that_ends_its_worker_each_time_ends_no_other(office, run):
    folder, state = office()
    engine = Deadly("grower000002")
    report = run(folder, state, engine)
    assert (report.written, set(report.failed), engine.lost) == (4, {"grower000002"}, 3)


def test_a_worker_killed_in_the_middle_loses_no_letter(office, run, monkeypatch, tmp_path):
    monkeypatch.setenv("FLAG", str(tmp_path / "flag"))
    monkeypatch.syspath_prepend(Path(__file__).parent / "kill")
    monkeypatch.setattr("haulm.jobs.office.CHUNK", 2)
    monkeypatch.setattr(office_run, "write_chunk", importlib.import_module("killed_once").killed_once)
    folder, state = office('folder = "letters"\n')
    with engine_for(1) as pool:
        report = run(folder, state, pool)
    assert (tmp_path / "flag").exists()
    assert (report.written, report.failed) == (5, {})
    with open_database(state.store) as database:
        assert [one.status for key in KEYS for one in all_deliveries(database, key)] == [Status.SENT] * 5


def test_the_mail_is_handed_over_by_one_connection(office, run, mail_port, postman):
    folder, state = office(mail_by(mail_port))
    peers = set()
    taking = postman.handle_DATA

    async def noting(server, session, envelope):
        peers.add(session.peer)
        return await taking(server, session, envelope)

    postman.handle_DATA = noting
    report = run(folder, state)
    assert report.written == 5
    wanted = [f"Grower {number} <{key}@example.org>" for number, key in enumerate(KEYS)]
    assert sorted(str(letter["To"]) for letter in postman.letters) == wanted
    assert len(peers) == 1


def test_a_server_that_takes_nothing_is_told_and_tried_again(office, run, mail_port, postman):
    folder, state = office(mail_by(mail_port))
    postman.hold.set()
    report = run(folder, state)
    assert (report.undelivered, report.exit_code) == (5, Exit.TRY_LATER)
    postman.hold.clear()
    later = datetime.combine(office.morning, time(7, 0), ZoneInfo("Europe/London"))
    report = run(folder, state, now=later)
    assert (report.written, report.had, report.undelivered, report.exit_code) == (0, 5, 0, Exit.DONE)
    assert len(postman.letters) == 5


def test_killed_at_any_step_every_letter_comes_once(office, kill_points, postman, mail_port, tmp_path):
    """But for the one on its way between the server's taking it and our noting that."""
    when = {"TRAVEL_TO": datetime.combine(office.morning, time(6, 45), ZoneInfo("Europe/London")).isoformat()}
    words = ("morning", "--gardens", ".", "--workers", "0")

    def fresh(number):
        mail = (
            f'[post.mail]\nhost = "127.0.0.1"\nport = {mail_port}\nsecurity = "none"\nsender = "h{number}@example.org"'
        )
        folder, state = office(f"{mail}\nmost_a_minute = 60000\n", beds=6, name=number)
        state.path.rename(folder / "state")
        return folder

    def look(folder, point, came_by):
        del came_by
        assert kill_points.run(words, folder, when) == 0, (folder / "printed").read_text(encoding="utf-8")
        mine = [one for one in postman.letters if f"h{folder.name}@" in str(one["From"])]
        found = Counter(str(one["To"]) for one in mine)
        open_window = point.step in {Step.MAIL_TAKEN, Step.DELIVERY_SETTLED, Step.BOOK_ENTERED}
        assert len(found) == 3
        assert sum(found.values()) <= 3 + open_window
        assert len({str(one["Message-ID"]) for one in mine}) == 3
        with closing(sqlite3.connect(folder / "state" / "haulm.sqlite")) as store:
            assert [row[0] for row in store.execute("SELECT status FROM deliveries")] == ["sent"] * 3
            assert store.execute("PRAGMA integrity_check").fetchone() == ("ok",)

    chosen = {(Step.DELIVERY_CLAIMED, 2), (Step.MAIL_TAKEN, 2), (Step.DELIVERY_SETTLED, 3), (Step.BOOK_ENTERED, 4)}
    made = kill_points.everywhere(
        "gardens", words, when, fresh, look, lambda point: point.time == 1 or (point.step, point.time) in chosen
    )
    assert made >= 30


def test_old_letters_are_let_go_by_each_gardens_own_time(office, run):
    folder, state = office()
    rows = (folder / "growers.csv").read_text().splitlines()
    kept = ["letter.kept_days", "40", "", "", "", ""]
    (folder / "growers.csv").write_text("\n".join(f"{row},{days}" for row, days in zip(rows, kept, strict=True)))
    run(folder, state)
    later = datetime.combine(office.morning + timedelta(days=41), time(6, 45), ZoneInfo("Europe/London"))
    assert run(folder, state, now=later).written == 5
    with open_database(state.store) as database:
        old = [letter_of(database, key, "morning", office.morning) for key in KEYS]
    assert [letter.html == "" for letter in old] == [True, False, False, False, False]


def test_the_run_line_and_the_words(office, run, caplog):
    caplog.set_level("INFO")
    folder, state = office()
    report = run(folder, state, day=date(2027, 5, 11))
    assert report.lines() == ["Gardens: 5. Letters written: 5; had theirs: 0."]
    assert (
        "haulm-gardens version=1 gardens=5 written=5 had=0 early=0 late=0 busy=0 stale=0 undelivered=0 failed=0 "
        in (caplog.text)
    )


def test_a_day_by_name_is_thought_from_its_own_hour(office, run):
    folder, state = office()
    day = office.morning - timedelta(days=2)
    run(folder, state, day=day)
    with open_database(state.store) as database:
        letter = letter_of(database, KEYS[0], "morning", day)
    (_, settings) = next(gardens_in(folder, {}).settings(KEYS))
    assert letter is not None
    assert letter.written == as_of_morning(settings, day)
    assert letter.written.astimezone(UTC).hour == 5


def test_from_the_command_line(office, capsys):
    folder, state = office()
    check = ["check", "--gardens", str(folder), "--state", str(state.path)]
    state.path.chmod(0o755)
    assert main(check) == Exit.DONE
    ready, told = capsys.readouterr().out.split("\n", 1)
    assert ready == "Ready: gardens 5, beds 10, places 2."
    assert told.split() == f"Others on this machine can read {state.path}: run chmod 700 on it.".split()
    state.path.chmod(0o700)
    assert main(check) == Exit.DONE
    assert capsys.readouterr().out == "Ready: gardens 5, beds 10, places 2.\n"
    words = ["morning", "--gardens", str(folder), "--state", str(state.path), "--today", "2027-05-11"]
    assert main([*words, "--workers", "0"]) == Exit.DONE
    assert capsys.readouterr().out == "Gardens: 5. Letters written: 5; had theirs: 0.\n"
    assert main([*words, "--json"]) == Exit.SETTINGS
    assert "--dry-run and --json show one letter" in capsys.readouterr().err
    assert main([*words, "--engine", "tcp://127.0.0.1:1"]) == Exit.SETTINGS
    assert "haulm[scale]" in (told := capsys.readouterr().err) or "no engine answers" in told
    (folder / "beds.csv").write_text((folder / "beds.csv").read_text().replace("silt loam", "cheese"))
    assert main(["check", "--gardens", str(folder)]) == Exit.SETTINGS
    assert "texture" in capsys.readouterr().out
