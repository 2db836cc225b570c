"""The beds' water: FAO-56 depletion of the root zone, with rain through straw and the waterings noted."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from haulm.bed_water import WaterLately, WaterNow
from haulm.beds.evaporation import Evaporation
from haulm.beds.forcing import SPREAD_OF_UNKNOWN_C, Forcing
from haulm.beds.in_step import Course, asked
from haulm.beds.memo import Memo
from haulm.beds.noted import Noted
from haulm.garden import Bed
from haulm.science import water_balance as wb
from haulm.science.marches import WaterMarch, march_waters
from haulm.science.rows import widened
from haulm.science.soil_properties import TEXTURES
from haulm.weather import DAY, Daily, FloatArray

WEEK = 7
AS_USUAL = wb.StrawWater()
# FAO-56 Table 11 gives stages in days. The crop's own clock takes the place of the calendar: the shoots end the first,
# and what follows has the same shares of the way to ripeness as the table's days have of theirs (judgement).
STAGES = wb.POTATO_STAGES["continental"]
ROOTED_AT = STAGES[1] / sum(STAGES[1:])  # roots are as deep as they go at full cover (FAO-56 ch. 8, from memory)
LEAST_ROOTS_M = 0.15  # judgement: what a newly planted piece, or the bare bed's evaporation, draws on
MOST_ROOTS_M = 0.45  # inside the 0.4-0.6 m of FAO-56 Table 22
TOP_M = 0.125  # the middle of the 10-15 cm that seed lives in before the shoots
FULL_COVER_STRAW_M = 0.05  # judgement: from this depth on no soil is seen through the straw
PLAUSIBLE_UNKNOWN_RAIN_MM = 10.0  # judgement: what a day of unknown rain may have brought
WAYS_TOLD_DAYS = 21  # how far back the letter tells what its days rest on
LATELY_DAYS = 35
LIKELY_RAIN_CHANCE = 0.5  # judgement: less likely rain is left out when asking how long the water lasts


@dataclass(frozen=True, slots=True, eq=False)
class BedDays:
    """What beds and their crops make of the days from `first` on, whatever the weather: (beds, days).

    `leaf` is how much of its leaf a crop has, 0 to 1; `holds` is how straw holds rain back, the same for all of them.
    `own_rain_mm` is what stood in a grower's own gauge, NaN on days that were not read, from `first` to yesterday.
    """

    beds: tuple[Bed, ...]
    first: date
    straw_m: FloatArray
    watered_mm: FloatArray
    own_rain_mm: FloatArray
    kc: FloatArray
    roots_m: FloatArray
    leaf: FloatArray
    holds: wb.StrawWater


def bed_days(
    beds: Sequence[Bed], grown: FloatArray, first: date, straw_m: FloatArray, watered_mm: FloatArray,
    own_rain_mm: FloatArray, holds: wb.StrawWater = AS_USUAL,
) -> BedDays:  # fmt: skip
    """Crop coefficient and rooting depth follow each crop's own growth (`grown_on`), not the calendar."""
    age = STAGES[0] + sum(STAGES[1:]) * grown
    cover = np.clip(straw_m / FULL_COVER_STRAW_M, 0.0, 1.0)
    deepest = np.minimum(MOST_ROOTS_M, _of_each(bed.soil_depth_m for bed in beds))
    least = np.minimum(LEAST_ROOTS_M, deepest)
    leaf = np.clip(grown / ROOTED_AT, 0.0, 1.0)
    roots = least + leaf * (deepest - least)
    kc = wb.potato_coefficient(age, cover=cover)
    return BedDays(tuple(beds), first, straw_m, watered_mm, own_rain_mm, kc, roots, leaf, holds)


def grown_on(days: Noted, growth: Daily | None, first: date, count: int) -> FloatArray:
    """A crop's growth on each day, 0 while nothing grows: before the shoots, and after the tops or the crop are gone.

    `growth` is its share of the way from the shoots to ripeness, from the shoots on; None before planting.
    """
    if growth is None:
        return np.zeros(count)
    grown = np.nan_to_num(growth.between(first, first + (count - 1) * DAY))
    ends = [day for day in (days.tops_gone, days.lifted) if day is not None]
    if ends:
        grown[max((min(ends) - first).days, 0) :] = 0.0
    return grown


def water_now(
    on_beds: BedDays, past: Forcing, ahead: Forcing, evaporation: Evaporation, chance: Daily, memo: Memo | None = None
) -> Course[list[WaterNow]]:
    """Each bed's water this morning, and how long it lasts without watering, as a course.

    Parameters
    ----------
    on_beds
        From the first day of `past` to the last of `ahead`.
    past, ahead
        Weather up to yesterday, and from today on (its first row is used).
    evaporation
        Of the place, over both.
    chance
        Chance of rain a day as forecast; NaN where not given.
    """
    drivers = _drivers(on_beds, past, evaporation)
    state, been = yield from _been(past.first, drivers, on_beds.holds, memo or Memo(goes_on=False))
    coming = _drivers(on_beds, ahead, evaporation, count=WEEK)
    likely = np.broadcast_to(_likely_rain(ahead, chance)[:WEEK], coming["rain_mm"].shape)
    to_last = wb.WaterForcing(**{**coming, "rain_mm": likely})
    _, lasts = yield from asked(march_waters, WaterMarch(state, to_last, on_beds.holds))
    has_forecast = bool((ahead.air_spread_c[:WEEK] < SPREAD_OF_UNKNOWN_C).all())
    need_mm = (coming["kc"] * coming["eto_mm"]).sum(axis=1)
    in_straw = wb.straw_water_in(state)[wb.RAIN_AS_NONE]
    eto_ways = evaporation.ways(WAYS_TOLD_DAYS, (ahead.first - evaporation.eto_mm.first).days)
    weeks = _weeks(on_beds, past.days, drivers["rain_mm"], been)
    return [
        WaterNow(
            **week,
            depletion_low_mm=float(been.depletion_low_mm[row, -1]),
            depletion_high_mm=float(been.depletion_high_mm[row, -1]),
            total_mm=float(drivers["total_mm"][row, -1]),
            ready_mm=float(drivers["ready_mm"][row, -1]),
            top_share=float(been.top_share[wb.RAIN_AS_MAY_BE, row, -1]),
            outlook_depletion_mm=Daily(ahead.first, lasts.depletion_low_mm[row]),
            outlook_need_mm=float(need_mm[row]) if has_forecast else float("nan"),
            drained_days=_run_back(been.above_capacity[wb.RAIN_AS_NONE, row]),
            straw_holds_mm=_room_in_straw_mm(on_beds.holds, float(on_beds.straw_m[row, past.days - 1]), in_straw[row]),
            eto_ways=eto_ways,
            lately=_lately(past.first, on_beds, row, drivers, been),
        )
        for row, week in enumerate(weeks)
    ]


def _weeks(on_beds: BedDays, past_days: int, rain_mm: FloatArray, been: wb.WaterTrajectory) -> Iterator[dict[str, Any]]:
    """The sums of the last seven days, of each bed."""
    week = slice(past_days - WEEK, past_days)
    known = np.isfinite(rain_mm[:, week])
    fallen = np.where(known, rain_mm[:, week], 0.0).sum(axis=1)
    effective = been.effective_rain_mm[wb.RAIN_AS_NONE, :, week].sum(axis=1)
    watered = on_beds.watered_mm[:, week].sum(axis=1)
    unknown = (~known).sum(axis=1)
    names = ("week_rain_mm", "week_effective_mm", "week_watered_mm", "week_unknown_days")
    columns = (fallen.tolist(), effective.tolist(), watered.tolist(), unknown.tolist())
    return (dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True))


def _lately(
    first: date, on_beds: BedDays, row: int, drivers: dict[str, FloatArray], been: wb.WaterTrajectory
) -> WaterLately:
    """What pictures show of the weeks up to yesterday."""
    count = been.depletion_low_mm.shape[1]
    begin = max(count - LATELY_DAYS, 0)
    watered = on_beds.watered_mm[row, (first - on_beds.first).days :][:count]
    effective = been.effective_rain_mm[wb.RAIN_AS_NONE, row]
    shown = (effective, watered, been.depletion_low_mm[row], drivers["ready_mm"][row])
    return WaterLately(*(Daily(first + begin * DAY, np.array(values[begin:count])) for values in shown))


def _been(
    first: date, drivers: dict[str, FloatArray], holds: wb.StrawWater, memo: Memo
) -> Course[tuple[FloatArray, wb.WaterTrajectory]]:
    """The balance up to yesterday, begun at field capacity."""
    full = {name: drivers[name][:, 0] for name in ("total_mm", "top_mm")}

    def start() -> FloatArray:
        return wb.start_state(**full, driest_share=0.0, wettest_share=0.0)

    def run(state: FloatArray, days: slice) -> Course[tuple[FloatArray, wb.WaterTrajectory]]:
        forcing = wb.WaterForcing(**{name: values[:, days] for name, values in drivers.items()})
        return asked(march_waters, WaterMarch(state, forcing, holds))

    inputs = np.stack(list(drivers.values()))
    return (yield from memo.march("water", (first, holds, *full.values()), inputs, start, run))


def _drivers(
    on_beds: BedDays, weather: Forcing, evaporation: Evaporation, count: int | None = None
) -> dict[str, FloatArray]:
    """The fields of `WaterForcing` for a run of weather, (beds, days); rain that is not known is NaN."""
    count = count or weather.days
    begin = (weather.first - on_beds.first).days
    at = slice(begin, begin + count)
    last = weather.first + (count - 1) * DAY
    eto = evaporation.eto_mm.between(weather.first, last)
    kc = on_beds.kc[:, at] + on_beds.leaf[:, at] * evaporation.kc_moved.between(weather.first, last)
    per_m = 1000.0 * _of_each(TEXTURES[bed.texture].available_m3_m3 for bed in on_beds.beds)
    total = wb.total_available_mm(per_m, on_beds.roots_m[:, at])
    soil_factor = _of_each(_soil_factor(bed) for bed in on_beds.beds)
    drivers = {
        "rain_mm": _rain_mm(on_beds, weather, count),
        "irrigation_mm": on_beds.watered_mm[:, at],
        "eto_mm": eto,
        "kc": kc,
        "straw_m": on_beds.straw_m[:, at],
        "total_mm": total,
        "ready_mm": wb.readily_available_mm(total, wb.depletion_fraction(kc * eto, soil_factor)),
        "top_mm": per_m * TOP_M,
        "unknown_rain_mm": np.full((1, 1), PLAUSIBLE_UNKNOWN_RAIN_MM),
    }
    return {name: widened(np.atleast_2d(values), total.shape) for name, values in drivers.items()}


def _rain_mm(on_beds: BedDays, weather: Forcing, count: int) -> FloatArray:
    """The weather's rain, (beds, days); on days that a grower read the gauge, what stood in it."""
    fallen = np.where(weather.rain_known, weather.rain_mm[0], np.nan)[:count]
    begin = (weather.first - on_beds.first).days
    read = on_beds.own_rain_mm[:, begin : begin + count]
    rain = np.tile(fallen, (len(read), 1))
    rain[:, : read.shape[1]] = np.where(np.isfinite(read), read, rain[:, : read.shape[1]])
    return rain


def _of_each(values: Iterable[float]) -> FloatArray:
    """One value a bed, (beds, 1)."""
    return np.array(list(values))[:, None]


def _soil_factor(bed: Bed) -> float:
    """FAO-56 Table 22, note: fine soil gives up less with ease, coarse soil more."""
    if bed.texture in {"clay", "silty clay", "silty clay loam"}:
        return wb.FINE_SOIL_FACTOR
    return wb.COARSE_SOIL_FACTOR if bed.texture in {"sand", "loamy sand"} else 1.0


def _likely_rain(ahead: Forcing, chance: Daily) -> FloatArray:
    """Forecast rain that is likely; where no chance is given, or nothing is forecast, none."""
    given = chance.between(ahead.first, ahead.first + (ahead.days - 1) * DAY)
    return np.where(ahead.rain_known & (given >= LIKELY_RAIN_CHANCE), ahead.rain_mm[0], 0.0)


def _run_back(drained: NDArray[np.bool_]) -> int:
    """How many of the last days drained, counted back without a break."""
    dry = np.flatnonzero(~drained[::-1])
    return int(dry[0]) if dry.size else len(drained)


def _room_in_straw_mm(holds: wb.StrawWater, straw_m: float, held_mm: float) -> float:
    return max(min(holds.mm_per_m * straw_m, holds.most_mm) - float(held_mm), 0.0)
