"""Straw that lies wrong: last year's before planting, and fresh straw in the wind."""

import math

import numpy as np

from haulm.advice import Answer, Fact, Finding, NotKnown, Said, Section
from haulm.alerts.seed import last_day
from haulm.condition import Condition
from haulm.garden import Season, Stage
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY

LEAST_COOLER_C = 0.5  # judgement: less than this in a week is no reason to carry straw
DRY_DAYS = 3  # straw that had rain in so many days is not yet dry (judgement)


def old_straw(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Before planting: rake last year's straw off in spring, lay straw on a hot bed before an autumn window."""
    if condition.today > last_day(condition):
        return None
    if condition.planting.season is Season.SPRING:
        return _rake_off(condition, thresholds, standing)
    return _lay_on(condition, thresholds, standing)


def _rake_off(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    limits, ready, bare = thresholds.old_straw, condition.soil.ready, condition.soil.ready_if_raked
    if condition.straw_m < limits.rake_straw_m:
        return None
    if not condition.soil.known:
        near = (condition.planting.window_first - condition.today).days <= limits.rake_ahead_days
        return NotKnown("soil temperature") if near else None
    if ready is None or ready.likely is None or bare is None or bare.likely is None:
        return None
    gain_days = (ready.likely - bare.likely).days
    if (ready.likely - condition.today).days > limits.rake_ahead_days and standing is None:
        return None
    if gain_days < (limits.rake_off_days if standing else limits.rake_gain_days):
        return None
    facts: dict[str, Fact] = {
        "straw_m": condition.straw_m,
        "gain_days": gain_days,
        "likely": ready.likely,
        "likely_bare": bare.likely,
        "years": ready.years,
        "new_straw_m": thresholds.planting.straw_at_planting_m,
    }
    return Finding("rake-off", Section.DO_TODAY, 34, facts)


def _lay_on(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    limits, planting = thresholds.old_straw, condition.planting
    opens_in = (planting.window_first - condition.today).days
    if opens_in > limits.cool_ahead_days or condition.straw_m >= limits.cool_straw_m:
        return None
    soil_c = condition.soil.as_it_lies_c.at(condition.today - DAY)
    if not condition.soil.known or math.isnan(soil_c):
        return NotKnown("soil temperature")
    limit_c = thresholds.planting.soil_ready_autumn_c
    if soil_c <= (limit_c - thresholds.planting.autumn_margin_c if standing else limit_c):
        return None
    cooler_c = _cooler_under_straw_c(condition)
    if not cooler_c >= LEAST_COOLER_C and standing is None:
        return None  # late in the year straw keeps the warmth in
    facts: dict[str, Fact] = {
        "soil_c": soil_c,
        "limit_c": limit_c,
        "straw_m": condition.straw_m,
        "new_straw_m": thresholds.planting.straw_at_planting_m,
        "cooler_c": cooler_c,
        "dry": condition.water is not None and condition.water.top_share > thresholds.water.top_depleted_share,
    }
    return Finding("lay-on", Section.DO_TODAY, 34, facts)


def _cooler_under_straw_c(condition: Condition) -> float:
    """By how much new straw cools the bed on the last of the next seven days; NaN where that is not known."""
    last = condition.today + 6 * DAY
    return condition.soil.as_it_lies_c.at(last) - condition.soil.under_new_straw_c.at(last)


def straw_blows(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Gusts are forecast that would carry fresh, dry straw away."""
    limits, laid = thresholds.gusts, condition.last_straw
    if laid is None or condition.straw_m <= 0.0 or (condition.today - laid).days > limits.fresh_days:
        return None
    if _lies_heavy(condition, thresholds):
        return None
    last = condition.today + (limits.days_ahead - 1) * DAY
    gusts = condition.sky.outlook.of("gust_ms").between(condition.today, last)
    if np.isnan(gusts).all():
        return NotKnown("gusts in the forecast")
    strong = np.flatnonzero(gusts >= (limits.gust_off_ms if standing else limits.gust_ms))
    if not strong.size:
        return None
    ahead = int(strong[0])
    stage = condition.stage.stage
    facts: dict[str, Fact] = {
        "gust_ms": float(np.nanmax(gusts)),
        "first_day": condition.today + ahead * DAY,
        "laid": laid,
        "straw_m": condition.straw_m,
        "limit_ms": limits.gust_ms,
        "water_welcome": stage is Stage.EMERGED or stage.order < Stage.PLANTED.order,
    }
    if ahead <= 1:
        return Finding("net", Section.DO_TODAY, 46, facts, level=1)
    return Finding("net-ready", Section.GET_READY, 32, facts)


def _lies_heavy(condition: Condition, thresholds: Thresholds) -> bool:
    """Rain of the last days wets straw through; days of which nothing is known count as dry."""
    first = condition.today - DRY_DAYS * DAY
    rain = condition.sky.recent.of("rain_mm").between(first, condition.today - DAY)
    return bool(np.nansum(rain) >= thresholds.gusts.dry_rain_mm)
