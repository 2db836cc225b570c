"""The bed's water: crop coefficient, mulch rule, available water, and the day-by-day depletion of the root zone.

FAO-56 = Allen, R.G., Pereira, L.S., Raes, D., Smith, M. 1998. Crop evapotranspiration. FAO Irrigation and Drainage
Paper 56. Everything broadcasts over (beds, days), days last; nothing is raised for any number.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haulm.science.rows import widened
from haulm.science.water_day import TINY_MM, Day, Stores, step, walk

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# Days of the initial, development, middle and late stage: FAO-56 Table 11, p. 105 (continental: May; europe: April;
# long: April-May, Idaho; arid: January and November, 30 to 45 days in the middle; desert: December, California).
POTATO_STAGES = {
    "continental": (25.0, 30.0, 45.0, 30.0),
    "europe": (30.0, 35.0, 50.0, 30.0),
    "long": (45.0, 30.0, 70.0, 20.0),
    "arid": (25.0, 30.0, 30.0, 30.0),
    "desert": (30.0, 35.0, 50.0, 25.0),
}
POTATO_KC = (0.5, 1.15, 0.75)  # initial, middle, end: FAO-56 Table 12, p. 110
POTATO_KCB = (0.15, 1.10, 0.65)  # without evaporation from the soil: FAO-56 Table 17, p. 137
POTATO_HEIGHT_M = 0.6  # FAO-56 Table 12
POTATO_FRACTION = 0.35  # FAO-56 Table 22, where the crop uses 5 mm a day
FINE_SOIL_FACTOR, COARSE_SOIL_FACTOR = 0.925, 1.075  # middle of the 5 to 10 % of FAO-56 Table 22's note
IGNORED_SHARE_OF_ETO = 0.2  # FAO-56 p. 170

RAIN_AS_NONE, RAIN_AS_MAY_BE = 0, 1  # the two answers: unknown rain as none, and as the plausible amount given
DRAINED_MM = 0.1  # judgement: less is what rounding, or a turn that just fills the bed, lets pass


def crop_coefficient(day: ArrayLike, stages: Sequence[ArrayLike], kc: Sequence[ArrayLike]) -> FloatArray:
    """FAO-56 eq 66: crop coefficient on a day of the season.

    Parameters
    ----------
    day
        Days since planting, the first being 1. Before the season Kc is the first value, after it the last.
    stages
        Lengths of the initial, development, middle and late stage [days]; a length of 0 is a step.
    kc
        Initial, middle and end coefficient.
    """
    today = _array(day)
    initial, development, middle, late = (_array(length) for length in stages)
    first, full, last = (_array(value) for value in kc)
    rise = np.clip((today - initial) / np.maximum(development, TINY_MM), 0.0, 1.0)
    fall = np.clip((today - initial - development - middle) / np.maximum(late, TINY_MM), 0.0, 1.0)
    return first + rise * (full - first) + fall * (last - full)


def potato_coefficient(
    day: ArrayLike, stages: Sequence[ArrayLike] = POTATO_STAGES["continental"], *, cover: ArrayLike = 0.0
) -> FloatArray:
    """Potato's crop coefficient (FAO-56 eq 66, Tables 11 and 12), under straw that covers a share of the soil.

    Parameters
    ----------
    day, stages
        As in `crop_coefficient`.
    cover
        Share of the soil under straw, 0 to 1 (FAO-56 ch. 10).
    """
    soil_only = (0.0, *POTATO_KCB[1:])  # the initial coefficient is taken as evaporation altogether, as ch. 10 does
    return crop_coefficient(day, stages, [mulched_kc(*pair, cover) for pair in zip(POTATO_KC, soil_only, strict=True)])


def climate_adjusted_kc(
    kc: ArrayLike, wind_ms: ArrayLike, humidity_min_pct: ArrayLike, height_m: ArrayLike
) -> FloatArray:
    """FAO-56 eq 62: middle or end coefficient for a place's wind and dryness; for Kc ≥ 0.45.

    Parameters
    ----------
    kc
        The table's coefficient, for 2 m/s and 45 %.
    wind_ms, humidity_min_pct
        Mean wind at 2 m [m/s] and mean daily least humidity [%] of the stage, kept to 1-6 and 20-80, where the
        equation holds.
    height_m
        Height of the crop [m], kept to 0.1-10.
    """
    wind = np.clip(_array(wind_ms), 1.0, 6.0) - 2.0
    humidity = np.clip(_array(humidity_min_pct), 20.0, 80.0) - 45.0
    return _array(kc) + (0.04 * wind - 0.004 * humidity) * (np.clip(_array(height_m), 0.1, 10.0) / 3.0) ** 0.3


def evaporation_saved(cover: ArrayLike) -> FloatArray:
    """FAO-56 ch. 10, p. 197: share of soil evaporation that organic mulch saves, 5 % for each 10 % of soil covered."""
    return 0.5 * np.clip(_array(cover), 0.0, 1.0)


def mulched_kc(kc: ArrayLike, kcb: ArrayLike, cover: ArrayLike) -> FloatArray:
    """FAO-56 ch. 10, p. 197: crop coefficient under mulch, its evaporation part (Kc - Kcb) reduced.

    Parameters
    ----------
    kc, kcb
        Crop coefficient and its part without evaporation. For the initial stage the whole of Kc is reduced: kcb 0.
    cover
        Share of the soil covered, 0 to 1.
    """
    whole = _array(kc)
    return whole - evaporation_saved(cover) * (whole - _array(kcb))


def total_available_mm(water_mm_per_m: ArrayLike, root_depth_m: ArrayLike) -> FloatArray:
    """FAO-56 eq 82: total available water TAW [mm] from that of a metre of soil [mm/m] and root depth [m]."""
    return _array(water_mm_per_m) * _array(root_depth_m)


def readily_available_mm(total_mm: ArrayLike, fraction: ArrayLike) -> FloatArray:
    """FAO-56 eq 83: readily available water RAW [mm] from TAW [mm] and the depletion fraction p (0 to 1)."""
    return _array(total_mm) * _array(fraction)


def depletion_fraction(crop_et_mm: ArrayLike, soil_factor: ArrayLike = 1.0) -> FloatArray:
    """FAO-56 Table 22 with its note: potato's depletion fraction p = 0.35 + 0.04 (5 - ETc), 0.1 to 0.8.

    Parameters
    ----------
    crop_et_mm
        Crop evapotranspiration ETc [mm/day].
    soil_factor
        `FINE_SOIL_FACTOR`, `COARSE_SOIL_FACTOR`, or 1.
    """
    plain = POTATO_FRACTION + 0.04 * (5.0 - _array(crop_et_mm))
    return np.clip(plain * _array(soil_factor), 0.1, 0.8)


def stress_coefficient(depletion_mm: ArrayLike, total_mm: ArrayLike, ready_mm: ArrayLike) -> FloatArray:
    """FAO-56 eq 84: water stress coefficient Ks, 1 down to RAW and from there straight to 0 at TAW.

    Parameters
    ----------
    depletion_mm, total_mm, ready_mm
        Depletion of the root zone, TAW and RAW [mm].
    """
    total = _array(total_mm)
    return np.clip((total - _array(depletion_mm)) / np.maximum(total - _array(ready_mm), TINY_MM), 0.0, 1.0)


def rain_worth_counting_mm(rain_mm: ArrayLike, eto_mm: ArrayLike) -> FloatArray:
    """FAO-56 p. 170: a day's rain [mm], none where it is below 0.2 ETo [mm]. NaN rain stays NaN.

    For a grower's ledger. `advance` does not use it: it lets no water vanish, and straw sees to small rain.
    """
    rain = _array(rain_mm)
    return np.where(rain < IGNORED_SHARE_OF_ETO * _array(eto_mm), 0.0, rain)


@dataclass(frozen=True, slots=True)
class StrawWater:
    """How straw holds back rain: all judgement, no value in mm was found published.

    Attributes
    ----------
    mm_per_m
        Water that a metre of dry straw would hold [mm/m]: 2 mm for 5 cm (1 to 3 mm a field mulch, from memory).
    most_mm
        No depth holds more [mm].
    drying
        Share of ETo at which wet straw dries.
    """

    mm_per_m: float = 40.0
    most_mm: float = 8.0
    drying: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class WaterForcing:
    """What drives the balance; every field broadcasts to (beds, days), so one value a bed is (beds, 1).

    Attributes
    ----------
    rain_mm
        Rain [mm/day], ≥ 0; NaN is not known.
    irrigation_mm
        Waterings under the straw [mm/day], ≥ 0.
    eto_mm, kc
        Reference evapotranspiration [mm/day] and crop coefficient; NaN makes the bed unknown from that day on.
    straw_m
        Depth of straw [m].
    total_mm, ready_mm
        TAW and RAW of the root zone as it is on that day [mm].
    top_mm
        Available water of the top 10-15 cm, a part of the root zone [mm].
    unknown_rain_mm
        A plausible large amount [mm/day] for days whose rain is not known.
    """

    rain_mm: ArrayLike
    irrigation_mm: ArrayLike
    eto_mm: ArrayLike
    kc: ArrayLike
    straw_m: ArrayLike
    total_mm: ArrayLike
    ready_mm: ArrayLike
    top_mm: ArrayLike
    unknown_rain_mm: ArrayLike


@dataclass(frozen=True, slots=True, eq=False)
class WaterTrajectory:
    """What became of the water, day by day: (answers, beds, days), answers `RAIN_AS_NONE` and `RAIN_AS_MAY_BE`.

    Attributes
    ----------
    depletion_mm
        Depletion of the root zone at the day's end [mm].
    drainage_mm
        Deep percolation [mm/day].
    crop_et_mm
        Actual evapotranspiration from the root zone [mm/day].
    effective_rain_mm
        Rain that passed the straw [mm/day].
    straw_water_mm, straw_dried_mm, straw_carried_mm
        Water in the straw at the day's end [mm]; what dried from it, and what left with straw taken off [mm/day].
    deficit_left_mm
        Depletion that stays outside a root zone grown shallower [mm/day].
    top_share
        Share of the available water gone from the top 10-15 cm at the day's end.
    above_capacity
        Whether the day's water passed field capacity and drained, by more than `DRAINED_MM`.
    """

    depletion_mm: FloatArray
    drainage_mm: FloatArray
    crop_et_mm: FloatArray
    effective_rain_mm: FloatArray
    straw_water_mm: FloatArray
    straw_dried_mm: FloatArray
    straw_carried_mm: FloatArray
    deficit_left_mm: FloatArray
    top_share: FloatArray
    above_capacity: BoolArray

    @property
    def depletion_low_mm(self) -> FloatArray:
        """Least depletion, (beds, days): unknown rain as it may have been."""
        return _array(self.depletion_mm[RAIN_AS_MAY_BE])

    @property
    def depletion_high_mm(self) -> FloatArray:
        """Most depletion, (beds, days): unknown rain as none."""
        return _array(self.depletion_mm[RAIN_AS_NONE])


FORCING_NAMES = tuple(field.name for field in fields(WaterForcing))
TRAJECTORY_NAMES = tuple(field.name for field in fields(WaterTrajectory))
_TOLD_ROOT, _TOLD_STRAW = TRAJECTORY_NAMES.index("depletion_mm"), TRAJECTORY_NAMES.index("straw_water_mm")
_FEW_BEDS = 4  # up to so many are faster one by one in plain numbers; does not change the answer beyond rounding
_ROOT, _TOP, _STRAW, _TOTAL = slice(0, 2), slice(2, 4), slice(4, 6), 6  # columns of the state, answers side by side


def start_state(
    total_mm: ArrayLike, top_mm: ArrayLike, *, driest_share: ArrayLike = 1.0, wettest_share: ArrayLike = 0.0
) -> FloatArray:
    """State (beds, 7) to begin from, straw dry; nothing known of the soil's water unless told.

    Parameters
    ----------
    total_mm, top_mm
        TAW of the root zone and of its top [mm], (beds,) or one number.
    driest_share, wettest_share
        Share of it gone, at most and at least; equal where it is known.
    """
    columns = np.broadcast_arrays(*map(np.atleast_1d, (total_mm, top_mm, driest_share, wettest_share)))
    total, top, driest, wettest = (_array(column) for column in columns)
    dry = np.zeros_like(total)
    return np.stack([total * driest, total * wettest, top * driest, top * wettest, dry, dry, total], axis=1)


def depletion_in(state: FloatArray) -> FloatArray:
    """Depletion of the root zone in a state [mm], (answers, beds)."""
    return _array(state[:, _ROOT].T)


def straw_water_in(state: FloatArray) -> FloatArray:
    """Water held by the straw in a state [mm], (answers, beds)."""
    return _array(state[:, _STRAW].T)


def advance(
    state: FloatArray, forcing: WaterForcing, parameters: StrawWater | None = None
) -> tuple[FloatArray, WaterTrajectory]:
    """FAO-56 eq 85 to 88: the root zone's depletion day by day, under straw.

    Parameters
    ----------
    state
        (beds, 7), from `start_state` or an earlier call, which it continues exactly; left as it is.
    forcing
        The days' weather and the bed.
    parameters
        How straw holds water; the defaults where not given.

    Returns
    -------
    tuple
        The state after the last day, and the trajectory.

    Raises
    ------
    ValueError
        Shapes that do not broadcast to (beds, days).

    Notes
    -----
    Water comes *early in the day*, as in FAO-56 Example 38: first straw takes its share of the rain, the rest and
    the waterings refill the root zone, what passes field capacity drains, then the crop draws Ks·Kc·ETo, never more
    than is left. No runoff: a raised bed has edges. Straw holds `room·(1 - exp(-rain/room))` of a rain, room being
    what its depth can hold less what it holds already; it dries with ETo, not charged to the crop.

    Unknown rain is carried as two balances, with none and with the plausible amount. Each step is monotone in water,
    so any true rain between leaves the bed between the two; once a rain fills the bed in both they are one again.

    A root zone grown deeper keeps its depletion (new soil at field capacity); one grown shallower keeps its share.
    The top loses ETc in proportion to the water it has left and is wetted first (judgement); it is part of the root
    zone's water, not added to it.
    """
    straw = parameters or StrawWater()
    days = _prepared(_days_of(forcing, len(state)), state[:, _TOTAL], straw)
    count = days.rain_mm.shape[0]
    begin: Stores = (depletion_in(state), state[:, _TOP].T, straw_water_in(state))
    columns = [getattr(days, field.name) for field in fields(days)]
    alone = len(state) <= _FEW_BEDS and all(np.isfinite(values).all() for values in (state, *columns))
    stores, records = (_alone if alone else _together)(begin, columns)
    total = days.total_mm[-1] if count else state[:, _TOTAL]
    found = dict(zip(TRAJECTORY_NAMES, records.transpose(1, 2, 3, 0), strict=False))
    after = np.concatenate([*stores, total[None, :]]).T
    return after, WaterTrajectory(**found, above_capacity=found["drainage_mm"] > DRAINED_MM)


def _together(stores: Stores, columns: Sequence[FloatArray]) -> tuple[Stores, FloatArray]:
    """All beds a day at a time: the stores after the last, and the records, (days, fields, answers, beds)."""
    records = np.empty((len(columns[0]), len(TRAJECTORY_NAMES) - 1, *stores[0].shape))
    for values, record in zip(zip(*columns, strict=True), records, strict=True):
        stores = step(stores, Day(*values), record)
    return stores, records


def _alone(stores: Stores, columns: Sequence[FloatArray]) -> tuple[Stores, FloatArray]:
    """The same with each answer of each bed by itself, for a few beds."""
    told = np.empty((len(columns[0]), len(TRAJECTORY_NAMES), *stores[0].shape))  # the last is the top's depletion
    rain, *others = columns
    for bed in range(told.shape[-1]):
        same = [values[:, bed].tolist() for values in others]
        for answer in range(told.shape[-2]):
            begin = (float(one[answer, bed]) for one in stores)
            days = zip(rain[:, answer, bed].tolist(), *same, strict=True)
            told[:, :, answer, bed] = walk(tuple(begin), days) or np.empty((0, told.shape[1]))
    after = stores if not len(told) else (told[-1, _TOLD_ROOT], told[-1, -1], told[-1, _TOLD_STRAW])
    return after, told[:, :-1]


def _days_of(forcing: WaterForcing, beds: int) -> dict[str, FloatArray]:
    arrays = [np.atleast_2d(_array(getattr(forcing, name))) for name in FORCING_NAMES]
    shape = (beds, np.broadcast_shapes(*(values.shape for values in arrays))[1])
    return {name: widened(values, shape) for name, values in zip(FORCING_NAMES, arrays, strict=True)}


def _prepared(days: dict[str, FloatArray], total_before: FloatArray, straw: StrawWater) -> Day:
    """All that can be told of the days before their water is, for all of them at once: days first."""
    turned = {name: np.ascontiguousarray(values.T) for name, values in days.items()}
    rain, unknown = turned["rain_mm"], np.isnan(turned["rain_mm"])
    total, top = turned["total_mm"], np.maximum(turned["top_mm"], TINY_MM)
    before = np.concatenate([total_before[None, :], total])[:-1]
    demand = turned["kc"] * turned["eto_mm"]
    return Day(
        rain_mm=np.stack([np.where(unknown, 0.0, rain), np.where(unknown, turned["unknown_rain_mm"], rain)], axis=1),
        irrigation_mm=turned["irrigation_mm"],
        demand_mm=demand,
        straw_dries_mm=straw.drying * turned["eto_mm"],
        straw_holds_mm=np.clip(straw.mm_per_m * turned["straw_m"], 0.0, straw.most_mm),
        total_mm=total,
        shrunk=np.minimum(total / np.maximum(before, TINY_MM), 1.0),
        stressed_mm=np.maximum(total - turned["ready_mm"], TINY_MM),
        top_mm=turned["top_mm"],
        top_least_mm=top,
        top_drawn=np.minimum(demand / top, 1.0),
    )


def _array(values: ArrayLike) -> FloatArray:
    return np.asarray(values, dtype=np.float64)
