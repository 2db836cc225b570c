"""What a rule is: a pure function with its stages and its manner of speaking."""

from collections.abc import Callable
from dataclasses import dataclass

from haulm.advice import Answer, Said, Speaks
from haulm.condition import Condition, SkyNow
from haulm.garden import Stage
from haulm.settings.thresholds import Thresholds

Judge = Callable[[Condition, Thresholds, Said | None], Answer]
SkyJudge = Callable[[SkyNow, Thresholds, Said | None], Answer]


PutOff = Callable[[Condition, Thresholds], bool]


def never(_condition: Condition, _thresholds: Thresholds) -> bool:
    """No rule is put off unless it says so."""
    return False


@dataclass(frozen=True, slots=True)
class Rule:
    """One alert about a planting. `judge` gets the open episode, if any, so that its off threshold can apply.

    `ends_unsaid`: nobody needs to be told when it is over. `put_off`: the grower has asked for silence for a while,
    or has done what was asked; what was open ends without a word, and is said anew after it.
    """

    key: str
    stages: frozenset[Stage]
    speaks: Speaks
    judge: Judge
    ends_unsaid: bool = False
    put_off: PutOff = never


@dataclass(frozen=True, slots=True)
class SkyRule:
    """One alert about the weather data of the whole place, in any stage."""

    key: str
    speaks: Speaks
    judge: SkyJudge


def stages_between(first: Stage, last: Stage) -> frozenset[Stage]:
    """The stages from one to another, both included."""
    return frozenset(stage for stage in Stage if first.order <= stage.order <= last.order)
