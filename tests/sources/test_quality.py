"""What cannot be true is dropped and told; weather is kept."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.sources.invented import INVENTED_PLACES, invented_record
from haulm.sources.quality import RANGES, STUCK_BOTH_DAYS, cleaned, cleaned_record, repeats, spikes
from haulm.weather import QUANTITIES, Origin, Record, unknown_days

FIRST = date(2026, 3, 1)


def days_of(low, high=None, **more):
    low = np.asarray(low, dtype=float)
    high = low + 8.0 if high is None else np.asarray(high, dtype=float)
    return unknown_days(FIRST, len(low), air_min_c=low, air_max_c=high, **more)


@pytest.mark.parametrize("name", QUANTITIES)
def test_a_value_outside_its_range_is_dropped_and_one_on_the_edge_kept(name):
    low, high = RANGES[name]
    given_values = np.array([low - 0.1, low, high, high + 0.1, -np.inf, np.nan])
    clean, complaints = cleaned(unknown_days(FIRST, 6, **{name: given_values}), "X1")
    np.testing.assert_array_equal(getattr(clean, name), [np.nan, low, high, np.nan, np.nan, np.nan])
    assert len(complaints) == 1
    assert complaints[0].where == "X1"
    assert "3 days" in complaints[0].what
    assert str(FIRST) in complaints[0].given


def test_a_minimum_above_the_maximum_drops_both_and_nothing_else():
    clean, complaints = cleaned(days_of([1, 9, 3], [10, 8, 3], rain_mm=np.array([0.0, 4.0, 0.0])))
    np.testing.assert_array_equal(clean.air_min_c, [1, np.nan, 3])
    np.testing.assert_array_equal(clean.air_max_c, [10, np.nan, 3])
    np.testing.assert_array_equal(clean.rain_mm, [0, 4, 0])
    assert [complaint.what for complaint in complaints] == [
        "lowest air temperature above the highest on 1 day, left out"
    ]
    assert "9 °C, 8 °C" in complaints[0].given


@pytest.mark.parametrize(
    ("air", "wrong"),
    [
        ([5, 31, 6], [1]),
        ([5, -21, 6], [1]),
        ([5, 30, 6], []),
        ([5, 31, 30], []),
        ([25, -1, -3, -4], []),
        ([5, 31, 33, 6], []),
        ([5, 31, np.nan, 5], []),
        ([31, 5, 4], []),
        ([4, 5, 31], []),
        ([], []),
        ([7], []),
    ],
)
def test_only_a_jump_that_reverses_at_once_is_a_spike(air, wrong):
    assert np.flatnonzero(spikes(np.array(air, dtype=float))).tolist() == wrong


def test_a_spike_is_told_and_leaves_the_other_temperature():
    clean, complaints = cleaned(days_of([2, 3, 1], [12, 44, 11]))
    np.testing.assert_array_equal(clean.air_max_c, [12, np.nan, 11])
    np.testing.assert_array_equal(clean.air_min_c, [2, 3, 1])
    assert ["straight back" in complaint.what for complaint in complaints] == [True]


@pytest.mark.parametrize("run", [STUCK_BOTH_DAYS - 1, STUCK_BOTH_DAYS, STUCK_BOTH_DAYS + 5])
def test_both_temperatures_the_same_for_a_week_keep_only_their_first_day(run):
    clean, complaints = cleaned(days_of([1.0, *([2.0] * run), 3.0]))
    dropped = run - 1 if run >= STUCK_BOTH_DAYS else 0
    assert int(np.isnan(clean.air_min_c).sum()) == dropped
    assert int(np.isnan(clean.air_max_c).sum()) == dropped
    assert np.isfinite(clean.air_min_c[:2]).all()
    assert np.isfinite(clean.air_min_c[-1])
    assert len(complaints) == (1 if dropped else 0)


def test_one_temperature_may_repeat_for_longer_and_then_goes_alone():
    high = np.arange(22.0) / 10.0 + 15.0
    clean, _ = cleaned(days_of([0.0] * 19 + [1.0] * 3, high))
    assert np.isfinite(clean.air_min_c).all()
    clean, _ = cleaned(days_of([0.0] * 20 + [1.0] * 2, high))
    assert int(np.isnan(clean.air_min_c).sum()) == 19
    assert np.isfinite(clean.air_max_c).all()
    clean, _ = cleaned(days_of(high, [30.0] * 21 + [31.0]))
    assert int(np.isnan(clean.air_max_c).sum()) == 20
    assert np.isfinite(clean.air_min_c).all()


def test_dry_days_and_dew_in_the_gauge_are_not_stuck_but_rain_is():
    low = np.arange(30.0) / 10.0
    for amount, dropped in ((0.0, 0), (0.2, 0), (6.4, 29)):
        clean, _ = cleaned(days_of(low, rain_mm=np.full(30, amount)))
        assert int(np.isnan(clean.rain_mm).sum()) == dropped


def test_rows_of_days_that_have_not_ended_are_cut_from_a_record():
    days = days_of([1.0, 2.0, 3.0, np.nan])
    clean, complaints = cleaned(days, today=FIRST + timedelta(days=2))
    assert clean.last == FIRST + timedelta(days=1)
    assert ["1 day" in complaint.what for complaint in complaints] == [True]
    assert cleaned(days)[0].last == days.last
    assert len(cleaned(days, today=FIRST - timedelta(days=9))[0]) == 0
    unknown_tail, complaints = cleaned(days, today=FIRST + timedelta(days=3))
    assert complaints == ()
    assert len(unknown_tail) == 3


def test_a_cleaned_record_keeps_when_its_days_came():
    record = Record(Origin("x", "Station X1"), days_of([1.0, 99.0, 3.0]), np.array([10.0, 20.0, 30.0]), timedelta(0))
    clean, complaints = cleaned_record(record, today=FIRST + timedelta(days=2))
    np.testing.assert_array_equal(clean.received, [10.0, 20.0])
    np.testing.assert_array_equal(clean.days.air_min_c, [1.0, np.nan])
    assert {complaint.where for complaint in complaints} == {"Station X1"}


@pytest.mark.parametrize("key", INVENTED_PLACES)
def test_eleven_plausible_years_pass_untouched(key):
    days = invented_record(key, date(2016, 1, 1), date(2026, 12, 31), 5).days
    clean, complaints = cleaned(days)
    assert complaints == ()
    for name in QUANTITIES:
        np.testing.assert_array_equal(getattr(clean, name), getattr(days, name))


ROWS = st.lists(st.sampled_from([np.nan, -70.0, -5.0, 0.0, 3.0, 28.0, 31.0, 400.0]), max_size=30)


@given(ROWS, ROWS)
def test_cleaning_only_ever_drops_and_the_rest_holds(low, high):
    count = min(len(low), len(high))
    days = days_of(low[:count], high[:count])
    before = days.air_min_c.copy()
    clean, complaints = cleaned(days)
    np.testing.assert_array_equal(days.air_min_c, before)
    for name in ("air_min_c", "air_max_c"):
        kept = np.isfinite(getattr(clean, name))
        np.testing.assert_array_equal(getattr(clean, name)[kept], getattr(days, name)[kept])
        assert (np.abs(getattr(clean, name)[kept]) <= 60.0).all()
    assert not (clean.air_min_c > clean.air_max_c).any()
    dropped = int((np.isnan(clean.air_min_c) & ~np.isnan(days.air_min_c)).sum())
    assert bool(complaints) >= bool(dropped)


def test_repeats_marks_each_long_run_but_its_first_day():
    values = np.array([1, 1, 1, 2, 3, 3, 3, 3, 4, 4])
    assert np.flatnonzero(repeats(lambda a, b: values[a] == values[b], 10, 3)).tolist() == [1, 2, 5, 6, 7]
