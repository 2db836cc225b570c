"""Shoots due and overdue, the second straw, stop watering, skins set."""

import math
from datetime import date, timedelta

from haulm.advice import Answer, Fact, Finding, NotKnown, Said, Section
from haulm.alerts.seed import last_day
from haulm.condition import Condition, DayRange
from haulm.garden import Cause, Habit, Stage
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY

ASK, TAPER, CUT = 0, 1, 2
NOT_OF_AGE = {Cause.FROST, Cause.THIRST, Cause.BLIGHT}
LOOK_DAYS = 4  # judgement: a look at settled straw is asked for so many days, then not for the rest of the fortnight
LATE_STRAW_DAYS, LATE_STRAW_RECHECKS = (
    28,
    2,
)  # judgement: topped up so long after the shoots, straw lies on straw that has settled
TALL = 2.0  # shoots of twice the wanted height (30 cm) no longer wait for warm soil: light greens the tubers


def shoots_due(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """The range in which shoots are expected reaches today, or is well past, and none were noted."""
    shoots = condition.crop.shoots
    if shoots is None or (condition.stage.stage is Stage.EMERGED and condition.stage.noted):
        return None
    if shoots.early is None:
        return None
    facts: dict[str, Fact] = {"early": shoots.early, "likely": shoots.likely, "late": shoots.late}
    overdue_after = timedelta(days=thresholds.shoots.overdue_days)
    unnoted_after = timedelta(days=thresholds.shoots.unnoted_days)
    none_until = [day for day in (shoots.late, condition.no_shoots) if day is not None]  # a look that found none counts
    if shoots.late is not None and condition.today >= max(none_until) + unnoted_after:
        return Finding("unnoted", Section.KEEP_AN_EYE, 18, facts)
    if shoots.late is not None and condition.today >= shoots.late + overdue_after:
        facts["overdue_days"] = (condition.today - shoots.late).days
        facts["replant_until"] = last_day(condition)
        return Finding("overdue", Section.DO_TODAY, 42, facts, level=1)
    if condition.today < shoots.early and standing is None:
        return None  # once looked for they stay looked for, even if the estimate moves a little
    return Finding("due", Section.KEEP_AN_EYE, 25, facts)


def asked_to_wait(condition: Condition, thresholds: Thresholds) -> bool:
    """Whether somebody looked and found none, so recently that there is no asking again yet."""
    looked = condition.no_shoots
    return looked is not None and condition.today - looked < timedelta(days=thresholds.shoots.ask_again_days)


def second_straw(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """The second layer: when shoots stand in the first one, and again as the straw settles."""
    limits, crop = thresholds.straw, condition.crop
    if crop.dying_since is not None or crop.tops_gone is not None:
        return None
    if not crop.shoot_height_m >= limits.second_layer_shoots_m:
        return None
    laid = _laid_since_shoots(condition)
    facts: dict[str, Fact] = {
        "height_m": crop.shoot_height_m,
        "soil_c": condition.soil.as_it_lies_c.at(condition.today - DAY),
        "straw_m": condition.straw_m,
        "wanted_m": limits.second_layer_straw_m,
        "last_straw": laid,
        "shoots_noted": condition.stage.noted,
    }
    if laid is not None:
        lain = (condition.today - laid).days
        every = limits.recheck_days * (LATE_STRAW_RECHECKS if _laid_late(condition, lain) else 1)
        settled = lain >= every and lain % every < LOOK_DAYS
        return Finding("top-up", Section.KEEP_AN_EYE, 22, facts) if settled else None
    if condition.straw_m >= limits.second_layer_straw_m:
        return None  # it lies there already
    warm = _warm_enough_for_straw(condition, thresholds, standing)
    if warm is None:
        return NotKnown("soil temperature")
    return Finding("second-layer", Section.DO_TODAY, 35, facts) if warm else None


def _laid_late(condition: Condition, lain_days: int) -> bool:
    out_for = condition.crop.days_from_shoots
    return out_for is not None and out_for - lain_days >= LATE_STRAW_DAYS


def _warm_enough_for_straw(condition: Condition, thresholds: Thresholds, standing: Said | None) -> bool | None:
    """Straw keeps a cool bed cool, so it waits for warmth; but not once it was asked for, nor for tall shoots."""
    limits = thresholds.straw
    asked = standing is not None and standing.verdict == "second-layer"
    if asked or condition.crop.shoot_height_m >= TALL * limits.second_layer_shoots_m:
        return True
    soil_c = condition.soil.as_it_lies_c.at(condition.today - DAY)
    if not condition.soil.known or math.isnan(soil_c):
        return None
    return soil_c >= limits.second_layer_soil_c


def _laid_since_shoots(condition: Condition) -> date | None:
    shoots, laid = condition.crop.shoots, condition.last_straw
    since = shoots.likely if shoots else None
    return laid if laid is not None and since is not None and laid >= since else None


def stop_watering(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """The tops go down of age: cut the water. Too early for that: ask first what else it may be."""
    crop, limits = condition.crop, thresholds.ripening
    if crop.dying_since is None:
        ripe = crop.p_days >= limits.look_share * crop.p_days_needed
        return Finding("look", Section.KEEP_AN_EYE, 28, _ripening_facts(condition), level=ASK) if ripe else None
    if crop.dying_cause in NOT_OF_AGE:
        return None
    step = ripening(condition, thresholds)
    if step is None:
        return NotKnown("when the shoots came", worth_saying=True)
    if step == ASK:
        return Finding("ask", Section.DO_TODAY, 48, _ripening_facts(condition), level=ASK)
    if step == TAPER:
        return Finding("taper", Section.DO_TODAY, 52, _ripening_facts(condition), level=TAPER)
    verdict = "small-turns" if _hot(condition, thresholds, standing) else "cut"
    small_turn_mm = thresholds.ripening.small_turn_share * thresholds.water.least_turn_mm
    facts = {
        **_ripening_facts(condition),
        "small_turn_l": small_turn_mm * condition.bed.area_m2,
        "tapered_days": thresholds.ripening.taper_days if _by_and_by(condition) else None,
    }
    return Finding(verdict, Section.DO_TODAY, 55, facts, level=CUT)


def ripening(condition: Condition, thresholds: Thresholds) -> int | None:
    """What tops noted as going down ask of the water: ASK first, TAPER it, or CUT it.

    Tops of an indeterminate kind go down by and by: their water is tapered first, and cut some days later. None where
    nothing was noted, where the cause is not age, or where it is not known how old the crop is.
    """
    crop = condition.crop
    if crop.dying_since is None or crop.dying_cause in NOT_OF_AGE or crop.days_from_shoots is None:
        return None
    if _too_early_for_age(condition, thresholds):
        return ASK
    going_down = condition.today - crop.dying_since
    return TAPER if _by_and_by(condition) and going_down < thresholds.ripening.taper_days * DAY else CUT


def _by_and_by(condition: Condition) -> bool:
    return condition.planting.habit is Habit.INDETERMINATE


def _too_early_for_age(condition: Condition, thresholds: Thresholds) -> bool:
    """Days or warmth too few to be ripe; against the grower's own word "of age" it takes both."""
    crop, limits = condition.crop, thresholds.ripening
    young = crop.days_from_shoots is not None and crop.days_from_shoots < limits.least_days
    unripe = crop.p_days < limits.least_share * crop.p_days_needed
    return (young and unripe) if crop.dying_cause is Cause.AGE else (young or unripe)


def _hot(condition: Condition, thresholds: Thresholds, standing: Said | None) -> bool:
    soil_c = condition.soil.as_it_lies_c.at(condition.today - DAY)
    said = standing is not None and standing.verdict == "small-turns"
    return soil_c > (thresholds.ripening.hot_soil_off_c if said else thresholds.ripening.hot_soil_c)


def _ripening_facts(condition: Condition) -> dict[str, Fact]:
    crop = condition.crop
    return {
        "dying_since": crop.dying_since,
        "cause": crop.dying_cause.value if crop.dying_cause else "",
        "days_from_shoots": crop.days_from_shoots,
        "p_days": crop.p_days,
        "p_days_needed": crop.p_days_needed,
        "soil_c": condition.soil.as_it_lies_c.at(condition.today - DAY),
        "maturity": condition.planting.maturity.value,
        "tapered_days": None,
    }


def skins_set(condition: Condition, _thresholds: Thresholds, standing: Said | None) -> Answer:
    """Counted from tops wholly dead or cut: how long the skins still need, and when to rub one."""
    skins, gone = condition.crop.skins_ready, condition.crop.tops_gone
    if skins is None or gone is None or skins.likely is None:
        return None
    facts: dict[str, Fact] = {
        "tops_gone": gone,
        "tops_noted": condition.stage.noted,
        "early": skins.early,
        "likely": skins.likely,
        "late": skins.late,
        "days_to_go": max((skins.likely - condition.today).days, 0),
        "soil_c": condition.soil.as_it_lies_c.at(condition.today - DAY),
    }
    if condition.today < skins.likely and not _was_set(skins, gone, condition, standing):
        return Finding("setting", Section.LEAVE_ALONE, 20, facts)
    return Finding("set", Section.GET_READY, 40, facts, level=1)


def _was_set(skins: DayRange, gone: date, condition: Condition, standing: Said | None) -> bool:
    """Called set already, and not counted anew: a cold day later moves the estimate, not the skins."""
    said = standing is not None and standing.verdict == "set" and gone < standing.first_on
    return said and skins.early is not None and condition.today >= skins.early
