"""A minimum thermometer against the station, and the chance of a clear night where cloud is not forecast."""

from dataclasses import replace
from datetime import UTC, datetime, time

import numpy as np
import pytest

from haulm.beds.nights import coming_nights, day_range_c, garden_nights, past_nights, plainly
from haulm.beds.sky import sky_now
from haulm.weather import DAY, LastNight, Mark

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


# --- nights that are over


def over(make, thresholds, *entries, last_night=None, latitude_deg=52.5, **known):
    timeline = replace(make.timeline(latitude_deg=latitude_deg, **known), last_night=last_night)
    place, journal = make.place(latitude_deg), make.journal(*entries)
    return past_nights(timeline, garden_nights(timeline, journal, place, thresholds), journal, place)


def test_nights_over_are_told_as_far_as_the_station_told_of_them(make, thresholds, today):
    low = make.timeline().days.air_min_c.copy()
    low[PAST - 2] = np.nan
    found = over(make, thresholds, air_min_c=low, cloud=clear_past(), wind_ms=clear_past(1.0))
    assert [night.morning for night in found] == [today - back * DAY for back in (4, 3, 1)]
    assert all(night.whole and np.isnan(night.read_c) for night in found)
    assert [night.air_c - night.leaf_c for night in found] == pytest.approx([SET_C] * 3)


def test_the_garden_s_own_thermometer_is_told_unless_it_was_questioned(make, thresholds, today):
    own = make.entry(today - DAY, "night minimum", 6.0)
    wild = make.entry(today - 2 * DAY, "night minimum", 35.0, number=1)
    found = {night.morning: night.read_c for night in over(make, thresholds, own, wild)}
    assert found[today - DAY] == 6.0
    assert np.isnan(found[today - 2 * DAY])


@pytest.mark.parametrize(("hour", "whole"), [(3, False), (5, False), (6, True), (9, True)])
def test_last_night_is_over_when_the_sun_has_warmed_the_air(make, thresholds, today, hour, whole):
    """Sunrise at 52.5° north, 3° west on 20 May is near 4:10 UTC (a solar day of 15.9 hours about 12:08)."""
    night = LastNight(1.5, datetime.combine(today, time(hour), UTC), 9)
    found = over(make, thresholds, last_night=night)[-1]
    assert (found.morning, found.air_c, found.whole) == (today, 1.5, whole)


@pytest.mark.parametrize("latitude_deg", [89.0, -89.0, 0.0])
def test_where_the_sun_never_sets_or_never_rises_there_is_an_answer_too(make, thresholds, today, latitude_deg):
    night = LastNight(1.5, datetime.combine(today, time(9), UTC), 9)
    assert over(make, thresholds, last_night=night, latitude_deg=latitude_deg)[-1].air_c == 1.5


# --- both hemispheres, and a night by other means than a forecast


@pytest.mark.parametrize("latitude_deg", [52.5, -37.5])
def test_a_cold_clear_night_is_as_cold_south_as_north(make, thresholds, latitude_deg):
    """20 May is late spring in the north and autumn in the south: a night's own figures do not care."""
    timeline = make.timeline(latitude_deg=latitude_deg, cloud=0.0, wind_ms=1.0)
    as_of = datetime.combine(timeline.today, time(5), UTC)
    night = sky_now(timeline, make.place(latitude_deg), thresholds, as_of).nights[0]
    assert night.air_c - night.leaf_c == pytest.approx(SET_C + 1.0, abs=0.001)
    assert night.still_and_clear is True


def test_a_minimum_found_by_other_means_takes_the_forecast_s_place(make, thresholds, today):
    timeline = make.timeline(cloud=1.0, wind_ms=8.0)
    garden = garden_nights(timeline, make.journal(), make.place(), thresholds)
    days = timeline.days.cut(today, today + DAY)
    (night,) = coming_nights(days, plainly(np.array([0.7]), np.array([0.9])), garden)
    assert (night.morning, night.leaf_c, night.likely_air_c) == (today + DAY, pytest.approx(0.7), 0.7)
    assert 0.9 < night.spread_c < 1.4
