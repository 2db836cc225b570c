"""Shoots due and overdue, the second straw, stop watering, skins set."""

from datetime import date, timedelta

from haulm.advice import Answer, Fact, Finding, NotKnown, Said, Section
from haulm.condition import Condition
from haulm.garden import Cause, Habit, Stage
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY

ASK, TAPER, CUT = 0, 1, 2
WARM_SOIL_C = 24.0  # above this, tubers in soil gone bone dry begin to bake (product rule, judgement)
NOT_OF_AGE = {Cause.FROST, Cause.THIRST, Cause.BLIGHT}


def shoots_due(condition: Condition, thresholds: Thresholds, _standing: Said | None) -> Answer:
    """The range in which shoots are expected reaches today, or is well past, and none were noted."""
    shoots = condition.crop.shoots
    if shoots is None or (condition.stage.stage is Stage.EMERGED and condition.stage.noted):
        return None
    if shoots.early is None:
        return None
    facts: dict[str, Fact] = {"early": shoots.early, "likely": shoots.likely, "late": shoots.late}
    overdue_after = timedelta(days=thresholds.shoots.overdue_days)
    if shoots.late is not None and condition.today >= shoots.late + overdue_after:
        facts["overdue_days"] = (condition.today - shoots.late).days
        return Finding("overdue", Section.DO_TODAY, 42, facts, level=1)
    if condition.today < shoots.early:
        return None
    return Finding("due", Section.KEEP_AN_EYE, 25, facts)


def second_straw(condition: Condition, thresholds: Thresholds, _standing: Said | None) -> Answer:
    """The second layer: when shoots stand in the first one, and again as the straw settles."""
    limits, crop = thresholds.straw, condition.crop
    if crop.dying_since is not None or crop.tops_gone is not None:
        return None
    height_m, soil_c = crop.shoot_height_m, condition.soil.as_it_lies_c.at(condition.today - DAY)
    if not height_m >= limits.second_layer_shoots_m:
        return None
    laid_since_shoots = _laid_since_shoots(condition)
    if laid_since_shoots is not None and condition.today < laid_since_shoots + timedelta(days=limits.recheck_days):
        return None
    if laid_since_shoots is None and not soil_c >= limits.second_layer_soil_c:
        return None  # straw now would keep a cool bed cool
    facts: dict[str, Fact] = {
        "height_m": height_m,
        "soil_c": soil_c,
        "straw_m": condition.straw_m,
        "wanted_m": limits.second_layer_straw_m,
        "last_straw": laid_since_shoots,
        "shoots_noted": condition.stage.noted,
    }
    if laid_since_shoots is not None:
        return Finding("top-up", Section.KEEP_AN_EYE, 22, facts)
    return Finding("second-layer", Section.DO_TODAY, 35, facts)


def _laid_since_shoots(condition: Condition) -> date | None:
    shoots, laid = condition.crop.shoots, condition.last_straw
    since = shoots.likely if shoots else None
    return laid if laid is not None and since is not None and laid >= since else None


def stop_watering(condition: Condition, thresholds: Thresholds, _standing: Said | None) -> Answer:
    """The tops go down of age: cut the water. Too early for that: ask first what else it may be."""
    crop, limits = condition.crop, thresholds.ripening
    if crop.dying_since is None:
        ripe = crop.p_days >= limits.look_share * crop.p_days_needed
        return Finding("look", Section.KEEP_AN_EYE, 28, _ripening(condition), level=ASK) if ripe else None
    if crop.dying_cause in NOT_OF_AGE:
        return None
    if crop.days_from_shoots is None:
        return NotKnown("when the shoots came", worth_saying=True)
    early = crop.days_from_shoots < limits.least_days or crop.p_days < limits.least_share * crop.p_days_needed
    if early and crop.dying_cause is not Cause.AGE:
        return Finding("ask", Section.DO_TODAY, 48, _ripening(condition), level=ASK)
    if condition.planting.habit is Habit.INDETERMINATE:
        return Finding("taper", Section.DO_TODAY, 52, _ripening(condition), level=TAPER)
    return Finding("cut", Section.DO_TODAY, 55, _ripening(condition), level=CUT)


def _ripening(condition: Condition) -> dict[str, Fact]:
    crop, soil_c = condition.crop, condition.soil.as_it_lies_c.at(condition.today - DAY)
    return {
        "dying_since": crop.dying_since,
        "cause": crop.dying_cause.value if crop.dying_cause else "",
        "days_from_shoots": crop.days_from_shoots,
        "p_days": crop.p_days,
        "p_days_needed": crop.p_days_needed,
        "soil_c": soil_c,
        "hot_soil": soil_c > WARM_SOIL_C,
        "maturity": condition.planting.maturity.value,
    }


def skins_set(condition: Condition, _thresholds: Thresholds, _standing: Said | None) -> Answer:
    """Counted from tops wholly dead or cut: how long the skins still need, and when to rub one."""
    skins, gone = condition.crop.skins_ready, condition.crop.tops_gone
    if skins is None or gone is None or skins.likely is None:
        return None
    facts: dict[str, Fact] = {
        "tops_gone": gone,
        "early": skins.early,
        "likely": skins.likely,
        "late": skins.late,
        "days_to_go": max((skins.likely - condition.today).days, 0),
        "soil_c": condition.soil.as_it_lies_c.at(condition.today - DAY),
    }
    if condition.today < skins.likely:
        return Finding("setting", Section.LEAVE_ALONE, 20, facts)
    return Finding("set", Section.GET_READY, 40, facts, level=1)
