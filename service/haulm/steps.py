"""Where a run can be cut off: one name for every commit, and for everything that reaches beyond the program.

Each is told to Python's audit events (PEP 578) as ``haulm.step`` with its name and "before" or "after". Nobody listens
unless somebody wants to: the tests end the process at each of them.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum

EVENT = "haulm.step"


class Step(StrEnum):
    """What is done whole or not at all. Nothing else is ever committed, put in place or sent."""

    # Commits of the store.
    TABLES_MADE = "tables made"
    CUT_OFF_NOTED = "cut-off runs noted"
    RUN_BEGUN = "run begun"
    WEATHER_KEPT = "weather kept"
    HOURS_KEPT = "hours kept"
    KEY_MADE = "signing key made"
    ANSWERS_KEPT = "answers kept"
    PLACE_KEPT = "place in the mailbox kept"
    NOTES_INDEXED = "notes indexed"
    LETTER_STORED = "letter stored"
    DELIVERY_CLAIMED = "delivery claimed"
    DELIVERY_SETTLED = "delivery settled"
    RUN_ENDED = "run ended"
    LETTERS_LET_GO = "old letters let go"
    BOOK_FOLLOWED = "post book followed"
    EVENT_NOTED = "what happened to the store noted"

    # Files that take their place.
    FETCH_KEPT = "fetched file kept"
    ABSENCE_KEPT = "absence kept"
    PARSED_KEPT = "parsed file kept"
    NOTE_WRITTEN = "note written"
    TIMETABLE_NOTED = "hours of gardens noted"
    BOOK_ENTERED = "post book entered"
    BOOK_THINNED = "post book thinned"
    STORE_COPIED = "store copied"
    COPY_DROPPED = "copy dropped"
    STORE_SET_ASIDE = "store set aside"
    STORE_PUT_BACK = "store put back"
    FOLDER_FILLED = "letter put in the folder"
    PAGES_WRITTEN = "pages written"
    CALENDAR_WRITTEN = "calendar written"
    SETTINGS_WRITTEN = "settings written"
    PICTURE_WRITTEN = "picture written"
    TABLE_WRITTEN = "table written"

    # What others see, or are asked.
    MAILBOX_READ = "mailbox read"
    LOG_TOLD = "log told"
    MAIL_TAKEN = "mail taken"
    WEBHOOK_POSTED = "webhook posted"
    HEARTBEAT_SENT = "heartbeat sent"
    ERRAND_STARTED = "errand started"


@contextmanager
def marked(step: Step) -> Iterator[None]:
    """Tell that a step is about to be done, and that it was; one that fails is not told to have been."""
    sys.audit(EVENT, str(step), "before")
    yield
    sys.audit(EVENT, str(step), "after")
