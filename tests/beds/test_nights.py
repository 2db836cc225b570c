"""A minimum thermometer against the station, and the chance of a clear night where cloud is not forecast."""

import numpy as np
import pytest

from haulm.beds.nights import day_range_c, garden_nights
from haulm.weather import DAY, Mark

PAST = 1100
SET_C = 2.5


def nights_of(make, thresholds, *entries, **known):
    return garden_nights(make.timeline(**known), make.journal(*entries), make.place(), thresholds)


def station_c(make, day, today):
    timeline = make.timeline()
    return timeline.days.of("air_min_c").at(day)


def clear_past(value=0.0):
    """Cloud or wind of the past days, nothing for the coming ones."""
    return np.concatenate([np.full(PAST, value), np.full(8, np.nan)])


def test_a_night_read_in_the_garden_moves_its_offset(make, thresholds, today):
    days = [today - k * DAY for k in (1, 2, 3, 4, 5)]
    entries = [make.entry(day, "night minimum", station_c(make, day, today) - 4.5) for day in days]
    found = nights_of(make, thresholds, *entries, cloud=clear_past(), wind_ms=clear_past(1.0))
    assert found.read.clear_colder_c == pytest.approx(4.5, abs=0.5)
    assert (found.read.readings, found.read.questioned_c) == (5, ())
    plain = nights_of(make, thresholds)
    assert (plain.read.clear_colder_c, plain.read.readings) == (SET_C, 0)


def test_on_cloudy_nights_it_moves_only_those(make, thresholds, today):
    days = [today - k * DAY for k in (1, 2, 3)]
    entries = [make.entry(day, "night minimum", station_c(make, day, today) - 1.0) for day in days]
    read = nights_of(make, thresholds, *entries, cloud=clear_past(1.0), wind_ms=clear_past(1.0)).read
    assert read.clear_colder_c == pytest.approx(SET_C, abs=0.1)
    assert 0.3 < read.other_colder_c < 1.0


def test_a_wild_reading_is_questioned(make, thresholds, today):
    day = today - DAY
    read = nights_of(make, thresholds, make.entry(day, "night minimum", 30.0)).read
    assert read.questioned_c == ((day, 30.0),)
    assert (read.readings, read.clear_colder_c) == (0, SET_C)


@pytest.mark.parametrize("mark", [Mark.FILLED, Mark.BRIDGED, Mark.UNKNOWN])
def test_a_reading_is_set_against_observed_nights_only(make, thresholds, today, mark):
    timeline = make.timeline()
    timeline.air_mark[PAST - 1] = mark
    journal = make.journal(make.entry(today - DAY, "night minimum", 1.0))
    assert garden_nights(timeline, journal, make.place(), thresholds).read.readings == 0


def test_a_reading_of_this_morning_waits_for_the_station(make, thresholds, today):
    assert nights_of(make, thresholds, make.entry(today, "night minimum", 1.0)).read.readings == 0


def test_the_range_around_a_night():
    low, high = np.array([5.0, 4.0, 3.0]), np.array([15.0, np.nan, 13.0])
    assert day_range_c(low, high).tolist() == [10.0, 11.0, 10.0]
    assert np.isnan(day_range_c(low, np.full(3, np.nan))).all()
    assert day_range_c(np.array([]), np.array([])).shape == (0,)
