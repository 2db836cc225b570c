"""Weather without holes: the mean year where nothing is known, rain that stays unknown, the place's own years."""

from datetime import date, timedelta

import numpy as np
import pytest

from haulm.beds.forcing import (
    SPREAD_OF_FILLED_C,
    SPREAD_OF_UNKNOWN_C,
    PlaceMean,
    ahead,
    climate_of,
    past,
)
from haulm.science.climatology import mean_year_at
from haulm.weather import DAY, Mark


def test_the_mean_year_is_that_of_the_days_observed(make, today):
    climate = climate_of(make.timeline(rain_mm=2.5), PlaceMean(), 52.5)
    days = np.array([25.0, 116.0, 207.0])
    np.testing.assert_allclose(mean_year_at(climate.air_min, days), [-3.0, 5.0, 13.0], atol=0.1)
    np.testing.assert_allclose(mean_year_at(climate.air_max, days), [7.0, 15.0, 23.0], atol=0.1)
    assert climate.rain_mm == pytest.approx(2.5)
    assert climate.years == (2025, 2026)  # the record begins in May 2024


def test_the_mean_year_stands_still_until_new_year_and_takes_in_what_there_is_while_it_is_not_whole(make):
    def mean_c(today, past_days):
        """A plain record, with this year 10 °C warmer."""
        timeline = make.timeline(past_days=past_days, today=today)
        this_year = np.arange(len(timeline.days)) >= (date(2027, 1, 1) - timeline.days.first).days
        low, high = (np.where(this_year, v + 10.0, v) for v in (timeline.days.air_min_c, timeline.days.air_max_c))
        timeline = make.timeline(past_days=past_days, today=today, air_min_c=low, air_max_c=high)
        return climate_of(timeline, PlaceMean(), 52.5).air_min.coefficients[0]

    assert mean_c(date(2027, 11, 20), 1100) == pytest.approx(5.0, abs=0.1)
    assert mean_c(date(2028, 1, 1), 1141) > 7.0
    assert mean_c(date(2027, 11, 20), 400) > 12.0  # from October 2026: the last New Year has no whole year behind it


@pytest.mark.parametrize(("latitude_deg", "coldest"), [(52.5, 25.0), (-37.0, 207.0)])
def test_a_short_record_is_met_with_what_the_settings_tell_in_the_hemispheres_own_season(make, latitude_deg, coldest):
    climate = climate_of(make.timeline(past_days=20), PlaceMean(air_c=12.0, half_range_c=7.0), latitude_deg)
    assert climate.years == ()
    low = mean_year_at(climate.air_min, np.arange(1.0, 366.0))
    assert abs(float(np.argmin(low)) + 1.0 - coldest) <= 1.0
    assert low.mean() == pytest.approx(12.0 - 5.0, abs=0.05)
    assert (low.max() - low.min()) / 2.0 == pytest.approx(7.0, abs=0.05)


def test_unknown_days_follow_the_mean_year_with_a_spread_and_their_rain_stays_unknown(make, today):
    timeline = make.timeline()
    low, rain = timeline.days.air_min_c.copy(), timeline.days.rain_mm.copy()
    gone = slice(timeline.today_index - 10, timeline.today_index - 5)
    low[gone], rain[gone] = np.nan, np.nan
    timeline = make.timeline(air_min_c=low, rain_mm=rain)
    climate = climate_of(timeline, PlaceMean(), 52.5)
    forcing = past(timeline, climate, today - 20 * DAY)
    assert forcing.days == 20
    at = slice(10, 15)
    expected = mean_year_at(climate.air_min, forcing.day_of_year[at])
    np.testing.assert_allclose(forcing.air_min_c[0, at], expected)
    assert np.isfinite(forcing.air_min_c).all()
    assert not forcing.rain_known[at].any()
    assert forcing.rain_known[:10].all()
    assert (forcing.air_spread_c[at] == SPREAD_OF_UNKNOWN_C).all()
    assert (forcing.air_spread_c[:10] == 0.0).all()


def test_days_before_the_record_begins_are_unknown_too(make, today):
    timeline = make.timeline(past_days=400)
    forcing = past(timeline, climate_of(timeline, PlaceMean(), 52.5), today - 410 * DAY)
    assert (forcing.air_spread_c[:10] == SPREAD_OF_UNKNOWN_C).all()
    assert (forcing.air_spread_c[10:] == 0.0).all()
    assert np.isfinite(forcing.air_max_c).all()


def test_filled_and_bridged_days_are_a_little_less_sure(make, today):
    timeline = make.timeline(mark=Mark.BRIDGED)
    forcing = past(timeline, climate_of(timeline, PlaceMean(air_c=10.0), 52.5), today - 5 * DAY)
    assert (forcing.air_spread_c == SPREAD_OF_FILLED_C).all()


def test_ahead_is_the_forecast_and_then_the_mean_year_and_each_own_year(make, today):
    timeline = make.timeline()
    warm = np.where(np.arange(len(timeline.days)) >= timeline.today_index, 21.0, timeline.days.air_min_c)
    timeline = make.timeline(air_min_c=warm, air_max_c=timeline.days.air_max_c + 20.0 * (warm == 21.0))
    climate = climate_of(timeline, PlaceMean(), 52.5)
    forcing = ahead(timeline, climate, own_years=True, count=60)
    assert forcing.air_min_c.shape == (1 + len(climate.years), 60)
    np.testing.assert_allclose(forcing.air_min_c[:, :8], 21.0)  # the forecast stands in every way
    np.testing.assert_allclose(forcing.air_min_c[0, 8:], mean_year_at(climate.air_min, forcing.day_of_year[8:]))
    own = timeline.days.of("air_min_c").between(date(2026, 5, 28), date(2026, 5, 28) + 51 * DAY)
    np.testing.assert_allclose(forcing.air_min_c[1 + climate.years.index(2026), 8:], own)
    assert (forcing.air_spread_c[8:] == SPREAD_OF_UNKNOWN_C).all()
    assert (np.diff(forcing.air_spread_c[:8]) >= 0.0).all()
    assert ahead(timeline, climate, own_years=False, count=60).air_min_c.shape == (1, 60)


def test_what_is_not_lived_yet_is_no_part_of_an_own_year(make):
    """Last year's own way, run on for more than a year, does not take today's forecast for what came."""
    timeline = make.timeline()
    hot = np.where(np.arange(len(timeline.days)) >= timeline.today_index, 40.0, timeline.days.air_min_c)
    timeline = make.timeline(air_min_c=hot, air_max_c=hot + 10.0)
    climate = climate_of(timeline, PlaceMean(), 52.5)
    forcing = ahead(timeline, climate, own_years=True, count=370)
    row = 1 + climate.years.index(2026)
    np.testing.assert_allclose(forcing.air_min_c[row, 366:], forcing.air_min_c[0, 366:])
    assert forcing.air_min_c[row, 366:].max() < 10.0


def test_a_leap_day_has_its_twin_in_common_years(make):
    timeline = make.timeline(today=date(2028, 2, 29), past_days=1200)
    climate = climate_of(timeline, PlaceMean(), 52.5)
    assert ahead(timeline, climate, own_years=True, count=30).air_min_c.shape[0] == 1 + len(climate.years)


def test_a_gauge_of_ones_own_makes_unknown_rain_known(make, today):
    timeline = make.timeline()
    rain = timeline.days.rain_mm.copy()
    rain[timeline.today_index - 2] = np.nan
    timeline = make.timeline(rain_mm=rain)
    forcing = past(timeline, climate_of(timeline, PlaceMean(), 52.5), today - 3 * DAY)
    read = np.array([np.nan, 7.0, np.nan])
    told = forcing.with_rain(read)
    assert list(forcing.rain_known) == [True, False, True]
    assert told.rain_known.all()
    np.testing.assert_allclose(told.rain_mm[0], [0.0, 7.0, 0.0])
    assert timedelta(days=3) == today - forcing.first
