"""Frost on the shoots."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

import numpy as np

from haulm.advice import Answer, Fact, Finding, NotKnown, Said, Section
from haulm.alerts.growth import ASK, CUT, ripening
from haulm.condition import Condition, Night
from haulm.garden import Stage
from haulm.science.forecast_skill import chance_at_or_below
from haulm.science.frost import LEAST_CHANCE, MOST_CHANCE
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY

HEADS_UP, ACT, SEVERE = 1, 2, 3
VERDICTS = {HEADS_UP: "heads-up", ACT: "cover-tonight", SEVERE: "severe"}
RIPE, KILLED, BLIND = "ripe-tops", "killed", "no-forecast"
KILLING_C = -4.0  # published: HortScience 27:244 (1992), abstract (potato leaves are killed at -4 C within a night)
WARM_ENOUGH_TO_SAY_NOTHING_C = 10.0  # judgement: after a week of nights above this a missing forecast is no frost news
WORTH_TELLING_C = 0.5  # judgement: a smaller correction of a forecast is no news
RECENT_DAYS = 7  # what `SkyNow.recent_min_c` looks back on


@dataclass(frozen=True, slots=True)
class _Danger:
    night: Night
    level: int
    chance: float
    limit_c: float


@lru_cache(maxsize=1024)  # the gardens of a place ask the same
def night_chance(night: Night, limit_c: float) -> float:
    """Chance that the leaves fall to a limit, kept between 0.01 and 0.99: nobody is promised a night."""
    chance = float(chance_at_or_below(limit_c, night.leaf_c, night.spread_c, night.errors_c))
    return float(np.clip(chance, LEAST_CHANCE, MOST_CHANCE))


def frost_on_shoots(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Leaves may freeze in one of the coming nights; the early end of an estimated emergence counts."""
    mornings = _mornings_with_shoots(condition, thresholds)
    if not mornings or condition.crop.tops_gone is not None:
        return None
    nights = [night for night in condition.sky.nights if night.morning in mornings]
    known = [night for night in nights if not np.isnan(night.leaf_c)]
    danger = _worst(known, condition, thresholds)
    open_warning = standing is not None and standing.verdict in {*VERDICTS.values(), RIPE, KILLED, BLIND}
    if danger is None and open_warning:
        danger = _still_possible(known, thresholds)
    if danger is not None:
        return _finding(danger, condition, thresholds)
    if standing is not None and _left_blind(known, mornings, standing, condition, thresholds):
        return _blind(standing, condition)
    return None if len(known) == len(mornings) else _not_known(known, mornings, condition)


def _mornings_with_shoots(condition: Condition, thresholds: Thresholds) -> list[date]:
    """The mornings watched: none before the earliest day on which shoots may be out."""
    shoots, today = condition.crop.shoots, condition.today
    if shoots is None or shoots.early is None:
        return []
    coming = [today + ahead * DAY for ahead in range(1, thresholds.frost.nights_ahead + 1)]
    return [morning for morning in coming if morning >= shoots.early]


def _not_known(known: Iterable[Night], mornings: Iterable[date], condition: Condition) -> NotKnown:
    """A missing night is no safe night; it is worth a word where it is the coming one, after cool nights."""
    tomorrow = condition.today + DAY
    tonight = tomorrow in mornings and tomorrow not in {night.morning for night in known}
    cool = not condition.sky.recent_min_c > WARM_ENOUGH_TO_SAY_NOTHING_C
    return NotKnown("forecast", worth_saying=tonight and cool)


def _left_blind(
    known: Iterable[Night], mornings: Iterable[date], standing: Said, condition: Condition, thresholds: Thresholds
) -> bool:
    """A warning is open, and nothing is known of the coming night: it holds for as many days as nights are watched."""
    tomorrow = condition.today + DAY
    if tomorrow not in mornings or tomorrow in {night.morning for night in known}:
        return False
    blind_days = (condition.today - _blind_since(standing, condition)).days
    return standing.verdict in {*VERDICTS.values(), BLIND} and blind_days < thresholds.frost.nights_ahead


def _blind_since(standing: Said, condition: Condition) -> date:
    return standing.first_on if standing.verdict == BLIND else condition.today


def _blind(standing: Said, condition: Condition) -> Finding:
    """What was last known stands until something newer comes: a cover costs less than a crop."""
    covered = standing.level >= ACT
    facts: dict[str, Fact] = {
        "since": _blind_since(standing, condition),
        "asked_for_cover": covered,
        "recent_min_c": condition.sky.recent_min_c,
        "morning": condition.today + DAY,
    }
    return Finding(BLIND, Section.DO_TODAY if covered else Section.GET_READY, 60, facts, standing.level)


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
        chance = night_chance(night, limit_c)
        if chance >= enough:
            yield _Danger(night, level, chance, limit_c)


def _still_possible(nights: Iterable[Night], thresholds: Thresholds) -> _Danger | None:
    """An open warning ends only below its own lower chance."""
    limits = thresholds.frost
    chances = [(night_chance(n, limits.heads_up_c), n) for n in nights]
    found = [_Danger(n, HEADS_UP, chance, limits.heads_up_c) for chance, n in chances if chance >= limits.off_chance]
    return max(found, key=lambda danger: danger.chance, default=None)


def _finding(danger: _Danger, condition: Condition, thresholds: Thresholds) -> Finding:
    crop, night = condition.crop, danger.night
    of_age = ripening(condition, thresholds)
    facts: dict[str, Fact] = {
        "night": night.morning - DAY,
        "morning": night.morning,
        "tonight": night.morning == condition.today + DAY,
        "air_c": night.air_c,
        "likely_air_c": night.likely_air_c if abs(night.likely_air_c - night.air_c) >= WORTH_TELLING_C else None,
        "leaf_c": night.leaf_c,
        "spread_c": night.spread_c,
        "graded_nights": condition.sky.graded.nights if condition.sky.graded else 0,
        "limit_c": danger.limit_c,
        "clear": night.still_and_clear,
        "clear_chance": night.clear_chance,
        "shoots_noted": _shoots_seen(condition),
        "recent_min_c": condition.sky.recent_min_c,
        "nearly_ripe": (of_age is not None and of_age != ASK) or crop.p_days >= crop.p_days_needed,
    }
    if of_age == CUT:  # tops that go down of age are not worth a cover, whatever the night
        return Finding(RIPE, Section.KEEP_AN_EYE, 26, facts, danger.level, danger.chance)
    verdict = KILLED if _killed_unless_covered(condition) else VERDICTS[danger.level]
    section = Section.GET_READY if danger.level == HEADS_UP else Section.DO_TODAY
    return Finding(verdict, section, 60 + 10 * danger.level, facts, danger.level, danger.chance)


def _killed_unless_covered(condition: Condition) -> bool:
    """A night of the last week killed every uncovered leaf that was out: more covers help only what was covered."""
    out_for = condition.crop.days_from_shoots
    return out_for is not None and out_for >= RECENT_DAYS and condition.sky.recent_min_c <= KILLING_C


def _shoots_seen(condition: Condition) -> bool:
    """Noted, or plain from what was noted since: tops that go down were up."""
    shoots, stage = condition.crop.shoots, condition.stage
    return (shoots is not None and shoots.early == shoots.late) or stage.stage.order > Stage.EMERGED.order
