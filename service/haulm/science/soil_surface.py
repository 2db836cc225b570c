"""What the ground feels under the sky: the daily forcing of the soil column, from air minimum, maximum and rain alone.

The energy balance of the surface, linearised about the air temperature: net radiation (sun from the daily range,
FAO-56 eq. 50; long-wave loss, FAO-56 eq. 39) less what the wet surface spends on evaporation, over the exchange of
heat between surface and air. Plants that cover the ground take a share of the warming away; a degree-day snow pack
cuts the ground off from the air. What a bed adds to open ground (straw, shade) is told by `Bedding`. Everything
broadcasts over (rows, days), a loop over days only for snow and wetness; the answer for a row does not depend on its
neighbours.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haulm.science.bed_surface import STRAW_HOLDS_MM, Bedding
from haulm.science.rows import widened

FloatArray = NDArray[np.float64]

STEFAN_BOLTZMANN_W = 5.670e-8  # W m⁻² K⁻⁴
STEFAN_BOLTZMANN_MJ = 4.903e-9  # MJ m⁻² d⁻¹ K⁻⁴, FAO-56 eq. 39
PSYCHROMETRIC_KPA_C = 0.066  # FAO-56 eq. 8, near sea level
MJ_A_DAY_PER_W = 0.0864
KELVIN = 273.16
EMISSIVITY = 0.97  # usual value for soil and grass, from memory
LEAST_RANGE_C = 0.5
CLEAR_SHARE = 0.75  # FAO-56 eq. 37 near sea level
HARGREAVES = 0.0023 * 0.408  # FAO-56 eq. 52, with radiation in MJ/m²/d
STORES = 3  # snow, water of the surface, water in the straw
_FEW_ROWS = 8  # up to so many are faster one by one in plain numbers; does not change the answer
_BLOCK = 8192  # days times rows worked on at once, so that they stay in a processor's cache; does not change the answer


@dataclass(frozen=True, slots=True)
class SurfaceConstants:
    """Constants of the ground surface. Those marked * were fitted on USCRN stations (DEVELOPERS.md, "Accuracy").

    Attributes
    ----------
    convective_w_m2_k
        * Heat exchange of surface and air [W/m²/K].
    wetness_mm
        * Water that the top of the soil can evaporate from [mm].
    wet_share
        * Evaporation of a full store as a share of that of open water.
    dew_depression_c
        * How far the dew point lies below its place under plants where nothing grows [°C]. The network's own humidity
        gives 19 in summer and 7 in winter: the fit is too high, and stands for other things too.
    snow_half_mm
        * Snow water that halves what reaches the ground [mm].
    snow_frost_share
        * Share of the air's frost that passes a full snow cover.
    cover_m2k_w, litter_m2k_w
        * Thermal resistance of a full plant cover, and of wet litter and crumbs everywhere [m² K/W].
    litter_dry
        * By how much of itself the litter's resistance grows as it dries: dry crumbs insulate more.
    cover_shade
        * Share of the radiative warming that a full plant cover takes away.
    cover_aridity
        * Yearly rain over reference evapotranspiration at which 63 % of the ground is covered.
    night_weight
        * Weight of the minimum in the day's air temperature.
    dew_rise
        Mean dew point above the daily minimum, as a share of the daily range, where plants cover the ground: measured
        on the same network in humid country.
    albedo
        FAO-56 eq. 38.
    radiation_krs
        FAO-56 eq. 50, between inland and coast.
    melt_mm_c, snowfall_c
        Degree-day melt, and the day mean about which rain turns to snow (± 1 °C); usual values, from memory.
    """

    convective_w_m2_k: float = 7.027
    wetness_mm: float = 14.78
    wet_share: float = 0.4174
    dew_depression_c: float = 25.48
    snow_half_mm: float = 3.197
    snow_frost_share: float = 0.1967
    cover_m2k_w: float = 0.1681
    cover_shade: float = 0.5712
    cover_aridity: float = 0.3898
    litter_m2k_w: float = 0.03671
    litter_dry: float = 1.727
    night_weight: float = 0.6312
    dew_rise: float = 0.2
    albedo: float = 0.23
    radiation_krs: float = 0.17
    melt_mm_c: float = 3.5
    snowfall_c: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Felt:
    """What the ground feels, (rows, days): the forcing temperature [°C] and the resistance to it [m² K/W].

    Attributes
    ----------
    temperature_c
        What the upper side of everything that covers the soil tends to.
    resistance_m2k_w
        Of the air, and of what naturally covers the ground; straw comes on top of it.
    warming_c
        The part of the temperature that sun and evaporation make.
    straw_wetness
        How wet the straw is, 0 to 1; 0 where no straw was told of.
    """

    temperature_c: FloatArray
    resistance_m2k_w: FloatArray
    warming_c: FloatArray
    straw_wetness: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Air:
    """What needs no memory of earlier days, (days, rows)."""

    mean_c: FloatArray
    felt_c: FloatArray
    net_w: FloatArray
    deficit_k: FloatArray
    slope: FloatArray
    radiating_w_m2_k: FloatArray
    reference_et_mm: FloatArray


def plant_cover(rain_over_et: ArrayLike, constants: SurfaceConstants | None = None) -> FloatArray:
    """Share of the ground under plants, from a place's yearly rain over its reference evapotranspiration."""
    known = constants or SurfaceConstants()
    return 1.0 - np.exp(-np.asarray(rain_over_et, dtype=np.float64) / known.cover_aridity)


def start_state(rows: int) -> FloatArray:
    """State (rows, 3) to begin from: no snow [mm of water], the surface half wet [mm], the straw dry [mm]."""
    state = np.zeros((rows, STORES))
    state[:, 1] = SurfaceConstants().wetness_mm / 2.0
    return state


def advance(
    state: FloatArray,
    air_min_c: FloatArray,
    air_max_c: FloatArray,
    rain_mm: FloatArray,
    top_radiation_mj: FloatArray,
    cover: ArrayLike,
    *,
    bedding: Bedding | None = None,
    constants: SurfaceConstants | None = None,
) -> tuple[FloatArray, Felt]:
    """The forcing of the ground, day by day.

    Parameters
    ----------
    state
        (rows, 3) snow, surface water and water in the straw [mm], from `start_state` or an earlier call, which it
        continues exactly.
    air_min_c, air_max_c, rain_mm
        Weather [°C, °C, mm/day], (rows, days) or (1, days) for all rows, without holes: NaN makes the row unknown from
        that day on.
    top_radiation_mj
        Radiation at the top of the air [MJ m⁻² d⁻¹], likewise.
    cover
        Share of the ground under plants, from `plant_cover`; one number or (rows, 1).
    bedding
        Straw and light of each row; None is open ground.
    """
    known, rows = constants or SurfaceConstants(), len(state)
    weather = (air_min_c, air_max_c, rain_mm, top_radiation_mj)
    days = np.broadcast_shapes(*(np.shape(values) for values in weather))[1]
    green, stores = np.asarray(cover, dtype=np.float64).reshape(-1), np.array(state.T)
    found = [np.zeros((days, rows)) for _ in range(4)]
    length = max(_BLOCK // max(rows, 1), 1)
    # One column of weather for all rows, or one a row: what the air alone decides is not worked out for each bed in it.
    for start in range(0, days, length):
        part = slice(start, start + length)
        low, high, rain, top = (np.ascontiguousarray(values[:, part].T) for values in weather)
        lies = None if bedding is None else bedding.days(part, rows)
        air = _air(low, high, top, green, lies, known)
        stores, kept = _stores(stores, rain, air, lies, known)
        for whole, piece in zip(found, _balance(air, kept, green, lies, known), strict=True):
            whole[part] = piece
    return stores.T, Felt(*(whole.T for whole in found))


def _air(
    low: FloatArray, high: FloatArray, top_mj: FloatArray, cover: FloatArray, bedding: Bedding | None,
    known: SurfaceConstants,
) -> _Air:  # fmt: skip
    """Radiation (FAO-56 eq. 39, 40 and 50), vapour and evaporation (eq. 52) of the days' air."""
    mean, span = 0.5 * (low + high), np.maximum(high - low, LEAST_RANGE_C)
    root = np.sqrt(span)
    share = np.minimum(known.radiation_krs * root, CLEAR_SHARE)
    dew = low + known.dew_rise * span - known.dew_depression_c * (1.0 - cover)
    root_vapour = np.sqrt(0.6108) * np.exp(0.5 * 17.27 * dew / (dew + 237.3))  # of FAO-56 eq. 11, its root taken
    full = 0.5 * (_saturation_kpa(low) + _saturation_kpa(high))
    kelvin, warm = mean + KELVIN, mean + 237.3
    cube = kelvin * kelvin * kelvin
    cloud = np.maximum((1.35 / CLEAR_SHARE) * share - 0.35, 0.05)
    loss = STEFAN_BOLTZMANN_MJ * cube * kelvin * (0.34 - 0.14 * root_vapour) * cloud
    gain = (1.0 - known.albedo) * share * top_mj
    if bedding is not None:
        gain, loss = gain * np.asarray(bedding.sun), loss * np.asarray(bedding.sky)
    return _Air(
        mean_c=mean,
        felt_c=high + known.night_weight * (low - high),
        net_w=(gain - loss) / MJ_A_DAY_PER_W,
        deficit_k=np.maximum(full - root_vapour * root_vapour, 0.0) / PSYCHROMETRIC_KPA_C,
        slope=(4098.0 / PSYCHROMETRIC_KPA_C) * _saturation_kpa(mean) / (warm * warm),
        radiating_w_m2_k=4.0 * EMISSIVITY * STEFAN_BOLTZMANN_W * cube,
        reference_et_mm=np.maximum(HARGREAVES * top_mj * (mean + 17.8) * root, 0.0),
    )


def _saturation_kpa(air_c: FloatArray) -> FloatArray:
    """FAO-56 eq. 11, without the checks of `evapotranspiration`: it is most of this module's time."""
    return 0.6108 * np.exp(17.27 * air_c / (air_c + 237.3))


def _stores(
    stores: FloatArray, rain_mm: FloatArray, air: _Air, bedding: Bedding | None, known: SurfaceConstants
) -> tuple[FloatArray, tuple[FloatArray, FloatArray, FloatArray]]:
    """Snow, surface water and straw's water: what is left, and (days, rows) snow's cover and both wetnesses, 0 to 1."""
    falls = np.clip((known.snowfall_c + 1.0 - air.mean_c) / 2.0, 0.0, 1.0) * rain_mm
    thaws, fills = known.melt_mm_c * np.maximum(air.mean_c, 0.0), rain_mm - falls
    snow, pack, melts = _snow(stores[0], falls, thaws)
    free = 1.0 if bedding is None else bedding.evaporates
    drying = np.exp((-free / known.wetness_mm) * air.reference_et_mm)
    if bedding is None:
        wet, water = _filled(stores[1:2], [fills + melts], [drying], [known.wetness_mm])
        after, held = np.stack([snow, wet[0], stores[2]]), np.zeros_like(rain_mm)
    else:
        left = [drying, np.exp(-air.reference_et_mm / STRAW_HOLDS_MM)]
        wet, water = _filled(stores[1:], [fills + melts, fills], left, [known.wetness_mm, STRAW_HOLDS_MM])
        after, held = np.stack([snow, *wet]), water[:, 1] / STRAW_HOLDS_MM
    return after, (pack / (pack + known.snow_half_mm), water[:, 0] / known.wetness_mm, held)


def _snow(snow: FloatArray, falls: FloatArray, thaws: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The pack after the last day and at the end of each, and what melts of it; days without any are passed over."""
    if not (np.count_nonzero(snow) or np.count_nonzero(falls)):
        return snow, np.zeros_like(falls), np.zeros_like(falls)
    falls, thaws = (widened(daily, (len(daily), len(snow))) for daily in (falls, thaws))
    if len(snow) <= _FEW_ROWS:
        listed = (snow.tolist(), falls.T.tolist(), thaws.T.tolist())
        each = [_snow_of_one(*one) for one in zip(*listed, strict=True)]
        packs, melted = (np.array(part, dtype=np.float64).T for part in zip(*each, strict=True))
        return packs[-1], packs[1:], melted
    pack, melts = np.zeros_like(falls), np.zeros_like(falls)
    lies, snows = bool((snow != 0.0).any()), (falls != 0.0).any(axis=1).tolist()
    for day, snowing in enumerate(snows):
        if lies or snowing:
            snow = snow + falls[day]
            melts[day] = np.minimum(snow, thaws[day])
            snow = snow - melts[day]
            pack[day] = snow
            lies = bool((snow != 0.0).any())
    return snow, pack, melts


def _snow_of_one(snow: float, falls: list[float], thaws: list[float]) -> tuple[list[float], list[float]]:
    """The same of one row in plain numbers: its pack before the first day and at the end of each, and what melts."""
    pack, melts = [snow], []
    for fall, thaw in zip(falls, thaws, strict=True):
        whole = snow + fall
        melt = min(whole, thaw)
        snow = whole - melt
        pack.append(snow)
        melts.append(melt)
    return pack, melts


def _filled(
    held: FloatArray, fills: list[FloatArray], left: list[FloatArray], holds_mm: list[float]
) -> tuple[FloatArray, FloatArray]:
    """Stores (stores, rows) that fill with water up to what they hold, and dry in e-foldings of what is in them.

    After the last day, and (days, stores, rows) at the full of each.
    """
    most, wide = np.array(holds_mm)[:, None], (len(fills[0]), held.shape[1])
    wets, dries = (np.stack([widened(one, wide) for one in some], axis=1) for some in (fills, left))
    full = np.empty_like(wets)
    if held.size <= _FEW_ROWS:
        after = np.empty_like(held)
        for at in np.ndindex(held.shape):
            begin, whole = float(held[at]), (slice(None), *at)
            after[at], full[whole] = _filled_one(
                begin, wets[whole].tolist(), dries[whole].tolist(), float(most[at[0], 0])
            )
        return after, full
    for water, wet, dry in zip(full, wets, dries, strict=True):
        np.add(held, wet, out=water)
        np.minimum(water, most, out=water)
        held = water * dry
    return held, full


def _filled_one(held: float, wets: list[float], dries: list[float], most: float) -> tuple[float, list[float]]:
    """The same of one store of one row in plain numbers."""
    full = []
    for wet, dry in zip(wets, dries, strict=True):
        water = min(held + wet, most)  # in this order: what is not known stays so
        full.append(water)
        held = water * dry
    return held, full


def _balance(
    air: _Air, kept: tuple[FloatArray, FloatArray, FloatArray], cover: FloatArray, bedding: Bedding | None,
    known: SurfaceConstants,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:  # fmt: skip
    """The linearised balance of the surface: the fields of `Felt`, (days, rows)."""
    hidden, wetness, straw_wetness = kept
    evaporates = (known.wet_share * known.convective_w_m2_k) * wetness
    passes = 1.0 - known.cover_shade * cover
    if bedding is not None:
        evaporates, passes = evaporates * bedding.evaporates, passes * bedding.warms
    exchange = air.radiating_w_m2_k + known.convective_w_m2_k + evaporates * air.slope
    warming = (1.0 - hidden) * passes * (air.net_w - evaporates * air.deficit_k) / exchange
    frost = hidden * (known.snow_frost_share * np.minimum(air.felt_c, 0.0) - air.felt_c)
    layer = known.cover_m2k_w * cover + known.litter_m2k_w * (1.0 + known.litter_dry)
    resistance = 1.0 / exchange + layer - (known.litter_m2k_w * known.litter_dry) * wetness
    return air.felt_c + frost + warming, resistance, warming, straw_wetness
