"""What soils and straw are made of: heat, water, and what a textbook says of each.

Conductivity in W/m/K, heat capacity in MJ/m³/K, water in m³ of water a m³ of soil.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

STRAW_DRY_W_MK, STRAW_WET_W_MK = 0.2, 0.45
"""Apparent conductivity of loose straw in the open: 0.1-0.6 W/m/K, rising with wind (van Donk & Tollner 2000,
abstract). That wet straw has the upper part of that range and dry straw the lower is judgement; compact hay in still
air has 0.03-0.06 (Opoku et al. 2006)."""
STRAW_USUAL_WETNESS = 0.2  # judgement: some days after rain; makes 0.25 W/m/K


@dataclass(frozen=True, slots=True)
class Thermal:
    """Heat in a soil at one water content: `water_m3_m3`, and `diffusivity_m2_s` as the table prints it."""

    water_m3_m3: float
    conductivity_w_mk: float
    heat_capacity_mj_m3k: float
    diffusivity_m2_s: float


# Moene & van Dam, Transport in the Atmosphere-Vegetation-Soil Continuum, table 2.2; after de Vries 1963, Smits 2010
# and O'Donnell 2009. The key is the soil with its pore space, then dry, moist or wet.
THERMAL: Mapping[tuple[str, str], Thermal] = MappingProxyType(
    {
        ("sand 0.40", "dry"): Thermal(0.0, 0.24, 1.28, 0.19e-6),
        ("sand 0.40", "moist"): Thermal(0.2, 2.1, 2.12, 0.99e-6),
        ("sand 0.40", "wet"): Thermal(0.4, 2.5, 2.96, 0.85e-6),
        ("sand 0.33", "dry"): Thermal(0.0, 0.29, 1.42, 0.20e-6),
        ("sand 0.33", "moist"): Thermal(0.15, 2.5, 2.05, 1.2e-6),
        ("sand 0.33", "wet"): Thermal(0.33, 2.9, 2.81, 1.0e-6),
        ("clay 0.40", "dry"): Thermal(0.0, 0.15, 1.43, 0.10e-6),
        ("clay 0.40", "moist"): Thermal(0.2, 0.9, 2.27, 0.40e-6),
        ("clay 0.40", "wet"): Thermal(0.4, 1.4, 3.10, 0.45e-6),
        ("peat 0.90", "dry"): Thermal(0.0, 0.04, 0.25, 0.16e-6),
        ("peat 0.90", "moist"): Thermal(0.45, 0.27, 2.13, 0.13e-6),
        ("peat 0.90", "wet"): Thermal(0.9, 0.50, 4.01, 0.12e-6),
    }
)


@dataclass(frozen=True, slots=True)
class Texture:
    """A class of soil: lowest and highest water contents [m³/m³], and heat when moist.

    `available` is the table's own column of field capacity less wilting point: its middle is not the difference of
    the two other middles, because light soils hold little at both ends.
    """

    field_capacity: tuple[float, float]
    wilting_point: tuple[float, float]
    available: tuple[float, float]
    conductivity_w_mk: float
    heat_capacity_mj_m3k: float

    @property
    def field_capacity_m3_m3(self) -> float:
        """Middle of the range at field capacity."""
        return sum(self.field_capacity) / 2.0

    @property
    def wilting_point_m3_m3(self) -> float:
        """Middle of the range at the wilting point."""
        return sum(self.wilting_point) / 2.0

    @property
    def available_m3_m3(self) -> float:
        """Middle of the range between the two, in the table's own column."""
        return sum(self.available) / 2.0


def _moist(sand: float, peat: float = 0.0) -> tuple[float, float]:
    """Moist conductivity and heat capacity between the table's clay, sand and peat, linear in the shares."""
    rows = (THERMAL["sand 0.40", "moist"], THERMAL["peat 0.90", "moist"], THERMAL["clay 0.40", "moist"])
    shares = (sand, peat, 1.0 - sand - peat)
    conductivity = sum(share * row.conductivity_w_mk for share, row in zip(shares, rows, strict=True))
    capacity = sum(share * row.heat_capacity_mj_m3k for share, row in zip(shares, rows, strict=True))
    return conductivity, capacity


# Water: FAO-56 table 19, p. 144. Heat: sand and clay are the table's moist rows; how far each class between them
# behaves like sand (the number given to _moist) is judgement, loam most of all. The whole line of the compost mix
# is judgement: no table has it, and its heat is nearer to peat than to loam.
TEXTURES: Mapping[str, Texture] = MappingProxyType(
    {
        "sand": Texture((0.07, 0.17), (0.02, 0.07), (0.05, 0.11), *_moist(1.0)),
        "loamy sand": Texture((0.11, 0.19), (0.03, 0.10), (0.06, 0.12), *_moist(0.85)),
        "sandy loam": Texture((0.18, 0.28), (0.06, 0.16), (0.11, 0.15), *_moist(0.65)),
        "loam": Texture((0.20, 0.30), (0.07, 0.17), (0.13, 0.18), *_moist(0.4)),
        "silt loam": Texture((0.22, 0.36), (0.09, 0.21), (0.13, 0.19), *_moist(0.3)),
        "silt": Texture((0.28, 0.36), (0.12, 0.22), (0.16, 0.20), *_moist(0.25)),
        "silty clay loam": Texture((0.30, 0.37), (0.17, 0.24), (0.13, 0.18), *_moist(0.15)),
        "silty clay": Texture((0.30, 0.42), (0.17, 0.29), (0.13, 0.19), *_moist(0.05)),
        "clay": Texture((0.32, 0.40), (0.20, 0.24), (0.12, 0.20), *_moist(0.0)),
        "compost mix": Texture((0.35, 0.45), (0.12, 0.20), (0.20, 0.28), *_moist(0.1, peat=0.75)),
    }
)


def diffusivity_m2_s(conductivity_w_mk: ArrayLike, heat_capacity_mj_m3k: ArrayLike) -> FloatArray:
    """κ = λ/C: how fast warmth spreads in a soil.

    Parameters
    ----------
    conductivity_w_mk, heat_capacity_mj_m3k
        λ [W/m/K] and C [MJ/m³/K], any shapes that broadcast. Not above zero, or NaN, gives NaN.

    Returns
    -------
    FloatArray
        Diffusivity [m²/s].
    """
    conductivity, capacity = _above_zero(conductivity_w_mk), _above_zero(heat_capacity_mj_m3k)
    return np.asarray(conductivity / (capacity * 1e6))


def dry_conductivity_w_mk(density_kg_m3: ArrayLike) -> FloatArray:
    """Johansen 1975, conductivity of dry mineral soil: λ = (0.135 ρ + 64.7) / (2700 − 0.947 ρ), within ±20 %.

    Parameters
    ----------
    density_kg_m3
        ρ, dry bulk density [kg/m³], any shape; natural soils have 900-2000. Outside 0-2700, or NaN, gives NaN.

    Returns
    -------
    FloatArray
        Conductivity [W/m/K].

    References
    ----------
    As given by Farouki, O.T. 1986, *Thermal properties of soils*.
    """
    density = np.asarray(density_kg_m3, dtype=np.float64)
    density = np.where((density >= 0.0) & (density <= 2700.0), density, np.nan)
    return np.asarray((0.135 * density + 64.7) / (2700.0 - 0.947 * density))


def straw_resistance_m2k_w(depth_m: ArrayLike, wetness: ArrayLike = STRAW_USUAL_WETNESS) -> FloatArray:
    """R = depth / conductivity: how strongly a layer of straw parts the soil from the weather.

    Parameters
    ----------
    depth_m
        Depth of straw as it lies [m], any shape. Straw settles: the depth to give is today's (`bed_surface.settled_m`),
        this does not shrink it. Below zero, or NaN, gives NaN.
    wetness
        0 for dry straw, 1 for straw wet through, broadcasting.

    Returns
    -------
    FloatArray
        Resistance [m² K/W]; 10 cm give 0.22 when wet and 0.5 when dry, between the 0.17 and 1.0 that the measured
        conductivities allow.
    """
    depth = np.asarray(depth_m, dtype=np.float64)
    conducts = STRAW_DRY_W_MK + (STRAW_WET_W_MK - STRAW_DRY_W_MK) * np.asarray(wetness, dtype=np.float64)
    return np.asarray(np.where(depth >= 0.0, depth, np.nan) / conducts)


def _above_zero(values: ArrayLike) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    return np.where(array > 0.0, array, np.nan)
