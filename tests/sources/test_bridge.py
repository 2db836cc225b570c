"""The weather as one morning knows it: cut, filled, bridged, forecast or unknown, and what is said to be lacking."""

from dataclasses import fields
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.sources.bridge import day_end, timeline
from haulm.weather import DAY, QUANTITIES, Days, Forecast, Gap, Mark, Origin, Record, Timeline, unknown_days

LONDON, PHOENIX = ZoneInfo("Europe/London"), ZoneInfo("America/Phoenix")
STATION, MODEL = Origin("station", "Station X1"), Origin("model", "Model")
TODAY = date(2026, 5, 20)
AS_OF = datetime(2026, 5, 20, 5, 30, tzinfo=UTC)
DELAY = timedelta(hours=4)
X = np.nan


def record_of(low, high=None, rain=None, *, first=None, received=None):
    """A record whose last value is yesterday's, if no first day is given."""
    low = np.asarray(low, dtype=float)
    high = low + 10.0 if high is None else np.asarray(high, dtype=float)
    rain = np.zeros(len(low)) if rain is None else np.asarray(rain, dtype=float)
    first = first or TODAY - len(low) * DAY
    days = unknown_days(first, len(low), air_min_c=low, air_max_c=high, rain_mm=rain)
    return Record(STATION, days, np.full(len(low), X) if received is None else np.asarray(received), DELAY)


def issue_of(day, low, rain=None, *, hour=3, received=None, first=None):
    """An issue of a day's small hours, from that day on; minima tell it apart from others."""
    low = np.asarray(low, dtype=float)
    rain = np.full(len(low), 1.5) if rain is None else np.asarray(rain, dtype=float)
    days = unknown_days(first or day, len(low), air_min_c=low, air_max_c=low + 10.0, rain_mm=rain)
    return Forecast(MODEL, datetime.combine(day, time(hour, tzinfo=UTC)), days, received)


def known(record, *issues, as_of=AS_OF, today=TODAY, zone=LONDON, **more):
    return timeline(record, issues, as_of, today, zone, **more)


def names(marks):
    return [Mark(mark).name for mark in marks]


def assert_same(one, other):
    for spec in fields(Timeline):
        if spec.name not in {"days", "air_mark", "rain_mark"}:
            assert getattr(one, spec.name) == getattr(other, spec.name), spec.name
    np.testing.assert_array_equal(one.air_mark, other.air_mark)
    np.testing.assert_array_equal(one.rain_mark, other.rain_mark)
    assert one.days.first == other.days.first
    for name in QUANTITIES:
        np.testing.assert_array_equal(getattr(one.days, name), getattr(other.days, name))


def test_a_plain_morning():
    line = known(record_of(np.arange(400.0) % 7), issue_of(TODAY, [3, 4, 5]))
    assert line.gaps == ()
    assert (line.newest_observed, line.today_index) == (TODAY - DAY, 400)
    assert names(line.air_mark[-4:]) == ["OBSERVED", "FORECAST", "FORECAST", "FORECAST"]
    assert names(line.rain_mark[-4:]) == ["OBSERVED", "FORECAST", "FORECAST", "FORECAST"]
    np.testing.assert_array_equal(line.outlook.air_min_c, [3, 4, 5])
    assert (line.origin, line.forecast_origin, line.usual_delay) == (STATION, MODEL, DELAY)
    assert line.forecast_issued == datetime(2026, 5, 20, 3, tzinfo=UTC)


@pytest.mark.parametrize("gap", [1, 2, 3, 4])
def test_inner_gaps_are_filled_on_a_line_up_to_three_days_and_rain_never(gap):
    line = known(record_of([2.0, *[X] * gap, 2.0 + gap + 1.0, 9.0], rain=[0.0, *[X] * gap, 1.0, 2.0]))
    expected = np.arange(2.0, 3.0 + gap) if gap <= 3 else np.array([2.0, *[X] * gap])
    np.testing.assert_allclose(line.days.air_min_c[: gap + 1], expected)
    np.testing.assert_allclose(line.days.air_max_c[: gap + 1], expected + 10.0)
    assert names(line.air_mark[1 : gap + 1]) == ["FILLED" if gap <= 3 else "UNKNOWN"] * gap
    assert names(line.rain_mark[1 : gap + 1]) == ["UNKNOWN"] * gap
    assert np.isnan(line.days.rain_mm[1 : gap + 1]).all()
    assert (Gap.LONG_GAP in line.gaps) == (gap > 3)
    assert Gap.RAIN_UNKNOWN in line.gaps


def test_how_long_a_gap_is_filled_can_be_set():
    record = record_of([2.0, X, X, 5.0])
    assert names(known(record, gap_fill_days=1).air_mark[1:3]) == ["UNKNOWN", "UNKNOWN"]
    assert names(known(record, gap_fill_days=2).air_mark[1:3]) == ["FILLED", "FILLED"]


def test_half_a_day_keeps_what_was_observed_and_the_filled_half_does_not_contradict_it():
    line = known(record_of([2.0, 14.0, 3.0], [10.0, X, 12.0]))
    assert names(line.air_mark[:3]) == ["OBSERVED", "FILLED", "OBSERVED"]
    assert (line.days.air_min_c[1], line.days.air_max_c[1]) == (14.0, 14.0)
    line = known(record_of([12.0, X, 13.0], [20.0, 9.0, 22.0]))
    assert (line.days.air_min_c[1], line.days.air_max_c[1]) == (9.0, 9.0)


def test_late_days_are_bridged_by_the_newest_issue_of_each_day():
    issues = [
        issue_of(TODAY - 2 * DAY, [20, 21, 22], [0.0, X, 3.0]),
        issue_of(TODAY - 3 * DAY, [10, 11, 12], [7.0, 8.0, 9.0]),
        issue_of(TODAY, [30, 31]),
    ]
    line = known(record_of([1.0, X, X, X], rain=[0.0, X, X, X]), *issues)
    np.testing.assert_array_equal(line.days.air_min_c, [1, 10, 20, 21, 30, 31])
    np.testing.assert_array_equal(line.days.air_max_c, [11, 20, 30, 31, 40, 41])
    np.testing.assert_array_equal(line.days.rain_mm, [0, 7, 0, X, 1.5, 1.5])
    assert names(line.air_mark) == ["OBSERVED", "BRIDGED", "BRIDGED", "BRIDGED", "FORECAST", "FORECAST"]
    assert names(line.rain_mark) == ["OBSERVED", "BRIDGED", "BRIDGED", "UNKNOWN", "FORECAST", "FORECAST"]
    assert line.newest_observed == TODAY - 4 * DAY


def test_the_record_may_simply_end_and_rain_that_came_alone_stays_observed():
    record = record_of([1.0, X], rain=[0.0, 6.0], first=TODAY - 3 * DAY)
    line = known(record, issue_of(TODAY - 3 * DAY, [10, 11, 12, 13]))
    np.testing.assert_array_equal(line.days.air_min_c, [1, 11, 12, X])
    assert names(line.air_mark) == ["OBSERVED", "BRIDGED", "BRIDGED", "UNKNOWN"]
    assert names(line.rain_mark) == ["OBSERVED", "OBSERVED", "BRIDGED", "UNKNOWN"]
    assert Gap.FORECAST_OLD in line.gaps


def test_a_late_half_day_keeps_its_observed_half():
    line = known(record_of([1.0, 15.0], [11.0, X]), issue_of(TODAY - DAY, [2.0, 3.0]))
    assert (line.days.air_min_c[1], line.days.air_max_c[1]) == (15.0, 15.0)
    assert names(line.air_mark[:2]) == ["OBSERVED", "BRIDGED"]
    line = known(record_of([1.0, X], [11.0, 1.5]), issue_of(TODAY - DAY, [2.0, 3.0]))
    assert (line.days.air_min_c[1], line.days.air_max_c[1]) == (1.5, 1.5)


def test_an_issue_made_after_a_day_ended_or_received_after_the_morning_bridges_nothing():
    record = record_of([1.0, X])
    hindsight = issue_of(TODAY, [50, 51], first=TODAY - DAY)
    unreceived = issue_of(TODAY - DAY, [60, 61], received=AS_OF + timedelta(minutes=1))
    line = known(record, hindsight, unreceived)
    assert names(line.air_mark) == ["OBSERVED", "UNKNOWN", "FORECAST"]
    np.testing.assert_array_equal(line.days.air_min_c, [1, X, 51])


def test_an_observation_replaces_the_bridged_value_once_it_has_come():
    came = AS_OF + timedelta(hours=3)
    record = record_of([1.0, 2.0], received=[0.0, came.timestamp()])
    issue = issue_of(TODAY - DAY, [8.0, 9.0])
    assert names(known(record, issue).air_mark) == ["OBSERVED", "BRIDGED", "FORECAST"]
    later = known(record, issue, as_of=came)
    assert names(later.air_mark) == ["OBSERVED", "OBSERVED", "FORECAST"]
    assert later.days.air_min_c[1] == 2.0


def test_the_outlook_is_the_newest_issue_known_if_it_is_young_enough():
    yesterday, later = issue_of(TODAY - DAY, [1, 2, 3]), issue_of(TODAY, [7, 8], hour=6)
    record = record_of(np.ones(10))
    line = known(record, later, yesterday)
    np.testing.assert_array_equal(line.outlook.air_min_c, [2, 3])
    assert Gap.NO_FORECAST not in line.gaps
    line = known(record, yesterday, forecast_max_age=timedelta(hours=26))
    assert Gap.FORECAST_OLD in line.gaps
    assert line.forecast_issued is None
    assert (len(line.outlook), names(line.air_mark[-1:])) == (1, ["UNKNOWN"])
    assert Gap.FORECAST_OLD not in known(record, yesterday, forecast_max_age=timedelta(hours=26.5)).gaps


@pytest.mark.parametrize(
    ("issues", "gap"),
    [
        ([], Gap.NO_FORECAST),
        ([issue_of(TODAY, [1], hour=6)], Gap.NO_FORECAST),
        ([issue_of(TODAY - DAY, [1])], Gap.NO_FORECAST),
        ([issue_of(TODAY - 9 * DAY, [1])], Gap.FORECAST_OLD),
    ],
)
def test_without_a_forecast_today_is_there_and_unknown(issues, gap):
    line = known(record_of(np.ones(400)), *issues)
    assert line.gaps == (gap,)
    assert (line.days.last, line.today_index) == (TODAY, 400)
    assert line.air_mark[-1] == line.rain_mark[-1] == Mark.UNKNOWN


@pytest.mark.parametrize("record", [None, record_of([]), record_of([5.0], first=TODAY), record_of([X, X], rain=[X, X])])
def test_without_any_observation_it_is_still_a_timeline(record):
    line = known(record, issue_of(TODAY, [3, 4]), issue_of(TODAY - DAY, [1, 2]))
    assert (line.days.first, line.newest_observed, line.today_index) == (TODAY, None, 0)
    np.testing.assert_array_equal(line.days.air_min_c, [3, 4])
    assert line.gaps == (Gap.NO_OBSERVATIONS, Gap.RAIN_UNKNOWN, Gap.SHORT_RECORD)
    assert len(known(record).days) == 1


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        (LONDON, date(2026, 3, 29), 23),
        (LONDON, date(2026, 10, 25), 25),
        (PHOENIX, date(2026, 3, 29), 24),
        (ZoneInfo("America/Havana"), date(2026, 10, 31), 24),  # clocks go back from 01:00 to midnight: the first counts
        (ZoneInfo("America/Santiago"), date(2026, 9, 5), 24),  # the next midnight does not exist: the day ends at 01:00
    ],
)
def test_a_local_day_ends_by_the_clock_of_its_place(zone, day, hours):
    assert day_end(day, zone) - day_end(day - DAY, zone) == timedelta(hours=hours)
    assert day_end(day, zone).astimezone(zone).date() == day + DAY


@pytest.mark.parametrize("day", [date(2026, 3, 28), date(2026, 3, 29), date(2026, 10, 24), date(2026, 10, 25)])
@pytest.mark.parametrize("zone", [LONDON, PHOENIX])
@pytest.mark.parametrize("delay", [DELAY, timedelta(hours=30)])
def test_a_day_without_a_note_is_known_from_the_usual_delay_after_its_local_end(zone, day, delay):
    record = record_of([1.0, 2.0], first=day - DAY)
    record = Record(STATION, record.days, record.received, delay)
    due = day_end(day, zone) + delay
    for as_of, newest in ((due - timedelta(seconds=1), day - DAY), (due, day)):
        local = as_of.astimezone(zone)
        assert timeline(record, (), as_of, local.date(), zone).newest_observed == newest
        assert timeline(record, (), local, local.date(), zone).newest_observed == newest


def test_observations_are_old_a_day_after_the_next_was_due():
    record = record_of(np.ones(400))
    due = day_end(TODAY, LONDON) + DELAY + timedelta(hours=24)
    for as_of, old in ((due, False), (due + timedelta(seconds=1), True)):
        line = known(record, as_of=as_of, today=as_of.astimezone(LONDON).date())
        assert (Gap.OBSERVATIONS_OLD in line.gaps) == old


def test_a_week_of_rain_and_a_year_of_days_and_a_gap_within_the_year():
    rain = np.zeros(800)
    rain[-8] = X
    assert Gap.RAIN_UNKNOWN not in known(record_of(np.ones(800), rain=rain)).gaps
    rain[-7] = X
    assert Gap.RAIN_UNKNOWN in known(record_of(np.ones(800), rain=rain)).gaps
    assert Gap.RAIN_UNKNOWN in known(record_of(np.ones(6))).gaps
    assert Gap.SHORT_RECORD in known(record_of(np.ones(364))).gaps
    assert Gap.SHORT_RECORD not in known(record_of(np.ones(365))).gaps
    for back, told in ((370, False), (300, True)):
        low = np.ones(800)
        low[-back : -back + 4] = X
        assert (Gap.LONG_GAP in known(record_of(low)).gaps) == told


def test_days_since_the_newest_that_nothing_bridges_are_a_long_gap():
    assert Gap.LONG_GAP not in known(record_of(np.ones(400), first=TODAY - 403 * DAY)).gaps
    assert Gap.LONG_GAP in known(record_of(np.ones(400), first=TODAY - 404 * DAY)).gaps


VALUES = st.one_of(st.just(X), st.floats(-20, 40))
MINUTES = st.integers(-60 * 24 * 6, 60 * 24 * 3)


@st.composite
def mornings(draw):
    """A record around an instant with values known and not yet known, and issues before and after it."""
    count = draw(st.integers(0, 14))
    first = TODAY - draw(st.integers(0, 12)) * DAY
    columns = {name: np.array(draw(st.lists(VALUES, min_size=count, max_size=count))) for name in QUANTITIES}
    noted = st.one_of(st.just(X), MINUTES.map(lambda m: AS_OF.timestamp() + 60.0 * m))
    received = np.array(draw(st.lists(noted, min_size=count, max_size=count)), dtype=float)
    issues = []
    for at in range(draw(st.integers(0, 4))):
        issued = AS_OF + timedelta(minutes=draw(MINUTES))
        came = draw(st.one_of(st.none(), st.integers(0, 3000)))
        low = np.array(draw(st.lists(VALUES, min_size=5, max_size=5)))
        days = unknown_days(issued.date(), 5, air_min_c=low, air_max_c=low + 3.0, rain_mm=np.abs(low))
        # A source issues once at an instant; two sources may.
        source = Origin(f"model {at}", "Model")
        issues.append(Forecast(source, issued, days, None if came is None else issued + timedelta(minutes=came)))
    return Record(STATION, Days(first, **columns), received, DELAY), tuple(issues)


def hidden(record, zone):
    """Days whose row the morning may not know."""
    days = [record.days.first + at * DAY for at in range(len(record.days))]
    usual = np.array([(day_end(day, zone) + DELAY).timestamp() for day in days])
    came = np.where(np.isnan(record.received), usual, record.received)
    return (came > AS_OF.timestamp()) | np.array([day >= TODAY for day in days], dtype=bool)


@given(mornings(), st.sampled_from([LONDON, PHOENIX]), st.floats(-50, 50), st.booleans())
def test_nothing_of_the_future_changes_what_a_morning_knows(morning, zone, other, forget):
    record, issues = morning
    unseen = hidden(record, zone)
    new = X if forget else other
    columns = {name: np.where(unseen, new, getattr(record.days, name)) for name in QUANTITIES}
    changed = Record(STATION, Days(record.days.first, **columns), record.received, DELAY)
    known_issues = tuple(issue for issue in issues if issue.known_since <= AS_OF)
    assert_same(known(record, *issues, zone=zone), known(changed, *reversed(known_issues), zone=zone))


@given(mornings(), st.sampled_from([LONDON, PHOENIX]))
def test_rows_that_are_yet_to_come_may_as_well_not_be_there(morning, zone):
    record, issues = morning
    unseen = hidden(record, zone)
    seen = int(np.argmax(np.cumsum(~unseen))) + 1 if (~unseen).any() else 0
    cut = record.days.cut(record.days.first, record.days.first + (seen - 1) * DAY)
    shorter = Record(STATION, cut, record.received[:seen], DELAY)
    assert_same(known(record, *issues, zone=zone), known(shorter, *issues, zone=zone))


@given(mornings())
def test_marks_and_values_agree(morning):
    record, issues = morning
    line = known(record, *issues)
    assert len(line.days) == len(line.air_mark) == len(line.rain_mark)
    assert line.days.first <= TODAY <= line.days.last
    whole = np.isfinite(line.days.air_min_c) & np.isfinite(line.days.air_max_c)
    np.testing.assert_array_equal(whole, line.air_mark != Mark.UNKNOWN)
    np.testing.assert_array_equal(np.isfinite(line.days.rain_mm), line.rain_mark != Mark.UNKNOWN)
    past, ahead = slice(None, line.today_index), slice(line.today_index, None)
    assert not (line.air_mark[past] == Mark.FORECAST).any()
    assert set(line.air_mark[ahead]) <= {Mark.UNKNOWN, Mark.FORECAST}
    assert Mark.FILLED not in line.rain_mark
    observed = line.air_mark == Mark.OBSERVED
    newest = line.days.first + int(np.flatnonzero(observed)[-1]) * DAY if observed.any() else None
    assert line.newest_observed == newest
    bridged = np.flatnonzero((line.air_mark == Mark.BRIDGED) | (line.rain_mark == Mark.BRIDGED))
    assert all(line.days.first + int(at) * DAY > newest for at in bridged)
