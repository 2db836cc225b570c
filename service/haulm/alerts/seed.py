"""Seed before it is planted: time to buy it, to set it to chit, to cut it."""

from datetime import date

import numpy as np

from haulm.advice import Answer, Fact, Finding, NotKnown, Said, Section
from haulm.condition import Condition
from haulm.garden import Maturity, Season, Stage
from haulm.settings.thresholds import Thresholds
from haulm.taught import SeasonFits
from haulm.weather import DAY

NO_LIKELY_DAY = NotKnown("likely planting day, for the soil is not known", worth_saying=True)
LATE_TO_CHIT_DAYS = 14  # judgement: with less than this left, sprouts will be short
WEEK = 7
BUY_SEED = "buy-seed"
BUY, IN_VAIN, NO_WINDOW, OFF_WINDOW = "buy", "in-vain", "no-window", "off-window"


def buy_seed(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """The next window opens within some weeks, and no seed was noted yet."""
    planting, seed = condition.planting, condition.seed
    opens_in = (planting.window_first - condition.today).days
    if seed.bought is not None or opens_in > thresholds.seed.buy_ahead_days or condition.today > last_day(condition):
        return None
    begins = max(planting.window_first, condition.today)
    season_days = (seed.season_ends - begins).days if seed.season_ends else None
    later, fit = _autumn_window(condition), soil_fit(condition, thresholds)
    facts: dict[str, Fact] = {
        "window_first": planting.window_first,
        "window_last": planting.window_last,
        "opens_in_days": opens_in,
        "season": planting.season.value,
        "maturity": planting.maturity.value,
        "season_days": season_days,
        "season_ends": seed.season_ends,
        "by_heat": seed.ends_by_heat,
        "later_share": 1.0 - thresholds.planting.frost_chance,
        "fitting": seed.fits.fitting if seed.fits else "",
        "it_fits": bool(seed.fits and _is_ripe_by(planting.maturity, seed.fits.fitting)),
        "ripe_share": seed.fits.ripe_share if seed.fits else None,
        "likely_day": seed.fits.likely_day if seed.fits else None,
        "own_years": seed.fits.years if seed.fits else 0,
        "opens": tuple(first for first, _ in seed.fits.others) if seed.fits else (),
        "closes": tuple(last for _, last in seed.fits.others) if seed.fits else (),
        "others_good": bool(seed.fits and seed.fits.others_good),
        "frost_years": condition.chances.years,
        "autumn_name": later[1] if later else "",
        "autumn_first": later[0] if later else None,
        "fit": fit,
        "last_day": last_day(condition),
    }
    if _never_fit(condition, fit) or (fit is not None and fit > last_day(condition)):
        return Finding(IN_VAIN, Section.KEEP_AN_EYE, 24, facts)
    verdict = _by_its_years(seed.fits, standing)
    return Finding(verdict, Section.GET_READY if verdict == BUY else Section.KEEP_AN_EYE, 24, facts)


def _by_its_years(fits: SeasonFits | None, standing: Said | None) -> str:
    """What the place's own years say of buying; it is asked of them once, and what they said stands."""
    if fits is None:
        return standing.verdict if standing and standing.verdict in {NO_WINDOW, OFF_WINDOW} else BUY
    if not fits.any_window:
        return NO_WINDOW
    return BUY if fits.likely_day is not None else OFF_WINDOW


def _never_fit(condition: Condition, fit: date | None) -> bool:
    """The soil is known, and most years of the record never bring it to where planting waits for it."""
    soil = condition.soil
    return soil.known and soil.ready is not None and fit is None


def _is_ripe_by(kind: Maturity, fitting: str) -> bool:
    """Whether a class ripens where `fitting` is the latest that does; empty where none does."""
    classes = [one.value for one in Maturity]
    return bool(fitting) and classes.index(kind.value) <= classes.index(fitting)


def _autumn_window(condition: Condition) -> tuple[date, str] | None:
    """The garden's autumn window after this spring one: its seed is bought in spring too."""
    if condition.planting.season is not Season.SPRING:
        return None
    year_after = condition.planting.window_first + 365 * DAY
    later = (
        (other.window_first, other.name)
        for other in condition.garden.plantings
        if other.season is Season.AUTUMN and condition.planting.window_first < other.window_first < year_after
    )
    return min(later, default=None)


def start_chitting(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Planting is likely within some weeks: wake the seed."""
    limits = thresholds.seed
    if condition.today > last_day(condition):
        return None
    allowed = limits.chit_off_days if standing else limits.chit_ahead_days
    if not condition.soil.known:
        near = (condition.planting.window_first - condition.today).days <= allowed
        return NO_LIKELY_DAY if near else None
    likely = likely_planting(condition, thresholds)
    if likely is None:
        return _too_late_to_wake(condition, thresholds)
    if (likely - condition.today).days > allowed:
        return None
    facts = _likely_facts(condition, likely) | {
        "bought": condition.seed.bought is not None,
        "now": likely <= condition.today,
        "short": (likely - condition.today).days < LATE_TO_CHIT_DAYS,
        "season": condition.planting.season.value,
    }
    return Finding("chit", Section.DO_TODAY, 38, facts)


def _too_late_to_wake(condition: Condition, thresholds: Thresholds) -> Finding | None:
    """The soil is likely fit only after the last safe day: seed woken now would wait in vain."""
    fit, last = soil_fit(condition, thresholds), last_day(condition)
    opens_in = (condition.planting.window_first - condition.today).days
    if fit is None or fit <= last or opens_in > thresholds.seed.chit_ahead_days:
        return None
    ready = condition.soil.ready
    facts: dict[str, Fact] = {
        "likely": fit,
        "last_day": last,
        "season": condition.planting.season.value,
        "years": ready.years if ready else 0,
    }
    return Finding("in-vain", Section.KEEP_AN_EYE, 26, facts)


def cut_seed(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Some days before the likely day: cut what is large, if the soil that waits for it is neither cold nor hot."""
    limits = thresholds.seed
    if condition.today > last_day(condition):
        return None
    if not condition.soil.known:
        return NotKnown("likely planting day")
    likely = likely_planting(condition, thresholds)
    if likely is None:
        return None
    days_left = (likely - condition.today).days
    # Once said, it stands while planting may still be near; a day more or less on the forecast does not take it back.
    held = standing is not None and days_left <= limits.cut_first_days + limits.cut_last_days
    if not held and not limits.cut_last_days <= days_left <= limits.cut_first_days:
        return None
    soil_c = _soil_waiting_c(condition, likely)
    if np.isnan(soil_c):
        return NotKnown("soil temperature of the planting days")
    if _would_wait(condition, soil_c, thresholds, standing):
        return None
    verdict = _cut_or_whole(soil_c, thresholds, standing)
    facts = _likely_facts(condition, likely) | {
        "soil_ahead_c": soil_c,
        "low_c": limits.cut_soil_low_c,
        "high_c": limits.cut_soil_high_c,
        "cold": soil_c < (limits.cut_soil_low_c + limits.cut_soil_high_c) / 2.0,
    }
    if verdict == "cut":
        return Finding("cut", Section.DO_TODAY, 36, facts)
    return Finding("whole", Section.LEAVE_ALONE, 18, facts)


def cut_already(condition: Condition, _thresholds: Thresholds) -> bool:
    """Whether the seed was noted as cut: the grower need not be told of it."""
    return condition.seed.cut is not None


def _would_wait(condition: Condition, soil_c: float, thresholds: Thresholds, standing: Said | None) -> bool:
    """The week from the likely day on, under its straw, is still outside what planting waits for."""
    limits = thresholds.planting
    if condition.planting.season is Season.SPRING:
        return soil_c < (limits.soil_off_spring_c if standing else limits.soil_ready_spring_c)
    return soil_c > limits.soil_risky_autumn_c + (limits.autumn_margin_c if standing else 0.0)


def _cut_or_whole(soil_c: float, thresholds: Thresholds, standing: Said | None) -> str:
    limits = thresholds.seed
    slack_c = 0.0
    if standing is not None and standing.verdict in {"cut", "whole"}:
        slack_c = limits.cut_soil_margin_c if standing.verdict == "cut" else -limits.cut_soil_margin_c
    fit = limits.cut_soil_low_c - slack_c <= soil_c <= limits.cut_soil_high_c + slack_c
    return "cut" if fit else "whole"


def _soil_waiting_c(condition: Condition, likely: date) -> float:
    """Mean of the week from the likely day on, under the straw of planting."""
    soil = condition.soil.under_new_straw_c.between(likely, likely + (WEEK - 1) * DAY)
    return float(np.nanmean(soil)) if np.isfinite(soil).any() else float("nan")


def likely_planting(condition: Condition, thresholds: Thresholds) -> date | None:
    """The likely planting day inside the window, by the soil; None where it lies beyond, or is not known.

    Where old straw lies, it is the day of the bed raked bare: seed must be awake by then.
    """
    fit = soil_fit(condition, thresholds)
    if fit is None:
        return None
    likely = max(fit, condition.planting.window_first, condition.today)
    return likely if likely <= last_day(condition) else None


def soil_fit(condition: Condition, thresholds: Thresholds) -> date | None:
    """When the soil is likely fit, whether that is in time or not; None where it is not known, or never is."""
    if not condition.soil.known:
        return None
    ready, raked = condition.soil.ready, condition.soil.ready_if_raked
    days = [one.likely for one in (ready, raked) if one is not None and one.likely is not None]
    if condition.planting.season is Season.AUTUMN:
        days += _fit_with_care(condition, thresholds)
    return min(days, default=None)


def _fit_with_care(condition: Condition, thresholds: Thresholds) -> list[date]:
    """When falling soil will do for whole, awake seed: the first coming day at that limit, under new straw."""
    first = max(condition.planting.window_first, condition.today)
    soil = condition.soil.under_new_straw_c
    cool = np.flatnonzero(soil.between(first, soil.last) <= thresholds.planting.soil_risky_autumn_c)
    return [first + int(cool[0]) * DAY] if cool.size else []


def last_day(condition: Condition) -> date:
    """The last day on which this planting makes sense: the window's, or the last safe one before it."""
    safe = condition.chances.last_safe_planting
    return min(condition.planting.window_last, safe) if safe else condition.planting.window_last


def taken(condition: Condition) -> bool:
    """Another crop stands in the bed: its straw and water are not this planting's matter."""
    return condition.stage.stage.order < Stage.PLANTED.order and condition.water is None


def _likely_facts(condition: Condition, likely: date) -> dict[str, Fact]:
    ready, raked = condition.soil.ready, condition.soil.ready_if_raked
    sooner = raked is not None and raked.likely == likely and ready is not None and ready.likely != likely
    ends = raked if sooner else ready
    around = ends is not None and ends.early and ends.late and ends.early <= likely <= ends.late
    return {
        "likely": likely,
        "raked": sooner,
        "early": ends.early if ends and around else None,  # a day that is fit only with care has no range
        "late": ends.late if ends and around else None,
        "years": ends.years if ends else 0,
        "days_to_go": (likely - condition.today).days,
        "window_first": condition.planting.window_first,
    }
