"""Chances of frost, and how far a forecast minimum may be off."""

import json
import math
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.science import frost

CASES = json.loads((Path(__file__).parents[1] / "reference" / "frost.json").read_text(encoding="utf-8"))


def cases(equation):
    return [pytest.param(case, id=case["id"]) for case in CASES if case["equation"] == equation]


def test_every_reference_value_is_asked_for():
    assert {case["equation"] for case in CASES} == {"normal_chance", "share_within", "spread_by_lead_c"}


@pytest.mark.parametrize("case", cases("normal_chance"))
def test_normal_chance(case):
    assert frost.normal_chance(**case["inputs"]) == pytest.approx(case["expected"], abs=case["tolerance"])


@pytest.mark.parametrize("case", cases("share_within"))
def test_the_first_night_s_spread_is_what_its_published_hits_imply(case):
    within, spread = case["inputs"]["within_c"], case["inputs"]["spread_c"]
    share = frost.normal_chance(within, 0.0, spread) - frost.normal_chance(-within, 0.0, spread)
    assert share == pytest.approx(case["expected"], abs=case["tolerance"])
    assert spread == frost.FIRST_NIGHT_SPREAD_C


@pytest.mark.parametrize("case", cases("spread_by_lead_c"))
def test_spread_by_lead(case):
    assert frost.spread_by_lead_c(**case["inputs"]) == pytest.approx(case["expected"], abs=case["tolerance"])


def test_the_first_night_s_spread_by_the_standard_library():
    assert pytest.approx(2.0 / NormalDist().inv_cdf(0.9325), abs=1e-3) == frost.FIRST_NIGHT_SPREAD_C


def test_normal_cdf_within_the_stated_error():
    z = np.linspace(-9, 9, 3001)
    exact = np.array([NormalDist().cdf(value) for value in z])
    assert np.abs(frost.normal_cdf(z) - exact).max() < 1.5e-7


@given(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6))
def test_normal_cdf_is_bounded_and_rises(one, other):
    low, high = sorted((one, other))
    assert 0.0 <= frost.normal_cdf(low) <= frost.normal_cdf(high) + 1.5e-7 <= 1.0 + 1.5e-7


def test_the_spread_grows_with_lead_and_is_never_below_the_first_night():
    leads = np.arange(-1.0, 30.0, 0.5)
    spread = frost.spread_by_lead_c(leads)
    assert (np.diff(spread) >= 0).all()
    assert spread.min() >= frost.FIRST_NIGHT_SPREAD_C
    assert np.isnan(frost.spread_by_lead_c(math.nan))


def test_thresholds_are_36_32_and_28_fahrenheit():
    """weather.gov/jan/frostfreeze: frost 36 °F, freeze 32 °F, hard freeze 28 °F."""
    found = [c * 1.8 + 32 for c in (frost.FROST_C, frost.FREEZE_C, frost.HARD_FREEZE_C)]
    assert found == pytest.approx([36.0, 32.0, 28.0], abs=1e-12)


@given(st.floats(-40, 40), st.floats(-40, 40), st.floats(0, 10))
def test_a_promise_is_never_certain(limit, mean, spread):
    assert 0.01 <= float(frost.chance_at_or_below(limit, mean, spread)) <= 0.99


def test_a_chance_inside_the_bounds_is_the_plain_normal_one():
    assert frost.chance_at_or_below(0.0, 2.0, 2.0) == frost.normal_chance(0.0, 2.0, 2.0)


def test_colder_nights_and_wider_spreads_raise_the_chance():
    by_mean = frost.chance_at_or_below(0.0, np.arange(6.0, -6.0, -1.0), 2.0)
    by_spread = frost.chance_at_or_below(0.0, 3.0, np.arange(1.0, 5.0, 0.5))
    assert (np.diff(by_mean) >= 0).all()
    assert (np.diff(by_spread) > 0).all()


def test_an_unknown_night_has_no_chance():
    assert np.isnan(frost.chance_at_or_below(0.0, [math.nan, 1.0], [1.0, math.nan])).all()


def test_scalars_and_arrays_give_the_same():
    mean, spread = np.array([[-2.0], [1.0], [5.0]]), np.array([0.5, 1.5, 3.0])
    table = frost.chance_at_or_below(0.0, mean, spread)
    alone = [[float(frost.chance_at_or_below(0.0, float(m[0]), float(s))) for s in spread] for m in mean]
    np.testing.assert_allclose(table, alone, rtol=0, atol=0)
