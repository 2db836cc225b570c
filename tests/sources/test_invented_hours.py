"""Invented hours: folded again they give the days they were drawn from, and their clock is the place's."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from haulm.sources.invented import INVENTED_PLACES, invented_record
from haulm.sources.invented_hours import invented_hours
from haulm.sources.local_days import fold


@pytest.mark.parametrize("key", list(INVENTED_PLACES))
@pytest.mark.parametrize("first", [date(2027, 1, 20), date(2027, 6, 20)])
def test_the_hours_of_a_day_are_that_day(key, first):
    zone = INVENTED_PLACES[key].zone
    days = invented_record(key, first, first.replace(day=28), 7).days
    again = fold(invented_hours(days, zone), ZoneInfo(zone), rest_of_first_day=False)
    assert (again.first, again.last) == (days.first, days.last)
    assert np.abs(again.air_min_c - days.air_min_c)[1:].max() <= 0.5  # the next night may begin before midnight
    assert np.abs(again.air_max_c - days.air_max_c).max() <= 0.5
    assert np.nanmean(again.humidity_pct) == pytest.approx(np.nanmean(days.humidity_pct), abs=8.0)


def test_the_coldest_hour_is_before_sunrise_and_the_warmest_in_the_afternoon():
    days = invented_record("brackenford", date(2027, 6, 1), date(2027, 6, 1), 7).days
    hours = invented_hours(days, "Europe/London")
    assert hours.first == datetime(2027, 5, 31, 23, tzinfo=UTC)
    assert (hours.air_c[5], hours.air_c[15]) == (hours.air_c.min(), hours.air_c.max())
    assert (hours.humidity_pct[np.isfinite(hours.humidity_pct)] <= 100.0).all()
