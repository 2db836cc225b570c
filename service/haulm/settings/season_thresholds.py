"""Thresholds of the season's other words: seed, old straw, heat, soaking, gusts, and what to look at now."""

from haulm.settings.quantities import DayCount, LengthM, SpeedMs, TemperatureC
from haulm.settings.quantities import WarmthC as Warmth
from haulm.settings.quantities import WaterMm as Water
from haulm.settings.table import Table, setting

_PRACTICE = "common practice, no source"
_JUDGEMENT = "judgement"


class SeedThresholds(Table):
    """When to buy seed, set it to chit, and cut it."""

    buy_ahead_days: DayCount = setting(
        70, "Seed is spoken of so long before the window opens.", _PRACTICE, low=14, high=100
    )
    chit_ahead_days: DayCount = setting(
        28,
        "Chitting begins when planting is likely at most so many days off.",
        "judgement: 4 to 6 weeks is what growers' guides give, and a warm start is quicker",
        low=14,
        high=42,
    )
    chit_off_days: DayCount = setting(
        35,
        "That is taken back only when planting is further off than this.",
        _JUDGEMENT,
        low=15,
        high=60,
        above=["chit_ahead_days"],
    )
    cut_first_days: DayCount = setting(
        7, "Seed is cut at most so many days before the likely day.", _PRACTICE, low=4, high=14
    )
    cut_last_days: DayCount = setting(
        3,
        "Later than this the cuts no longer heal in time.",
        _PRACTICE,
        low=1,
        high=10,
        below=["cut_first_days"],
    )
    cut_soil_low_c: TemperatureC = setting(
        "10 C", "In soil expected to be colder, plant whole seed.", _PRACTICE, low=5.0, high=18.0
    )
    cut_soil_high_c: TemperatureC = setting(
        "21 C",
        "In soil expected to be hotter, plant whole seed.",
        _PRACTICE,
        low=15.0,
        high=30.0,
        above=["cut_soil_low_c"],
    )
    cut_soil_margin_c: Warmth = setting(
        "1 C", "The word on cutting changes only when the soil is past its limit by this.", _JUDGEMENT, low=0.1, high=5
    )


class OldStrawThresholds(Table):
    """Last year's straw before planting: off in spring, on in a hot autumn."""

    rake_ahead_days: DayCount = setting(
        28, "Old straw is spoken of so long before the likely planting day.", _PRACTICE, low=14, high=60
    )
    rake_straw_m: LengthM = setting("3 cm", "Less straw than this is left alone.", _JUDGEMENT, low=0.01, high=0.2)
    rake_gain_days: DayCount = setting(
        3, "Raking is worth the work when it brings the likely day forward by so much.", _JUDGEMENT, low=1, high=21
    )
    rake_off_days: DayCount = setting(
        1,
        "That is taken back only when it brings it forward by less than this.",
        _JUDGEMENT,
        low=0,
        high=20,
        below=["rake_gain_days"],
    )
    cool_ahead_days: DayCount = setting(
        21, "A hot bed is spoken of so long before an autumn window opens.", _PRACTICE, low=7, high=60
    )
    cool_straw_m: LengthM = setting(
        "5 cm", "A hot bed with less straw than this wants more.", _PRACTICE, low=0.01, high=0.3
    )


class HeatThresholds(Table):
    """Nights and soil too warm for tubers."""

    warm_night_c: TemperatureC = setting(
        "20 C",
        "Nights that stay this warm keep tubers from forming.",
        "judgement: FAO crop page, nights below 15 C for tubers to begin, 18-20 C mean is best",
        low=15.0,
        high=26.0,
    )
    warm_night_off_c: TemperatureC = setting(
        "18 C", "The spell ends only with nights below this.", _JUDGEMENT, low=12.0, high=25.0, below=["warm_night_c"]
    )
    warm_days: DayCount = setting(3, "So many such nights or days running make a spell.", _PRACTICE, low=1, high=10)
    warm_soil_c: TemperatureC = setting(
        "22 C",
        "Soil this warm at the tubers makes a spell too.",
        "judgement: the prairie guide sees tubers begin less readily above 20 C",
        low=18.0,
        high=28.0,
    )
    warm_soil_off_c: TemperatureC = setting(
        "21 C", "The spell ends only with soil below this.", _JUDGEMENT, low=15.0, high=27.0, below=["warm_soil_c"]
    )
    hot_soil_c: TemperatureC = setting(
        "27 C",
        "Soil this hot at the tubers asks for shade.",
        "judgement: near the 82 F at which the University of Delaware sees heat sprouts",
        low=23.0,
        high=34.0,
        above=["warm_soil_c"],
    )
    hot_soil_off_c: TemperatureC = setting(
        "26 C", "That ends only with soil below this.", _JUDGEMENT, low=22.0, high=33.0, below=["hot_soil_c"]
    )
    hot_days: DayCount = setting(5, "So many hot days running are too many.", _PRACTICE, low=1, high=21)


class SoakingThresholds(Table):
    """A bed under water."""

    wet_days: DayCount = setting(
        2,
        "A fine soil above field capacity on so many days running is soaking.",
        "published: Sharma and Upadhayay 2004, abstract (a flood of more than 24 hours does damage)",
        low=1,
        high=7,
    )
    least_rain_mm: Water = setting(
        "15 mm",
        "Less rain than this in the last days has put no bed under water, however full it reads.",
        _JUDGEMENT,
        low=1.0,
        high=60.0,
    )
    drained_mm: Water = setting(
        "5 mm",
        "The word ends when the root zone has room for this much again.",
        _JUDGEMENT,
        low=1.0,
        high=20.0,
        below=["least_rain_mm"],
    )
    noted_days: DayCount = setting(
        3, "Standing water that was noted is spoken of for so long.", _JUDGEMENT, low=1, high=10
    )


class GustThresholds(Table):
    """Fresh straw in the wind."""

    fresh_days: DayCount = setting(14, "Straw laid so lately has not yet matted together.", _PRACTICE, low=1, high=60)
    days_ahead: DayCount = setting(3, "So many days are watched, today among them.", _JUDGEMENT, low=1, high=7)
    gust_ms: SpeedMs = setting("40 km/h", "Gusts from this on carry loose straw away.", _PRACTICE, low=5.0, high=30.0)
    dry_rain_mm: Water = setting(
        "2 mm", "Straw that had this much rain or water in three days lies heavy.", _JUDGEMENT, low=0.5, high=20.0
    )


class LookThresholds(Table):
    """When a look is worth it: no rule of treatment."""

    slug_night_c: TemperatureC = setting(
        "7 C", "Slugs are about when nights of the week are this mild.", _PRACTICE, low=2.0, high=15.0
    )
    slug_rain_mm: Water = setting("12 mm", "And when the week brought this much rain.", _PRACTICE, low=2.0, high=60.0)
    beetle_air_c: TemperatureC = setting(
        "15 C", "Leaf beetles are about when the week's mean is this warm.", _PRACTICE, low=10.0, high=25.0
    )
    moth_air_c: TemperatureC = setting(
        "22 C", "Tuber moths are about when the week's mean is this warm.", _PRACTICE, low=15.0, high=32.0
    )
    moth_rain_mm: Water = setting(
        "5 mm", "And when it brought no more rain than this: soil cracks.", _PRACTICE, low=0.0, high=30.0
    )
    vole_days: DayCount = setting(
        21, "Voles are looked for when tubers have been forming so long.", _PRACTICE, low=1, high=90
    )
    vole_straw_m: LengthM = setting("10 cm", "And where straw this deep hides them.", _PRACTICE, low=0.03, high=0.4)
    greening_days: DayCount = setting(
        14, "Light is looked for when tubers have been forming so long.", _PRACTICE, low=1, high=90
    )
