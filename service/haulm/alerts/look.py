"""Look now: a line at the time of year and the warmth in which something is worth a look. No rule of treatment.

All of these times are common practice without a source, and the limits judgement; each is said once a season.
"""

from collections.abc import Callable
from datetime import timedelta

import numpy as np

from haulm.advice import Answer, Fact, Facts, Finding, NotKnown, Said, Section
from haulm.condition import Condition
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY

WEEK = 7
KNOWN_DAYS = 5  # judgement: so many days of the week must be known to call it warm or wet
BEFORE_SHOOTS, AFTER_SHOOTS = timedelta(days=3), timedelta(days=28)  # while shoots are short enough to be eaten off
URGENCY = 8

When = Callable[[Condition, Thresholds], Facts | NotKnown | None]
WEATHER = NotKnown("weather of the last days")


def _once(condition: Condition, thresholds: Thresholds, standing: Said | None, when: When) -> Answer:
    """Said once, the episode stays open until the stage is left, so that it is not said again."""
    if standing is not None:
        return Finding(standing.verdict, Section.KEEP_AN_EYE, URGENCY, {})
    facts = when(condition, thresholds)
    if facts is None or isinstance(facts, NotKnown):
        return facts
    return Finding("look", Section.KEEP_AN_EYE, URGENCY, facts)


def slugs(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Short shoots under straw, in mild wet weather."""
    return _once(condition, thresholds, standing, _slug_weather)


def beetle(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Leaf, and warmth that brings the beetles out."""
    return _once(condition, thresholds, standing, _beetle_weather)


def tuber_moth(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Tubers, and heat without rain, in which moths find those that lie bare."""
    return _once(condition, thresholds, standing, _moth_weather)


def voles(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Tubers worth gnawing under straw deep enough to hide in."""
    return _once(condition, thresholds, standing, _vole_time)


def greening(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Tubers that swell push up into the light."""
    return _once(condition, thresholds, standing, _greening_time)


def _slug_weather(condition: Condition, thresholds: Thresholds) -> Facts | NotKnown | None:
    shoots = condition.crop.shoots
    if condition.straw_m <= 0.0 or shoots is None or shoots.early is None:
        return None
    if not shoots.early - BEFORE_SHOOTS <= condition.today <= (shoots.likely or shoots.early) + AFTER_SHOOTS:
        return None
    night_c, rain_mm = _mean_of_week(condition, "air_min_c"), _mean_of_week(condition, "rain_mm") * WEEK
    if np.isnan([night_c, rain_mm]).any():
        return WEATHER
    limits = thresholds.look
    mild_and_wet = night_c >= limits.slug_night_c and rain_mm >= limits.slug_rain_mm
    return {"night_c": night_c, "rain_mm": rain_mm} if mild_and_wet else None


def _beetle_weather(condition: Condition, thresholds: Thresholds) -> Facts | NotKnown | None:
    if condition.crop.days_from_shoots is None:
        return None  # no leaf for sure yet
    air_c = _air_c(condition)
    if np.isnan(air_c):
        return WEATHER
    return {"air_c": air_c} if air_c >= thresholds.look.beetle_air_c else None


def _moth_weather(condition: Condition, thresholds: Thresholds) -> Facts | NotKnown | None:
    if not _forming_for(condition, 0):
        return None
    air_c, rain_mm = _air_c(condition), _mean_of_week(condition, "rain_mm") * WEEK
    if np.isnan([air_c, rain_mm]).any():
        return WEATHER
    hot_and_dry = air_c >= thresholds.look.moth_air_c and rain_mm <= thresholds.look.moth_rain_mm
    return {"air_c": air_c, "rain_mm": rain_mm} if hot_and_dry else None


def _vole_time(condition: Condition, thresholds: Thresholds) -> Facts | None:
    deep = condition.straw_m >= thresholds.look.vole_straw_m
    return _tuber_facts(condition) if deep and _forming_for(condition, thresholds.look.vole_days) else None


def _greening_time(condition: Condition, thresholds: Thresholds) -> Facts | None:
    return _tuber_facts(condition) if _forming_for(condition, thresholds.look.greening_days) else None


def _forming_for(condition: Condition, days: int) -> bool:
    forming = condition.crop.forming
    return forming is not None and condition.today >= forming.first + days * DAY


def _tuber_facts(condition: Condition) -> dict[str, Fact]:
    forming = condition.crop.forming
    return {"since": forming.first if forming else None, "straw_m": condition.straw_m}


def _air_c(condition: Condition) -> float:
    return (_mean_of_week(condition, "air_min_c") + _mean_of_week(condition, "air_max_c")) / 2.0


def _mean_of_week(condition: Condition, quantity: str) -> float:
    days = condition.sky.recent.of(quantity).between(condition.today - WEEK * DAY, condition.today - DAY)
    known = days[np.isfinite(days)]
    return float(known.mean()) if known.size >= KNOWN_DAYS else float("nan")
