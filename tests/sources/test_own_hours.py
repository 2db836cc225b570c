"""A garden's own hours: what a line may look like, which value an hour takes, and what is told of bad lines."""

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.errors import SourceError
from haulm.sources.own_hours import parse

NOW = datetime(2027, 5, 4, 20, tzinfo=UTC)
HEAD = "instant,air_c,humidity_pct"


def hours_of(*lines, head=HEAD, now=NOW):
    return parse("\n".join([head, *lines]) + "\n", "own.csv", now)


def test_hours_are_read_in_any_order_and_holes_stay():
    hours, told = hours_of("2027-05-04T18:00Z,7.5,91", "2027-05-04T15:00Z,12,60", "2027-05-04T16:00+00:00,11,")
    assert (hours.first, len(hours), told) == (datetime(2027, 5, 4, 15, tzinfo=UTC), 4, ())
    assert np.array_equal(hours.air_c, [12, 11, np.nan, 7.5], equal_nan=True)
    assert np.array_equal(hours.humidity_pct, [60, np.nan, np.nan, 91], equal_nan=True)
    assert hours.span_hours.tolist() == [1, 1, 0, 1]


def test_an_offset_is_taken_for_what_it_is():
    hours, _ = hours_of("2027-05-04T18:00+02:00,7,90")
    assert hours.first == datetime(2027, 5, 4, 16, tzinfo=UTC)


@pytest.mark.parametrize(
    ("minutes", "taken"),
    [(("17:40", "17:58", "18:07"), 2.0), (("18:10", "17:50"), 2.0), (("17:55", "18:05"), 2.0), (("17:30",), 1.0)],
)
def test_an_hour_takes_the_row_nearest_to_it(minutes, taken):
    """As near before as after: the later line."""
    hours, _ = hours_of(*(f"2027-05-04T{at}Z,{number},90" for number, at in enumerate(minutes, 1)))
    assert hours.first.hour == 18
    assert hours.air_c.tolist() == [taken]


def test_rain_is_taken_from_full_hours_alone_and_the_dew_point_is_worked_out():
    head = f"{HEAD},rain_mm,cloud,wind_ms"
    hours, _ = hours_of("2027-05-04T18:00Z,10,100,0.4,0.5,2", "2027-05-04T19:05Z,10,100,0.4,0.5,2", head=head)
    assert np.array_equal(hours.rain_mm, [0.4, np.nan], equal_nan=True)
    assert hours.dew_point_c == pytest.approx([10.0, 10.0])
    assert (hours.cloud.tolist(), hours.wind_ms.tolist()) == ([0.5, 0.5], [2.0, 2.0])


def test_bad_lines_are_told_with_their_number_and_the_rest_is_used():
    hours, told = hours_of(
        "2027-05-04T15:00Z,12,60", "2027-05-04T16:00,12,60", "yesterday,12,60", "2027-05-04T17:00Z,warm,60",
        "2027-05-04T17:00Z,inf,60", "2027-05-04T18:00Z", "2027-05-04T18:00Z,n/a,60",
        "0001-01-01T00:00+14:00,12,60",
    )  # fmt: skip
    assert [complaint.line for complaint in told] == [3, 4, 5, 6, 7, 9]
    assert np.array_equal(hours.air_c, [12, np.nan, np.nan, np.nan], equal_nan=True)


def test_what_is_still_to_come_is_not_observed():
    hours, _ = hours_of("2027-05-04T19:00Z,7,90", "2027-05-04T21:00Z,-9,90", "2097-05-04T21:00Z,-9,90")
    assert hours.air_c.tolist() == [7.0]


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("", "the column instant is missing"),
        ("instant,air_c\n2027-05-04T18:00Z,7\n", "the column humidity_pct is missing"),
        (f"{HEAD}\n", "no line of it can be used"),
        (f"{HEAD}\n2027-06-04T18:00Z,7,90\n", "no line of it can be used"),
    ],
)
def test_a_file_that_cannot_be_used_says_why(text, what):
    with pytest.raises(SourceError, match=what):
        parse(text, "own.csv", NOW)


@given(st.text(max_size=200))
def test_whatever_stands_in_the_lines_it_is_read_or_refused(text):
    try:
        hours, _ = hours_of(*text.split("\n"))
    except SourceError:
        return
    assert len(hours) <= 800 * 24 + 2
