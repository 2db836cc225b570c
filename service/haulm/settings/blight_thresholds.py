"""Thresholds of the blight weather."""

from typing import Literal

from haulm.settings.quantities import Count, DayCount, HourCount, TemperatureC
from haulm.settings.table import Table, setting

_HUTTON = "published: Hutton criteria, AHDB project 11120018 and ahdb.org.uk/late-blight"


class BlightThresholds(Table):
    """Weather in which late blight spreads, from hours."""

    way: Literal["hutton", "severity"] = setting(
        "hutton",
        "Go by the Hutton criteria, or by Wallin's severity values summed from the shoots on, for warm humid places.",
        "judgement",
    )
    least_c: TemperatureC = setting(
        "10 C", "Hutton: a day counts if no hour of it is colder than this.", _HUTTON, low=5.0, high=15.0
    )
    humid_hours: HourCount = setting(
        6, "Hutton: and if so many of its hours have 90 % humidity or more.", _HUTTON, low=1, high=24
    )
    severity_sum: Count = setting(
        18,
        "Severity values: the sum since the shoots at which to begin to look and act.",
        "published: Rutgers University (18 from the green row on; others wait to 20)",
        low=5,
        high=60,
    )
    looking_days: DayCount = setting(
        7,
        "Leaves are looked at for so many days after the last blight weather: spots show some days after it.",
        "judgement",
        low=2,
        high=21,
    )
