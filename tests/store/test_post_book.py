"""The post book: what was handed over is known though the store forgot it."""

import json
import resource
import stat
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from haulm.store.database import Database, open_database
from haulm.store.letters import (
    Address,
    Status,
    StoredLetter,
    claim,
    deliveries_of,
    follow_book,
    keep_letter,
    left_sending,
    settle,
    waiting,
)
from haulm.store.post_book import book_of, days_of, drop_before, read_book

GARDEN = "brackenford"


def deliver(database: Database, now, status=Status.SENT, note=""):
    for one in waiting(database, GARDEN):
        assert claim(database, one.id, now)
        settle(database, one.id, status, now, note)


@pytest.fixture
def forgetful(tmp_path: Path):
    """A new store beside the book of another: what a mending puts there when there is no copy."""
    held: list[Database] = []

    def forget(path: Path) -> Database:
        beside = tmp_path / "elsewhere" / "haulm.sqlite"
        held.append(open_database(beside))
        book_of(path, GARDEN).parent.rename(book_of(beside, GARDEN).parent)
        return held[0]

    yield forget
    for one in held:
        one.close()


def test_every_step_of_a_delivery_is_in_the_book(database: Database, path: Path, letter, addresses, now) -> None:
    keep_letter(database, letter, addresses[:1])
    (one,) = waiting(database, GARDEN)
    assert read_book(path, GARDEN) == ()
    claim(database, one.id, now)
    (posted,) = read_book(path, GARDEN)
    assert (posted.status, posted.attempts, posted.message_id) == ("sending", 1, "<1@garden.example>")
    settle(database, one.id, Status.READY, now, "451 not now")
    (posted,) = read_book(path, GARDEN)
    assert (posted.status, posted.note) == ("ready", "451 not now")
    assert len(book_of(path, GARDEN).read_bytes().splitlines()) == 2
    assert stat.S_IMODE(book_of(path, GARDEN).stat().st_mode) == 0o600
    assert stat.S_IMODE(book_of(path, GARDEN).parent.stat().st_mode) == 0o700


def test_a_store_that_nothing_happened_to_is_never_behind_its_book(database, letter, addresses, now) -> None:
    keep_letter(database, letter, addresses)
    assert follow_book(database, GARDEN) == 0
    first, *_ = waiting(database, GARDEN)
    claim(database, first.id, now)
    assert follow_book(database, GARDEN) == 0
    settle(database, first.id, Status.READY, now)
    assert follow_book(database, GARDEN) == 0
    deliver(database, now)
    assert follow_book(database, GARDEN) == 0


def test_a_store_ahead_of_its_book_is_not_put_back(database, path: Path, letter, addresses, now) -> None:
    keep_letter(database, letter, addresses[:1])
    deliver(database, now)
    book = book_of(path, GARDEN)
    book.write_bytes(book.read_bytes().splitlines(keepends=True)[0])  # killed before the second line
    assert follow_book(database, GARDEN) == 0
    assert [one.status for one in deliveries_of(database, GARDEN, "morning", letter.day)] == [Status.SENT]


def test_a_letter_written_again_after_the_store_was_lost_goes_to_nobody_who_has_it(
    database, path: Path, letter, addresses, now, forgetful
) -> None:
    keep_letter(database, letter, addresses)
    first, second, _ = waiting(database, GARDEN)
    claim(database, first.id, now)
    settle(database, first.id, Status.SENT, now)
    claim(database, second.id, now)
    database.close()
    new = forgetful(path)
    again = tuple(Address(one.channel, one.recipient, f"<new-{one.recipient}>") for one in addresses)
    keep_letter(new, letter, again)
    stands = {one.address.recipient: (one.status, one.address.message_id) for one in deliveries_of(
        new, GARDEN, "morning", letter.day)}  # fmt: skip
    assert stands == {
        "me@garden.example": (Status.SENT, "<1@garden.example>"),
        "you@garden.example": (Status.SENDING, "<2@garden.example>"),  # nobody knows: once more under its old id
        "barn": (Status.READY, "<new-barn>"),
    }
    assert [one.address.recipient for one in left_sending(new, GARDEN)] == ["you@garden.example"]


def test_a_copy_of_before_the_letter_went_is_brought_up_to_the_book(
    database, path: Path, letter, addresses, now, tmp_path
) -> None:
    keep_letter(database, letter, addresses)
    copy = database.copy(tmp_path / "copies", now)
    deliver(database, now)
    database.close()
    path.with_name("haulm.sqlite-wal").unlink(missing_ok=True)
    path.write_bytes(copy.path.read_bytes())
    with open_database(path) as restored:
        assert len(waiting(restored, GARDEN)) == 3
        assert follow_book(restored, GARDEN) == 3
        assert waiting(restored, GARDEN) == ()
        assert follow_book(restored, GARDEN) == 0


def test_letters_of_every_day_in_the_book_are_brought_up(database, path: Path, letter, now, tmp_path) -> None:
    """Not only those of its newest day: all went out after the copy was made."""
    for back in (2, 1, 0):
        day = letter.day - timedelta(days=back)
        old = StoredLetter(GARDEN, "morning", day, now, "s", "t", "h", "{}")
        keep_letter(database, old, [Address("mail", "me@garden.example", f"<{back}@x>")])
    copy = database.copy(tmp_path / "copies", now)
    deliver(database, now)
    database.close()
    path.with_name("haulm.sqlite-wal").unlink(missing_ok=True)
    path.write_bytes(copy.path.read_bytes())
    with open_database(path) as restored:
        assert follow_book(restored, GARDEN) == 3
        assert waiting(restored, GARDEN) == ()


def test_the_books_lines_have_a_form_that_stays(database, path: Path, letter, now) -> None:
    """Version 1, in words as they are: a book is read by every later haulm, and by people."""
    keep_letter(database, letter, [Address("mail", "grüner@garden.example", "<1@x>")])
    deliver(database, now)
    first, *_ = book_of(path, GARDEN).read_text(encoding="utf-8").splitlines()
    assert "grüner@" in first
    assert json.loads(first) == {
        "version": 1, "garden": GARDEN, "kind": "morning", "day": "2027-04-12", "channel": "mail",
        "recipient": "grüner@garden.example", "message_id": "<1@x>", "status": "sending", "attempts": 1,
        "changed": "2027-04-12T05:30:00.000000Z", "note": "",
    }  # fmt: skip


def test_lines_that_cannot_be_read_and_those_of_others_are_passed_over(database, path, letter, addresses, now) -> None:
    keep_letter(database, letter, addresses)
    deliver(database, now)
    book = book_of(path, GARDEN)
    whole = book.read_bytes()
    strange = (
        b'{"version": 2}\n[1]\nnull\n7\n\xff\xfe\n' + b'{"a":' * 30_000 + b"\n",
        whole.splitlines()[0].replace(b'"sending"', b"[]").replace(b"morning", b"evening") + b"\n",
        whole.splitlines()[0].replace(b'"brackenford"', b'"elsewhere"') + b"\n",
        whole.splitlines()[0].replace(b'"attempts": 1', b'"attempts": "many"') + b"\n",
        whole[: len(whole) // 2],
    )
    newer = whole.splitlines()[0].replace(b'"version": 1', b'"version": 2').replace(b"morning", b"evening") + b"\n"
    book.write_bytes(b"".join(strange[:4]) + newer + whole + strange[4][:90])
    assert len(read_book(path, GARDEN)) == 3
    assert follow_book(database, GARDEN) == 0


def test_a_cut_off_line_spoils_only_itself(database, path, letter, addresses, now) -> None:
    keep_letter(database, letter, addresses[:1])
    deliver(database, now, Status.READY)
    book = book_of(path, GARDEN)
    book.write_bytes(book.read_bytes()[:-20])
    deliver(database, now)
    (posted,) = read_book(path, GARDEN)
    assert (posted.status, posted.attempts) == ("sent", 2)


def test_a_book_that_cannot_be_written_stops_no_letter(database, path, letter, addresses, now, caplog) -> None:
    book_of(path, GARDEN).parent.write_text("a file stands here")
    keep_letter(database, letter, addresses)
    deliver(database, now)
    assert waiting(database, GARDEN) == ()
    assert "post book could not be written" in caplog.text


def test_a_book_that_cannot_be_thinned_stays_as_it_is(database, path, letter, addresses, now, caplog) -> None:
    for day in (letter.day, letter.day - timedelta(days=1)):
        keep_letter(database, replace(letter, day=day), [Address("mail", "me@garden.example")])
    deliver(database, now)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    try:  # the system cuts each write short, as a full disk does
        resource.setrlimit(resource.RLIMIT_FSIZE, (50, hard))
        drop_before(path, GARDEN, letter.day)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert len(read_book(path, GARDEN)) == 2
    assert "post book could not be written" in caplog.text


def test_old_days_are_dropped(database, path, letter, addresses, now) -> None:
    for back in (40, 3, 0):
        day = letter.day - timedelta(days=back)
        old = StoredLetter(GARDEN, "morning", day, now, "s", "t", "h", "{}")
        keep_letter(database, old, [Address("mail", "me@garden.example", f"<{back}@x>")])
        deliver(database, now)
    drop_before(path, GARDEN, letter.day - timedelta(days=3))
    assert days_of(read_book(path, GARDEN), "morning") == {letter.day, letter.day - timedelta(days=3)}
    assert days_of(read_book(path, GARDEN), "evening") == frozenset()
    before = book_of(path, GARDEN).stat().st_mtime_ns
    drop_before(path, GARDEN, date(2027, 1, 1))
    assert book_of(path, GARDEN).stat().st_mtime_ns == before


@pytest.mark.parametrize("garden", ["brackenford", "Grüner Hof", "../../etc/x", ".", "a/b"])
def test_the_book_of_any_garden_stays_in_its_folder(tmp_path: Path, garden: str) -> None:
    store = tmp_path / "haulm.sqlite"
    assert book_of(store, garden).parent == tmp_path / "post-book"
    assert book_of(store, garden).name not in {".", ".."}
