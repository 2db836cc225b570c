"""Is a morning due? Pure: the clock and what the store tells of earlier runs go in, an answer comes out.

All is keyed by the local day, never by the hour: an hour that comes twice in autumn is still the same day, so nothing
is sent twice; an hour that is left out in spring counts as reached at the instant at which the clocks jump over it.
"""

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from haulm.store.runs import Outcome, Run

# How long after a run began that failed the next one begins; after the last of these it stays at that. Judgement:
# short first, for a line that was down a moment; then long enough that six tries span the five hours of a morning.
WAITS = (timedelta(minutes=5), timedelta(minutes=15), timedelta(minutes=45), timedelta(hours=2))
WROTE = frozenset({Outcome.WRITTEN, Outcome.DONE, Outcome.PARTLY})
_MINUTE = timedelta(minutes=1)
_DAY = timedelta(days=1)


class Standing(StrEnum):
    """Where the morning of a local day stands."""

    EARLY = "its hour has not come"
    DUE = "due"
    WAITING = "failed, and waits for its next try"
    DONE = "done"
    LATE = "not written, and too late to be"


def due(
    now: datetime,
    runs: Sequence[Run],
    at: time,
    zone: str,
    catch_up_until: time,
    *,
    undelivered: bool = False,
) -> Standing:
    """Where the morning of the local day at `now` stands.

    Parameters
    ----------
    now
        The clock, with its zone.
    runs
        The morning's runs of this garden, of this local day and of any others.
    at, catch_up_until
        The hours on the garden's own clock from which and up to which (that minute included) a letter is written.
    zone
        The time zone of the garden.
    undelivered
        Whether a finished letter waits to be handed over. That is tried until the local day ends: a letter that
        tells of frost tonight is still worth having in the afternoon.
    """
    day = local_day(now, zone)
    if now.astimezone(UTC) < _instant(day, at, zone):
        return Standing.EARLY
    wrote = any(run.day == day and run.outcome in WROTE for run in runs)
    if wrote and not undelivered:
        return Standing.DONE
    if not wrote and now.astimezone(UTC) >= _instant(day, catch_up_until, zone, last=True) + _MINUTE:
        return Standing.LATE
    return Standing.DUE if next_try(now, runs, zone) <= now else Standing.WAITING


def next_try(now: datetime, runs: Sequence[Run], zone: str) -> datetime:
    """The instant from which a morning that has not got through may be tried again; `now` itself if none has run.

    A run that seems to begin later than now, because the clock was put back, counts as a try but is not waited for.
    """
    begun = [run.started for run in runs if run.day == local_day(now, zone)]
    past = [started for started in begun if started <= now]
    if not past:
        return now
    return max(past) + WAITS[min(len(begun), len(WAITS)) - 1]


def days_missed(
    runs: Iterable[Run], today: date, also: Iterable[date] = (), unheard: date | None = None
) -> tuple[date, ...]:
    """The local days since the last letter that have none, today left out; none where no letter was ever written.

    `also` are days known to have had a letter though their runs are forgotten. Where the last letters did not reach
    everybody, `unheard` is the day of the first of them: what they told of days before them is told again.
    """
    wrote = {run.day for run in runs if run.outcome in WROTE and run.day < today}
    wrote |= {day for day in also if day < today}
    if not wrote:
        return ()
    heard = [day for day in wrote if unheard is None or day < unheard]
    since = max(heard, default=min(wrote))
    days = (since + _DAY * n for n in range(1, (today - since).days))
    return tuple(day for day in days if day not in wrote)


def local_day(now: datetime, zone: str) -> date:
    """The day that the calendar in a zone shows at an instant."""
    return now.astimezone(ZoneInfo(zone)).date()


def _instant(day: date, hour: time, zone: str, *, last: bool = False) -> datetime:
    """The instant of a wall clock hour, in UTC: the first or the last of two, and past the jump if there is none."""
    # In UTC, since two instants of one zone are compared by their wall clocks, which go back in autumn.
    return datetime.combine(day, hour, ZoneInfo(zone)).replace(fold=int(last)).astimezone(UTC)
