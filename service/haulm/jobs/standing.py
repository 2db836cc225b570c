"""Where a day's errands stand, by their hours and the runs that the store knows of."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

from haulm.errors import StoreError
from haulm.jobs.due import Standing, due
from haulm.jobs.errands import Errand
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import Settings
from haulm.store.database import Database, open_database
from haulm.store.letters import left_sending, waiting
from haulm.store.runs import Run, read_runs


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a garden's errands: their runs, and whether a finished letter waits to be handed over."""

    runs: tuple[Run, ...] = ()
    undelivered: bool = False

    @property
    def ids(self) -> set[int]:
        """The numbers of the runs."""
        return {run.id for run in self.runs}


def known_runs(settings: Settings, state: StateFolder, now: datetime) -> Known:
    """What the store tells of all runs since yesterday; nothing where it cannot be read: the errand sees to that.

    Raises
    ------
    BusyError
        Another file is just being put in its place.
    """
    if not state.store.exists():
        return Known()
    garden = settings.garden
    try:
        with open_database(state.store) as database:
            return known_in(database, garden.key, garden.place.day_of(now) - timedelta(days=1))
    except StoreError:
        return Known()  # the errand mends it, or works its letter out without it; it tells of it, too


def known_in(database: Database, garden: str, since: date, kind: str = "") -> Known:
    """What a store tells of a garden's runs, of one kind or of all, for a local day and those after it."""
    undelivered = bool(waiting(database, garden) or left_sending(database, garden))
    return Known(read_runs(database, garden, since, kind), undelivered)


def begun(settings: Settings, wanted: Sequence[Errand], now: datetime) -> list[Errand]:
    """The errands whose hour has come; the latest of them hands over what waits, so that nothing is tried twice."""
    zone = settings.garden.place.zone
    found = [one for one in wanted if due(now, (), one.at, zone, time.max) is not Standing.EARLY]
    return [replace(one, hands_over=one is found[-1]) for one in found]


def own(errand: Errand, known: Known) -> Known:
    """What is known, as far as it is the errand's business."""
    return Known(errand.runs_of(known.runs), known.undelivered and errand.hands_over)


def standing(settings: Settings, errand: Errand, known: Known, now: datetime) -> Standing:
    """Where an errand stands, by what is its business."""
    zone = settings.garden.place.zone
    return due(now, known.runs, errand.at, zone, errand.until, undelivered=known.undelivered)
