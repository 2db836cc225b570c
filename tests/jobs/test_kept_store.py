"""A store that is damaged or lost: the next run mends it by itself, says so, and sends nothing twice."""

import errno
import json
import shutil
import sqlite3
from datetime import UTC, date, datetime, timedelta

import pytest

from haulm.errors import BusyError, Exit, StoreError
from haulm.garden import What
from haulm.jobs.kept_store import LONGEST_S, use_store
from haulm.jobs.morning import morning
from haulm.jobs.notes import note
from haulm.jobs.standing import known_runs
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.store.answers import signing_key
from haulm.store.copies import copies_in
from haulm.store.database import copies_of, damaged_of, open_database
from haulm.store.letters import headings, letter_of
from haulm.store.lock import lock
from haulm.store.notes import read_notes
from haulm.store.post_book import book_of
from haulm.store.runs import Outcome, events, read_runs
from haulm.store.said import read_said
from haulm.store.upkeep import CHECKED

FIRST = date(2027, 5, 4)
PAGE = 4096


def at(day, hour=6):
    return datetime(day.year, day.month, day.day, hour, 30, tzinfo=UTC)


def after(days):
    return FIRST + timedelta(days=days)


@pytest.fixture
def settings(tmp_path, mail_port, write_invented_days):
    """The sample's garden, whose letters also go by mail."""
    mail = f'\n[post.mail]\nhost = "127.0.0.1"\nport = {mail_port}\nsecurity = "none"\nsender = "haulm@example.org"\n'
    path = tmp_path / "haulm.toml"
    path.write_text(sample_toml() + mail, encoding="utf-8")
    loaded = load(path)
    write_invented_days(loaded.weather.file, after(20), 500, date(2025, 1, 1))
    return loaded


@pytest.fixture
def state(tmp_path):
    return StateFolder(tmp_path / "state")


@pytest.fixture
def run(settings, state):
    """A morning of a day; what it printed would be `letter.text`."""

    def go(day, hour=6):
        return morning(settings, state, at(day, hour))

    return go


def told(done):
    return " ".join(done.letter.text.split())


def subjects(postman):
    return [letter["Date"].datetime.date() for letter in postman.letters]


def pages(path, *numbers, fill=b"\xff"):
    with path.open("r+b") as file:
        for number in numbers:
            file.seek(PAGE * number)
            file.write(fill * PAGE)


def root_page(path, name):
    with sqlite3.connect(path) as connection:
        (page,) = connection.execute("SELECT rootpage FROM sqlite_schema WHERE name = ?", (name,)).fetchone()
    connection.close()
    return page - 1


def cut_in_half(path):
    with path.open("r+b") as file:
        file.truncate(path.stat().st_size // 2 // PAGE * PAGE)


def cut_short(path):
    with path.open("r+b") as file:
        file.truncate(50)


def empty(path):
    path.write_bytes(b"")


def remove(path):
    path.unlink()


def forbid_writing(path):
    with path.open("r+b") as file:
        file.seek(18)
        file.write(b"\x07")


def lose_the_head(path):
    with path.open("r+b") as file:
        file.write(b"\x00" * 100)


def flip_the_owner(path):
    with path.open("r+b") as file:
        file.seek(68)
        file.write(b"\x01\x02\x03\x04")


def damage_a_table(path):
    pages(path, root_page(path, "letters"))


def damage_an_index(path):
    pages(path, root_page(path, "waiting_deliveries"))


def lose_rows_of_an_index(path):
    """Tree and pages are right, but the index tells of fewer rows than the table has: only a full check sees that."""
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA writable_schema = ON")
        connection.execute(
            "UPDATE sqlite_schema SET sql = replace(sql, 'kind, day', 'day, kind') WHERE name = ?", ("runs_of_a_day",)
        )
    connection.close()


DAMAGES = [
    cut_in_half, cut_short, empty, remove, lose_the_head, flip_the_owner, damage_a_table, damage_an_index,
    lose_rows_of_an_index, forbid_writing,
]  # fmt: skip


@pytest.mark.parametrize("damage", DAMAGES, ids=lambda one: one.__name__)
def test_the_next_morning_mends_a_damaged_store_and_says_so(run, state, settings, postman, damage, caplog):
    note(settings.garden, state, "gatebed", "soil 9 C", now=at(FIRST, 5))
    run(FIRST)
    damage(state.store)
    left = state.store.read_bytes() if state.store.exists() else b""
    done = run(after(1))
    assert done.exit_code in {Exit.DONE, Exit.PARTLY}
    assert subjects(postman) == [FIRST, after(1)]
    assert "haulm's memory (its file haulm.sqlite) was" in told(done)
    assert "copy of Tuesday 4 May 2027, 06:30 UTC took its place" in told(done)
    assert "There was no letter" not in told(done)
    aside = sorted(damaged_of(state.store).glob("*.sqlite"))
    if damage is remove:
        assert aside == []
    else:
        assert [one.name for one in aside] == ["haulm-20270505T063000Z.sqlite"]
        assert len(aside[0].read_bytes()) == len(left)
    with open_database(state.store) as database:
        assert database.check(full=True)
        assert [one.day for one in headings(database, settings.garden.key)] == [FIRST, after(1)]
        assert [one.what for one in read_notes(database, settings.garden.key, FIRST, FIRST)] == [What.SOIL_READ]
    assert "was" in caplog.text
    assert "haulm's memory" not in told(run(after(2)))  # said once
    assert subjects(postman) == [FIRST, after(1), after(2)]


@pytest.mark.parametrize("damage", [cut_in_half, remove, empty], ids=lambda one: one.__name__)
@pytest.mark.parametrize("with_folder", [True, False], ids=["folder", "no folder"])
def test_a_letter_that_went_after_the_newest_copy_does_not_go_again(
    tmp_path, state, postman, damage, with_folder, settings
):
    if not with_folder:
        path = tmp_path / "haulm.toml"
        path.write_text(path.read_text(encoding="utf-8").replace('\nfolder = "letters"', '\n# folder = "letters"'))
        settings = load(path)
    morning(settings, state, at(FIRST))
    for copy in copies_in(copies_of(state.store)):
        shutil.copy(copy.path, tmp_path / copy.path.name)
    first = morning(settings, state, at(after(1)))
    shutil.rmtree(copies_of(state.store))
    copies_of(state.store).mkdir()
    for held in tmp_path.glob("haulm-*.sqlite"):
        shutil.move(held, copies_of(state.store))
    damage(state.store)
    again = morning(settings, state, at(after(1), 7))
    assert subjects(postman) == [FIRST, after(1)]
    if with_folder:
        assert again.letter.text == first.letter.text  # the very letter, read back
    assert morning(settings, state, at(after(1), 8)).exit_code in {Exit.DONE, Exit.PARTLY}
    third = morning(settings, state, at(after(2)))
    assert subjects(postman) == [FIRST, after(1), after(2)]
    assert "took its place" in told(third) or "took its place" in told(again)
    assert "no letter on" not in told(third)
    assert len(list((tmp_path / "letters").rglob("*.txt"))) == (3 if with_folder else 0)


def test_without_any_copy_a_new_store_begins_and_nothing_goes_twice(run, state, settings, postman, tmp_path):
    run(FIRST)
    shutil.rmtree(copies_of(state.store))
    remove(state.store)
    assert run(FIRST, 8).letter.day == FIRST
    assert subjects(postman) == [FIRST]
    done = run(after(1))
    assert subjects(postman) == [FIRST, after(1)]
    assert "There was no sound copy, so it begins anew" in told(done)
    with open_database(state.store) as database:
        assert [one.day for one in headings(database, settings.garden.key)] == [FIRST, after(1)]  # from the folder


def test_store_copies_and_book_lost_at_once_hold_todays_letter_back_and_tell_of_it(run, state, postman, settings):
    run(FIRST)
    shutil.rmtree(copies_of(state.store))
    shutil.rmtree(book_of(state.store, settings.garden.key).parent)
    lose_the_head(state.store)
    run(FIRST, 8)
    assert subjects(postman) == [FIRST]
    done = run(after(1))
    assert subjects(postman) == [FIRST, after(1)]
    assert "Whether the morning letter of Tuesday 4 May reached everybody is not known any more" in told(done)


def test_mornings_that_a_lost_store_knew_are_not_called_missed_and_missed_ones_are(
    run, state, postman, settings, tmp_path
):
    run(FIRST)
    run(after(1))
    shutil.rmtree(settings.post.folder)
    shutil.rmtree(copies_of(state.store))
    remove(state.store)
    done = run(after(4))
    assert "There were no letters from Thursday 6 May to Friday 7 May" in told(done)
    assert subjects(postman) == [FIRST, after(1), after(4)]


def test_where_book_and_store_are_gone_the_days_between_are_not_known(run, state, postman, settings):
    run(FIRST)
    cut_in_half(state.store)
    shutil.rmtree(book_of(state.store, settings.garden.key).parent)
    shutil.rmtree(settings.post.folder)
    done = run(after(3))
    assert "Whether there were letters from Wednesday 5 May to Thursday 6 May is not known any more" in told(done)


def test_a_log_that_lost_its_last_transactions_sends_nothing_again(settings, state, postman, run):
    """A power cut leaves the write-ahead log behind; one flipped byte in it takes back all that was not yet moved."""
    run(FIRST)
    keeper = sqlite3.connect(state.store)  # as long as it is open, the log is not moved into the file
    keeper.execute("SELECT COUNT(*) FROM runs").fetchone()
    run(after(1))
    log = state.store.with_name("haulm.sqlite-wal")
    spoiled = bytearray(log.read_bytes())
    spoiled[200] ^= 0xFF
    shutil.copy(state.store, state.store.with_name("kept"))
    keeper.close()
    for part in ("-wal", "-shm"):
        state.store.with_name(f"haulm.sqlite{part}").unlink(missing_ok=True)
    state.store.with_name("kept").rename(state.store)
    log.write_bytes(spoiled)
    with open_database(state.store) as database:
        assert [run.day for run in read_runs(database, settings.garden.key, FIRST)] == [FIRST]  # it forgot a day
    run(after(1), 8)
    assert subjects(postman) == [FIRST, after(1)]


def test_damage_that_shows_only_while_the_morning_works_is_mended_in_the_same_run(run, state, settings, postman):
    run(FIRST)
    with open_database(state.store) as database:
        database.rows("PRAGMA query_only = OFF")
        database.rows("UPDATE runs SET started = ? WHERE kind = ?", ("2027-05-05T06:00:00.000000Z", CHECKED))
    damage_a_table(state.store)
    done = run(after(1))  # by its note it was checked half an hour ago
    assert "took its place" in told(done)
    assert subjects(postman) == [FIRST, after(1)]


def test_a_sound_store_is_checked_once_a_day_and_the_check_noted(run, state):
    run(FIRST)
    run(FIRST, 9)
    with open_database(state.store) as database:
        assert [one.started for one in events(database, CHECKED)] == [at(FIRST)]
    run(after(1))
    with open_database(state.store) as database:
        assert [one.started for one in events(database, CHECKED)] == [at(after(1))]


def test_a_check_has_a_limit_in_time(state, run):
    run(FIRST)
    with open_database(state.store) as database:
        assert database.check(patience_s=LONGEST_S)
        database.rows("PRAGMA query_only = OFF")
        database.run_many("INSERT INTO hours VALUES ('s', ?, 'air_c', 1.0)", [(f"{n:08d}",) for n in range(120_000)])
        assert not database.check(full=True, patience_s=0.0)
        assert database.check(full=True)


def test_a_newer_store_is_no_damage_and_left_as_it_is(run, state):
    run(FIRST)
    with sqlite3.connect(state.store) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()
    before = state.store.read_bytes()
    with pytest.raises(StoreError, match="newer haulm"):
        run(after(1))
    assert state.store.read_bytes() == before
    assert not damaged_of(state.store).exists()


def test_a_strangers_database_is_left_as_it_is(run, state):
    state.path.mkdir()
    with sqlite3.connect(state.store) as connection:
        connection.execute("CREATE TABLE theirs (a)")
    connection.close()
    before = state.store.read_bytes()
    with pytest.raises(StoreError, match="not one of haulm's"):
        run(FIRST)
    assert state.store.read_bytes() == before


def test_a_store_that_others_have_open_is_not_taken_from_under_them(run, state, monkeypatch):
    run(FIRST)
    monkeypatch.setattr("haulm.store.mend._PATIENCE_S", 0.1)
    with open_database(state.store):
        damage_a_table(state.store)
        with pytest.raises(BusyError):
            run(after(1))
    assert not damaged_of(state.store).exists()
    assert "took its place" in told(run(after(1)))


def test_the_schedule_takes_a_damaged_store_for_a_morning_that_is_due(run, state, settings):
    run(FIRST)
    assert len(known_runs(settings, state, at(FIRST, 8)).runs) == 1
    lose_the_head(state.store)
    assert known_runs(settings, state, at(FIRST, 8)).runs == ()
    empty(state.store)
    assert known_runs(settings, state, at(FIRST, 8)).runs == ()
    assert state.store.read_bytes() == b""  # asking made no new store of it


def test_the_key_of_the_links_comes_back_with_the_copy(run, state, settings):
    state.path.mkdir()
    with open_database(state.store) as database:
        key = signing_key(database, at(FIRST))
    run(FIRST)
    cut_in_half(state.store)
    run(after(1))
    with open_database(state.store) as database:
        assert signing_key(database, at(after(1))) == key


def test_two_gardens_share_a_store_and_each_is_told(settings, state, postman, tmp_path):
    other_file = tmp_path / "second.toml"
    other_file.write_text((tmp_path / "haulm.toml").read_text(encoding="utf-8"))
    other = load(other_file)
    assert other.garden.key != settings.garden.key
    for each in (settings, other):
        morning(each, state, at(FIRST))
    assert len(copies_in(copies_of(state.store))) == 1
    cut_in_half(state.store)
    one, two = (morning(each, state, at(after(1))) for each in (settings, other))
    assert "took its place" in told(one)
    assert "took its place" in told(two)
    assert len(list(damaged_of(state.store).glob("*.sqlite"))) == 1
    assert subjects(postman) == [FIRST, FIRST, after(1), after(1)]
    # The second garden's letter of the first day came after the day's copy: it was read back from the folder.
    with open_database(state.store) as database:
        assert [head.day for head in headings(database, other.garden.key)] == [FIRST, after(1)]


def test_work_that_fails_for_another_reason_is_not_done_twice(state):
    done = []

    def fail(database):
        done.append(database)
        raise StoreError("something else")

    with pytest.raises(StoreError, match="something else"):
        use_store(state.store, at(FIRST), fail)
    assert len(done) == 1


def test_runs_read_back_count_as_done(run, state, settings):
    run(FIRST)
    shutil.rmtree(copies_of(state.store))
    remove(state.store)
    run(FIRST, 8)
    with open_database(state.store) as database:
        runs = read_runs(database, settings.garden.key, FIRST)
    assert [(one.outcome, one.note) for one in runs] == [(Outcome.DONE, "read back from its folder")]


def _back_to_the_first_copy(state):
    """The store is gone, and its only copy is that of the first day."""
    for copy in copies_in(copies_of(state.store))[:-1]:
        copy.path.unlink()
    remove(state.store)


def test_what_forgotten_letters_said_is_not_said_again(run, state, settings):
    key, begins, ends = settings.garden.key, -40, -28  # from 25 March, when it is soon time to chit
    for number in range(begins, ends):
        run(after(number))
    with open_database(state.store) as database:
        before = [one for one in read_said(database, key) if one.ended_on is None]
    copied = copies_in(copies_of(state.store))[-1].made.date()
    since = {(one.rule, one.episode, one.verdict) for one in before if one.first_on > copied}
    assert since, "the letters since the copy said something new"
    _back_to_the_first_copy(state)
    run(after(ends - 1), 9)
    with open_database(state.store) as database:
        known = {(one.rule, one.episode, one.verdict) for one in read_said(database, key) if one.ended_on is None}
    assert since <= known
    fresh = {
        (one["rule"], one["verdict"]) for one in json.loads(run(after(ends)).letter.json)["alerts"] if one["fresh"]
    }
    assert not fresh & {(rule, verdict) for rule, _, verdict in since}


def test_a_letter_that_a_wrong_clock_dated_ahead_is_read_back_too(run, state, settings):
    run(FIRST)
    ahead = run(after(9))
    _back_to_the_first_copy(state)
    run(after(1))
    with open_database(state.store) as database:
        days = [head.day for head in headings(database, settings.garden.key)]
        assert sorted(days) == [FIRST, after(1), after(9)]
        assert letter_of(database, settings.garden.key, "morning", after(9)).text == ahead.letter.text


def test_a_copy_that_a_wrong_clock_ran_ahead_in_has_its_letters_read_back(run, state, settings):
    run(after(9))  # the clock is ahead; then it is right again
    run(FIRST, 8)
    run(after(1))
    _back_to_the_first_copy(state)
    run(after(1), 9)
    with open_database(state.store) as database:
        assert sorted(head.day for head in headings(database, settings.garden.key)) == [FIRST, after(1), after(9)]


def test_a_copy_is_made_once_a_day_after_the_letter_and_thinned_out(run, state, tmp_path):
    for number in range(9):
        run(after(number))
        run(after(number), 9)
    held = copies_in(copies_of(state.store))
    assert [copy.made for copy in held] == [at(after(8 - back)) for back in range(7)]  # 4 to 12 May: two weeks' Sundays
    assert all(copy.size_bytes > 100_000 for copy in held)


def test_a_copy_that_fails_stops_no_letter_and_is_told_after_some_days(run, state, postman, caplog):
    run(FIRST)
    shutil.rmtree(copies_of(state.store))
    copies_of(state.store).write_text("a file stands here")
    texts = [told(run(after(number))) for number in range(1, 6)]
    assert len(postman.letters) == 6
    assert "no copy could be made: a part of the path is a file" in caplog.text
    known = ["has no copy yet" in text for text in texts]
    assert known == [False, False, False, True, True]
    assert "no copy could be made: a part of the path is a file, not a folder." in texts[-1]
    copies_of(state.store).unlink()
    assert "has no copy yet" in told(run(after(6)))
    assert "has no copy yet" not in told(run(after(7)))


def test_copies_that_stopped_are_told_with_the_day_of_the_last(run, state):
    run(FIRST)
    folder = copies_of(state.store)
    for number in range(1, 5):
        with lock(folder / ".lock", at(after(number))):  # another run that never ends
            last = run(after(number))
    assert "haulm's memory has had no copy since Tuesday 4 May: " in told(last)


def test_where_there_is_no_room_for_two_the_copy_itself_takes_the_place(run, state, monkeypatch):
    run(FIRST)
    cut_in_half(state.store)

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(shutil, "copyfile", full)
    done = run(after(1))
    assert "took its place" in told(done)
    assert [copy.made for copy in copies_in(copies_of(state.store))] == [at(after(1))]


def test_a_full_disk_leaves_the_damaged_store_where_a_later_run_finds_it(run, state, monkeypatch, postman):
    run(FIRST)
    cut_in_half(state.store)

    whole = shutil.copyfile

    def broken(source, *words, **more):
        if "backups" in str(source):
            raise OSError(errno.EIO, "Input/output error")
        return whole(source, *words, **more)

    with monkeypatch.context() as patched:
        patched.setattr(shutil, "copyfile", broken)
        with pytest.raises(StoreError, match="could not be mended"):
            run(after(1))
    assert not state.store.exists()
    assert known_runs_are_none(state)
    assert "took its place" in told(run(after(1), 8))
    assert subjects(postman) == [FIRST, after(1)]


def known_runs_are_none(state):
    with pytest.raises(StoreError, match="backups beside it shows that there was one"), open_database(state.store):
        raise AssertionError
    return True


@pytest.mark.parametrize(
    ("table", "change"),
    [
        ("runs", "UPDATE runs SET started = 'yesterd' || substr(started, 8)"),
        ("runs", "UPDATE runs SET outcome = 'dond'"),
        ("deliveries", "UPDATE deliveries SET changed = 'x'"),
        ("said", "UPDATE said SET first_on = '2027-13-01'"),
        ("letters", "UPDATE letters SET text = CAST(x'ff00ff' AS TEXT)"),
    ],
)
def test_what_sqlite_takes_for_sound_and_no_run_can_read_is_damage(run, state, postman, table, change):
    run(FIRST)
    with sqlite3.connect(state.store) as connection:
        connection.execute(change)
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()
    assert "took its place" in told(run(after(1)))
    assert subjects(postman) == [FIRST, after(1)]


@pytest.mark.parametrize("number", [0, 1, 2])
def test_a_head_that_calls_the_tables_older_than_they_are_is_damage(run, state, number):
    run(FIRST)
    with sqlite3.connect(state.store) as connection:
        connection.execute(f"PRAGMA user_version = {number}")
    connection.close()
    assert "took its place" in told(run(after(1)))


def test_a_table_whose_form_is_damaged_is_damage(run, state):
    run(FIRST)
    whole = state.store.read_bytes()
    assert whole.count(b"outcome TEXT NOT NULL, exit_code") == 1
    state.store.write_bytes(whole.replace(b"outcome TEXT NOT NULL, exit_code", b"outkome TEXT NOT NULL, exit_code"))
    assert "took its place" in told(run(after(1)))
