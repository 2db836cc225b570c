"""Which fault strikes when: a year's plan, dealt from its seed alone, so that any day of it can be run again."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from random import Random

from faults import Kind

MORNING_CALLS = 6
OFF_FOR_A_WEEK, OFF_FOR_A_MORNING = "machine off for a week", "machine off for a morning"
WEEKS_OFF_A_YEAR, MORNINGS_OFF_A_YEAR = 4, 5
MOST_SOURCES_AT_ONCE = 2


@dataclass(frozen=True)
class Planned:
    """One fault of a day: what it strikes ("morning", "evening" or "note"), and how many calls running."""

    kind: Kind
    strikes: str
    lasts: int = 1


@dataclass
class Plan:
    """The faults of each day, and the days on which the machine is off, whole or for its morning.

    `left` are those for which no day had room; they are owed from the beginning.
    """

    faults: dict[date, list[Planned]]
    off: dict[date, str]
    left: list[Kind]
    crowded: bool = False

    def of(self, day: date, owed: Sequence[Kind] = ()) -> list[Planned]:
        """The faults of a day: those that were dealt, and of those that came to nothing before, what fits beside them.

        A fault comes to nothing where the program does not do that day what it strikes: no forecast was due.
        """
        there = list(self.faults.get(day, []))
        if day in self.off:
            return there
        rng = Random(f"owed {day} {len(owed)}")
        for kind in owed:
            strikes = {"look": rng.choice(("morning", "morning", "evening")), "any": "morning"}.get(
                kind.slot, kind.slot
            )
            if _fits(kind, [one for one in there if one.strikes == strikes], crowded=self.crowded):
                there.append(Planned(kind, strikes))
        return there


def first_day(seed: int) -> date:
    """Each seed's year begins on another day; each holds both changes of the clocks and the leap day of 2028."""
    return date(2027, 3, 2) + timedelta(days=(seed * 71) % 350)


def dealt(seed: int, days: int, kinds: Sequence[Kind], *, each_once: bool = False) -> Plan:
    """The plan of so many days; `each_once` deals every kind once, however short the time."""
    rng, begins = Random(f"plan {seed}"), first_day(seed)
    off = _off(rng, begins, days, each_once=each_once)
    open_days = [day for day in _days(begins, days) if day not in off and day > begins]
    faults: dict[date, list[Planned]] = defaultdict(list)
    deck = [kind for kind in kinds for _ in range(1 if each_once else max(1, round(kind.a_year * days / 365)))]
    rng.shuffle(deck)
    # Those that can take a whole call to themselves first, so that weather services fill what is left.
    dealt_first = sorted(deck, key=lambda one: not one.stops)
    left = [kind for kind in dealt_first if not _deal(rng, kind, open_days, faults, crowded=each_once)]
    return Plan(dict(faults), off, left, each_once)


def _off(rng: Random, begins: date, days: int, *, each_once: bool) -> dict[date, str]:
    off: dict[date, str] = {}
    weeks = round(WEEKS_OFF_A_YEAR * days / 365) if not each_once else 0
    for number in range(weeks):
        span = days // weeks
        start = begins + timedelta(days=span * number + 5 + rng.randrange(max(span - 20, 1)))
        off |= {start + timedelta(days=k): OFF_FOR_A_WEEK for k in range(7)}
    for _ in range(1 if each_once else round(MORNINGS_OFF_A_YEAR * days / 365)):
        off.setdefault(begins + timedelta(days=3 + rng.randrange(days - 4)), OFF_FOR_A_MORNING)
    return off


def _deal(
    rng: Random, kind: Kind, days: Sequence[date], faults: dict[date, list[Planned]], *, crowded: bool
) -> bool:  # fmt: skip
    strikes = {"look": ("morning", "morning", "evening"), "any": ("morning", "morning", "evening", "note")}
    wanted = rng.choice(strikes.get(kind.slot, (kind.slot,)))
    lasts = rng.choice((1, 1, 1, 2, 3, MORNING_CALLS)) if kind.stops and wanted == "morning" and not crowded else 1
    for day in rng.sample(list(days), len(days)):
        there = [one for one in faults[day] if one.strikes == wanted]
        if _fits(kind, there, crowded=crowded):
            faults[day].append(Planned(kind, wanted, lasts))
            return True
    return False


def _fits(kind: Kind, there: list[Planned], *, crowded: bool) -> bool:
    """One fault at a time of those that stop a call; several weather services may fail at once, each in one way."""
    if kind.source:
        same = [one for one in there if one.kind.source == kind.source]
        sources = [one for one in there if one.kind.source]
        return not same and len(sources) < (6 if crowded else MOST_SOURCES_AT_ONCE)
    return not [one for one in there if not one.kind.source]


def _days(begins: date, count: int) -> list[date]:
    return [begins + timedelta(days=k) for k in range(count)]
