"""What own years and the grower's thermometer say of a bed's soil: vocabulary of `condition`, by the same rules."""

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
