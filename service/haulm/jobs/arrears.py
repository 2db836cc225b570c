"""What the last days left undone, in plain sentences for the next letter: mornings missed, letters not delivered."""

from datetime import date, datetime, timedelta

from haulm.jobs.due import days_missed
from haulm.store.database import Database
from haulm.store.letters import Delivery, refused_since, waiting
from haulm.store.runs import read_runs

LOOKED_BACK = timedelta(days=400)
MOST_TOLD = 3
MORNING = "morning"


def arrears(database: Database, garden: str, day: date, now: datetime) -> tuple[str, ...]:
    """One sentence for the mornings that have no letter, and one for each of the newest deliveries that failed."""
    runs = [run for run in read_runs(database, garden, day - LOOKED_BACK) if run.kind == MORNING]
    written = [run.started for run in runs if run.day < day]
    since = max(written, default=now - LOOKED_BACK)
    late = [one for one in waiting(database, garden) if one.day < day and one.attempts]
    failed = [*refused_since(database, garden, since), *late]
    return (*_missed(days_missed(runs, day)), *(_undelivered(one) for one in failed[-MOST_TOLD:]))


def _missed(days: tuple[date, ...]) -> tuple[str, ...]:
    if not days:
        return ()
    if len(days) == 1:
        return (f"There was no letter on {days[0]:%A %-d %B}; what it would have said is in this one.",)
    span = f"from {days[0]:%A %-d %B} to {days[-1]:%A %-d %B}"
    return (f"There were no letters {span}; what they would have said is in this one.",)


def _undelivered(one: Delivery) -> str:
    reason = one.note.splitlines()[0] if one.note else "no reason was given"
    return f"The letter of {one.day:%A %-d %B} did not reach {one.address.recipient}: {reason}."
