"""What the next letter tells of mornings without one: until everybody has had a letter that tells it."""

from datetime import UTC, date, datetime, timedelta

import pytest

from haulm.jobs.arrears import arrears
from haulm.store.database import open_database
from haulm.store.letters import Address, Status, StoredLetter, claim, deliveries_of, settle
from haulm.store.mornings import record_morning
from haulm.store.runs import Outcome, begin_run, end_run

TODAY = date(2027, 5, 10)
ME, OTHER = "me@example.org", "neighbour@example.org"


@pytest.fixture
def database(tmp_path):
    with open_database(tmp_path / "haulm.sqlite") as opened:
        yield opened


def at(day):
    return datetime(day.year, day.month, day.day, 11, 30, tzinfo=UTC)


def morning(database, day, **became):
    """A letter of a day, and what became of it for each recipient."""
    run = begin_run(database, "g", "morning", day, at(day))
    letter = StoredLetter("g", "morning", day, at(day), "s", "t", "h", "{}")
    record_morning(database, run, letter, addresses=[Address("mail", one) for one in (ME, OTHER)])
    for one in deliveries_of(database, "g", "morning", day):
        assert claim(database, one.id, at(day))
        status = became["other"] if one.address.recipient == OTHER else Status.SENT
        settle(database, one.id, status, at(day), "no such mailbox" if status is Status.REFUSED else "")
    end_run(database, run, at(day), Outcome.DONE, 0)


def told(database, day=TODAY):
    return " ".join(arrears(database, "g", day, at(day)))


def test_a_morning_missed_is_told_again_to_whom_the_telling_did_not_reach(database):
    morning(database, TODAY - timedelta(days=4), other=Status.SENT)
    morning(database, TODAY - timedelta(days=2), other=Status.SENT)
    assert "There was no letter" not in told(database, TODAY - timedelta(days=1))
    morning(database, TODAY - timedelta(days=1), other=Status.REFUSED)
    assert "There was no letter" not in told(database), "what was missed before a letter that all had is told"


def test_until_a_letter_got_through(database):
    morning(database, TODAY - timedelta(days=4), other=Status.SENT)
    morning(database, TODAY - timedelta(days=2), other=Status.REFUSED)
    assert "There was no letter on Friday 7 May" in told(database, TODAY - timedelta(days=1))
    morning(database, TODAY - timedelta(days=1), other=Status.SENT)
    text = told(database)
    assert "There was no letter on Friday 7 May" not in text
    assert "The letter of" not in text, "a letter since then has told of the one that was refused"


def test_mornings_missed_with_a_letter_between_them_are_named_apart(database):
    morning(database, TODAY - timedelta(days=6), other=Status.SENT)
    morning(database, TODAY - timedelta(days=4), other=Status.REFUSED)
    text = told(database)
    assert "There were no letters on Wednesday 5 May and from Friday 7 May to Sunday 9 May;" in text
