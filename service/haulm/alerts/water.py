"""Water, skip or hold: one verdict a bed; and whether the weekly target suits the week; and keeping it dry."""

import math

import numpy as np

from haulm.advice import Answer, Fact, Finding, NotKnown, Said, Section
from haulm.alerts.growth import CUT, TAPER, ripening
from haulm.bed_water import WaterNow
from haulm.condition import Condition
from haulm.garden import Stage
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, Daily, FloatArray

WET_DAY_MM = 1.0  # judgement: less than this in a day wets no bed
RAIN_NOT_KNOWN = NotKnown("rain of the last days", worth_saying=True)


def water_verdict(condition: Condition, thresholds: Thresholds, _standing: Said | None) -> Answer:
    """Water, skip or hold. The ledger of the week decides, unless the root zone is too dry to wait, or full."""
    water = condition.water
    if water is None:
        return NotKnown("the bed's water", worth_saying=True)
    if condition.stage.stage is Stage.PLANTED:
        return _before_the_shoots(condition, water, thresholds)
    if ripening(condition, thresholds) == CUT:
        return None  # stop watering speaks for the bed from here on; thirst, frost and blight still want water
    if math.isnan(water.depletion_low_mm) or math.isnan(water.depletion_high_mm):
        return RAIN_NOT_KNOWN
    if water.depletion_low_mm >= water.ready_mm:
        rain = _likely_rain(condition, water, thresholds) if _tapering(condition, thresholds) else None
        if rain is not None:
            return _hold(condition, water, thresholds, rain)  # thirst of some days hurts a ripening crop little
        # Dry for certain: a turn of what it may lack in the middle, so that old doubt shrinks with each watering.
        return _water(condition, water, thresholds, "dry-root-zone", _middle_mm(water))
    if _driest_mm(water) < thresholds.water.least_turn_mm or water.drained_days > 0:
        return _skip(condition, water, thresholds, "full")
    return _by_the_week(condition, water, thresholds)


def _by_the_week(condition: Condition, water: WaterNow, thresholds: Thresholds) -> Answer:
    least_mm = thresholds.water.least_turn_mm
    sure_mm, most_mm = _short_mm(condition, water, thresholds)
    may_be_dry = _driest_mm(water) >= water.ready_mm
    by_depletion = thresholds.water.way == "depletion"
    if most_mm < least_mm and not may_be_dry:
        return _skip(condition, water, thresholds, "moist" if by_depletion else "enough")
    if sure_mm < least_mm:
        return RAIN_NOT_KNOWN
    rain = None if may_be_dry else _likely_rain(condition, water, thresholds)
    if rain is not None:
        return _hold(condition, water, thresholds, rain)
    return _water(condition, water, thresholds, "nearly-dry" if by_depletion else "week-short", sure_mm)


def _middle_mm(water: WaterNow) -> float:
    return (water.depletion_low_mm + water.depletion_high_mm) / 2.0


def _driest_mm(water: WaterNow) -> float:
    """As dry as it may be while rain of this week is unknown; an older gap leaves a doubt that the middle meets."""
    return water.depletion_high_mm if water.week_unknown_days else _middle_mm(water)


def _short_mm(condition: Condition, water: WaterNow, thresholds: Thresholds) -> tuple[float, float]:
    """What is wanted for sure, with unknown rain as it may have been, and at most, with unknown rain as none."""
    if thresholds.water.way == "depletion":
        nearly_dry_mm = thresholds.water.nearly_dry_share * water.ready_mm
        bounds = (water.depletion_low_mm, water.depletion_high_mm)
        low_mm, high_mm = (mm if mm >= nearly_dry_mm else 0.0 for mm in bounds)
        return low_mm, high_mm
    most_mm = _aim_mm(condition, water, thresholds) - _had_mm(water)
    if not water.week_unknown_days:
        return min(most_mm, _middle_mm(water)), most_mm  # never more than the root zone can hold
    unknown_mm = water.depletion_high_mm - water.depletion_low_mm
    return min(most_mm - unknown_mm, water.depletion_low_mm), most_mm


def _before_the_shoots(condition: Condition, water: WaterNow, thresholds: Thresholds) -> Answer:
    """Seed wants no water until the shoots are out, unless the top of the bed is more than half dry."""
    if math.isnan(water.top_share):
        return NotKnown("rain of the last days")
    if water.top_share <= thresholds.water.top_depleted_share:
        return _skip(condition, water, thresholds, "before-shoots")
    return _water(condition, water, thresholds, "top-dry", thresholds.water.least_turn_mm)


def _water(condition: Condition, water: WaterNow, thresholds: Thresholds, why: str, wanted_mm: float) -> Finding:
    tapered = _tapering(condition, thresholds) and why in {"dry-root-zone", "nearly-dry"}
    turn_mm = wanted_mm * (thresholds.ripening.taper_share if tapered else 1.0)
    facts = _facts(condition, water, thresholds) | {
        "why": why,
        "turn_mm": turn_mm,
        "turn_l": turn_mm * condition.bed.area_m2,
        "later_l": _later_mm(condition, water, thresholds, turn_mm) * condition.bed.area_m2
        if why == "week-short"
        else 0.0,
        "minutes": _minutes(turn_mm * condition.bed.area_m2, thresholds),
    }
    return Finding("water", Section.DO_TODAY, 50 if why == "dry-root-zone" else 30, facts)


def _skip(condition: Condition, water: WaterNow, thresholds: Thresholds, why: str) -> Finding:
    return Finding("skip", Section.LEAVE_ALONE, 10, _facts(condition, water, thresholds) | {"why": why})


def _hold(condition: Condition, water: WaterNow, thresholds: Thresholds, rain: dict[str, Fact]) -> Finding:
    return Finding("hold", Section.LEAVE_ALONE, 15, _facts(condition, water, thresholds) | rain | {"why": "rain"})


def _likely_rain(condition: Condition, water: WaterNow, thresholds: Thresholds) -> dict[str, Fact] | None:
    """The first likely rain that passes the straw before the root zone passes what the plants take with ease."""
    limits, outlook = thresholds.water, condition.sky.outlook
    for ahead in range(min(limits.hold_days, len(outlook))):
        day = outlook.first + ahead * DAY
        before = water.outlook_depletion_mm.at(day - DAY)
        if ahead and not before < water.ready_mm and not _tapering(condition, thresholds):
            return None
        amount, chance = float(outlook.rain_mm[ahead]), float(outlook.rain_chance[ahead])
        likely = chance >= limits.hold_chance if not math.isnan(chance) else amount >= limits.hold_rain_mm
        if likely and amount - water.straw_holds_mm >= limits.least_turn_mm:
            return {"rain_day": day, "rain_coming_mm": amount, "rain_chance": None if math.isnan(chance) else chance}
    return None


def target_fits(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """The weekly target is short or generous beside what the crop will drink in the coming week."""
    water, limits = condition.water, thresholds.water
    if limits.way == "depletion":
        return None  # the root zone decides; the ledger stands beside it
    if water is None or math.isnan(water.outlook_need_mm):
        return NotKnown("forecast")
    need_mm = max(water.outlook_need_mm, 0.0)
    differs = (need_mm - limits.weekly_target_mm) / limits.weekly_target_mm
    verdict = "short" if differs > 0 else "generous"
    said = standing is not None and standing.verdict == verdict
    if abs(differs) < (limits.target_differs_off_share if said else limits.target_differs_share):
        return None
    facts: dict[str, Fact] = {
        "need_mm": need_mm,
        "target_mm": limits.weekly_target_mm,
        "by_mm": abs(need_mm - limits.weekly_target_mm),
        "share": abs(differs),
    }
    return Finding(verdict, Section.KEEP_AN_EYE, 12, facts)


def keep_it_dry(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Rain is coming that would take a ripening bed above field capacity; tops in thirst or frost want their rain."""
    water, outlook = condition.water, condition.sky.outlook
    if condition.crop.tops_gone is None and ripening(condition, thresholds) != CUT:
        return None  # a bed that still gets half its water takes it from the rain
    if water is None or math.isnan(water.depletion_low_mm):
        return NotKnown("the bed's water")
    hold_days = thresholds.water.hold_days
    rain = outlook.of("rain_mm").between(condition.today, condition.today + (hold_days - 1) * DAY)
    room_mm = water.depletion_low_mm + water.straw_holds_mm  # the wetter of what may be
    coming_mm = float(np.nansum(rain))
    said = standing is not None and standing.verdict == "cover"
    if coming_mm < thresholds.water.least_turn_mm or coming_mm <= room_mm * (
        thresholds.water.soaking_off_share if said else 1.0
    ):
        return NotKnown("forecast") if np.isnan(rain).any() else None
    first_wet = _first_wet(rain, room_mm)
    facts: dict[str, Fact] = {
        "rain_coming_mm": coming_mm,
        "room_mm": max(room_mm, 0.0),
        "rain_day": condition.today + first_wet * DAY,
        "days_ahead": hold_days,
    }
    return Finding("cover", Section.DO_TODAY, 45, facts)


def _first_wet(rain_mm: FloatArray, room_mm: float) -> int:
    """The first wet day; where only drizzle adds up, the day on which it is more than there is room for."""
    wet = np.flatnonzero(rain_mm >= WET_DAY_MM)
    return int(wet[0]) if wet.size else int(np.argmax(np.nancumsum(rain_mm) > room_mm))


def _tapering(condition: Condition, thresholds: Thresholds) -> bool:
    return ripening(condition, thresholds) == TAPER


def _target_mm(condition: Condition, thresholds: Thresholds) -> float:
    return thresholds.water.weekly_target_mm * (
        thresholds.ripening.taper_share if _tapering(condition, thresholds) else 1.0
    )


def _aim_mm(condition: Condition, water: WaterNow, thresholds: Thresholds) -> float:
    """The weekly target, or what the week is expected to use where that is less: more would only drain away."""
    target_mm, need_mm = _target_mm(condition, thresholds), water.outlook_need_mm
    return target_mm if math.isnan(need_mm) else min(target_mm, max(need_mm, 0.0))


def _had_mm(water: WaterNow) -> float:
    return water.week_effective_mm + water.week_watered_mm


def _later_mm(condition: Condition, water: WaterNow, thresholds: Thresholds, turn_mm: float) -> float:
    """What the week lacks beyond a turn that the root zone can hold, where that is worth another turn."""
    left_mm = _aim_mm(condition, water, thresholds) - _had_mm(water) - turn_mm
    return left_mm if left_mm >= thresholds.water.least_turn_mm and not water.week_unknown_days else 0.0


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
        "target_mm": _target_mm(condition, thresholds),
        "aim_mm": _aim_mm(condition, water, thresholds),
        "need_mm": water.outlook_need_mm,
        "taper_share": thresholds.ripening.taper_share,
        "nearly_dry_mm": thresholds.water.nearly_dry_share * water.ready_mm,
        "short_mm": max(_target_mm(condition, thresholds) - _had_mm(water), 0.0),
        "tapering": _tapering(condition, thresholds),
        "unknown_days": water.week_unknown_days,
        "depletion_mm": water.depletion_low_mm,
        "depletion_most_mm": water.depletion_high_mm,
        "ready_mm": water.ready_mm,
        "dry_on": next_days.first + int(passed[0]) * DAY if passed.size else None,
        "top_share": water.top_share,
        "straw_m": condition.straw_m,
    }
