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
CROWDED_CALLS = 4


@dataclass(frozen=True)
class Planned:
    """One fault of a day: what it strikes ("morning", "evening" or "note"), and which of a morning's calls."""

    kind: Kind
    strikes: str
    lasts: int = 1
    first: int = 0

    def meets(self, number: int) -> bool:
        """Whether it strikes that call of a morning, the first of which is 0."""
        return self.first <= number < self.first + self.lasts


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
        for kind in rng.sample(owed, len(owed)):  # else one that is never met would keep the others out
            strikes = {"look": rng.choice(("morning", "morning", "evening")), "any": "morning"}.get(
                kind.slot, kind.slot
            )
            first = _place(kind, strikes, there, crowded=self.crowded)
            if first is not None:
                there.append(Planned(kind, strikes, first=first))
        return there


def first_day(seed: int) -> date:
    """Each seed's year begins on another day; each holds both changes of the clocks and the leap day of 2028."""
    return date(2027, 3, 2) + timedelta(days=(seed * 71) % 350)


def dealt(seed: int, days: int, kinds: Sequence[Kind], *, each_once: bool = False) -> Plan:
    """The plan of so many days; `each_once` deals every kind once, however short the time."""
    rng, begins = Random(f"plan {seed}"), first_day(seed)
    off = _off(rng, begins, days, each_once=each_once)
    open_days = [day for day in _days(begins, days) if day not in off and day > begins]
    if each_once:
        open_days = open_days[: len(open_days) * 2 // 3]  # the rest is for what came to nothing
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
    # Crowded mornings are for what can strike nothing else.
    spared = ("evening",) if crowded and kind.stops and kind.slot in strikes else ()
    for one in (*spared, wanted):
        for day in rng.sample(list(days), len(days)):
            first = _place(kind, one, faults[day], crowded=crowded)
            if first is not None:
                faults[day].append(Planned(kind, one, lasts, first))
                return True
    return False


def _place(kind: Kind, strikes: str, day: Sequence[Planned], *, crowded: bool) -> int | None:
    """Which call of a day a fault may strike beside those that are there; None where there is no room.

    One fault at a time of those that stop a call; several weather services may fail at once, each in one way. A crowded
    morning has one such fault in each of its first calls.
    """
    there = [one for one in day if one.strikes == strikes]
    if kind.source:
        # Where the point cannot be had, the grid is not asked for; a year has room for both.
        asked = {"points": "grid"} if crowded else {}
        wanted = asked.get(kind.source, kind.source)
        same = [one for one in there if asked.get(one.kind.source, one.kind.source) == wanted]
        sources = [one for one in there if one.kind.source]
        return 0 if not same and len(sources) < (6 if crowded else MOST_SOURCES_AT_ONCE) else None
    taken = {one.first for one in there if not one.kind.source}
    calls = CROWDED_CALLS if crowded and strikes == "morning" else 1
    return next((number for number in range(calls) if number not in taken), None)


def _days(begins: date, count: int) -> list[date]:
    return [begins + timedelta(days=k) for k in range(count)]
