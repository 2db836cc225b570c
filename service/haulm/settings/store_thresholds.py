"""Thresholds from tubers in the ground to the seed kept back: frost, cut tops, lifting, curing, store."""

from haulm.settings.quantities import DayCount, LengthM, Share, TemperatureC
from haulm.settings.quantities import WarmthC as Warmth
from haulm.settings.quantities import WaterMm as Water
from haulm.settings.table import Table, setting

JUDGEMENT = "judgement"
PRACTICE = "common practice, no source"
_CURE = "published: University of Massachusetts (50-60 F, 95 % humidity, 10-14 days)"
_HOME_STORE = "published: Utah State University (40-45 F for a home store)"
_FROZEN = "published: Bethke & Fishler 2019 (tubers freeze below about 30 F, -1.1 C); the degree above is judgement"
_WARM_PULP = "published: Thornton, University of Idaho 2019 (tubers above 65 F are undesirable)"
_SKINS = "published: EDIS HS181 and Bohl 2003 (skins set 7-21 days after the tops)"


class TubersThresholds(Table):
    """Frost that reaches the tubers in the ground."""

    nights_ahead: DayCount = setting(3, "So many coming nights are watched.", JUDGEMENT, low=1, high=10)
    freeze_c: TemperatureC = setting(
        "0 C", "Where the tubers lie, a day whose mean may fall to this is a danger.", _FROZEN, low=-2.0, high=3.0
    )
    freeze_chance: Share = setting(
        0.20, "At this chance of that, the letter asks for straw or for lifting.", JUDGEMENT, low=0.01, high=0.95
    )
    freeze_off_chance: Share = setting(
        0.10, "That ends only below this chance.", JUDGEMENT, low=0.0, high=0.9, below=["freeze_chance"]
    )
    frozen_c: TemperatureC = setting(
        "-1.1 C",
        "Tubers that lay this cold may have frozen.",
        "published: Bethke & Fishler 2019 (tubers freeze below about 30 F)",
        low=-4.0,
        high=0.0,
        below=["freeze_c"],
    )
    bare_straw_m: LengthM = setting(
        "5 cm", "Seed laid on the soil under less straw than this is as cold as the air.", JUDGEMENT, low=0.0, high=0.2
    )


class CutTopsThresholds(Table):
    """Cutting tops that are still green, in time for the skins to set."""

    days_before: DayCount = setting(
        21, "Green tops are cut so long before a hard freeze, heat or the next crop.", _SKINS, low=7, high=60
    )
    notice_days: DayCount = setting(7, "The letter names the day so long ahead.", JUDGEMENT, low=0, high=30)
    freeze_chance: Share = setting(
        0.20,
        "A hard freeze counts from the day by which it has come in this share of years.",
        JUDGEMENT,
        low=0.02,
        high=0.9,
    )
    heat_c: TemperatureC = setting(
        "27 C",
        "Soil at the tubers that stays this warm is no place to ripen in.",
        "judgement: near the 28 C at which a published crop model ends the growth of tubers",
        low=20.0,
        high=35.0,
    )
    heat_days: DayCount = setting(
        10, "Heat lasts when so many days running are so warm by their mean.", JUDGEMENT, low=2, high=30
    )


class LiftingThresholds(Table):
    """Which of the coming days suit lifting."""

    days_ahead: DayCount = setting(7, "So many days are ranked.", JUDGEMENT, low=2, high=10)
    cold_c: TemperatureC = setting(
        "7 C", "Colder tubers bruise.", "judgement: 45 F, from memory of the trade's advice", low=2.0, high=12.0
    )
    warm_c: TemperatureC = setting(
        "18 C", "Tubers warmer than this at dawn keep badly.", _WARM_PULP, low=12.0, high=30.0, above=["cold_c"]
    )
    wet_day_mm: Water = setting("2 mm", "More rain than this makes a day wet.", JUDGEMENT, low=0.2, high=20.0)
    rain_chance: Share = setting(0.5, "So does rain that is at least this likely.", JUDGEMENT, low=0.1, high=1.0)
    dry_mm: Water = setting(
        "2 mm",
        "A bed less far below its fill than this is too wet to lift from.",
        JUDGEMENT,
        low=0.0,
        high=30.0,
    )
    within_days: DayCount = setting(
        42,
        "Lift so long after the skins have set at the latest: slugs, rot and sprouts come in the end.",
        JUDGEMENT,
        low=7,
        high=150,
    )


class CuringThresholds(Table):
    """Healing what was lifted before it goes into the store."""

    least_days: DayCount = setting(10, "Days of healing at the right warmth, at least.", _CURE, low=3, high=28)
    most_days: DayCount = setting(
        14, "Days of healing at the right warmth, at most.", _CURE, low=4, high=42, above=["least_days"]
    )
    cool_c: TemperatureC = setting("10 C", "The low end of the right warmth: 50 F.", _CURE, low=4.0, high=15.0)
    warm_c: TemperatureC = setting(
        "16 C", "The high end of the right warmth: 60 F.", _CURE, low=10.0, high=22.0, above=["cool_c"]
    )
    room_c: TemperatureC = setting(
        "20 C",
        "Where no such room is, the coolest airy dark place up to this will do.",
        JUDGEMENT,
        low=14.0,
        high=28.0,
        above=["warm_c"],
    )
    room_least_days: DayCount = setting(4, "Days of healing in such a warm place, at least.", JUDGEMENT, low=2, high=14)
    room_most_days: DayCount = setting(
        7, "Days of healing in such a warm place, at most.", JUDGEMENT, low=3, high=21, above=["room_least_days"]
    )


class StoreThresholds(Table):
    """The store room and what lies in it."""

    first_check_days: DayCount = setting(7, "The first look through the store comes then.", PRACTICE, low=1, high=30)
    check_every_days: DayCount = setting(14, "Further looks come each so many days.", PRACTICE, low=3, high=60)
    freeze_c: TemperatureC = setting(
        "1 C",
        "Colder than this, frost may reach what is stored.",
        "judgement: tubers freeze below about 30 F (Bethke & Fishler 2019), and corners are colder than the room",
        low=-1.0,
        high=4.0,
    )
    cold_c: TemperatureC = setting(
        "3 C",
        "Colder than this the store is too cold: the tubers turn sweet, and frost is near.",
        "judgement: fresh potatoes are held at 36-40 F (University of Nebraska-Lincoln)",
        low=0.0,
        high=6.0,
        above=["freeze_c"],
    )
    keeps_c: TemperatureC = setting(
        "4 C", "Too cold ends only above this: from here potatoes keep well.", _HOME_STORE, low=1.0, high=8.0,
        above=["cold_c"],
    )  # fmt: skip
    cool_c: TemperatureC = setting(
        "10 C", "Warmer than this, eat them within one to two months.", JUDGEMENT, low=6.0, high=14.0, above=["keeps_c"]
    )
    warm_c: TemperatureC = setting(
        "15 C", "Warmer than this, eat them within two to four weeks.", JUDGEMENT, low=10.0, high=22.0, above=["cool_c"]
    )
    off_c: Warmth = setting(
        "1 C", "A band is left only when the store is outside it by this.", JUDGEMENT, low=0.1, high=4.0
    )
    spread_limit_c: Warmth = setting(
        "6 C", "A store that is less certain than this counts as unknown.", JUDGEMENT, low=1.0, high=12.0
    )
