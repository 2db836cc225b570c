"""The season in a few numbers, told once when the crop is lifted."""

from haulm.advice import Answer, Fact, Finding, Said, Section
from haulm.condition import Condition
from haulm.settings.thresholds import Thresholds


def season_review(condition: Condition, _thresholds: Thresholds, _standing: Said | None) -> Answer:
    """How the season went: days, water, weight; and where the whole look back is to be had."""
    season = condition.season
    if season is None:
        return None
    area_m2 = condition.bed.area_m2
    facts: dict[str, Fact] = {
        "planted": season.planted,
        "lifted": season.lifted,
        "shoots_days": None if season.shoots is None else (season.shoots - season.planted).days,
        "days": (season.lifted - season.planted).days,
        "rain_mm": season.rain_mm,
        "rain_unknown_days": season.rain_unknown_days,
        "watered_mm": season.watered_mm,
        "watered_l": season.watered_mm * area_m2,
        "watered_days": season.watered_days,
        "weight_kg": season.weight_kg,
        "weight_kg_m2": season.weight_kg / area_m2,
    }
    return Finding("season", Section.KEEP_AN_EYE, 6, facts)
