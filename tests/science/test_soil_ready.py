"""Runs of days at a limit, and the errors that are drawn about an estimate."""

import numpy as np
import pytest

from haulm.science import soil_ready
from haulm.science.soil_learning import PLACES, Errors, spread_c
from haulm.science.soil_ready import DRAWS, error_paths, first_mornings, quantiles_of_those_that_came

DAYS = 200
SERIES = np.stack([np.ones(DAYS), np.full(DAYS, 0.8), np.full(DAYS, -0.3), np.linspace(0.5, -0.5, DAYS)])
SOIL_C = np.linspace(-2.0, 18.0, DAYS)
NONE = np.zeros(DAYS)


@pytest.mark.parametrize(
    ("soil_c", "needed", "opens", "morning"),
    [
        ([10, 10, 10, 0, 0], 3, 0, 0),  # the run ended yesterday
        ([9, 10, 10, 10, 0], 3, 0, 1),
        ([10, 9, 10, 10, 10], 3, 0, 2),
        ([10, 10, 9, 10, 10], 3, 0, -1),
        ([10, 10, 10, 10, 0], 3, 1, 1),
        ([10, 10, 10, 0, 0], 3, 1, -1),  # the window opens after the warm spell
        ([9, 9, 9, np.nan, 10], 1, 0, 4),
        ([10, np.nan, 10, 10, 10], 3, 0, 2),  # a day not known is no warm day
    ],
)
def test_the_first_morning_after_a_run(soil_c, needed, opens, morning):
    found = first_mornings(np.array([soil_c], dtype=float), 10.0, needed, at_least=True, opens=opens)
    assert found.tolist() == [morning]


def test_an_autumn_run_is_one_of_days_at_or_below_the_limit():
    falling = np.array([[26.0, 25.0, 24.0, 23.0, 22.0, 21.0]])
    assert first_mornings(falling, 24.0, 3, at_least=False).tolist() == [2]
    assert first_mornings(falling, 20.0, 3, at_least=False).tolist() == [-1]


def test_no_morning_counts_before_the_window_opens_or_after_it_closes():
    soil = np.array([[12.0] * 9])
    for closes, morning in ((1, -1), (2, 2), (None, 2)):
        assert first_mornings(soil, 10.0, 3, at_least=True, opens=2, closes=closes).tolist() == [morning]


@pytest.mark.parametrize(
    ("mornings", "shares", "expected"),
    [
        ([3, 9, -1, 5], [0.0, 0.25, 0.5, 1.0], [3.0, 4.0, 5.0, 9.0]),  # those on which it never comes are left out
        ([7, -1, -1, -1], [0.1, 0.9], [7.0, 7.0]),
        ([-1, -1, -1, -1], [0.1, 0.9], [np.nan, np.nan]),
        ([0, 10, 20, 30], [0.1, 0.9], [3.0, 27.0]),
    ],
)
def test_quantiles_go_straight_from_one_morning_to_the_next(mornings, shares, expected):
    """Hyndman & Fan's definition 7 (from memory): the share p of n values stands at place (n − 1) p."""
    beside = [1, 1, 1, 1]
    found = quantiles_of_those_that_came(np.array([mornings, beside]), shares)
    np.testing.assert_allclose(found, [expected, [1.0] * len(shares)])


def test_errors_have_the_spread_that_the_estimate_is_told_with():
    """Of 48 draws the spread is known to about a tenth; over all days it is closer."""
    drawn = error_paths(SERIES, PLACES, SOIL_C, NONE, Errors())
    told = spread_c(SERIES, PLACES, SOIL_C)
    assert drawn.shape == (DRAWS, DAYS)
    assert np.abs(drawn.mean(axis=0)).max() < 1e-12
    assert np.sqrt(np.mean(drawn**2 / told**2)) == pytest.approx(1.0, abs=0.12)


def test_what_readings_taught_narrows_them_and_doubt_about_the_air_widens_them():
    plain = error_paths(SERIES, PLACES, SOIL_C, NONE, Errors())
    taught = error_paths(SERIES, PLACES / 50.0, SOIL_C, NONE, Errors())
    blind = error_paths(SERIES, PLACES, SOIL_C, np.full(DAYS, 2.0), Errors())
    assert taught.std() < 0.85 * plain.std()
    assert blind.std() > 1.2 * plain.std()


def test_a_place_s_error_lasts_and_a_day_s_fades():
    lasting = error_paths(SERIES, PLACES, SOIL_C, NONE, Errors(base_c=0.0, sun=0.0, frost=0.0))
    passing = error_paths(SERIES, PLACES * 0.0, SOIL_C, NONE, Errors())

    def kept(paths):
        return np.corrcoef(paths[:, 20], paths[:, 110])[0, 1]

    assert kept(lasting) > 0.95
    assert abs(kept(passing)) < 0.5


@pytest.mark.parametrize("fade_days", [3.5, 55.0])
def test_a_fading_course_forgets_itself_in_its_days_and_keeps_its_spread(fade_days):
    """AR(1) (textbook): correlation exp(−gap / days), standard deviation that of the shocks."""
    course = soil_ready._fading(np.random.default_rng(3).standard_normal((4000, 300)), fade_days)
    assert course.std() == pytest.approx(1.0, abs=0.02)
    gap = int(fade_days)
    for day in (400, 3000):
        kept = np.corrcoef(course[day - gap : day].ravel(), course[day : day + gap].ravel())[0, 1]
        assert kept == pytest.approx(np.exp(-gap / fade_days), abs=0.05)


def test_every_morning_draws_the_same_errors():
    first, again = (error_paths(SERIES, PLACES, SOIL_C, NONE, Errors()) for _ in range(2))
    assert (first == again).all()
