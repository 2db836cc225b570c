"""Forecasts as issued against the station: which count, at which lead, and what they change in a coming night."""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import numpy as np
import pytest

from haulm.beds.graded import (
    FEWEST_BEHIND,
    GRADED_FOR,
    LEADS,
    chances_given,
    graded_minima,
    measured,
    table_of,
)
from haulm.beds.nights import garden_nights
from haulm.beds.sky import sky_now
from haulm.garden import Journal
from haulm.weather import DAY, Forecast, Mark, Origin, unknown_days

ISSUER, OTHER = Origin("made", "an invented station"), Origin("other", "another forecaster")
AHEAD, PAST = 8, 1100
NAN = float("nan")


def at(day, hour=4):
    return datetime.combine(day, time(hour), UTC)


@pytest.fixture
def now(today):
    return at(today, 5)


@pytest.fixture
def issue(make):
    """One issue that is off by `off_c` on every day, with nothing told of cloud or wind."""
    truth = make.timeline().days

    def build(day, off_c=0.0, hour=4, origin=ISSUER, **changes):
        days = truth.cut(day, day + (AHEAD - 1) * DAY)
        told = unknown_days(day, AHEAD, air_min_c=days.air_min_c + off_c, air_max_c=days.air_max_c + off_c)
        return Forecast(origin, at(day, hour), told, **changes)

    return build


@pytest.fixture
def graded(make, thresholds, now):
    def build(issues, as_of=now, **known):
        timeline = make.timeline(**known)
        place = make.place()
        usual = garden_nights(timeline, Journal(), place, thresholds).usual_range_c
        return graded_minima(issues, timeline, place, as_of, usual)

    return build


def test_each_lead_is_graded_against_its_own_day(issue, graded, today):
    found = graded([issue(today - k * DAY, off_c=2.0) for k in range(1, 31)])
    # Yesterday's issue has no night that is over by now; the one before has one, of lead 1.
    assert found.pairs.tolist() == [29, 28, 27, 26, 25, 24, 23]


def test_a_table_of_issues_has_a_column_for_each_lead(issue, make, today):
    held = table_of([issue(today - 3 * DAY), issue(today - 9 * DAY, off_c=1.0)], make.place())
    assert held.day.tolist() == [(today - 9 * DAY).toordinal(), (today - 3 * DAY).toordinal()]
    timeline = make.timeline()
    off = held.of("air_min_c") - measured(held, timeline, "air_min_c")
    assert off[0] == pytest.approx(np.ones(LEADS))
    assert off[1][:3] == pytest.approx(np.zeros(3))
    assert np.isnan(off[1][3:]).all()  # today and later are not measured
    assert held.day_of_year[1][:2].tolist() == [137.0, 138.0]  # 17 May


def test_the_last_issue_of_a_day_is_graded(issue, make, today):
    held = table_of([issue(today - 5 * DAY, 3.0, hour=18), issue(today - 5 * DAY, 1.0, hour=4)], make.place())
    assert held.told.shape[1] == 1
    off = held.of("air_min_c") - measured(held, make.timeline(), "air_min_c")
    assert off[0][0] == pytest.approx(3.0)


def test_without_issues_nothing_is_graded_and_the_prior_speaks(graded, make, today):
    found = graded([])
    assert found.pairs.tolist() == [0] * (LEADS - 1)
    days = make.timeline(cloud=1.0, wind_ms=6.0).outlook
    told = found.expect(days, today)
    assert told.mean_c[1:4, 0] == pytest.approx(days.air_min_c[1:4])
    assert told.spread_c[1, 0] == pytest.approx(1.4, abs=0.15)


@pytest.mark.parametrize(
    ("origin", "hour", "received_after", "counts"),
    [(ISSUER, 4, None, True), (OTHER, 4, None, False), (ISSUER, 4, timedelta(days=30), False)],
)
def test_only_issues_of_the_same_forecaster_that_were_known_count(
    issue, graded, today, origin, hour, received_after, counts
):
    day = today - 10 * DAY
    received = None if received_after is None else at(day) + received_after
    found = graded([issue(day, origin=origin, hour=hour, received=received)])
    assert bool(found.pairs.any()) is counts


def test_very_old_issues_are_left_aside(issue, graded, today):
    assert not graded([issue(today - GRADED_FOR - 2 * DAY)]).pairs.any()


def test_only_observed_days_are_measured_against(issue, make, graded, today):
    assert graded([issue(today - 10 * DAY)], mark=Mark.BRIDGED).pairs.tolist() == [0] * 7
    low = make.timeline().days.air_min_c.copy()
    low[1100 - 9] = NAN
    assert graded([issue(today - 10 * DAY)], air_min_c=low).pairs.tolist() == [0, 1, 1, 1, 1, 1, 1]


def test_a_forecaster_who_is_always_too_warm_is_put_right(issue, make, thresholds, now, today):
    def tonight(off_c, backs=range(1, 120)):
        known = [issue(today - k * DAY, off_c=off_c) for k in backs]
        return sky_now(make.timeline(), make.place(), thresholds, now, forecasts=known).nights[0]

    assert tonight(0.0).leaf_c - tonight(2.0).leaf_c == pytest.approx(2.0, abs=0.3)
    assert tonight(2.0).spread_c < tonight(2.0, ()).spread_c  # always by the same
    assert tonight(2.0).air_c == tonight(2.0, ()).air_c  # the forecast is told as it was issued


def test_how_they_turned_out_is_told_once_there_are_enough(issue, make, thresholds, now, today):
    def told(count):
        known = [issue(today - k * DAY, off_c=-1.5) for k in range(1, count + 2)]
        return sky_now(make.timeline(), make.place(), thresholds, now, forecasts=known).graded

    assert told(9) is None
    assert (told(10).nights, told(10).too_warm_c) == (10, pytest.approx(-1.5))


def test_a_forecaster_who_errs_wildly_is_believed_less(issue, make, thresholds, now, today):
    """Real nights lie about the mean year, and the forecasts about the real nights, by 4 °C each."""
    rng = np.random.default_rng(1)
    low = make.timeline().days.air_min_c + rng.normal(0.0, 4.0, 1108)
    timeline = make.timeline(air_min_c=low)
    issues = []
    for back in range(1, 160):
        true = timeline.days.of("air_min_c").between(today - back * DAY, today + (AHEAD - back - 1) * DAY)
        plain = issue(today - back * DAY)
        issues.append(replace(plain, days=replace(plain.days, air_min_c=true + rng.normal(0.0, 4.0, AHEAD))))
    wild, untold = (
        sky_now(timeline, make.place(), thresholds, now, forecasts=known).nights[0] for known in (issues, ())
    )
    assert wild.spread_c > untold.spread_c + 0.8


def test_what_comes_to_be_known_later_changes_nothing(issue, make, thresholds, now, today):
    """The same morning with and without issues of later days, and one of an earlier day that arrived late."""
    issues = [issue(today - k * DAY, off_c=1.0) for k in range(1, 60)]
    late = replace(issue(today - 70 * DAY, off_c=9.0), received=now + timedelta(hours=1))
    later = [issue(today + k * DAY, off_c=9.0) for k in range(3)]
    timeline = make.timeline()
    one, other = (
        sky_now(timeline, make.place(), thresholds, now, forecasts=known).nights
        for known in (issues, [*issues, late, *later[1:]])
    )
    assert one == other


# --- chances looked back on


@pytest.fixture
def looked_back(make, thresholds, issue, now, today):
    """Cold nights about the freezing point, forecast with errors of 1.5 °C; the last nights can be changed."""

    def build(changed_c=0.0, count=300):
        rng = np.random.default_rng(11)
        low = make.timeline().days.air_min_c - 5.0 + rng.normal(0.0, 4.0, PAST + 8)
        low[PAST - 5 : PAST] += changed_c
        timeline = make.timeline(air_min_c=low)
        issues = []
        for back in range(1, count + 1):
            plain = issue(today - back * DAY)
            true = timeline.days.of("air_min_c").between(plain.days.first, plain.days.last)
            told = true - changed_c * (back <= 5) + rng.normal(0.0, 1.5, AHEAD)
            issues.append(replace(plain, days=replace(plain.days, air_min_c=told)))
        place = make.place()
        usual = garden_nights(timeline, Journal(), place, thresholds).usual_range_c
        return chances_given(issues, timeline, place, now, usual, 0.0)

    return build


def test_each_chance_looked_back_on_is_that_of_its_own_morning(looked_back):
    chances, froze = looked_back()
    assert len(chances) == len(froze) == 299 - FEWEST_BEHIND - 1  # last night is not measured, the first teach
    later, _ = looked_back(changed_c=-9.0)
    # Only the mean year, which is that of the whole record, may know of them.
    assert later[:-6] == pytest.approx(chances[:-6], abs=0.01)


def test_chances_looked_back_on_are_about_right(looked_back):
    chances, froze = looked_back()
    for low, high in ((0.0, 0.25), (0.25, 0.75), (0.75, 1.0)):
        among = (chances >= low) & (chances <= high)
        assert among.sum() >= 20
        assert froze[among].mean() == pytest.approx(chances[among].mean(), abs=0.15)


def test_a_few_nights_are_not_looked_back_on(looked_back):
    assert [len(part) for part in looked_back(count=FEWEST_BEHIND)] == [0, 0]
