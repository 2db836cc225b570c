"""After lifting: curing, the store's warmth, looking through it, and the seed kept back."""

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from haulm.advice import Answer, Fact, Finding, NotKnown, Said, Section
from haulm.condition import Condition, DayRange, KeptSeed, StoreNow
from haulm.settings.store_thresholds import CuringThresholds
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY

NEARLY_C = 1.0  # judgement: an estimate so near to the right warmth counts as right
LOOK_DAYS = 3  # judgement: a look through the store is asked for so many days, then not until the next is due
WEEK, NIGHTS_AHEAD = 7, 3
STORE_UNKNOWN = "how warm the store is"
KEPT_AHEAD_DAYS = 28  # how long they keep is a matter of the weeks to come
COOLS_WITHIN_DAYS = 42  # judgement: a store that cools later than this helps nothing that lies in it now
MOVES_DAYS = 7  # judgement: the day of waking must move so far before another word is given on the seed

GUESSED_DAYS = 3  # judgement: so many mornings are enough for a guess

COLD = ("may-freeze", "too-cold")
WARM = ("keeps", "months", "weeks")
_SAID_AS = {
    "may-freeze": (Section.DO_TODAY, 62, 1),
    "too-cold": (Section.GET_READY, 40, 0),
    "keeps": (Section.KEEP_AN_EYE, 8, 0),
    "months": (Section.KEEP_AN_EYE, 18, 1),
    "weeks": (Section.GET_READY, 30, 2),
}


def cure(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """What was lifted heals for some days, in the warmth that is there; then it goes into the store.

    The store of the day of lifting decides, so that the days once told stay.
    """
    limits, lifted = thresholds.curing, condition.stage.since
    if lifted is None:
        return None
    room_c = _room_c(condition.store, lifted)
    room = _how_it_suits(room_c, limits)
    least = limits.room_least_days if room == "warm" else limits.least_days
    most = limits.room_most_days if room == "warm" else limits.most_days
    facts: dict[str, Fact] = {
        "lifted": lifted,
        "room": room,
        "room_c": room_c,
        "least_days": limits.least_days,
        "most_days": limits.most_days,
        "cool_c": limits.cool_c,
        "warm_c": limits.warm_c,
        "place_c": limits.room_c,
        "place_least_days": limits.room_least_days,
        "place_most_days": limits.room_most_days,
        "cured_first": lifted + least * DAY,
        "cured_last": lifted + most * DAY,
        "days": (condition.today - lifted).days,
    }
    said_over = standing is not None and standing.verdict == "store"
    if condition.today >= lifted + least * DAY or said_over:
        return Finding("store", Section.GET_READY, 33, facts, level=1)
    return Finding("cure", Section.DO_TODAY, 43, facts)


def _room_c(store: StoreNow | None, day: date) -> float:
    return store.room_c.at(day) if store is not None and store.known else math.nan


def _how_it_suits(room_c: float, limits: CuringThresholds) -> str:
    """Whether the store is warm as healing wants it, too cold, or too warm; "unknown" where that is not known."""
    if math.isnan(room_c):
        return "unknown"
    if room_c > limits.warm_c + NEARLY_C:
        return "warm"
    return "cold" if room_c < limits.cool_c - NEARLY_C else "fits"


def store_cold(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Frost or cold is coming to the store, or is there; told ahead where there is a forecast."""
    store, today, limits = condition.store, condition.today, thresholds.store
    if store is None or not store.known:
        return NotKnown(STORE_UNKNOWN)
    coming = store.room_c.between(today, today + (NIGHTS_AHEAD if condition.sky.has_forecast else 0) * DAY)
    coldest = int(np.argmin(coming))
    said = standing.verdict if standing is not None else ""
    freeze_c = limits.freeze_c + (limits.off_c if said == "may-freeze" else 0.0)
    cold_c = limits.keeps_c if said in COLD else limits.cold_c
    if coming[coldest] >= max(freeze_c, cold_c):
        return None
    facts: dict[str, Fact] = {
        **_store_facts(condition, store),
        "coldest_c": float(coming[coldest]),
        "coldest_on": today + coldest * DAY,
        "cold_c": limits.cold_c,
    }
    found = _said("may-freeze" if coming[coldest] < freeze_c else "too-cold", facts)
    return replace(found, section=Section.STILL_SO) if _guessed_for_days(found, store, standing, today) else found


def _guessed_for_days(found: Finding, store: StoreNow, standing: Said | None, today: date) -> bool:
    """Said on some mornings by the outdoor air alone: without a reading it asks for no hands all winter."""
    if standing is None or standing.verdict != found.verdict or store.readings:
        return False
    return (today - date.fromisoformat(standing.episode)).days >= GUESSED_DAYS


def store_warmth(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """How long potatoes keep in the store as it was for a week and will be for four, said once a band."""
    store, today, limits = condition.store, condition.today, thresholds.store
    if store is None or not store.known:
        return NotKnown(STORE_UNKNOWN)
    week_c = float(np.mean(store.room_c.between(today - (WEEK - 1) * DAY, today)))
    around_c = float(np.mean(store.room_c.between(today - (WEEK - 1) * DAY, today + KEPT_AHEAD_DAYS * DAY)))
    said = standing.verdict if standing is not None else ""
    band = 0
    for above, limit_c in enumerate((limits.cool_c, limits.warm_c), start=1):
        left_c = limit_c - (limits.off_c if said in WARM[above:] else 0.0)  # a band is left only with room to spare
        band = above if around_c > left_c else band
    if around_c < limits.cold_c and said not in WARM:
        return None  # the cold is spoken of
    facts: dict[str, Fact] = {
        **_store_facts(condition, store),
        "week_c": week_c,
        "around_c": around_c,
        "cool_c": limits.cool_c,
        "cooler_on": _cooler_on(store, today, limits.cool_c) if band else None,
    }
    return _said(WARM[band], facts)


def _said(verdict: str, facts: dict[str, Fact]) -> Finding:
    section, urgency, level = _SAID_AS[verdict]
    return Finding(verdict, section, urgency, facts, level)


def _store_facts(condition: Condition, store: StoreNow) -> dict[str, Fact]:
    return {
        "spread_c": store.spread_c.at(condition.today),
        "readings": store.readings,
        "kind": condition.garden.store.value,
    }


def _cooler_on(store: StoreNow, today: date, cool_c: float) -> date | None:
    """The first coming day, of those worth waiting for, on which the store has cooled to where potatoes keep."""
    coming = np.flatnonzero(store.room_c.between(today + DAY, today + COOLS_WITHIN_DAYS * DAY) <= cool_c)
    return today + (int(coming[0]) + 1) * DAY if coming.size else None


def store_check(condition: Condition, thresholds: Thresholds, _standing: Said | None) -> Answer:
    """A look through the store: after a week, then every fortnight."""
    since, limits = condition.stage.since, thresholds.store
    if since is None:
        return None
    days = (condition.today - since).days
    late = days - limits.first_check_days
    if late < 0 or late % limits.check_every_days >= min(LOOK_DAYS, limits.check_every_days):
        return None
    day = late % limits.check_every_days
    facts: dict[str, Fact] = {
        "since": since,
        "noted": condition.stage.noted,
        "days": days,
        "next_on": condition.today + timedelta(days=limits.check_every_days - day),
        "room_c": _room_c(condition.store, condition.today),
    }
    return Finding("look", Section.DO_TODAY, 30, facts)


def seed_kept(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Whether tubers held back would be asleep, ready or too old when seed for the next window is woken."""
    seed, today = condition.kept_seed, condition.today
    if seed is None or today > seed.chitting:
        return None
    facts: dict[str, Fact] = {
        "window_first": seed.window_first,
        "window_of": seed.window_of,
        "again": seed.again,
        "chitting": seed.chitting,
        "sprouting": seed.sprouting,
        "year": seed.window_first.year,
    }
    if seed.blight:
        return Finding("none", Section.KEEP_AN_EYE, 24, facts, level=2)
    if seed.wakes is None:
        return NotKnown(STORE_UNKNOWN)
    wakes = seed.wakes
    facts["cool"] = _room_c(condition.store, today) <= thresholds.store.warm_c
    facts |= {"early": wakes.early, "likely": wakes.likely, "late": wakes.late, "too_old": seed.too_old}
    verdict = _as_seed(wakes, seed, standing)
    return Finding(verdict, Section.KEEP_AN_EYE, 16, facts, level=0)


def _as_seed(wakes: DayRange, seed: KeptSeed, standing: Said | None) -> str:
    """The state on the chitting day by the likely days; a state once said stays while they move only a little."""
    said = standing.verdict if standing is not None else ""
    old_by = seed.chitting + (MOVES_DAYS * DAY if said == "too-old" else timedelta(0))
    awake_by = seed.chitting + (MOVES_DAYS * DAY if said in {"ready", "too-old"} else timedelta(0))
    if seed.too_old is not None and seed.too_old <= old_by:
        return "too-old"
    return "ready" if wakes.likely is not None and wakes.likely <= awake_by else "asleep"
