"""What a look back on a season tells, as facts: of each planting what was expected and what came, and of chances."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from haulm.condition import DayRange, EarlierCrops
from haulm.garden import Bed, Cause, Place, Planting

FREEZING_C = 0.0


@dataclass(frozen=True, slots=True)
class DaysNoted:
    """What the grower noted of a planting's time in the ground; None where nothing was noted."""

    planted: date
    shoots: date | None
    dying: date | None
    dying_cause: Cause | None
    tops_gone: date | None
    lifted: date | None


@dataclass(frozen=True, slots=True)
class Water:
    """From planting to lifting: rain that fell (its unknown days count as none), and waterings."""

    rain_mm: float
    rain_unknown_days: int
    watered_mm: float
    watered_l: float
    turns: int


@dataclass(frozen=True, slots=True)
class NightSeen:
    """One night on which frost was called or came, named by its morning.

    Attributes
    ----------
    called
        The verdict of the letter of the day before; empty where it said nothing of frost that night.
    level
        How grave the call was, 0 for none: 1 to have a cover ready, 2 to cover, 3 severe.
    chance
        The chance that letter gave; NaN without one.
    air_min_c, own_min_c
        What the station, and the garden's own thermometer, went down to; NaN where not known.
    """

    morning: date
    called: str
    level: int
    chance: float
    air_min_c: float
    own_min_c: float

    @property
    def froze(self) -> bool | None:
        """Whether it froze: by the garden's own thermometer where it was read, else at the station."""
        seen = self.air_min_c if np.isnan(self.own_min_c) else self.own_min_c
        return None if np.isnan(seen) else bool(seen <= FREEZING_C)


@dataclass(frozen=True, slots=True)
class PlantingReview:
    """One planting's season.

    Attributes
    ----------
    shoots_expected
        When the shoots were due, as worked out on the morning after the planting was noted.
    leaf_days, p_days, p_days_needed
        From the shoots to tops noted as dying back of age, and what the class was taken to need; None and NaN where
        not noted.
    weight_kg
        All that was noted as lifted; NaN where no weight was.
    letters
        How many letters of the time in leaf are kept: without them nothing is known of what was called.
    next_time
        What this crop, and the garden's others, teach the next one.
    """

    planting: Planting
    bed: Bed
    days: DaysNoted
    shoots_expected: DayRange | None
    leaf_days: int | None
    p_days: float
    p_days_needed: float
    water: Water | None
    weight_kg: float
    nights: tuple[NightSeen, ...]
    letters: int
    next_time: EarlierCrops


@dataclass(frozen=True, slots=True)
class ChanceSeen:
    """Nights of which one row of the table of chances was said: how many, and how many froze at the station."""

    chance: float
    nights: int
    froze: int


@dataclass(frozen=True, slots=True)
class Review:
    """Of every planting that was planted, or of those asked for, and of the chances that forecasts gave."""

    place: Place
    today: date
    plantings: tuple[PlantingReview, ...]
    chances: tuple[ChanceSeen, ...] = ()
