"""Water, skip or hold: one verdict a bed; and whether the weekly target suits the week; and keeping it dry."""

import math

import numpy as np

from haulm.advice import Answer, Fact, Finding, NotKnown, Said, Section
from haulm.condition import Condition, WaterNow
from haulm.garden import Stage
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, Daily

HOLD_DAYS = 3  # judgement: rain further off than this is no reason to wait


def water_verdict(condition: Condition, thresholds: Thresholds, _standing: Said | None) -> Answer:
    """Water, skip or hold. The ledger of the week decides, unless the root zone is too dry to wait, or full."""
    water = condition.water
    if water is None:
        return NotKnown("the bed's water", worth_saying=True)
    if condition.stage.stage is Stage.PLANTED:
        return _before_the_shoots(condition, water, thresholds)
    if condition.crop.dying_since is not None:
        return None  # stop watering speaks for the bed from here on
    if water.depletion_low_mm >= water.ready_mm:
        return _water(condition, water, thresholds, "dry-root-zone", water.depletion_low_mm)
    if water.depletion_high_mm <= 0.0 or water.drained_days > 0:
        return _skip(condition, water, thresholds, "full")
    return _by_the_week(condition, water, thresholds)


def _by_the_week(condition: Condition, water: WaterNow, thresholds: Thresholds) -> Answer:
    limits = thresholds.water
    if limits.way == "depletion":
        short_mm = water.depletion_low_mm if water.depletion_low_mm >= 0.8 * water.ready_mm else 0.0
    else:
        short_mm = limits.weekly_target_mm - water.week_effective_mm - water.week_watered_mm
    if short_mm < limits.least_turn_mm:
        return _skip(condition, water, thresholds, "enough")
    if water.week_unknown_days and water.depletion_low_mm < limits.least_turn_mm:
        return NotKnown("rain of the last days", worth_saying=True)
    rain = _likely_rain(condition, thresholds)
    if rain is not None:
        return _hold(condition, water, thresholds, rain)
    return _water(condition, water, thresholds, "week-short", short_mm)


def _before_the_shoots(condition: Condition, water: WaterNow, thresholds: Thresholds) -> Answer:
    """Seed wants no water until the shoots are out, unless the top of the bed is more than half dry."""
    if math.isnan(water.top_share):
        return NotKnown("rain of the last days")
    if water.top_share <= thresholds.water.top_depleted_share:
        return _skip(condition, water, thresholds, "before-shoots")
    return _water(condition, water, thresholds, "top-dry", thresholds.water.least_turn_mm)


def _water(condition: Condition, water: WaterNow, thresholds: Thresholds, why: str, wanted_mm: float) -> Finding:
    """Never more at once than the root zone can hold."""
    room_mm = max(water.depletion_high_mm, thresholds.water.least_turn_mm)
    turn_mm = min(wanted_mm, room_mm)
    facts = _facts(condition, water, thresholds) | {
        "why": why,
        "turn_mm": turn_mm,
        "turn_l": turn_mm * condition.bed.area_m2,
        "minutes": _minutes(turn_mm * condition.bed.area_m2, thresholds),
    }
    return Finding("water", Section.DO_TODAY, 50 if why == "dry-root-zone" else 30, facts)


def _skip(condition: Condition, water: WaterNow, thresholds: Thresholds, why: str) -> Finding:
    return Finding("skip", Section.LEAVE_ALONE, 10, _facts(condition, water, thresholds) | {"why": why})


def _hold(condition: Condition, water: WaterNow, thresholds: Thresholds, rain: dict[str, Fact]) -> Finding:
    return Finding("hold", Section.LEAVE_ALONE, 15, _facts(condition, water, thresholds) | rain | {"why": "rain"})


def _likely_rain(condition: Condition, thresholds: Thresholds) -> dict[str, Fact] | None:
    """The first likely rain that comes before the root zone passes what the plants take with ease."""
    limits, outlook = thresholds.water, condition.sky.outlook
    assert condition.water is not None
    for ahead in range(min(HOLD_DAYS, len(outlook))):
        day = outlook.first + ahead * DAY
        before = condition.water.outlook_depletion_mm.at(day - DAY)
        if ahead and not before < condition.water.ready_mm:
            return None
        amount, chance = float(outlook.rain_mm[ahead]), float(outlook.rain_chance[ahead])
        likely = chance >= limits.hold_chance if not math.isnan(chance) else amount >= limits.hold_rain_mm
        if likely and amount >= limits.least_turn_mm:
            return {"rain_day": day, "rain_coming_mm": amount, "rain_chance": None if math.isnan(chance) else chance}
    return None


def target_fits(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """The weekly target is short or generous beside what the crop will drink in the coming week."""
    water, limits = condition.water, thresholds.water
    if water is None or math.isnan(water.outlook_need_mm):
        return NotKnown("forecast")
    need_mm = max(water.outlook_need_mm, 0.0)
    differs = (need_mm - limits.weekly_target_mm) / limits.weekly_target_mm
    if abs(differs) < (limits.target_differs_off_share if standing else limits.target_differs_share):
        return None
    facts: dict[str, Fact] = {
        "need_mm": need_mm,
        "target_mm": limits.weekly_target_mm,
        "by_mm": abs(need_mm - limits.weekly_target_mm),
        "share": abs(differs),
    }
    return Finding("short" if differs > 0 else "generous", Section.KEEP_AN_EYE, 12, facts)


def keep_it_dry(condition: Condition, thresholds: Thresholds, _standing: Said | None) -> Answer:
    """Rain is coming that would take a ripening bed above field capacity."""
    water, outlook = condition.water, condition.sky.outlook
    rain = outlook.rain_mm[:HOLD_DAYS]
    if water is None or not len(rain) or np.isnan(rain).all():
        return NotKnown("forecast")
    room_mm = water.depletion_high_mm + water.straw_holds_mm
    coming_mm = float(np.nansum(rain))
    if coming_mm < thresholds.water.least_turn_mm or coming_mm <= room_mm:
        return None
    day = outlook.first + int(np.nanargmax(rain)) * DAY
    facts: dict[str, Fact] = {
        "rain_coming_mm": coming_mm,
        "room_mm": max(room_mm, 0.0),
        "rain_day": day,
        "days_ahead": HOLD_DAYS,
    }
    return Finding("cover", Section.DO_TODAY, 45, facts)


def _minutes(litres: float, thresholds: Thresholds) -> float | None:
    flow = thresholds.water.hose_flow_l_min
    return litres / flow if flow else None


def _facts(condition: Condition, water: WaterNow, thresholds: Thresholds) -> dict[str, Fact]:
    next_days: Daily = water.outlook_depletion_mm
    passed = np.flatnonzero(next_days.values >= water.ready_mm)
    return {
        "rain_mm": water.week_rain_mm,
        "effective_mm": water.week_effective_mm,
        "watered_mm": water.week_watered_mm,
        "target_mm": thresholds.water.weekly_target_mm,
        "unknown_days": water.week_unknown_days,
        "depletion_mm": water.depletion_low_mm,
        "ready_mm": water.ready_mm,
        "dry_on": next_days.first + int(passed[0]) * DAY if passed.size else None,
        "top_share": water.top_share,
        "straw_m": condition.straw_m,
    }
