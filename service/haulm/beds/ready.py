"""When the soil will be ready: over the place's own years, and over the errors that the estimate may have."""

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from haulm.beds.readings import KITCHEN, Taught
from haulm.condition import DayRange
from haulm.garden import Planting, Season
from haulm.science.soil_ready import error_paths, first_mornings
from haulm.settings.thresholds import Thresholds
from haulm.taught import YearReady
from haulm.weather import FloatArray

NO_ERROR = np.zeros((1, 1))
FEWEST_YEARS_FOR_A_RANGE = 2


def errors_ahead_c(
    taught: Taught, soil_c: FloatArray, doubt_c: FloatArray, ways_c: FloatArray, first: int
) -> FloatArray:
    """Errors that a bed's estimate may have, on the days from position `first` on, (draws, days).

    Parameters
    ----------
    soil_c, doubt_c
        The estimate and what doubt about the air leaves in it, over all days run.
    ways_c
        The estimate's last days by each way the weather may go; row 0 is the mean year. The doubt that own years show
        by differing is not drawn again.
    """
    shown_c = ways_c[1:].std(axis=0) if len(ways_c) > 1 else np.zeros(ways_c.shape[1])
    left = doubt_c.copy()
    left[-len(shown_c) :] = np.sqrt(np.maximum(left[-len(shown_c) :] ** 2 - shown_c**2, 0.0))
    covariance = taught.learned.covariance
    return error_paths(taught.series[:, first:], covariance, soil_c[first:], left[first:], KITCHEN)


def ready_range(
    past_c: FloatArray,
    ways_c: FloatArray,
    planting: Planting,
    thresholds: Thresholds,
    today: date,
    errors_c: FloatArray = NO_ERROR,
) -> DayRange:
    """The morning on which the soil will have stood at its limit for the days asked, within the window's first day.

    Each of the place's own years with each of the errors; the mean year where there are no own years, and then no ends.
    The likely day is today if the estimate is at its limit, and no day up to today if it is not.

    Parameters
    ----------
    errors_c
        (draws, days asked + days of `ways_c`), from `errors_ahead_c`.
    """
    days = _with_last_days(past_c, ways_c, thresholds)
    plain = _mornings(days, planting, thresholds, today)
    own = slice(1, None) if len(days) > 1 else slice(None)
    found = _mornings((days[own, None] + errors_c).reshape(-1, days.shape[1]), planting, thresholds, today)
    came, years = found[found >= 0], len(days) - 1
    share = float((plain[own] >= 0).mean())
    if not came.size or not share:
        return DayRange(None, None, None, 0.0, years)
    early, likely, late = (round(float(q)) for q in np.quantile(came, [0.1, 0.5, 0.9]))
    likely = 0 if plain[0] == 0 else max(likely, 1)
    day = today + timedelta(days=likely)
    if years < FEWEST_YEARS_FOR_A_RANGE:
        return DayRange(None, day, None, share, years)
    first, last = (today + timedelta(days=at) for at in (min(early, likely), max(late, likely)))
    return DayRange(first, day, last, share, years)


def ready_by_year(
    past_c: FloatArray,
    ways_c: FloatArray,
    years: Sequence[int],
    planting: Planting,
    thresholds: Thresholds,
    today: date,
) -> tuple[YearReady, ...]:
    """The day by each own year's weather, as the estimate has it; none where the ways are not those of the years."""
    if len(ways_c) != len(years) + 1:
        return ()
    found = _mornings(_with_last_days(past_c, ways_c[1:], thresholds), planting, thresholds, today)
    days = (None if at < 0 else today + timedelta(days=int(at)) for at in found)
    return tuple(YearReady(year, day) for year, day in zip(years, days, strict=True))


def _with_last_days(past_c: FloatArray, ways_c: FloatArray, thresholds: Thresholds) -> FloatArray:
    needed = thresholds.planting.ready_days
    return np.concatenate([np.broadcast_to(past_c[-needed:], (len(ways_c), needed)), ways_c], axis=1)


def _mornings(days_c: FloatArray, planting: Planting, thresholds: Thresholds, today: date) -> NDArray[np.int64]:
    """Of each path the first morning with its limit met, no earlier than the window's first day; -1 for none."""
    opens = max((planting.window_first - today).days, 0)
    spring, needed = planting.season is Season.SPRING, thresholds.planting.ready_days
    return first_mornings(days_c, limit_of(planting, thresholds), needed, at_least=spring, opens=opens)


def limit_of(planting: Planting, thresholds: Thresholds) -> float:
    """The soil temperature that planting waits for in the season of a planting [°C]."""
    limits = thresholds.planting
    return limits.soil_ready_spring_c if planting.season is Season.SPRING else limits.soil_ready_autumn_c
