"""When to plant: soil ready in spring and in autumn, not yet, too late; and planted too cold."""

from datetime import timedelta

import numpy as np

from haulm.advice import Answer, Fact, Facts, Finding, NotKnown, Said, Section
from haulm.alerts.seed import last_day, taken
from haulm.condition import Condition, DayRange
from haulm.garden import Season, Stage
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, FloatArray

YEAR = timedelta(days=365)
NIGHTS_NEAR = 3  # judgement: so many have to be known before it is said that no frost is near
SPROUTED_AFTER_DAYS = 14  # judgement: 2 to 10 days of warmth until the eyes show, and some of light


def planting_time(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """One verdict on planting: too late, plant, or (with chitted seed in hand) wait."""
    late = too_late(condition)
    if late is not None:
        return late
    ready = soil_ready(condition, thresholds, standing)
    if ready is not None or condition.stage.stage is not Stage.CHITTING:
        return ready
    return not_yet(condition, thresholds, standing)


def soil_ready(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Plant: the soil has reached the temperature of its season and will keep it, inside the window."""
    planting = condition.planting
    if not planting.window_first <= condition.today <= planting.window_last:
        return None
    if not condition.soil.known or np.isnan(_last_days(condition, thresholds)).any():
        return NotKnown("soil temperature", worth_saying=True)
    if planting.season is Season.SPRING:
        return _ready_in_spring(condition, thresholds, standing)
    return _ready_in_autumn(condition, thresholds, standing)


def _ready_in_spring(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    limits = thresholds.planting
    limit_c = limits.soil_off_spring_c if _speaks_of(standing, "plant") else limits.soil_ready_spring_c
    if _last_days(condition, thresholds).min() < limit_c:
        return None
    ahead = _days_ahead(condition, thresholds)
    if np.isnan(ahead).any():
        return NotKnown("forecast", worth_saying=True)
    if ahead.min() < limit_c or _too_wet_to_begin(condition, standing):
        return None
    chance = condition.chances.frost_after_shoots
    facts = _facts(condition, thresholds) | {
        "frost_chance": chance,
        "frost_years": condition.chances.years,
        "frost_limit": limits.frost_chance,
        "sprouted": condition.stage.stage is Stage.CHITTING,
    }
    return Finding("plant", Section.DO_TODAY, 60, facts, level=_last_call(condition, thresholds))


def _ready_in_autumn(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    limits = thresholds.planting
    last_safe = condition.chances.last_safe_planting
    if last_safe is not None and condition.today > last_safe:
        return None
    slack_c = limits.autumn_margin_c if _speaks_of(standing, "plant", "plant-with-care") else 0.0
    plain_slack_c = slack_c if _speaks_of(standing, "plant") else 0.0
    recent, ahead = _last_days(condition, thresholds), _days_ahead(condition, thresholds)
    if recent.max() > limits.soil_risky_autumn_c + slack_c:
        return None
    if np.isnan(ahead).any():
        return NotKnown("forecast", worth_saying=True)
    if ahead.max() > limits.soil_risky_autumn_c + slack_c or _too_wet_to_begin(condition, standing):
        return None
    facts = _facts(condition, thresholds) | {"last_safe": last_safe, "years": condition.chances.years}
    if recent.max() <= limits.soil_ready_autumn_c + plain_slack_c:
        return Finding("plant", Section.DO_TODAY, 60, facts, level=_last_call(condition, thresholds))
    awake = condition.stage.stage is Stage.CHITTING
    if awake and _trend_c(condition) < 0:
        return Finding("plant-with-care", Section.DO_TODAY, 55, facts, level=_last_call(condition, thresholds))
    return None


def _last_call(condition: Condition, thresholds: Thresholds) -> int:
    """1 when few days are left, so that a bed long ready is spoken of once more."""
    return int((last_day(condition) - condition.today).days <= thresholds.planting.last_call_days)


def not_yet(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Chitted seed must wait: the soil is outside its limits, will not stay inside them, or is too wet."""
    planting = condition.planting
    if condition.today > planting.window_last or _past_last_safe_day(condition):
        return None
    if condition.today < planting.window_first and not _sprouted(condition):
        return None  # set to chit a few days ago: nobody means to plant it yet
    if not condition.soil.known or np.isnan(_last_days(condition, thresholds)).any():
        return None  # soil_ready says that it is not known
    why = _why_wait(condition, thresholds, standing)
    if not why:
        return None
    ready = condition.soil.ready
    facts = _facts(condition, thresholds) | {
        "why": why,
        "trend_c": _trend_c(condition),
        "likely": ready.likely if ready else None,
        "early": ready.early if ready else None,
        "late": ready.late if ready else None,
        "years": ready.years if ready else 0,
        "last_safe": condition.chances.last_safe_planting,
        "window_opens": planting.window_first,
        "sprouted": _sprouted(condition),
    }
    return Finding("wait", Section.LEAVE_ALONE, 40, facts)


def _sprouted(condition: Condition) -> bool:
    since = condition.stage.since
    return since is not None and (condition.today - since).days >= SPROUTED_AFTER_DAYS


def _why_wait(condition: Condition, thresholds: Thresholds, standing: Said | None) -> str:
    limits, recent = thresholds.planting, _last_days(condition, thresholds)
    waiting = _speaks_of(standing, "wait")
    ahead = _days_ahead(condition, thresholds)
    if condition.planting.season is Season.SPRING:
        limit_c = limits.soil_ready_spring_c
        if recent.min() < limit_c:
            return "cold"
        if ahead.min() < limit_c:
            return "turning cold"
    else:
        limit_c = limits.soil_risky_autumn_c if waiting else limits.soil_risky_autumn_c + limits.autumn_margin_c
        if recent.max() > limit_c:
            return "hot"
        if ahead.max() > limit_c:
            return "turning hot"
    return "wet" if _too_wet(condition) else ""


def too_late(condition: Condition) -> Finding | None:
    """The last safe day is past: skip this window."""
    planting = condition.planting
    closed = condition.today > planting.window_last
    if not closed and not _past_last_safe_day(condition):
        return None
    later = sorted(
        (other.window_first, other.name)
        for other in condition.garden.plantings
        if other.window_first > condition.today and other.key != planting.key
    )
    facts: Facts = {
        "window_last": planting.window_last,
        "last_safe": condition.chances.last_safe_planting,
        "closed": closed,
        "next_window": later[0][0] if later else None,
        "next_name": later[0][1] if later else "",
        "next_year": planting.window_first + YEAR,
        "chitted": condition.stage.stage is Stage.CHITTING,
    }
    return Finding("too-late", Section.LEAVE_ALONE, 45, facts)


def planted_too_cold(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Seed lies in soil so cold that it rots rather than sprouts, the more so where it is wet."""
    limits = thresholds.planting
    recent = condition.soil.as_it_lies_c.between(condition.today - limits.too_cold_days * DAY, condition.today - DAY)
    if not condition.soil.known or np.isnan(recent).any():
        return NotKnown("soil temperature")
    limit_c = limits.too_cold_off_c if standing else limits.too_cold_c
    if recent.max() >= limit_c:
        return None
    wet = condition.water is not None and condition.water.top_share < thresholds.water.top_depleted_share
    if not wet:
        return None
    facts: dict[str, Fact] = {
        "soil_c": float(recent.mean()),
        "warmest_c": float(recent.max()),
        "limit_c": limits.too_cold_c,
        "cold_days": limits.too_cold_days,
        "straw_m": condition.straw_m,
        "seed_depth_m": condition.planting.depth_m,
        "frost_near": any(night.leaf_c - night.spread_c <= 0.0 for night in condition.sky.nights),
        "has_forecast": condition.sky.has_forecast and _nights_known(condition),
    }
    return Finding("too-cold", Section.LEAVE_ALONE, 50, facts)


def _nights_known(condition: Condition) -> bool:
    """Whether the coming nights are told: what is not known is not free of frost."""
    nights = condition.sky.nights[:NIGHTS_NEAR]
    return len(nights) == NIGHTS_NEAR and not any(np.isnan(night.leaf_c) for night in nights)


def _speaks_of(standing: Said | None, *verdicts: str) -> bool:
    return standing is not None and standing.verdict in verdicts


def _last_days(condition: Condition, thresholds: Thresholds) -> FloatArray:
    first = condition.today - thresholds.planting.ready_days * DAY
    return condition.soil.as_it_lies_c.between(first, condition.today - DAY)


def _days_ahead(condition: Condition, thresholds: Thresholds) -> FloatArray:
    """The days asked of, under the new straw; not known without a forecast: the mean year is no look ahead."""
    days = thresholds.planting.look_ahead_days
    if not condition.sky.has_forecast:
        return np.full(days, np.nan)
    last = condition.today + (days - 1) * DAY
    return condition.soil.under_new_straw_c.between(condition.today, last)


def _trend_c(condition: Condition) -> float:
    """How much warmer yesterday's soil was than that of a week before."""
    soil = condition.soil.as_it_lies_c
    return soil.at(condition.today - DAY) - soil.at(condition.today - timedelta(days=8))


def _too_wet(condition: Condition) -> bool:
    """Above field capacity: water drained from the root zone yesterday."""
    return condition.water is not None and condition.water.drained_days > 0


def _too_wet_to_begin(condition: Condition, standing: Said | None) -> bool:
    """A wet day puts off the word to plant; said once, it is only told to let the bed drain first."""
    return _too_wet(condition) and not _speaks_of(standing, "plant", "plant-with-care")


def _past_last_safe_day(condition: Condition) -> bool:
    last_safe = condition.chances.last_safe_planting
    return condition.planting.season is Season.AUTUMN and last_safe is not None and condition.today > last_safe


def _facts(condition: Condition, thresholds: Thresholds) -> dict[str, Fact]:
    limits, spring = thresholds.planting, condition.planting.season is Season.SPRING
    recent, ahead = _last_days(condition, thresholds), _days_ahead(condition, thresholds)
    shoots: DayRange | None = condition.crop.shoots
    newest = condition.sky.newest_observed
    return {
        "season": condition.planting.season.value,
        "wet": _too_wet(condition),
        "taken": taken(condition),
        "cut": condition.seed.cut is not None,
        "soil_c": float(recent.mean()),
        "soil_yesterday_c": float(recent[-1]),
        "coldest_c": float(recent.min()),
        "warmest_c": float(recent.max()),
        "ahead_min_c": float(ahead.min()),
        "ahead_max_c": float(ahead.max()),
        "spread_c": condition.soil.spread_c.at(condition.today - DAY),
        "fit_chance": condition.soil.fit_chance.at(condition.today - DAY) if condition.soil.fit_chance else None,
        "limit_c": limits.soil_ready_spring_c if spring else limits.soil_ready_autumn_c,
        "risky_c": limits.soil_risky_autumn_c,
        "ready_days": limits.ready_days,
        "look_ahead_days": limits.look_ahead_days,
        "observed_days_ago": (condition.today - newest).days if newest else None,
        "seed_depth_m": condition.planting.depth_m,
        "straw_m": condition.straw_m,
        "new_straw_m": limits.straw_at_planting_m,
        "shoots_early": shoots.early if shoots else None,
        "shoots_late": shoots.late if shoots else None,
        "last_day": last_day(condition),
        "window_last": condition.planting.window_last,
    }
