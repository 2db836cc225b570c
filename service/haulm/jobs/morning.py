"""One morning of one garden: the page that knows the order.

settings → observations and forecast → state of each bed → alerts → letter → store → post → record
"""

from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from haulm.advice import AskedBack, Decision, Said
from haulm.errors import Exit, StoreError
from haulm.garden import Journal
from haulm.jobs.answers import collect
from haulm.jobs.arrears import arrears, tell_cut_off
from haulm.jobs.decide import decide
from haulm.jobs.deliver import addresses, deliver
from haulm.jobs.ending import heartbeat_told, sign_of_life, summed_up
from haulm.jobs.kept_store import copies_told, keep_copy, use_store
from haulm.jobs.letter_forms import write_out
from haulm.jobs.observe import Observed, observe
from haulm.jobs.observe_stations import access_to
from haulm.jobs.read_back import read_back
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.unsent import unsent
from haulm.jobs.writing import gravest, keep_weather, stored_letter
from haulm.post.folder import letter_stem
from haulm.settings.load import Settings
from haulm.steps import Step
from haulm.store.answers import mark_told, to_be_told
from haulm.store.database import Database, open_database
from haulm.store.journal_file import read_journal
from haulm.store.letters import StoredLetter, letter_of
from haulm.store.lock import lock
from haulm.store.mornings import record_morning
from haulm.store.notes import reindex
from haulm.store.runs import Outcome, begin_run, end_run
from haulm.store.said import read_said
from haulm.weather import DAY

KIND = "morning"
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
    keep_copy(settings, database, now)
    return done


def rehearse(settings: Settings, state: StateFolder, now: datetime, as_of: datetime) -> Morning:
    """Work a morning out afresh and store nothing, deliver nothing."""
    observed, decision = think(settings, state, now, as_of)
    forms = write_out(decision, settings.thresholds, _picture_name(settings, decision.today))
    return Morning(stored_letter(decision, forms, KIND), exit_of(observed, decision))


def think(settings: Settings, state: StateFolder, now: datetime, as_of: datetime) -> Thought:
    """What a morning would think, with the memory of the letters before it; nothing is stored."""
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
    return observed, _decide(settings, observed, journal, memory, as_of, told)


def _write(
    settings: Settings, state: StateFolder, database: Database, run: int, moment: datetime, now: datetime
) -> tuple[StoredLetter, Exit]:
    with access_to(settings, state.spool, now) as access:
        observed = observe(settings, access, database, moment)
        keep_weather(database, settings, access, observed)
    brought = bring(settings, state, database, moment, now)
    written = write(settings, observed, brought, moment)
    with database.transaction(Step.LETTER_STORED):
        record(settings, database, run, written)
    return written.letter, written.exit_code


@dataclass(frozen=True, slots=True)
class Brought:
    """What a garden brings to its morning besides the weather: what was noted, said before, and heard by mail.

    `told` are sentences about what went wrong since the last letter, for its last part.
    """

    journal: Journal
    memory: tuple[Said, ...]
    told: tuple[str, ...]
    heard: tuple[str, ...] = ()
    asked: tuple[AskedBack, ...] = ()


@dataclass(frozen=True, slots=True)
class Written:
    """A letter that is finished and not yet stored, with what it said, and how the morning went."""

    letter: StoredLetter
    said: tuple[Said, ...]
    exit_code: Exit


def bring(settings: Settings, state: StateFolder, database: Database, moment: datetime, now: datetime) -> Brought:
    """Read a garden's answers, its journal, and what was said before this morning."""
    garden, day = settings.garden.key, settings.garden.place.day_of(moment)
    collected = collect(settings, state, database, now)
    journal, complaints = read_journal(state.journal(settings.garden))
    told = _lost(reindex(database, garden, journal))
    told += (*arrears(database, garden, day, now), *copies_told(settings, database, now))
    told += heartbeat_told(settings, database, now)
    told += tuple(str(complaint) for complaint in complaints)
    told += (f"Answers: {collected.fault}",) if collected.fault else ()
    heard = to_be_told(database, garden, day, _end_of(settings, day))
    beds = {bed.key for bed in settings.garden.beds}
    asked = tuple(AskedBack(one.sentence, one.bed, one.choices) for one in heard if one.choices and one.bed in beds)
    return Brought(journal, read_said(database, garden, before=day), told, tuple(one.told for one in heard), asked)


def write(settings: Settings, observed: Observed, brought: Brought, moment: datetime) -> Written:
    """The letter of a morning, from all that was brought to it: no file, no network, no store."""
    decision = _decide(settings, observed, brought.journal, brought.memory, moment, brought.told)
    decision = replace(decision, heard=brought.heard, asked=brought.asked)
    forms = write_out(decision, settings.thresholds, _picture_name(settings, decision.today))
    return Written(stored_letter(decision, forms, KIND), decision.memory, exit_of(observed, decision))


def record(settings: Settings, database: Database, run: int, written: Written) -> None:
    """Make a letter a fact, with its deliveries and what it said; to be called within one transaction."""
    record_morning(database, run, written.letter, addresses=addresses(settings), said=written.said)
    day = written.letter.day
    mark_told(database, settings.garden.key, day, _end_of(settings, day))


def _end_of(settings: Settings, day: date) -> datetime:
    """What came after a day is told by a later letter, also where the day's own is only written now."""
    return datetime.combine(day + DAY, time(0), ZoneInfo(settings.garden.place.zone))


def _lost(notes: int) -> tuple[str, ...]:
    """The journal's file is only ever added to: notes that it no longer holds are a fault."""
    if not notes:
        return ()
    which = "A note is" if notes == 1 else f"{notes} notes are"
    return (f"{which} missing from the journal's file, and not counted; haulm mend writes back what was lost.",)


def _decide(
    settings: Settings,
    observed: Observed,
    journal: Journal,
    memory: tuple[Said, ...],
    as_of: datetime,
    told: tuple[str, ...],
) -> Decision:
    decision = decide(
        settings.garden,
        settings.thresholds,
        as_of,
        observed.record,
        observed.forecasts,
        journal,
        memory,
        observed.told,
    )
    return replace(decision, notices=decision.faults + observed.notices + told)


def _picture_name(settings: Settings, day: date) -> str:
    return f"{letter_stem(settings.garden.key, KIND, day)}.png"


def exit_of(observed: Observed, decision: Decision) -> Exit:
    """A letter written without fresh data is only partly a success."""
    silent = any(alert.rule == "station-silent" and not alert.ended for alert in decision.alerts)
    return Exit.DONE if observed.fresh and not silent and not decision.faults else Exit.PARTLY
