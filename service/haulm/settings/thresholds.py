"""Every threshold of every rule, with its reason, range, default and what it rests on.

Off thresholds, which keep advice from flickering, are keys beside the on thresholds.
"""

from haulm.settings.blight_thresholds import BlightThresholds
from haulm.settings.quantities import DayCount, HourCount, LengthM, Share, TemperatureC, TimeOfDay
from haulm.settings.quantities import WarmthC as Warmth
from haulm.settings.quantities import WaterMm as Water
from haulm.settings.season_thresholds import (
    GustThresholds,
    HeatThresholds,
    LookThresholds,
    OldStrawThresholds,
    SeedThresholds,
    SoakingThresholds,
)
from haulm.settings.store_thresholds import (
    CuringThresholds,
    CutTopsThresholds,
    LiftingThresholds,
    StoreThresholds,
    TubersThresholds,
)
from haulm.settings.table import Table, setting
from haulm.settings.water_thresholds import RipeningThresholds, WaterThresholds
from haulm.settings.window_thresholds import WindowThresholds

PRACTICE = "common practice, no source"
JUDGEMENT = "judgement"
_UNL = "published: University of Nebraska-Lincoln (do not plant below 50 F)"
_SALE = "published: Sale 1979, Aust. J. Agric. Res. 30:667-675, abstract (shoots held back above 22-24 C)"
_FREEZE = "published: US National Weather Service, weather.gov/jan/frostfreeze"
_LEAF = "published: PMC10202904, table 2 (potato leaves suffer between 0 and -2 C)"
_SKINS = "published: EDIS HS181 and Bohl 2003 (7-21 days)"


class PlantingThresholds(Table):
    """When the soil is ready to plant in."""

    soil_ready_spring_c: TemperatureC = setting(
        "10 C",
        "In spring the soil is ready when its daily mean stands this warm where the seed lies.",
        _UNL,
        low=4.0,
        high=20.0,
    )
    soil_off_spring_c: TemperatureC = setting(
        "9 C",
        "Ready ends only when the soil falls below this.",
        JUDGEMENT,
        low=2.0,
        high=19.0,
        below=["soil_ready_spring_c"],
    )
    ready_days: DayCount = setting(3, "So many days running must be warm enough.", PRACTICE, low=1, high=14)
    look_ahead_days: DayCount = setting(
        7, "So many coming days must stay warm enough under the straw that will go on.", JUDGEMENT, low=0, high=10
    )
    soil_ready_autumn_c: TemperatureC = setting(
        "24 C", "In autumn the soil is ready when its daily mean has fallen to this.", _SALE, low=15.0, high=30.0
    )
    soil_risky_autumn_c: TemperatureC = setting(
        "27 C",
        "Up to this, falling soil will do for whole, awake seed under straw and shade.",
        "judgement: near the 82 F at which the University of Delaware sees heat sprouts",
        low=16.0,
        high=33.0,
        above=["soil_ready_autumn_c"],
    )
    autumn_margin_c: Warmth = setting(
        "1 C",
        "Ready in autumn ends only when the soil is warmer than its limit by this.",
        JUDGEMENT,
        low=0.1,
        high=5.0,
    )
    frost_chance: Share = setting(
        0.20, "A greater chance of a killing frost after the early shoots is told.", JUDGEMENT, low=0.01, high=0.9
    )
    straw_at_planting_m: LengthM = setting(
        "6 cm", "Straw to lay over the seed where soil is cool, until the shoots show.", PRACTICE, low=0.0, high=0.3
    )
    last_call_days: DayCount = setting(
        5, "A bed that is ready is spoken of again so long before the last day for it.", JUDGEMENT, low=1, high=21
    )
    too_cold_c: TemperatureC = setting(
        "7 C",
        "Planted seed sits too cold below this.",
        "judgement: sprouts hardly grow at 6 C (prairie production guide)",
        low=0.0,
        high=15.0,
    )
    too_cold_off_c: TemperatureC = setting(
        "8 C", "Too cold ends only above this.", JUDGEMENT, low=0.5, high=16.0, above=["too_cold_c"]
    )
    too_cold_days: DayCount = setting(5, "So many cold days running are too many.", PRACTICE, low=1, high=21)


class ShootsThresholds(Table):
    """When to look for the shoots, and when tubers are set after them."""

    overdue_days: DayCount = setting(
        7, "Shoots are overdue so long after the late end of their range.", JUDGEMENT, low=1, high=30
    )
    unnoted_days: DayCount = setting(
        28,
        "So long after the late end shoots are taken to stand, though nobody noted them.",
        JUDGEMENT,
        low=8,
        high=60,
        above=["overdue_days"],
    )
    ask_again_days: DayCount = setting(
        7, 'After "no shoots yet" they are not asked for again for so many days.', JUDGEMENT, low=1, high=21
    )
    forming_after_days: DayCount = setting(
        14,
        "Tubers are set from so many days after the shoots.",
        "judgement: two to four weeks, from memory",
        low=5,
        high=40,
    )
    forming_nights: DayCount = setting(
        28, "They are set in so many nights that are cool enough.", "judgement: from memory", low=7, high=56
    )
    forming_night_c: TemperatureC = setting(
        "15 C", "A night is cool enough below this.", "published: FAO crop page for potato", low=10.0, high=22.0
    )


class StrawThresholds(Table):
    """The second layer of straw, and the rain that straw keeps."""

    second_layer_shoots_m: LengthM = setting(
        "15 cm",
        "The second layer goes on when the shoots stand this far out of the straw.",
        PRACTICE,
        low=0.05,
        high=0.4,
    )
    second_layer_soil_c: TemperatureC = setting(
        "15 C",
        "In a cool spring it waits until the soil at the tubers is this warm.",
        "judgement: the low end of the 15-18 C that the FAO crop page calls best",
        low=5.0,
        high=22.0,
    )
    second_layer_straw_m: LengthM = setting(
        "20 cm", "The depth that straw is brought up to.", PRACTICE, low=0.05, high=0.5
    )
    recheck_days: DayCount = setting(14, "Straw settles: it is looked at again after this.", PRACTICE, low=3, high=60)
    holds_most_mm: Water = setting(
        "8 mm", "The most rain that a deep, dry layer keeps from the soil.", JUDGEMENT, low=0.0, high=20.0
    )


class FrostThresholds(Table):
    """Frost on the shoots, at the height of the leaves."""

    nights_ahead: DayCount = setting(3, "So many coming nights are watched.", JUDGEMENT, low=1, high=10)
    heads_up_c: TemperatureC = setting(
        "0 C", "A night that may fall to this is worth knowing of.", _FREEZE, low=-3.0, high=5.0
    )
    heads_up_chance: Share = setting(
        0.20, "At this chance of that, the letter says so.", JUDGEMENT, low=0.01, high=0.95
    )
    act_c: TemperatureC = setting(
        "-1 C",
        "A night that may fall to this means: cover this evening.",
        _LEAF,
        low=-4.0,
        high=4.0,
        below=["heads_up_c"],
    )
    act_chance: Share = setting(0.30, "At this chance of that, it asks you to cover.", JUDGEMENT, low=0.01, high=0.95)
    severe_c: TemperatureC = setting(
        "-2.2 C", "At this, 28 F, a light cover may not be enough.", _FREEZE, low=-8.0, high=3.0, below=["act_c"]
    )
    severe_chance: Share = setting(
        0.30, "At this chance of that, it says how grave the night is.", JUDGEMENT, low=0.01, high=0.95
    )
    off_chance: Share = setting(
        0.10,
        "A frost warning ends only when the chance is below this.",
        JUDGEMENT,
        low=0.0,
        high=0.9,
        below=["heads_up_chance", "act_chance", "severe_chance"],
    )
    straw_term_c: Warmth = setting(
        "1 C", "Leaves over straw are colder by this on clear, calm nights.", JUDGEMENT, low=0.0, high=4.0
    )


class SkinsThresholds(Table):
    """How long skins set after the tops are dead."""

    days: DayCount = setting(
        14,
        "Days from dead tops to set skins.",
        "published: Browning, University of Nebraska (about two weeks)",
        low=5,
        high=35,
    )
    warm_days: DayCount = setting(7, "Days to set skins in warm soil.", _SKINS, low=3, high=34, below=["days"])
    cold_days: DayCount = setting(
        21, "Days to set skins in cold soil, or where green tops were cut.", _SKINS, low=6, high=60, above=["days"]
    )
    warm_soil_c: TemperatureC = setting("18 C", "Soil counts as warm from here.", JUDGEMENT, low=12.0, high=30.0)
    cold_soil_c: TemperatureC = setting(
        "10 C", "Soil counts as cold below this.", JUDGEMENT, low=2.0, high=20.0, below=["warm_soil_c"]
    )


class DataThresholds(Table):
    """How old or patchy the weather may be before the letter says so."""

    silent_hours: HourCount = setting(
        24, "A station is called silent so long after its own usual delay.", JUDGEMENT, low=6, high=240
    )
    forecast_max_age_hours: HourCount = setting(72, "An older forecast is not used.", JUDGEMENT, low=6, high=168)
    gap_fill_days: DayCount = setting(
        3, "Gaps up to this are filled and flagged; rain never is.", JUDGEMENT, low=0, high=10
    )
    soil_spread_limit_c: Warmth = setting(
        "3 C", "Soil that is less certain than this counts as unknown.", JUDGEMENT, low=0.5, high=10.0
    )
    letter_catch_up_until: TimeOfDay = setting(
        "12:00",
        "A morning that was missed is still written up to this hour.",
        JUDGEMENT,
        range="from the hour of the letter to 23:59",
    )


class Thresholds(Table):
    """All thresholds, a table for each part of the season."""

    seed: SeedThresholds = setting({}, "When to buy seed, set it to chit, and cut it.")
    old_straw: OldStrawThresholds = setting({}, "Last year's straw before planting.")
    planting: PlantingThresholds = setting({}, "When the soil is ready to plant in.")
    shoots: ShootsThresholds = setting({}, "When to look for the shoots, and when tubers are set after them.")
    straw: StrawThresholds = setting({}, "The second layer of straw, and the rain that straw keeps.")
    water: WaterThresholds = setting({}, "Watering: the weekly target, and what overrides it.")
    frost: FrostThresholds = setting({}, "Frost on the shoots, at the height of the leaves.")
    heat: HeatThresholds = setting({}, "Nights and soil too warm for tubers.")
    soaking: SoakingThresholds = setting({}, "A bed under water.")
    gusts: GustThresholds = setting({}, "Fresh straw in the wind.")
    look: LookThresholds = setting({}, "When a look is worth it: no rule of treatment.")
    ripening: RipeningThresholds = setting({}, "When tops that go down may be ripe, and when to ask first.")
    cut_tops: CutTopsThresholds = setting({}, "Cutting tops that are still green, in time for the skins to set.")
    skins: SkinsThresholds = setting({}, "How long skins set after the tops are dead.")
    tubers: TubersThresholds = setting({}, "Frost that reaches the tubers in the ground.")
    lifting: LiftingThresholds = setting({}, "Which of the coming days suit lifting.")
    curing: CuringThresholds = setting({}, "Healing what was lifted before it goes into the store.")
    store: StoreThresholds = setting({}, "The store room and what lies in it.")
    blight: BlightThresholds = setting({}, "Weather in which late blight spreads, from hours.")
    data: DataThresholds = setting({}, "How old or patchy the weather may be before the letter says so.")
    windows: WindowThresholds = setting({}, "The planting windows of a place, from its own years.")
