"""What readings teach: little from one, much from many, nothing from a wild one; and how wide the doubt is."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haulm.science import soil_learning as learning
from haulm.science import soil_surface as surface
from haulm.science.soil_freezing import Freezing
from haulm.science.soil_temperature import SoilColumn
from haulm.science.sun import top_radiation_mj

DAYS = 3 * 365 + 1
DAY_OF_YEAR = (np.arange(DAYS) % 365.25).astype(int) + 1.0


@pytest.fixture(scope="module")
def place():
    """Three plain years at 45 degrees north: the soil, and the series."""
    rng = np.random.default_rng(5)
    mean = 10.0 - 12.0 * np.cos(2 * np.pi * (DAY_OF_YEAR - 25) / 365.25) + rng.normal(0, 3, DAYS)
    low, high = (mean - 5.0)[None, :], (mean + 5.0)[None, :]
    rain = np.where(rng.random((1, DAYS)) < 0.3, rng.gamma(0.8, 8.0, (1, DAYS)), 0.0)
    sun = top_radiation_mj(45.0, DAY_OF_YEAR)[None, :]
    _, felt = surface.advance(surface.start_state(1), low, high, rain, sun, 0.9)
    soil = SoilColumn(1.5, 2.2, np.array([[0.10]]), freezing=Freezing())
    turn = learning.season_turn(45.0, DAY_OF_YEAR)
    estimate, series = learning.sensitivity_series(felt, 0.0, turn, DAY_OF_YEAR, soil)
    return estimate[0, :, 0], series[:, 0, :, 0]


@pytest.fixture
def at():
    """Ten days from March to October of the second year."""
    return np.linspace(365 + 70, 365 + 300, 10).astype(int)


def test_without_readings_the_prior_stands(place):
    none = np.array([])
    learned = learning.learn(none, np.empty((4, 0)), none)
    assert (learned.mean == 0.0).all()
    np.testing.assert_array_equal(learned.covariance, learning.PLACES)


def test_the_prior_is_a_covariance():
    assert (np.linalg.eigvalsh(learning.PLACES) > 0).all()


def test_one_reading_moves_little_and_many_move_much(place, at):
    soil, series = place
    truth = soil + 2.0
    moved = []
    for count in (1, 3, 10):
        some = at[:: 10 // count][:count]
        learned = learning.learn(truth[some] - soil[some], series[:, some], some.astype(float))
        moved.append(float((learned.mean @ series)[at].mean()))
    assert 0.0 < moved[0] < moved[1] < moved[2] <= 2.0
    assert moved[2] > 1.4


@pytest.mark.parametrize("coefficients", [(1.0, 0, 0, 0), (0, 1.0, 0, 0), (0, 0, 1.0, 0), (0.5, -0.8, 0.6, 0.3)])
def test_a_place_that_differs_in_a_known_way_is_found(place, coefficients):
    soil, series = place
    truth = soil + np.array(coefficients) @ series
    days = np.arange(365, DAYS, 12)
    learned = learning.learn((truth - soil)[days], series[:, days], days.astype(float))
    left = truth - soil - learned.mean @ series
    assert left.std() + abs(left.mean()) < 0.5 * ((truth - soil).std() + abs((truth - soil).mean()))


def test_a_wild_reading_is_questioned_and_not_used(place, at):
    _, series = place
    miss = np.full(10, 0.5)
    calm = learning.learn(miss, series[:, at], at.astype(float))
    wild = miss.copy()
    wild[4] += 8.0
    learned = learning.learn(wild, series[:, at], at.astype(float))
    assert learned.questioned.tolist() == [False] * 4 + [True] + [False] * 5
    np.testing.assert_allclose(learned.mean, calm.mean, atol=0.2)
    assert not calm.questioned.any()


def test_readings_close_together_teach_less_than_readings_apart(place):
    soil, series = place
    apart, close = np.arange(440, 640, 40), np.arange(440, 445)
    doubt = []
    for days in (apart, close):
        learned = learning.learn(np.zeros(5), series[:, days], days.astype(float))
        doubt.append(learning.spread_c(series, learned.covariance, soil)[500])
    assert doubt[0] < doubt[1]


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=25)
def test_no_reading_makes_the_doubt_wider(place, seed):
    soil, series = place
    rng = np.random.default_rng(seed)
    days = np.sort(rng.choice(np.arange(365, DAYS), size=rng.integers(1, 12), replace=False))
    learned = learning.learn(rng.normal(0, 1, len(days)), series[:, days], days.astype(float))
    before = learning.spread_c(series, learning.PLACES, soil)
    after = learning.spread_c(series, learned.covariance, soil)
    assert (after <= before + 1e-9).all()
    assert (after >= 0.85).all()


def test_a_reading_that_is_not_known_is_left_out(place, at):
    _, series = place
    miss = np.full(10, 1.0)
    miss[3] = np.nan
    kept = np.delete(np.arange(10), 3)
    with_hole = learning.learn(miss, series[:, at], at.astype(float))
    without = learning.learn(miss[kept], series[:, at[kept]], at[kept].astype(float))
    np.testing.assert_allclose(with_hole.mean, without.mean, atol=1e-12)


def test_the_turn_of_the_seasons_has_its_sign_on_both_sides_of_the_equator():
    spring, autumn = 80.0, 265.0
    assert learning.season_turn(45.0, [spring])[0] > 0.9
    assert learning.season_turn(45.0, [autumn])[0] < -0.9
    assert learning.season_turn(-45.0, [spring])[0] < -0.9
