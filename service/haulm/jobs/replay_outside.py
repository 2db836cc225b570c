"""The skies and the weather of a replay's mornings, worked out ahead by another process while this one thinks.

No letter and no deed of the grower changes them, so they need not wait for the mornings before. What a morning says
does not depend on who worked them out: where it is given none, it does so itself.
"""

import os
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import islice, repeat

from haulm.beds.memo import Memo
from haulm.beds.outside import Outside
from haulm.jobs.decide import outside_now
from haulm.jobs.engine import Engine, WorkerLostError
from haulm.jobs.morning import as_of_morning
from haulm.jobs.replay_trace import World, garden_on
from haulm.settings.load import Settings

FEW = 200  # mornings that are thought sooner than another process helps: judgement
LEAD = 60  # mornings that are thought here while the other process starts: judgement
STRETCH = 25  # mornings of one task: handed over in some ten MB, and the mean year is fitted once for them
UNDER_WAY = 3  # tasks: so that the other process never waits


@dataclass(frozen=True, slots=True, eq=False)
class _Stretch:
    settings: Settings
    world: World
    days: tuple[date, ...]


def usual_helpers(mornings: int) -> int:
    """How many other processes are worth starting: one keeps ahead of the mornings."""
    return 0 if mornings <= FEW or (os.cpu_count() or 1) < 2 else 1


def begin(engine: Engine) -> None:
    """Have the other process start before there is anything to give it."""
    if engine.ahead:
        engine.submit(_nothing, None)


def _nothing(_: None) -> None:
    return None


def outsides(settings: Settings, world: World, days: Sequence[date], engine: Engine) -> Iterator[Outside | None]:
    """For each day what its morning knows outside; None where that morning had better find it itself."""
    if not engine.ahead:
        yield from repeat(None, len(days))
        return
    parts = [days[at : at + STRETCH] for at in range(LEAD, len(days), STRETCH)]
    handed = (engine.submit(_worked_out, _stretch(settings, world, part)) for part in parts)
    under_way, left = deque(islice(handed, UNDER_WAY)), max(len(days) - LEAD, 0)
    yield from repeat(None, len(days) - left)
    while under_way and (found := _found(under_way.popleft())):
        under_way.extend(islice(handed, 1))
        left -= len(found)
        yield from found
    yield from repeat(None, left)  # of a process that was lost nothing more is asked


def _found(wait: Callable[[], list[Outside]]) -> list[Outside]:
    try:
        return wait()
    except WorkerLostError:
        return []


def _stretch(settings: Settings, world: World, days: Sequence[date]) -> _Stretch:
    """With the issues that its mornings look at, and no others."""
    first, last = (world.issues_by(as_of_morning(settings, day)) for day in (days[0], days[-1]))
    issues = world.issues[first.start : last.stop]
    return _Stretch(settings, replace(world, issues=issues), tuple(days))


def _worked_out(stretch: _Stretch) -> list[Outside]:
    """That of each morning of a stretch, in the other process."""
    settings, world, memo = stretch.settings, stretch.world, Memo()
    found = []
    for day in stretch.days:
        as_of, garden = as_of_morning(settings, day), garden_on(settings.garden, day, a_key_a_year=world.simulated)
        given = (garden, settings.thresholds, as_of, world.record, world.issues[world.issues_by(as_of)], world.journal)
        found.append(outside_now(*given, world.told, memo))
    return found
