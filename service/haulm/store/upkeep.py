"""What was last done to the store itself: when it was checked, and copied."""

from datetime import datetime, timedelta

from haulm.store.database import Database
from haulm.store.runs import events

CHECKED, COPIED, FAILED_COPY = "check", "copied", "copy failed"
CHECK_EVERY = timedelta(hours=20)


def is_checked(database: Database, now: datetime) -> bool:
    """Whether its daily check is behind it."""
    try:
        newest = events(database, CHECKED)
    except ValueError:  # what cannot be read is what a check is for
        return False
    # A check dated into the future by a wrong clock is no check.
    return bool(newest) and timedelta(0) <= now - newest[-1].started < CHECK_EVERY


def last_copied(database: Database) -> datetime | None:
    """When it was last copied, as it has noted it itself; None if never."""
    noted = events(database, COPIED)
    return noted[-1].started if noted else None
