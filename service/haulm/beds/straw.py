"""The straw on a bed as it lies: what was laid settles, what is added lies fresh on it, raking takes from all of it."""

from datetime import date
from functools import lru_cache

import numpy as np

from haulm.beds.noted import straw_changes
from haulm.garden import Bed, Journal
from haulm.science.bed_surface import settled_m
from haulm.weather import DAY, FloatArray

_STEP = 1000  # days by which the table of settling grows when older straw is asked for


def straw_lying_m(bed: Bed, journal: Journal, first: date, count: int) -> FloatArray:
    """Depth of straw on each day as settling leaves it; after the newest word it only settles on.

    The letter speaks of the depth that was noted (`noted.straw_depths_m`); what insulates is what still lies.
    """
    lying = np.zeros(count)
    changes = _that_tell(straw_changes(bed, journal), first)
    begins = [min(max((day - first).days, 0), count) for day, _ in changes]  # settings may name a day far ahead
    layers: list[tuple[date, float]] = []
    for (day, depth_m), since, until in zip(changes, begins, [*begins[1:], count], strict=False):
        layers = _after(layers, day, depth_m)
        if since < until:
            ages = ((since - (laid_on - first).days, laid_m) for laid_on, laid_m in layers)
            lying[since:until] = sum(laid_m * _share_left(age, until - since) for age, laid_m in ages)
    return lying


def _share_left(age_days: int, count: int) -> FloatArray:
    """Share of its laid depth that straw of an age still has, on so many days; each bed asks for the same few years."""
    return _shares_left(-(-(age_days + count) // _STEP))[age_days : age_days + count]


@lru_cache(maxsize=8)
def _shares_left(steps: int) -> FloatArray:
    return settled_m(1.0, np.arange(steps * _STEP))


def _that_tell(changes: list[tuple[date, float]], first: date) -> list[tuple[date, float]]:
    """Those from the last bare bed before a day on: what lay earlier is gone."""
    bare = [at for at, (day, depth_m) in enumerate(changes) if day <= first and depth_m <= 0.0]
    return changes[bare[-1] :] if bare else changes


def _after(layers: list[tuple[date, float]], day: date, depth_m: float) -> list[tuple[date, float]]:
    """The layers, each by its day and the depth it had when laid, once all of them lie so deep on that day."""
    there_m = sum(_settled_m(laid_m, (day - laid_on) / DAY) for laid_on, laid_m in layers)
    if depth_m > there_m:
        return [*layers, (day, depth_m - there_m)]
    return [(laid_on, laid_m * depth_m / there_m) for laid_on, laid_m in layers] if depth_m > 0.0 else []


@lru_cache(maxsize=1024)
def _settled_m(laid_m: float, age_days: float) -> float:
    """Kept, for each morning asks of the same layers on the same days."""
    return float(settled_m(laid_m, age_days))
