"""Thresholds of the season's windows: what a planting day must promise, and what a crop needs of its weather."""

from haulm.settings.quantities import DayCount, Share, TemperatureC
from haulm.settings.table import Table, setting

JUDGEMENT = "judgement"
_FAO = "published: FAO crop page for potato"
_DELAWARE = "published: University of Delaware (soil above 82 F for about a month: heat sprouts)"


class WindowThresholds(Table):
    """The planting windows of a place, from its own years."""

    good_share: Share = setting(
        0.70, "A window holds the days on which this share of years brings a crop.", JUDGEMENT, low=0.3, high=1.0
    )
    chancy_share: Share = setting(
        0.30,
        "Days with less than that, but this share of years, are told as a chancy window.",
        JUDGEMENT,
        low=0.05,
        high=0.95,
        below=["good_share"],
    )
    fewest_years: DayCount = setting(
        10, "With fewer years than this, their number is said beside every chance.", JUDGEMENT, low=2, high=50
    )
    hot_days: DayCount = setting(
        7, "Seed bears so many days of soil above the risky limit before the shoots.", JUDGEMENT, low=0, high=60
    )
    cool_nights: DayCount = setting(
        7,
        "So many nights cool enough for tubers must come in the weeks that they may begin to form in.",
        JUDGEMENT,
        low=1,
        high=42,
    )
    forming_days: DayCount = setting(
        42, "They may begin to form over so many days: in warm nights they wait.", JUDGEMENT, low=7, high=90
    )
    enough_share: Share = setting(
        0.70,
        "A crop with this share of its class's warmth is worth lifting, young; ripe it is at the whole.",
        JUDGEMENT,
        low=0.3,
        high=1.0,
    )
    lasting_heat_c: TemperatureC = setting(
        "27.8 C", "Soil at the tubers that is so warm in the mean of many days ends the crop.", _DELAWARE,
        low=20.0, high=40.0,
    )  # fmt: skip
    lasting_heat_days: DayCount = setting(30, "So many days.", _DELAWARE, low=5, high=90)
    slow_heat_c: TemperatureC = setting(
        "25 C", "In soil so warm over as many days tubers hardly grow: what ripens does so before.",
        "judgement: a published parameter set lets their growth fall from its best at 15 C to nothing at 28 C",
        low=15.0, high=40.0, below=["lasting_heat_c"],
    )  # fmt: skip
    longest_days: DayCount = setting(
        180, "No crop is given longer than this from planting.", f"{_FAO} (late kinds: 150-180 days)",
        low=90, high=300,
    )  # fmt: skip
