"""Whether a morning is due: a pure question, stepped through the nights that clocks make odd."""

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
from hypothesis import given
from hypothesis import strategies as st

from haulm.jobs.due import WAITS, Standing, days_missed, due, local_day, next_try
from haulm.store.runs import Outcome, Run

CHICAGO, BERLIN, SANTIAGO, LORD_HOWE = "America/Chicago", "Europe/Berlin", "America/Santiago", "Australia/Lord_Howe"
HALF_PAST_SIX, NOON = time(6, 30), time(12, 0)
MINUTE = timedelta(minutes=1)


def run(day: date, started: datetime, outcome: Outcome = Outcome.DONE) -> Run:
    ended = None if outcome in {Outcome.RUNNING, Outcome.WRITTEN} else started
    return Run(1, "brackenford", "morning", day, started, ended, outcome, None, "")


def local(zone: str, *when: int, fold: int = 0) -> datetime:
    return datetime(*when, tzinfo=ZoneInfo(zone), fold=fold)  # type: ignore[arg-type,misc]


def asked(now: datetime, *runs: Run, undelivered: bool = False, until: time = NOON) -> Standing:
    return due(now, runs, HALF_PAST_SIX, CHICAGO, until, undelivered=undelivered)


def clock(first: datetime, last: datetime, step: timedelta) -> Iterator[datetime]:
    """The machine's own clock, moved on step by step."""
    with time_machine.travel(first, tick=False) as traveller:
        while datetime.now(UTC) < last:
            yield datetime.now(UTC)
            traveller.shift(step)


def sent(first: datetime, last: datetime, at: time, zone: str, step: timedelta = MINUTE) -> list[datetime]:
    """When letters go out if each step asks, and each letter that is due gets written."""
    runs: list[Run] = []
    for instant in clock(first, last, step):
        if due(instant, runs[-3:], at, zone, time(23, 59)) is Standing.DUE:
            runs.append(run(local_day(instant, zone), instant))
    return [each.started for each in runs]


def test_nothing_before_the_hour_and_a_letter_at_it() -> None:
    assert asked(local(CHICAGO, 2027, 4, 12, 6, 29, 59)) is Standing.EARLY
    assert asked(local(CHICAGO, 2027, 4, 12, 6, 30)) is Standing.DUE


def test_the_catch_up_minute_is_the_last() -> None:
    assert asked(local(CHICAGO, 2027, 4, 12, 12, 0, 59)) is Standing.DUE
    assert asked(local(CHICAGO, 2027, 4, 12, 12, 1)) is Standing.LATE


def test_a_catch_up_hour_that_is_the_letters_own_leaves_it_one_minute() -> None:
    assert asked(local(CHICAGO, 2027, 4, 12, 6, 30, 30), until=HALF_PAST_SIX) is Standing.DUE
    assert asked(local(CHICAGO, 2027, 4, 12, 6, 31), until=HALF_PAST_SIX) is Standing.LATE


@pytest.mark.parametrize("outcome", [Outcome.WRITTEN, Outcome.DONE, Outcome.PARTLY])
def test_a_day_that_has_its_letter_is_done(outcome: Outcome) -> None:
    wrote = run(date(2027, 4, 12), local(CHICAGO, 2027, 4, 12, 6, 30), outcome)
    assert asked(local(CHICAGO, 2027, 4, 12, 9, 0), wrote) is Standing.DONE
    assert asked(local(CHICAGO, 2027, 4, 12, 18, 0), wrote) is Standing.DONE
    assert asked(local(CHICAGO, 2027, 4, 13, 6, 30), wrote) is Standing.DUE


def test_a_letter_of_another_day_written_today_does_not_count_for_today() -> None:
    other = run(date(2027, 4, 1), local(CHICAGO, 2027, 4, 12, 6, 0))
    assert asked(local(CHICAGO, 2027, 4, 12, 6, 30), other) is Standing.DUE


@pytest.mark.parametrize("outcome", [Outcome.RUNNING, Outcome.FAILED])
def test_waits_after_failures_grow_and_then_stay(outcome: Outcome) -> None:
    at = local(CHICAGO, 2027, 4, 12, 6, 30)
    gaps: list[timedelta] = []
    runs: list[Run] = []
    for instant in clock(at, at + timedelta(hours=9), MINUTE):
        if due(instant, runs, HALF_PAST_SIX, CHICAGO, time(23, 59)) is Standing.DUE:
            gaps += [instant - runs[-1].started] if runs else []
            runs.append(run(date(2027, 4, 12), instant, outcome))
    assert gaps == [*WAITS, WAITS[-1], WAITS[-1]]


def test_the_hour_of_catching_up_bounds_the_tries() -> None:
    at = local(CHICAGO, 2027, 4, 12, 6, 30)
    runs: list[Run] = []
    for instant in clock(at, at + timedelta(hours=12), MINUTE):
        if asked(instant, *runs) is Standing.DUE:
            runs.append(run(date(2027, 4, 12), instant, Outcome.FAILED))
    began = [f"{each.started.astimezone(ZoneInfo(CHICAGO)):%H:%M}" for each in runs]
    assert began == ["06:30", "06:35", "06:50", "07:35", "09:35", "11:35"]


def test_a_written_letter_is_handed_over_until_the_day_ends() -> None:
    wrote = run(date(2027, 4, 12), local(CHICAGO, 2027, 4, 12, 6, 30), Outcome.PARTLY)
    assert asked(local(CHICAGO, 2027, 4, 12, 6, 34), wrote, undelivered=True) is Standing.WAITING
    assert asked(local(CHICAGO, 2027, 4, 12, 6, 35), wrote, undelivered=True) is Standing.DUE
    assert asked(local(CHICAGO, 2027, 4, 12, 23, 58), wrote, undelivered=True) is Standing.DUE


def test_yesterdays_letter_that_waits_makes_no_late_one_today() -> None:
    wrote = run(date(2027, 4, 11), local(CHICAGO, 2027, 4, 11, 6, 30))
    assert asked(local(CHICAGO, 2027, 4, 12, 15, 0), wrote, undelivered=True) is Standing.LATE


def test_a_clock_put_back_does_not_hold_the_morning_up() -> None:
    ahead = run(date(2027, 4, 12), local(CHICAGO, 2027, 4, 12, 11, 0), Outcome.FAILED)
    now = local(CHICAGO, 2027, 4, 12, 7, 0)
    assert asked(now, ahead) is Standing.DUE
    assert next_try(now, [ahead], CHICAGO) == now


@pytest.mark.parametrize(
    ("zone", "at", "first", "days", "utc"),
    [
        # Spring in Chicago, 14 March 2027: 02:00 becomes 03:00, and half past two does not come at all.
        (CHICAGO, time(6, 30), (2027, 3, 13), 3, ["13 12:30", "14 11:30", "15 11:30"]),
        (CHICAGO, time(2, 30), (2027, 3, 13), 3, ["13 08:30", "14 08:30", "15 07:30"]),
        # Autumn, 7 November 2027: the hour from one to two comes twice.
        (CHICAGO, time(6, 30), (2027, 11, 6), 3, ["06 11:30", "07 12:30", "08 12:30"]),
        (CHICAGO, time(1, 30), (2027, 11, 6), 3, ["06 06:30", "07 06:30", "08 07:30"]),
        # Berlin, 28 March and 31 October 2027.
        (BERLIN, time(6, 30), (2027, 3, 27), 3, ["27 05:30", "28 04:30", "29 04:30"]),
        (BERLIN, time(2, 30), (2027, 10, 30), 3, ["30 00:30", "31 00:30", "01 01:30"]),
        # The year's end, and a leap day.
        (BERLIN, time(6, 30), (2027, 12, 31), 2, ["31 05:30", "01 05:30"]),
        (CHICAGO, time(6, 30), (2028, 2, 28), 3, ["28 12:30", "29 12:30", "01 12:30"]),
    ],
)
def test_one_letter_a_day_through_odd_nights(
    zone: str, at: time, first: tuple[int, int, int], days: int, utc: list[str]
) -> None:
    begin = local(zone, *first, 0, 0)
    end = local(zone, *(begin + timedelta(days=days)).timetuple()[:3], 0, 0)
    assert [f"{each:%d %H:%M}" for each in sent(begin, end, at, zone)] == utc


def test_what_failed_in_an_hour_that_comes_twice_is_tried_again_in_its_second_coming() -> None:
    failed = run(date(2027, 11, 7), local(CHICAGO, 2027, 11, 7, 1, 30), Outcome.FAILED)
    second = local(CHICAGO, 2027, 11, 7, 1, 10, fold=1)
    assert due(second, [failed], time(1, 30), CHICAGO, NOON) is Standing.DUE


@pytest.mark.parametrize("zone", [CHICAGO, SANTIAGO, LORD_HOWE])
@pytest.mark.parametrize("at", [time(0, 0), time(6, 30), time(23, 45)])
def test_every_day_of_a_leap_year_gets_one_letter(zone: str, at: time) -> None:
    letters = sent(local(zone, 2028, 1, 1, 0, 0), local(zone, 2029, 1, 1, 0, 0), at, zone, timedelta(minutes=15))
    count = Counter(local_day(each, zone) for each in letters)
    assert len(count) == 366
    assert set(count.values()) == {1}


@given(minutes=st.integers(0, 20 * 365 * 24 * 60))
def test_once_written_never_due_again_that_day(minutes: int) -> None:
    now = datetime(2020, 1, 1, tzinfo=UTC) + minutes * MINUTE
    wrote = run(local_day(now, CHICAGO), now)
    assert asked(now, wrote) in {Standing.DONE, Standing.EARLY}


def test_days_missed_are_those_since_the_last_letter() -> None:
    before = run(date(2028, 2, 26), datetime(2028, 2, 26, 12, tzinfo=UTC))
    failed = run(date(2028, 2, 28), datetime(2028, 2, 28, 12, tzinfo=UTC), Outcome.FAILED)
    todays = run(date(2028, 3, 1), datetime(2028, 3, 1, 12, tzinfo=UTC), Outcome.WRITTEN)
    missed = (date(2028, 2, 27), date(2028, 2, 28), date(2028, 2, 29))
    assert days_missed([before, failed, todays], date(2028, 3, 1)) == missed
    assert days_missed([before], date(2028, 2, 27)) == ()
    assert days_missed([failed], date(2028, 3, 1)) == (), "before the first letter nothing is missed"
    assert days_missed([], date(2028, 3, 1)) == ()


def test_days_missed_are_told_again_until_all_have_heard() -> None:
    """The letter of the 29th told of them, and did not reach everybody."""
    letters = [run(date(2028, 2, day), datetime(2028, 2, day, 12, tzinfo=UTC)) for day in (26, 29)]
    missed, today = (date(2028, 2, 27), date(2028, 2, 28)), date(2028, 3, 1)
    assert days_missed(letters, today) == ()
    assert days_missed(letters, today, unheard=date(2028, 2, 29)) == missed
    assert days_missed(letters, today, unheard=date(2028, 2, 26)) == missed, "before the first letter nothing is missed"
    assert days_missed(letters, today, unheard=today) == ()
