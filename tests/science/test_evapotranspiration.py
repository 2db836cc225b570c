"""Reference evapotranspiration: FAO-56 examples, an independent library, and what must hold everywhere."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
import refet
from hypothesis import assume, given
from hypothesis import strategies as st

from haulm.science import evapotranspiration as et
from haulm.science import sun

CASES = json.loads((Path(__file__).parents[1] / "reference" / "evapotranspiration.json").read_text(encoding="utf-8"))
AIR = st.floats(-40, 48)


def cases(*equations):
    return [pytest.param(case, id=case["id"]) for case in CASES if case["equation"] in equations]


def agrees(case, equation):
    found = equation(**case["inputs"])
    assert found == pytest.approx(case["expected"], abs=case["tolerance"])


def from_temperature_alone(*, air_min_c, air_max_c, wind_ms, latitude_deg, day_of_year, elevation_m):
    """The way of FAO-56 ch. 3 where only the day's extremes are known: dew point = minimum, Rs from the range."""
    top = sun.top_radiation_mj(latitude_deg, day_of_year)
    return et.grass_et_mm(air_min_c, air_max_c, et.vapour_from_minimum_kpa(air_min_c), wind_ms, top, elevation_m)


def test_every_reference_value_is_asked_for():
    asked = {"saturation_vapour_kpa", "mean_saturation_vapour_kpa", "vapour_slope_kpa_c", "air_pressure_kpa",
             "psychrometric_kpa_c", "wind_at_2m_ms", "vapour_from_humidity_kpa", "vapour_from_minimum_kpa",
             "net_longwave_mj", "net_radiation_mj", "penman_monteith_mm", "from_temperature_alone",
             "hargreaves_et_mm"}  # fmt: skip
    assert {case["equation"] for case in CASES} == asked


@pytest.mark.parametrize("case", cases("saturation_vapour_kpa"))
def test_eq_11_saturation(case):
    agrees(case, et.saturation_vapour_kpa)


@pytest.mark.parametrize("case", cases("mean_saturation_vapour_kpa"))
def test_eq_12_mean_saturation(case):
    agrees(case, et.mean_saturation_vapour_kpa)


@pytest.mark.parametrize("case", cases("vapour_slope_kpa_c"))
def test_eq_13_slope(case):
    agrees(case, et.vapour_slope_kpa_c)


@pytest.mark.parametrize("case", cases("air_pressure_kpa", "psychrometric_kpa_c"))
def test_eq_7_and_8_pressure(case):
    agrees(case, getattr(et, case["equation"]))


@pytest.mark.parametrize("case", cases("wind_at_2m_ms"))
def test_eq_47_wind(case):
    agrees(case, et.wind_at_2m_ms)


@pytest.mark.parametrize("case", cases("vapour_from_humidity_kpa", "vapour_from_minimum_kpa"))
def test_eq_17_and_48_vapour(case):
    agrees(case, getattr(et, case["equation"]))


@pytest.mark.parametrize("case", cases("net_longwave_mj", "net_radiation_mj"))
def test_eq_39_and_40_net_radiation(case):
    agrees(case, getattr(et, case["equation"]))


@pytest.mark.parametrize("case", cases("penman_monteith_mm"))
def test_eq_6_penman_monteith(case):
    agrees(case, et.penman_monteith_mm)


@pytest.mark.parametrize("case", cases("from_temperature_alone"))
def test_eq_6_from_temperature_alone(case):
    agrees(case, from_temperature_alone)


@pytest.mark.parametrize("case", cases("hargreaves_et_mm"))
def test_eq_52_hargreaves(case):
    agrees(case, et.hargreaves_et_mm)


def test_the_whole_of_example_18_from_what_was_measured():
    """Uccle, 6 July: FAO-56 p. 72 prints 3.88 ≈ 3.9 mm; here through every step unrounded."""
    top = sun.top_radiation_mj(50.8, 187)
    radiation = sun.radiation_from_sunshine_mj(9.25, sun.daylight_hours(50.8, 187), top)
    vapour = et.vapour_from_humidity_kpa(12.3, 21.5, 63, 84)
    net = et.net_radiation_mj(12.3, 21.5, vapour, radiation, sun.clear_sky_radiation_mj(top, 100))
    wind = et.wind_at_2m_ms(10 / 3.6, 10)
    assert et.penman_monteith_mm(12.3, 21.5, net, wind, vapour, 100) == pytest.approx(3.88, abs=0.005)


@given(
    st.floats(-15, 25), st.floats(0, 20), st.floats(0.5, 8), st.floats(0.05, 0.76), st.floats(0, 2500),
    st.floats(-55, 55), st.integers(1, 365),
)  # fmt: skip
def test_penman_monteith_agrees_with_an_independent_library(low, spread, wind, clearness, elevation, latitude, day):
    """The library rounds some constants otherwise (ASCE-EWRI 2005): 1 % or 0.02 mm is agreement.

    It lets condensing days go below nothing; here they are 0.
    """
    high, vapour = low + spread, et.vapour_from_minimum_kpa(low - 1.0)
    top = sun.top_radiation_mj(latitude, day)
    theirs = refet.Daily(
        tmin=low, tmax=high, rs=clearness * top, uz=wind, zw=2, elev=elevation, lat=latitude, doy=day, ea=vapour
    ).eto()
    net = et.net_radiation_mj(low, high, vapour, clearness * top, sun.clear_sky_radiation_mj(top, elevation))
    mine = et.penman_monteith_mm(low, high, net, wind, vapour, elevation)
    assert float(mine) == pytest.approx(max(float(theirs[0]), 0.0), rel=0.01, abs=0.02)


@given(
    st.floats(-5, 24), st.floats(2, 18), st.floats(5, 100), st.floats(0.5, 8), st.floats(0, 2500), st.floats(-55, 55),
    st.integers(1, 365),
)  # fmt: skip
def test_the_day_from_air_humidity_and_wind_agrees_with_an_independent_library(
    low, spread, humidity, wind, elevation, latitude, day
):
    """The library knows no radiation from the day's range, so it is given ours; 2 % or 0.03 mm is agreement."""
    high, top = low + spread, sun.top_radiation_mj(latitude, day)
    vapour = et.vapour_from_mean_humidity_kpa(low, high, humidity)
    radiation = sun.radiation_from_range_mj(low, high, top, elevation_m=elevation)
    theirs = refet.Daily(
        tmin=low, tmax=high, rs=radiation, uz=wind, zw=10, elev=elevation, lat=latitude, doy=day, ea=vapour
    ).eto()
    mine = et.grass_et_mm(low, high, vapour, et.wind_at_2m_ms(wind, 10.0), top, elevation)
    assume(wind * 0.748 >= et.LEAST_WIND_MS)  # the library has no least wind
    assert float(mine) == pytest.approx(max(float(theirs[0]), 0.0), rel=0.02, abs=0.03)


def test_eq_14_and_19_vapour_from_dew_point_and_from_mean_humidity():
    """A dew point at the minimum is saturation there; humidity of 100 % is saturation; FAO-56 Ex. 18 lies near."""
    assert et.vapour_from_dew_point_kpa(15.0) == pytest.approx(1.705, abs=6e-4)  # FAO-56 Table 2.3
    assert et.vapour_from_mean_humidity_kpa(12.3, 21.5, 100.0) == pytest.approx(
        et.mean_saturation_vapour_kpa(12.3, 21.5)
    )
    by_mean = float(et.vapour_from_mean_humidity_kpa(12.3, 21.5, (63 + 84) / 2))
    assert by_mean == pytest.approx(1.409, abs=0.07)  # eq 17 with the extremes: 1.409
    assert et.vapour_from_minimum_kpa(17.5, 2.5) == et.vapour_from_dew_point_kpa(15.0)


@given(AIR, st.floats(0.1, 15))
def test_warmer_air_holds_more(air, more):
    assert et.saturation_vapour_kpa(air + more) > et.saturation_vapour_kpa(air)
    assert float(et.vapour_slope_kpa_c(air)) > 0.0


def test_the_slope_is_the_derivative_of_saturation():
    air = np.linspace(-20, 45, 40)
    numeric = (et.saturation_vapour_kpa(air + 1e-4) - et.saturation_vapour_kpa(air - 1e-4)) / 2e-4
    np.testing.assert_allclose(et.vapour_slope_kpa_c(air), numeric, rtol=2e-4)  # 4098 is 17.27 × 237.3 rounded


@given(AIR, AIR, st.floats(0, 45))
def test_hargreaves_is_never_below_nothing_and_finite(low, high, top):
    loss = float(et.hargreaves_et_mm(low, high, top))
    assert 0.0 <= loss < 30.0
    assert float(et.hargreaves_et_mm(low, high, top + 1.0)) >= loss


def test_penman_monteith_grows_with_radiation_and_in_dry_air_with_wind():
    day = {"air_min_c": 12.0, "air_max_c": 26.0, "vapour_kpa": 1.2, "elevation_m": 100.0}
    by_radiation = et.penman_monteith_mm(**day, net_radiation_mj=np.arange(0.0, 18.0), wind_ms=2.0)
    by_wind = et.penman_monteith_mm(**day, net_radiation_mj=10.0, wind_ms=np.arange(0.5, 6.0))
    assert (np.diff(by_radiation) > 0).all()
    assert (np.diff(by_wind) > 0).all()


def test_a_condensing_day_loses_nothing():
    assert et.penman_monteith_mm(-5.0, 2.0, -3.0, 0.5, 0.6, 0.0) == 0.0


def test_a_sunless_day_does_not_divide_by_nothing():
    assert float(et.net_longwave_mj(-20.0, -10.0, 0.1, 0.0, 0.0)) > 0.0


def test_wind_stays_above_half_a_metre_a_second():
    """FAO-56 ch. 3: u2 ≥ 0.5 m/s, so that still air near the ground does not stop the loss."""
    still, breath = (et.penman_monteith_mm(12.0, 26.0, 10.0, wind, 1.2, 100.0) for wind in (0.0, 0.5))
    assert still == breath


def test_unknown_stays_unknown_and_leaves_the_others_alone():
    found = et.hargreaves_et_mm([14.8, math.nan, 14.8], [26.6, 26.6, math.nan], 40.55)
    assert np.isnan(found).tolist() == [False, True, True]
    assert np.isnan(et.penman_monteith_mm(12.0, 20.0, 10.0, math.nan, 1.2, 0.0))


def test_scalars_and_arrays_give_the_same():
    low, high = np.array([[5.0], [15.0]]), np.array([18.0, 25.0, 31.0])
    table = et.hargreaves_et_mm(low, high, 35.0)
    alone = [[float(et.hargreaves_et_mm(float(one[0]), float(other), 35.0)) for other in high] for one in low]
    np.testing.assert_array_equal(table, alone)
