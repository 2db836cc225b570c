"""A store room that follows the outdoor air: a first-order system, and what readings teach about it."""

from dataclasses import replace

import numpy as np
import pytest

from haulm.garden import StoreKind
from haulm.science.store_room import NO_FLOOR_C, ROOMS, STORE, lagged_c, room_days

NONE = np.array([], dtype=np.int64), np.array([])
KINDS = sorted(ROOMS)


def wave(days=1500, mean_c=10.0, half_c=10.0):
    return mean_c - half_c * np.cos(2.0 * np.pi * (np.arange(days) - 25.0) / 365.25)


def test_after_a_step_the_room_comes_nearer_by_the_exponential_law():
    """1 − e^(−t/lag), the step response of a first-order lag (textbook): 63.2 % after one lag."""
    air = np.concatenate([np.zeros(400), np.full(40, 10.0)])
    room = lagged_c(air, 8.0)[0]
    ends = 10.0 * (1.0 - np.exp(-np.arange(1, 41) / 8.0))
    starts = np.concatenate([[0.0], ends[:-1]])
    within = 10.0 - 8.0 * (ends - starts)  # the day's mean of the same law, integrated
    np.testing.assert_allclose(room[400:], within, atol=1e-9)
    assert ends[7] == pytest.approx(10.0 * 0.6321, abs=1e-3)


@pytest.mark.parametrize("lag_days", [5.0, 60.0])
def test_the_year_arrives_damped_and_late_as_a_first_order_lag_has_it(lag_days):
    """Amplitude 1/√(1+(ωτ)²), delay arctan(ωτ)/ω (textbook)."""
    days, turn = 4 * 1461, 2.0 * np.pi / 365.25
    room = lagged_c(wave(days), lag_days)[0][-1461:]
    at = np.arange(days)[-1461:]
    seen = 2.0 * np.mean((room - room.mean()) * np.exp(-1j * turn * at))
    driven = 2.0 * np.mean((wave(days)[-1461:] - 10.0) * np.exp(-1j * turn * at))
    answer = seen / driven
    assert abs(answer) == pytest.approx(1.0 / np.hypot(1.0, turn * lag_days), rel=2e-3)
    assert -np.angle(answer) / turn == pytest.approx(np.arctan(turn * lag_days) / turn, abs=0.1)


def test_steady_air_gives_the_offset_and_floor_and_ceiling_hold():
    air = np.full(500, -8.0)
    np.testing.assert_allclose(lagged_c(air, 4.0, 3.0)[0], -5.0)
    np.testing.assert_allclose(lagged_c(air, 4.0, 3.0, 6.0)[0], 6.0)
    np.testing.assert_allclose(lagged_c(-air, 4.0, 3.0, 6.0)[0], 11.0)
    np.testing.assert_allclose(lagged_c(-air, 4.0, 3.0, 6.0, 9.0)[0], 9.0)


def test_rooms_do_not_mind_each_other():
    air, lags, offsets = wave(600), np.array([1.0, 30.0]), np.array([2.0, 5.0])
    both = lagged_c(air, lags, offsets, np.array([NO_FLOOR_C, 4.0]))
    np.testing.assert_array_equal(both[0], lagged_c(air, 1.0, 2.0)[0])
    np.testing.assert_array_equal(both[1], lagged_c(air, 30.0, 5.0, 4.0)[0])


def test_air_that_is_not_known_makes_the_room_unknown_from_there_on():
    air = wave(500)
    air[450] = np.nan
    room = lagged_c(air, 3.0)[0]
    assert np.isfinite(room[:450]).all()
    assert np.isnan(room[450:]).all()


def test_every_kind_of_the_settings_has_its_room():
    assert set(ROOMS) == {kind.value for kind in StoreKind}


@pytest.mark.parametrize("kind", KINDS)
def test_without_readings_the_room_is_its_kind_with_a_spread(kind):
    room, air = ROOMS[kind], wave(900)
    found = room_days(room, air, np.zeros(900), *NONE)
    np.testing.assert_allclose(
        found.room_c, lagged_c(air, room.lag_days, room.offset_c, room.floor_c, room.ceiling_c)[0]
    )
    assert (found.spread_c >= STORE.base_c).all()
    assert not found.questioned.size


def test_one_reading_moves_the_room_little_and_twenty_most_of_the_way():
    """A room 4 °C warmer than its kind: readings without error of that room."""
    air = wave(900)
    true = replace(ROOMS["garage"], offset_c=ROOMS["garage"].offset_c + 4.0)
    truth = room_days(true, air, np.zeros(900), *NONE).room_c
    before = room_days(ROOMS["garage"], air, np.zeros(900), *NONE)
    miss = []
    for count in (1, 5, 20):
        at = np.linspace(700, 890, count).astype(np.int64)
        found = room_days(ROOMS["garage"], air, np.zeros(900), at, truth[at])
        assert not found.questioned.any()
        assert found.spread_c[-1] < before.spread_c[-1]
        miss.append(float(truth[-1] - found.room_c[-1]))
    assert 4.0 > miss[0] > miss[1] > miss[2]
    assert miss[0] > 1.0
    assert miss[2] < 0.6


def test_readings_through_the_year_find_the_lag():
    """A cellar of 120 days where 60 were taken for granted: its year is flatter and later."""
    air = wave(1400)
    true = replace(ROOMS["cellar"], lag_days=120.0, floor_c=NO_FLOOR_C)
    start = replace(ROOMS["cellar"], floor_c=NO_FLOOR_C, floor_spread_c=0.0)
    truth = room_days(true, air, np.zeros(1400), *NONE).room_c
    at = np.arange(900, 1390, 10)
    found = room_days(start, air, np.zeros(1400), at, truth[at])
    rough = room_days(start, air, np.zeros(1400), *NONE)
    assert np.abs(found.room_c[900:] - truth[900:]).mean() < 0.35 * np.abs(rough.room_c[900:] - truth[900:]).mean()


def test_a_wild_reading_is_questioned_and_changes_nothing():
    air, room = wave(900), ROOMS["garage"]
    truth = room_days(room, air, np.zeros(900), *NONE).room_c
    at = np.array([700, 720, 740, 760, 780, 800])
    read = truth[at].copy()
    good = room_days(room, air, np.zeros(900), at[:5], read[:5])
    read[5] += 25.0  # °F taken for °C, or the kitchen
    found = room_days(room, air, np.zeros(900), at, read)
    np.testing.assert_array_equal(found.questioned, [False] * 5 + [True])
    np.testing.assert_allclose(found.room_c, good.room_c, atol=1e-6)


def test_doubt_about_the_air_widens_the_room_more_slowly_where_it_lags():
    air, spread = wave(900), np.zeros(900)
    spread[890:] = 4.0
    widened = {
        kind: room_days(ROOMS[kind], air, spread, *NONE).spread_c[-1]
        - room_days(ROOMS[kind], air, np.zeros(900), *NONE).spread_c[-1]
        for kind in ("shed", "cellar")
    }
    assert widened["shed"] > 4 * widened["cellar"] > 0.0


def test_the_day_of_the_mean_is_that_of_its_own_air():
    """What comes later changes nothing before it."""
    air = wave(700)
    other = air.copy()
    other[600:] += 9.0
    np.testing.assert_array_equal(lagged_c(air, 4.0)[0][:600], lagged_c(other, 4.0)[0][:600])


def test_a_cooled_room_of_a_hot_summer_is_believed_and_learned():
    """32 °C outside, 21 °C inside: no slip of the pen, and the ceiling is moved by it."""
    air, room = wave(900, 20.0, 12.0), ROOMS["cool room"]
    at = np.array([565, 572, 580])
    before = room_days(room, air, np.zeros(900), *NONE)
    found = room_days(room, air, np.zeros(900), at, np.full(3, 21.0))
    assert air[at].min() > 31.0
    assert not found.questioned.any()
    assert found.room_c[580] < before.room_c[580] - 2.0
    np.testing.assert_allclose(found.room_c[750], before.room_c[750], atol=0.3)  # winter is another matter


def test_spans_that_double_give_the_same_as_a_day_at_a_time():
    air, lag, offset, floor = wave(500), 7.0, 2.0, 5.0
    follows = np.maximum(air + offset, floor)
    now, kept, means = follows[:365].mean(), np.exp(-1.0 / lag), []
    for felt in follows:
        means.append(felt + lag * (1.0 - kept) * (now - felt))
        now = felt + kept * (now - felt)
    np.testing.assert_allclose(lagged_c(air, lag, offset, floor)[0], means, atol=1e-12)
