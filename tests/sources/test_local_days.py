"""Hours folded to local days: the days of both clock changes, partial days, extremes that straddle midnight."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.sources.local_days import Extreme, dew_point_c, fold, hours_from, hours_of_day, joined
from haulm.weather import Hours

LONDON = ZoneInfo("Europe/London")
HOUR = timedelta(hours=1)


def hourly(first: datetime, count: int, **values: np.ndarray) -> Hours:
    given_values = {"air_c": np.full(count, 10.0)} | values
    return hours_from(first, np.ones(count, dtype=np.int8), **given_values)


@pytest.mark.parametrize(
    ("day", "hours"),
    [(date(2024, 3, 31), 23), (date(2024, 10, 27), 25), (date(2024, 4, 20), 24), (date(2024, 12, 31), 24)],
)
def test_a_day_has_as_many_hours_as_the_clocks_give_it(day: date, hours: int) -> None:
    assert hours_of_day(day, LONDON) == hours
    start = datetime.combine(day, datetime.min.time(), LONDON).astimezone(UTC)
    rain = np.full(hours + 24, 1.0)
    days = fold(hourly(start, hours + 24, rain_mm=rain), LONDON, rest_of_first_day=False)
    assert days.first == day
    assert days.rain_mm.tolist() == [hours, 24.0]


ZONES = ("Europe/London", "America/Phoenix", "America/New_York", "Asia/Kolkata", "Pacific/Apia", "UTC")


@given(st.sampled_from(ZONES), st.integers(0, 2 * 366 * 24))
def test_no_hour_of_rain_is_lost_or_counted_twice(zone: str, hour: int) -> None:
    """Between the first and the last local midnight the days' rain is the hours' rain, whatever the clocks do."""
    start = datetime(2023, 1, 1, tzinfo=UTC) + hour * HOUR
    rain = np.arange(120, dtype=float)
    days = fold(hourly(start, 120, rain_mm=rain), ZoneInfo(zone), rest_of_first_day=False)
    local = [(start + i * HOUR).astimezone(ZoneInfo(zone)).date() for i in range(120)]
    inner = sorted(set(local))[1:-1]
    for day in inner:
        assert days.of("rain_mm").at(day) == sum(rain[i] for i in range(120) if local[i] == day)


def test_minimum_and_maximum_fall_on_their_own_local_day() -> None:
    # 22 UTC on 19 April is 23:00 in London, still that day; 23 UTC is midnight, the next.
    air = np.full(72, 10.0)
    air[22], air[23], air[47] = -1.0, -2.0, 25.0
    days = fold(hourly(datetime(2024, 4, 19, tzinfo=UTC), 72, air_c=air), LONDON, rest_of_first_day=False)
    assert [days.of("air_min_c").at(date(2024, 4, day)) for day in (19, 20, 21)] == [-1.0, -2.0, 10.0]
    assert [days.of("air_max_c").at(date(2024, 4, day)) for day in (19, 20, 21)] == [10.0, 10.0, 25.0]


def test_an_extreme_belongs_to_the_day_in_which_most_of_it_lies() -> None:
    start = datetime(2024, 4, 20, tzinfo=UTC)
    mostly_after = Extreme(start.replace(hour=21), 6, -3.0, 11.0)  # 22:00 to 04:00 local
    mostly_before = Extreme(start.replace(hour=17), 6, 5.0, 21.0)  # 18:00 to 24:00 local
    days = fold(hourly(start, 72), LONDON, [mostly_after, mostly_before], rest_of_first_day=False)
    assert days.of("air_min_c").at(date(2024, 4, 20)) == 5.0
    assert days.of("air_max_c").at(date(2024, 4, 20)) == 21.0
    assert days.of("air_min_c").at(date(2024, 4, 21)) == -3.0


def test_a_day_with_too_few_hours_is_not_known() -> None:
    air = np.full(72, 10.0)
    air[26:29] = np.nan  # three of 24
    days = fold(hourly(datetime(2024, 1, 10, tzinfo=UTC), 72, air_c=air), LONDON, rest_of_first_day=False)
    assert days.air_min_c[[0, 2]].tolist() == [10.0, 10.0]
    assert np.isnan(days.air_min_c[1])
    air[26] = 9.0  # two of 24
    days = fold(hourly(datetime(2024, 1, 10, tzinfo=UTC), 72, air_c=air), LONDON, rest_of_first_day=False)
    assert days.air_min_c[1] == 9.0


@pytest.mark.parametrize(("hour", "known"), [(5, True), (12, True), (13, False), (22, False)])
def test_the_first_day_of_a_forecast_is_what_is_left_of_it_if_that_is_half_a_day(hour: int, *, known: bool) -> None:
    start = datetime(2024, 1, 10, hour, tzinfo=UTC)
    hours = hourly(start, 48, rain_mm=np.full(48, 0.5))
    days = fold(hours, LONDON, rest_of_first_day=True)
    assert days.first == date(2024, 1, 10)
    assert np.isfinite(days.air_max_c[0]) == known
    assert days.rain_mm[0] == (24 - hour) * 0.5 if known else np.isnan(days.rain_mm[0])
    assert np.isnan(fold(hours, LONDON, rest_of_first_day=False).air_max_c[0])


def test_means_are_weighted_by_how_long_each_value_stands() -> None:
    span = np.zeros(24, dtype=np.int8)
    span[:18] = 1
    span[18] = 6
    humid = np.full(24, np.nan)
    humid[:18], humid[18] = 60.0, 100.0
    hours = hours_from(datetime(2024, 1, 10, tzinfo=UTC), span, air_c=np.where(span, 5.0, np.nan), humidity_pct=humid)
    days = fold(hours, LONDON, rest_of_first_day=False)
    assert days.humidity_pct[0] == pytest.approx((18 * 60 + 6 * 100) / 24)
    assert days.air_min_c[0] == 5.0


def test_days_of_which_nothing_is_known_at_the_end_are_cut_and_inner_ones_kept() -> None:
    air = np.full(96, np.nan)
    air[:24] = 4.0
    assert len(fold(hourly(datetime(2024, 1, 10, tzinfo=UTC), 96, air_c=air), LONDON, rest_of_first_day=False)) == 1
    air[48:72] = 5.0
    days = fold(hourly(datetime(2024, 1, 10, tzinfo=UTC), 96, air_c=air), LONDON, rest_of_first_day=False)
    assert len(days) == 3
    assert np.isnan(days.air_min_c[1])


def test_no_hours_give_no_days() -> None:
    assert len(fold(hourly(datetime(2024, 1, 10, tzinfo=UTC), 0), LONDON, rest_of_first_day=True)) == 0


def test_a_month_of_unknown_hours_is_no_error() -> None:
    hours = hourly(datetime(2024, 1, 10, tzinfo=UTC), 200, air_c=np.full(200, np.nan))
    assert len(fold(hours, LONDON, rest_of_first_day=True)) == 0


@pytest.mark.parametrize(("air", "depression"), [(10.0, 1.562), (15.0, 1.626), (20.0, 1.691)])
def test_dew_point_at_ninety_percent(air: float, depression: float) -> None:
    """Depression at 90 % worked out from FAO-56 eq. 11 (own; metpy 1.570, 1.635, 1.704); tolerance 0.02 °C."""
    found = dew_point_c(np.array([air]), np.array([90.0]))[0]
    assert air - found == pytest.approx(depression, abs=0.002)
    assert air - found == pytest.approx({10.0: 1.570, 15.0: 1.635, 20.0: 1.704}[air], abs=0.02)


def test_dew_point_of_saturated_air_is_its_temperature_and_of_unknown_humidity_unknown() -> None:
    assert dew_point_c(np.array([7.0]), np.array([100.0]))[0] == pytest.approx(7.0)
    assert np.isnan(dew_point_c(np.array([7.0, 7.0, np.nan]), np.array([0.0, np.nan, 80.0]))).all()


def test_a_dew_point_that_was_given_stands() -> None:
    hours = hourly(
        datetime(2024, 1, 1, tzinfo=UTC), 2, humidity_pct=np.array([90.0, 90.0]), dew_point_c=np.array([3.0, np.nan])
    )
    assert hours.dew_point_c[0] == 3.0
    assert hours.dew_point_c[1] == pytest.approx(10 - 1.562, abs=0.002)
    assert hours.end == datetime(2024, 1, 1, 2, tzinfo=UTC)


NOON = datetime(2027, 6, 10, 12, tzinfo=UTC)


def test_two_runs_joined_leave_a_hole_unknown_and_the_newer_counts():
    earlier, newer = (
        hourly(NOON, 3, air_c=np.array([1.0, 2.0, 3.0])),
        hourly(NOON + HOUR, 2, air_c=np.array([9.0, np.nan])),
    )
    assert joined(earlier, newer).air_c.tolist() == [1.0, 9.0, 3.0]
    apart = joined(newer, hourly(NOON - 3 * HOUR, 2, air_c=np.array([5.0, 6.0])))
    assert apart.first == NOON - 3 * HOUR
    assert np.array_equal(apart.air_c, [5.0, 6.0, np.nan, np.nan, 9.0, np.nan], equal_nan=True)
    assert apart.span_hours.tolist() == [1, 1, 0, 0, 1, 1]


@pytest.mark.parametrize("minutes", [0, 30])
def test_hours_are_cut_where_they_are_over_and_where_they_begin(minutes):
    hours, instant = hourly(NOON, 4, air_c=np.arange(4.0)), NOON + timedelta(hours=2, minutes=minutes)
    assert hours.before(instant).air_c.tolist() == [0.0, 1.0]
    assert hours.since(instant).air_c.tolist() == ([2.0, 3.0] if not minutes else [3.0])
    assert hours.since(instant).first == NOON + timedelta(hours=2 if not minutes else 3)
    assert (len(hours.before(NOON - HOUR)), len(hours.since(NOON + 9 * HOUR))) == (0, 0)
    assert len(hours.since(NOON - 9 * HOUR)) == len(hours.before(NOON + 9 * HOUR)) == 4
