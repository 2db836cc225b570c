"""What own years say of beds and plantings, and the thermometer of soil: vocabulary of `condition`, by its rules."""

import math
from dataclasses import dataclass
from datetime import date

from haulm.weather import Daily


@dataclass(frozen=True, slots=True)
class YearReady:
    """The day on which the weather of one own year would make the soil ready from here; None if it would not."""

    year: int
    day: date | None


@dataclass(frozen=True, slots=True)
class SoilReading:
    """One reading of the grower's soil thermometer beside the estimate at the depth where readings are taken.

    `read_c` is as read, `day_mean_c` put right for its hour; `untaught_c` is what no reading would say, `taught_c` what
    all that are believed say together.
    """

    day: date
    read_c: float
    day_mean_c: float
    untaught_c: float
    taught_c: float
    believed: bool


@dataclass(frozen=True, slots=True, eq=False)
class SoilTaught:
    """What the readings taught about a bed.

    Attributes
    ----------
    moved_c
        By how much they moved each day's estimate, where the seed lies.
    untaught_spread_c
        The estimate's standard deviation a day without them.
    swing_c, swing_spread_c, untaught_swing_spread_c
        How much more warmth the bright quarter of the year has over the dull one than the air alone would tell; with
        its standard deviation, with and without readings. Above 0 is a sunnier bed than most, below it a shadier one.
    """

    readings: tuple[SoilReading, ...]
    moved_c: Daily
    untaught_spread_c: Daily
    swing_c: float
    swing_spread_c: float
    untaught_swing_spread_c: float


@dataclass(frozen=True, slots=True)
class SeasonFits:
    """What the place's own years say of a planting in its window, counted as `haulm season` counts them.

    Attributes
    ----------
    any_window
        Whether any day of the year is even chancy for the bed.
    likely_day
        The best day of the place's window that the planting's own falls in; None where it falls in none, and then
        the rest is empty.
    fitting
        The latest class that ripens from there in a good share of years; empty where none does.
    ripe_share
        Share of years in which the planting's own class ripens.
    years
        How many years tell.
    others, others_good
        Where it falls in none: first and last day of the place's windows as they come next, in their order; the chancy
        ones only where there is no good one.
    """

    any_window: bool
    likely_day: date | None = None
    fitting: str = ""
    ripe_share: float = math.nan
    years: int = 0
    others: tuple[tuple[date, date], ...] = ()
    others_good: bool = False
