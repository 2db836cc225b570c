"""What a journal tells of a bed on a morning, and that looking again finds the same."""

import pickle
from datetime import UTC, date, datetime, timedelta

import pytest

from haulm.garden import Entry, Journal, What

FIRST = date(2027, 4, 1)


def entry(day, what=What.WATERED, bed="gatebed", planting="", withdraws=""):
    at = FIRST + timedelta(days=day)
    instant = datetime(at.year, at.month, at.day, 18, tzinfo=UTC)
    return Entry(f"e{day}-{bed}-{what}", instant, at, bed, planting, what, value=5.0, withdraws=withdraws)


def morning(day):
    at = FIRST + timedelta(days=day)
    return datetime(at.year, at.month, at.day, 5, tzinfo=UTC), at


@pytest.fixture
def journal():
    return Journal((entry(0, What.PLANTED, planting="gate-early"), entry(3), entry(4, bed="wallbed"), entry(9)))


def test_a_morning_knows_what_was_written_before_it_in_whatever_order_it_is_asked(journal):
    counts = {day: len(journal.known(*morning(day)).entries) for day in (12, 1, 4, 5, 10, 2, 12, 5)}
    assert counts == {12: 4, 1: 1, 4: 2, 5: 3, 10: 4, 2: 1}


def test_once_all_is_known_it_is_the_same_journal_and_a_day_not_come_yet_is_left_out(journal):
    assert journal.known(*morning(12)) is journal.known(*morning(40))
    ahead = Entry("ahead", morning(2)[0], FIRST + timedelta(days=20), "gatebed", "", What.WATERED)
    early = Journal((*journal.entries, ahead))
    assert len(early.known(*morning(12)).entries) == 4
    assert len(early.known(*morning(21)).entries) == 5
    assert len(early.known(*morning(12)).entries) == 4


def test_what_was_taken_back_is_not_known(journal):
    back = Journal((*journal.entries, entry(10, None, withdraws=journal.entries[1].id)))
    assert journal.entries[1] in back.known(*morning(10)).entries
    assert journal.entries[1] not in back.known(*morning(11)).entries


def test_a_bed_is_told_its_own_entries_each_time(journal):
    for _ in range(2):
        assert [one.day.day for one in journal.of("gatebed")] == [1, 4, 10]
        assert [one.what for one in journal.of("gatebed", "gate-early", What.PLANTED)] == [What.PLANTED]
        assert journal.of("gatebed", "", What.STRAW_LAID) == journal.of("nobed") == Journal().of("gatebed") == ()


def test_what_was_found_neither_makes_it_another_journal_nor_travels(journal):
    journal.of("gatebed")
    journal.known(*morning(12))
    assert journal == Journal(journal.entries)
    assert len(pickle.dumps(journal)) == len(pickle.dumps(Journal(journal.entries)))
    travelled = pickle.loads(pickle.dumps(journal))  # noqa: S301  its own
    assert travelled.known(*morning(12)) == journal.known(*morning(12))
