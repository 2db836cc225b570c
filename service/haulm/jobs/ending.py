"""How a run of a morning or an evening ends: one line that sums it up, and a sign of life where it went well.

The line is for programs that read logs. Its form is version 1, words parted by spaces, always in this order; what is
not known is ``-``, and a value with other signs than letters, digits and ``.:_+-`` stands in quotes as JSON has it:

    haulm-run version=1 garden=… kind=morning|evening day=DATE outcome=done|partly|failed exit=CODE
    letter=yes|no sent=N waiting=N refused=N answers=N observed=DATE forecast=INSTANT seconds=S

`letter` tells whether this day and kind has one; `sent`, `waiting` and `refused` count its deliveries (`waiting` those
of earlier letters too); `answers` are those by mail that the letter tells of; `observed` is the newest day observed and
`forecast` when the forecast in use was issued.
"""

import json
import logging
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from time import monotonic

from haulm.errors import Exit, HaulmError
from haulm.post.heartbeat import beat
from haulm.settings.load import Settings
from haulm.store.database import Database
from haulm.store.letters import Status, StoredLetter, deliveries_of, waiting
from haulm.store.runs import events, first_run, keep_event
from haulm.weather import DAY

BEAT, NO_BEAT = "heartbeat", "heartbeat failed"
_BARE = re.compile(r"[A-Za-z0-9.:_+-]+")
_LOG = logging.getLogger("haulm")


@dataclass(slots=True)
class Ending:
    """What the line will tell; the run fills it in."""

    letter: StoredLetter | None = None
    code: int = Exit.PARTLY
    counts: dict[str, int] = field(default_factory=dict)

    def of(self, database: Database, letter: StoredLetter | None, code: Exit) -> None:
        """What the store knows of a run that came to its end."""
        self.letter, self.code = letter, code
        found = deliveries_of(database, letter.garden, letter.kind, letter.day) if letter is not None else ()
        self.counts = {status: sum(one.status is status for one in found) for status in Status}
        if letter is not None:
            self.counts[Status.READY] = len(waiting(database, letter.garden))


@contextmanager
def summed_up(settings: Settings, kind: str, day: date) -> Iterator[Ending]:
    """Write the run's line to the log when the block ends, however it ends."""
    begun, ending, outcome = monotonic(), Ending(), "failed"
    try:
        yield ending
        outcome = "done" if ending.code == Exit.DONE else "partly"
    except HaulmError as fault:
        ending.code = fault.exit_code
        raise
    finally:
        level = logging.INFO if outcome == "done" else logging.WARNING
        _LOG.log(level, "%s", _line(settings.garden.key, kind, day, outcome, ending, monotonic() - begun))


def _line(garden: str, kind: str, day: date, outcome: str, ending: Ending, seconds: float) -> str:
    letter, counts = ending.letter, ending.counts
    form = json.loads(letter.json) if letter is not None else {}
    weather = form.get("weather", {})
    told = {
        "version": 1,
        "garden": garden,
        "kind": kind,
        "day": day,
        "outcome": outcome,
        "exit": int(ending.code),
        "letter": "yes" if letter is not None else "no",
        "sent": counts.get(Status.SENT, "-"),
        "waiting": counts.get(Status.READY, "-"),
        "refused": counts.get(Status.REFUSED, "-"),
        "answers": len(form.get("heard", ())) if letter is not None else "-",
        "observed": weather.get("newest_observed") or "-",
        "forecast": weather.get("forecast_issued") or "-",
        "seconds": f"{seconds:.2f}",
    }
    return " ".join(["haulm-run", *(f"{name}={_word(str(value))}" for name, value in told.items())])


def _word(value: str) -> str:
    return value if _BARE.fullmatch(value) else json.dumps(value)


def sign_of_life(settings: Settings, database: Database, now: datetime, code: Exit) -> None:
    """After a run that ended with 0: ask the heartbeat's address. Its failure is noted and logged, and changes nothing.

    A letter that went out without fresh data (1) is alive but not well: whoever listens should come to hear of it.
    """
    heartbeat = settings.post.heartbeat
    if heartbeat is None or code is not Exit.DONE:
        return
    try:
        try:
            beat(heartbeat)
        except HaulmError as fault:
            _LOG.warning("Heartbeat: %s", fault)
            keep_event(database, NO_BEAT, now, f"{fault.where}: {fault.what}", newest_only=True)
        else:
            keep_event(database, BEAT, now, heartbeat.where, newest_only=True)
    except HaulmError as fault:
        _LOG.warning("%s", fault)


def heartbeat_told(settings: Settings, database: Database, now: datetime) -> tuple[str, ...]:
    """One sentence for the letter where the heartbeat has not come through for days."""
    if settings.post.heartbeat is None:
        return ()
    failed, came = events(database, NO_BEAT), events(database, BEAT)
    since = came[-1].started if came else first_run(database)
    if not failed or since is None or failed[-1].started < since:
        return ()
    if now - since <= settings.post.heartbeat.tell_after_days * DAY + timedelta(hours=1):
        return ()
    return (f"The heartbeat has not come through since {since:%A %-d %B} ({failed[-1].note}).",)
