"""Answers as the store keeps them: what the letter of a day tells."""

from datetime import UTC, date, datetime

from haulm.steps import Step
from haulm.store.answers import Heard, keep_heard, mark_told, to_be_told

DAY, MIDNIGHT = date(2027, 4, 14), datetime(2027, 4, 15, tzinfo=UTC)


def heard(message, received):
    return Heard(message, 0, received, "me@example.org", "gatebed", "planted", "note", f"Noted {message}.")


def test_the_letter_of_a_day_tells_nothing_that_came_after_it(database):
    """Also where that letter is only written later: what came since waits for the letter of its own day."""
    that_day, later = heard("a", datetime(2027, 4, 14, 9, tzinfo=UTC)), heard("b", datetime(2027, 4, 16, 9, tzinfo=UTC))
    keep_heard(database, "g", [that_day, later])
    assert to_be_told(database, "g", DAY, MIDNIGHT) == (that_day,)
    with database.transaction(Step.LETTER_STORED):
        mark_told(database, "g", DAY, MIDNIGHT)
    assert to_be_told(database, "g", date(2027, 4, 16), datetime(2027, 4, 17, tzinfo=UTC)) == (later,)
