"""Blight weather in the letter: came, coming, summed, noted; when it ends; and what is not known without hours."""

from dataclasses import replace

import numpy as np
import pytest

from haulm.advice import Finding, NotKnown, Said, Section
from haulm.alerts.blight import blight_weather
from haulm.condition import DayRange
from haulm.garden import Cause, Stage
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, BlightWeather, Daily

NAN = float("nan")
BACK = 12


def weather(today, hutton=(), ahead=(), severity=(), **changes):
    """Quiet known days from twelve back to three ahead; `hutton` are the last before today, `ahead` today and later."""
    first, count = today - BACK * DAY, BACK + 3
    days, values = np.zeros(count), np.zeros(count)
    days[BACK - len(hutton) : BACK] = hutton
    days[BACK : BACK + len(ahead)] = ahead
    values[BACK - len(severity) : BACK] = severity
    quiet = BlightWeather(
        hutton=Daily(first, days),
        humid_hours=Daily(first, np.arange(count, dtype=float)),
        lowest_c=Daily(first, np.full(count, 11.5)),
        missing_hours=Daily(first, np.where(np.isnan(days), 5.0, 0.0)),
        forecast_hours=Daily(first, np.where(np.arange(count) >= BACK, 24.0, 0.0)),
        severity=Daily(first, values),
    )
    return replace(quiet, **changes)


@pytest.fixture
def judge(a, today, thresholds):
    def of(blight, standing=None, limits=thresholds, **changes):
        return blight_weather(a.condition(sky=a.sky(blight=blight), **changes), limits, standing)

    return of


def said(verdict, today):
    return Said("blight-weather", "gatebed", "gate-early", "2027-04-10", verdict, 2, today - 9 * DAY, today - DAY)


def test_two_such_days_running_that_are_past(judge, today):
    found = judge(weather(today, (1, 1, 0)))
    assert (found.verdict, found.section) == ("came", Section.DO_TODAY)
    assert (found.facts["first"], found.facts["last"]) == (today - 3 * DAY, today - 2 * DAY)
    assert (found.facts["fewest_humid_hours"], found.facts["most_humid_hours"]) == (9, 10)
    assert (found.facts["lowest_c"], found.facts["forecast_hours"], found.facts["coming"]) == (11.5, 0, None)


@pytest.mark.parametrize("days", [(1,), (1, 0, 1, 0), (0, 1)])
def test_single_days_are_none(judge, today, days):
    assert judge(weather(today, days)) is None


def test_forecast_days_are_coming_and_yesterday_may_begin_them(judge, today):
    for blight, first in ((weather(today, (1,), (1,)), today - DAY), (weather(today, (0,), (0, 1, 1)), today + DAY)):
        found = judge(blight)
        assert (found.verdict, found.section, found.facts["first"]) == ("coming", Section.GET_READY, first)
        assert found.facts["forecast_hours"] > 0


def test_what_came_goes_before_what_is_coming_and_names_it(judge, today):
    found = judge(weather(today, (1, 1, 0), (0, 1, 1)))
    assert (found.verdict, found.facts["coming"]) == ("came", today + 2 * DAY)


def test_a_week_after_the_last_such_day_it_is_over(judge, today):
    assert judge(weather(today, (1, 1, 0, 0, 0, 0, 0, 0))).verdict == "came"
    assert judge(weather(today, (1, 1, 0, 0, 0, 0, 0, 0, 0))) is None


def test_hours_missing_are_told_with_their_number(judge, today):
    answer = judge(weather(today, (1, NAN)))
    assert isinstance(answer, NotKnown)
    assert (answer.worth_saying, answer.once, answer.facts["missing_hours"]) == (True, True, 5)


@pytest.mark.parametrize("days", [(NAN, 0), (0, NAN, 0, 0)])
def test_missing_hours_that_could_not_make_a_period_are_no_matter(judge, today, days):
    assert judge(weather(today, days)) is None


def test_an_open_episode_does_not_end_on_days_that_are_not_known(judge, today):
    days = (1, 1, 0, NAN, NAN, 0, 0, 0, 0, 0)
    assert isinstance(judge(weather(today, days), said("came", today)), NotKnown)
    assert judge(weather(today, days)) is None
    assert judge(weather(today, (0,) * 10), said("came", today)) is None


def test_without_hours_it_is_not_known_and_said_once(judge):
    assert judge(None) == NotKnown("hours of temperature and humidity", worth_saying=True, once=True)


def test_dead_tops_catch_no_blight(a, judge, today):
    assert judge(weather(today, (1, 1)), crop=a.crop(tops_gone=today)) is None


def test_blight_that_was_noted_needs_no_weather(a, judge, today):
    crop = a.crop(dying_cause=Cause.BLIGHT, dying_since=today - DAY)
    for blight in (None, weather(today)):
        assert judge(blight, of=Stage.DYING_BACK, crop=crop).verdict == "noted"


# --- severity values


@pytest.fixture
def summing():
    return Thresholds.model_validate({"blight": {"way": "severity"}})


def shoots(a, today, days_ago, *, noted=True):
    early = today - days_ago * DAY
    return a.crop(shoots=DayRange(early, early, early if noted else early + 4 * DAY, 1.0, 0))


@pytest.mark.parametrize(("last", "verdict"), [(1, None), (2, "summed")])
def test_severity_values_are_summed_from_the_shoots_to_yesterday(a, judge, today, summing, last, verdict):
    """Published: look and act from 18 on (Rutgers). Before the shoots, and today, nothing counts."""
    blight = weather(today, severity=(4, 4, 4, 4, 4, 4, last, 0))
    found = judge(blight, limits=summing, crop=shoots(a, today, 6))
    assert (found.verdict if found else None) == verdict
    assert found is None or (found.facts["severity_sum"], found.facts["unknown_days"]) == (18, 0)


def test_days_not_known_might_be_worth_four_each(a, judge, today, summing):
    crop = shoots(a, today, 8, noted=False)
    answer = judge(weather(today, severity=(4, 4, 4, 2, NAN)), limits=summing, crop=crop)
    assert isinstance(answer, NotKnown)
    assert (answer.facts["severity_sum"], answer.facts["enough"]) == (14, 18)
    assert judge(weather(today, severity=(4, 4, 4, 1, NAN)), limits=summing, crop=crop) is None
    found = judge(weather(today, severity=(4, 4, 4, 4, 2, NAN)), limits=summing, crop=crop)
    assert isinstance(found, Finding)
    assert (found.facts["unknown_days"], found.facts["shoots_noted"]) == (1, False)


def test_days_before_the_first_hours_are_not_known(a, judge, today, summing):
    answer = judge(weather(today), limits=summing, crop=shoots(a, today, BACK + 5))
    assert isinstance(answer, NotKnown)
    assert answer.facts["missing_hours"] == 5 * 24


def test_the_hutton_criteria_are_not_asked_where_severity_values_are(a, judge, today, summing):
    assert judge(weather(today, (1, 1)), limits=summing, crop=shoots(a, today, 6)) is None
