"""Warmth in the soil: the column that the product runs day by day. Closed forms are in `soil_waves`.

The column is homogeneous soil in finite volumes that grow with depth, down to about 12 m, with no heat through its
floor. The matrix of conduction is taken apart once into modes (patterns over depth that each fade at their own
rate, whatever the soil), so a day costs a few operations an array, exact over the day for the flux it is given.
What lies on the soil (straw, still air) is a resistance that may differ every day; its own heat is left out. Water
that freezes in the soil holds the surface near 0 °C until it has frozen, and again until it has thawed, where a
`Freezing` is given.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haulm.science.rows import widened
from haulm.science.soil_freezing import Curtain, Freezing
from haulm.science.soil_modes import CELLS, Column, column_of, modes_of_the_column, step_of, sum_modes
from haulm.science.soil_waves import DAY_S

FloatArray = NDArray[np.float64]

YEAR_DAYS = 365.25
_BEDS_A_BLOCK = 1024  # keeps a block's modes in a processor's second cache; does not change the answer


@dataclass(frozen=True, slots=True, eq=False)
class SoilColumn:
    """The soils of some beds.

    Attributes
    ----------
    conductivity_w_mk, heat_capacity_mj_m3k
        λ [W/m/K] and C [MJ/m³/K], (beds,) or one for all. Not above zero, or NaN, makes that bed NaN.
    depths_m
        Where temperatures are wanted [m], (beds, depths) or (depths,). 0 is the soil surface, under what lies on it;
        below the column's last cell its temperature stands for all; NaN gives NaN.
    step_s
        Length of a step [s].
    freezing
        None for soil whose water does not freeze. With it a state has two more columns (`with_ice`).
    """

    conductivity_w_mk: ArrayLike
    heat_capacity_mj_m3k: ArrayLike
    depths_m: ArrayLike
    step_s: float = DAY_S
    freezing: Freezing | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Trajectory:
    """Means over each step; NaN on steps whose forcing was not known. Views of arrays that are laid out by day.

    Attributes
    ----------
    soil_c
        At the depths asked for [°C], (beds, days, depths).
    surface_c
        Of the soil surface, under the layer [°C], (beds, days).
    flux_w_m2
        Heat into the soil [W/m²], (beds, days).
    """

    soil_c: FloatArray
    surface_c: FloatArray
    flux_w_m2: FloatArray


def even_state(temperature_c: ArrayLike) -> FloatArray:
    """The state (beds, modes) of beds that have one temperature [°C] from top to floor."""
    temperature = np.atleast_1d(np.asarray(temperature_c, dtype=np.float64))
    state = np.zeros((*temperature.shape, CELLS))
    state[..., 0] = temperature
    return state


def with_ice(state: FloatArray) -> FloatArray:
    """A state for a column that freezes: no ice yet [MJ/m²], and the probe last seen at 0 °C."""
    return np.concatenate([state, np.zeros((len(state), 2))], axis=1)


def profile_c(state: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The temperatures [°C] of the column's cells, (beds, cells), with their centres and thicknesses [m]."""
    modes = modes_of_the_column()
    cells = sum(state[:, k, None] * modes.shapes[:, k] for k in range(CELLS))
    return np.asarray(cells), modes.centre_m.copy(), modes.thickness_m.copy()


def advance(
    state: FloatArray, surface_c: ArrayLike, resistance_m2k_w: ArrayLike, soil: SoilColumn
) -> tuple[FloatArray, Trajectory]:
    """Carry the column through steps of known forcing: modal heat conduction under a changing layer.

    In each step the flux is constant, q = (u − mean surface temperature over the step) / R, the mean taken with the
    flux's own effect in it; so R may be 0. Then the surface's mean follows u exactly, and after a sudden jump the
    warmth at 3 cm dips once by at most 0.03 of the jump, in the third step.

    Parameters
    ----------
    state
        Amplitudes of the modes [°C], (beds, modes), from `even_state`, `steady_state` or an earlier call. Their sum is
        the temperature of the topmost centimetre. They do not depend on the soil: it may differ between calls.
    surface_c
        u, what the layer's upper side feels [°C], (beds, days), or (1, days) or (days,) for all beds.
    resistance_m2k_w
        R of the layer [m² K/W], ≥ 0, broadcasting with `surface_c`; infinite means no heat passes.
    soil
        Soils, depths wanted and step.

    Returns
    -------
    state, trajectory
        The state after the last step, and `Trajectory`. A step whose u or R is NaN (or R < 0) lets no heat through
        the surface: warmth only evens out within the soil, and the trajectory says NaN for it. That keeps the state
        usable; it is no estimate, so whoever can fill such steps should, and widen the spread after them.
        The answer for a bed is the same, bit for bit, whichever beds stand beside it.

    Raises
    ------
    ValueError
        Shapes that do not broadcast to (beds, days).
    """
    beds, asked = len(state), np.atleast_2d(_array(soil.depths_m))
    if beds == 1:  # a row of one would be summed over its modes in another order
        after, found = advance(np.repeat(state, 2, axis=0), surface_c, resistance_m2k_w, soil)
        return after[:1], Trajectory(*(getattr(found, name)[:1] for name in Trajectory.__slots__))
    depths, probe = _with_probe(asked, soil.freezing)
    days = np.broadcast_shapes(np.shape(np.atleast_2d(surface_c)), np.shape(np.atleast_2d(resistance_m2k_w)))[1]
    forcing, resistance = (widened(_array(v), (beds, days)) for v in (surface_c, resistance_m2k_w))
    depths = widened(depths, (beds, depths.shape[1]))
    conductivity, capacity = _soils(soil, beds)
    store = widened(_array(soil.freezing.store_mj_m2 if soil.freezing else 0.0), (beds,))
    after = np.empty(state.shape)
    seen, flux = np.empty((days, 1 + depths.shape[1], beds)), np.empty((days, beds))
    for block in _blocks(beds):
        asks = column_of(conductivity[block], capacity[block], depths[block], soil.step_s)
        results = (seen[..., block], flux[:, block])
        curtain = (
            None
            if soil.freezing is None
            else Curtain(
                soil.freezing, store[block], state[block, CELLS:].T, asks.step.to_surface, soil.step_s, row=1 + probe
            )
        )
        amplitudes = state[block, :CELLS]
        after[block, :CELLS] = _march_block(amplitudes, forcing[block], resistance[block], asks, results, curtain)
        if curtain is not None:
            after[block, CELLS:] = curtain.state()
    shown = seen[:, 1 : 1 + asked.shape[1]]
    return after, Trajectory(shown.transpose(2, 0, 1), seen[:, 0].T, flux.T)


def _blocks(beds: int) -> Iterator[slice]:
    """Blocks of about the same size, so that none holds a single bed where there are more."""
    size = -(-beds // max(-(-beds // _BEDS_A_BLOCK), 1))
    return (slice(start, start + size) for start in range(0, beds, max(size, 1)))


def _with_probe(depths_m: FloatArray, freezing: Freezing | None) -> tuple[FloatArray, int]:
    """The depths with the one that tells of freezing among them, and its place."""
    if freezing is None:
        return depths_m, 0
    there = np.flatnonzero((depths_m == freezing.probe_m).all(axis=0))
    if there.size:
        return depths_m, int(there[0])
    return np.concatenate([depths_m, np.full((len(depths_m), 1), freezing.probe_m)], axis=1), depths_m.shape[1]


def steady_state(
    mean_year_c: ArrayLike, day_of_year: float, resistance_m2k_w: ArrayLike, soil: SoilColumn
) -> FloatArray:
    """The state that an endlessly repeated year settles into: exact linear response of every mode.

    Parameters
    ----------
    mean_year_c
        Mean, then cosine and sine amplitude of each harmonic of the year [°C], (1 + 2 harmonics,) or one row a bed:
        u(d) = mean + Σ cos_j cos(2πjd/365.25) + sin_j sin(2πjd/365.25), d the day of the year.
    day_of_year
        Day of the step that `advance` will take first from this state.
    resistance_m2k_w
        R of the layer through the year [m² K/W], (beds,) or one for all; NaN or below zero gives NaN.
    soil
        As for `advance`; the depths are not used.

    Returns
    -------
    FloatArray
        State (beds, modes), for as many beds as the arguments have.
    """
    layer, terms = _array(resistance_m2k_w), np.atleast_2d(_array(mean_year_c))
    beds = np.broadcast(terms[:, 0], layer, soil.conductivity_w_mk, soil.heat_capacity_mj_m3k).size
    terms, layer = np.broadcast_to(terms, (beds, terms.shape[1])), np.broadcast_to(layer, (beds,))
    conductivity, capacity = _soils(soil, beds)
    known = (layer >= 0.0) & (conductivity > 0.0) & (capacity > 0.0)
    # Complex arithmetic on NaN warns, so unknown beds are computed as some soil and blanked at the end.
    step = step_of(np.where(known, conductivity, 1.0), np.where(known, capacity, 1e6), soil.step_s)
    impedance = np.where(known, layer, 0.0) + step.to_surface
    state = even_state(terms[:, 0])
    for harmonic in range(1, (terms.shape[1] + 1) // 2):
        turn = 2.0 * np.pi * harmonic / YEAR_DAYS
        cosine, sine = terms[:, 2 * harmonic - 1], terms[:, 2 * harmonic]
        each = step.gain / (np.exp(1j * turn * soil.step_s / DAY_S) - step.kept)
        answer = sum_modes(step.mean * each.real) + 1j * sum_modes(step.mean * each.imag)
        response = each * (np.exp(1j * turn * day_of_year) / (impedance + answer))
        state += (cosine * response.real + sine * response.imag).T
    state[~known] = np.nan
    return state


def _soils(soil: SoilColumn, beds: int) -> tuple[FloatArray, FloatArray]:
    """λ [W/m/K] and C [J/m³/K] of each bed, NaN where they cannot be."""
    both = (_array(soil.conductivity_w_mk), _array(soil.heat_capacity_mj_m3k) * 1e6)
    conductivity, capacity = (widened(np.where(v > 0.0, v, np.nan), (beds,)) for v in both)
    return conductivity, capacity


def _march_block(
    state: FloatArray,
    forcing: FloatArray,
    resistance: FloatArray,
    asks: Column,
    results: tuple[FloatArray, FloatArray],
    curtain: Curtain | None,
) -> FloatArray:
    """One block of beds through all days, into `results`: (days, rows, beds) and (days, beds). The state after."""
    seen, flux = results
    driven, layer = forcing.T.copy(), resistance.T.copy()
    unknown = ~(np.isfinite(driven) & (layer >= 0.0))
    holes = bool(unknown.any())
    if holes:
        driven[unknown], layer[unknown] = 0.0, np.inf
    if curtain is not None:
        curtain.probe_rise = asks.rises[curtain.row]
    after = _march(state.T, driven, 1.0 / (layer + asks.step.to_surface), asks, results, curtain)
    for row, rise in enumerate(asks.rises):
        seen[:, row] += rise * flux
    if holes:
        for found in (flux, *(seen[:, row] for row in range(len(asks.rises)))):
            found[unknown] = np.nan
    return after.T


def _march(
    amplitudes: FloatArray,
    driven: FloatArray,
    admittance: FloatArray,
    asks: Column,
    results: tuple[FloatArray, FloatArray],
    curtain: Curtain | None,
) -> FloatArray:
    """The days' loop over arrays (modes, beds); all that does not need yesterday is done outside it."""
    step, weights = asks.step, asks.weights
    stored = np.ascontiguousarray(amplitudes / step.gain)  # so that a day's flux is simply added
    for day, (u, conducts, row, q) in enumerate(zip(driven, admittance, *results, strict=True)):
        # Mode after mode for all beds side by side: so a bed's sum does not depend on how many beds there are.
        np.einsum("lmb,mb->lb", weights, stored, out=row)
        if curtain is None or curtain.idle():
            np.subtract(u, row[0], out=q)
            np.multiply(q, conducts, out=q)
        else:
            q[:] = curtain.flux(day, row[0], driven, admittance)
        if curtain is not None:
            curtain.look(row[curtain.row], q)
        np.multiply(stored, step.kept, out=stored)
        np.add(stored, q, out=stored)
    return stored * step.gain


def _array(values: ArrayLike) -> FloatArray:
    return np.asarray(values, dtype=np.float64)
