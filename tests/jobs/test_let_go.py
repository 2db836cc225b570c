"""A letter let go is still right for all who ask for it: its words are gone, its news and calls of frost are not."""

import json
import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from haulm.errors import Exit
from haulm.garden import Entry, What
from haulm.jobs import review as look_back
from haulm.jobs.let_go import Kept, kept, let_go_of_old, rest
from haulm.jobs.morning import morning
from haulm.jobs.page import write_pages
from haulm.jobs.review import review
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.status import status_of
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.store.database import open_database
from haulm.store.journal_file import append_entry
from haulm.store.letters import all_deliveries, letter_of

FIRST = date(2027, 5, 9)
DAYS = [FIRST + timedelta(days=n) for n in range(4)]


def at(settings, day, hour=6):
    return datetime(day.year, day.month, day.day, hour, 30, tzinfo=ZoneInfo(settings.garden.place.zone))


@pytest.fixture
def settings(tmp_path, write_invented_days):
    (tmp_path / "haulm.toml").write_text(sample_toml(), encoding="utf-8")
    found = load(tmp_path / "haulm.toml")
    write_invented_days(found.weather.file, DAYS[-1], 500, date(2025, 1, 1))
    return found


@pytest.fixture
def state(settings, tmp_path):
    """Four mornings of a garden in leaf."""
    found = StateFolder(tmp_path / "state")
    found.path.mkdir()
    planting = settings.garden.plantings[0]
    for back, what in ((40, What.PLANTED), (10, What.SHOOTS_OUT)):
        day = FIRST - timedelta(days=back)
        entry = Entry(f"n{back}", at(settings, day), day, planting.bed, planting.key, what)
        append_entry(found.journal(settings.garden), entry)
    for day in DAYS:
        morning(settings, found, at(settings, day))
    return found


def let_all_go(settings, state, before=DAYS[-1]):
    with open_database(state.store) as database:
        let_go_of_old(database, [Kept(settings.garden.key, before)])


def in_full(state):
    with closing(sqlite3.connect(state.store)) as store:
        return [row[0] for row in store.execute("SELECT day FROM letters WHERE html <> '' ORDER BY day")]


def test_the_look_back_and_the_pages_say_the_same(settings, state, tmp_path):
    now = at(settings, DAYS[-1], 8)
    looked_back = review(settings, state, now)
    write_pages(settings, state, tmp_path / "before", now)
    let_all_go(settings, state)
    assert in_full(state) == [str(DAYS[-1])]
    again = review(settings, state, now)
    assert look_back.as_json(again) == look_back.as_json(looked_back)
    assert again.plantings[0].letters == 3
    write_pages(settings, state, tmp_path / "after", now)
    old = {path.name: path for path in (tmp_path / "before").rglob("*.html")}
    new = {path.name: path for path in (tmp_path / "after").rglob("*.html")}
    assert old.keys() == new.keys()
    changed = {name for name, path in new.items() if path.read_bytes() != old[name].read_bytes()}
    assert len(changed) == 3
    for name in changed:
        told = new[name].read_text()
        assert "have been let go." in told
        assert "<img" not in told
        assert "<h1>" in told
    standing = (tmp_path / "before" / "letters").rglob("*.html")
    before = {path: path.read_bytes() for path in standing}
    write_pages(settings, state, tmp_path / "before", now)
    assert {path: path.read_bytes() for path in before} == before


def test_the_status_and_the_next_letter_know_no_difference(settings, state, tmp_path):
    now = at(settings, DAYS[-1], 8)
    known = status_of(settings, state, now)
    other = StateFolder(tmp_path / "other")
    other.path.mkdir()
    other.journal(settings.garden).write_bytes(state.journal(settings.garden).read_bytes())
    with open_database(state.store) as database:
        database.copy(tmp_path / "copies", now).path.rename(other.store)
    let_all_go(settings, state)
    (memory,) = (line for line in known.lines if line.about == "Memory")
    found = status_of(settings, state, now)
    assert [line for line in found.lines if line.about != "Memory"] == [line for line in known.lines if line != memory]
    tomorrow = at(settings, DAYS[-1] + timedelta(days=1))
    letters = [morning(settings, where, tomorrow).letter for where in (state, other)]
    assert letters[0] == letters[1]


def test_a_morning_asked_for_again_says_that_its_words_are_gone(settings, state):
    let_all_go(settings, state)
    with open_database(state.store) as database:
        sent = all_deliveries(database, settings.garden.key)
    done = morning(settings, state, at(settings, DAYS[-1], 9), at(settings, FIRST))
    assert done.exit_code is Exit.DONE
    assert done.letter.text.endswith("those of Sun 9 May 2027 have been let go.\n")
    assert json.loads(done.letter.json)["let_go"] is True
    with open_database(state.store) as database:
        assert all_deliveries(database, settings.garden.key) == sent


def test_each_morning_lets_go_of_what_is_past_its_time(settings, state):
    later = at(settings, DAYS[1] + timedelta(days=settings.letter.kept_days))
    assert kept(settings, later).since == DAYS[1]
    morning(settings, state, later)
    assert in_full(state) == [*map(str, DAYS[1:]), str(later.date())]
    with open_database(state.store) as database:
        first = letter_of(database, settings.garden.key, "morning", FIRST)
    assert first is not None
    assert first.html == ""


def test_a_clock_that_is_years_ahead_takes_no_more_than_some(settings, state, monkeypatch):
    monkeypatch.setattr("haulm.jobs.let_go.MOST_A_RUN", 2)
    morning(settings, state, at(settings, date(2099, 5, 1)))
    assert in_full(state) == [*map(str, DAYS[2:]), "2099-05-01"]


def test_a_letter_whose_form_cannot_be_read_is_kept(settings, state):
    with closing(sqlite3.connect(state.store)) as store, store:
        store.execute("UPDATE letters SET json = '{' WHERE day = ?", (str(FIRST),))
    let_all_go(settings, state)
    assert in_full(state) == [str(FIRST), str(DAYS[-1])]


def test_a_store_that_cannot_be_written_ends_no_run(settings, state, caplog):
    with open_database(state.store) as database, closing(sqlite3.connect(state.store)) as other:
        other.execute("BEGIN IMMEDIATE")
        database.rows("PRAGMA busy_timeout = 10")
        let_go_of_old(database, [Kept(settings.garden.key, DAYS[-1])])
    assert "Old letters were not let go" in caplog.text
    assert len(in_full(state)) == 4


def test_what_stays_of_a_letter(settings, state):
    with open_database(state.store) as database:
        letter = letter_of(database, settings.garden.key, "morning", FIRST)
    left = rest(letter.day, letter.subject, letter.json)
    whole, gist = json.loads(letter.json), json.loads(left.json)
    assert len(left.json) < 0.3 * len(letter.json)
    assert {name: gist[name] for name in ("garden", "kind", "day", "written", "subject")} == {
        name: whole[name] for name in ("garden", "kind", "day", "written", "subject")
    }
    anew = [item["sentence"] for part in whole["parts"] for item in part["items"] if item["fresh"]]
    assert [item["sentence"] for part in gist["parts"] for item in part["items"]] == anew
    assert anew
    assert rest(FIRST, "", json.dumps({**whole, "alerts": None})) is None
    short = replace(letter, json=left.json)
    assert rest(FIRST, short.subject, short.json) == left  # let go a second time it stays what it is
