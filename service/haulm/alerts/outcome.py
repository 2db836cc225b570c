"""What came of a frost call: a cover asked for in vain, or a frost without a call; told once, in one line.

Not a rule of the table, for it speaks of a past letter: what was called is looked up in the memory of what was said.
"""

import math
from collections.abc import Iterable
from datetime import date

from haulm.advice import Alert, Fact, Said, Section
from haulm.alerts.frost import ACT, KILLED, RIPE, SEVERE, VERDICTS
from haulm.condition import Condition
from haulm.garden import Stage
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, NightPast

RULE = "frost-outcome"
COVER = frozenset({VERDICTS[ACT], VERDICTS[SEVERE]})
IN_VAIN, UNWARNED = "did-not-come", "came-unwarned"
URGENCY = {IN_VAIN: 15, UNWARNED: 45}


def frost_outcomes(
    conditions: Iterable[Condition], memory: tuple[Said, ...], thresholds: Thresholds
) -> tuple[tuple[Alert, ...], tuple[Said, ...]]:
    """The lines of this morning, and what is to be remembered so that each is told once.

    Parameters
    ----------
    memory
        As it stood before this morning.
    """
    alerts, said = [], []
    for condition in conditions:
        for night in condition.sky.nights_past:
            verdict = _verdict(night, condition, memory, thresholds)
            if verdict and not _told(night, condition, memory):
                alerts.append(_alert(verdict, night, condition, memory))
                said.append(_said(verdict, night, condition))
    return tuple(alerts), tuple(said)


def _verdict(night: NightPast, condition: Condition, memory: tuple[Said, ...], thresholds: Thresholds) -> str:
    """Empty where the call was right, or near enough, or the night may still be going on."""
    eve = night.morning - DAY
    coldest_c = night.leaf_c if math.isnan(night.read_c) else night.read_c
    call = _call(condition, memory, eve)
    if call in COVER:
        return IN_VAIN if night.whole and coldest_c > thresholds.frost.heads_up_c else ""
    froze = coldest_c <= thresholds.frost.act_c and _in_leaf(condition, night.morning)
    return UNWARNED if froze and call not in {RIPE, KILLED} and _wrote(memory, eve) else ""


def _call(condition: Condition, memory: Iterable[Said], eve: date) -> str:
    """What the letters of that evening's day said of frost in the end; empty for nothing, and for a call taken back."""
    mine = [said for said in memory if said.rule == "frost" and (said.bed, said.planting) == _keys(condition)]
    spoken = [said for said in mine if _stood(said, eve) and not _taken_back(said, eve)]
    return max(spoken, key=lambda said: said.episode).verdict if spoken else ""


def _taken_back(said: Said, day: date) -> bool:
    """A morning ends what no longer stands in its letter; only an evening ends what the same day's letter said."""
    return said.ended_on == day == said.last_on


def _stood(said: Said, day: date) -> bool:
    return said.episode <= day.isoformat() and day <= said.last_on


def _wrote(memory: Iterable[Said], eve: date) -> bool:
    """Whether there was a letter on that day at all: something stood in it."""
    return any(_stood(said, eve) for said in memory if said.rule != RULE)


def _in_leaf(condition: Condition, morning: date) -> bool:
    """Shoots surely out by then, and the tops not gone: nobody is told of a frost on leaves that were only expected."""
    crop = condition.crop
    out = crop.shoots is not None and crop.shoots.late is not None and crop.shoots.late <= morning
    growing = Stage.EMERGED.order <= condition.stage.stage.order <= Stage.DYING_BACK.order
    return out and growing and (crop.tops_gone is None or crop.tops_gone > morning)


def _told(night: NightPast, condition: Condition, memory: Iterable[Said]) -> bool:
    mine = (said for said in memory if said.rule == RULE and (said.bed, said.planting) == _keys(condition))
    return any(said.episode == night.morning.isoformat() and said.first_on < condition.today for said in mine)


def _alert(verdict: str, night: NightPast, condition: Condition, memory: Iterable[Said]) -> Alert:
    bed, planting = _keys(condition)
    calls = [said for said in memory if (said.rule, said.bed, said.planting) == ("frost", bed, planting)]
    facts: dict[str, Fact] = {
        "morning": night.morning,
        "last_night": night.morning == condition.today,
        "air_c": night.air_c,
        "leaf_c": night.leaf_c,
        "read_c": None if math.isnan(night.read_c) else night.read_c,
        "taken_back": any(_taken_back(said, night.morning - DAY) for said in calls),
    }
    return Alert(
        rule=RULE, bed=bed, planting=planting, stage=condition.stage.stage, section=Section.KEEP_AN_EYE,
        verdict=verdict, urgency=URGENCY[verdict], facts=facts, level=0, chance=None, first_on=condition.today,
        episode=night.morning.isoformat(), fresh=True,
    )  # fmt: skip


def _said(verdict: str, night: NightPast, condition: Condition) -> Said:
    today = condition.today
    return Said(RULE, *_keys(condition), night.morning.isoformat(), verdict, 0, today, today, ended_on=today)


def _keys(condition: Condition) -> tuple[str, str]:
    return condition.bed.key, condition.planting.key
