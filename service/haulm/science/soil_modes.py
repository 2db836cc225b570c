"""The soil column taken apart: its modes, and what one step does to them, whatever the weather (`soil_temperature`)."""

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

# Tuned against the closed forms (daily wave in half-hour steps, annual wave in daily steps; sand, clay, peat; R 0 to
# 1.5): ratios within 0.003, annual lags within 0.15 days.
CELLS = 18
_FIRST_CELL_M = 0.01
_GROWTH = 1.412


@dataclass(frozen=True, slots=True, eq=False)
class Modes:
    """The column taken apart: `rates_m2` fade (to be multiplied by κ), `shapes` are 1 in the topmost cell."""

    thickness_m: FloatArray
    centre_m: FloatArray
    rates_m2: FloatArray
    shapes: FloatArray
    weights_m: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """What one step does to each mode of each bed, (modes, beds): `kept` a, `mean` φ, `gain` b, `mean_gain` ψ.

    `to_surface` (beds,) is the surface's rise a unit of flux, over the step's mean.
    """

    kept: FloatArray
    mean: FloatArray
    gain: FloatArray
    mean_gain: FloatArray
    to_surface: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """What the days' loop asks of some soils, whatever the weather.

    `weights` is how the surface (row 0) and each depth see the modes' means, (rows, modes, beds), and `rises` what a
    unit of flux adds there, (rows, beds).
    """

    step: Step
    weights: FloatArray
    rises: FloatArray


@cache
def modes_of_the_column() -> Modes:
    """Those of finite volumes that grow with depth, down to about 12 m, with no heat through the floor."""
    thickness = np.asarray(_FIRST_CELL_M * _GROWTH ** np.arange(CELLS), dtype=np.float64)
    centre = np.cumsum(thickness) - thickness / 2.0
    between = 1.0 / np.diff(centre)
    conduction = np.diag(np.r_[between, 0.0] + np.r_[0.0, between]) - np.diag(between, 1) - np.diag(between, -1)
    root = np.sqrt(thickness)
    rates, vectors = np.linalg.eigh(conduction / np.outer(root, root))
    patterns = vectors / root[:, None]
    rates[0] = 0.0  # the even pattern: heat only leaves through the surface
    return Modes(thickness, centre, rates, patterns / patterns[0], patterns[0] ** 2)


def step_of(conductivity: FloatArray, capacity: FloatArray, step_s: float) -> Step:
    """Exact over the step: ds/dt = −κμ s + q w/C for each mode."""
    modes = modes_of_the_column()
    fade = modes.rates_m2[:, None] * (conductivity / capacity * step_s)
    mean = np.where(fade > 0.0, -np.expm1(-fade) / np.where(fade > 0.0, fade, 1.0), 1.0 + 0.0 * fade)
    series = 0.5 - fade / 6.0 * (1.0 - fade / 4.0 * (1.0 - fade / 5.0 * (1.0 - fade / 6.0 * (1.0 - fade / 7.0))))
    mean_of_rise = np.where(fade > 0.02, (1.0 - mean) / np.where(fade > 0.02, fade, 1.0), series)
    push = modes.weights_m[:, None] * (step_s / capacity)
    mean_gain = mean_of_rise * push
    half_cell = modes.thickness_m[0] / 2.0 / conductivity
    return Step(np.exp(-fade), mean, mean * push, mean_gain, sum_modes(mean_gain) + half_cell)


def column_of(conductivity: FloatArray, capacity: FloatArray, depths_m: FloatArray, step_s: float) -> Column:
    """Of soils λ and C (beds,), looked at in some depths (beds, depths)."""
    arrays = (np.ascontiguousarray(one) for one in (conductivity, capacity, depths_m.T))
    return _kept_column(*(one.tobytes() for one in arrays), depths_m.T.shape, step_s)


@lru_cache(maxsize=8)
def _kept_column(
    conductivity: bytes, capacity: bytes, depths_m: bytes, shape: tuple[int, int], step_s: float
) -> Column:
    """Kept for the next call, which mostly asks for the same soils."""
    step = step_of(np.frombuffer(conductivity), np.frombuffer(capacity), step_s)
    looks, topmost = _looks(depths_m, shape)
    half_cell = step.to_surface - sum_modes(step.mean_gain)
    rises = sum_modes(looks * step.mean_gain) + topmost * half_cell
    return Column(step, looks * (step.mean * step.gain), rises)


@lru_cache(maxsize=16)
def _looks(depths_m: bytes, shape: tuple[int, int]) -> tuple[FloatArray, FloatArray]:
    """The share of each mode, and of the drop over the topmost half cell, in the surface and at each depth.

    Between the surface and the cells' centres a cubic through the four nearest points. Kept for the next call, which
    mostly asks for the same depths.
    """
    modes = modes_of_the_column()
    points = np.r_[0.0, modes.centre_m]
    depths = np.clip(np.frombuffer(depths_m).reshape(shape), 0.0, points[-1])
    first = np.clip(np.searchsorted(points, depths) - 2, 0, CELLS - 3)
    shapes = np.vstack([np.ones(CELLS), modes.shapes])  # the surface is the topmost cell and half a cell's drop
    looks = np.zeros((*depths.shape, CELLS))
    topmost = np.zeros(depths.shape)
    for near in range(4):
        share = _cubic_share(depths, points, first, near)
        looks += share[..., None] * shapes[first + near]
        topmost += np.where(first + near == 0, share, 0.0)
    looks = np.concatenate([np.ones((1, *looks.shape[1:])), looks]).transpose(0, 2, 1)
    return np.ascontiguousarray(looks), np.concatenate([np.ones((1, shape[1])), topmost])


def _cubic_share(depths: FloatArray, points: FloatArray, first: NDArray[np.intp], near: int) -> FloatArray:
    """Lagrange's weight of one of the four points that begin at `first`."""
    share = np.ones(depths.shape)
    for other in range(4):
        if other != near:
            share *= (depths - points[first + other]) / (points[first + near] - points[first + other])
    return share


def _folds(buffer: FloatArray) -> tuple[list[tuple[FloatArray, FloatArray]], FloatArray]:
    """Views that sum a buffer over its modes (last axis but one) when each second is added into its first.

    Whole rows are added in pairs, so that the order of additions does not depend on how many beds there are; numpy's
    own sums and products of matrices do.
    """
    pairs, left = [], buffer.shape[-2]
    while left > 1:
        half = left // 2
        pairs.append((buffer[..., :half, :], buffer[..., left - half : left, :]))
        left -= half
    return pairs, buffer[..., 0, :]


def sum_modes(values: FloatArray) -> FloatArray:
    """Sums over the modes, (..., modes, beds): a bed's does not depend on how many beds there are."""
    folds, total = _folds(values.copy())
    for into, half in folds:
        np.add(into, half, out=into)
    return total
