"""What the weather has left of water in a bed: a part of its condition. NaN means "not known"."""

from dataclasses import dataclass
from enum import StrEnum

from haulm.weather import Daily


class EtoWay(StrEnum):
    """How the reference evapotranspiration of a day was found (FAO-56), from the most that was known to the least."""

    WHOLE = "humidity and wind known"
    BY_RULE = "humidity or wind by rule"
    MEAN_YEAR = "mean year"


@dataclass(frozen=True, slots=True, eq=False)
class WaterLately:
    """The last weeks up to yesterday, a day each: what came to the soil, and how the root zone stood in the evening.

    Unknown rain counts as none; `ready_mm` is RAW.
    """

    rain_mm: Daily
    watered_mm: Daily
    depletion_mm: Daily
    ready_mm: Daily


@dataclass(frozen=True, slots=True, eq=False)
class WaterNow:
    """The bed's water.

    Attributes
    ----------
    week_rain_mm, week_effective_mm, week_watered_mm
        Sums over the trailing seven local days, today not counted: rain that fell, rain that passed the straw,
        and waterings.
        Unknown days of rain count as nothing here; `week_unknown_days` tells how many there were.
    depletion_low_mm, depletion_high_mm
        How far the root zone stands below field capacity this morning: with unknown rain as it may have been,
        and as none.
    total_mm, ready_mm
        TAW and RAW of the root zone (FAO-56).
    top_share
        Share of the available water gone from the top 10-15 cm.
    outlook_depletion_mm
        Depletion at the end of each coming day without watering and without rain that is not likely.
    outlook_need_mm
        What crop and soil will use in the next seven days, to be met by rain and waterings together; NaN without a
        forecast.
    drained_days
        How many of the last days water drained below the root zone, counted back from yesterday without a break.
    straw_holds_mm
        Rain that the straw can still hold back.
    eto_ways
        How the evapotranspiration of each of the last days was found, the newest last.
    lately
        The last five weeks; None where nobody asked for the past.
    """

    week_rain_mm: float
    week_effective_mm: float
    week_watered_mm: float
    week_unknown_days: int
    depletion_low_mm: float
    depletion_high_mm: float
    total_mm: float
    ready_mm: float
    top_share: float
    outlook_depletion_mm: Daily
    outlook_need_mm: float
    drained_days: int
    straw_holds_mm: float
    eto_ways: tuple[EtoWay, ...] = ()
    lately: WaterLately | None = None
