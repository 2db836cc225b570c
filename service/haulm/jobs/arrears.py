"""What the last days left undone, in plain sentences for the next letter.

Mornings missed, letters not delivered, and a store that was damaged or lost and had to be mended.
"""

from datetime import date, datetime, timedelta

from haulm.jobs.due import days_missed
from haulm.jobs.read_back import HELD_BACK
from haulm.store.database import Database
from haulm.store.letters import Delivery, refused_since, waiting
from haulm.store.mend import MENDED
from haulm.store.post_book import days_of, read_book
from haulm.store.runs import events, read_runs

LOOKED_BACK = timedelta(days=400)
MOST_TOLD = 3
MORNING = "morning"


def arrears(database: Database, garden: str, day: date, now: datetime) -> tuple[str, ...]:
    """One sentence for each mending and for the mornings without a letter, one for each of the newest failures."""
    runs = [run for run in read_runs(database, garden, day - LOOKED_BACK) if run.kind == MORNING]
    written = [run.started for run in runs if run.day < day]
    since = max(written, default=now - LOOKED_BACK)
    mended = [run.note for kind in (MENDED, HELD_BACK) for run in events(database, kind) if since < run.started <= now]
    known = days_of(read_book(database.path, garden), MORNING)
    missed = days_missed(runs, day, known)
    late = [one for one in waiting(database, garden) if one.day < day and one.attempts]
    failed = [*refused_since(database, garden, since), *late]
    # Without a post book nobody knows what went out between the copy and the mending.
    return (
        *mended,
        *_missed(missed, forgotten=bool(mended) and not known),
        *(_undelivered(one) for one in failed[-MOST_TOLD:]),
    )


def _missed(days: tuple[date, ...], *, forgotten: bool) -> tuple[str, ...]:
    if not days:
        return ()
    one = f"on {days[0]:%A %-d %B}"
    span = one if len(days) == 1 else f"from {days[0]:%A %-d %B} to {days[-1]:%A %-d %B}"
    if forgotten:
        return (f"Whether there {'was a letter' if len(days) == 1 else 'were letters'} {span} is not known any more.",)
    if len(days) == 1:
        return (f"There was no letter {span}; what it would have said is in this one.",)
    return (f"There were no letters {span}; what they would have said is in this one.",)


def _undelivered(one: Delivery) -> str:
    reason = one.note.splitlines()[0] if one.note else "no reason was given"
    return f"The letter of {one.day:%A %-d %B} did not reach {one.address.recipient}: {reason}."
