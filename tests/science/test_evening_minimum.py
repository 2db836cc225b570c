"""The FAO evening method: the handbook's own sample, its night trend, and what the blend and the fit may not do.

Snyder & de Melo-Abreu 2005, Frost protection, volume 1 (FAO); sample, prediction and trend as read in a public
implementation that carries them. The coefficients to seven digits are an own fit that reproduces that prediction.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.science.evening_minimum import (
    blended,
    evening_minimum_c,
    fit_evening,
    hour_reached,
    night_trend_c,
)

EVENING_C = [3.2, 0.8, 0.2, 2.6, 4.4, 5.2, 2.7, 1.2, 4.5, 5.6]
DEW_POINT_C = [-4.2, -8.8, -6.5, -6.2, -6.1, 2.6, -0.7, -1.7, -1.2, 0.1]
MINIMUM_C = [-3.1, -5.0, -6.3, -5.4, -4.0, -2.5, -4.8, -5.0, -4.4, -3.3]
NAN = math.nan


@pytest.fixture
def sample():
    return fit_evening(EVENING_C, DEW_POINT_C, MINIMUM_C)


def test_the_handbooks_sample_predicts_as_published(sample):
    assert evening_minimum_c(sample, 10.0, 2.0) == pytest.approx(-0.7409, abs=0.001)


def test_its_coefficients(sample):
    assert sample.evening_share == pytest.approx(0.50281, abs=1e-4)
    assert sample.dew_point_share == pytest.approx(0.02647, abs=1e-4)
    assert sample.constant_c == pytest.approx(-5.82199, abs=1e-4)
    assert sample.nights == 10
    # Published root mean square of the residuals: 0.631 over ten nights; the spread counts the degrees of freedom.
    assert sample.spread_c * math.sqrt(7 / 10) == pytest.approx(0.631, abs=5e-4)


def test_the_two_steps_matter(sample):
    """Joint least squares of the same data would give .44730, .04507 and -5.59240: that is not the method."""
    table = np.column_stack([EVENING_C, DEW_POINT_C, np.ones(10)])
    joint = np.linalg.lstsq(table, np.array(MINIMUM_C), rcond=None)[0]
    assert joint == pytest.approx([0.44730, 0.04507, -5.59240], abs=1e-4)
    assert abs(sample.evening_share - joint[0]) > 0.05


@pytest.mark.parametrize(
    ("evening_c", "minimum_c", "hour", "expected", "within"),
    [
        (0.95, -5.45, 3, -0.8250406, 1e-5),
        (0.95, -5.45, 4, -1.5602865, 1e-5),
        (0.95, -5.45, 5, -2.1244606, 1e-5),
        (0.95, -5.45, 15, -5.45, 1e-5),
        (33.7, 22.2, 3, 30.51047, 1e-4),  # in °F: the course is the same in any unit
    ],
)
def test_the_night_trend_as_published(evening_c, minimum_c, hour, expected, within):
    assert night_trend_c(evening_c, minimum_c, hour, 15) == pytest.approx(expected, abs=within)


@given(st.floats(-10, 20), st.floats(0.5, 20), st.floats(8, 18), st.floats(0.01, 0.99))
def test_the_hour_at_which_a_limit_is_reached_lies_on_the_trend(evening_c, fall_c, last, share):
    limit_c = evening_c - share * fall_c
    hour = hour_reached(evening_c, evening_c - fall_c, limit_c, last)
    assert 2.0 <= hour <= last
    assert night_trend_c(evening_c, evening_c - fall_c, hour, last) == pytest.approx(limit_c, abs=1e-6)


def test_a_limit_that_is_not_reached_or_was_passed_before():
    assert math.isnan(hour_reached(5.0, 1.0, 0.0, 12))
    assert hour_reached(-0.5, -4.0, 0.0, 12) == 2.0
    assert math.isnan(hour_reached(NAN, -4.0, 0.0, 12))
    assert night_trend_c(5.0, 1.0, [0.0, 20.0], 12).tolist() == [5.0, 1.0]


def test_nights_that_lack_something_are_left_out_and_few_nights_promise_nothing(sample):
    air, minimum = [*EVENING_C, NAN, 3.0], [*MINIMUM_C, -9.0, NAN]
    assert fit_evening(air, [*DEW_POINT_C, 0.0, 0.0], minimum) == sample
    for count in (0, 2):
        few = fit_evening(EVENING_C[:count], DEW_POINT_C[:count], MINIMUM_C[:count])
        assert math.isnan(few.constant_c)
        assert few.nights == count
    assert math.isnan(fit_evening(EVENING_C[:3], DEW_POINT_C[:3], MINIMUM_C[:3]).spread_c)
    same = fit_evening([1.0] * 9, DEW_POINT_C[:9], MINIMUM_C[:9])
    assert math.isnan(same.evening_share)


def test_a_blend_lies_between_nearer_the_surer_and_is_no_surer_than_strangers_would_be():
    mean, spread = blended(0.0, 1.4, 3.0, 1.8)
    assert 0.0 < mean < 1.5
    assert 1.4 / math.sqrt(1.0 + (1.4 / 1.8) ** 2) < spread < 1.4
    same, even = blended(2.0, 1.4, 2.0, 1.4)
    assert (same, even) == (2.0, pytest.approx(1.4 * math.sqrt(0.75)))
    assert blended(0.0, 1.0, 3.0, 2.0) == (0.0, 1.0)


@given(st.floats(0.5, 4), st.floats(0.5, 4))
def test_no_other_weight_makes_a_blend_surer(one, other):
    """Against a plain search over weights, with a correlation of one half."""
    tried = np.linspace(0.0, 1.0, 401)
    variance = (tried * one) ** 2 + ((1 - tried) * other) ** 2 + tried * (1 - tried) * one * other
    assert blended(0.0, one, 1.0, other)[1] == pytest.approx(math.sqrt(variance.min()), abs=1e-3)


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        ((1.0, 1.4), (NAN, 1.0), (1.0, 1.4)),
        ((1.0, 1.4), (2.0, NAN), (1.0, 1.4)),
        ((NAN, 1.4), (2.0, 1.0), (2.0, 1.0)),
        ((NAN, NAN), (NAN, NAN), (NAN, NAN)),
    ],
)
def test_what_is_not_known_leaves_the_other_as_it_is(first, second, expected):
    found = blended(first[0], first[1], second[0], second[1])
    assert np.array_equal(found, expected, equal_nan=True)


def _tenths(value):
    return round(value, 1)


@given(
    st.lists(
        st.tuples(st.floats(-5, 15).map(_tenths), st.floats(-10, 10).map(_tenths), st.floats(-2, 2)),
        min_size=8,
        max_size=40,
    )
)
def test_residuals_are_centred_and_a_shift_of_all_minima_shifts_the_answer(nights):
    air, dew_point, noise = (np.array(column) for column in zip(*nights, strict=True))
    minimum = 0.6 * air - 3.0 + noise
    fit, colder = fit_evening(air, dew_point, minimum), fit_evening(air, dew_point, minimum - 4.0)
    if math.isnan(fit.constant_c):
        return
    assert np.mean(evening_minimum_c(fit, air, dew_point) - minimum) == pytest.approx(0.0, abs=1e-6)
    moved = evening_minimum_c(colder, 5.0, 1.0) - evening_minimum_c(fit, 5.0, 1.0)
    assert moved == pytest.approx(-4.0, abs=1e-6)
