"""The one file: made, closed to others, brought up to date, all or nothing."""

import signal
import sqlite3
import stat
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from haulm.errors import BusyError, StoreError
from haulm.steps import Step
from haulm.store.database import Database, migrate, open_database
from haulm.store.migrations import MIGRATIONS

OPEN_ONLY = (
    "import sys, pathlib; from haulm.store.database import open_database; open_database(pathlib.Path(sys.argv[1]))"
)
WRITE_AND_WAIT = """
import sys, pathlib, time
from haulm.steps import Step
from haulm.store.database import open_database
database = open_database(pathlib.Path(sys.argv[1]))
with database.transaction(Step.WEATHER_KEPT):
    database.rows(sys.argv[2])
    print("here", flush=True)
    time.sleep(60)
"""
ADD_RUN = "INSERT INTO runs (garden, kind, day, started, outcome, note) VALUES ('g', 'k', 'd', 's', 'running', '')"


def version(database: Database) -> int:
    row = database.row("PRAGMA user_version")
    assert row is not None
    return int(row[0])


def runs(database: Database) -> int:
    return len(database.rows("SELECT id FROM runs"))


def add_a_run(database: Database) -> None:
    with database.transaction(Step.RUN_BEGUN):
        database.rows(ADD_RUN)


def add_a_run_and_fail(database: Database) -> None:
    with database.transaction(Step.WEATHER_KEPT):
        with database.transaction(Step.WEATHER_KEPT):
            database.rows(ADD_RUN)
        assert runs(database) == 1
        raise ZeroDivisionError


def add_a_run_and_much_else(database: Database) -> None:
    with database.transaction(Step.WEATHER_KEPT):
        database.rows(ADD_RUN)
        database.rows("INSERT INTO states VALUES ('g', 'b', 'f', 'd', '[1]', zeroblob(100000))")


def test_what_has_no_name_is_not_written(database: Database) -> None:
    with pytest.raises(StoreError, match="cannot be written"):
        database.rows(ADD_RUN)
    with pytest.raises(ZeroDivisionError):
        add_a_run_and_fail(database)
    with pytest.raises(StoreError, match="cannot be written"):
        database.run_many(ADD_RUN, [()])
    assert runs(database) == 0


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_first_use_makes_file_and_folder_closed_to_others(path: Path) -> None:
    with open_database(path) as database:
        add_a_run(database)
        assert mode(path.parent) == 0o700
        assert {mode(beside) for beside in path.parent.iterdir()} == {0o600}
        assert len(list(path.parent.iterdir())) == 4  # the file, its log, the log's index, the lock


def test_settings_of_the_connection(database: Database) -> None:
    told = {name: database.rows(f"PRAGMA {name}")[0][0] for name in ("journal_mode", "foreign_keys", "synchronous")}
    assert told == {"journal_mode": "wal", "foreign_keys": 1, "synchronous": 2}
    assert database.rows("PRAGMA busy_timeout")[0][0] >= 1000


def test_every_table_is_strict(database: Database) -> None:
    tables = database.rows(
        "SELECT name, strict FROM pragma_table_list WHERE schema = 'main' AND name NOT LIKE 'sqlite_%'"
    )
    assert {row["name"] for row in tables} == {
        *(
            "weather",
            "forecasts",
            "forecast_values",
            "states",
            "said",
            "letters",
            "deliveries",
            "runs",
            "notes",
            "hours",
            "answers",
            "mailboxes",
            "signing_keys",
        )
    }
    assert all(row["strict"] for row in tables)


def test_opening_again_changes_nothing(path: Path) -> None:
    with open_database(path) as database:
        add_a_run(database)
        tables = [tuple(row) for row in database.rows("SELECT name, sql FROM sqlite_schema")]
    with open_database(path) as database:
        assert version(database) == len(MIGRATIONS)
        assert [tuple(row) for row in database.rows("SELECT name, sql FROM sqlite_schema")] == tables
        assert runs(database) == 1


def test_a_later_step_is_added_to_a_store_in_use(path: Path) -> None:
    with open_database(path) as database:
        add_a_run(database)
        steps = (*MIGRATIONS, ("ALTER TABLE runs ADD COLUMN place TEXT NOT NULL DEFAULT 'here'",))
        assert migrate(database, steps) == len(steps)
        assert [row["place"] for row in database.rows("SELECT place FROM runs")] == ["here"]


def test_a_step_that_another_run_has_just_taken_is_not_taken_again(path: Path, database: Database) -> None:
    steps = (*MIGRATIONS, ("CREATE TABLE later (a TEXT) STRICT",))
    opened, reached = threading.Event(), []

    def migrate_too() -> None:
        with open_database(path) as second:
            opened.set()
            reached.append(migrate(second, steps))

    other = threading.Thread(target=migrate_too)
    with database.transaction(Step.WEATHER_KEPT):
        other.start()
        assert opened.wait(5)
        other.join(0.1)  # it has seen the old version and waits for this transaction
        assert other.is_alive()
        database.rows(steps[-1][0])
        database.rows(f"PRAGMA user_version = {len(steps)}")
    other.join(5)
    assert reached == [len(steps)]


def test_a_step_that_fails_leaves_the_version_before_it(path: Path) -> None:
    with open_database(path) as database:
        steps = (*MIGRATIONS, ("CREATE TABLE half (a TEXT) STRICT", "CREATE TABLE runs (a TEXT) STRICT"))
        with pytest.raises(StoreError, match="runs already exists"):
            migrate(database, steps)
        assert version(database) == len(MIGRATIONS)
        assert database.rows("SELECT 1 FROM sqlite_schema WHERE name = 'half'") == []


def test_a_newer_store_is_refused(path: Path) -> None:
    with open_database(path) as database, database.transaction(Step.TABLES_MADE):
        database.rows("PRAGMA user_version = 99")
    with pytest.raises(StoreError, match="newer haulm") as caught:
        open_database(path)
    assert caught.value.where == str(path)
    assert "newer haulm" in caught.value.remedy


def test_a_strangers_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE theirs (a)")
    connection.close()
    before = path.read_bytes()
    with pytest.raises(StoreError, match="not one of haulm's"):
        open_database(path)
    assert path.read_bytes() == before


def test_a_text_file_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("planted the early ones today\n" * 50, encoding="utf-8")
    with pytest.raises(StoreError, match="not a database"):
        open_database(path)
    assert path.read_text(encoding="utf-8").startswith("planted")


def test_a_file_in_the_folders_place_is_told(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("", encoding="utf-8")
    with pytest.raises(StoreError, match="a file, not a folder"):
        open_database(tmp_path / "state" / "haulm.sqlite")


def test_a_damaged_file_is_told(path: Path) -> None:
    with open_database(path) as database:
        add_a_run(database)
    data = bytearray(path.read_bytes())
    data[4096:] = b"\xff" * (len(data) - 4096)
    path.write_bytes(data)
    with pytest.raises(StoreError, match="damaged"), open_database(path) as database:
        runs(database)


def test_many_first_users_at_once(path: Path) -> None:
    started = [subprocess.Popen([sys.executable, "-c", OPEN_ONLY, str(path)]) for _ in range(4)]
    assert [process.wait(timeout=60) for process in started] == [0] * 4
    with open_database(path) as database:
        assert version(database) == len(MIGRATIONS)


def test_a_fault_takes_all_back_with_the_transactions_inside(database: Database) -> None:
    with pytest.raises(ZeroDivisionError):
        add_a_run_and_fail(database)
    assert runs(database) == 0


def test_a_kill_before_the_commit_leaves_nothing(
    path: Path, second_process: Callable[..., "subprocess.Popen[str]"]
) -> None:
    process = second_process(WRITE_AND_WAIT, str(path), ADD_RUN)
    process.send_signal(signal.SIGKILL)
    process.wait(timeout=10)
    with open_database(path) as database:
        assert runs(database) == 0
        add_a_run(database)
        assert runs(database) == 1


def test_a_writer_that_stays_is_told_as_busy(
    path: Path, database: Database, second_process: Callable[..., "subprocess.Popen[str]"]
) -> None:
    second_process(WRITE_AND_WAIT, str(path), ADD_RUN)
    database.rows("PRAGMA busy_timeout = 20")
    with pytest.raises(BusyError, match="another run"), database.transaction(Step.WEATHER_KEPT):
        database.rows(ADD_RUN)
    assert runs(database) == 0  # reading goes on beside a writer


def test_a_full_disk_stores_nothing(database: Database) -> None:
    database.rows(f"PRAGMA max_page_count = {database.rows('PRAGMA page_count')[0][0]}")
    with pytest.raises(StoreError, match="disk is full"):
        add_a_run_and_much_else(database)
    assert runs(database) == 0
    with database.transaction(Step.WEATHER_KEPT):
        database.rows(ADD_RUN)
    assert runs(database) == 1
