"""The coming dates of a garden, in words: what a calendar shows, and the page's "coming" list."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from haulm.advice import Decision
from haulm.condition import Condition, DayRange
from haulm.garden import Season, Stage
from haulm.letter import amounts

LAST_PLANTING = "last-planting"
CHITTING_TAKES = timedelta(days=28)  # common practice, no source: four weeks from waking seed to planting it


@dataclass(frozen=True, slots=True)
class Coming:
    """One coming date of a planting: its likely day, the ends of its range, and what it says.

    `kind` names it for ever, whatever its day becomes.
    """

    kind: str
    planting: str
    day: date
    early: date | None
    late: date | None
    title: str
    told: str


Teller = Callable[[Condition], Iterator[tuple[str, DayRange, str, str]]]


def coming_dates(decision: Decision) -> tuple[Coming, ...]:
    """Every coming date of the plantings that are alive, soonest first."""
    found = [
        _coming(condition, kind, when, title, why)
        for condition in decision.conditions
        for tell in (_waiting, _growing, _ripening)
        for kind, when, title, why in tell(condition)
        if when.likely is not None and when.likely >= decision.today
    ]
    return tuple(sorted(found, key=lambda one: (one.day, one.planting, one.kind)))


def _coming(condition: Condition, kind: str, when: DayRange, title: str, why: str) -> Coming:
    assert when.likely is not None  # noqa: S101 -- asked for above
    ranged = when.early is not None and when.late is not None and when.early < when.late
    told = amounts.expected_day(when.likely, condition.today, when.early, when.late)
    span = f" {told[0].upper()}{told[1:]}." if ranged else ""
    fixed = kind == LAST_PLANTING and when.likely == condition.planting.window_last
    moves = "" if fixed else f" An estimate of {amounts.full_day(condition.today)}: it moves with the weather."
    return Coming(
        kind=kind,
        planting=condition.planting.key,
        day=when.likely,
        early=when.early,
        late=when.late,
        title=f"{title} ({condition.planting.name})",
        told=f"{why}{span}{moves}",
    )


def _waiting(condition: Condition) -> Iterator[tuple[str, DayRange, str, str]]:
    """Before planting: waking the seed, the soil, and the day after which it is too late."""
    stage, ready = condition.stage.stage, condition.soil.ready
    if stage.order > Stage.CHITTING.order:
        return
    if ready is not None and ready.likely is not None:
        if stage is Stage.SEED:
            yield "chit", _moved(ready, -CHITTING_TAKES), "Start chitting", "About four weeks before planting."
        warm = "warm" if condition.planting.season is Season.SPRING else "cool"
        yield "plant", ready, "Plant", f"The soil should be {warm} enough where the seed lies."
    last = condition.chances.last_safe_planting
    if last is not None:
        by_window = last >= condition.planting.window_last
        why = (
            "Its window closes, as the settings have it."
            if by_window
            else "Planted later, a killing frost too often comes before it is grown."
        )
        yield LAST_PLANTING, DayRange(None, last, None, 1.0, condition.chances.years), "Last day to plant", why


def _growing(condition: Condition) -> Iterator[tuple[str, DayRange, str, str]]:
    stage, crop = condition.stage.stage, condition.crop
    if stage is Stage.PLANTED and crop.shoots is not None:
        yield "shoots", crop.shoots, "Look for the shoots", "They are due; note them when you see them."
    if stage in {Stage.PLANTED, Stage.EMERGED} and crop.ripe is not None:
        yield "ripe", crop.ripe, "Tops going down of age", "By the warmth that this class needs."


def _ripening(condition: Condition) -> Iterator[tuple[str, DayRange, str, str]]:
    if condition.stage.stage is Stage.SKINS_SETTING and condition.crop.skins_ready is not None:
        yield "skins", condition.crop.skins_ready, "Skins set", "Rub one with the thumb before you lift."


def _moved(when: DayRange, by: timedelta) -> DayRange:
    early, likely, late = (None if day is None else day + by for day in (when.early, when.likely, when.late))
    return DayRange(early, likely, late, when.share, when.years)
