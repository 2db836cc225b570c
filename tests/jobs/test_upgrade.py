"""A store and settings of an earlier haulm upgrade without a hand: all rows kept, and the next morning carried."""

import re
import shutil
import sqlite3
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from haulm.errors import Exit, StoreError
from haulm.jobs.mend import mend
from haulm.jobs.morning import morning
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import load
from haulm.store import database as of_the_store
from haulm.store.copies import copies_in
from haulm.store.database import copies_of, migrate, open_database
from haulm.store.letters import Status, deliveries_of, headings
from haulm.store.migrations import MIGRATIONS

RELEASED = Path(__file__).parents[1] / "store" / "released"
VERSIONS = range(1, len(MIGRATIONS) + 1)
LAST, NEXT = date(2027, 5, 4), date(2027, 5, 5)


def rows_of(path):
    """Every row of every table, under its table and columns."""
    found = {}
    with sqlite3.connect(path) as connection:
        for (table,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'").fetchall():
            cursor = connection.execute(f'SELECT * FROM "{table}"')  # noqa: S608  its own name
            columns = tuple(column[0] for column in cursor.description)
            found[table] = (columns, sorted(cursor.fetchall(), key=repr))
    connection.close()
    return found


@pytest.fixture(params=VERSIONS)
def version(request):
    return request.param


@pytest.fixture
def state(tmp_path, version):
    state = StateFolder(tmp_path / "state")
    state.path.mkdir()
    with sqlite3.connect(state.store) as connection:
        connection.executescript((RELEASED / f"version-{version}.sql").read_text(encoding="utf-8"))
    connection.close()
    return state


@pytest.fixture
def gardens(tmp_path, network, mail_port, write_invented_days):
    for name in ("brackenford.toml", "sallow-wells.toml"):
        shutil.copy(RELEASED / name, tmp_path)
    write_invented_days(tmp_path / "weather.csv", NEXT, 90, date(2027, 1, 1))
    environ = network | {"HAULM_POST__MAIL__PORT": str(mail_port)}
    return load(tmp_path / "brackenford.toml", environ), load(tmp_path / "sallow-wells.toml")


def version_of(path):
    with sqlite3.connect(path) as connection:
        (found,) = connection.execute("PRAGMA user_version").fetchone()
    connection.close()
    return found


def waiting_mail(path):
    with open_database(path) as database:
        (waited,) = [d for d in deliveries_of(database, "brackenford", "morning", LAST) if d.address.channel == "mail"]
    return waited


def test_each_released_version_has_its_dump():
    assert sorted(int(re.findall(r"\d+", path.name)[0]) for path in RELEASED.glob("*.sql")) == list(VERSIONS)


def test_a_dump_is_what_it_says(state, version):
    assert version_of(state.store) == version
    held = rows_of(state.store)
    assert len(held["letters"][1]) == 6
    assert ("hours" in held, "answers" in held) == (version >= 2, version >= 3)


def test_all_rows_are_kept(state):
    before = rows_of(state.store)
    open_database(state.store).close()
    after = rows_of(state.store)
    assert version_of(state.store) == len(MIGRATIONS)
    assert {table: after[table] for table in before} == before
    with open_database(state.store) as database:
        assert database.check(full=True)


def test_a_copy_of_the_old_store_is_made_first(state, version):
    before = rows_of(state.store)
    open_database(state.store).close()
    copies = copies_in(copies_of(state.store))
    if version == len(MIGRATIONS):
        assert copies == ()
        return
    assert [copy.version for copy in copies] == [version]
    assert version_of(copies[0].path) == version
    assert rows_of(copies[0].path) == before
    open_database(state.store).close()
    assert copies_in(copies_of(state.store)) == copies


def test_the_next_morning_of_each_garden_is_carried(state, gardens, world, postman):
    world.today = NEXT
    tried = waiting_mail(state.store).attempts
    done = [morning(each, state, datetime(2027, 5, 5, 13, 30, tzinfo=UTC)) for each in gardens]
    assert [one.letter.day for one in done] == [NEXT, NEXT]
    assert done[0].exit_code is Exit.DONE
    assert "memory" not in done[0].letter.text
    # The letter that waited, and today's; those that had gone do not go again.
    assert [letter["Date"].datetime.date() for letter in postman.letters] == [LAST, NEXT]
    with open_database(state.store) as database:
        for each in gardens:
            assert len(headings(database, each.garden.key)) == 4
    waited = waiting_mail(state.store)
    assert (waited.status, waited.attempts) == (Status.SENT, tried + 1)
    later = [morning(each, state, datetime(2027, 5, 5, 14, tzinfo=UTC)) for each in gardens]
    assert [one.letter.subject for one in later] == [one.letter.subject for one in done]
    assert len(postman.letters) == 2


def test_an_old_store_that_was_damaged_is_mended_from_the_copy_its_upgrade_made(state, gardens, version):
    if version == len(MIGRATIONS):
        pytest.skip("nothing was changed, so nothing was copied before")
    open_database(state.store).close()
    with state.store.open("r+b") as file:
        file.truncate(file.seek(0, 2) // 2)
    report = mend(gardens[1], state, datetime(2027, 5, 5, 13, 30, tzinfo=UTC))
    assert "took its place" in " ".join(report.lines)
    with open_database(state.store) as database:
        assert len(headings(database, "sallow-wells")) == 3


def test_a_failed_step_leaves_the_old_store_to_the_next_try(state, version):
    steps = (*MIGRATIONS, ("CREATE TABLE half (a TEXT) STRICT", "CREATE TABLE runs (a TEXT) STRICT"))
    before = rows_of(state.store)
    with of_the_store.connect(state.store) as database, pytest.raises(StoreError, match="runs already exists"):
        migrate(database, steps)
    after = rows_of(state.store)
    assert "half" not in after
    assert {table: after[table] for table in before} == before
    assert version_of(state.store) == version


def test_an_older_haulm_refuses_a_newer_store_before_it_writes(state, version):
    if version == 1:
        pytest.skip("there is none older")
    before = state.store.read_bytes()
    with sqlite3.connect(state.store) as connection:
        connection.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    connection.close()
    newer = state.store.read_bytes()
    with pytest.raises(StoreError, match="newer haulm"):
        open_database(state.store)
    assert state.store.read_bytes() == newer != before
    assert copies_in(copies_of(state.store)) == ()
    assert not any(path.name.endswith((".part", "-journal")) for path in state.path.iterdir())


def test_the_day_after_the_upgrade_looks_like_any_other(state, gardens, world):
    for number in range(2):
        world.today = NEXT + timedelta(days=number)
        day = world.today
        done = morning(gardens[0], state, datetime(day.year, day.month, day.day, 5, 30, tzinfo=UTC))
        assert "There was no letter" not in done.letter.text
    assert len(copies_in(copies_of(state.store))) >= 2
