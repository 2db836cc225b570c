"""What the ground feels under the sky: the daily forcing of the soil column, from air minimum, maximum and rain alone.

The energy balance of the surface, linearised about the air temperature: net radiation (sun from the daily range,
FAO-56 eq. 50; long-wave loss, FAO-56 eq. 39) less what the wet surface spends on evaporation, over the exchange of
heat between surface and air. Plants that cover the ground take a share of the warming away; a degree-day snow pack
cuts the ground off from the air. Everything broadcasts over (rows, days), a loop over days only for snow and wetness.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haulm.science.evapotranspiration import hargreaves_et_mm, saturation_vapour_kpa, vapour_slope_kpa_c
from haulm.science.sun import radiation_from_range_mj

FloatArray = NDArray[np.float64]

STEFAN_BOLTZMANN_W = 5.670e-8  # W m⁻² K⁻⁴
STEFAN_BOLTZMANN_MJ = 4.903e-9  # MJ m⁻² d⁻¹ K⁻⁴, FAO-56 eq. 39
PSYCHROMETRIC_KPA_C = 0.066  # FAO-56 eq. 8, near sea level
MJ_A_DAY_PER_W = 0.0864
KELVIN = 273.16
EMISSIVITY = 0.97
LEAST_RANGE_C = 0.5


@dataclass(frozen=True, slots=True)
class SurfaceConstants:
    """Constants of the ground surface. Those marked * were fitted on USCRN stations (DEVELOPERS.md, "Accuracy").

    Attributes
    ----------
    convective_w_m2_k
        * Heat exchange of surface and air.
    wetness_mm
        * Water that the top of the soil can evaporate from.
    wet_share
        * Evaporation of a full store as a share of that of open water.
    dew_depression_c
        * How far the dew point lies below its place under plants where nothing grows.
    snow_half_mm
        * Snow water that halves what reaches the ground.
    snow_frost_share
        * Share of the air's frost that passes a full snow cover.
    cover_m2k_w, litter_m2k_w
        * Thermal resistance of a full plant cover, and of wet litter and crumbs everywhere.
    litter_dry
        * By how much of itself the litter's resistance grows as it dries.
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

    `warming_c` is the part of the temperature that sun and evaporation make.
    """

    temperature_c: FloatArray
    resistance_m2k_w: FloatArray
    warming_c: FloatArray


def plant_cover(rain_over_et: ArrayLike, constants: SurfaceConstants | None = None) -> FloatArray:
    """Share of the ground under plants, from a place's yearly rain over its reference evapotranspiration."""
    known = constants or SurfaceConstants()
    return 1.0 - np.exp(-np.asarray(rain_over_et, dtype=np.float64) / known.cover_aridity)


def start_state(rows: int) -> FloatArray:
    """State (rows, 2) to begin from: no snow [mm of water], the surface half wet [mm]."""
    return np.stack([np.zeros(rows), np.full(rows, SurfaceConstants().wetness_mm / 2.0)], axis=1)


def advance(
    state: FloatArray,
    air_min_c: FloatArray,
    air_max_c: FloatArray,
    rain_mm: FloatArray,
    top_radiation_mj: FloatArray,
    cover: ArrayLike,
    constants: SurfaceConstants | None = None,
) -> tuple[FloatArray, Felt]:
    """The forcing of the ground, day by day.

    Parameters
    ----------
    state
        (rows, 2) snow and surface water [mm], from `start_state` or an earlier call, which it continues exactly.
    air_min_c, air_max_c, rain_mm
        Weather [°C, °C, mm/day], (rows, days), without holes: NaN makes the row unknown from that day on.
    top_radiation_mj
        Radiation at the top of the air [MJ m⁻² d⁻¹], broadcast to (rows, days).
    cover
        Share of the ground under plants, from `plant_cover`; one number or (rows, 1).
    """
    known = constants or SurfaceConstants()
    air = _Air(air_min_c, air_max_c, np.broadcast_to(top_radiation_mj, air_min_c.shape), known)
    after, snow_cover, wetness = _stores(state, rain_mm, air, known)
    evaporating = known.wet_share * wetness
    slope = vapour_slope_kpa_c(air.mean_c) / PSYCHROMETRIC_KPA_C
    radiating = 4.0 * EMISSIVITY * STEFAN_BOLTZMANN_W * air.kelvin**3
    exchange = radiating + known.convective_w_m2_k * (1.0 + evaporating * slope)
    dew_c = air_min_c + known.dew_rise * air.range_c - known.dew_depression_c * (1.0 - np.asarray(cover))
    vapour = saturation_vapour_kpa(dew_c)
    spent = evaporating * known.convective_w_m2_k * air.deficit_kpa(vapour) / PSYCHROMETRIC_KPA_C
    warming = (air.net_radiation_w(vapour) - spent) / exchange
    felt_air = known.night_weight * air_min_c + (1.0 - known.night_weight) * air_max_c
    seen = (1.0 - snow_cover) * (1.0 - known.cover_shade * np.asarray(cover)) * warming
    under_snow = known.snow_frost_share * np.minimum(felt_air, 0.0)
    litter = known.litter_m2k_w * (1.0 + known.litter_dry * (1.0 - wetness))
    resistance = 1.0 / exchange + known.cover_m2k_w * np.asarray(cover) + litter
    return after, Felt((1.0 - snow_cover) * felt_air + snow_cover * under_snow + seen, resistance, seen)


class _Air:
    """The air of the days, with what follows from its minimum and maximum."""

    def __init__(
        self, air_min_c: FloatArray, air_max_c: FloatArray, top_mj: FloatArray, known: SurfaceConstants
    ) -> None:
        self.min_c, self.max_c, self.known = air_min_c, air_max_c, known
        self.mean_c = (air_min_c + air_max_c) / 2.0
        self.kelvin = self.mean_c + KELVIN
        widest = np.maximum(air_max_c, air_min_c + LEAST_RANGE_C)
        self.range_c = widest - air_min_c
        self.clear_mj = 0.75 * top_mj  # FAO-56 eq. 37 at sea level
        solar = radiation_from_range_mj(air_min_c, widest, top_mj, known.radiation_krs)
        self.solar_mj = np.minimum(solar, self.clear_mj)
        self.reference_et_mm = np.maximum(hargreaves_et_mm(air_min_c, widest, top_mj), 0.0)

    def deficit_kpa(self, vapour_kpa: FloatArray) -> FloatArray:
        """Vapour pressure deficit of the day's air."""
        full = (saturation_vapour_kpa(self.min_c) + saturation_vapour_kpa(self.max_c)) / 2.0
        return np.maximum(full - vapour_kpa, 0.0)

    def net_radiation_w(self, vapour_kpa: FloatArray) -> FloatArray:
        """FAO-56 eq. 39 and 40, in W/m²."""
        clearness = np.maximum(1.35 * self.solar_mj / np.maximum(self.clear_mj, 0.1) - 0.35, 0.05)
        loss_mj = STEFAN_BOLTZMANN_MJ * self.kelvin**4 * (0.34 - 0.14 * np.sqrt(vapour_kpa)) * clearness
        return ((1.0 - self.known.albedo) * self.solar_mj - loss_mj) / MJ_A_DAY_PER_W


def _stores(
    state: FloatArray, rain_mm: FloatArray, air: _Air, known: SurfaceConstants
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Snow and surface water through the days: the state after them, the snow's cover and the wetness (0 to 1)."""
    snow, wet = state[:, 0], state[:, 1]
    falls = np.clip((known.snowfall_c + 1.0 - air.mean_c) / 2.0, 0.0, 1.0) * rain_mm
    melting = known.melt_mm_c * np.maximum(air.mean_c, 0.0)
    drying = np.exp(-air.reference_et_mm / known.wetness_mm)
    snow_cover, wetness = np.empty_like(rain_mm), np.empty_like(rain_mm)
    for day in range(rain_mm.shape[1]):
        melts = np.minimum(snow + falls[:, day], melting[:, day])
        snow = snow + falls[:, day] - melts
        wet = np.minimum(wet + rain_mm[:, day] - falls[:, day] + melts, known.wetness_mm)
        snow_cover[:, day] = snow / (snow + known.snow_half_mm)
        wetness[:, day] = wet / known.wetness_mm
        wet = wet * drying[:, day]
    return np.stack([snow, wet], axis=1), snow_cover, wetness
