"""Ended at every step of a mending, by the morning itself or by hand: the next run goes on, and nothing comes twice."""

import shutil
import sqlite3
from collections import Counter
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from haulm.garden import Entry, What
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.store.journal_file import append_entry, read_journal

TODAY, TOMORROW = date(2027, 5, 11), date(2027, 5, 12)
ZONE = ZoneInfo("America/Chicago")


def at(day, hour):
    return {"TRAVEL_TO": datetime(day.year, day.month, day.day, hour, 30, tzinfo=ZONE).isoformat()}


MORNING, AGAIN = (("morning",), at(TODAY, 6)), (("morning",), at(TODAY, 9))
NEXT, MEND = (("morning",), at(TOMORROW, 6)), (("mend",), at(TOMORROW, 5))


@pytest.fixture
def prepared(tmp_path, write_invented_days):
    folder = tmp_path / "prepared"
    folder.mkdir()
    write_invented_days(folder / "brackenford.csv", TOMORROW, 500, date(2025, 1, 1))
    return folder


@pytest.fixture
def fresh(tmp_path, prepared, mail_port):
    """A copy of the garden; its letters go to an address of its own, and one daily copy of the store is kept."""

    def make(number, of=None):
        folder = tmp_path / number
        shutil.copytree(of or prepared, folder)
        text = sample_toml().replace("grower@example.org", f"grower-{number}@example.org")
        text = text.replace("\n[backups]\n", "\n[backups]\ndays = 1\nweeks = 0\n")
        text += (
            f'\n[post.mail]\nhost = "127.0.0.1"\nport = {mail_port}\nsecurity = "none"\nsender = "haulm@example.org"\n'
        )
        (folder / "haulm.toml").write_text(text, encoding="utf-8")
        return folder

    return make


@pytest.fixture
def go(kill_points):
    def run(folder, command, codes=(0,)):
        code = kill_points.run(*command[:1], folder, command[1])
        told = (folder / "printed").read_text(encoding="utf-8")
        assert code in codes, told
        return told

    return run


@pytest.fixture
def before(fresh, go):
    """A garden after its morning, whose store was then damaged.

    The copy is of just before the mail went; two copies and some lines of the post book are past their time; and the
    journal's file has lost its last note, which was in the index.
    """
    folder = fresh("before")
    noted, day = datetime(2027, 5, 10, 18, tzinfo=UTC), TODAY - timedelta(days=1)
    for number in range(2):
        entry = Entry(f"n{number}", noted, day, "gatebed", "", What.STANDING_WATER)
        append_entry(journal_of(folder), entry)
    go(folder, MORNING)
    state = folder / "state"
    (copy,) = (state / "backups").glob("*.sqlite")
    with closing(sqlite3.connect(copy)) as taken, taken:
        taken.execute("UPDATE deliveries SET status = 'ready', attempts = 0 WHERE channel = 'mail'")
    for day in (8, 9):
        shutil.copy(copy, copy.with_name(f"haulm-202705{day:02d}T113000Z.sqlite"))
    (book,) = (state / "post-book").iterdir()
    book.write_bytes(book.read_bytes().replace(b'"2027-05-11"', b'"2026-05-11"') + book.read_bytes())
    journal = journal_of(folder)
    journal.write_bytes(journal.read_bytes().splitlines(keepends=True)[0])
    with (state / "haulm.sqlite").open("r+b") as store:
        store.truncate(40 * 4096)
    return folder


def journal_of(folder):
    return StateFolder(folder / "state").journal(load(folder / "haulm.toml").garden)


def rows(folder, statement):
    with closing(sqlite3.connect(folder / "state" / "haulm.sqlite")) as store:
        return [tuple(row) for row in store.execute(statement)]


def facts(folder):
    """All that must be the same, whatever befell the runs; what letters tell of the mending names its second."""
    whole = (
        "SELECT garden, kind, day, subject FROM letters ORDER BY day",
        "SELECT * FROM said ORDER BY 1, 2, 3, 4, 5, 6",
        "SELECT id, day, bed, what FROM notes ORDER BY place",
        "SELECT station, quantity, day, value FROM weather ORDER BY 1, 2, 3",
        "SELECT day, channel, status, attempts FROM deliveries JOIN letters ON letter = letters.id ORDER BY 1, 2",
        "PRAGMA integrity_check",
        "PRAGMA foreign_key_check",
    )
    journal, complaints = read_journal(journal_of(folder))
    state = folder / "state"
    left = {path.name for path in state.rglob("*") if "restoring" in path.name or "making" in path.name}
    aside = len(list((state / "damaged").glob("*.sqlite")))
    return [rows(folder, statement) for statement in whole], journal, complaints, left, aside


def mails(postman, name):
    mine = (letter for letter in postman.letters if f"-{name}@" in str(letter["To"]))
    return Counter(str(letter["Date"].datetime.date()) for letter in mine)


def test_a_morning_that_mends(kill_points, fresh, go, before, postman):
    calm = fresh("calm", before)
    assert "took its place" in " ".join(go(calm, NEXT).split())
    wanted = facts(calm)
    assert (wanted[3], wanted[4]) == (set(), 1)

    def look(folder, point, came_by):
        go(folder, NEXT)
        assert facts(folder) == wanted
        ((text,),) = rows(folder, "SELECT text FROM letters ORDER BY day DESC LIMIT 1")
        assert "took its place" in " ".join(text.split())
        assert mails(postman, folder.name) == {str(TOMORROW): 1}

    assert kill_points.everywhere("mended", *NEXT, lambda number: fresh(number, before), look) >= 14
    assert mails(postman, "before") == {str(TODAY): 1}  # the copies have it as still to be sent; the book knows better


def test_haulm_mend(kill_points, fresh, go, before, postman):
    calm = fresh("calm", before)
    told = go(calm, MEND)
    assert "one note was missing from the journal's file, and written back from the index" in told
    go(calm, NEXT)
    wanted = facts(calm)

    def look(folder, point, came_by):
        go(folder, MEND)
        go(folder, NEXT)
        assert facts(folder) == wanted
        assert mails(postman, folder.name) == {str(TOMORROW): 1}

    assert kill_points.everywhere("mend", *MEND, lambda number: fresh(number, before), look) >= 12
    assert mails(postman, "before") == {str(TODAY): 1}


def test_the_same_morning_again(kill_points, fresh, go, before, postman):
    """What the copy has as still to be sent, the book has as sent: the store is brought up to it first."""

    def look(folder, point, came_by):
        go(folder, AGAIN)
        assert rows(folder, "SELECT DISTINCT status FROM deliveries") == [("sent",)]

    assert kill_points.everywhere("followed", *AGAIN, lambda number: fresh(number, before), look) == 2
    assert Counter(str(letter["To"]) for letter in postman.letters) == {"The grower <grower-before@example.org>": 1}
