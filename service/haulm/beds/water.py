"""The bed's water: FAO-56 depletion of the root zone, with rain through straw and the waterings noted."""

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from haulm.bed_water import WaterLately, WaterNow
from haulm.beds.evaporation import Evaporation
from haulm.beds.forcing import SPREAD_OF_UNKNOWN_C, Forcing
from haulm.beds.memo import Memo
from haulm.beds.noted import Noted
from haulm.garden import Bed
from haulm.science import water_balance as wb
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
    """What one bed and its crop make of the days from `first` on, whatever the weather: one value a day.

    `leaf` is how much of its leaf the crop has, 0 to 1.
    """

    first: date
    straw_m: FloatArray
    watered_mm: FloatArray
    kc: FloatArray
    roots_m: FloatArray
    leaf: FloatArray
    holds: wb.StrawWater


def bed_days(
    bed: Bed, days: Noted, growth: Daily | None, first: date, straw_m: FloatArray, watered_mm: FloatArray,
    holds: wb.StrawWater = AS_USUAL,
) -> BedDays:  # fmt: skip
    """Crop coefficient and rooting depth follow the crop's own growth, noted or estimated, not the calendar.

    Parameters
    ----------
    growth
        Share of the way from the shoots to ripeness on each day from the shoots on; None before planting.
    holds
        How the straw holds rain back.
    """
    grown = _grown(days, growth, first, len(straw_m))
    age = STAGES[0] + sum(STAGES[1:]) * grown
    cover = np.clip(straw_m / FULL_COVER_STRAW_M, 0.0, 1.0)
    deepest = min(MOST_ROOTS_M, bed.soil_depth_m)
    least = min(LEAST_ROOTS_M, deepest)
    leaf = np.clip(grown / ROOTED_AT, 0.0, 1.0)
    roots = least + leaf * (deepest - least)
    return BedDays(first, straw_m, watered_mm, wb.potato_coefficient(age, cover=cover), roots, leaf, holds)


def _grown(days: Noted, growth: Daily | None, first: date, count: int) -> FloatArray:
    """Growth on each day, 0 while nothing grows: before the shoots, and after the tops or the crop are gone."""
    if growth is None:
        return np.zeros(count)
    grown = np.nan_to_num(growth.between(first, first + (count - 1) * DAY))
    ends = [day for day in (days.tops_gone, days.lifted) if day is not None]
    if ends:
        grown[max((min(ends) - first).days, 0) :] = 0.0
    return grown


def water_now(
    bed: Bed, on_bed: BedDays, past: Forcing, ahead: Forcing, evaporation: Evaporation, chance: Daily,
    memo: Memo | None = None,
) -> WaterNow:  # fmt: skip
    """The bed's water this morning, and how long it lasts without watering.

    Parameters
    ----------
    on_bed
        From the first day of `past` to the last of `ahead`.
    past, ahead
        Weather up to yesterday, and from today on (its first row is used).
    evaporation
        Of the place, over both.
    chance
        Chance of rain a day as forecast; NaN where not given.
    """
    drivers = _drivers(bed, on_bed, past, evaporation)
    state, been = _been(past.first, drivers, on_bed.holds, memo or Memo())
    coming = _drivers(bed, on_bed, ahead, evaporation, count=WEEK)
    likely = _likely_rain(ahead, chance)[None, :WEEK]
    _, lasts = wb.advance(state, wb.WaterForcing(**{**coming, "rain_mm": likely}), on_bed.holds)
    has_forecast = bool((ahead.air_spread_c[:WEEK] < SPREAD_OF_UNKNOWN_C).all())
    need_mm = float((coming["kc"] * coming["eto_mm"]).sum()) if has_forecast else float("nan")
    week = slice(past.days - WEEK, None)
    low, high = been.depletion_low_mm[0], been.depletion_high_mm[0]
    return WaterNow(
        week_rain_mm=float(past.rain_mm[0, week][past.rain_known[week]].sum()),
        week_effective_mm=float(been.effective_rain_mm[wb.RAIN_AS_NONE, 0, week].sum()),
        week_watered_mm=float(on_bed.watered_mm[past.days - WEEK : past.days].sum()),
        week_unknown_days=int((~past.rain_known[week]).sum()),
        depletion_low_mm=float(low[-1]),
        depletion_high_mm=float(high[-1]),
        total_mm=float(drivers["total_mm"][0, -1]),
        ready_mm=float(drivers["ready_mm"][0, -1]),
        top_share=float(been.top_share[wb.RAIN_AS_MAY_BE, 0, -1]),
        outlook_depletion_mm=Daily(ahead.first, lasts.depletion_low_mm[0]),
        outlook_need_mm=need_mm,
        drained_days=_run_back(been.above_capacity[wb.RAIN_AS_NONE, 0]),
        straw_holds_mm=_room_in_straw_mm(on_bed, past.days - 1, wb.straw_water_in(state)[wb.RAIN_AS_NONE, 0]),
        eto_ways=evaporation.ways(WAYS_TOLD_DAYS, (ahead.first - evaporation.eto_mm.first).days),
        lately=_lately(past.first, on_bed, drivers, been),
    )


def _lately(first: date, on_bed: BedDays, drivers: dict[str, FloatArray], been: wb.WaterTrajectory) -> WaterLately:
    """What pictures show of the weeks up to yesterday."""
    count = been.depletion_low_mm.shape[1]
    begin = max(count - LATELY_DAYS, 0)
    watered = on_bed.watered_mm[(first - on_bed.first).days :][:count]
    rows = (been.effective_rain_mm[wb.RAIN_AS_NONE, 0], watered, been.depletion_low_mm[0], drivers["ready_mm"][0])
    return WaterLately(*(Daily(first + begin * DAY, np.array(row[begin:count])) for row in rows))


def _been(
    first: date, drivers: dict[str, FloatArray], holds: wb.StrawWater, memo: Memo
) -> tuple[FloatArray, wb.WaterTrajectory]:
    """The balance up to yesterday, begun at field capacity."""
    full = {name: drivers[name][:, 0] for name in ("total_mm", "top_mm")}

    def start() -> FloatArray:
        return wb.start_state(**full, driest_share=0.0, wettest_share=0.0)

    def run(state: FloatArray, days: slice) -> tuple[FloatArray, wb.WaterTrajectory]:
        forcing = wb.WaterForcing(**{name: values[:, days] for name, values in drivers.items()})
        return wb.advance(state, forcing, holds)

    inputs = np.stack(list(drivers.values()))
    return memo.march("water", (first, holds, *full.values()), inputs, start, run)


def _drivers(
    bed: Bed, on_bed: BedDays, weather: Forcing, evaporation: Evaporation, count: int | None = None
) -> dict[str, FloatArray]:
    """The fields of `WaterForcing` for one bed and a run of weather, (1, days); rain that is not known is NaN."""
    days = slice(0, count or weather.days)
    begin = (weather.first - on_bed.first).days
    at = slice(begin, begin + (count or weather.days))
    last = weather.first + ((count or weather.days) - 1) * DAY
    eto = evaporation.eto_mm.between(weather.first, last)
    kc = on_bed.kc[at] + on_bed.leaf[at] * evaporation.kc_moved.between(weather.first, last)
    soil = TEXTURES[bed.texture]
    per_m = 1000.0 * soil.available_m3_m3
    total = wb.total_available_mm(per_m, on_bed.roots_m[at])
    drivers = {
        "rain_mm": np.where(weather.rain_known, weather.rain_mm[0], np.nan)[days],
        "irrigation_mm": on_bed.watered_mm[at],
        "eto_mm": eto,
        "kc": kc,
        "straw_m": on_bed.straw_m[at],
        "total_mm": total,
        "ready_mm": wb.readily_available_mm(total, wb.depletion_fraction(kc * eto, _soil_factor(bed))),
        "top_mm": np.full(len(eto), per_m * TOP_M),
        "unknown_rain_mm": np.full(len(eto), PLAUSIBLE_UNKNOWN_RAIN_MM),
    }
    return {name: values[None, :] for name, values in drivers.items()}


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


def _room_in_straw_mm(on_bed: BedDays, day: int, held_mm: float) -> float:
    holds = on_bed.holds
    return max(min(holds.mm_per_m * float(on_bed.straw_m[day]), holds.most_mm) - held_mm, 0.0)
