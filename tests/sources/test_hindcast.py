"""Hindcasts: the same for ever, wrong as stated, and drawn from nothing but the days they are about."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import pytest

from haulm.science.frost import spread_by_lead_c
from haulm.sources.forecast_error import FORECAST_DAYS, RAIN_KNOWN
from haulm.sources.hindcast import HINDCAST, USUAL_RAIN_MM, USUAL_WET_SHARE, hindcasts, usual_rain
from haulm.sources.invented import invented_record
from haulm.weather import DAY, QUANTITIES

FIRST = date(2015, 1, 1)
BEGIN, SEED = date(2018, 3, 1), 4


@pytest.fixture(scope="module")
def record():
    return invented_record("brackenford", FIRST, date(2022, 12, 31), 2027)


def mornings(first, count):
    return [(first + k * DAY, datetime.combine(first + k * DAY, time(6), UTC)) for k in range(count)]


@pytest.fixture(scope="module")
def issues(record):
    return hindcasts(record, mornings(BEGIN, 1500), SEED)


def errors_of(issues, record, name):
    """(issue, days ahead): told less what came."""
    return np.array([getattr(i.days, name) - record.days.of(name).between(i.days.first, i.days.last) for i in issues])


def same(one, other):
    return all(np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True) for name in QUANTITIES)


def test_each_names_itself_and_is_known_on_its_morning(issues):
    assert {issue.origin for issue in issues} == {HINDCAST}
    assert "hindcast" in HINDCAST.name
    for issue, (day, at) in zip(issues, mornings(BEGIN, 1500), strict=True):
        assert issue.days.first == day
        assert issue.known_since < at
        assert len(issue.days) == FORECAST_DAYS


def test_a_morning_has_the_same_whatever_others_are_asked_for(record, issues):
    some = hindcasts(record, [mornings(BEGIN, 1500)[k] for k in (700, 3, 41)], SEED)
    # The rain of the time of year is counted up to the first morning asked for, so the air alone is compared.
    for issue, at in zip(some, (700, 3, 41), strict=True):
        np.testing.assert_array_equal(issue.days.air_min_c, issues[at].days.air_min_c)
    assert same(hindcasts(record, mornings(BEGIN, 3), SEED)[2].days, issues[2].days)
    assert not same(hindcasts(record, mornings(BEGIN, 3), SEED + 1)[2].days, issues[2].days)


def test_the_errors_spread_by_lead_as_the_alerts_reckon(record, issues):
    spread = errors_of(issues, record, "air_min_c").std(axis=0)
    leads = np.maximum(np.arange(FORECAST_DAYS), 1)
    np.testing.assert_allclose(spread, spread_by_lead_c(leads), rtol=0.12)
    assert np.abs(errors_of(issues, record, "air_min_c").mean(axis=0)).max() < 0.35


def test_no_forecast_is_perfect_and_a_wrong_one_stays_wrong_from_day_to_day(record, issues):
    errors = errors_of(issues, record, "air_min_c")
    assert (np.abs(errors).max(axis=1) > 0.2).all()
    of_one_day = [np.corrcoef(errors[:-1, ahead], errors[1:, ahead - 1])[0, 1] for ahead in (2, 4, 6)]
    assert min(of_one_day) > 0.6
    neighbours = np.corrcoef(errors[:, 4], errors[:, 5])[0, 1]
    assert 0.3 < neighbours < 0.95


def test_the_chance_of_rain_is_honest(record, issues):
    chance = np.array([issue.days.rain_chance for issue in issues])
    wet = np.array([record.days.of("rain_mm").between(i.days.first, i.days.last) for i in issues]) >= 0.1
    for low in (0.05, 0.25, 0.6):
        said = (chance >= low) & (chance < low + 0.2)
        if said.sum() > 300:
            assert wet[said].mean() == pytest.approx(chance[said].mean(), abs=0.08)
    assert (wet[:, 0] == (chance[:, 0] > 0.5)).mean() > RAIN_KNOWN[0] - 0.05


def test_weather_beyond_its_reach_does_not_change_an_issue(record):
    asked = mornings(BEGIN, 5)
    beyond = (BEGIN - FIRST).days + 4 + FORECAST_DAYS
    changed = {name: getattr(record.days, name).copy() for name in QUANTITIES}
    for column in changed.values():
        column[beyond:] += 30.0
    other = replace(record, days=replace(record.days, **changed))
    for one, two in zip(hindcasts(record, asked, SEED), hindcasts(other, asked, SEED), strict=True):
        assert same(one.days, two.days)


def test_a_day_that_is_not_held_is_not_told(record):
    short = replace(record, days=record.days.cut(FIRST, BEGIN + 2 * DAY), received=np.full(1157 - 1 + 1, np.nan))
    (issue,) = hindcasts(short, mornings(BEGIN, 1), SEED)
    assert np.isfinite(issue.days.air_min_c).tolist() == [True] * 3 + [False] * 7
    assert np.isfinite(issue.days.rain_chance).tolist() == [True] * 3 + [False] * 7


def test_rain_of_the_time_of_year_is_counted_before_the_first_morning(record):
    usual = usual_rain(record.days, BEGIN)
    rain = record.days.cut(FIRST, BEGIN - DAY).rain_mm
    assert usual.wet_share.mean() == pytest.approx((rain >= 0.1).mean(), abs=0.03)
    assert usual.rain_mm.mean() == pytest.approx(rain[rain >= 0.1].mean(), rel=0.1)
    short = usual_rain(record.days, FIRST + timedelta(days=20))
    assert (short.wet_share == USUAL_WET_SHARE).all()
    assert (short.rain_mm == USUAL_RAIN_MM).all()


def test_without_mornings_there_is_none(record):
    assert hindcasts(record, [], SEED) == ()
