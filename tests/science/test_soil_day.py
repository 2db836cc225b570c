"""The day's course at a depth: its share and lag as the closed forms have them, and what an hour's reading is worth."""

import numpy as np
import pytest

from haulm.science import soil_day

MOIST_SAND, MOIST_CLAY = (2.1, 2.12), (0.9, 2.27)


@pytest.mark.parametrize(("soil", "share", "lag_h"), [(MOIST_SAND, 0.546, 2.3), (MOIST_CLAY, 0.384, 3.7)])
def test_share_and_lag_at_10_cm_of_bare_soil(soil, share, lag_h):
    """Derived from the damped wave with Moene & van Dam's moist sand and clay (checks S5, S6)."""
    found, late = soil_day.day_wave(0.10, 0.0, *soil)
    assert found == pytest.approx(share, abs=0.003)
    assert late == pytest.approx(lag_h, abs=0.1)


@pytest.mark.parametrize(("layer", "share", "lag_h"), [(0.0, 0.4089, 3.42), (0.25, 0.1039, 5.73), (1.0, 0.0306, 6.21)])
def test_share_and_lag_under_a_layer(layer, share, lag_h):
    """Closed form, finite differences agree (checks S34): λ 1, C 2.2e6."""
    found, late = soil_day.day_wave(0.10, layer, 1.0, 2.2)
    assert found == pytest.approx(share, abs=0.0006)
    assert late == pytest.approx(lag_h, abs=0.05)


def test_a_days_readings_have_no_deviation_on_the_whole_and_most_in_the_afternoon():
    hours = np.arange(0.0, 24.0, 0.25)
    off = soil_day.off_the_mean_c(hours, 9.0, 0.3, 4.0)
    assert off.mean() == pytest.approx(0.0, abs=1e-9)
    assert off.max() == pytest.approx(2.7, abs=0.01)
    assert hours[off.argmax()] == pytest.approx(17.5)
    assert hours[off.argmin()] == pytest.approx(5.5)


def test_the_surface_swings_with_the_air_and_the_sun_and_never_backwards():
    assert soil_day.surface_swing_c(10.0, 20.0, 0.0) == pytest.approx(5.0)
    assert soil_day.surface_swing_c(10.0, 20.0, 4.0) == pytest.approx(5.0 + 2.0 * np.pi)
    assert soil_day.surface_swing_c(10.0, 20.0, -3.0) == pytest.approx(5.0)
    assert soil_day.surface_swing_c(10.0, 9.0, 0.0) == 0.0
    assert np.isnan(soil_day.surface_swing_c(np.nan, 20.0, 1.0))
