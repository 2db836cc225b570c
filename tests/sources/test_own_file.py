"""The grower's own files: what is read, what is told, what is refused."""

import gzip
import math
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.errors import SourceError
from haulm.sources.own_file import GhcnUnits, fetch, parse_forecasts, parse_record, text_of
from haulm.weather import Origin

ORIGIN = Origin("own", "own file")
DELAY = timedelta(hours=6)
HOUSE = """date,air_min_c,air_max_c,rain_mm,cloud,received
2026-05-01,4.1,15.2,0.0,0.4,2026-05-02T05:12:00Z
2026-05-02,-0.5,12,,0.9,2026-05-03T07:12:00+02:00
2026-05-04,6,17.5,3.4,,
"""


def record_of(text, **more):
    return parse_record(text, where="days.csv", origin=ORIGIN, usual_delay=DELAY, **more)


def forecasts_of(text):
    return parse_forecasts(text, where="ahead.csv", origin=ORIGIN)


def test_house_layout_gives_days_with_a_gap_and_the_instants_in_utc():
    record, complaints = record_of(HOUSE)
    assert complaints == ()
    assert record.origin is ORIGIN
    assert record.usual_delay == DELAY
    assert (record.days.first, record.days.last) == (date(2026, 5, 1), date(2026, 5, 4))
    np.testing.assert_array_equal(record.days.air_min_c, [4.1, -0.5, np.nan, 6.0])
    np.testing.assert_array_equal(record.days.air_max_c, [15.2, 12.0, np.nan, 17.5])
    np.testing.assert_array_equal(record.days.rain_mm, [0.0, np.nan, np.nan, 3.4])
    np.testing.assert_array_equal(record.days.cloud, [0.4, 0.9, np.nan, np.nan])
    assert np.isnan(record.days.humidity_pct).all()
    noted = [datetime(2026, 5, 2, 5, 12, tzinfo=UTC).timestamp(), datetime(2026, 5, 3, 5, 12, tzinfo=UTC).timestamp()]
    np.testing.assert_array_equal(record.received, [*noted, np.nan, np.nan])


@pytest.mark.parametrize(
    ("units", "row"),
    [
        (GhcnUnits.METRIC, "12.7,21.5,-3.0"),
        (GhcnUnits.TENTHS, "127,215,-30"),
        (GhcnUnits.US, "0.5,70.7,26.6"),
    ],
)
def test_ghcn_layout_in_each_unit(units, row):
    text = f'"STATION","DATE","PRCP","TMAX","TMIN","SNOW"\nX1,2026-05-01,{row},\nX1,20260502,,-9999,,7\n'
    record, complaints = record_of(text, ghcn_units=units)
    assert complaints == ()
    assert record.days.air_max_c[0] == pytest.approx(21.5)
    assert record.days.air_min_c[0] == pytest.approx(-3.0)
    assert record.days.rain_mm[0] == pytest.approx(12.7)
    assert np.isnan([record.days.air_max_c[1], record.days.air_min_c[1], record.days.rain_mm[1]]).all()


@pytest.mark.parametrize(
    "content",
    [
        b"\xef\xbb\xbf" + HOUSE.encode(),
        HOUSE.replace("\n", "\r\n").encode(),
        HOUSE.replace("\n", "\r").encode(),
        HOUSE.replace(",", ";").replace(".", ",").encode(),
        HOUSE.replace(",", "\t").encode("utf-16"),
        HOUSE.replace(",", ", ").encode(),
        HOUSE.replace("4.1", '"4.1"').replace("-0.5", "−0.5").encode(),
        gzip.compress(HOUSE.encode()),
    ],
    ids=["byte order mark", "crlf", "cr", "semicolons", "utf-16 tabs", "blanks", "quotes and true minus", "gzip"],
)
def test_the_same_file_in_other_clothes(content):
    record, complaints = record_of(text_of(content, "days.csv"))
    assert complaints == ()
    np.testing.assert_array_equal(record.days.air_min_c, [4.1, -0.5, np.nan, 6.0])
    np.testing.assert_array_equal(record.days.rain_mm, [0.0, np.nan, np.nan, 3.4])


def test_latin_1_in_a_column_that_is_not_used():
    content = "date;air_min_c;air_max_c;rain_mm;Bemerkung\n2026-05-01;4,1;15,2;0;kühl\x85\n".encode("latin-1")
    record, complaints = record_of(text_of(content, "days.csv"))
    assert record.days.air_max_c[0] == 15.2
    assert [(complaint.given, complaint.line) for complaint in complaints] == [("bemerkung", None)]


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("2026-05-02,four,12,0,,", "air_min_c is not a number"),
        ("2026-05-02,inf,12,0,,", "air_min_c is not a number"),
        ("2026-05-02,1_0,12,0,,", "air_min_c is not a number"),
        ("2026-05-02,4,12", "3 columns where the header has 6"),
        ("2026-05-02,4,12,0,,,9", "7 columns where the header has 6"),
        ("2026-05-02,4,1,12,0,5,0,,", "9 columns where the header has 6"),
        ("2.5.2026,4,12,0,,", "the date is not written"),
        ("2026-02-30,4,12,0,,", "there is no such day"),
        ("1026-05-02,4,12,0,,", "the date is not written"),
        ('2026-05-02,"4,12,0,,', "the line is damaged"),
        ("2026-05-02,4,12,0,,2026-05-03", "received has no hour"),
        ("2026-05-02,4,12,0,,0001-01-01T00:00+14:00", "received is not written"),
        ("2026-05-02,4,12,0,,soon", "received is not written"),
    ],
)
def test_a_broken_line_is_told_with_its_number_and_the_rest_is_used(line, told):
    lines = HOUSE.splitlines()
    record, complaints = record_of("\n".join([*lines[:2], line, *lines[3:]]))
    assert [complaint.line for complaint in complaints] == [3]
    assert told in complaints[0].what
    assert "days.csv, line 3" in str(complaints[0])
    np.testing.assert_array_equal(record.days.air_min_c, [4.1, np.nan, np.nan, 6.0])


def test_rows_out_of_order_are_sorted_and_empty_lines_count_in_the_numbering():
    head, *rows = HOUSE.splitlines()
    record, complaints = record_of("\n".join(["", head, *reversed(rows), "", "broken"]))
    np.testing.assert_array_equal(record.days.air_min_c, [4.1, -0.5, np.nan, 6.0])
    assert [complaint.line for complaint in complaints] == [7]


def test_a_day_given_twice():
    alike = "2026-05-02,-0.50,12.0,NA,0.9,2026-05-09T00:00Z\n"
    record, complaints = record_of(HOUSE + alike)
    assert complaints == ()
    assert record.received[1] == datetime(2026, 5, 3, 5, 12, tzinfo=UTC).timestamp()
    record, complaints = record_of(HOUSE + alike.replace("12.0", "13.0"))
    assert [(complaint.line, "line 3" in complaint.what) for complaint in complaints] == [(5, True)]
    assert record.days.air_max_c[1] == 13.0


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "nothing in it"),
        ("\n \n", "nothing in it"),
        ("<!DOCTYPE html><html><body>date,air_min_c</body></html>", "web page"),
        ("2026-05-01,4,12,0\n", "no header"),
        ("date,air_min_c,rain_mm\n2026-05-01,4,0\n", "lacks air_max_c"),
        ("date,air_min_c,air_max_c,rain_mm,rain_mm\n2026-05-01,4,12,0,0\n", '"rain_mm" is there twice'),
        ("date,air_min_c,air_max_c,rain_mm\n", "no line of it"),
        ("date,air_min_c,air_max_c,rain_mm\n2026-05-01,,,\n", "no line of it"),
        ("date,air_min_c,air_max_c,rain_mm\n1.5.26,4,12,0\n", "not written as 2026-05-01 in line 2"),
        ("DATE,TMIN,TMAX,PRCP\n2026-05-01,4,12,0\n", "units are not declared"),
        ("DATE,TMIN,TMAX\n2026-05-01,4,12\n", "lacks prcp"),
        (HOUSE.replace("received", "issued"), "holds forecasts"),
    ],
)
def test_what_is_no_record_is_refused_with_place_and_remedy(text, told):
    with pytest.raises(SourceError, match=told) as refused:
        record_of(text)
    assert refused.value.where == "days.csv"
    assert refused.value.remedy


def test_two_stations_in_one_file_are_refused():
    text = "STATION,DATE,TMIN,TMAX,PRCP\nX1,2026-05-01,4,12,0\nX2,2026-05-01,5,13,0\n"
    with pytest.raises(SourceError, match="2 stations: X1, X2"):
        record_of(text, ghcn_units=GhcnUnits.METRIC)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (gzip.compress(HOUSE.encode())[:-9], "cut short or damaged"),
        (b"\x1f\x8bnot gzip", "cut short or damaged"),
        (gzip.compress(bytes(3_000_000)), "larger than 1 MB"),
        (b"PK\x03\x04...", "spreadsheet"),
        (b"SQLite format 3\x00", "not a text file"),
    ],
)
def test_bytes_that_are_no_text_are_refused(content, told):
    with pytest.raises(SourceError, match=told) as refused:
        text_of(content, "days.csv", limit_bytes=1_000_000)
    assert refused.value.remedy


def test_fetch_reads_a_file_and_refuses_what_it_should_not_read(tmp_path):
    path = tmp_path / "days.csv"
    path.write_text(HOUSE)
    assert fetch(path) == HOUSE.encode()
    with pytest.raises(SourceError, match="larger than"):
        fetch(path, limit_bytes=len(HOUSE) - 1)
    for wrong in (tmp_path, tmp_path / "none.csv"):
        with pytest.raises(SourceError, match="no such file"):
            fetch(wrong)
    path.write_text("")
    with pytest.raises(SourceError, match="empty"):
        fetch(path)


FORECASTS = """issued,date,air_min_c,air_max_c,rain_mm,rain_chance,received
2026-05-02T03:00Z,2026-05-03,5,14,1.5,0.6,2026-05-02T04:00Z
2026-05-01T03:00Z,2026-05-01,4,12,0,0.1,
2026-05-01T03:00Z,2026-05-03,6,13,0,0.2,
2026-05-02T03:00Z,2026-05-02,3,15,0,0.0,2026-05-02T04:30Z
"""


def test_forecast_rows_are_grouped_by_issue_with_the_oldest_first():
    issues, complaints = forecasts_of(FORECASTS)
    assert complaints == ()
    assert [issue.issued for issue in issues] == [datetime(2026, 5, day, 3, tzinfo=UTC) for day in (1, 2)]
    assert issues[0].known_since == issues[0].issued
    assert issues[1].known_since == datetime(2026, 5, 2, 4, 30, tzinfo=UTC)
    np.testing.assert_array_equal(issues[0].days.air_min_c, [4.0, np.nan, 6.0])
    assert issues[1].days.first == date(2026, 5, 2)
    np.testing.assert_array_equal(issues[1].days.rain_chance, [0.0, 0.6])


def test_forecasts_without_an_issue_are_refused():
    with pytest.raises(SourceError, match='no column "issued"'):
        forecasts_of(HOUSE)


@pytest.mark.parametrize(
    ("issued", "day", "told"),
    [
        ("", "2026-05-03", "issued is empty"),
        ("2026-05-02", "2026-05-03", "issued has no hour"),
        ("2026-05-02T03:00Z", "2027-05-03", "does not belong"),
        ("2026-05-02T03:00Z", "2026-04-30", "does not belong"),
    ],
)
def test_a_forecast_row_that_belongs_to_no_issue_is_told(issued, day, told):
    issues, complaints = forecasts_of(f"{FORECASTS}{issued},{day},5,14,0,0,\n")
    assert len(issues) == 2
    assert [complaint.line for complaint in complaints] == [6]
    assert told in complaints[0].what


def test_one_day_twice_in_an_issue_is_told_but_not_in_two_issues():
    _, complaints = forecasts_of(f"{FORECASTS}2026-05-01T03:00Z,2026-05-01,4,11,0,0.1,\n")
    assert [complaint.line for complaint in complaints] == [6]


NUMBERS = st.one_of(st.none(), st.floats(-40, 45).map(lambda value: round(value, 1)))


@given(
    st.lists(st.tuples(st.dates(date(2020, 1, 1), date(2021, 1, 1)), NUMBERS, NUMBERS), unique_by=lambda row: row[0])
)
def test_every_written_value_comes_back_on_its_day(rows):
    text = "date,air_min_c,air_max_c,rain_mm\n"
    text += "".join(f"{day},{'' if low is None else low},{'' if high is None else high},\n" for day, low, high in rows)
    if all(low is None and high is None for _, low, high in rows):
        with pytest.raises(SourceError):
            record_of(text)
        return
    record, complaints = record_of(text)
    assert complaints == ()
    for day, low, high in rows:
        for name, written in (("air_min_c", low), ("air_max_c", high)):
            value = record.days.of(name).at(day)
            assert math.isnan(value) if written is None else value == written
    given_days = sum(low is not None for _, low, _ in rows)
    assert int(np.isfinite(record.days.air_min_c).sum()) == given_days


@given(
    st.one_of(
        st.binary(max_size=300),
        st.text(max_size=300).map(lambda t: ("date,air_min_c,air_max_c,rain_mm\n" + t).encode()),
    )
)
def test_whatever_stands_in_a_file_is_read_or_refused_and_nothing_else(content):
    try:
        record, _ = record_of(text_of(content, "days.csv"))
    except SourceError as error:
        outcome = error.where, bool(error.what)
    else:
        outcome = "days.csv", len(record.days) == len(record.received) > 0
    assert outcome == ("days.csv", True)
