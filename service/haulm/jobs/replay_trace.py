"""What a run of replayed mornings leaves behind: what was said, and the season, the water and the nights in numbers."""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import lru_cache

import numpy as np

from haulm.advice import Alert, Decision, Said
from haulm.alerts.frost import RIPE
from haulm.beds.forcing import PlaceMean
from haulm.beds.memo import Memo
from haulm.beds.outside import Outside
from haulm.condition import Condition
from haulm.garden import Entry, Garden, Journal, Planting, Stage, What
from haulm.jobs.decide import decide
from haulm.jobs.morning import as_of_morning
from haulm.jobs.replay_grower import evening_of
from haulm.letter.words import item
from haulm.settings.load import Settings
from haulm.weather import DAY, Daily, Forecast, Record

ISSUES_LOOKED_BACK = timedelta(days=8)  # as a morning does: earlier issues bridge days whose station row is late
WINDOW_SEEN_AHEAD = timedelta(days=130)  # a planting is moved on to its next year so long before that year's window
REMEMBERED = timedelta(days=366)
OVER_REMEMBERED = timedelta(
    days=8
)  # a station tells last night some days late: was there a call for it, and is that told?
NOTED = timedelta(days=1200)  # longer than any morning looks back for the straw and the water of a bed
COVER = 2  # the level of a frost alert that asks for a cover tonight


@dataclass(frozen=True, slots=True)
class Line:
    """One thing that a morning would have said anew."""

    day: date
    alert: Alert
    sentence: str


@dataclass(frozen=True, slots=True)
class SeasonSeen:
    """One planting in one year: the day on which it was first told to plant, and what followed; None if it did not."""

    planting: Planting
    year: int
    ready: date | None = None
    planted: date | None = None
    shoots: date | None = None
    lifted: date | None = None


@dataclass(frozen=True, slots=True)
class YearSeen:
    """One calendar year of a garden: turns of water, and the nights on which shoots could be out.

    `hit` nights were harmful and called for a cover, `missed` harmful and not called, `false` called and harmless;
    `unknown` are those of which the station tells nothing.
    """

    year: int
    waterings: int = 0
    litres: float = 0.0
    hit: int = 0
    missed: int = 0
    false: int = 0
    unknown: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class World:
    """What the mornings of all variants share; issues stand in the order in which they were issued."""

    record: Record
    issues: tuple[Forecast, ...]
    told: PlaceMean
    journal: Journal
    simulated: bool

    def issues_by(self, as_of: datetime) -> slice:
        """Those that the morning of an instant looks at."""
        first = bisect_left(self.issues, as_of - ISSUES_LOOKED_BACK, key=_issued)
        return slice(first, bisect_right(self.issues, as_of, key=_issued))


def _issued(issue: Forecast) -> datetime:
    return issue.issued


class Trace:
    """The mornings of one variant, one after the other."""

    def __init__(self, settings: Settings, world: World) -> None:
        self._settings, self._world, self._memo = settings, world, Memo()
        self._said: tuple[Said, ...] = ()
        self._journal = world.journal
        self._seasons: dict[tuple[str, int], SeasonSeen] = {}
        self._turns: dict[int, list[float]] = defaultdict(list)
        self._nights: dict[date, bool] = {}
        self.lines: list[Line] = []

    def morning(self, day: date, outside: Outside | None = None) -> None:
        """Think one morning, and what follows from it; `outside` is what it knows there, where that is known ahead."""
        decision = self._decided(day, outside)
        # Rules look at what is open and at nights just past; what stays open for a planting that is gone is let go.
        since = {True: day - REMEMBERED, False: day - OVER_REMEMBERED}
        self._said = tuple(said for said in decision.memory if said.last_on > since[said.ended_on is None])
        fresh = [alert for alert in decision.alerts if alert.fresh and not alert.ended]
        self.lines += [Line(day, alert, item(alert, decision).sentence) for alert in fresh]
        for condition in decision.conditions:
            self._see(condition, decision)
        evening = evening_of(decision, self._settings.thresholds) if self._world.simulated else ()
        noted = (*(one for one in self._journal.entries if one.day > day - NOTED), *evening)
        if noted != self._journal.entries:  # else it stays the same one, and what was made of it is still so
            self._journal = Journal(noted)
        self._count_water(evening, fresh)

    def _decided(self, day: date, outside: Outside | None) -> Decision:
        as_of, world = as_of_morning(self._settings, day), self._world
        return decide(
            garden_on(self._settings.garden, day, a_key_a_year=world.simulated),
            self._settings.thresholds,
            as_of,
            world.record,
            world.issues[world.issues_by(as_of)],
            self._journal,
            self._said,
            world.told,
            memo=self._memo,
            outside=outside,
        )

    def _see(self, condition: Condition, decision: Decision) -> None:
        planting, stage = condition.planting, condition.stage
        place = (planting.key, planting.window_first.year)
        seen = self._seasons.get(place, SeasonSeen(planting, place[1]))
        asked = {a.rule: a for a in decision.alerts if a.planting == planting.key and not a.ended and not a.unknown}
        told = asked.get("planting-time")
        if seen.ready is None and told is not None and told.verdict in {"plant", "plant-with-care"}:
            seen = replace(seen, ready=decision.today)
        if stage.stage is Stage.PLANTED and seen.planted is None:
            seen = replace(seen, planted=stage.since)
        if stage.stage is Stage.EMERGED and stage.noted and seen.shoots is None:
            seen = replace(seen, shoots=stage.since)
        if stage.stage.order >= Stage.LIFTED.order and seen.lifted is None:
            seen = replace(seen, lifted=stage.since)
        self._seasons[place] = seen
        self._watch(condition, asked.get("frost"))

    def _watch(self, condition: Condition, frost: Alert | None) -> None:
        """Tonight, where shoots could be out; ripe tops are worth no cover, so nothing is missed there."""
        tonight, shoots = condition.today + DAY, condition.crop.shoots
        if not Stage.PLANTED.order <= condition.stage.stage.order <= Stage.DYING_BACK.order:
            return
        out = shoots is not None and shoots.early is not None and shoots.early <= tonight
        if not out or condition.crop.tops_gone is not None or (frost is not None and frost.verdict == RIPE):
            return
        called = frost is not None and frost.level >= COVER and frost.facts.get("tonight") is True
        self._nights[tonight] = self._nights.get(tonight, False) or called

    def _count_water(self, evening: Sequence[Entry], fresh: Sequence[Alert]) -> None:
        area_m2 = {bed.key: bed.area_m2 for bed in self._settings.garden.beds}
        for entry in evening:
            if entry.what is What.WATERED and entry.value is not None:
                self._turns[entry.day.year].append(entry.value * area_m2[entry.bed])
        if not self._world.simulated:
            for alert in fresh:
                litres = alert.facts.get("turn_l")
                if alert.rule == "water" and isinstance(litres, float):
                    self._turns[int(alert.episode[:4])].append(litres)

    def seasons(self) -> tuple[SeasonSeen, ...]:
        """Every planting of every year that was thought of, by its window."""
        return tuple(sorted(self._seasons.values(), key=lambda seen: (seen.planting.window_first, seen.planting.key)))

    def years(self, days: Sequence[date], leaf_c: Daily, harm_c: float) -> tuple[YearSeen, ...]:
        """Each calendar year of the days, its nights against what they did."""
        return tuple(self._year(year, leaf_c, harm_c) for year in sorted({day.year for day in days}))

    def _year(self, year: int, leaf_c: Daily, harm_c: float) -> YearSeen:
        nights = [(called, leaf_c.at(day)) for day, called in self._nights.items() if day.year == year]
        harmful = [(called, cold_c <= harm_c) for called, cold_c in nights if not np.isnan(cold_c)]
        return YearSeen(
            year,
            waterings=len(self._turns[year]),
            litres=float(sum(self._turns[year])),
            hit=sum(called and harm for called, harm in harmful),
            missed=sum(harm and not called for called, harm in harmful),
            false=sum(called and not harm for called, harm in harmful),
            unknown=len(nights) - len(harmful),
        )


def garden_on(garden: Garden, day: date, *, a_key_a_year: bool) -> Garden:
    """The garden with its plantings moved to the years about a day.

    With the journal a planting keeps its key, as it does for the grower who moves its window on each year; a simulated
    grower has a planting of its own each year, so that last year's crop may lie in store while the next is woken.
    """
    found = []
    for planting in garden.plantings:
        moved = [_in_year(planting, year, a_key_a_year) for year in range(day.year - 1, day.year + 2)]
        begun = [one for one in moved if one.window_first - WINDOW_SEEN_AHEAD <= day]
        found += moved if a_key_a_year else begun[-1:]
    return replace(garden, plantings=tuple(found))


@lru_cache(maxsize=64)
def _in_year(planting: Planting, year: int, own_key: bool) -> Planting:  # noqa: FBT001  a keyword is a key of its own
    first, last = planting.window_first, planting.window_last
    return replace(
        planting,
        key=f"{planting.key}-{year}" if own_key else planting.key,
        window_first=_moved(first, year),
        window_last=_moved(last, year + last.year - first.year),
    )


def _moved(day: date, year: int) -> date:
    return day.replace(year=year, day=28) if (day.month, day.day) == (2, 29) else day.replace(year=year)
