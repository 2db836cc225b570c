"""The look back on a season in the form for programs."""

import json
from datetime import date

import numpy as np

from haulm.condition import EarlierCrops
from haulm.letter.review import NightSeen, PlantingReview, Review, Water

VERSION = 1


def as_json(found: Review) -> str:
    """Version 1, in house units: plantings [{planting, bed, planted, shoots, dying, tops_gone, lifted,
    shoots_expected {early, likely, late}, leaf_days, p_days, p_days_needed, water {rain_mm, rain_unknown_days,
    watered_mm, watered_l, turns}, weight_kg, weight_kg_m2, letters, nights [{morning, called, level, chance, air_min_c,
    own_min_c, froze}], next_time {shoots_crops, shoots_later_share, ripe_crops, ripe_warmth_share}}], chances [{chance,
    nights, froze}]; what is not known is null."""
    whole = {
        "version": VERSION,
        "place": found.place.name,
        "today": found.today.isoformat(),
        "plantings": [_planting(one) for one in found.plantings],
        "chances": [{"chance": one.chance, "nights": one.nights, "froze": one.froze} for one in found.chances],
    }
    return json.dumps(whole, indent=1)


def _planting(one: PlantingReview) -> dict[str, object]:
    days, due, water = one.days, one.shoots_expected, one.water
    noted = {
        name: _day(getattr(days, name)) for name in ("planted", "shoots", "dying", "tops_gone", "lifted")
    }  # fmt: skip
    return {
        "planting": one.planting.key,
        "bed": one.bed.key,
        **noted,
        "shoots_expected": None if due is None else {n: _day(getattr(due, n)) for n in ("early", "likely", "late")},
        "leaf_days": one.leaf_days,
        "p_days": _plain(one.p_days),
        "p_days_needed": _plain(one.p_days_needed),
        "water": None if water is None else {name: getattr(water, name) for name in Water.__slots__},
        "weight_kg": _plain(one.weight_kg),
        "weight_kg_m2": _plain(one.weight_kg / one.bed.area_m2),
        "letters": one.letters,
        "nights": [_night_json(night) for night in one.nights],
        "next_time": {name: getattr(one.next_time, name) for name in EarlierCrops.__slots__},
    }


def _night_json(night: NightSeen) -> dict[str, object]:
    return {
        "morning": night.morning.isoformat(),
        "called": night.called or None,
        "level": night.level,
        "chance": _plain(night.chance),
        "air_min_c": _plain(night.air_min_c),
        "own_min_c": _plain(night.own_min_c),
        "froze": night.froze,
    }


def _day(day: date | None) -> str | None:
    return day.isoformat() if day is not None else None


def _plain(value: float) -> float | None:
    return None if np.isnan(value) else round(value, 3)
