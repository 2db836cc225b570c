"""NOAA NCEI daily summaries: strings to numbers, codes for missing, units, and agreement with Meteostat."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
import responses

from haulm.errors import SourceError
from haulm.sources import meteostat_files, ncei
from haulm.sources.http import Endpoints
from haulm.sources.spool import Access
from haulm.sources.stations import Station

NOW = datetime(2024, 4, 20, 5, 12, tzinfo=UTC)
URL = Endpoints().ncei
TODAY = NOW.date()
HILL = Station("XX000099901", "Brackenford Hill", 7.5, 30.0)
Rows = dict[date, dict[str, str]]


@pytest.fixture
def rows() -> Rows:
    return {
        date(2024, 4, 14): {"TMAX": " 13.9", "TMIN": "  2.8", "PRCP": "  0.0"},
        date(2024, 4, 15): {"TMAX": "15.0", "TMIN": "-1.7", "PRCP": "12.4"},
        date(2024, 4, 17): {"TMAX": "16.1", "PRCP": ""},
    }


def parsed(body: bytes) -> Any:
    return ncei.parse([(body, NOW)], HILL, TODAY)


def test_strings_become_numbers(ncei_body: Callable[..., bytes], rows: Rows) -> None:
    reading = parsed(ncei_body(rows))
    days = reading.record.days
    assert (days.first, days.last) == (date(2024, 4, 14), date(2024, 4, 17))
    assert days.air_max_c[[0, 1, 3]].tolist() == [13.9, 15.0, 16.1]
    assert days.air_min_c[:2].tolist() == [2.8, -1.7]
    assert days.rain_mm[:2].tolist() == [0.0, 12.4]
    assert np.isnan([days.air_max_c[2], days.air_min_c[3], days.rain_mm[3]]).all()
    assert reading.ids["air_min_c"].tolist() == ["ncei", "ncei", "", ""]
    assert reading.record.origin.attribution == "NOAA National Centers for Environmental Information"
    assert reading.record.usual_delay == timedelta(days=3)
    assert reading.complaints == ()


@pytest.mark.parametrize("code", ["", "  ", "9999", "-9999", "-9999.0", None])
def test_each_code_for_missing_is_unknown(ncei_body: Callable[..., bytes], rows: Rows, code: Any) -> None:
    rows[date(2024, 4, 15)]["TMIN"] = code
    assert np.isnan(parsed(ncei_body(rows)).record.days.air_min_c[1])


def test_values_that_failed_the_services_own_check_are_left_out_and_told(
    ncei_body: Callable[..., bytes], rows: Rows
) -> None:
    rows[date(2024, 4, 15)] |= {"TMIN_ATTRIBUTES": ",I,7", "TMAX_ATTRIBUTES": ",,7", "PRCP_ATTRIBUTES": "T,,7,2400"}
    reading = parsed(ncei_body(rows))
    assert np.isnan(reading.record.days.air_min_c[1])
    assert reading.record.days.air_max_c[1] == 15.0
    assert [one.what for one in reading.complaints] == [
        "values that failed the service's own quality check: left out (1)"
    ]


def test_a_day_that_ends_in_the_morning_is_told_and_not_moved(ncei_body: Callable[..., bytes], rows: Rows) -> None:
    for row in rows.values():
        row["TMAX_ATTRIBUTES"] = ",,7,0700"
    reading = parsed(ncei_body(rows))
    assert reading.record.days.air_max_c[0] == 13.9
    assert [one.what for one in reading.complaints] == [
        "days that end in the morning: maximum and rain belong mostly to the day before (3)"
    ]


def test_days_still_to_come_are_left_out_and_told(ncei_body: Callable[..., bytes], rows: Rows) -> None:
    rows |= {TODAY: {"TMIN": "3.0"}, TODAY + timedelta(days=2): {"TMIN": "3.0"}}
    reading = parsed(ncei_body(rows))
    assert reading.record.days.last == date(2024, 4, 17)
    assert [one.what for one in reading.complaints] == [
        "observed days that are still to come, which cannot be: left out (1)"
    ]


@pytest.mark.parametrize(
    ("body", "what"),
    [
        (b"[]", "no days for this station"),
        (b"[{", "no whole JSON"),
        (b'{"errorMessage": "stations is required"}', "the service answers: stations is required"),
        (b'"sorry"', "no list of days"),
        (b'[{"STATION": "X"}]', "there is no DATE"),
        (b"[17]", "there is no DATE"),
        (b'[{"DATE": "04/14/2024"}]', "is not a date"),
        (b'[{"DATE": "2024-04-14", "TMIN": "cold"}]', 'TMIN "cold" is not a number'),
        (b'[{"DATE": "2024-04-14", "TMIN": "NaN"}]', "other units"),
        (b'[{"DATE": "2024-04-14", "TMAX": "139"}]', "other units"),
        (b'[{"DATE": "2024-04-14", "PRCP": "-3"}]', "other units"),
        (b'[{"DATE": "2024-04-14", "PRCP": "2540"}]', "other units"),
    ],
)
def test_each_damage_is_told(body: bytes, what: str) -> None:
    with pytest.raises(SourceError) as caught:
        parsed(body)
    assert what in caught.value.what
    assert "station XX000099901" in caught.value.where


@responses.activate
def test_years_are_asked_for_one_by_one_in_metric_units(
    ncei_body: Callable[..., bytes], rows: Rows, access_at: Callable[..., Access]
) -> None:
    responses.get(URL, body=ncei_body(rows))
    responses.get(URL, body=ncei_body({date(2023, 12, 31): {"TMIN": "1.0", "TMAX": "4.0", "PRCP": "0.0"}}))
    reading = ncei.fetch(access_at(), HILL, (2023, 2024), TODAY)
    asked = [call.request.params for call in responses.calls]
    assert [(one["startDate"], one["endDate"]) for one in asked] == [
        ("2024-01-01", "2024-12-31"), ("2023-01-01", "2023-12-31"),
    ]  # fmt: skip
    assert {(one["units"], one["format"], one["stations"]) for one in asked} == {("metric", "json", "XX000099901")}
    assert reading.record.days.first == date(2023, 12, 31)
    assert np.isnan(reading.record.received[0])  # old when first seen
    assert reading.record.received[-1] == NOW.timestamp()
    ncei.fetch(access_at(NOW + timedelta(minutes=30)), HILL, (2023, 2024), TODAY)
    assert len(responses.calls) == 2


@responses.activate
def test_a_year_that_is_lacking_is_told(
    ncei_body: Callable[..., bytes], rows: Rows, access_at: Callable[..., Access]
) -> None:
    responses.get(URL, body=ncei_body(rows))
    responses.get(URL, status=503)
    reading = ncei.fetch(access_at(), HILL, (2023, 2024), TODAY)
    assert [one.what for one in reading.complaints] == ["the days of 2023 are lacking: the server is in trouble (503)"]
    responses.reset()
    responses.get(URL, status=503)
    with pytest.raises(SourceError, match="in trouble"):
        ncei.fetch(access_at(NOW + timedelta(days=9)), HILL, (2023, 2024), TODAY)


@responses.activate
def test_rows_agree_with_meteostats_on_units_days_and_missing(
    access_at: Callable[..., Access], year_file: Callable[..., bytes], ncei_body: Callable[..., bytes]
) -> None:
    """One invented station as both services would give it: the same local days, °C and mm, the same days missing."""
    days = [date(2024, 3, 25) + timedelta(days=i) for i in range(20)]
    truth = {day: (round(-3 + 0.7 * i, 1), round(6 + 0.9 * i, 1), float(i % 4) * 2.5) for i, day in enumerate(days)}
    del truth[days[5]]  # a day without a row
    theirs = {day: {"tmin": low, "tmax": high, "prcp": rain} for day, (low, high, rain) in truth.items()}
    ours = {
        day: {"TMIN": f"{low:5.1f}", "TMAX": f"{high:5.1f}", "PRCP": f"{rain:5.1f}"}
        for day, (low, high, rain) in truth.items()
    }
    theirs[days[8]]["tmin"], ours[days[8]]["TMIN"] = "", "-9999"
    theirs[days[9]]["prcp"], ours[days[9]]["PRCP"] = "", ""
    del theirs[days[10]]["tmax"], ours[days[10]]["TMAX"]
    responses.get("https://data.meteostat.net/daily/2024/99901.csv.gz", body=year_file(theirs, source="ghcnd"))
    responses.get(URL, body=ncei_body(ours))
    one = meteostat_files.daily_reading(access_at(), Station("99901"), (2024,), TODAY).record.days
    other = ncei.fetch(access_at(), HILL, (2024,), TODAY).record.days
    assert (one.first, one.last) == (other.first, other.last) == (days[0], days[-1])
    for name in ("air_min_c", "air_max_c", "rain_mm"):
        np.testing.assert_allclose(getattr(one, name), getattr(other, name), atol=1e-9, err_msg=name)
    missing = [int(np.isnan(getattr(one, name)).sum()) for name in ("air_min_c", "air_max_c", "rain_mm")]
    assert missing == [2, 2, 2]
