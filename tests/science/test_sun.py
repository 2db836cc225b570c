"""The sun of FAO-56 chapter 3: published examples, an independent library, and what must hold everywhere."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
import refet.calcs
from hypothesis import given
from hypothesis import strategies as st

from haulm.science import sun

CASES = json.loads((Path(__file__).parents[1] / "reference" / "sun.json").read_text(encoding="utf-8"))
LATITUDES = st.floats(-90, 90)
DAYS = st.integers(1, 366)


def cases(equation):
    return [pytest.param(case, id=case["id"]) for case in CASES if case["equation"] == equation]


def agrees(case, equation):
    found = equation(**case["inputs"])
    assert found == pytest.approx(case["expected"], abs=case["tolerance"])


def test_every_reference_value_is_asked_for():
    asked = {"sun_distance_factor", "declination_rad", "sunset_angle_rad", "top_radiation_mj", "daylight_hours",
             "radiation_from_sunshine_mj", "clear_sky_radiation_mj", "radiation_from_range_mj"}  # fmt: skip
    assert {case["equation"] for case in CASES} == asked


@pytest.mark.parametrize("case", cases("sun_distance_factor"))
def test_eq_23_distance(case):
    agrees(case, sun.sun_distance_factor)


@pytest.mark.parametrize("case", cases("declination_rad"))
def test_eq_24_declination(case):
    agrees(case, sun.declination_rad)


@pytest.mark.parametrize("case", cases("sunset_angle_rad"))
def test_eq_25_sunset_angle(case):
    agrees(case, sun.sunset_angle_rad)


@pytest.mark.parametrize("case", cases("top_radiation_mj"))
def test_eq_21_radiation_at_the_top(case):
    agrees(case, sun.top_radiation_mj)


@pytest.mark.parametrize("case", cases("daylight_hours"))
def test_eq_34_daylight(case):
    agrees(case, sun.daylight_hours)


@pytest.mark.parametrize("case", cases("radiation_from_sunshine_mj"))
def test_eq_35_radiation_from_sunshine(case):
    agrees(case, sun.radiation_from_sunshine_mj)


@pytest.mark.parametrize("case", cases("clear_sky_radiation_mj"))
def test_eq_37_clear_sky(case):
    agrees(case, sun.clear_sky_radiation_mj)


@pytest.mark.parametrize("case", cases("radiation_from_range_mj"))
def test_eq_50_radiation_from_the_daily_range(case):
    agrees(case, sun.radiation_from_range_mj)


def test_radiation_agrees_with_an_independent_library():
    latitude = np.linspace(-60, 60, 25)[:, None]
    day = np.arange(1, 366)
    theirs = refet.calcs.ra_daily(np.radians(latitude), day, method="asce")
    np.testing.assert_allclose(sun.top_radiation_mj(latitude, day), theirs, rtol=1e-12)


@given(LATITUDES, DAYS)
def test_the_sun_is_finite_and_bounded_from_pole_to_pole(latitude, day):
    radiation, hours = float(sun.top_radiation_mj(latitude, day)), float(sun.daylight_hours(latitude, day))
    assert 0.0 <= radiation < 50.0
    assert 0.0 <= hours <= 24.0


def test_polar_night_and_polar_day():
    assert sun.daylight_hours(80, [172, 355]).tolist() == pytest.approx([24.0, 0.0])
    assert sun.top_radiation_mj(80, 355) == pytest.approx(0.0, abs=1e-12)


def test_the_southern_year_mirrors_the_northern_half_a_turn_later():
    day = np.arange(1, 184)
    north, south = sun.daylight_hours(45, day), sun.daylight_hours(-45, day)
    np.testing.assert_allclose(north + south, 24.0, atol=1e-9)


def test_scalars_and_arrays_give_the_same():
    latitude, day = np.array([[-35.0], [0.0], [68.0]]), np.array([1, 90, 200])
    table = sun.top_radiation_mj(latitude, day)
    assert table.shape == (3, 3)
    alone = [[float(sun.top_radiation_mj(float(row[0]), int(one))) for one in day] for row in latitude]
    np.testing.assert_array_equal(table, alone)


def test_unknown_stays_unknown_and_leaves_the_others_alone():
    found = sun.radiation_from_range_mj([10.0, math.nan], [20.0, 20.0], 30.0)
    assert found[0] == pytest.approx(0.16 * math.sqrt(10) * 30)
    assert np.isnan(found[1])


@given(st.floats(-30, 40), st.floats(-30, 40), st.floats(0, 45), st.floats(0, 3000))
def test_radiation_from_the_range_never_passes_the_clear_sky(low, high, top, elevation):
    radiation = float(sun.radiation_from_range_mj(low, high, top, elevation_m=elevation))
    assert 0.0 <= radiation <= float(sun.clear_sky_radiation_mj(top, elevation))
