"""The outbox, and the one transaction that makes a letter a fact."""

import signal
import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from haulm.advice import Said
from haulm.errors import StoreError
from haulm.store.database import Database, open_database
from haulm.store.letters import (
    MOST_ATTEMPTS,
    Address,
    Delivery,
    Heading,
    Status,
    StoredLetter,
    claim,
    deliveries_of,
    headings,
    keep_letter,
    left_sending,
    letter_of,
    refused_since,
    settle,
    unreached,
    waiting,
)
from haulm.store.mornings import record_morning
from haulm.store.runs import Outcome, begin_run, end_run, read_runs
from haulm.store.said import read_said

GARDEN = "brackenford"
CLAIM_AND_WAIT = """
import sys, pathlib, time
from datetime import datetime, timezone
from haulm.store.database import open_database
from haulm.store.letters import claim, waiting
database = open_database(pathlib.Path(sys.argv[1]))
assert claim(database, waiting(database, "brackenford")[0].id, datetime(2027, 4, 12, 5, 31, tzinfo=timezone.utc))
print("here", flush=True)
time.sleep(60)
"""
MORNING_AND_WAIT = """
import sys, pathlib, time
from datetime import date, datetime, timezone
from haulm.advice import Said
from haulm.store.database import open_database
from haulm.store.letters import Address, StoredLetter
from haulm.store.mornings import record_morning
from haulm.store.runs import begin_run
database = open_database(pathlib.Path(sys.argv[1]))
now = datetime(2027, 4, 12, 5, 30, tzinfo=timezone.utc)
run = begin_run(database, "brackenford", "morning", now.date(), now)
letter = StoredLetter("brackenford", "morning", now.date(), now, "s", "t", "h", "{}")
def said():
    yield Said("planting-time", "gatebed", "gate-early", "2027-04-12", "ready", 0, now.date(), now.date())
    # Asked for more once the letter and what it said are written: the run dies here.
    print("here", flush=True)
    time.sleep(60)
record_morning(database, run, letter, addresses=[Address("mail", "me@x", "<1@x>")], said=said())
"""

Second = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture
def sent_off(database: Database, letter: StoredLetter, addresses: tuple[Address, ...]) -> Delivery:
    """The first of the letter's deliveries."""
    keep_letter(database, letter, addresses)
    return waiting(database, GARDEN)[0]


def statuses(database: Database, letter: StoredLetter) -> list[Status]:
    return [d.status for d in deliveries_of(database, letter.garden, letter.kind, letter.day)]


def test_the_stored_letter_comes_back_whole(database: Database, letter: StoredLetter) -> None:
    keep_letter(database, letter, ())
    assert letter_of(database, GARDEN, "morning", letter.day) == letter
    assert letter_of(database, GARDEN, "evening", letter.day) is None
    assert letter_of(database, "sallow-wells", "morning", letter.day) is None
    assert letter_of(database, GARDEN, "morning", letter.day + timedelta(days=1)) is None


def test_one_letter_a_garden_kind_and_day(
    database: Database, letter: StoredLetter, addresses: tuple[Address, ...]
) -> None:
    keep_letter(database, letter, addresses)
    with pytest.raises(StoreError, match="stored already"):
        keep_letter(database, replace(letter, subject="Another"), addresses)
    assert letter_of(database, GARDEN, "morning", letter.day) == letter
    assert len(waiting(database, GARDEN)) == len(addresses)
    keep_letter(database, replace(letter, kind="evening"), ())


def test_the_same_recipient_twice_stores_nothing(database: Database, letter: StoredLetter) -> None:
    with pytest.raises(StoreError):
        keep_letter(database, letter, (Address("mail", "me@garden.example"), Address("mail", "me@garden.example")))
    assert letter_of(database, GARDEN, "morning", letter.day) is None


def test_a_message_id_belongs_to_one_delivery(database: Database, letter: StoredLetter) -> None:
    keep_letter(database, letter, (Address("mail", "me@garden.example", "<1@x>"),))
    with pytest.raises(StoreError):
        keep_letter(database, replace(letter, kind="evening"), (Address("mail", "me@garden.example", "<1@x>"),))


def test_a_delivery_goes_its_way(database: Database, letter: StoredLetter, sent_off: Delivery, now: datetime) -> None:
    assert statuses(database, letter) == [Status.READY] * 3
    assert claim(database, sent_off.id, now)
    assert not claim(database, sent_off.id, now)
    assert statuses(database, letter) == [Status.SENDING, Status.READY, Status.READY]
    assert settle(database, sent_off.id, Status.SENT, now + timedelta(minutes=1), "250 ok") is Status.SENT
    done = deliveries_of(database, GARDEN, "morning", letter.day)[0]
    assert (done.status, done.attempts, done.note) == (Status.SENT, 1, "250 ok")
    assert done.changed == now + timedelta(minutes=1)
    assert not claim(database, sent_off.id, now)
    assert len(waiting(database, GARDEN)) == 2
    assert waiting(database, "sallow-wells") == ()


def test_what_is_not_on_its_way_cannot_be_settled(database: Database, sent_off: Delivery, now: datetime) -> None:
    with pytest.raises(StoreError, match="not on its way"):
        settle(database, sent_off.id, Status.SENT, now)
    with pytest.raises(ValueError, match="settled as"):
        settle(database, sent_off.id, Status.SENDING, now)


def test_attempts_are_bounded_and_the_id_stays(database: Database, sent_off: Delivery, now: datetime) -> None:
    results = []
    while claim(database, sent_off.id, now):
        results.append(settle(database, sent_off.id, Status.READY, now, "451 later"))
    assert results == [Status.READY] * (MOST_ATTEMPTS - 1) + [Status.REFUSED]
    (given_up,) = refused_since(database, GARDEN, now)
    assert (given_up.attempts, given_up.address, given_up.note) == (MOST_ATTEMPTS, sent_off.address, "451 later")
    assert refused_since(database, GARDEN, now + timedelta(seconds=1)) == ()


def test_a_kill_while_sending_is_found_and_sent_once_more_under_its_id(
    path: Path, database: Database, sent_off: Delivery, now: datetime, second_process: Second
) -> None:
    process = second_process(CLAIM_AND_WAIT, str(path))
    process.send_signal(signal.SIGKILL)
    process.wait(timeout=10)
    (left,) = left_sending(database, GARDEN)
    assert left.address == sent_off.address
    assert left.attempts == 1
    settle(database, left.id, Status.READY, now, "found after a kill")
    assert claim(database, left.id, now)
    assert left_sending(database, GARDEN)[0].attempts == 2


def test_a_morning_is_stored_together(database: Database, letter: StoredLetter, now: datetime) -> None:
    said = Said("planting-time", "gatebed", "gate-early", "2027-04-12", "ready", 0, letter.day, letter.day)
    run = begin_run(database, GARDEN, "morning", letter.day, now)
    record_morning(database, run, letter, addresses=[Address("log", "")], said=[said], note="one old day")
    assert read_said(database, GARDEN) == (said,)
    (told,) = read_runs(database, GARDEN, letter.day)
    assert (told.outcome, told.ended, told.exit_code, told.note) == (Outcome.WRITTEN, None, None, "one old day")
    end_run(database, run, now + timedelta(seconds=9), Outcome.PARTLY, 1)
    (told,) = read_runs(database, GARDEN, letter.day)
    assert (told.outcome, told.exit_code, told.note) == (Outcome.PARTLY, 1, "one old day")
    assert told.started == now
    assert told.ended == now + timedelta(seconds=9)


def test_a_second_morning_of_the_day_changes_nothing(database: Database, letter: StoredLetter, now: datetime) -> None:
    said = Said("planting-time", "gatebed", "gate-early", "2027-04-12", "ready", 0, letter.day, letter.day)
    first = begin_run(database, GARDEN, "morning", letter.day, now)
    record_morning(database, first, letter, said=[said])
    second = begin_run(database, GARDEN, "morning", letter.day, now + timedelta(minutes=5))
    with pytest.raises(StoreError):
        record_morning(database, second, letter, said=[replace(said, level=2)])
    assert read_said(database, GARDEN) == (said,)
    assert [run.outcome for run in read_runs(database, GARDEN, letter.day)] == [Outcome.WRITTEN, Outcome.RUNNING]


def test_a_disk_that_fills_up_leaves_no_part_of_a_morning(
    database: Database, letter: StoredLetter, now: datetime
) -> None:
    run = begin_run(database, GARDEN, "morning", letter.day, now)
    said = Said("planting-time", "gatebed", "gate-early", "2027-04-12", "ready", 0, letter.day, letter.day)
    many = [replace(said, episode=f"{number:06}") for number in range(5000)]
    database.rows(f"PRAGMA max_page_count = {database.rows('PRAGMA page_count')[0][0] + 4}")
    with pytest.raises(StoreError, match="disk is full"):
        record_morning(database, run, letter, addresses=[Address("log", "")], said=many)
    assert letter_of(database, GARDEN, "morning", letter.day) is None
    assert waiting(database, GARDEN) == ()
    assert read_said(database, GARDEN) == ()
    assert [run.outcome for run in read_runs(database, GARDEN, letter.day)] == [Outcome.RUNNING]


def test_a_kill_before_the_commit_leaves_no_part_of_a_morning(path: Path, second_process: Second) -> None:
    process = second_process(MORNING_AND_WAIT, str(path))
    process.send_signal(signal.SIGKILL)
    process.wait(timeout=10)
    day = date(2027, 4, 12)
    with open_database(path) as database:
        assert letter_of(database, GARDEN, "morning", day) is None
        assert waiting(database, GARDEN) == ()
        assert read_said(database, GARDEN) == ()
        (run,) = read_runs(database, GARDEN, day)
        assert (run.outcome, run.ended) == (Outcome.RUNNING, None)


def test_whom_nobody_has_told_stays_told_of_until_a_later_letter_gets_through(database, now):
    """The letter that told of it did not reach them either."""
    mail = Address("mail", "me@example.org", "")
    for number, (back, status) in enumerate([(3, Status.REFUSED), (2, Status.REFUSED), (1, Status.SENT)]):
        day = now.date() - timedelta(days=back)
        letter = StoredLetter("g", "morning", day, now - timedelta(days=back), "s", "t", "h", "{}")
        keep_letter(database, letter, [mail])
        (one,) = deliveries_of(database, "g", "morning", day)
        assert claim(database, one.id, letter.written)
        settle(database, one.id, status, letter.written, "no such mailbox")
        left = [one.day for one in unreached(database, "g", now - timedelta(days=30))]
        assert len(left) == [1, 2, 0][number]
    assert unreached(database, "g", now) == ()


def test_who_had_another_letter_of_the_day_is_not_told_again(database, now):
    mail = Address("mail", "me@example.org")
    for kind, status in (("morning", Status.REFUSED), ("evening", Status.SENT)):
        keep_letter(database, StoredLetter("g", kind, now.date(), now, "s", "t", "h", "{}"), [mail])
        (one,) = deliveries_of(database, "g", kind, now.date())
        assert claim(database, one.id, now)
        settle(database, one.id, status, now)
    assert unreached(database, "g", now) == ()


def test_the_list_of_letters_is_in_the_order_of_their_days(database: Database, letter: StoredLetter) -> None:
    day, evening = letter.day, replace(letter, kind="evening", written=letter.written + timedelta(hours=12))
    later = replace(letter, day=day + timedelta(days=1), subject="Wait", picture=None)
    for one in (later, evening, letter, replace(letter, garden="sallow-wells")):
        keep_letter(database, one, ())
    assert headings(database, GARDEN) == (
        Heading(GARDEN, "morning", day, letter.subject, has_picture=True),
        Heading(GARDEN, "evening", day, letter.subject, has_picture=True),
        Heading(GARDEN, "morning", day + timedelta(days=1), "Wait", has_picture=False),
    )
