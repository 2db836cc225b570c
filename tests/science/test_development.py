"""The crop's own clock: P-days, emergence between two bounds, and the tables by class."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.science import development as dev

CASES = json.loads((Path(__file__).parents[1] / "reference" / "development.json").read_text(encoding="utf-8"))
AIR = st.floats(-30, 50)


def cases(equation):
    return [pytest.param(case, id=case["id"]) for case in CASES if case["equation"] == equation]


def test_every_reference_value_is_asked_for():
    assert {case["equation"] for case in CASES} == {"p_days", "early_emergence_days", "late_emergence_days"}


@pytest.mark.parametrize("case", cases("p_days"))
def test_p_days(case):
    assert dev.p_days(**case["inputs"]) == pytest.approx(case["expected"], abs=case["tolerance"])


@pytest.mark.parametrize("case", cases("early_emergence_days"))
def test_days_to_the_early_bound_in_steady_soil(case):
    days = 1.0 / dev.early_emergence_share(**case["inputs"])
    assert days == pytest.approx(case["expected"], abs=case["tolerance"])


@pytest.mark.parametrize("case", cases("late_emergence_days"))
def test_days_to_the_late_bound_in_steady_soil(case):
    days = 1.0 / dev.late_emergence_share(**case["inputs"])
    assert days == pytest.approx(case["expected"], abs=case["tolerance"])


def test_the_last_term_runs_on_the_maximum():
    """D9's trap: with the minimum in the fourth term D1 would read 1.25 less."""
    on_the_minimum = (5 * 0.0 + 8 * (50 / 9) + 8 * (80 / 9) + 3 * 0.0) / 24
    assert float(dev.p_days(7, 21)) - on_the_minimum == pytest.approx(1.25, abs=1e-9)


@given(AIR, AIR)
def test_p_days_lie_between_none_and_ten(one, other):
    assert 0.0 <= float(dev.p_days(min(one, other), max(one, other))) <= 10.0


@pytest.mark.parametrize("air", [-5.0, 7.0, 30.0, 44.0])
def test_nothing_grows_at_and_beyond_the_ends(air):
    assert dev.p_days(air, air) == 0.0


@given(st.lists(st.floats(-10, 45), min_size=1, max_size=40))
def test_the_early_bound_is_never_behind_the_late_one(soil):
    shares = dev.emergence_shares([soil])
    assert (shares.early >= shares.late).all()
    assert (shares.late >= 0.0).all()


def test_in_soil_just_above_its_base_the_late_formula_runs_ahead_and_the_range_does_not_turn_over():
    assert dev.late_emergence_share(3.0) > dev.early_emergence_share(3.0) == 0.0
    shares = dev.emergence_shares([3.0, 3.0])
    assert shares.early.tolist() == shares.late.tolist() == pytest.approx([1 / 450, 2 / 450])


def test_the_late_bound_is_not_carried_on_above_24_but_falls_away():
    shares = dev.late_emergence_share([23.0, 24.0, 26.0, 28.0, 30.0, 35.0])
    assert shares[1] == pytest.approx(22.0 / 450.0)
    assert (np.diff(shares[1:5]) < 0).all()
    assert shares[4:].tolist() == [0.0, 0.0]


def test_emergence_in_a_warming_spring():
    """Soil rising 0.2 °C a day from 8 °C, bounds found here by plain counting."""
    soil = 8.0 + 0.2 * np.arange(90)
    expected = []
    for base, cap, need in ((3.0, 18.0, 170.0), (2.0, 24.0, 450.0)):
        total, day = 0.0, -1
        while total < need:
            day += 1
            total += min(soil[day], cap) - base
        expected.append(day)
    shares = dev.emergence_shares(soil[None, :])
    assert [int(dev.first_day_reached(share)[0]) for share in (shares.early, shares.late)] == expected


def test_a_bound_not_reached_is_minus_one():
    shares = dev.emergence_shares(np.full((2, 30), [[4.0], [18.0]]))
    assert dev.first_day_reached(shares.early).tolist() == [-1, 11]
    assert dev.first_day_reached(shares.late).tolist() == [-1, 28]


def test_a_day_that_completes_exactly_counts_in_spite_of_rounding():
    """Ten tenths add up to 0.9999999999999999; 12 °C makes 10 of 450 °C·d a day, 45 days."""
    tenths = np.cumsum(np.full(12, 0.1))
    assert tenths[9] < 1.0
    assert dev.first_day_reached(tenths) == 9
    shares = dev.emergence_shares(np.full((1, 60), 12.0))
    assert dev.first_day_reached(shares.late).tolist() == [44]


def test_emergence_resumes_where_it_stopped():
    soil = np.random.default_rng(4).uniform(5, 22, (3, 40))
    whole = dev.emergence_shares(soil)
    first = dev.emergence_shares(soil[:, :15])
    then = dev.emergence_shares(soil[:, 15:], already=dev.EmergenceShares(first.early[:, -1], first.late[:, -1]))
    np.testing.assert_allclose(then.early, whole.early[:, 15:], atol=1e-12)
    np.testing.assert_allclose(then.late, whole.late[:, 15:], atol=1e-12)


def test_an_unknown_day_widens_the_range_and_does_not_poison_it():
    """Not knowing can bring the early bound nearer and put the late one off; every true day lies between."""
    hidden = dev.emergence_shares(np.array([[12.0, math.nan, 12.0]]))
    for soil in (-2.0, 6.0, 15.0, 24.0, 33.0):
        true = dev.emergence_shares(np.array([[12.0, soil, 12.0]]))
        assert hidden.early[0, -1] >= true.early[0, -1]
        assert hidden.late[0, -1] <= true.late[0, -1]


def test_an_unknown_day_counts_as_the_fastest_and_as_none():
    """A parameter set for potato: 15 °C·d of 170 at the most (from 18 °C on); none by the late bound below 2 °C."""
    hidden = dev.emergence_shares([math.nan])
    assert (float(hidden.early[0]), float(hidden.late[0])) == (pytest.approx(15.0 / 170.0), 0.0)


def test_p_days_of_an_unknown_day_are_unknown():
    assert np.isnan(dev.p_days([7.0, math.nan], [math.nan, 21.0])).all()


def test_scalars_and_arrays_give_the_same():
    low, high = np.array([[2.0], [9.0], [16.0]]), np.array([18.0, 24.0, 33.0])
    table = dev.p_days(low, high)
    alone = [[float(dev.p_days(float(one[0]), float(other))) for other in high] for one in low]
    np.testing.assert_array_equal(table, alone)


def test_classes_ripen_in_order_and_inside_the_published_range():
    """Prairie production guide: 800-1000 P-days to maturity; FAO crop page: 90-120, 120-150, 150-180 days."""
    needs = [dev.P_DAYS_NEEDED[maturity] for maturity in ("early", "mid", "late")]
    assert needs == sorted(needs)
    assert (needs[0], needs[-1]) == (800.0, 1000.0)
    assert dev.CLASS_DAYS == {"early": (90, 120), "mid": (120, 150), "late": (150, 180)}


def test_floors_agree_with_the_fahrenheit_they_were_published_in():
    """Epstein 1966: no emergence at 48 °F."""
    assert pytest.approx((48 - 32) / 1.8, abs=0.05) == dev.NO_EMERGENCE_AT_C
    assert dev.SPROUTS_HARDLY_GROW_C < dev.SPROUTS_GROW_SLOWLY_C < dev.SPROUTS_GROW_FASTEST_C
    assert dev.early_emergence_share(dev.SPROUTS_GROW_FASTEST_C) == dev.early_emergence_share(30.0)


def test_skins_take_two_weeks_within_one_to_three():
    """EDIS HS181: 7-21 days; SE US handbook and Browning: about two weeks."""
    assert (dev.SKINS_WARM_DAYS, dev.SKINS_USUAL_DAYS, dev.SKINS_COLD_DAYS) == (7, 14, 21)


def test_shoots_hardly_lengthen_in_the_cold_and_fastest_at_18():
    """Prairie production guide: very little at 6 °C, slowly at 9 °C, fastest at 18 °C; FAO crop page: ends at 30 °C."""
    share = dev.elongation_share([0.0, 6.0, 9.0, 18.0, 30.0, 40.0])
    assert share.tolist() == pytest.approx([0.0, 0.1, 0.3, 1.0, 0.0, 0.0])
    assert np.isnan(dev.elongation_share(math.nan))


def test_cool_nights_are_counted_and_unknown_ones_are_not():
    nights = [14.9, 15.0, math.nan, 10.0, 20.0, 3.0]
    assert [dev.nights_until(nights, 15.0, count) for count in (1, 2, 3, 4)] == [0, 3, 5, -1]
    assert dev.nights_until([], 15.0, 1) == -1


@given(st.floats(-60, 60))
def test_elongation_is_a_share(mean_c):
    assert 0.0 <= float(dev.elongation_share(mean_c)) <= 1.0


@pytest.mark.parametrize("way", [0.0, 0.25, 0.5, 1.0])
def test_seed_between_the_bounds_emerges_at_their_weighted_geometric_mean(way):
    """12 °C: 170/9 = 18.9 days early, 45 days late (D13, D14)."""
    shares = dev.emergence_shares(np.full(90, 12.0))
    day = int(dev.first_day_reached(dev.share_between(shares, way))) + 1
    assert day == math.ceil((170.0 / 9.0) ** (1.0 - way) * 45.0**way - 1e-9)


@given(st.lists(st.floats(3.7, 29.0), min_size=1, max_size=80), st.floats(0.0, 1.0))
def test_the_way_between_the_bounds_is_ordered_goes_onward_and_turns_round(soil, way):
    shares = dev.emergence_shares(np.array(soil))
    between = dev.share_between(shares, way)
    assert (between <= shares.early + 1e-12).all()
    assert (between >= shares.late - 1e-12).all()
    assert (np.diff(between) >= 0.0).all()
    early, late = float(shares.early[-1]), float(shares.late[-1])
    stood = dev.way_of_seed(early, late)
    assert early ** (1.0 - stood) * late**stood == pytest.approx(1.0)


def test_where_the_bounds_are_one_or_the_late_one_has_nothing_no_way_can_be_told():
    assert math.isnan(dev.way_of_seed(0.4, 0.4))
    assert math.isnan(dev.way_of_seed(0.4, 0.0))
