"""A silent station and a missing forecast: both sides of the limit."""

from datetime import timedelta

import pytest

from haulm.alerts.data import forecast_missing, station_silent


@pytest.mark.parametrize(("hours", "silent"), [(6, False), (30, False), (54, False), (54.1, True)])
def test_a_station_is_silent_when_its_next_day_is_a_day_late(a, thresholds, hours, silent):
    # six hours of usual delay: the day after the newest is due at 30 hours, and late by a day at 54
    sky = a.sky(newest_age=timedelta(hours=hours), usual_delay=timedelta(hours=6))
    assert (station_silent(sky, thresholds, None) is not None) is silent


def test_a_slow_source_is_given_its_time(a, thresholds):
    late = timedelta(days=5)
    assert station_silent(a.sky(newest_age=late, usual_delay=timedelta(days=3)), thresholds, None) is None
    facts = station_silent(a.sky(newest_age=late, usual_delay=timedelta(days=2)), thresholds, None).facts
    assert (facts["silent_days"], facts["usual_delay_hours"]) == (5, 48.0)


def test_a_station_that_never_spoke_is_silent(a, thresholds):
    found = station_silent(a.sky(newest_age=None, newest_observed=None), thresholds, None)
    assert found.facts["newest_observed"] is found.facts["silent_days"] is None


def test_a_forecast_is_there_or_missing(a, thresholds):
    assert forecast_missing(a.sky(), thresholds, None) is None
    assert forecast_missing(a.sky(has_forecast=False), thresholds, None).verdict == "missing"
