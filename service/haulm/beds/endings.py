"""What ends a ripening crop's time in the ground: hard freeze, lasting heat, frost at the tubers, the next crop."""

import math
from datetime import date, timedelta

import numpy as np

from haulm.beds.chances import FrostYears
from haulm.condition import Ends, SoilNow
from haulm.garden import Garden, Planting
from haulm.science.climatology import day_at_chance_before
from haulm.science.frost import chance_at_or_below
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY


def ends_of(
    garden: Garden, planting: Planting, frosts: FrostYears, soil: SoilNow, thresholds: Thresholds, today: date
) -> Ends:
    """What is in sight for one planting on the morning of `today`."""
    following = _next_in_bed(garden, planting, today)
    return Ends(
        years=frosts.first.years,
        hard_freeze=hard_freeze_day(frosts, thresholds.cut_tops.freeze_chance, today),
        lasting_heat=_lasting_heat(soil, thresholds, today),
        tubers_freeze=_tubers_freeze(soil, thresholds, today),
        next_window=following.window_first if following else None,
        next_planting=following.name if following else "",
    )


def hard_freeze_day(frosts: FrostYears, chance: float, today: date) -> date | None:
    """The day by which a hard freeze has come in a share of years, of the cold season that is on or comes next.

    It may lie behind: then a hard freeze is due any night. None where no year tells, or where it does not come so
    often.
    """
    if not frosts.first.years:
        return None
    day = float(day_at_chance_before(frosts.first, chance))
    if math.isnan(day):
        return None
    return date(_season_begun(frosts, today), 1, 1) + timedelta(days=math.floor(day) - 1)


def _season_begun(frosts: FrostYears, today: date) -> int:
    """The year in which the cold season began that is not over today; its end as `first_in_autumn` counts."""
    if frosts.southern:
        return today.year if today < date(today.year, 7, 24) else today.year + 1
    return today.year - 1 if today < date(today.year, 1, 24) else today.year


def _lasting_heat(soil: SoilNow, thresholds: Thresholds, today: date) -> date | None:
    """The first of so many days that are hot by their mean: one cooler day ends no heat."""
    limits = thresholds.cut_tops
    ahead = soil.as_it_lies_c.between(today, soil.as_it_lies_c.last)
    if len(ahead) < limits.heat_days:
        return None
    means = np.lib.stride_tricks.sliding_window_view(ahead, limits.heat_days).mean(axis=1)
    hot = means >= limits.heat_c
    return today + int(hot.argmax()) * DAY if hot.any() else None


def _tubers_freeze(soil: SoilNow, thresholds: Thresholds, today: date) -> date | None:
    soil_c, spread = (run.between(today + DAY, run.last) for run in (soil.as_it_lies_c, soil.spread_c))
    cold = chance_at_or_below(thresholds.tubers.freeze_c, soil_c, spread) >= thresholds.tubers.freeze_chance
    return today + (1 + int(cold.argmax())) * DAY if cold.any() else None


def _next_in_bed(garden: Garden, planting: Planting, today: date) -> Planting | None:
    """The crop whose window opens next in the same bed."""
    others = (one for one in garden.plantings if one.bed == planting.bed and one.key != planting.key)
    return min((one for one in others if one.window_first > today), key=lambda one: one.window_first, default=None)
