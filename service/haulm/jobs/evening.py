"""One evening of one garden: fresh hours, one look at the coming night, and a letter only where it is worth one.

The letters of an evening are "evening" and, where a later look finds the night a class graver, "evening-worse": one of
each at most for a garden and local day. A quiet look leaves its run behind, so that silence can be told from failure.
"""

import json
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from haulm.beds.dusk import look_at
from haulm.beds.evening import Tonight
from haulm.errors import Exit, StoreError
from haulm.jobs.arrears import tell_cut_off
from haulm.jobs.decide_evening import FROST, RULE, Called, SaidToday
from haulm.jobs.deliver import addresses, deliver
from haulm.jobs.ending import sign_of_life, summed_up
from haulm.jobs.kept_store import keep_copy, use_store
from haulm.jobs.look import KIND, WORSE, Look, LookWanted, look_all
from haulm.jobs.observe import observe
from haulm.jobs.observe_stations import access_to
from haulm.jobs.read_back import read_back
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.unsent import unsent
from haulm.jobs.writing import gravest, keep_weather
from haulm.letter import amounts
from haulm.settings.load import Settings
from haulm.store.database import Database, open_database
from haulm.store.journal_file import read_journal
from haulm.store.letters import StoredLetter, letter_of
from haulm.store.lock import lock
from haulm.store.mornings import record_morning
from haulm.store.post_book import days_of, read_book
from haulm.store.runs import Outcome, begin_run, end_run
from haulm.store.said import read_said
from haulm.weather import DAY

MORNING = "morning"
BEGINS = time(12)  # before noon there is no evening to look at


def as_of_evening(settings: Settings, day: date) -> datetime:
    """The instant at which the evening look of a local day is due."""
    return look_at(settings.garden.place, day, timedelta(hours=settings.letter.evening_hours_before_dusk))


def evening(settings: Settings, state: StateFolder, now: datetime, as_of: datetime | None = None) -> Look:
    """Look at the coming night; write, store and deliver a letter where it is worth one.

    Parameters
    ----------
    now
        The clock.
    as_of
        The instant the evening is thought from, if another than now.

    Raises
    ------
    BusyError
        Another run holds the lock.
    StoreError
        The store cannot be used; an `UnsentError` holds the letter that it could not take.
    """
    moment = as_of or now
    day = settings.garden.place.day_of(moment)
    if too_early(settings, moment):
        return _wait_for_it(settings)

    def work(database: Database) -> Look:
        look = _attend(settings, state, database, moment, now)
        ending.of(database, look.letter, look.exit_code)
        sign_of_life(settings, database, now, look.exit_code)
        return look

    def without(copy: StateFolder) -> StoredLetter | None:
        return rehearse_evening(settings, copy, now, moment).letter

    with summed_up(settings, KIND, day) as ending:
        try:
            with lock(state.lock(settings.garden), now):
                return use_store(state.store, now, work)
        except StoreError as fault:
            raise unsent(settings.garden, state, day, (WORSE, KIND), fault, without) from fault


def _attend(settings: Settings, state: StateFolder, database: Database, moment: datetime, now: datetime) -> Look:
    garden, day = settings.garden.key, settings.garden.place.day_of(moment)
    tell_cut_off(database, garden, now)
    read_back(settings, database, now)
    last = letter_of(database, garden, WORSE, day)
    if last is not None:
        return Look(last, "This evening's last letter is written.", deliver(settings, database, now))
    run = begin_run(database, garden, KIND, day, now)
    look = _look(settings, state, database, run, moment, now)
    code = gravest(look.exit_code, deliver(settings, database, now))
    end_run(database, run, now, outcome_of(look, code), code, look.told)
    if look.letter is not None:
        keep_copy(settings, database, now, anew=True)
    return replace(look, exit_code=code)


def rehearse_evening(settings: Settings, state: StateFolder, now: datetime, as_of: datetime) -> Look:
    """Look at the coming night afresh and store nothing, deliver nothing."""
    if too_early(settings, as_of):
        return _wait_for_it(settings)
    with ExitStack() as stack:
        database = stack.enter_context(open_database(state.store)) if state.store.exists() else None
        access = stack.enter_context(access_to(settings, state.spool, now))
        observed = observe(settings, access, database, as_of)
        asked = look_wanted(settings, state, database, as_of)
    return look_all([replace(asked, kind=KIND)], observed, as_of)[0]


def _look(
    settings: Settings, state: StateFolder, database: Database, run: int, moment: datetime, now: datetime
) -> Look:
    with access_to(settings, state.spool, now) as access:
        observed = observe(settings, access, database, moment)
        keep_weather(database, settings, access, observed)
    (look,) = look_all([look_wanted(settings, state, database, moment)], observed, moment)
    record_look(settings, database, run, look)
    return look


def record_look(settings: Settings, database: Database, run: int, look: Look) -> None:
    """Make the letter of a look a fact, where it has one, with its deliveries and what it said."""
    if look.letter is not None:
        record_morning(database, run, look.letter, addresses=addresses(settings), said=look.said, note=look.told)


def outcome_of(look: Look, code: Exit) -> Outcome:
    """How the run of a look went that ends with an exit code."""
    if look.lost:
        return Outcome.FAILED
    return Outcome.DONE if code is Exit.DONE else Outcome.PARTLY


def _is_first(database: Database, garden: str, day: date) -> bool:
    """Whether no letter of this evening has gone; one that a lost store knew is still in the post book."""
    gone = days_of(read_book(database.path, garden), KIND)
    return letter_of(database, garden, KIND, day) is None and day not in gone


def look_wanted(settings: Settings, state: StateFolder, database: Database | None, moment: datetime) -> LookWanted:
    """What a garden brings to a look: what was noted, and what its letters have said."""
    garden, day = settings.garden, settings.garden.place.day_of(moment)
    journal, complaints = read_journal(state.journal(garden))
    told = tuple(str(complaint) for complaint in complaints)
    if database is None:
        return LookWanted(garden, settings.thresholds, journal, (), SaidToday(), told)
    memory, said = read_said(database, garden.key, before=day + DAY), _said_today(database, garden.key, day, moment)
    kind = KIND if _is_first(database, garden.key, day) else WORSE
    return LookWanted(garden, settings.thresholds, journal, memory, said, told, kind)


def _said_today(database: Database, garden: str, day: date, moment: datetime) -> SaidToday:
    """What the letters of a day up to an instant said of its night, as they were written: the last word counts."""
    stored = (letter_of(database, garden, kind, day) for kind in (MORNING, KIND))
    letters = [letter if letter is not None and letter.written <= moment else None for letter in stored]
    called = tuple(one for letter in letters if letter is not None for one in _called(letter))
    return SaidToday(called, evening=letters[1] is not None)


def _called(letter: StoredLetter) -> Iterator[Called]:
    for alert in json.loads(letter.json)["alerts"]:
        facts = alert["facts"]
        tonight = alert["rule"] == RULE or (alert["rule"] == FROST.key and facts.get("tonight"))
        if tonight and not alert["unknown"] and not alert["ended"]:
            asked = alert["section"] == "Do today"
            leaf_c = facts.get("leaf_c")
            known_c = float("nan") if leaf_c is None else float(leaf_c)
            yield Called(alert["bed"], alert["planting"], alert["level"] if asked else 0, known_c)


def as_json(look: Look) -> str:
    """What is known of the night, and the letter where there is one, for programs: version 1.

    The form: ``version``; ``told``, a sentence; ``letter``, the letter's own form or null; ``tonight``, null before
    noon and where the letter was written by an earlier look, else in °C ``leaf_c``, ``spread_c``, ``air_c``,
    ``forecast_c``, ``evening_c``, ``evening_spread_c``, and ``morning``, ``nights``, ``unused``. Not known is null.
    """
    letter = json.loads(look.letter.json) if look.letter is not None else None
    tonight = _as_json(look.tonight) if look.tonight is not None else None
    whole = {"version": 1, "told": look.told, "letter": letter, "tonight": tonight}
    return json.dumps(whole, ensure_ascii=False, indent=1)


def _as_json(tonight: Tonight) -> dict[str, str | float | None]:
    night = tonight.night
    numbers = {
        "leaf_c": night.leaf_c,
        "spread_c": night.spread_c,
        "air_c": night.air_c,
        "forecast_c": tonight.forecast_c,
        "evening_c": tonight.evening_c,
        "evening_spread_c": tonight.evening_spread_c,
    }
    known = {name: value if amounts.is_known(value) else None for name, value in numbers.items()}
    return {"morning": night.morning.isoformat(), **known, "nights": tonight.nights, "unused": tonight.unused}


def too_early(settings: Settings, moment: datetime) -> bool:
    """Whether there is no evening to look at yet."""
    return moment.astimezone(ZoneInfo(settings.garden.place.zone)).time() < BEGINS


def _wait_for_it(settings: Settings) -> Look:
    return Look(None, f"It is not yet noon at {settings.garden.place.name}: the evening look waits.", Exit.DONE)
