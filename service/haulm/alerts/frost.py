"""Frost on the shoots."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from haulm.advice import Answer, Fact, Finding, NotKnown, Said, Section
from haulm.condition import Condition, Night
from haulm.science.frost import chance_at_or_below
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY

HEADS_UP, ACT, SEVERE = 1, 2, 3
WARM_ENOUGH_TO_SAY_NOTHING_C = 10.0  # judgement: after a week of nights above this a missing forecast is no frost news


@dataclass(frozen=True, slots=True)
class _Danger:
    night: Night
    level: int
    chance: float
    limit_c: float


def frost_on_shoots(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Leaves may freeze in one of the coming nights; the early end of an estimated emergence counts."""
    shoots = condition.crop.shoots
    if shoots is None or shoots.early is None or condition.crop.tops_gone is not None:
        return None
    last_looked_at = condition.today + thresholds.frost.nights_ahead * DAY
    if shoots.early > last_looked_at:
        return None
    nights = [night for night in condition.sky.nights if night.morning <= last_looked_at]
    known = [night for night in nights if not np.isnan(night.leaf_c)]
    if not known:
        cool = not condition.sky.recent_min_c > WARM_ENOUGH_TO_SAY_NOTHING_C
        return NotKnown("forecast", worth_saying=cool)
    danger = _worst(known, condition, thresholds)
    if danger is None and standing is not None:
        danger = _still_possible(known, thresholds)
    return _finding(danger, condition) if danger else None


def _worst(nights: Iterable[Night], condition: Condition, thresholds: Thresholds) -> _Danger | None:
    found = [danger for night in nights for danger in _dangers(night, condition, thresholds)]
    return max(found, key=lambda danger: (danger.level, danger.chance), default=None)


def _dangers(night: Night, condition: Condition, thresholds: Thresholds) -> Iterable[_Danger]:
    limits = thresholds.frost
    tonight = night.morning == condition.today + DAY
    grades = [(HEADS_UP, limits.heads_up_c, limits.heads_up_chance)]
    if tonight:
        grades += [(ACT, limits.act_c, limits.act_chance), (SEVERE, limits.severe_c, limits.severe_chance)]
    for level, limit_c, enough in grades:
        chance = float(chance_at_or_below(limit_c, night.leaf_c, night.spread_c))
        if chance >= enough:
            yield _Danger(night, level, chance, limit_c)


def _still_possible(nights: Iterable[Night], thresholds: Thresholds) -> _Danger | None:
    """An open warning ends only below its own lower chance."""
    limits = thresholds.frost
    chances = [(float(chance_at_or_below(limits.heads_up_c, n.leaf_c, n.spread_c)), n) for n in nights]
    chance, night = max(chances, key=lambda pair: pair[0])
    return _Danger(night, HEADS_UP, chance, limits.heads_up_c) if chance >= limits.off_chance else None


def _finding(danger: _Danger, condition: Condition) -> Finding:
    verdict = {HEADS_UP: "heads-up", ACT: "cover-tonight", SEVERE: "severe"}[danger.level]
    section = Section.GET_READY if danger.level == HEADS_UP else Section.DO_TODAY
    crop, night = condition.crop, danger.night
    facts: dict[str, Fact] = {
        "night": night.morning - DAY,
        "morning": night.morning,
        "tonight": night.morning == condition.today + DAY,
        "air_c": night.air_c,
        "leaf_c": night.leaf_c,
        "spread_c": night.spread_c,
        "limit_c": danger.limit_c,
        "clear": night.still_and_clear,
        "shoots_noted": crop.shoots is not None and crop.shoots.early == crop.shoots.late,
        "nearly_ripe": crop.dying_since is not None or crop.p_days >= crop.p_days_needed,
    }
    return Finding(verdict, section, 60 + 10 * danger.level, facts, danger.level, danger.chance)
