"""What hurts a growing crop beside frost: heat, and a bed under water."""

import math

import numpy as np

from haulm.advice import Answer, Fact, Finding, NotKnown, Said, Section
from haulm.condition import Condition
from haulm.science.soil_properties import TEXTURES
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, FloatArray

# Soils that let water through slowly: the fine ones of FAO-56 Table 22's note, and silt (judgement).
SLOW_SOILS = frozenset({"silt", "silty clay loam", "silty clay", "clay"})
NIGHTS_AHEAD = 3  # judgement: as far as a forecast of warm nights is worth speaking of
RAIN_AHEAD = 2  # judgement: today and tomorrow; rain further off is too unsure to dig for


def heat(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """A spell of nights or soil too warm for tubers; or soil so hot, so long, that it asks for shade."""
    if condition.crop.tops_gone is not None:
        return None
    hot = _hot(condition, thresholds, standing)
    if hot:
        return Finding("hot", Section.DO_TODAY, 44, _heat_facts(condition, thresholds), level=1)
    forming = condition.crop.forming
    if forming is None or not forming.holds(condition.today):
        return None
    nights, soil = _warm_nights(condition, thresholds, standing), _warm_soil(condition, thresholds, standing)
    if nights or soil:
        facts = _heat_facts(condition, thresholds) | {"by_nights": nights, "by_soil": soil}
        return Finding("warm-spell", Section.KEEP_AN_EYE, 23, facts)
    return NotKnown("soil temperature") if soil is None else None


def _soil_of(condition: Condition, days: int) -> FloatArray | None:
    """Soil at the tubers on the last days; None where it is not known."""
    soil = condition.soil.as_it_lies_c.between(condition.today - days * DAY, condition.today - DAY)
    return None if not condition.soil.known or np.isnan(soil).any() else soil


def _hot(condition: Condition, thresholds: Thresholds, standing: Said | None) -> bool:
    limits = thresholds.heat
    if standing is not None and standing.verdict == "hot":
        soil = _soil_of(condition, 1)
        return soil is not None and bool(soil[0] >= limits.hot_soil_off_c)
    soil = _soil_of(condition, limits.hot_days)
    return soil is not None and bool(soil.min() >= limits.hot_soil_c)


def _warm_soil(condition: Condition, thresholds: Thresholds, standing: Said | None) -> bool | None:
    limits = thresholds.heat
    soil = _soil_of(condition, limits.warm_days)
    if soil is None:
        return None
    if standing is None:
        return bool(soil.min() >= limits.warm_soil_c)
    # Nights in which tubers form again end the spell, though the soil lags behind.
    last = condition.sky.recent.of("air_min_c").between(condition.today - limits.warm_days * DAY, condition.today - DAY)
    cool = bool((last < thresholds.shoots.forming_night_c).all())
    return bool(soil.max() >= limits.warm_soil_off_c) and not cool


def _warm_nights(condition: Condition, thresholds: Thresholds, standing: Said | None) -> bool:
    """So many nights running, among those just past and those forecast."""
    limits = thresholds.heat
    run = limits.warm_days
    warm = nights_about(condition, run) >= (limits.warm_night_off_c if standing else limits.warm_night_c)
    return any(warm[begin : begin + run].all() for begin in range(len(warm) - run + 1))


def nights_about(condition: Condition, back: int) -> FloatArray:
    """Minima of the nights just past, of last night, and of those forecast; NaN where not known."""
    past = condition.sky.recent.of("air_min_c").between(condition.today - (back - 1) * DAY, condition.today - DAY)
    ahead = condition.sky.outlook.of("air_min_c").between(condition.today, condition.today + NIGHTS_AHEAD * DAY)
    return np.concatenate([past, ahead])


def _heat_facts(condition: Condition, thresholds: Thresholds) -> dict[str, Fact]:
    limits = thresholds.heat
    nights, soil = nights_about(condition, limits.warm_days), _soil_of(condition, limits.hot_days)
    known = nights[np.isfinite(nights)]
    return {
        "soil_c": math.nan if soil is None else float(soil[-1]),
        "coldest_soil_c": math.nan if soil is None else float(soil.min()),
        "night_low_c": float(known.min()) if known.size else math.nan,
        "night_high_c": float(known.max()) if known.size else math.nan,
        "warm_soil_c": limits.warm_soil_c,
        "warm_night_c": limits.warm_night_c,
        "hot_soil_c": limits.hot_soil_c,
        "hot_days": limits.hot_days,
        "straw_m": condition.straw_m,
    }


def soaking(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """The bed stands in more water than it can pass on, or soon will."""
    limits, water = thresholds.soaking, condition.water
    noted = condition.standing_water
    if noted is not None and (condition.today - noted).days < limits.noted_days:
        return Finding("standing", Section.DO_TODAY, 56, _soak_facts(condition), level=2)
    if condition.bed.texture not in SLOW_SOILS:
        return None
    if water is None or math.isnan(water.depletion_high_mm):
        return NotKnown("the bed's water")
    still = standing is not None and standing.verdict == "soaking" and water.depletion_high_mm < limits.drained_mm
    rained = _rained_mm(condition, water.drained_days + 1) >= limits.least_rain_mm
    soaked = water.drained_days >= limits.wet_days and rained
    if still or soaked or _rained_mm(condition, 1) > holds_mm(condition):
        return Finding("soaking", Section.DO_TODAY, 43, _soak_facts(condition), level=1)
    ahead = condition.sky.outlook.of("rain_mm").between(condition.today, condition.today + (RAIN_AHEAD - 1) * DAY)
    if (ahead[np.isfinite(ahead)] > holds_mm(condition)).any():
        facts = _soak_facts(condition) | {"rain_ahead_mm": float(np.nanmax(ahead)), "holds_mm": holds_mm(condition)}
        return Finding("rain-coming", Section.GET_READY, 37, facts)
    return None


def holds_mm(condition: Condition) -> float:
    """What the whole depth of the bed holds for plants (TAW of FAO-56), and not only the roots of a young crop."""
    return float(1000.0 * TEXTURES[condition.bed.texture].available_m3_m3 * condition.bed.soil_depth_m)


def _rained_mm(condition: Condition, days: int) -> float:
    rain = condition.sky.recent.of("rain_mm").between(condition.today - days * DAY, condition.today - DAY)
    return float(np.nansum(rain))


def _soak_facts(condition: Condition) -> dict[str, Fact]:
    return {
        "drained_days": condition.water.drained_days if condition.water else 0,
        "noted": condition.standing_water,
        "texture": condition.bed.texture,
        "rain_mm": condition.sky.recent.of("rain_mm").at(condition.today - DAY),
        "week_rain_mm": condition.water.week_rain_mm if condition.water else math.nan,
    }
