"""One day of a bed's root zone, under straw: the innermost step of `water_balance`."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Stores = tuple[FloatArray, FloatArray, FloatArray]  # depletion of the root zone, of its top, and water in the straw

TINY_MM = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Day:
    """A day of all beds (beds,), or all days of them (days, beds); rain has both answers before the beds.

    `shrunk` is what is left of the root zone where it grew shallower, `stressed_mm` the water from RAW to TAW,
    `top_drawn` the share of its water that the top loses.
    """

    rain_mm: FloatArray
    irrigation_mm: FloatArray
    demand_mm: FloatArray
    straw_dries_mm: FloatArray
    straw_holds_mm: FloatArray
    total_mm: FloatArray
    shrunk: FloatArray
    stressed_mm: FloatArray
    top_mm: FloatArray
    top_least_mm: FloatArray
    top_drawn: FloatArray


def walk(stores: Sequence[float], days: Iterable[tuple[float, ...]]) -> list[tuple[float, ...]]:
    """`step` for one answer of one bed in plain numbers, day after day: an array of two costs ten times as much.

    Each day is the fields of `Day`, none of them NaN; what is told of it is the record of `step`, and then the top's
    depletion, which a state needs.
    """
    root, top, held = stores
    told: list[tuple[float, ...]] = []
    for rain, irrigation, demand, dries, holds, total, shrunk, stressed, top_mm, top_least, top_drawn in days:
        over = held - holds
        carried, room = max(over, 0.0), max(-over, 0.0)
        # numpy's own function: that of `math` differs from it in the last bit.
        caught = min(-room * float(np.expm1(-rain / max(room, TINY_MM))), rain) if rain else 0.0
        wet = held - carried + caught
        dried = min(wet, dries)
        held, effective = wet - dried, rain - caught
        water, kept = effective + irrigation, root * shrunk
        wetted = max(kept - water, 0.0)
        left = total - wetted
        drawn = min(demand * min(max(left / stressed, 0.0), 1.0), max(left, 0.0))
        before, root = root, wetted + drawn
        moist = max(min(top, top_mm) - water, 0.0)
        top = min(moist + (top_mm - moist) * top_drawn, root)
        gone = min(top / top_least, 1.0)
        told.append((root, max(water - kept, 0.0), drawn, effective, held, dried, carried, before - kept, gone, top))
    return told


def step(stores: Stores, day: Day, record: FloatArray) -> Stores:
    """One day for all beds, both answers at once; what became of it goes into the record.

    That is in the order of `water_balance.WaterTrajectory`, (9, answers, beds).
    """
    before, top, held = stores
    effective, straw_water, dried, carried = _through_straw(held, day)
    water = effective + day.irrigation_mm
    kept = before * day.shrunk
    wetted, drainage = np.maximum(kept - water, 0.0), np.maximum(water - kept, 0.0)
    left = day.total_mm - wetted
    stress = np.minimum(np.maximum(left / day.stressed_mm, 0.0), 1.0)  # eq 84, as `stress_coefficient`
    drawn = np.minimum(day.demand_mm * stress, np.maximum(left, 0.0))
    root = wetted + drawn
    top = _top_layer(top, water, day, root)
    share = np.minimum(top / day.top_least_mm, 1.0)
    told = (root, drainage, drawn, effective, straw_water, dried, carried, before - kept, share)
    for into, values in zip(record, told, strict=True):
        into[:] = values
    return root, top, straw_water


def _through_straw(held: FloatArray, day: Day) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Rain that passes the straw, then what the straw holds, what dried and what left with straw taken off."""
    over = held - day.straw_holds_mm
    carried, room = np.maximum(over, 0.0), np.maximum(-over, 0.0)
    # Rounding may pass the rain.
    caught = np.minimum(-room * np.expm1(-day.rain_mm / np.maximum(room, TINY_MM)), day.rain_mm)
    wet = held - carried + caught
    dried = np.minimum(wet, day.straw_dries_mm)
    return day.rain_mm - caught, wet - dried, dried, carried


def _top_layer(depletion: FloatArray, water: FloatArray, day: Day, root: FloatArray) -> FloatArray:
    """Depletion of the top: wetted first, losing in proportion to what it has left, within that of the root zone."""
    wetted = np.maximum(np.minimum(depletion, day.top_mm) - water, 0.0)
    return np.minimum(wetted + (day.top_mm - wetted) * day.top_drawn, root)
