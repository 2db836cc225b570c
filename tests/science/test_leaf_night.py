"""How cold the leaves get on a night that the screen calls mild, and what a thermometer among them teaches."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.science import leaf_night

SHARE = st.one_of(st.floats(0, 1), st.just(math.nan))
WIND = st.one_of(st.floats(0, 20), st.just(math.nan))
DEW = st.one_of(st.floats(-30, 25), st.just(math.nan))
NAN = math.nan
SET_C = 2.5  # the garden's 1.5 °C and the straw's 1 °C
USUAL_DEW = leaf_night.USUAL_DEW_POINT_C


def leaf(air_c, cloud, wind_ms, dew_point_c=NAN, range_ratio=NAN, spread_c=1.4, garden=None):
    sky = leaf_night.night_sky(cloud, wind_ms, dew_point_c, range_ratio)
    return leaf_night.leaf_minimum(air_c, spread_c, sky, garden or leaf_night.garden_night(SET_C))


@pytest.mark.parametrize(
    ("cloud", "wind", "weight"),
    [
        (0.0, 0.0, 1.0), (0.3, 2.0, 1.0), (0.5, 0.0, 0.5), (0.0, 3.0, 0.5), (0.5, 3.0, 0.5),
        (1.0, 0.0, 0.0), (0.0, 4.0, 0.0), (math.nan, 9.0, 0.0), (0.9, math.nan, 0.0),
    ],
)  # fmt: skip
def test_how_clear_and_calm(cloud, wind, weight):
    assert leaf_night.clear_and_calm(cloud, wind) == pytest.approx(weight)
    assert leaf_night.night_sky(cloud, wind, NAN).share == pytest.approx(weight)


@pytest.mark.parametrize(("cloud", "wind"), [(math.nan, 1.0), (0.1, math.nan), (math.nan, math.nan)])
def test_what_is_not_forecast_is_not_known_but_has_a_chance(cloud, wind):
    assert np.isnan(leaf_night.clear_and_calm(cloud, wind))
    sky = leaf_night.night_sky(cloud, wind, NAN)
    assert 0.0 < sky.share < 1.0
    assert sky.doubt == pytest.approx(math.sqrt(sky.share * (1.0 - sky.share)))  # of a thing that is so or not
    assert sky.doubt > leaf_night.FORECAST_DOUBT


def test_an_unknown_night_is_as_often_clear_as_the_place_s_nights():
    assert leaf_night.night_sky(NAN, NAN, NAN).share == pytest.approx(0.35)
    assert leaf_night.night_sky(NAN, NAN, NAN, 1.0).share == pytest.approx(0.35)


def test_a_large_range_of_the_day_speaks_for_a_clear_night_where_nothing_else_does():
    ratio = np.array([0.2, 0.6, 1.0, 1.4, 2.0])
    share = leaf_night.night_sky(NAN, NAN, NAN, ratio).share
    assert (np.diff(share) > 0).all()
    assert share[0] < 0.05
    assert share[-1] == leaf_night.MOST_SHARE
    known = leaf_night.night_sky(0.5, 1.0, NAN, ratio).share
    assert known == pytest.approx(0.5)  # cloud and wind themselves tell more


def test_the_loss_to_the_sky_by_dew_point():
    """FAO-56 equations 14 and 39 by hand: e(-8) = 0.3351 kPa, e(2) = 0.7060; 0.34 - 0.14 √e: 0.25896, 0.22237."""
    dry = leaf_night.night_sky(0.0, 0.0, [-8.0, 2.0, 10.0, 40.0, NAN]).dry
    assert dry[:2] == pytest.approx([0.25896 / 0.22237, 1.0], abs=1e-3)
    assert dry[2] < 1.0
    assert dry[3] == leaf_night.DAMPEST
    assert dry[4] == 1.0


@pytest.mark.parametrize(
    ("cloud", "wind_ms", "leaf_c"), [(0.1, 1.0, 0.5), (1.0, 1.0, 3.0), (0.1, 5.0, 3.0), (0.5, 1.0, 1.75)]
)
def test_leaf_height_on_clear_cloudy_windy_and_in_between_nights(cloud, wind_ms, leaf_c):
    assert leaf(3.0, cloud, wind_ms)[0] == pytest.approx(leaf_c)


def test_an_unknown_night_is_a_mixture_with_the_spread_of_both_kinds():
    """Mean 3 - 0.35 · 2.5; the kinds alone scatter by √(0.35 · 0.65) · 2.5 = 1.19 °C."""
    mean, spread = leaf(3.0, NAN, NAN)
    assert mean == pytest.approx(3.0 - 0.875)
    garden = leaf_night.garden_night(SET_C)
    kind = np.array([0.35, 0.65])
    of_garden = kind @ garden.covariance_c2 @ kind
    assert spread**2 == pytest.approx(1.4**2 + 1.1924**2 + of_garden + leaf_night.NIGHT_C**2, abs=1e-3)


def test_a_mixture_drawn_night_by_night_has_that_mean_and_spread():
    """Drawn from the stated parts, one after another: the closed form is no other than the draws say."""
    rng = np.random.default_rng(7)
    count = 400_000
    clear = rng.random(count) < 0.35
    colder = np.where(clear, rng.normal(SET_C, 1.0, count), rng.normal(0.0, 0.5, count))
    # One garden's two offsets belong to all its nights; drawn anew each night they scatter as √(p s1² + (1-p) s2²).
    drawn = 3.0 + rng.normal(0.0, 1.4, count) - colder + rng.normal(0.0, leaf_night.NIGHT_C, count)
    mean, spread = leaf(3.0, NAN, NAN)
    assert drawn.mean() == pytest.approx(float(mean), abs=0.02)
    assert drawn.std() == pytest.approx(float(spread), abs=0.12)


@given(SHARE, WIND, DEW, st.floats(-20, 20), st.floats(0.1, 5))
def test_leaves_lie_between_the_screen_and_the_whole_offset_and_are_never_surer_than_the_screen(
    cloud, wind, dew, air, spread
):
    mean, leaf_spread = leaf(air, cloud, wind, dew, spread_c=spread)
    assert air - SET_C * leaf_night.DRIEST - 1e-9 <= mean <= air
    assert leaf_spread > spread


def test_an_unknown_screen_is_an_unknown_leaf_and_arrays_are_their_scalars():
    assert np.isnan(leaf(NAN, 0.0, 0.0)[0])
    cloud, wind = np.array([0.1, NAN, 0.6]), np.array([[1.0], [NAN], [3.5]])
    together, spreads = leaf(2.0, cloud, wind)
    alone = [[leaf(2.0, c, w[0]) for c in cloud] for w in wind]
    np.testing.assert_allclose(together, [[float(m) for m, _ in row] for row in alone], rtol=1e-12)
    np.testing.assert_allclose(spreads, [[float(s) for _, s in row] for row in alone], rtol=1e-12)


# --- a minimum thermometer in the garden


def nights_read(colder_c, cloud=0.0, wind_ms=0.0):
    colder = np.asarray(colder_c, dtype=float)
    sky = leaf_night.night_sky(np.full(len(colder), cloud), np.full(len(colder), wind_ms), NAN)
    return leaf_night.garden_night(SET_C, colder, sky)


def test_one_reading_moves_it_by_bayes_rule():
    """Prior 2.5 ± 1; one clear night 4.5 colder, its error 0.7² + 0.7² + (0.2 · 2.5)² = 1.23: gain 1 / 2.23."""
    learned = nights_read([4.5])
    assert learned.mean_c[0] == pytest.approx(2.5 + 2.0 / 2.23)
    assert learned.covariance_c2[0, 0] == pytest.approx(1.23 / 2.23)
    assert learned.mean_c[1] == 0.0


def test_clear_nights_teach_nothing_of_cloudy_ones_and_the_other_way_round():
    clear, cloudy = nights_read([4.0] * 10), nights_read([0.8] * 10, cloud=1.0)
    assert clear.mean_c == pytest.approx([4.0, 0.0], abs=0.2)
    assert cloudy.mean_c == pytest.approx([2.5, 0.8], abs=0.3)
    assert cloudy.mean_c[1] > 0.4


def test_many_readings_find_a_garden_s_true_offset():
    rng = np.random.default_rng(3)
    cloud = rng.choice([0.0, 0.45, 1.0], 60)
    sky = leaf_night.night_sky(cloud, 1.0, NAN)
    colder = sky.share * 4.2 + (1.0 - sky.share) * 0.3 + rng.normal(0.0, 1.0, 60)
    learned = leaf_night.garden_night(SET_C, colder, sky)
    assert learned.mean_c == pytest.approx([4.2, 0.3], abs=0.5)
    assert np.sqrt(np.diag(learned.covariance_c2)).max() < 0.35


@pytest.mark.parametrize("slip", [20.0, -15.0])
def test_a_slip_of_the_pen_is_questioned_and_teaches_nothing(slip):
    good = [3.0, 3.4, 2.6, 3.1]
    learned, without = nights_read([*good, slip]), nights_read(good)
    assert learned.questioned.tolist() == [False] * 4 + [True]
    assert learned.mean_c == pytest.approx(without.mean_c)


def test_a_first_reading_far_off_is_questioned_and_a_likely_one_is_not():
    assert nights_read([12.0]).questioned.tolist() == [True]
    assert nights_read([5.0]).questioned.tolist() == [False]


def test_without_readings_the_settings_stand():
    learned = leaf_night.garden_night(SET_C)
    assert learned.mean_c.tolist() == [SET_C, 0.0]
    assert learned.questioned.shape == (0,)
