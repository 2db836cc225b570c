"""The column taken apart: what one step does to a mode, worked out in many digits, and where the cells lie."""

from decimal import Decimal, localcontext

import numpy as np
import pytest

from haulm.science import soil_modes
from haulm.science.soil_modes import CELLS, modes_of_the_column, step_of


def means_over_a_step(fade: float) -> tuple[float, float]:
    """Of exp(−x t), and of the rise (1 − exp(−x t)) / x, t from 0 to 1: in fifty digits."""
    with localcontext() as many:
        many.prec = 50
        x = Decimal(fade)
        return float((1 - (-x).exp()) / x), float((x - 1 + (-x).exp()) / x**2)


@pytest.mark.parametrize("conductivity", [0.02, 0.25, 1.3, 2.9])
def test_a_step_is_exact_for_slow_and_fast_modes(conductivity):
    """ds/dt = −x s + q: kept, mean and rise by its solution, on both sides of where the series takes over."""
    modes, step_s, capacity = modes_of_the_column(), 86_400.0, 2.2e6
    step = step_of(np.array([conductivity]), np.array([capacity]), step_s)
    fade = modes.rates_m2 * conductivity / capacity * step_s
    push = modes.weights_m * step_s / capacity
    assert (fade[1:] < 0.02).any()
    assert (fade > 0.02).any()
    for mode in range(1, CELLS):
        mean, rise = means_over_a_step(float(fade[mode]))
        assert step.kept[mode, 0] == pytest.approx(np.exp(-fade[mode]), rel=1e-12)
        assert step.mean[mode, 0] == pytest.approx(mean, rel=1e-11)
        assert step.gain[mode, 0] == pytest.approx(mean * push[mode], rel=1e-11)
        assert step.mean_gain[mode, 0] == pytest.approx(rise * push[mode], rel=1e-10)
    assert (step.kept[0, 0], step.mean[0, 0]) == (1.0, 1.0)  # the even pattern does not fade
    assert step.mean_gain[0, 0] == pytest.approx(push[0] / 2.0)


def test_at_the_middle_of_a_cell_the_column_is_as_warm_as_the_cell_down_to_the_deepest():
    modes = modes_of_the_column()
    depths = np.append(modes.centre_m, 99.0)[:, None]  # below the deepest it is as warm as there
    looks, topmost = soil_modes._looks(np.ascontiguousarray(depths).tobytes(), depths.shape)
    np.testing.assert_allclose(looks[1:-1, :, 0], modes.shapes, atol=1e-9)
    np.testing.assert_allclose(looks[-1, :, 0], modes.shapes[-1], atol=1e-9)
    assert topmost[0, 0] == 1.0
    np.testing.assert_allclose(topmost[1:], 0.0, atol=1e-12)
