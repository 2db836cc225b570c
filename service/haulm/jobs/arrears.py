"""What the last days left undone, in plain sentences for the next letter.

Mornings missed, letters not delivered, and a store that was damaged or lost and had to be mended.
"""

import logging
from collections.abc import Sequence
from datetime import date, datetime, timedelta

from haulm.jobs.due import days_missed
from haulm.jobs.read_back import HELD_BACK
from haulm.store.database import Database
from haulm.store.letters import Delivery, refused_since, unreached, waiting
from haulm.store.mend import MENDED
from haulm.store.post_book import days_of, read_book
from haulm.store.runs import Outcome, Run, events, note_cut_off, read_runs
from haulm.weather import DAY

logger = logging.getLogger("haulm")
LOOKED_BACK = timedelta(days=400)
TOLD_FOR = timedelta(days=30)  # so long a letter that told nobody is told of again
MISSED_AGAIN_FOR = timedelta(days=7)  # so long a morning without a letter is told again to who missed the telling
MOST_TOLD = 3
MORNING, EVENING = "morning", "evening"


def tell_cut_off(database: Database, garden: str, now: datetime) -> None:
    """Log each run that was cut off, once. Asked while holding the garden's lock."""
    for run in note_cut_off(database, garden, now):
        how_far = "before it was done" if run.outcome is Outcome.CUT_OFF else "after its letter was stored"
        logger.warning("The %s of %s that began at %s was cut off %s.", run.kind, run.day, run.started, how_far)


def arrears(database: Database, garden: str, day: date, now: datetime) -> tuple[str, ...]:
    """What was mended, missed or cut off, in a sentence each, and one for each of the newest deliveries that failed."""
    every = read_runs(database, garden, day - LOOKED_BACK)
    runs = [run for run in every if run.kind == MORNING]
    written = [run.started for run in runs if run.day < day]
    since = max(written, default=now - LOOKED_BACK)
    mended = [run.note for kind in (MENDED, HELD_BACK) for run in events(database, kind) if since < run.started <= now]
    known = days_of(read_book(database.path, garden), MORNING)
    missed = days_missed(runs, day, known, _unheard(database, garden, day, now))
    late = [one for one in waiting(database, garden) if one.day < day and one.attempts]
    given_up = {one.id: one for one in unreached(database, garden, now - TOLD_FOR)}
    given_up |= {one.id: one for one in refused_since(database, garden, since)}
    failed = [*sorted(given_up.values(), key=lambda one: one.changed), *late]
    # Without a post book nobody knows what went out between the copy and the mending.
    return (
        *mended,
        *_missed(missed, runs, forgotten=bool(mended) and not known),
        *_not_looked(every, day - DAY),
        *(_undelivered(one) for one in failed[-MOST_TOLD:]),
    )


def _unheard(database: Database, garden: str, day: date, now: datetime) -> date | None:
    """The day of the first of the last week's letters that some have not had, nor one since; None where all have."""
    missing = (*unreached(database, garden, now - MISSED_AGAIN_FOR), *waiting(database, garden))
    return min((one.day for one in missing if day - MISSED_AGAIN_FOR <= one.day < day), default=None)


def _missed(days: tuple[date, ...], runs: Sequence[Run], *, forgotten: bool) -> tuple[str, ...]:
    if not days:
        return ()
    span = " and ".join(_span(row) for row in _unbroken(days))
    if forgotten:
        return (f"Whether there {'was a letter' if len(days) == 1 else 'were letters'} {span} is not known any more.",)
    cut_off = {run.day for run in runs if run.outcome is Outcome.CUT_OFF}.intersection(days)
    if len(days) == 1:
        why = ", for its run was cut off" if cut_off else ""
        return (f"There was no letter {span}{why}; what it would have said is in this one.",)
    why = f" (a run was cut off on {len(cut_off)} of these days)" if cut_off else ""
    return (f"There were no letters {span}{why}; what they would have said is in this one.",)


def _unbroken(days: Sequence[date]) -> list[list[date]]:
    """Days in order, those that follow each other together: a day within that had its letter is not called missed."""
    found: list[list[date]] = []
    for day in days:
        if found and found[-1][-1] + DAY == day:
            found[-1].append(day)
        else:
            found.append([day])
    return found


def _span(days: Sequence[date]) -> str:
    first, last = (f"{day:%A %-d %B}" for day in (days[0], days[-1]))
    return f"on {first}" if len(days) == 1 else f"from {first} to {last}"


def _not_looked(runs: Sequence[Run], evening: date) -> tuple[str, ...]:
    """An evening's look that was cut off and not made up for: its silence said nothing of the night."""
    looks = [run.outcome for run in runs if run.kind == EVENING and run.day == evening]
    if not looks or looks[-1] is not Outcome.CUT_OFF:
        return ()
    return (f"The look at the night after {evening:%A %-d %B} was cut off, so no warning could come of it.",)


def _undelivered(one: Delivery) -> str:
    reason = one.note.splitlines()[0] if one.note else "no reason was given"
    return f"The letter of {one.day:%A %-d %B} did not reach {one.address.recipient}: {reason}."
