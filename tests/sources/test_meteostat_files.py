"""Meteostat's bulk files: what the library passes over in silence is told here, and model values stay out."""

import gzip
import json
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from http.server import BaseHTTPRequestHandler
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import responses

from haulm.errors import SourceError
from haulm.garden import Place
from haulm.sources import meteostat_files, meteostat_parse, meteostat_places
from haulm.sources.http import Endpoints, Fetching, Http
from haulm.sources.meteostat_parse import Kind
from haulm.sources.meteostat_text import tidy, unpack
from haulm.sources.spool import Access
from haulm.sources.stations import Station, check_key, distance_km

NOW = datetime(2024, 4, 20, 5, 12, tzinfo=UTC)
DAILY = "https://data.meteostat.net/daily/{}/99901.csv.gz"
HOURLY = "https://data.meteostat.net/hourly/{}/99901.csv.gz"
Rows = dict[date, dict[str, Any]]
Packed = Callable[..., bytes]


def read(access: Access, station: Station, *years: int) -> Any:
    return meteostat_files.daily_reading(access, station, years or (2024,), access.now.date())


@responses.activate
def test_a_station_file_becomes_a_record(
    access_at: Callable[..., Access], station: Station, year_file: Packed, spring: Rows
) -> None:
    responses.get(DAILY.format(2024), body=year_file(spring))
    reading = read(access_at(), station)
    days = reading.record.days
    assert (days.first, days.last) == (date(2024, 1, 1), date(2024, 4, 18))
    assert days.air_min_c[[0, 108]] == pytest.approx([0.0, 10.8])
    assert days.air_max_c[[0, 108]] == pytest.approx([8.0, 18.8])
    assert days.rain_mm[:6].tolist() == [0.0, 1.0, 2.0, 3.0, 4.0, 0.0]
    assert days.humidity_pct[0] == 80.0
    assert days.wind_ms[0] == pytest.approx(5.0)  # 18 km/h
    assert days.gust_ms[0] == pytest.approx(10.0)
    assert days.cloud[0] == 0.5  # 4 oktas
    assert np.isnan(days.dew_point_c).all()
    assert reading.record.origin.attribution == "Meteostat, Deutscher Wetterdienst"
    assert (reading.record.origin.key, reading.record.origin.distance_km) == ("99901", 7.5)
    assert reading.ids["rain_mm"][0] == "dwd_daily"
    assert (reading.complaints, reading.modelled) == ((), 0)


@responses.activate
def test_model_values_stay_out_value_by_value(
    access_at: Callable[..., Access], station: Station, year_file: Packed, spring: Rows
) -> None:
    spring[date(2024, 4, 16)]["tmin"] = (3.0, "dwd_mosmix")
    spring[date(2024, 4, 17)] |= {"tmin": (3.0, "dwd_hourly dwd_mosmix"), "prcp": (9.0, "metno_forecast")}
    spring[date(2024, 4, 18)] = {"tmin": (3.0, "metno_forecast"), "tmax": (9.0, "dwd_mosmix")}
    responses.get(DAILY.format(2024), body=year_file(spring))
    reading = read(access_at(), station)
    days = reading.record.days
    assert days.last == date(2024, 4, 17)  # of the 18th everything was a model's
    assert np.isnan(days.air_min_c[-2:]).all()
    assert np.isnan(days.rain_mm[-1])
    assert days.air_max_c[-2:] == pytest.approx([18.6, 18.7 - 0.0])
    assert reading.modelled == 5
    spring[date(2024, 4, 15)]["tmin"] = (3.0, "dwd_hourly dwd_poi isd_lite metar eccc_hourly gsa_hourly dwd_mosmix")
    responses.reset()
    responses.get(DAILY.format(2024), body=year_file(spring))
    assert read(access_at(NOW + timedelta(hours=2)), station).modelled == 6
    assert reading.ids["air_min_c"][-2:].tolist() == ["", ""]


@responses.activate
def test_sources_that_differ_by_value_are_kept(
    access_at: Callable[..., Access], station: Station, year_file: Packed, spring: Rows
) -> None:
    spring[date(2024, 2, 1)] |= {"prcp": (7.0, "ghcnd"), "tmin": (1.5, "dwd_hourly isd_lite")}
    responses.get(DAILY.format(2024), body=year_file(spring))
    reading = read(access_at(), station)
    at = (date(2024, 2, 1) - date(2024, 1, 1)).days
    assert [reading.ids[name][at] for name in ("air_min_c", "air_max_c", "rain_mm")] == [
        "dwd_hourly isd_lite", "dwd_daily", "ghcnd",
    ]  # fmt: skip
    assert reading.record.days.rain_mm[at] == 7.0
    assert reading.record.days.air_min_c[at] == 1.5


@responses.activate
def test_rows_still_to_come_are_left_out_and_told_and_today_is_only_left_out(
    access_at: Callable[..., Access], station: Station, year_file: Packed, spring: Rows
) -> None:
    for day in (19, 20, 21):
        spring[date(2024, 4, day)] = {"tmin": 1.0, "tmax": 9.0, "prcp": 0.0}
    responses.get(DAILY.format(2024), body=year_file(spring))
    reading = read(access_at(), station)
    assert reading.record.days.last == date(2024, 4, 19)
    assert [one.what for one in reading.complaints] == [
        "observed days that are still to come, which cannot be: left out (1)"
    ]


# Files that are missing or damaged


@responses.activate
def test_a_year_before_the_record_begins_is_no_fault(
    access_at: Callable[..., Access], station: Station, year_file: Packed, spring: Rows
) -> None:
    responses.get(DAILY.format(2023), status=404)
    responses.get(DAILY.format(2024), body=year_file(spring))
    reading = read(access_at(), station, 2023, 2024)
    assert reading.record.days.first == date(2024, 1, 1)
    assert reading.complaints == ()


@responses.activate
def test_the_newer_of_two_years_missing_is_told(
    access_at: Callable[..., Access], station: Station, year_file: Packed, spring: Rows
) -> None:
    past = {day.replace(year=2023): row for day, row in spring.items() if day != date(2024, 2, 29)}
    responses.get(DAILY.format(2023), body=year_file(past))
    responses.get(DAILY.format(2024), status=404)
    reading = read(access_at(), station, 2023, 2024)
    assert reading.record.days.last == date(2023, 4, 18)
    assert "2024 is lacking: not there" in reading.complaints[0].what


@responses.activate
def test_no_year_at_all_is_an_error(access_at: Callable[..., Access], station: Station) -> None:
    responses.get(DAILY.format(2023), status=404)
    responses.get(DAILY.format(2024), status=404)
    with pytest.raises(SourceError, match="the station has stopped, or never told"):
        read(access_at(), station, 2023, 2024)
    responses.reset()
    responses.get(DAILY.format(2023), status=404)
    responses.get(DAILY.format(2024), status=503)
    with pytest.raises(SourceError, match=r"the server is in trouble \(503\)"):
        read(access_at(), station, 2023, 2024)


@responses.activate
def test_a_file_of_forecasts_only_is_an_error(
    access_at: Callable[..., Access], station: Station, year_file: Packed, spring: Rows
) -> None:
    responses.get(DAILY.format(2024), body=year_file(spring, source="dwd_mosmix"))
    with pytest.raises(SourceError, match="no observed day"):
        read(access_at(), station)


@responses.activate
@pytest.mark.parametrize(
    ("damage", "what"),
    [
        (lambda packed: packed[:200], "cut off"),
        (lambda packed: packed[:40] + b"\xff" * 20 + packed[60:], "damaged"),
        (lambda packed: packed[:-8] + b"\x00" * 8, "damaged"),
        (lambda packed: b"<!DOCTYPE html><p>Sign in", "web page"),
        (lambda packed: b"", "no file of a station"),
        (lambda packed: gzip.compress(b"month,day\n1,1\n"), "no file of a station"),
        (lambda packed: gzip.compress(b"year,month\n2024,1\n"), "not as expected"),
        (lambda packed: gzip.compress(b"year,month,day,tmin,tmin_source\n"), "no line that can be read"),
        (lambda packed: gzip.compress(b"year,month,day,snow,snow_source\n2024,1,1,1,x\n"), "no observed day"),
        (lambda packed: gzip.compress(b"year," + bytes(30_000_000)), "longer than"),
    ],
)
def test_each_damage_is_told(
    access_at: Callable[..., Access], station: Station, year_file: Packed, spring: Rows,
    damage: Callable[[bytes], bytes], what: str,
) -> None:  # fmt: skip
    responses.get(DAILY.format(2024), body=damage(year_file(spring)))
    with pytest.raises(SourceError, match=what) as caught:
        read(access_at(), station)
    assert "station 99901" in caught.value.where


@responses.activate
def test_a_morning_that_cannot_fetch_reads_the_last_file_and_says_so(
    access_at: Callable[..., Access], station: Station, year_file: Packed, spring: Rows
) -> None:
    responses.get(DAILY.format(2024), body=year_file(spring))
    before = read(access_at(), station)
    for trouble in ({"status": 503}, {"body": b"\x1f\x8bnonsense"}, {"body": ConnectionResetError(104, "reset")}):
        responses.reset()
        responses.get(DAILY.format(2024), **trouble)
        after = read(access_at(NOW + timedelta(days=1)), station)
        assert np.array_equal(after.record.days.air_min_c, before.record.days.air_min_c)
        (complaint,) = after.complaints
        assert complaint.what.endswith("the daily file of 2024 is the one fetched on 2024-04-20 05:12 UTC")


@responses.activate
def test_a_file_that_came_unpacked_is_read_all_the_same(
    access_at: Callable[..., Access], station: Station, year_text: Callable[..., str], spring: Rows
) -> None:
    responses.get(DAILY.format(2024), body=year_text(spring).encode())
    assert len(read(access_at(), station).record.days) == 109


def test_one_broken_line_costs_one_line(
    access_at: Callable[..., Access], station: Station, year_text: Callable[..., str], spring: Rows
) -> None:
    lines = year_text(spring).splitlines()
    lines[10] = lines[10].replace("dwd_daily", "dwd_daily,", 1)
    lines[20] = lines[20].replace(",80.0,", ",wet,")
    lines[30] = "2024,2,31" + lines[30].removeprefix("2024,1,30")
    lines[40] = lines[40][:25]
    lines[50] = lines[50].replace(",80.0,", ",inf,")
    with responses.RequestsMock() as mock:
        mock.get(DAILY.format(2024), body=gzip.compress("\n".join(lines).encode()))
        reading = read(access_at(), station)
    assert np.flatnonzero(np.isnan(reading.record.days.air_min_c)).tolist() == [9, 19, 29, 39, 49]
    assert [(one.line, one.what) for one in reading.complaints] == [
        (11, "26 fields instead of 25: left out"),
        (21, "rhum is no number: left out"),
        (31, "no date: left out"),
        (None, "2 more lines are broken: left out"),
    ]


@responses.activate
def test_a_line_that_stands_there_twice_does_not_lose_the_year(
    access_at: Callable[..., Access], station: Station, year_text: Callable[..., str], spring: Rows
) -> None:
    lines = year_text(spring).splitlines()
    lines.insert(51, lines[50].replace(",80.0,", ",81.0,"))
    responses.get(DAILY.format(2024), body=gzip.compress("\n".join(lines).encode()))
    reading = read(access_at(), station)
    assert len(reading.record.days) == 109
    assert np.isfinite(reading.record.days.air_min_c).all()
    assert reading.record.days.humidity_pct[49] == 81.0
    assert [one.what for one in reading.complaints] == ["lines that stand there twice: the later one counts (1)"]


@responses.activate
def test_a_value_without_a_source_is_left_out_and_told(
    access_at: Callable[..., Access], station: Station, year_file: Packed, spring: Rows
) -> None:
    spring[date(2024, 3, 1)]["tmin"] = (-9.0, "")
    responses.get(DAILY.format(2024), body=year_file(spring))
    reading = read(access_at(), station)
    assert np.isnan(reading.record.days.of("air_min_c").at(date(2024, 3, 1)))
    assert reading.record.days.of("air_max_c").at(date(2024, 3, 1)) == pytest.approx(14.0)
    (complaint,) = reading.complaints
    assert complaint.what == "values that do not name their source, so may be a model's: left out (1)"


@responses.activate
def test_columns_a_station_never_reports_are_unknown(access_at: Callable[..., Access], station: Station) -> None:
    text = "year,month,day,tmin,tmin_source,tmax,tmax_source,wspd,wspd_source\n2024,4,1,2.5,ghcnd,11.0,ghcnd,,\n"
    responses.get(DAILY.format(2024), body=gzip.compress(text.encode()))
    reading = read(access_at(), station)
    assert np.isnan(reading.record.days.rain_mm).all()
    assert np.isnan(reading.record.days.wind_ms).all()
    assert set(reading.ids) == {"air_min_c", "air_max_c"}


# When rows came


@responses.activate
def test_a_row_keeps_the_instant_at_which_it_first_came(
    access_at: Callable[..., Access], station: Station, year_file: Packed, spring: Rows
) -> None:
    last = spring.pop(date(2024, 4, 18))
    spring[date(2024, 4, 19)] = last
    responses.get(DAILY.format(2024), body=year_file(spring))
    first = read(access_at(), station).record
    assert np.isnan(first.received[:-1]).all()  # old when first seen, or without a row
    assert first.received[-1] == NOW.timestamp()
    spring[date(2024, 4, 20)] = spring[date(2024, 4, 18)] = dict(last)
    spring[date(2024, 4, 10)]["tmin"] = -2.0
    responses.reset()
    responses.get(DAILY.format(2024), body=year_file(spring))
    later = NOW + timedelta(days=1)
    second = read(access_at(later), station).record
    at = {day: (date(2024, 4, day) - date(2024, 1, 1)).days for day in (9, 10, 18, 19, 20)}
    assert np.isnan(second.received[at[9]])
    assert second.received[at[10]] == later.timestamp()  # revised
    assert second.received[at[18]] == later.timestamp()  # late
    assert second.received[at[19]] == NOW.timestamp()  # as it was
    assert second.received[at[20]] == later.timestamp()  # new
    third = read(access_at(later + timedelta(minutes=5)), station).record
    assert np.array_equal(third.received, second.received, equal_nan=True)


@responses.activate
def test_a_station_that_begins_to_tell_one_thing_more_has_not_all_rows_new(
    access_at: Callable[..., Access], station: Station, year_file: Packed, spring: Rows
) -> None:
    for row in spring.values():
        row.pop("wpgt")
    responses.get(DAILY.format(2024), body=year_file(spring))
    read(access_at(), station)
    spring[date(2024, 4, 18)]["wpgt"] = 40.0
    responses.reset()
    responses.get(DAILY.format(2024), body=year_file(spring))
    later = NOW + timedelta(days=1)
    received = read(access_at(later), station).record.received
    assert received[-1] == later.timestamp()
    assert np.isnan(received[:-1]).all()


@responses.activate
def test_an_older_year_that_is_added_was_there_before(
    access_at: Callable[..., Access], station: Station, year_file: Packed, spring: Rows
) -> None:
    past = {day.replace(year=2023): row for day, row in spring.items() if day != date(2024, 2, 29)}
    responses.get(DAILY.format(2023), body=year_file(past))
    responses.get(DAILY.format(2024), body=year_file(spring))
    read(access_at(), station)
    added = read(access_at(NOW + timedelta(minutes=9)), station, 2023, 2024).record
    assert np.isnan(added.received[:365]).all()


# What is fetched and parsed, how often


@responses.activate
def test_an_unchanged_file_is_not_parsed_again_and_nothing_heavy_is_imported(
    access_at: Callable[..., Access], station: Station, year_file: Packed, spring: Rows
) -> None:
    responses.get(DAILY.format(2024), body=year_file(spring))
    access = access_at()
    reading = read(access, station)
    script = f"""
import sys
from datetime import date, datetime
from pathlib import Path
from haulm.sources.http import Endpoints, Fetching, Http
from haulm.sources.meteostat_files import daily_reading
from haulm.sources.spool import Access
from haulm.sources.stations import Station
with Http(Fetching()) as http:
    access = Access(http, Endpoints(), Path({str(access.spool)!r}), datetime.fromisoformat("2024-04-20T05:30:00+00:00"))
    reading = daily_reading(access, Station("99901"), (2024,), date(2024, 4, 20))
print(repr(float(reading.record.days.air_min_c.sum())), reading.record.origin.attribution)
print(sorted({{"meteostat", "pandas"}} & set(sys.modules)))
"""
    told = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True).stdout
    total, heavy = told.splitlines()
    assert total == f"{float(reading.record.days.air_min_c.sum())!r} Meteostat, Deutscher Wetterdienst"
    assert heavy == "[]"


@responses.activate
@pytest.mark.parametrize("damage", [b"", b"PK\x03\x04nonsense"])
def test_a_damaged_memory_is_parsed_anew(
    access_at: Callable[..., Access], station: Station, year_file: Packed, spring: Rows, damage: bytes
) -> None:
    responses.get(DAILY.format(2024), body=year_file(spring))
    access = access_at()
    first = read(access, station)
    memories = list(access.spool.rglob("*.npz"))
    assert len(memories) == 2
    for memory in memories:
        memory.write_bytes(damage)
    assert np.array_equal(read(access, station).record.days.rain_mm, first.record.days.rain_mm)


@responses.activate
def test_past_years_are_asked_for_weekly_and_this_one_hourly(
    access_at: Callable[..., Access], station: Station, year_file: Packed, spring: Rows
) -> None:
    past = {day.replace(year=2023): row for day, row in spring.items() if day != date(2024, 2, 29)}
    modified = {"Last-Modified": "Sat, 20 Apr 2024 03:00:00 GMT"}
    responses.get(DAILY.format(2023), body=year_file(past), headers=modified)
    responses.get(DAILY.format(2024), body=year_file(spring), headers=modified)
    for hours, asked in ((0, 2), (0.5, 2), (2, 3), (24, 4), (24 * 8, 6)):
        read(access_at(NOW + timedelta(hours=hours)), station, 2023, 2024)
        assert len(responses.calls) == asked
    assert responses.calls[2].request.headers["If-Modified-Since"] == modified["Last-Modified"]


def test_the_library_is_bound_to_a_folder_and_let_go_again(tmp_path: Path, year_file: Packed, spring: Rows) -> None:
    """If upstream moves the name that is set here, this is the test that says so."""
    provider = import_module("meteostat.providers.meteostat.daily")
    before = provider.ENDPOINT
    (tmp_path / "2024_99901.csv.gz").write_bytes(year_file(spring))
    assert before.startswith("https://data.meteostat.net/daily/")
    with meteostat_parse.bound_to(tmp_path, Kind.DAILY) as library:
        assert library.config.cache_enable is False
        assert len(provider.get_df("99901", 2024)) == 109
    assert before == provider.ENDPOINT
    assert import_module("meteostat.providers.meteostat.hourly").ENDPOINT.startswith("https://data.meteostat.net/")


def test_a_library_without_that_name_is_told(monkeypatch: pytest.MonkeyPatch, year_file: Packed, spring: Rows) -> None:
    monkeypatch.delattr(import_module("meteostat.providers.meteostat.daily"), "ENDPOINT")
    with pytest.raises(SourceError, match="not one that haulm knows"):
        meteostat_parse.parse(year_file(spring), "99901", 2024, Kind.DAILY, "here")


def test_a_library_that_swallows_its_own_fault_is_told(
    monkeypatch: pytest.MonkeyPatch, year_file: Packed, spring: Rows
) -> None:
    def failing(frame: object) -> None:
        raise ValueError("a fault inside the library")

    monkeypatch.setattr(import_module("meteostat.providers.meteostat.daily"), "reshape_by_source", failing)
    with pytest.raises(SourceError, match="finds nothing in a file of 109 lines"):
        meteostat_parse.parse(year_file(spring), "99901", 2024, Kind.DAILY, "here")


@pytest.mark.parametrize("key", ["../../etc/passwd", "", "1", "10637.csv", "a b", "x" * 13, "{year}"])
def test_a_key_that_is_none_goes_nowhere(access_at: Callable[..., Access], key: str) -> None:
    with pytest.raises(SourceError, match="cannot be a station's identifier"):
        check_key(key)
    with pytest.raises(SourceError):
        read(access_at(), Station(key))


def test_a_server_that_hangs_is_left_and_the_rest_goes_on(
    serve: Callable[..., str], tmp_path: Path, station: Station, year_file: Packed, spring: Rows
) -> None:
    body = year_file(spring)

    def behave(handler: BaseHTTPRequestHandler, over: threading.Event) -> None:
        if "2023" in handler.path:
            over.wait(5)
            return
        handler.send_response(200)
        handler.send_header("Content-Length", str(len(body)))
        handler.end_headers()
        handler.wfile.write(body)

    mirror = Endpoints(meteostat_daily=serve(behave) + "/daily/{year}/{station}.csv.gz")
    with Http(Fetching(read_s=0.2, total_s=1.0, retries=0)) as http:
        reading = read(Access(http, mirror, tmp_path, NOW), station, 2023, 2024)
    assert len(reading.record.days) == 109
    assert reading.complaints[0].what == "the daily file of 2023 is lacking: timed out after 0.2 s of silence"


# Hours


@pytest.fixture
def night() -> dict[datetime, dict[str, Any]]:
    first = datetime(2024, 4, 19, 0, tzinfo=UTC)
    return {
        first + timedelta(hours=i): {
            "temp": 8 - i / 10,
            "rhum": 90.0,
            "prcp": float(i),
            "wspd": 7.2,
            "wpgt": 36.0,
            "cldc": 8,
        }
        for i in range(29)
    }


@responses.activate
def test_observed_hours(
    access_at: Callable[..., Access], station: Station, year_file: Packed, night: dict[datetime, dict[str, Any]]
) -> None:
    night[datetime(2024, 4, 20, 3, tzinfo=UTC)]["temp"] = (1.0, "dwd_mosmix")
    for hour in (5, 6, 7):
        night[datetime(2024, 4, 20, hour, tzinfo=UTC)] = {"temp": 30.0}
    responses.get(HOURLY.format(2024), body=year_file(night, source="dwd_poi"))
    hours, complaints = meteostat_files.observed_hours(access_at(), station, datetime(2024, 4, 19, 18, tzinfo=UTC))
    assert (hours.first, len(hours)) == (datetime(2024, 4, 19, 18, tzinfo=UTC), 12)
    assert hours.air_c[:3] == pytest.approx([6.2, 6.1, 6.0])
    assert np.isnan(hours.air_c[9])
    assert hours.air_c[11] == 30.0  # 05 UTC has begun at 05:12
    assert hours.wind_ms[0] == pytest.approx(2.0)
    assert hours.cloud[0] == 1.0
    # The row of 19 UTC tells the rain from 18 to 19.
    assert hours.rain_mm[:2].tolist() == [19.0, 20.0]
    assert 6.2 - hours.dew_point_c[0] == pytest.approx(1.5, abs=0.1)
    assert [one.what for one in complaints] == ["observed hours that are still to come, which cannot be: left out (1)"]


@responses.activate
def test_hours_of_a_station_that_has_none_are_an_error(
    access_at: Callable[..., Access], station: Station, year_file: Packed, night: dict[datetime, dict[str, Any]]
) -> None:
    responses.get(HOURLY.format(2024), body=year_file(night))
    with pytest.raises(SourceError, match="no observed hours since then"):
        meteostat_files.observed_hours(
            access_at(NOW + timedelta(days=3)), station, datetime(2024, 4, 22, 18, tzinfo=UTC)
        )


# Stations


@pytest.fixture
def stations_db(tmp_path: Path) -> bytes:
    path = tmp_path / "made.db"
    base = sqlite3.connect(path)
    base.executescript(
        """CREATE TABLE stations (id TEXT, country TEXT, region TEXT, latitude REAL, longitude REAL, elevation INTEGER,
           timezone TEXT);
           CREATE TABLE names (station TEXT, language TEXT, name TEXT);
           INSERT INTO stations VALUES ('99901', 'XX', NULL, 51.19, -0.99, 115, 'Europe/London'),
             ('99902', 'XX', NULL, 51.30, -0.70, NULL, 'Europe/London'), ('99903', 'XX', NULL, 55.0, 9.0, 10, 'UTC');
           INSERT INTO names VALUES ('99901', 'en', 'Brackenford Hill'), ('99902', 'en', 'Osier Mere'),
             ('99903', 'en', 'Far Off');"""
    )
    base.close()
    return path.read_bytes()


@responses.activate
def test_stations_nearby(
    access_at: Callable[..., Access], place: Place, stations_db: bytes, year_file: Packed, spring: Rows
) -> None:
    responses.get("https://data.meteostat.net/stations.db", body=stations_db)
    responses.get(DAILY.format(2023), status=404)
    for day in (date(2024, 4, 11), date(2024, 4, 12)):
        spring[day].pop("prcp")
    responses.get(DAILY.format(2024), body=year_file(spring))
    for year in (2023, 2024):
        responses.get(f"https://data.meteostat.net/daily/{year}/99902.csv.gz", status=404)
    near, other = meteostat_places.nearby(access_at(), place)
    assert (near.station.key, near.station.name) == ("99901", "Brackenford Hill")
    assert near.station.distance_km == pytest.approx(distance_km(51.19, -0.99, place), abs=0.01)
    assert near.station.height_difference_m == pytest.approx(30.4)
    assert near.last_day == date(2024, 4, 18)
    assert near.air_share == pytest.approx(109 / 365)
    assert near.rain_share == pytest.approx(107 / 365)
    assert near.trouble == ""
    assert (other.station.key, other.station.height_difference_m) == ("99902", None)
    assert other.last_day is None
    assert other.trouble.endswith("the station has stopped, or never told such values")
    asked = len(responses.calls)
    meteostat_places.nearby(access_at(NOW + timedelta(days=29)), place)
    assert "stations.db" not in "".join(str(call.request.url) for call in list(responses.calls)[asked:])


@responses.activate
def test_a_place_in_the_sea_or_swapped_is_told(
    access_at: Callable[..., Access], place: Place, stations_db: bytes
) -> None:
    responses.get("https://data.meteostat.net/stations.db", body=stations_db)
    swapped = Place("x", place.longitude_deg, place.latitude_deg, 0.0, place.zone, place.display, 0.0)
    with pytest.raises(SourceError, match="no weather station within 50 km") as caught:
        meteostat_places.nearby(access_at(), swapped)
    assert "latitude comes first" in caught.value.remedy
    out = Place("x", 151.0, 0.0, 0.0, place.zone, place.display, 0.0)
    with pytest.raises(SourceError, match="Latitude must be between"):
        meteostat_places.nearby(access_at(), out)


@responses.activate
@pytest.mark.parametrize(
    ("damage", "what"),
    [
        (lambda base: base[:5000], "cut off: 5000 of"),
        (lambda base: b"year,month", "no SQLite database"),
        (lambda base: b"<html>", "web page"),
    ],
)
def test_a_damaged_list_of_stations_is_told(
    access_at: Callable[..., Access], place: Place, stations_db: bytes, damage: Callable[[bytes], bytes], what: str
) -> None:
    responses.get("https://data.meteostat.net/stations.db", body=damage(stations_db))
    with pytest.raises(SourceError, match=what):
        meteostat_places.nearby(access_at(), place)


@responses.activate
def test_a_list_of_stations_without_its_tables_is_told(
    access_at: Callable[..., Access], place: Place, tmp_path: Path
) -> None:
    base = sqlite3.connect(tmp_path / "other.db")
    base.execute("CREATE TABLE something (a)")
    base.close()
    responses.get("https://data.meteostat.net/stations.db", body=(tmp_path / "other.db").read_bytes())
    with pytest.raises(SourceError, match="cannot be searched"):
        meteostat_places.nearby(access_at(), place)


@responses.activate
def test_one_station_is_described(access_at: Callable[..., Access], place: Place) -> None:
    url = "https://data.meteostat.net/stations/99901.json"
    told = {
        "id": "99901",
        "name": {"de": "Brackenforder Berg", "en": "Brackenford Hill"},
        "country": "XX",
        "location": {"latitude": 51.19, "longitude": -0.99, "elevation": 115},
        "timezone": "Europe/London",
    }
    responses.get(url, body=json.dumps(told))
    station = meteostat_places.describe(access_at(), "99901", place)
    assert (station.name, station.height_difference_m) == ("Brackenford Hill", pytest.approx(30.4))
    assert station.distance_km == pytest.approx(7.41, abs=0.02)
    meteostat_places.describe(access_at(NOW + timedelta(days=1)), "99901", place)
    assert len(responses.calls) == 1
    with pytest.raises(SourceError, match=r"there is no location"):
        meteostat_places.parse_description(b"{}", "99901", place)


def test_distances(place: Place) -> None:
    """A degree of latitude on a sphere of 6371 km is 111.195 km (2πR/360, own)."""
    assert distance_km(place.latitude_deg + 1, place.longitude_deg, place) == pytest.approx(111.195, abs=0.001)
    assert distance_km(place.latitude_deg, place.longitude_deg, place) == 0.0
    assert distance_km(-place.latitude_deg, place.longitude_deg + 180, place) == pytest.approx(20015.087, abs=0.001)


# True payloads


@pytest.mark.parametrize("kind", list(Kind))
def test_true_payloads(measured: Path, kind: Kind) -> None:
    """Every value equals the file's own, read here without the library, and nothing of a model is among them."""
    body = (measured / f"meteostat_{kind}_2024_10637.csv.gz").read_bytes()
    table = meteostat_parse.parse(body, "10637", 2024, kind, "true")
    header, *lines = [line.split(",") for line in gzip.decompress(body).decode().splitlines()]
    column = "tmin" if kind is Kind.DAILY else "temp"
    at = header.index(column)
    modelled = [i for i, line in enumerate(lines) if not meteostat_parse.MODELLED.isdisjoint(line[at + 1].split())]
    assert len(table.times) == len(lines) == (366 if kind is Kind.DAILY else 8784)
    values = table.values["air_min_c" if kind is Kind.DAILY else "air_c"]
    for i, line in enumerate(lines):
        expected = np.nan if i in modelled or not line[at] else float(line[at])
        assert values[i] == expected or np.isnan([values[i], expected]).all()
    assert table.complaints == ()
    assert table.modelled > 0
    assert table.attribution == "Meteostat, Deutscher Wetterdienst"
    assert tidy(unpack(body, "x"), tuple(header[: 3 if kind is Kind.DAILY else 4]), "x").count == len(lines)


@responses.activate
def test_true_hours_add_up_to_true_rain_days_from_06_to_06_utc(
    measured: Path, access_at: Callable[..., Access]
) -> None:
    """Shows two things that no page tells: an hour's rain is that of the hour before, and where a rain day ends."""
    for kind in Kind:
        body = (measured / f"meteostat_{kind}_2024_10637.csv.gz").read_bytes()
        responses.get(f"https://data.meteostat.net/{kind}/2024/10637.csv.gz", body=body)
    access, station = access_at(datetime(2024, 12, 31, 23, tzinfo=UTC)), Station("10637")
    hours, _ = meteostat_files.observed_hours(access, station, datetime(2024, 1, 1, tzinfo=UTC))
    days = meteostat_files.daily_reading(access, station, (2024,), date(2024, 12, 31)).record.days
    summed = np.array([hours.rain_mm[at * 24 + 6 : at * 24 + 30].sum() for at in range(364)])
    apart = np.abs(summed - days.rain_mm[:364])
    assert np.isfinite(apart).sum() > 300
    assert np.nanmean(apart) < 0.01
    assert np.nanmax(apart) < 0.35
