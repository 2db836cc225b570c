"""`haulm replay`: the mornings of the past thought again, as they would have been, and with thresholds changed.

Nothing is delivered and nothing is stored. Each morning knows what it could have known: the record up to then, the
forecast that was kept, or where none was a hindcast, the notes of the journal (or those of a simulated grower), and
what the mornings before it said.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from haulm.beds.nights import garden_nights, leaf_seen_c
from haulm.errors import SourceError, UsageError
from haulm.garden import Garden, Journal
from haulm.jobs.decide import known_weather
from haulm.jobs.engine import engine_for
from haulm.jobs.morning import as_of_morning
from haulm.jobs.observe import kept_forecasts, observe
from haulm.jobs.observe_stations import access_to
from haulm.jobs.replay_outside import begin, outsides, usual_helpers
from haulm.jobs.replay_trace import ISSUES_LOOKED_BACK, Line, SeasonSeen, Trace, World, YearSeen
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import Settings
from haulm.sources.bridge import speaks_from
from haulm.sources.hindcast import hindcasts
from haulm.store.database import open_database
from haulm.store.journal_file import read_journal
from haulm.weather import DAY, Daily, Forecast

SEED = 1


@dataclass(frozen=True, slots=True)
class Variant:
    """Mornings with some values changed; none of them for the settings as they are."""

    changes: Mapping[str, str]
    seasons: tuple[SeasonSeen, ...]
    years: tuple[YearSeen, ...]
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Replay:
    """What was replayed, and what it rests on.

    Attributes
    ----------
    kept, drawn
        Mornings that had a kept forecast, and those for which a hindcast stood in.
    harm_c
        A night counts as harmful when leaves fell to this.
    """

    garden: Garden
    first: date
    last: date
    station: str
    simulated: bool
    kept: int
    drawn: int
    harm_c: float
    variants: tuple[Variant, ...]


def replay(
    variants: Sequence[tuple[Mapping[str, str], Settings]],
    state: StateFolder,
    days: tuple[date, date],
    now: datetime,
    *,
    simulated: bool,
    step: Callable[[], object] = lambda: None,
    helpers: int | None = None,
) -> Replay:
    """Think every morning from one day to another again, once for each variant.

    Parameters
    ----------
    variants
        What is changed, and the settings that come of it; the first is the settings as they are.
    simulated
        A simulated grower follows each letter, and the journal is left out.
    step
        Called after each morning.
    helpers
        How many other processes work ahead, 0 or 1; as many as are worth it if None. No answer depends on it.

    Raises
    ------
    UsageError
        The days are in the wrong order, or reach into the future.
    SourceError
        There is no record.
    """
    settings = variants[0][1]
    first, last = days
    if first > last:
        raise UsageError(f"the last day, {last}, comes before the first, {first}", remedy="Give --from and then --to.")
    if last > settings.garden.place.day_of(now):
        raise UsageError(f"{last} is still to come", remedy="Replay looks at mornings that have been.")
    listed = tuple(first + k * DAY for k in range((last - first).days + 1))
    found = []
    with engine_for(usual_helpers(len(listed) * len(variants)) if helpers is None else helpers) as engine:
        begin(engine)
        world, drawn = _world(settings, state, listed, now, simulated=simulated)
        leaf_c, harm_c = _leaf_c(settings, world, last, now), settings.thresholds.frost.act_c
        for changes, each in variants:
            trace = Trace(each, world)
            for day, outside in zip(listed, outsides(each, world, listed, engine), strict=True):
                trace.morning(day, outside)
                step()
            found.append(Variant(changes, trace.seasons(), trace.years(listed, leaf_c, harm_c), tuple(trace.lines)))
    station = world.record.origin.name
    return Replay(settings.garden, first, last, station, simulated, len(listed) - drawn, drawn, harm_c, tuple(found))


def _world(
    settings: Settings, state: StateFolder, days: tuple[date, ...], now: datetime, *, simulated: bool
) -> tuple[World, int]:
    """The record, and the forecasts that were kept, with hindcasts for the other mornings; how many there were."""
    with ExitStack() as stack:
        database = stack.enter_context(open_database(state.store)) if state.store.exists() else None
        access = stack.enter_context(access_to(settings, state.spool, now))
        observed = observe(settings, access, database, now)
        since = as_of_morning(settings, days[0]) - ISSUES_LOOKED_BACK
        kept = kept_forecasts(settings, observed, database, since, now)
    record = observed.record
    if record is None or not len(record.days):
        raise SourceError(
            "there is no record of that place's weather, so there is nothing to replay",
            where=str(settings.path),
            remedy="Name a weather file or stations under [weather]; haulm check --live tries them.",
        )
    lacking = _lacking(settings, kept, days)
    drawn = hindcasts(record, [(day, as_of_morning(settings, day)) for day in lacking], SEED)
    issues = tuple(sorted((*kept, *drawn), key=lambda issue: issue.issued))
    journal = Journal() if simulated else read_journal(state.journal(settings.garden))[0]
    return World(record, issues, observed.told, journal, simulated), len(set(lacking) & set(days))


def _lacking(settings: Settings, kept: Sequence[Forecast], days: Sequence[date]) -> list[date]:
    """Mornings, and a week before the first, on which no kept forecast was young enough to speak of the day."""
    most = timedelta(hours=settings.thresholds.data.forecast_max_age_hours)
    found = []
    for day in (days[0] - ISSUES_LOOKED_BACK + k * DAY for k in range(len(days) + ISSUES_LOOKED_BACK.days)):
        at = as_of_morning(settings, day)
        if not any(issue.known_since <= at and at - issue.issued <= most and speaks_from(issue, day) for issue in kept):
            found.append(day)
    return found


def _leaf_c(settings: Settings, world: World, last: date, now: datetime) -> Daily:
    """How cold leaves in the garden got, by the station's minimum of each night and what is known of its sky."""
    garden, thresholds = settings.garden, settings.thresholds
    after = min(as_of_morning(settings, last + 10 * DAY), now)
    timeline = known_weather(garden, thresholds, after, world.record, ())
    noted = world.journal.known(after, garden.place.day_of(after))
    return leaf_seen_c(timeline, garden_nights(timeline, noted, garden.place, thresholds))
