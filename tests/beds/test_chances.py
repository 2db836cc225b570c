"""Frost around a planting from the place's own years, north and south of the equator."""

from datetime import date, timedelta

import numpy as np
import pytest

from haulm.beds.chances import chances_of, frost_has_come, frost_still_comes, frost_years, frosts_at
from haulm.condition import DayRange
from haulm.garden import Season
from haulm.science.development import CLASS_DAYS
from haulm.weather import DAY


@pytest.fixture
def years_of(make, thresholds):
    """Years in which it freezes hard from one day of the year to another, and is mild otherwise."""

    def known(frosts, *, latitude_deg=52.5, offset_c=0.0, today=date(2027, 5, 20), frost_c=-5.0, count=2300):
        first = today - count * DAY
        days = [first + i * DAY for i in range(count)]
        hard = [any(start <= (day.month, day.day) <= stop for start, stop in frosts(day.year)) for day in days]
        low = np.concatenate([np.where(hard, frost_c, 8.0), np.full(8, 8.0)])
        timeline = make.timeline(
            past_days=count, today=today, latitude_deg=latitude_deg, air_min_c=low, air_max_c=low + 10.0
        )
        return frost_years(timeline, make.place(latitude_deg, offset_c), thresholds)

    return known


def northern(year):
    """The last frost of spring moves by ten days between even and odd years."""
    return [((1, 1), (4, 10 if year % 2 else 20)), ((10, 20), (12, 31))]


def southern(year):
    return [((5, 10), (9, 10 if year % 2 else 20))]


def shoots_on(day):
    return DayRange(day, day + 5 * DAY, day + 10 * DAY, 1.0, 0)


def after(frosts, planting, day, thresholds):
    return chances_of(frosts, planting, shoots_on(day), thresholds).frost_after_shoots


def test_the_chance_of_frost_after_the_shoots_falls_through_the_spring(make, years_of, thresholds):
    frosts = years_of(northern)
    chances = [after(frosts, make.planting(), date(2027, 4, day), thresholds) for day in (1, 10, 15, 20, 30)]
    assert chances == sorted(chances, reverse=True)
    assert chances[0] > 0.9
    assert chances[2] == pytest.approx(0.5, abs=0.15)  # between the even and the odd years
    assert chances[-1] < 0.1


def test_south_of_the_equator_spring_is_in_september(make, years_of, thresholds):
    frosts = years_of(southern, latitude_deg=-37.0, today=date(2027, 11, 20))
    planting = make.planting(first=date(2027, 8, 20), last=date(2027, 11, 1))
    chances = [after(frosts, planting, date(2027, month, day), thresholds) for month, day in ((9, 1), (9, 15), (10, 1))]
    assert chances[0] > 0.9
    assert chances[1] == pytest.approx(0.5, abs=0.15)
    assert chances[2] < 0.1


def test_a_garden_in_a_hollow_freezes_on_nights_that_the_station_does_not(make, years_of, thresholds):
    mild = {"frost_c": -1.5}  # above the -2.2 °C that kills, but for a garden 1.5 °C colder
    high, low = (years_of(northern, offset_c=offset_c, **mild) for offset_c in (0.0, 1.5))
    day = date(2027, 4, 1)
    assert after(high, make.planting(), day, thresholds) < 0.2 < after(low, make.planting(), day, thresholds)


def test_spring_has_its_windows_end_for_a_last_day(make, years_of, thresholds):
    planting = make.planting()
    assert chances_of(years_of(northern), planting, None, thresholds).last_safe_planting == planting.window_last


def test_autumn_leaves_the_class_its_weeks_before_the_killing_frost(make, years_of, thresholds):
    frosts = years_of(northern)
    planting = make.planting(season=Season.AUTUMN, first=date(2027, 6, 1), last=date(2027, 9, 30))
    last = chances_of(frosts, planting, None, thresholds).last_safe_planting
    weeks = timedelta(days=CLASS_DAYS["early"][0])
    assert abs((last + weeks - date(2027, 10, 20)).days) <= 3
    closes = make.planting(season=Season.AUTUMN, first=date(2027, 6, 1), last=date(2027, 6, 30))
    assert chances_of(frosts, closes, None, thresholds).last_safe_planting == date(2027, 6, 30)


@pytest.mark.parametrize(
    ("first", "last", "frost"),
    [
        (date(2026, 12, 10), date(2027, 3, 31), date(2027, 5, 10)),  # over New Year: the autumn of the next year
        (date(2027, 1, 10), date(2027, 3, 31), date(2027, 5, 10)),
    ],
)
def test_a_southern_window_over_new_year_is_not_closed_by_the_autumn_before_it(
    make, years_of, thresholds, first, last, frost
):
    frosts = years_of(southern, latitude_deg=-37.0, today=date(2026, 11, 20))
    planting = make.planting(season=Season.AUTUMN, first=first, last=last)
    safe = chances_of(frosts, planting, None, thresholds).last_safe_planting
    assert abs((safe + timedelta(days=CLASS_DAYS["early"][0]) - frost).days) <= 3


def test_a_place_that_seldom_freezes_has_no_last_day_but_the_windows(make, years_of, thresholds):
    planting = make.planting(season=Season.AUTUMN, first=date(2027, 8, 1), last=date(2027, 10, 15))
    never = years_of(lambda _year: [])
    assert chances_of(never, planting, None, thresholds).last_safe_planting == date(2027, 10, 15)


def test_without_a_whole_year_nothing_is_said(make, years_of, thresholds):
    frosts = years_of(northern, count=60)
    planting = make.planting(season=Season.AUTUMN, first=date(2027, 6, 1), last=date(2027, 9, 30))
    found = chances_of(frosts, planting, None, thresholds)
    assert (found.years, found.last_safe_planting) == (0, None)
    assert np.isnan(found.frost_after_shoots)


def test_a_season_counts_once_it_is_over(years_of):
    """A July frost is told from 24 July on, whatever day it is; until then the springs before it speak."""

    def with_a_late_frost(year):
        return [*northern(year), *([((7, 5), (7, 6))] if year == 2027 else [])]

    before, after_it = (years_of(with_a_late_frost, today=date(2027, 7, day)) for day in (23, 24))
    assert after_it.last.years == before.last.years + 1
    assert after_it.last.mean_day > before.last.mean_day + 5
    assert before == years_of(northern, today=date(2027, 7, 23))


@pytest.mark.parametrize(
    ("latitude_deg", "day", "spring"),
    [
        (52.5, date(2027, 1, 23), False),
        (52.5, date(2027, 1, 24), True),
        (52.5, date(2027, 7, 23), True),
        (52.5, date(2027, 7, 24), False),
        (-37.0, date(2027, 1, 23), True),
        (-37.0, date(2027, 1, 24), False),
        (-37.0, date(2027, 7, 24), True),
    ],
)
def test_a_day_belongs_to_the_spring_or_the_autumn_of_its_half_of_the_globe(make, years_of, latitude_deg, day, spring):
    """The boundaries are 24 July and 24 January: climate.usu.edu."""
    frosts = years_of(southern if latitude_deg < 0 else northern, latitude_deg=latitude_deg)
    assert (frost_still_comes(frosts, day) is not None) is spring
    assert (frost_has_come(frosts, day) is not None) is not spring


def test_the_first_frost_of_autumn_grows_likelier_into_the_new_year(years_of):
    frosts = years_of(northern)
    days = (date(2026, 9, 20), date(2026, 10, 20), date(2026, 11, 20), date(2027, 1, 10))
    chances = [frost_has_come(frosts, day) for day in days]
    assert chances == sorted(chances)
    assert chances[0] < 0.1
    assert chances[-1] > 0.9


def test_a_milder_limit_is_passed_later_in_spring(make, thresholds):
    timeline = make.timeline(past_days=2300)
    hard, light = (frosts_at(timeline, make.place(), limit_c) for limit_c in (-2.2, 2.0))
    assert light.last.mean_day > hard.last.mean_day
    assert light.first.mean_day < hard.first.mean_day


def test_without_a_whole_spring_no_frost_is_told(make, thresholds):
    frosts = frosts_at(make.timeline(past_days=30), make.place(), 0.0)
    assert frost_still_comes(frosts, date(2027, 5, 1)) is None
    assert frost_has_come(frosts, date(2027, 10, 1)) is None
