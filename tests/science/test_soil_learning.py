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


# --- what can be worked out by hand: one number learned, of which the prior variance is P, from readings with error K

ALONE = np.array([[2.0]])
DAY = learning.Errors(reading_c=0.3, weather_c=0.4, weather_days=5.0, spell_c=1.2, spell_days=50.0)
K = 0.3**2 + 0.4**2 + 1.2**2  # independent errors add by their squares: 1.69


def test_errors_of_readings_fade_each_in_its_own_time():
    """exp(−gap / time), and what is a reading's own it shares with no other."""
    day = np.array([0.0, 0.0, 5.0, 55.0, 5000.0])
    found = learning.error_covariance(day, DAY)
    assert np.diag(found) == pytest.approx(K)
    assert found[0, 1] == pytest.approx(K - 0.09)
    assert found[0, 2] == pytest.approx(0.16 / np.e + 1.44 * np.exp(-0.1))
    assert found[2, 3] == pytest.approx(0.16 * np.exp(-10.0) + 1.44 / np.e)
    assert found[0, 4] == pytest.approx(0.0, abs=1e-12)
    assert (found == found.T).all()


def test_a_reading_may_have_an_error_of_its_own():
    found = learning.error_covariance(np.array([0.0, 9.0]), DAY, np.array([0.3, 1.0]))
    assert np.diag(found) == pytest.approx([K, K - 0.09 + 1.0])


@pytest.mark.parametrize("x", [1.0, -0.5, 3.0])
def test_one_reading_moves_one_number_by_the_share_of_its_variance(x):
    """θ = P x r / (x² P + K), variance P K / (x² P + K): the product of two normal densities."""
    learned = learning.learn(np.array([1.3]), np.array([[x]]), np.array([100.0]), DAY, places=ALONE)
    whole = 2.0 * x**2 + K
    assert learned.mean == pytest.approx([2.0 * x * 1.3 / whole])
    assert learned.covariance == pytest.approx(np.array([[2.0 * K / whole]]))


def test_readings_without_a_common_error_count_by_their_precision():
    """1 / variance = 1 / P + n / K, and the mean is that of the readings drawn to the prior's nought."""
    errors = learning.Errors(reading_c=0.5, weather_c=0.0, spell_c=0.0)
    learned = learning.learn(np.array([1.0, 1.2, 1.1]), np.ones((1, 3)), np.arange(3.0), errors, places=ALONE)
    precision = 1.0 / 2.0 + 3.0 / 0.25
    assert learned.covariance == pytest.approx(np.array([[1.0 / precision]]))
    assert learned.mean == pytest.approx([1.1 * (3.0 / 0.25) / precision])


@pytest.mark.parametrize(("deviations", "questioned"), [(3.49, False), (3.51, True), (-3.51, True)])
def test_a_lone_reading_is_questioned_by_how_far_the_prior_lets_it_lie(deviations, questioned):
    miss = np.array([deviations * np.sqrt(2.0 + K)])
    learned = learning.learn(miss, np.ones((1, 1)), np.zeros(1), DAY, places=ALONE)
    assert learned.questioned.tolist() == [questioned]
    assert (learned.mean == 0.0).all() == questioned
    assert (learned.covariance == ALONE).all() == questioned


def test_of_two_that_contradict_each_other_and_the_prior_the_worse_goes_first():
    """4 °C off and −9 °C off where 1.6 °C is usual: without the second the first may stand."""
    learned = learning.learn(np.array([4.0, -9.0]), np.ones((1, 2)), np.array([0.0, 500.0]), DAY, places=ALONE)
    assert learned.questioned.tolist() == [False, True]
    alone = learning.learn(np.array([4.0]), np.ones((1, 1)), np.zeros(1), DAY, places=ALONE)
    assert learned.mean == pytest.approx(alone.mean)


def test_the_spread_of_a_day_adds_what_is_not_known_of_the_place_to_its_own():
    errors = learning.Errors(base_c=0.6, sun=0.5, frost=0.4)
    series = np.array([[1.0, 1.0], [2.0, 0.0], [0.0, 1.0], [0.0, 0.0]])
    covariance = np.diag([0.25, 0.09, 1.0, 4.0])
    covariance[0, 1] = covariance[1, 0] = 0.1
    place = np.array([0.25 + 4 * 0.09 + 2 * 2 * 0.1, 0.25 + 1.0])
    own = np.array([0.36 + (0.5 * 2.0) ** 2, 0.36 + (0.4 * 3.0) ** 2])
    found = learning.spread_c(series, covariance, np.array([5.0, -3.0]), errors)
    assert found == pytest.approx(np.sqrt(place + own))


def test_straw_is_doubted_by_two_fifths_of_what_it_insulates():
    """0.1 to 0.6 W/m/K were measured (van Donk & Tollner 2000, abstract): of 0.4 m²K/W of straw 0.16 are in doubt.

    That is 1.6 units, each 0.3 of a natural third of a m²K/W; all else stays as it is known.
    """
    natural, straw = np.full(5, 1.0 / 3.0), np.full(5, 0.4)
    found = learning.places_under_straw(natural, straw)
    more = np.zeros((4, 4))
    more[2, 2] = (0.16 / (0.3 / 3.0)) ** 2
    assert found == pytest.approx(learning.PLACES + more)
    assert learning.places_under_straw(natural, np.zeros(5)) == pytest.approx(learning.PLACES)
