"""How long tubers sleep, and their age: that cooler is longer is published, the figures are judgement."""

import numpy as np
import pytest

from haulm.science.dormancy import AGE_BASE_C, SLEEP_AT_C, SLEEP_DAYS, age_c_d, slept_share


@pytest.mark.parametrize(("store_c", "days"), list(zip(SLEEP_AT_C, SLEEP_DAYS, strict=True)))
def test_at_one_warmth_the_sleep_takes_its_days(store_c, days):
    slept = slept_share(np.full(200, store_c))
    assert slept[int(days) - 2] < 1.0 <= slept[int(days) - 1] + 1e-9


def test_cooler_is_longer():
    """Published: University of Idaho."""
    slept = slept_share(np.array([[2.0], [6.0], [12.0], [18.0], [25.0]]) * np.ones(90))[:, -1]
    assert (np.diff(slept) > 0.0).all()


def test_the_ends_of_the_table_hold_and_nothing_is_known_after_a_hole():
    assert slept_share(np.full(10, -5.0))[-1] == slept_share(np.full(10, 3.0))[-1]
    assert slept_share(np.full(10, 40.0))[-1] == slept_share(np.full(10, 28.0))[-1]
    hole = slept_share(np.array([10.0, np.nan, 10.0]))
    assert np.isfinite(hole[0])
    assert np.isnan(hole[1:]).all()


def test_age_is_counted_in_day_degrees_above_four():
    """Base of O'Brien et al. 1983 (abstract): 10 days at 14 °C make 100 °C d, and a cold day none."""
    assert AGE_BASE_C == 4.0
    assert age_c_d(np.full(10, 14.0))[-1] == pytest.approx(100.0)
    np.testing.assert_allclose(age_c_d(np.array([4.0, 3.0, 5.5])), [0.0, 0.0, 1.5])
