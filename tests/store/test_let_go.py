"""Old letters lose their words, never what proves that they were written and went; the room is used again."""

from dataclasses import replace
from datetime import date, timedelta

from haulm.steps import Step
from haulm.store.let_go import Rest, let_go, past_letters
from haulm.store.letters import (
    Status,
    claim,
    deliveries_of,
    has_letter,
    headings,
    keep_letter,
    letter_of,
    settle,
    waiting,
)

DAY = timedelta(days=1)


def rest(day, subject, whole):
    return Rest(f"gone: {subject}, {day}", f'{{"was": {len(whole)}}}')


def send_all(database, now):
    for one in waiting(database, "brackenford"):
        claim(database, one.id, now)
        settle(database, one.id, Status.SENT, now)


def test_what_is_let_go_and_what_stays(database, letter, addresses, now):
    old = replace(letter, day=letter.day - DAY)
    keep_letter(database, old, addresses)
    keep_letter(database, letter, [replace(addresses[0], message_id="<3@garden.example>")])
    send_all(database, now)
    before = deliveries_of(database, "brackenford", "morning", old.day)
    past = past_letters(database, "brackenford", letter.day, 10)
    assert len(past) == 1
    let_go(database, past, rest)
    assert letter_of(database, "brackenford", "morning", letter.day) == letter
    left = letter_of(database, "brackenford", "morning", old.day)
    assert left == replace(old, text=f"gone: {old.subject}, {old.day}", html="", json='{"was": 14}', picture=None)
    assert has_letter(database, "brackenford", "morning", old.day)
    assert deliveries_of(database, "brackenford", "morning", old.day) == before
    assert [one.subject for one in headings(database, "brackenford")] == [letter.subject] * 2
    assert past_letters(database, "brackenford", letter.day, 10) == ()


def test_letters_that_wait_or_are_on_their_way_are_kept(database, letter, addresses, now):
    keep_letter(database, letter, addresses[:1])
    assert past_letters(database, "brackenford", letter.day + DAY, 10) == ()
    (one,) = waiting(database, "brackenford")
    claim(database, one.id, now)
    assert past_letters(database, "brackenford", letter.day + DAY, 10) == ()
    settle(database, one.id, Status.REFUSED, now)
    assert len(past_letters(database, "brackenford", letter.day + DAY, 10)) == 1


def test_other_gardens_and_letters_beyond_the_count_are_left(database, letter):
    days = [letter.day - back * DAY for back in range(5)]
    for day in days:
        keep_letter(database, replace(letter, day=day), ())
    keep_letter(database, replace(letter, garden="sallow-wells", day=days[-1]), ())
    past = past_letters(database, "brackenford", date.max, 2)
    let_go(database, past, rest)
    full = [day for day in days if letter_of(database, "brackenford", "morning", day).html]
    assert full == days[:3]
    assert letter_of(database, "sallow-wells", "morning", days[-1]).html


def test_one_that_is_to_stay_stays(database, letter):
    keep_letter(database, letter, ())
    let_go(database, past_letters(database, "brackenford", date.max, 2), lambda *_: None)
    assert letter_of(database, "brackenford", "morning", letter.day) == letter


def test_finding_them_reads_no_letter_that_was_let_go(database):
    (told,) = database.rows(
        "EXPLAIN QUERY PLAN SELECT id FROM letters WHERE garden = ? AND day < ? AND html <> '' ORDER BY day", ("a", "b")
    )
    assert "letters_in_full (garden=? AND day<?)" in told["detail"]


def test_the_room_is_used_again(database, letter):
    """The file grows by a page a letter that is let go, where one in full takes six; the others lie where it was."""
    big = replace(letter, html="x" * 20_000)

    def a_month(number):
        for n in range(30):
            keep_letter(database, replace(big, day=letter.day + (30 * number + n) * DAY), ())
        database.rows("PRAGMA wal_checkpoint(TRUNCATE)")
        return database.row("PRAGMA page_count")[0]

    pages = [a_month(0), a_month(1)]
    for number in range(2, 12):
        with database.transaction(Step.LETTERS_LET_GO):
            let_go(database, past_letters(database, "brackenford", letter.day + 30 * (number - 1) * DAY, 30), rest)
        pages.append(a_month(number))
    assert pages[1] - pages[0] >= 30 * 5
    assert pages[-1] - pages[2] <= 9 * 30 * 1.05
