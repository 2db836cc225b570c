"""Blight weather from hours: the Hutton criteria, Wallin's severity values, and what missing hours leave open."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.science.blight import (
    HUMID_PCT,
    humid_hours,
    hutton_day,
    hutton_period,
    missing_hours,
    severity_day,
    severity_value,
)

CASES = json.loads((Path(__file__).parents[1] / "reference" / "blight.json").read_text(encoding="utf-8"))
NAN = math.nan


def cases(equation):
    return [pytest.param(case, id=case["id"]) for case in CASES if case["equation"] == equation]


def a_day(lowest_c=15.0, humid=0, *, length=24, unknown_air=0, unknown_humidity=0):
    """A day's hours: the humid ones first, the coldest in the middle, what is not known last; padded to 25."""
    air, humidity = np.full(25, NAN), np.full(25, NAN)
    air[:length], humidity[:length] = lowest_c + 5.0, 60.0
    air[length // 2] = lowest_c
    humidity[:humid] = 95.0
    air[length - unknown_air : length] = NAN
    humidity[length - unknown_humidity : length] = NAN
    return air, humidity


def hutton_of(*days, length=24):
    air, humidity = (np.stack(column) for column in zip(*days, strict=True))
    return hutton_day(air, humidity, np.full(len(days), float(length)))


def test_every_reference_value_is_asked_for():
    assert {case["equation"] for case in CASES} == {"hutton", "severity_value"}


@pytest.mark.parametrize("case", cases("hutton"))
def test_the_hutton_criteria(case):
    days = [a_day(*one) for one in zip(case["inputs"]["lowest_c"], case["inputs"]["humid_hours"], strict=True)]
    assert hutton_period(hutton_of(*days))[-1] == case["expected"]


@pytest.mark.parametrize(("humidity_pct", "hours"), [(89.9, 0), (90.0, 6)])
def test_where_humid_begins(humidity_pct, hours):
    assert humid_hours(np.full((1, 6), humidity_pct))[0] == hours
    assert HUMID_PCT == 90.0


def test_fifty_fahrenheit_is_ten_celsius():
    assert hutton_of(a_day((50.0 - 32.0) / 1.8, 6))[0] == 1.0


def test_one_such_day_or_two_apart_are_no_period():
    fit, dry = a_day(15.0, 12), a_day(15.0, 0)
    assert hutton_period(hutton_of(dry, fit, dry, fit, fit, fit)).tolist() == [0, 0, 0, 0, 1, 1]
    assert math.isnan(hutton_period(hutton_of(fit))[0])  # the day before the first is not known


@pytest.mark.parametrize(
    ("day", "answer"),
    [
        (a_day(9.0, 3, unknown_air=4, unknown_humidity=4), 0.0),  # an hour below 10 °C is known
        (a_day(12.0, 3, unknown_humidity=2), 0.0),  # at most five humid hours
        (a_day(12.0, 3, unknown_humidity=3), NAN),
        (a_day(12.0, 6, unknown_humidity=18), 1.0),  # six are there already
        (a_day(12.0, 6, unknown_air=1), NAN),  # that hour may have been the cold one
        (a_day(12.0, 5, unknown_air=1), 0.0),
        (a_day(12.0, 0, unknown_air=24, unknown_humidity=24), NAN),
    ],
)
def test_missing_hours_count_only_where_they_could_tell(day, answer):
    assert np.array_equal(hutton_of(day), [answer], equal_nan=True)


def test_a_period_with_a_day_that_is_not_known():
    assert np.array_equal(hutton_period([1.0, NAN, 1.0, NAN, 0.0, NAN]), [NAN, NAN, NAN, NAN, 0, 0], equal_nan=True)


@pytest.mark.parametrize(("length", "missing"), [(23, 0.0), (24, 0.0), (25, 0.0), (26, 1.0)])
def test_days_of_23_and_25_hours_lack_nothing(length, missing):
    air, humidity = a_day(12.0, 6, length=min(length, 25))
    assert missing_hours(air[None], humidity[None], [float(length)])[0] == missing
    assert np.array_equal(hutton_day(air[None], humidity[None], [float(length)]), [NAN if missing else 1.0], True)


@pytest.mark.parametrize("case", cases("severity_value"))
def test_severity_values(case):
    assert severity_value(**case["inputs"]) == case["expected"]


def test_the_mean_is_rounded_before_it_is_classed():
    """11.64 °C is 11.6 and 11.66 is 11.7: the table has nothing between."""
    assert severity_value([16.0, 16.0, 16.0], [11.64, 11.66, 15.04]).tolist() == [1.0, 2.0, 2.0]


def test_severity_takes_the_mean_of_the_wet_hours_alone():
    air, humidity = a_day(20.0, 16)
    air[:16] = 11.0
    assert severity_day(air[None], humidity[None], [24.0])[0] == 1.0  # at the day's own mean it would be 3


def test_severity_with_hours_missing():
    nine = a_day(20.0, 4, unknown_humidity=5)
    ten = a_day(20.0, 5, unknown_humidity=5)
    wet = a_day(20.0, 20, unknown_air=1)
    found = [severity_day(air[None], humidity[None], [24.0])[0] for air, humidity in (nine, ten, wet)]
    assert found[0] == 0.0
    assert all(math.isnan(one) for one in found[1:])


def test_no_wet_hour_is_worth_nothing_at_any_temperature():
    assert severity_value(0.0, NAN) == 0.0
    assert math.isnan(severity_value(12.0, NAN))
    assert math.isnan(severity_value(NAN, 15.0))


HOUR = st.tuples(st.one_of(st.floats(-5, 35), st.just(NAN)), st.one_of(st.floats(30, 100), st.just(NAN)))


@given(st.lists(HOUR, min_size=24, max_size=24), st.lists(HOUR, min_size=24, max_size=24))
def test_an_answer_given_holds_whatever_the_missing_hours_were(told, true):
    air, humidity = (np.array(column, dtype=float) for column in zip(*told, strict=True))
    full_air, full_humidity = (
        np.nan_to_num(np.array(column, dtype=float), nan=12.0) for column in zip(*true, strict=True)
    )
    full_air = np.where(np.isnan(air), full_air, air)
    full_humidity = np.where(np.isnan(humidity), full_humidity, humidity)
    for rule in (hutton_day, severity_day):
        partial = rule(air[None], humidity[None], [24.0])[0]
        whole = rule(full_air[None], full_humidity[None], [24.0])[0]
        assert math.isnan(partial) or partial == whole


def test_many_beds_at_once_are_each_their_own():
    rng = np.random.default_rng(4)
    air, humidity = rng.normal(12, 4, (3, 5, 24)), rng.uniform(60, 100, (3, 5, 24))
    whole = hutton_period(hutton_day(air, humidity, np.full((3, 5), 24.0)))
    for bed in range(3):
        one = hutton_period(hutton_day(air[bed], humidity[bed], np.full(5, 24.0)))
        assert np.array_equal(whole[bed], one, equal_nan=True)
