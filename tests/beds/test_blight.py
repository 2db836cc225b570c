"""Blight weather of a place: which hours make a local day, what a forecast lends, and a real year's wet spells."""

import csv
import gzip
import math
import os
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from haulm.beds.blight import blight_weather_of
from haulm.science.blight import hutton_period
from haulm.settings.blight_thresholds import BlightThresholds
from haulm.sources.local_days import hours_from
from haulm.weather import DAY, HOUR, Origin, Timeline, unknown_days

LIMITS = BlightThresholds()
JUNE = datetime(2027, 6, 10, tzinfo=UTC)


def timeline_of(today, seen=None, ahead=None):
    days, marks = unknown_days(today, 1), np.zeros(1, dtype=np.int8)
    origin = Origin("made", "a station")
    return Timeline(days, marks, marks, today, origin, None, timedelta(0), hours_seen=seen, hours_ahead=ahead)


def hours_of(first, count, air_c=15.0, humidity_pct=95.0):
    values = {"air_c": np.full(count, air_c), "humidity_pct": np.full(count, humidity_pct)}
    return hours_from(first, np.ones(count, dtype=np.int8), **values)


@pytest.fixture
def weather(make):
    def of(today, seen=None, ahead=None, zone="Europe/London"):
        return blight_weather_of(timeline_of(today, seen, ahead), replace(make.place(), zone=zone), LIMITS)

    return of


def test_without_hours_there_is_no_answer_at_all(weather):
    today = date(2027, 6, 14)
    assert weather(today) is None
    assert weather(today, hours_of(JUNE, 48, humidity_pct=math.nan)) is None


@pytest.mark.parametrize(
    ("zone", "day", "length"),
    [
        ("Europe/London", date(2027, 3, 28), 23),
        ("Europe/London", date(2027, 10, 31), 25),
        ("Europe/London", date(2027, 6, 10), 24),
        ("Australia/Adelaide", date(2027, 10, 3), 23),  # half an hour off the full one
        ("Australia/Adelaide", date(2027, 4, 4), 25),
    ],
)
def test_a_days_hours_are_those_of_its_own_clock(weather, zone, day, length):
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
    found = weather(day + 2 * DAY, hours_of(noon - 72 * HOUR, 144), zone=zone)
    assert (found.humid_hours.at(day), found.missing_hours.at(day), found.hutton.at(day)) == (length, 0, 1)
    assert (found.humid_hours.at(day - DAY), found.humid_hours.at(day + DAY)) == (24, 24)


@pytest.mark.parametrize(("zone", "days"), [("UTC", (0, 0)), ("America/Chicago", (1, 0)), ("Asia/Tokyo", (0, 1))])
def test_an_hour_belongs_to_the_day_of_the_places_clock(weather, zone, days):
    """Six humid hours from 23 UTC on: the evening before in Chicago, the forenoon after in Tokyo, parted in UTC."""
    seen = hours_of(JUNE - 72 * HOUR, 144, humidity_pct=60.0)
    seen.humidity_pct[71:77] = 90.0
    found = weather(date(2027, 6, 13), seen, zone=zone)
    told = tuple(int(found.hutton.at(day)) for day in (date(2027, 6, 9), date(2027, 6, 10)))
    assert told == days


def test_observed_hours_go_before_forecast_ones_which_are_counted(weather):
    seen, ahead = hours_of(JUNE, 30, air_c=12.0), hours_of(JUNE + 6 * HOUR, 66, air_c=8.0)
    found = weather(date(2027, 6, 11), seen, ahead, zone="UTC")
    assert found.hutton.between(date(2027, 6, 10), date(2027, 6, 12)).tolist() == [1, 0, 0]
    assert found.lowest_c.between(date(2027, 6, 10), date(2027, 6, 12)).tolist() == [12, 8, 8]
    assert found.forecast_hours.between(date(2027, 6, 10), date(2027, 6, 12)).tolist() == [0, 18, 24]


def test_missing_hours_are_counted(weather):
    seen = hours_of(JUNE, 48)
    seen.air_c[3:7] = np.nan
    seen.humidity_pct[5:9] = np.nan
    found = weather(date(2027, 6, 12), seen, zone="UTC")
    assert found.missing_hours.between(date(2027, 6, 10), date(2027, 6, 12)).tolist() == [6, 0, 24]


def test_a_wet_night_is_one_spell_for_the_severity_value(weather):
    """Eight humid hours before midnight and five after it: 13 at 13 °C are worth 1, halves would be worth nothing."""
    seen = hours_of(JUNE - 24 * HOUR, 96, air_c=13.0, humidity_pct=70.0)
    seen.humidity_pct[40:53] = 92.0
    found = weather(date(2027, 6, 12), seen, zone="UTC")
    assert found.severity.between(date(2027, 6, 9), date(2027, 6, 12)).tolist()[1:3] == [0, 1]


@pytest.fixture(scope="module")
def a_real_year():
    """Hourly values of 2024 of a German station (Deutscher Wetterdienst by way of Meteostat), if they are here."""
    folder = os.environ.get("HAULM_MEASURED_DATA")
    if not folder:
        pytest.skip("HAULM_MEASURED_DATA is not set: the measured data are not part of the project")
    first, count = datetime(2024, 1, 1, tzinfo=UTC), 366 * 24
    air, humidity = np.full(count, np.nan), np.full(count, np.nan)
    with gzip.open(Path(folder) / "payloads" / "meteostat_hourly_2024_10637.csv.gz", "rt", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            at = (datetime(*(int(row[part]) for part in ("year", "month", "day", "hour")), tzinfo=UTC) - first) // HOUR
            air[at], humidity[at] = float(row["temp"] or "nan"), float(row["rhum"] or "nan")
    return hours_from(first, np.ones(count, dtype=np.int8), air_c=air, humidity_pct=humidity)


def by_hand(hours, day):
    """A day by the text of the criteria, hour by hour, by the clock of Berlin."""
    zone_hours = 2 if date(2024, 3, 31) < day < date(2024, 10, 27) else 1
    begins = datetime(day.year, day.month, day.day, tzinfo=UTC) - zone_hours * HOUR
    at = (begins - hours.first) // HOUR
    return min(hours.air_c[at : at + 24]) >= 10.0 and sum(hours.humidity_pct[at : at + 24] >= 90.0) >= 6


def test_a_real_years_blight_spells(weather, a_real_year):
    """Each day of the season agrees with a plain count; spells lie in the warm months, as blight does there."""
    found = weather(date(2024, 11, 1), a_real_year, zone="Europe/Berlin")
    season = [date(2024, 4, 20) + k * DAY for k in range(180)]
    assert [found.hutton.at(day) for day in season] == [float(by_hand(a_real_year, day)) for day in season]
    periods = np.flatnonzero(hutton_period(found.hutton.values) == 1.0)
    met = {found.hutton.first + int(at) * DAY for at in periods}
    assert {date(2024, 5, 7), date(2024, 7, 1), date(2024, 9, 9)} <= met
    assert not any(day.month in {1, 2, 3, 4, 11, 12} for day in met)
    assert 15 <= len(met) <= 40
