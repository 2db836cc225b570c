"""Marches through days of several places as one, rows under rows: a march costs mostly its days, hardly its rows.

Each answer is, bit for bit, that of the march alone; but for the water of four beds or fewer, which alone is walked in
plain numbers and may differ in the last bit.
"""

from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike

from haulm.science import soil_temperature as column
from haulm.science import water_balance as wb
from haulm.science.soil_temperature import FloatArray, SoilColumn, Trajectory

_M = TypeVar("_M")
_A = TypeVar("_A")


@dataclass(frozen=True, slots=True, eq=False)
class SoilMarch:
    """What `soil_temperature.advance` is asked: forcing and resistance (rows, days), and all of the soil by row."""

    state: FloatArray
    surface_c: FloatArray
    resistance_m2k_w: FloatArray
    soil: SoilColumn


@dataclass(frozen=True, slots=True, eq=False)
class WaterMarch:
    """What `water_balance.advance` is asked: every field of the forcing (rows, days)."""

    state: FloatArray
    forcing: wb.WaterForcing
    holds: wb.StrawWater


def march_soils(marches: Sequence[SoilMarch]) -> list[tuple[FloatArray, Trajectory]]:
    """`soil_temperature.advance` of each; those that go through as many days in the same way go as one."""

    def way(march: SoilMarch) -> Hashable:
        soil, freezing = march.soil, march.soil.freezing
        freezes = freezing and (freezing.conductance_w_m2_k, freezing.probe_m)
        return march.surface_c.shape[1], soil.step_s, freezes, np.shape(soil.depths_m)[1]

    return _as_one(marches, way, _soils_as_one)


def march_waters(marches: Sequence[WaterMarch]) -> list[tuple[FloatArray, wb.WaterTrajectory]]:
    """`water_balance.advance` of each; those that go through as many days under straw that holds as much go as one."""

    def way(march: WaterMarch) -> Hashable:
        return np.shape(march.forcing.rain_mm)[1], march.holds

    return _as_one(marches, way, _waters_as_one)


def _as_one(
    marches: Sequence[_M], way: Callable[[_M], Hashable], go: Callable[[Sequence[_M]], Sequence[_A]]
) -> list[_A]:
    alike: dict[Hashable, list[int]] = {}
    for which, march in enumerate(marches):
        alike.setdefault(way(march), []).append(which)
    found: dict[int, _A] = {}
    for some in alike.values():
        found |= zip(some, go([marches[which] for which in some]), strict=True)
    return [found[which] for which in range(len(marches))]


def _soils_as_one(marches: Sequence[SoilMarch]) -> list[tuple[FloatArray, Trajectory]]:
    first = marches[0].soil
    stores = [march.soil.freezing.store_mj_m2 for march in marches if march.soil.freezing]
    soil = SoilColumn(
        _under([march.soil.conductivity_w_mk for march in marches]),
        _under([march.soil.heat_capacity_mj_m3k for march in marches]),
        _under([march.soil.depths_m for march in marches]),
        first.step_s,
        first.freezing and replace(first.freezing, store_mj_m2=_under(stores)),
    )
    after, found = column.advance(
        _under([march.state for march in marches]),
        _under([march.surface_c for march in marches]),
        _under([march.resistance_m2k_w for march in marches]),
        soil,
    )
    return [
        (after[rows], Trajectory(*(getattr(found, name)[rows] for name in Trajectory.__slots__)))
        for rows in _rows(march.state for march in marches)
    ]


def _waters_as_one(marches: Sequence[WaterMarch]) -> list[tuple[FloatArray, wb.WaterTrajectory]]:
    fields = {name: _under([getattr(march.forcing, name) for march in marches]) for name in wb.FORCING_NAMES}
    after, found = wb.advance(_under([march.state for march in marches]), wb.WaterForcing(**fields), marches[0].holds)
    return [
        (after[rows], wb.WaterTrajectory(**{name: getattr(found, name)[:, rows] for name in wb.TRAJECTORY_NAMES}))
        for rows in _rows(march.state for march in marches)
    ]


def _under(parts: Sequence[ArrayLike]) -> FloatArray:
    return np.asarray(parts[0] if len(parts) == 1 else np.concatenate([np.asarray(part) for part in parts]))


def _rows(parts: Iterable[FloatArray]) -> Iterator[slice]:
    """Which rows each part became."""
    return (slice(*ends) for ends in pairwise(accumulate(map(len, parts), initial=0)))
