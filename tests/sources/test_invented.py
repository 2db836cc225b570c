"""Invented weather: the same for ever, and plausible. All bands here are judgement; they held for nine seeds tried."""

import time
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haulm.sources.bridge import timeline
from haulm.sources.forecast_error import FORECAST_DAYS, dew_point
from haulm.sources.invented import (
    BRACKENFORD,
    ERROR_C,
    INVENTED_PLACES,
    SALLOW_WELLS,
    invented_forecasts,
    invented_record,
)
from haulm.weather import DAY, QUANTITIES

KEYS = tuple(INVENTED_PLACES)
SEED = 20260501
YEARS = range(1997, 2027)


@pytest.fixture(scope="module")
def decades():
    """Thirty years of each place."""
    return {key: invented_record(key, date(YEARS[0], 1, 1), date(YEARS[-1], 12, 31), SEED).days for key in KEYS}


@pytest.fixture(scope="module")
def issues(decades):
    """Four years of forecasts of each place, with the truth of their days."""
    mornings = [date(2020, 1, 1) + at * DAY for at in range(4 * 365)]
    told = {key: invented_forecasts(key, decades[key], mornings, SEED) for key in KEYS}
    true = {key: [decades[key].cut(day, day + (FORECAST_DAYS - 1) * DAY) for day in mornings] for key in KEYS}
    return told, true


def year_of(days, year):
    return days.cut(date(year, 1, 1), date(year, 12, 31))


def months_of(days, *months):
    at = np.array([(days.first + at * DAY).month in months for at in range(len(days))])
    return {name: getattr(days, name)[at] for name in QUANTITIES}


def same(one, other):
    return all(np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True) for name in QUANTITIES)


def test_the_places_are_the_two_of_the_scenario_and_say_that_they_are_invented():
    assert [place.name for place in INVENTED_PLACES.values()] == ["Brackenford", "Sallow Wells"]
    for key, place in INVENTED_PLACES.items():
        record = invented_record(key, date(2026, 1, 1), date(2026, 1, 9), SEED)
        (issue,) = invented_forecasts(key, record.days, [date(2026, 1, 1)], SEED)
        for origin in (record.origin, issue.origin):
            assert "invented" in origin.name
            assert "invented" in origin.attribution
        assert ZoneInfo(place.zone).key == place.zone
        assert record.days.last == date(2026, 1, 9)
        assert np.isnan(record.received).all()


@settings(max_examples=25)
@given(
    st.sampled_from(KEYS), st.dates(date(2015, 1, 1), date(2027, 12, 31)), st.integers(0, 800), st.integers(0, 2**40)
)
def test_a_day_is_the_same_whatever_range_is_asked_for(key, first, count, seed):
    asked = invented_record(key, first, first + count * DAY, seed).days
    wider = invented_record(key, first - 500 * DAY, first + (count + 40) * DAY, seed).days
    assert same(asked, wider.cut(asked.first, asked.last))
    assert not np.isnan(asked.air_min_c).any()


def test_years_seeds_and_places_differ():
    first, last = date(2025, 1, 1), date(2025, 12, 31)
    runs = [invented_record(key, first, last, seed).days.rain_mm for key in KEYS for seed in (1, 2)]
    runs.append(invented_record(KEYS[0], date(2026, 1, 1), date(2026, 12, 31), 1).days.rain_mm)
    for at, run in enumerate(runs):
        assert all(abs(np.corrcoef(run, other)[0, 1]) < 0.25 for other in runs[at + 1 :])


def test_an_empty_range_gives_no_days():
    record = invented_record("brackenford", date(2026, 1, 2), date(2026, 1, 1), 1)
    assert len(record.days) == len(record.received) == 0
    assert invented_forecasts("brackenford", record.days, [], 1) == ()


@pytest.mark.parametrize("key", KEYS)
def test_the_turn_of_the_year_is_no_seam(decades, key):
    # A jump between two days in winter is as large over New Year as within December and January.
    mean = {year: year_of(decades[key], year) for year in YEARS}
    middle = {year: (days.air_min_c + days.air_max_c) / 2.0 for year, days in mean.items()}
    seam = np.array([middle[year + 1][0] - middle[year][-1] for year in YEARS[:-1]])
    inside = np.concatenate([np.diff(run[:31]) for run in middle.values()])
    assert 0.6 < np.std(seam) / np.std(inside) < 1.5


@pytest.mark.parametrize("key", KEYS)
def test_every_day_is_possible(decades, key):
    days = decades[key]
    middle = (days.air_min_c + days.air_max_c) / 2.0
    assert (days.air_max_c - days.air_min_c > 1.0).all()
    assert (days.rain_mm >= 0.0).all()
    assert (days.rain_mm < 120.0).all()
    assert ((days.humidity_pct >= 8.0) & (days.humidity_pct <= 100.0)).all()
    assert (days.dew_point_c <= middle + 0.11).all()
    assert ((days.cloud >= 0.0) & (days.cloud <= 1.0)).all()
    assert (days.gust_ms > days.wind_ms).all()
    assert days.gust_ms.max() < 45.0
    assert np.isnan(days.rain_chance).all()


@pytest.mark.parametrize("key", KEYS)
def test_clear_dry_days_swing_further_and_weather_lasts(decades, key):
    days = decades[key]
    swing = days.air_max_c - days.air_min_c
    assert swing[days.cloud < 0.3].mean() > swing[days.cloud > 0.8].mean() + 3.0
    wet = days.rain_mm > 0.0
    assert wet[1:][wet[:-1]].mean() > wet[1:][~wet[:-1]].mean() + 0.15
    winters = months_of(days, 1)
    middle = (winters["air_min_c"] + winters["air_max_c"]) / 2.0
    assert 0.5 < np.corrcoef(middle[1:], middle[:-1])[0, 1] < 0.9


def frosts(days, year, *, spring):
    first, last = (date(year, 1, 1), date(year, 7, 15)) if spring else (date(year, 7, 16), date(year, 12, 31))
    return [first + int(at) * DAY for at in np.flatnonzero(days.of("air_min_c").between(first, last) <= 0.0)]


def test_brackenford_is_cool_with_one_season_and_frost_into_may(decades):
    days = decades["brackenford"]
    last = [max(frosts(days, year, spring=True)) for year in YEARS]
    first = [min(frosts(days, year, spring=False)) for year in YEARS]
    in_may = sum(day.month >= 5 for day in last)
    assert 8 <= in_may <= 24
    assert sum(day.month >= 6 for day in last) <= 6
    assert sum(day.month in {9, 10, 11} for day in first) >= 27
    assert np.median([(f - s).days for s, f in zip(last, first, strict=True)]) > 150
    summer = months_of(days, 7)
    assert 18.0 < summer["air_max_c"].mean() < 23.0
    assert 60 < (days.air_min_c <= 0.0).sum() / len(YEARS) < 120


def test_brackenford_has_rain_all_year(decades):
    days = decades["brackenford"]
    rain = np.array([year_of(days, year).rain_mm.sum() for year in YEARS])
    assert 600 < rain.mean() < 850
    assert rain.min() > 400
    monthly = np.array([months_of(days, month)["rain_mm"].mean() for month in range(1, 13)])
    assert monthly.max() / monthly.min() < 1.8


def test_sallow_wells_has_two_seasons_with_heat_between(decades):
    days = decades["sallow-wells"]
    for months, low, high in (((2, 3), 18.0, 26.0), ((10, 11), 20.0, 28.0), ((6, 7, 8), 36.0, 42.0)):
        assert low < months_of(days, *months)["air_max_c"].mean() < high
    hot = [(year_of(days, year).air_max_c >= 40.0).sum() for year in YEARS]
    assert min(hot) >= 5
    # No potato forms tubers in such nights: the gap between the seasons is there in every year.
    nights = [(year_of(days, year).air_min_c >= 20.0).sum() for year in YEARS]
    assert min(nights) >= 50
    assert months_of(days, 5, 6, 7, 8, 9)["air_min_c"].min() > 3.0


def test_sallow_wells_has_few_frosts_and_little_rain(decades):
    days = decades["sallow-wells"]
    assert 1.0 < (days.air_min_c <= 0.0).sum() / len(YEARS) < 12.0
    assert months_of(days, 4, 5, 6, 7, 8, 9, 10)["air_min_c"].min() > 0.0
    rain = np.array([year_of(days, year).rain_mm.sum() for year in YEARS])
    assert 80 < rain.mean() < 200


@pytest.mark.parametrize("key", KEYS)
def test_the_error_of_a_forecast_grows_with_the_days_ahead_as_stated(issues, key):
    told, true = issues[0][key], issues[1][key]
    error = np.array([t.days.air_min_c - w.air_min_c for t, w in zip(told, true, strict=True)])
    spread = error.std(axis=0)
    assert (np.diff(spread) > 0.0).all()
    np.testing.assert_allclose(spread, ERROR_C, rtol=0.12)
    assert np.abs(error.mean(axis=0)).max() < 0.6
    high = np.array([t.days.air_max_c - w.air_max_c for t, w in zip(told, true, strict=True)])
    assert (np.diff(high.std(axis=0)) > 0.0).all()
    assert 0.3 < np.corrcoef(error[:, 4], high[:, 4])[0, 1] < 0.9


@pytest.mark.parametrize("key", KEYS)
def test_a_wrong_forecast_stays_wrong_until_news_comes(issues, key):
    told, true = issues[0][key], issues[1][key]
    error = np.array([t.days.air_min_c - w.air_min_c for t, w in zip(told, true, strict=True)])
    # The same day, seen five days ahead and one morning later four days ahead; and two days of one issue.
    assert np.corrcoef(error[:-1, 5], error[1:, 4])[0, 1] > 0.7
    assert np.corrcoef(error[:, 5], error[:, 4])[0, 1] > 0.3


@pytest.mark.parametrize("key", KEYS)
def test_the_chance_of_rain_is_honest(issues, key):
    told, true = issues[0][key], issues[1][key]
    chance = np.concatenate([t.days.rain_chance for t in told])
    wet = np.concatenate([w.rain_mm > 0.0 for w in true])
    for low in (0.0, 0.1, 0.2, 0.4, 0.6, 0.8):
        among = (chance >= low) & (chance < low + 0.2)
        if among.sum() >= 1000:
            assert abs(chance[among].mean() - wet[among].mean()) < 0.08
    first, last = (np.array([t.days.rain_chance[at] for t in told]) for at in (0, FORECAST_DAYS - 1))
    assert first.std() > 2.0 * last.std()


def test_a_forecast_is_the_same_whichever_mornings_are_asked_for(decades):
    days, mornings = decades["brackenford"], [date(2024, 2, 25) + at * DAY for at in range(20)]
    together = invented_forecasts("brackenford", days, mornings, SEED)
    for morning, issue in zip(mornings[::6], together[::6], strict=True):
        (alone,) = invented_forecasts("brackenford", days, [morning], SEED)
        assert same(alone.days, issue.days)
        assert issue.issued == datetime(morning.year, morning.month, morning.day, 3, tzinfo=UTC)
        assert (issue.days.first, len(issue.days)) == (morning, 10)
        assert (issue.days.air_max_c > issue.days.air_min_c).all()


def test_days_that_the_truth_does_not_hold_are_not_forecast():
    truth = invented_record("sallow-wells", date(2026, 3, 1), date(2026, 3, 4), SEED).days
    (issue,) = invented_forecasts("sallow-wells", truth, [date(2026, 3, 2)], SEED)
    for name in QUANTITIES:
        assert np.isfinite(getattr(issue.days, name)).tolist() == [True] * 3 + [False] * 7


@pytest.mark.parametrize("place", [BRACKENFORD, SALLOW_WELLS], ids=lambda place: place.key)
def test_a_demo_morning_is_complete(place):
    today = date(2026, 4, 20)
    record = invented_record(place.key, date(2016, 1, 1), today + 9 * DAY, SEED)
    issues = invented_forecasts(place.key, record.days, [today - DAY, today], SEED)
    zone = ZoneInfo(place.zone)
    as_of = datetime(2026, 4, 20, 6, tzinfo=zone)
    line = timeline(record, issues, as_of, today, zone)
    assert line.gaps == ()
    assert line.newest_observed == today - DAY
    assert line.forecast_issued == datetime(2026, 4, 20, 3, tzinfo=UTC)


def test_dew_point_at_saturation_and_at_half():
    # Saturated air is at its dew point; at 20 °C and 50 % e = 1.169 kPa, whose dew point is 9.27 °C (own calculation).
    np.testing.assert_allclose(dew_point(np.array([-5.0, 20.0]), np.array([100.0, 100.0])), [-5.0, 20.0], atol=1e-9)
    np.testing.assert_allclose(dew_point(np.array([20.0]), np.array([50.0])), [9.27], atol=0.02)


def test_eleven_years_come_quickly():
    # 17 ms on the machine it was written on; the limit leaves room for a slower, busier one.
    started = time.perf_counter()
    invented_record("brackenford", date(2016, 1, 1), date(2026, 12, 31), SEED)
    assert timedelta(seconds=time.perf_counter() - started) < timedelta(milliseconds=300)
