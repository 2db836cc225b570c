"""From tubers in the ground to lifting: frost at the tubers, cutting the tops, which day suits."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from haulm.advice import Answer, Fact, Finding, NotKnown, Said, Section
from haulm.alerts.growth import ASK, ripening
from haulm.condition import Condition, DayRange, Ends, Night
from haulm.garden import Cause, Stage
from haulm.science.frost import chance_at_or_below
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY

MORE_STRAW_M = 0.10  # judgement: what is worth carrying against frost in the ground
FROZEN, TONIGHT, SOON = 3, 2, 1
WARM_BELOW_C = 4.0  # judgement: ground warmer than frost by this is not frozen by a night or three
FROZEN_DAYS = 2  # judgement: so long after the cold the tubers count as frozen
MAY_RECOVER = {Cause.FROST, Cause.THIRST}

# How much each fault of a day counts when days are ranked: judgement.
FROZEN_GROUND, RAIN, WET_BED, COLD, WARM, RAIN_BEFORE, FROST, UNTOLD = 6.0, 3.0, 3.0, 2.0, 2.0, 1.5, 0.5, 0.5
MINOR = frozenset({"rain-unknown", "frost"})  # frost of the air is gone by noon
EACH_DEGREE = 0.2  # and each degree too cold or too warm
WORTH_WAITING = 1.0  # judgement: a day that is less better than this is not worth it, as forecasts turn
SETTING, SET = 0, 1  # levels: the skins still set, or have been called set
PRESSING_DAYS = 3  # judgement: with fewer days left it is no time to be choosy
OTHERS_NAMED = 2


def freeze_at_tubers(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Frost may reach the tubers in one of the coming nights, by the soil, or by the air where they lie bare.

    By the day's mean of the soil: freezing ground holds back the night's cold (measured, DEVELOPERS.md).
    """
    soil, limits = condition.soil, thresholds.tubers
    nights = [night for night in condition.sky.nights[: limits.nights_ahead] if not math.isnan(night.air_c)]
    if not condition.sky.has_forecast or not nights:
        return _night_not_known(condition, thresholds)
    if not soil.known:
        cold = any(night.air_c <= limits.freeze_c for night in nights)
        return NotKnown("soil temperature", worth_saying=cold)
    frozen = _has_frozen(condition, thresholds)
    if frozen is not None:
        return frozen
    bare = _is_bare(condition, thresholds)
    chance, night = _likeliest_frost(condition, nights, limits.freeze_c, bare=bare)
    open_still = standing is not None and standing.verdict in {"straw", "straw-or-lift", "frozen"}
    coming = condition.today + DAY
    if chance < (limits.freeze_off_chance if open_still else limits.freeze_chance):
        told = any(one.morning == coming for one in nights)  # a missing night is no safe night
        return None if told else _night_not_known(condition, thresholds)
    tonight = night.morning == coming
    facts: dict[str, Fact] = {
        "night": night.morning - DAY,
        "morning": night.morning,
        "tonight": tonight,
        "bare": bare,
        "soil_c": soil.as_it_lies_c.at(night.morning),
        "spread_c": soil.spread_c.at(night.morning),
        "air_c": night.air_c,
        "limit_c": limits.freeze_c,
        "straw_m": condition.straw_m,
        "wanted_m": condition.straw_m + MORE_STRAW_M,
    }
    lifting = condition.stage.stage.order >= Stage.DYING_BACK.order
    verdict = "straw-or-lift" if lifting else "straw"
    if tonight:
        return Finding(verdict, Section.DO_TODAY, 75, facts, TONIGHT, chance)
    return Finding(verdict, Section.GET_READY, 58, facts, SOON, chance)


def _night_not_known(condition: Condition, thresholds: Thresholds) -> NotKnown:
    """Worth a word after frost, where the ground is near it."""
    cold = condition.sky.recent_min_c <= thresholds.tubers.freeze_c and not _is_warm_below(condition, thresholds)
    return NotKnown("forecast", worth_saying=cold)


def _is_warm_below(condition: Condition, thresholds: Thresholds) -> bool:
    """Ground so far from frost that no night of the next days reaches into it."""
    soil = condition.soil
    if not soil.known or _is_bare(condition, thresholds):
        return False
    return soil.as_it_lies_c.at(condition.today - DAY) > thresholds.tubers.freeze_c + WARM_BELOW_C


def _has_frozen(condition: Condition, thresholds: Thresholds) -> Finding | None:
    """What lay in the last days at the cold that freezes tubers: nothing but leaving it alone helps it now."""
    soil, today = condition.soil, condition.today
    lately = soil.as_it_lies_c.between(today - FROZEN_DAYS * DAY, today - DAY)
    if not (lately <= thresholds.tubers.frozen_c).any():
        return None
    facts: dict[str, Fact] = {
        "soil_c": float(np.nanmin(lately)),
        "spread_c": soil.spread_c.at(today - DAY),
        "frozen_c": thresholds.tubers.frozen_c,
    }
    return Finding("frozen", Section.KEEP_AN_EYE, 57, facts, FROZEN)


def _is_bare(condition: Condition, thresholds: Thresholds) -> bool:
    return condition.planting.depth_m == 0.0 and condition.straw_m < thresholds.tubers.bare_straw_m


def _likeliest_frost(
    condition: Condition, nights: Sequence[Night], limit_c: float, *, bare: bool
) -> tuple[float, Night]:
    """The first of the nights in which frost is likeliest, by the soil or where tubers lie bare by the air."""
    soil = condition.soil
    soil_c, spread_c = ([run.at(night.morning) for night in nights] for run in (soil.as_it_lies_c, soil.spread_c))
    chances = np.nan_to_num(chance_at_or_below(limit_c, soil_c, spread_c), nan=0.0)
    if bare:
        leaf_c, leaf_spread_c = [night.leaf_c for night in nights], [night.spread_c for night in nights]
        chances = np.fmax(chances, chance_at_or_below(limit_c, leaf_c, leaf_spread_c))
    worst = int(chances.argmax())
    return float(chances[worst]), nights[worst]


def tops_frosted(condition: Condition, _thresholds: Thresholds, _standing: Said | None) -> Answer:
    """A measured frost has killed ripe tops by estimate, and nobody noted it: asked once."""
    crop = condition.crop
    if condition.stage.noted or crop.tops_gone is None or math.isnan(crop.frosted_min_c):
        return None
    facts: dict[str, Fact] = {"frost_on": crop.tops_gone, "lowest_c": crop.frosted_min_c}
    return Finding("look", Section.DO_TODAY, 41, facts)


def cut_tops(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Tops still green must be cut in time for the skins: before a hard freeze, lasting heat, or the next crop.

    Not tops that may recover, nor those of a crop so young that the cause is asked first.
    """
    ends, limits = condition.ends, thresholds.cut_tops
    if condition.crop.dying_cause in MAY_RECOVER or ripening(condition, thresholds) == ASK:
        return None
    found = _first_end(ends)
    if ends is None or found is None:
        return None if ends is not None and ends.years else NotKnown("when hard freezes come here")
    end, why = found
    cut_on = end - limits.days_before * DAY
    if condition.today < cut_on - limits.notice_days * DAY:
        return None
    facts: dict[str, Fact] = {
        "why": why,
        "end": end,
        "cut_on": cut_on,
        "years": ends.years,
        "freeze_share": limits.freeze_chance,
        "freeze_c": thresholds.frost.severe_c,
        "heat_c": limits.heat_c,
        "next_planting": ends.next_planting,
        "skin_days": thresholds.skins.cold_days,
    }
    said_now = standing is not None and standing.verdict == "now"
    if condition.today >= cut_on or said_now:  # an estimate that moves a little takes nothing back
        return Finding("now", Section.DO_TODAY, 46, facts, level=1)
    return Finding("soon", Section.GET_READY, 34, facts)


def _first_end(ends: Ends | None) -> tuple[date, str] | None:
    if ends is None:
        return None
    named = ((ends.hard_freeze, "freeze"), (ends.lasting_heat, "heat"), (ends.next_window, "next-crop"))
    return min(((day, why) for day, why in named if day is not None), default=None)


@dataclass(frozen=True, slots=True)
class _Day:
    """One coming day for lifting: what is wrong with it, and how much that counts."""

    day: date
    bad: float
    faults: tuple[str, ...]
    is_good: bool


def lift_days(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Which of the coming days suits lifting best, once the skins have set by then, and until when it can wait."""
    skins, today = condition.crop.skins_ready, condition.today
    if skins is None or skins.likely is None:
        return None
    # Skins once called set stay so, though a cold day moves their estimate; a count begun anew does not.
    said_set = standing is not None and standing.level >= SET and skins.early is not None and skins.early <= today
    first = today if said_set else max(skins.likely, today)
    last = today + (thresholds.lifting.days_ahead - 1) * DAY
    if first > last or _has_frozen(condition, thresholds) is not None:
        return None
    lacks = _what_lacks(condition)
    if lacks:
        return NotKnown(lacks, worth_saying=True)
    lift_by, why = _lift_by(condition, thresholds, skins, first)
    minor = MINOR | _without_relief(condition, thresholds, max(lift_by, last))
    days = [_judged(first + k * DAY, condition, thresholds, minor) for k in range((last - first).days + 1)]
    in_time = [one for one in days if one.day <= lift_by] or days[:1]
    best = _best(in_time)
    facts = _lifting_facts(best, in_time, lift_by, why, condition, thresholds)
    return _lifting(best, facts, condition.today, SET if first <= today else SETTING)


def _what_lacks(condition: Condition) -> str:
    if not condition.sky.has_forecast:
        return "forecast"
    return "" if condition.soil.known and condition.soil.lowest_c is not None else "soil temperature"


def _best(days: list[_Day]) -> _Day:
    """The best of the days that suit, but the first of them unless waiting is worth it; else the least bad."""
    suiting = [one for one in days if one.is_good]
    best = min(suiting or days, key=lambda one: (one.bad, one.day))
    return suiting[0] if suiting and suiting[0].bad - best.bad <= WORTH_WAITING else best


def _lifting_facts(
    best: _Day, days: list[_Day], lift_by: date, why: str, condition: Condition, thresholds: Thresholds
) -> dict[str, Fact]:
    soil = condition.soil
    others = [one.day for one in days if one.is_good and one is not best][:OTHERS_NAMED]
    dawn_c = soil.lowest_c.at(best.day) if soil.lowest_c is not None else math.nan
    return {
        "day": best.day,
        "faults": ",".join(best.faults),
        "others": tuple(others),
        "soil_c": soil.as_it_lies_c.at(best.day),
        "dawn_c": dawn_c,
        "warm": "warm" in best.faults,
        "cold": "cold" in best.faults,
        "warm_c": thresholds.lifting.warm_c,
        "days_ahead": thresholds.lifting.days_ahead,
        "lift_by": lift_by,
        "why": why,
        "pressing": (lift_by - condition.today).days < PRESSING_DAYS and "frozen" not in best.faults,
        "next_planting": condition.ends.next_planting if condition.ends else "",
    }


def _lifting(best: _Day, facts: dict[str, Fact], today: date, level: int) -> Finding | None:
    if best.is_good and best.day == today:
        return Finding("today", Section.DO_TODAY, 44, facts, level)
    if best.is_good:
        return Finding("good", Section.GET_READY, 38, facts, level)
    if facts["pressing"]:
        return Finding("least-bad", Section.GET_READY, 39, facts, level)
    if level < SET:
        return None  # the skins still set, and better days may come after them
    return Finding("least-bad", Section.KEEP_AN_EYE, 36, facts, level)


def _without_relief(condition: Condition, thresholds: Thresholds, until: date) -> frozenset[str]:
    """Heat or cold of the tubers that no day in sight is free of: to wait for another would be in vain."""
    limits, soil, today = thresholds.lifting, condition.soil, condition.today
    if soil.lowest_c is None:
        return frozenset()
    until = min(until, soil.lowest_c.last)
    dawn_c, mean_c = soil.lowest_c.between(today, until), soil.as_it_lies_c.between(today, until)
    found = {"warm": bool((dawn_c > limits.warm_c).all()), "cold": bool((mean_c < limits.cold_c).all())}
    return frozenset(name for name, stays in found.items() if stays)


def _judged(day: date, condition: Condition, thresholds: Thresholds, minor: frozenset[str]) -> _Day:
    found = list(_faults(day, condition, thresholds))
    names = tuple(name for name, _ in found)
    return _Day(day, sum(bad for _, bad in found), names, minor.issuperset(names))


def _faults(day: date, condition: Condition, thresholds: Thresholds) -> Iterable[tuple[str, float]]:
    """What is wrong with a day, and how much it counts."""
    limits, soil = thresholds.lifting, condition.soil
    mean_c = soil.as_it_lies_c.at(day)
    dawn_c = soil.lowest_c.at(day) if soil.lowest_c is not None else math.nan
    if mean_c <= thresholds.tubers.freeze_c:
        yield "frozen", FROZEN_GROUND
    elif mean_c < limits.cold_c:
        yield "cold", COLD + EACH_DEGREE * (limits.cold_c - mean_c)
    if dawn_c > limits.warm_c:
        yield "warm", WARM + EACH_DEGREE * (dawn_c - limits.warm_c)
    if condition.sky.outlook.of("air_min_c").at(day) <= thresholds.tubers.freeze_c:
        yield "frost", FROST
    if _bed_mm(day, condition) < limits.dry_mm:
        yield "wet-bed", WET_BED
    rain = _rains(day, condition, thresholds)
    if rain is None:
        yield "rain-unknown", UNTOLD
    elif rain:
        yield "rain", RAIN
    elif day > condition.today and _rains(day - DAY, condition, thresholds):
        yield "rain-before", RAIN_BEFORE


def _bed_mm(day: date, condition: Condition) -> float:
    """How far the bed stands below its fill as the day begins; NaN where that is not known."""
    water = condition.water
    if water is None:
        return math.nan
    return water.depletion_low_mm if day == condition.today else water.outlook_depletion_mm.at(day - DAY)


def _rains(day: date, condition: Condition, thresholds: Thresholds) -> bool | None:
    limits, outlook = thresholds.lifting, condition.sky.outlook
    rain_mm, chance = outlook.of("rain_mm").at(day), outlook.of("rain_chance").at(day)
    if math.isnan(rain_mm) and math.isnan(chance):
        return None
    return rain_mm > limits.wet_day_mm or chance >= limits.rain_chance


def _lift_by(condition: Condition, thresholds: Thresholds, skins: DayRange, first: date) -> tuple[date, str]:
    """Until when it can wait, and why no longer; never before the skins have set."""
    begun = skins.likely or condition.today
    named = [(begun + thresholds.lifting.within_days * DAY, "age")]
    ends = condition.ends
    if ends is not None:
        before = ((ends.tubers_freeze, "freeze"), (ends.lasting_heat, "heat"), (ends.next_window, "next-crop"))
        named += [(day - DAY, why) for day, why in before if day is not None]
    day, why = min(named)
    return max(day, first), why
