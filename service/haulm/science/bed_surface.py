"""What a bed adds to open ground: straw that shades, insulates, wets and settles; a shaded place; raised sides.

Measured: that straw of 2 to 3 ton/acre takes 3 to 6 °C from the day's highest at 1 inch and 2 to 4 °C at 10 cm, and
leaves the lowest nearly alone (McCalla & Duley 1946, abstract); what it conducts (0.1 to 0.6 W/m/K, van Donk & Tollner
2000, abstract); that a full cover about halves evaporation from the soil (FAO-56 p. 197; Greb 1966, abstract).
Inferred: everything else here. No series under straw on a raised bed is known to us. Each constant says which it is.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haulm.science.rows import widened

FloatArray = NDArray[np.float64]

STRAW_HIDES_M = 0.015  # judgement: e-folding depth of the ground that is seen through straw; 5 cm hide 96 % of it
STRAW_SHADE = 0.3  # chosen so that the measured coolings are met: share of the warming by sun that never gets down
STRAW_HOLDS_EVAPORATION = 0.5  # FAO-56 p. 197: 5 % less for each tenth of the ground covered; Greb 1966: 49 % at 90 %
STRAW_HOLDS_MM = 3.0  # judgement: water that wets straw through, for what it conducts
STRAW_SETTLES_TO = 0.6  # judgement: share of its laid depth that loose straw comes down to
STRAW_SETTLING_DAYS = 21.0  # judgement: e-folding time of that
BOARD_M2K_W = 0.3  # judgement: 25 mm of wood (0.19) and the air beside it (0.11)
SIDE_PATH = 1.0 / 6.0  # judgement: mean way of heat from a bed's long side, as a share of its width

# Share of the open sky's sun, and of its cold, that a place gets (judgement): half shade is a tree or wall for half of
# the day, shade a north wall or under a crown. Warmth that walls and trees give back counts as the rest of the sky.
LIGHT = {"open": (1.0, 1.0), "half shade": (0.6, 0.85), "shade": (0.3, 0.7)}


@dataclass(frozen=True, slots=True, eq=False)
class Bedding:
    """What lies on the rows of a surface, and the light they get; all broadcast to (rows, days).

    Attributes
    ----------
    straw_m
        Depth of straw as it lies that day [m].
    sun, sky
        Share of the sun, and of the sky that heat is lost to, from `LIGHT`.
    """

    straw_m: FloatArray
    sun: ArrayLike = 1.0
    sky: ArrayLike = 1.0

    def days(self, part: slice, rows: int) -> "Bedding":
        """Some of the days, turned to (days, rows); what is the same on all of them stays (1, rows)."""
        turned = []
        for values in (self.straw_m, self.sun, self.sky):
            wide = np.atleast_2d(np.asarray(values, dtype=np.float64))
            days = wide[:, part] if wide.shape[1] > 1 else wide
            turned.append(np.ascontiguousarray(widened(days, (rows, days.shape[1])).T))
        return Bedding(*turned)

    @property
    def hidden(self) -> FloatArray:
        """Share of the ground that straw hides."""
        return straw_cover(self.straw_m)

    @property
    def warms(self) -> FloatArray:
        """Share of the sun's warming that gets through."""
        return 1.0 - STRAW_SHADE * self.hidden

    @property
    def evaporates(self) -> FloatArray:
        """Share of the open ground's evaporation that is left."""
        return 1.0 - STRAW_HOLDS_EVAPORATION * self.hidden


def straw_cover(depth_m: ArrayLike) -> FloatArray:
    """1 − exp(−depth / 1.5 cm): share of the ground that straw hides, from its depth [m]; below zero counts as none."""
    return np.asarray(-np.expm1(-np.maximum(np.asarray(depth_m, dtype=np.float64), 0.0) / STRAW_HIDES_M))


def settled_m(laid_m: ArrayLike, age_days: ArrayLike) -> FloatArray:
    """Depth of straw [m] some days after it was laid: it comes down to 60 % of the laid depth, two thirds of the way
    in three weeks. Not yet laid (a negative age) is none."""
    age = np.asarray(age_days, dtype=np.float64)
    left = STRAW_SETTLES_TO + (1.0 - STRAW_SETTLES_TO) * np.exp(-np.maximum(age, 0.0) / STRAW_SETTLING_DAYS)
    return np.where(age >= 0.0, np.asarray(laid_m, dtype=np.float64) * left, 0.0)


def sides_conductance_w_m2_k(
    raised_m: ArrayLike, length_m: ArrayLike, width_m: ArrayLike, conductivity_w_mk: ArrayLike
) -> FloatArray:
    """How closely raised sides tie a bed's soil to the air [W a m² of bed and K]: heat through boards, then soil.

    Parameters
    ----------
    raised_m
        Height of the sides above the ground outside [m]; 0 for a bed level with it.
    length_m, width_m
        Of the bed [m].
    conductivity_w_mk
        Of its soil [W/m/K].

    Notes
    -----
    Area of the sides over that of the bed, over the resistance of boards and air (0.3 m² K/W) and of the soil between
    the side and the bed's middle part (a sixth of the width). Derived, not measured: the bed is one column still, so
    its edges are not told apart from its middle.
    """
    length, width = np.asarray(length_m, dtype=np.float64), np.asarray(width_m, dtype=np.float64)
    sides = 2.0 * (length + width) * np.asarray(raised_m, dtype=np.float64) / (length * width)
    path = BOARD_M2K_W + SIDE_PATH * np.minimum(length, width) / np.asarray(conductivity_w_mk, dtype=np.float64)
    return np.asarray(sides / path)


def beside(
    forcing_c: FloatArray, resistance_m2k_w: FloatArray, conductance_w_m2_k: ArrayLike, air_c: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """One forcing [°C] and resistance [m² K/W] for a surface that is also tied to the air by its sides.

    Parameters
    ----------
    forcing_c, resistance_m2k_w
        Of the surface, with what lies on it.
    conductance_w_m2_k
        From `sides_conductance_w_m2_k`, broadcasting; 0 changes nothing.
    air_c
        What the sides feel [°C].
    """
    share = 1.0 / (1.0 + resistance_m2k_w * np.asarray(conductance_w_m2_k))
    return forcing_c * share + np.asarray(air_c) * (1.0 - share), resistance_m2k_w * share
