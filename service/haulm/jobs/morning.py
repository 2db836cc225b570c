"""One morning of one garden: the page that knows the order.

settings → observations and forecast → state of each bed → alerts → letter → store → post → record
"""

from contextlib import ExitStack
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from haulm.advice import Decision, Said
from haulm.beds.in_step import finished
from haulm.errors import Exit, StoreError
from haulm.jobs.arrears import arrears, tell_cut_off
from haulm.jobs.bring import Brought, bring, end_of
from haulm.jobs.deliver import addresses, deliver
from haulm.jobs.ending import sign_of_life, summed_up
from haulm.jobs.kept_store import keep_copy, use_store
from haulm.jobs.let_go import kept, let_go_of_old
from haulm.jobs.observe import Observed, observe
from haulm.jobs.observe_stations import access_to
from haulm.jobs.read_back import read_back
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.unsent import unsent
from haulm.jobs.write import KIND, Written, think_all, wanted, write_all
from haulm.jobs.writing import gravest, keep_weather
from haulm.settings.load import Settings
from haulm.steps import Step
from haulm.store.answers import mark_told
from haulm.store.database import Database, open_database
from haulm.store.journal_file import read_journal
from haulm.store.letters import StoredLetter, letter_of
from haulm.store.lock import lock
from haulm.store.mornings import record_morning
from haulm.store.runs import Outcome, begin_run, end_run
from haulm.store.said import read_said

Thought = tuple[Observed, Decision]


@dataclass(frozen=True, slots=True)
class Morning:
    """What a run has to show: the letter, and how it went."""

    letter: StoredLetter
    exit_code: Exit


def as_of_morning(settings: Settings, day: date) -> datetime:
    """The instant at which the letter of a local day is due."""
    return datetime.combine(day, settings.letter.at, ZoneInfo(settings.garden.place.zone))


def morning(settings: Settings, state: StateFolder, now: datetime, as_of: datetime | None = None) -> Morning:
    """Write, store and deliver the letter of a day; a day that has its letter is only delivered again where it waits.

    Parameters
    ----------
    now
        The clock.
    as_of
        The instant the morning is thought from, if another than now.

    Raises
    ------
    BusyError
        Another run holds the lock.
    StoreError
        The store cannot be used; an `UnsentError` holds the letter that it could not take.
    """
    moment = as_of or now
    day = settings.garden.place.day_of(moment)

    def work(database: Database) -> Morning:
        done = _attend(settings, state, database, moment, now)
        ending.of(database, done.letter, done.exit_code)
        sign_of_life(settings, database, now, done.exit_code)
        return done

    with summed_up(settings, KIND, day) as ending:
        try:
            with lock(state.lock(settings.garden), now):
                return use_store(state.store, now, work)
        except StoreError as fault:
            raise unsent(
                settings.garden, state, day, (KIND,), fault, lambda copy: rehearse(settings, copy, now, moment).letter
            ) from fault


def _attend(settings: Settings, state: StateFolder, database: Database, moment: datetime, now: datetime) -> Morning:
    garden, day = settings.garden.key, settings.garden.place.day_of(moment)
    tell_cut_off(database, garden, now)
    read_back(settings, database, now)
    stored = letter_of(database, garden, KIND, day)
    if stored is not None:
        done = Morning(stored, deliver(settings, database, now))
    else:
        run = begin_run(database, garden, KIND, day, now)
        letter, exit_code = _write(settings, state, database, run, moment, now)
        code = gravest(exit_code, deliver(settings, database, now))
        end_run(database, run, now, Outcome.DONE if code is Exit.DONE else Outcome.PARTLY, code)
        done = Morning(letter, code)
    let_go_of_old(database, [kept(settings, now)])
    keep_copy(settings, database, now)
    return done


def rehearse(settings: Settings, state: StateFolder, now: datetime, as_of: datetime) -> Morning:
    """Work a morning out afresh and store nothing, deliver nothing."""
    observed, brought = _looked_up(settings, state, now, as_of)
    (written,) = write_all([wanted(settings, brought)], observed, as_of)
    return Morning(written.letter, written.exit_code)


def think(settings: Settings, state: StateFolder, now: datetime, as_of: datetime) -> Thought:
    """What a morning would think, with the memory of the letters before it; nothing is stored."""
    observed, brought = _looked_up(settings, state, now, as_of)
    return observed, finished(think_all([wanted(settings, brought)], observed, as_of))[0]


def _looked_up(settings: Settings, state: StateFolder, now: datetime, as_of: datetime) -> tuple[Observed, Brought]:
    """What a morning begins with, read and not written."""
    day = settings.garden.place.day_of(as_of)
    journal, complaints = read_journal(state.journal(settings.garden))
    told = tuple(str(complaint) for complaint in complaints)
    memory: tuple[Said, ...] = ()
    with ExitStack() as stack:
        database = stack.enter_context(open_database(state.store)) if state.store.exists() else None
        access = stack.enter_context(access_to(settings, state.spool, now))
        observed = observe(settings, access, database, as_of)
        if database is not None:
            memory = read_said(database, settings.garden.key, before=day)
            told = (*arrears(database, settings.garden.key, day, as_of), *told)
    return observed, Brought(journal, memory, told)


def _write(
    settings: Settings, state: StateFolder, database: Database, run: int, moment: datetime, now: datetime
) -> tuple[StoredLetter, Exit]:
    with access_to(settings, state.spool, now) as access:
        observed = observe(settings, access, database, moment)
        keep_weather(database, settings, access, observed)
    brought = bring(settings, state, database, moment, now)
    (written,) = write_all([wanted(settings, brought)], observed, moment)
    with database.transaction(Step.LETTER_STORED):
        record(settings, database, run, written)
    return written.letter, written.exit_code


def record(settings: Settings, database: Database, run: int, written: Written) -> None:
    """Make a letter a fact, with its deliveries and what it said; to be called within one transaction."""
    record_morning(database, run, written.letter, addresses=addresses(settings), said=written.said)
    day = written.letter.day
    mark_told(database, settings.garden.key, day, end_of(settings, day))
