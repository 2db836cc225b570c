"""What the ground feels: signs, bounds, resuming, and agreement with measured stations where they can be had."""

import importlib.util
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haulm.science import evapotranspiration as fao
from haulm.science import soil_surface as surface
from haulm.science.bed_surface import Bedding
from haulm.science.sun import top_radiation_mj


def weather(seed=3, days=400, rows=2):
    rng = np.random.default_rng(seed)
    day = np.arange(days) % 365 + 1.0
    mean = 9.0 - 13.0 * np.cos(2 * np.pi * (day - 25) / 365.25) + rng.normal(0, 3, (rows, days))
    half = rng.uniform(2, 8, (rows, days))
    rain = np.where(rng.random((rows, days)) < 0.3, rng.gamma(0.8, 8.0, (rows, days)), 0.0)
    return mean - half, mean + half, rain, np.broadcast_to(top_radiation_mj(46.0, day), (rows, days))


def run(state, air, cover=0.8):
    return surface.advance(state, *air, cover)


def test_it_resumes_exactly():
    air = weather()
    end, whole = run(surface.start_state(2), air)
    middle, first = run(surface.start_state(2), [part[:, :150] for part in air])
    last, then = run(middle, [part[:, 150:] for part in air])
    for name in ("temperature_c", "resistance_m2k_w", "warming_c"):
        joined = np.concatenate([getattr(first, name), getattr(then, name)], axis=1)
        np.testing.assert_allclose(joined, getattr(whole, name), rtol=0, atol=1e-12)
    np.testing.assert_allclose(last, end, rtol=0, atol=1e-12)


@pytest.mark.parametrize("rows", [2, 12])
@pytest.mark.parametrize("straw_m", [None, 0.1])
def test_one_row_is_the_same_alone_and_among_many(rows, straw_m):
    """Few rows are walked through in plain numbers, many as arrays: to the same bits, straw or none."""

    def felt_by(air):
        bedding = None if straw_m is None else Bedding(np.full(air[0].shape, straw_m))
        return surface.advance(surface.start_state(len(air[0])), *air, 0.8, bedding=bedding)

    air = weather(rows=rows)
    (after, many), (after_alone, alone) = felt_by(air), felt_by([part[1:2] for part in air])
    np.testing.assert_array_equal(after_alone[0], after[1])
    for name in surface.Felt.__slots__:
        np.testing.assert_array_equal(getattr(alone, name)[0], getattr(many, name)[1])


@given(st.integers(0, 2**32 - 1), st.floats(0, 1))
@settings(max_examples=25)
def test_stores_and_resistance_stay_in_bounds(seed, cover):
    state, felt = run(surface.start_state(2), weather(seed), cover)
    assert (state >= 0.0).all()
    assert (state[:, 1] <= surface.SurfaceConstants().wetness_mm + 1e-9).all()
    assert (felt.resistance_m2k_w > 0.0).all()
    assert np.isfinite(felt.temperature_c).all()


@pytest.mark.parametrize("cover", [1.0, 0.7])
def test_radiation_vapour_and_evaporation_are_those_of_fao_56(cover):
    """As `evapotranspiration` has them, which is held to the book's examples (eq. 8, 11-13, 38-40, 50, 52).

    The fourth power of the day's mean stands for the mean of the extremes' fourth powers: 0.3 % less on such a day.
    """
    low, high, top, known = 6.0, 18.0, 35.0, surface.SurfaceConstants()
    air = surface._air(*(np.full((1, 1), value) for value in (low, high, top)), np.array([cover]), None, known)
    vapour = fao.vapour_from_dew_point_kpa(low + 0.2 * 12.0 - known.dew_depression_c * (1.0 - cover))
    reaching = 0.17 * np.sqrt(12.0) * top
    net_mj = fao.net_radiation_mj(low, high, vapour, reaching, 0.75 * top)
    assert air.net_w * 0.0864 == pytest.approx(float(net_mj), rel=3e-3)
    deficit_kpa = fao.mean_saturation_vapour_kpa(low, high) - vapour
    assert air.deficit_k * 0.066 == pytest.approx(float(deficit_kpa))
    assert air.slope * 0.066 == pytest.approx(float(fao.vapour_slope_kpa_c(12.0)))
    assert air.reference_et_mm == pytest.approx(float(fao.hargreaves_et_mm(low, high, top)), rel=1e-6)
    assert air.radiating_w_m2_k == pytest.approx(4.0 * 0.97 * 5.670e-8 * 285.16**3)
    assert air.mean_c == pytest.approx(12.0)


def test_the_sky_is_never_clearer_than_clear_nor_brighter_than_overcast():
    """A range of 30 °C would give 93 % of the sun of the top of the air; a day of one temperature still has cloud."""
    known, top = surface.SurfaceConstants(), np.full((1, 1), 30.0)

    def net_w(low, high, sun):
        return surface._air(np.full((1, 1), low), np.full((1, 1), high), sun, np.ones(1), None, known).net_w.item()

    sunless = np.zeros((1, 1))
    gained = net_w(-5.0, 25.0, top) - net_w(-5.0, 25.0, sunless)
    assert gained * 0.0864 == pytest.approx(0.77 * 0.75 * 30.0)
    assert -15.0 < net_w(10.0, 10.0, sunless) < 0.0


@pytest.mark.parametrize("rows", [1, 12])
def test_snow_falls_lies_and_melts_by_the_degree(rows):
    """All snow at 0 °C, half of it at 1 °C, none at 2 °C; 3.5 mm melt a day for each degree above frost."""
    mean = np.array([0.0, 1.0, 2.0, 1.0, -5.0, 4.0])
    rain = np.array([10.0, 10.0, 10.0, 0.0, 2.0, 0.0])
    air = [np.tile(values, (rows, 1)) for values in (mean - 1.0, mean + 1.0, rain, np.full(6, 5.0))]
    packs, state = [], surface.start_state(rows)
    for day in range(6):
        state, _ = run(state, [part[:, day : day + 1] for part in air])
        packs.append(state[0, 0])
    assert packs == pytest.approx([10.0, 10.0 + 5.0 - 3.5, 11.5 - 7.0, 4.5 - 3.5, 1.0 + 2.0, 0.0])


@pytest.mark.parametrize("rows", [1, 12])
def test_what_falls_as_snow_wets_the_ground_only_as_it_melts(rows):
    """At 0 °C all of it lies; three degrees then melt all of 8 mm, which the half-empty surface takes up."""
    most, et_mm = surface.SurfaceConstants().wetness_mm, fao.hargreaves_et_mm([-1.0, 2.0], [1.0, 4.0], 5.0)
    state = surface.start_state(rows)
    for mean, rain_mm, water_mm, et in ((0.0, 8.0, most / 2.0, et_mm[0]), (3.0, 0.0, None, et_mm[1])):
        full = water_mm if water_mm is not None else min(state[0, 1] + 8.0, most)
        air = [np.full((rows, 1), value) for value in (mean - 1.0, mean + 1.0, rain_mm, 5.0)]
        state, _ = run(state, air)
        assert state[:, 1] == pytest.approx(full * np.exp(-et / most), rel=1e-6)


def test_snow_on_one_bed_melts_though_none_lies_on_the_others():
    mean = np.full((12, 20), 4.0)
    mean[3, :5] = -2.0
    rain = np.zeros((12, 20))
    rain[:, 2] = 30.0
    air = (mean - 1.0, mean + 1.0, rain, np.full((12, 20), 5.0))
    state, felt = run(surface.start_state(12), air)
    alone, felt_alone = run(surface.start_state(1), [part[3:4] for part in air])
    np.testing.assert_array_equal(state[3], alone[0])
    np.testing.assert_array_equal(felt.temperature_c[3], felt_alone.temperature_c[0])
    assert state[3, 0] == 0.0


@pytest.mark.parametrize("rows", [1, 12])
def test_the_surface_dries_in_e_foldings_and_holds_no_more_than_it_can(rows):
    low, high, top = np.full((rows, 1), 10.0), np.full((rows, 1), 26.0), np.full((rows, 1), 40.0)
    et_mm, most = float(fao.hargreaves_et_mm(10.0, 26.0, 40.0)), surface.SurfaceConstants().wetness_mm
    for rain_mm in (0.0, 3.0, 90.0):
        state, _ = run(surface.start_state(rows), (low, high, np.full((rows, 1), rain_mm), top))
        full = min(most / 2.0 + rain_mm, most)
        assert state[:, 1] == pytest.approx(full * np.exp(-et_mm / most), rel=1e-6)


def test_bare_dry_ground_in_summer_is_warmer_than_the_air_and_green_wet_ground_less_so():
    low, high = np.full((1, 60), 14.0), np.full((1, 60), 32.0)
    sun = np.full((1, 60), 41.0)
    dry = run(surface.start_state(1), (low, high, np.zeros((1, 60)), sun), 0.1)[1]
    wet = run(surface.start_state(1), (low, high, np.full((1, 60), 8.0), sun), 0.95)[1]
    assert dry.warming_c[0, -1] > wet.warming_c[0, -1]
    assert dry.warming_c[0, -1] > 5.0


def test_snow_keeps_frost_from_the_ground():
    low, high = np.full((1, 40), -14.0), np.full((1, 40), -6.0)
    sun = np.full((1, 40), 10.0)
    snow = np.zeros((1, 40))
    snow[0, :5] = 10.0
    bare = run(surface.start_state(1), (low, high, np.zeros((1, 40)), sun))[1]
    under = run(surface.start_state(1), (low, high, snow, sun))[1]
    assert under.temperature_c[0, -1] > bare.temperature_c[0, -1] + 4.0


def test_plants_cover_more_of_the_ground_where_it_rains():
    shares = surface.plant_cover([0.0, 0.2, 0.6, 1.5])
    assert shares[0] == 0.0
    assert (np.diff(shares) > 0).all()
    assert shares[-1] < 1.0


def test_a_day_that_is_not_known_stays_in_its_own_row():
    air = [part.copy() for part in weather()]
    air[0][0, 100] = np.nan
    felt = run(surface.start_state(2), air)[1]
    assert np.isnan(felt.temperature_c[0, 100])
    assert np.isfinite(felt.temperature_c[1]).all()


def test_measured_stations_are_met():
    """Pooled over every sixth dev station: below 1.75 °C without readings (the left-out figure of all is 1.55)."""
    folder = os.environ.get("HAULM_MEASURED_DATA")
    if not folder:
        pytest.skip("HAULM_MEASURED_DATA is not set: the measured data are not part of the project")
    where = Path(__file__).parents[1] / "accuracy" / "soil.py"
    spec = importlib.util.spec_from_file_location("accuracy_soil", where)
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    errors = []
    for number, (_, latitude, first, values) in enumerate(script.stations(Path(folder) / "soil_stations_dev.csv.gz")):
        if number % 6 == 0:
            soil, _ = script.predict(latitude, first, values)
            errors.append((soil - values["soil_10cm_c"])[365:])
    error = np.concatenate(errors)
    error = error[np.isfinite(error)]
    assert len(error) > 40_000
    assert np.sqrt(np.mean(error**2)) <= 1.75
    assert abs(error.mean()) <= 0.5
