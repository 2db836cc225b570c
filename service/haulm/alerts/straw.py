"""Straw that lies wrong: last year's before planting, and fresh straw in the wind."""

import math
from datetime import date

import numpy as np
from numpy.typing import NDArray

from haulm.advice import Answer, Fact, Finding, NotKnown, Said, Section
from haulm.alerts.seed import last_day, taken
from haulm.condition import Condition
from haulm.garden import Season, Stage
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, FloatArray

LEAST_COOLER_C = 0.5  # judgement: less than this in a week is no reason to carry straw
HELD_BY_LEAF_M = 0.3  # judgement: tops that stand so far above the straw close over it
# What a day gusts to beside its mean wind, where no gusts are forecast: judgement, with one year of one German station
# beside it (median 3.1; days of 40 km/h or more by this: 72 of 135 found, 15 called in vain).
GUST_OVER_MEAN = 2.5
DRY_DAYS = 3  # straw that had rain in so many days is not yet dry (judgement)


def old_straw(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Before planting: rake last year's straw off in spring, lay straw on a hot bed before an autumn window."""
    if condition.today > last_day(condition) or taken(condition):
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
    if (bare.likely - condition.today).days > limits.rake_ahead_days and standing is None:
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
    """Gusts are forecast that would carry fresh, dry straw away. A net once laid stays: said once for each laying."""
    limits, laid = thresholds.gusts, condition.last_straw
    if laid is None or condition.straw_m <= 0.0 or (condition.today - laid).days > limits.fresh_days:
        return None
    if taken(condition) or _held_by_leaf(condition):
        return None
    if standing is not None and laid >= standing.first_on:
        return None  # new straw since: it is a new matter
    gusts, told = _gusts_ahead(condition, limits.days_ahead)
    strong = np.flatnonzero(gusts >= limits.gust_ms)
    if strong.size and not _lies_heavy(condition, thresholds):
        ahead = int(strong[0])
        facts = _gust_facts(condition, thresholds, condition.today + ahead * DAY, float(np.nanmax(gusts)))
        facts["told"] = bool(told[ahead])
        if ahead <= 1:
            return Finding("net", Section.DO_TODAY, 46, facts, level=1)
        if standing is None:
            return Finding("net-ready", Section.GET_READY, 32, facts)
    if standing is not None:  # said, and perhaps done: it is not said again for this straw
        return Finding(standing.verdict, Section.GET_READY, 0, {}, standing.level)
    return NotKnown("gusts in the forecast") if np.isnan(gusts).all() else None


def _gusts_ahead(condition: Condition, days: int) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Gusts of today and the days after, and whether they are forecast; else by the day's mean wind."""
    outlook, last = condition.sky.outlook, condition.today + (days - 1) * DAY
    gusts = outlook.of("gust_ms").between(condition.today, last)
    by_wind = GUST_OVER_MEAN * outlook.of("wind_ms").between(condition.today, last)
    return np.where(np.isnan(gusts), by_wind, gusts), np.isfinite(gusts)


def _gust_facts(condition: Condition, thresholds: Thresholds, first_day: date, gust_ms: float) -> dict[str, Fact]:
    stage = condition.stage.stage
    return {
        "gust_ms": gust_ms,
        "first_day": first_day,
        "laid": condition.last_straw,
        "straw_m": condition.straw_m,
        "limit_ms": thresholds.gusts.gust_ms,
        "water_welcome": stage is Stage.EMERGED or stage.order < Stage.PLANTED.order,
        "seed_lies": stage is Stage.PLANTED,
    }


def _held_by_leaf(condition: Condition) -> bool:
    """Grown tops keep the wind off the straw under them, until they go down."""
    return condition.crop.shoot_height_m >= HELD_BY_LEAF_M and condition.crop.dying_since is None


def _lies_heavy(condition: Condition, thresholds: Thresholds) -> bool:
    """Rain of the last days wets straw through; days of which nothing is known count as dry."""
    first = condition.today - DRY_DAYS * DAY
    rain = condition.sky.recent.of("rain_mm").between(first, condition.today - DAY)
    return bool(np.nansum(rain) >= thresholds.gusts.dry_rain_mm)
