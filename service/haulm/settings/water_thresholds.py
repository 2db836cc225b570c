"""Thresholds of water: the weekly target and what overrides it, and what becomes of it when the tops go down."""

from typing import Literal

from haulm.settings.quantities import DayCount, FlowLmin, Share, TemperatureC
from haulm.settings.quantities import WaterMm as Water
from haulm.settings.table import Table, setting

PRACTICE = "common practice, no source"
JUDGEMENT = "judgement"


class WaterThresholds(Table):
    """Watering: the weekly target, and what overrides it."""

    way: Literal["weekly", "depletion"] = setting(
        "weekly", "Go by a weekly target, or by how dry the root zone is.", JUDGEMENT
    )
    weekly_target_mm: Water = setting(
        "25 mm",
        "Rain that passes the straw, and waterings, wanted in seven days: about an inch.",
        PRACTICE,
        low=5.0,
        high=100.0,
    )
    least_turn_mm: Water = setting(
        "10 mm", "Less than this is not worth carrying, and wets only the top.", JUDGEMENT, low=0.5, high=25.0
    )
    hold_chance: Share = setting(
        0.70, "Watering waits for rain that is at least this likely.", JUDGEMENT, low=0.3, high=1.0
    )
    hold_rain_mm: Water = setting(
        "5 mm", "Where no chance is given, this much forecast rain counts as likely.", JUDGEMENT, low=1.0, high=50.0
    )
    hold_days: DayCount = setting(
        3, "Rain further off than this is no reason yet to wait, nor to cover a ripening bed.", JUDGEMENT, low=1, high=7
    )
    nearly_dry_share: Share = setting(
        0.8,
        "Going by the root zone, water when this share is gone of what plants take with ease: before it hurts them.",
        JUDGEMENT,
        low=0.4,
        high=1.0,
    )
    top_depleted_share: Share = setting(
        0.5,
        "Before the shoots, water only when this share of the top soil's water is gone.",
        JUDGEMENT,
        low=0.1,
        high=0.9,
    )
    target_differs_share: Share = setting(
        0.20,
        "The target is called short or generous when the week's need differs by this share.",
        JUDGEMENT,
        low=0.05,
        high=1.0,
    )
    target_differs_off_share: Share = setting(
        0.15,
        "That ends only when the difference is below this.",
        JUDGEMENT,
        low=0.01,
        high=0.95,
        below=["target_differs_share"],
    )
    soaking_off_share: Share = setting(
        0.8,
        "A warning of rain on a ripening bed ends only when the rain is below this share of the room for it.",
        JUDGEMENT,
        low=0.3,
        high=0.99,
    )
    hose_flow_l_min: FlowLmin | None = setting(
        None,
        "What your hose gives, to say how many minutes; measure it with a bucket.",
        "judgement: only your own hose can tell, so there is no default",
        low=0.5,
        high=200.0,
        example="12 l/min",
    )


class RipeningThresholds(Table):
    """When tops that go down may be ripe, and when to ask first."""

    least_days: DayCount = setting(
        70,
        "Tops that go down sooner after the shoots are asked about: thirst, frost, blight, wilt?",
        "judgement: the FAO crop page gives early kinds 90-120 days in all",
        low=30,
        high=150,
    )
    least_share: Share = setting(
        0.70, "So are tops with less than this share of the warmth their class needs.", JUDGEMENT, low=0.3, high=1.0
    )
    look_share: Share = setting(
        1.0,
        "At this share of the warmth their class needs, look whether the tops go down.",
        "published: prairie production guide (800-1000 P-days)",
        low=0.5,
        high=1.5,
        above=["least_share"],
    )
    taper_share: Share = setting(
        0.5,
        "Tops of an indeterminate kind that go down by and by get this share of the water.",
        PRACTICE,
        low=0.1,
        high=1.0,
    )
    taper_days: DayCount = setting(
        14,
        "So long after they were noted as going down the water of an indeterminate kind is cut as well.",
        "judgement: about when two thirds of the leaf are yellow, and two to three weeks before lifting",
        low=3,
        high=42,
    )
    hot_soil_c: TemperatureC = setting(
        "24 C",
        "In soil warmer than this the water is cut to small turns, so that the tubers do not bake.",
        JUDGEMENT,
        low=18.0,
        high=35.0,
    )
    hot_soil_off_c: TemperatureC = setting(
        "23 C",
        "Small turns end only when it is no warmer than this.",
        JUDGEMENT,
        low=15.0,
        high=34.5,
        below=["hot_soil_c"],
    )
    small_turn_share: Share = setting(
        0.5, "A small turn is this share of the least turn worth carrying.", JUDGEMENT, low=0.1, high=1.0
    )
