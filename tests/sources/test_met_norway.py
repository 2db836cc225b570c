"""MET Norway: terms of the service, each period's rain once, and damage that is told."""

import json
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import responses

from haulm.errors import SourceError
from haulm.garden import Place
from haulm.sources import met_norway, nws
from haulm.sources.http import Endpoints, Fetching, Http
from haulm.sources.spool import Access

LONDON = ZoneInfo("Europe/London")
CAME = datetime(2024, 4, 20, 5, 12, tzinfo=UTC)
URL = Endpoints().met_norway
Steps = list[tuple[datetime, dict[str, Any], dict[str, Any]]]


def test_a_forecast_is_folded_to_local_days(met_body: Callable[..., bytes], met_run: Steps) -> None:
    issue = met_norway.parse(met_body(met_run), CAME, LONDON)
    days = issue.forecast.days
    assert issue.forecast.issued == datetime(2024, 4, 20, 4, 30, tzinfo=UTC)
    assert issue.forecast.received == CAME
    assert issue.forecast.origin.attribution == "Weather forecast from MET Norway (CC BY 4.0)"
    assert days.first == date(2024, 4, 20)
    # 06:00 to midnight local: 18 hours of 0.1 mm; then 24 of them; hourly values set the extremes there.
    assert days.rain_mm[:2] == pytest.approx([1.8, 2.4])
    assert days.air_min_c[:2] == pytest.approx([10.0, 10.0])
    assert days.air_max_c[:2] == pytest.approx([11.7, 12.3])
    # In the far part each six hours bring 1.2 mm: 4.8 mm a day, and their extremes.
    assert days.rain_mm[4:8] == pytest.approx([4.8] * 4)
    assert days.air_min_c[4:8] == pytest.approx([4.0] * 4)
    assert days.air_max_c[4:8] == pytest.approx([15.0] * 4)
    assert days.cloud[1] == pytest.approx(0.25)
    assert days.humidity_pct[6] == pytest.approx(80.0)
    assert np.isnan(days.gust_ms).all()
    assert np.isnan(days.rain_chance).all()


def test_each_periods_rain_is_summed_once(met_body: Callable[..., bytes], met_run: Steps) -> None:
    hours = met_norway.parse(met_body(met_run), CAME, LONDON).hours
    assert np.nansum(hours.rain_mm) == pytest.approx(55 * 0.1 + 28 * 1.2)
    assert np.isnan(hours.rain_mm[-1])  # the last step has no period
    assert hours.span_hours[:55].tolist() == [1] * 55
    assert hours.span_hours[55:67].tolist() == [6, 0, 0, 0, 0, 0] * 2
    assert np.isnan(hours.air_c[56])


def test_a_longer_period_beside_hourly_ones_gives_only_what_they_leave_open(met_body: Callable[..., bytes]) -> None:
    """The third step lacks its hourly rain; of its six hours two are open after the hourly ones: they get the rest."""
    start = datetime(2024, 4, 20, tzinfo=UTC)
    steps: Steps = [(start + timedelta(hours=i), {"air_temperature": 5.0}, {}) for i in range(9)]
    for at in (0, 1, 3, 4, 5):
        steps[at][2]["next_1_hours"] = {"precipitation_amount": 0.5}
    steps[2][2]["next_6_hours"] = {"precipitation_amount": 4.5}
    issue = met_norway.parse(met_body(steps), CAME, LONDON)
    assert issue.hours.rain_mm[:8].tolist() == [0.5, 0.5, 1.0, 0.5, 0.5, 0.5, 1.0, 1.0]
    assert np.isnan(issue.hours.rain_mm[8])
    assert [one.what for one in issue.complaints] == ["2 steps say nothing about the rain that follows"]


def test_gust_and_chance_are_read_where_given(met_body: Callable[..., bytes], met_run: Steps) -> None:
    for at, (_, details, periods) in enumerate(met_run):
        details["wind_speed_of_gust"] = 9.0 + at / 100
        for told in periods.values():
            told["probability_of_precipitation"] = 40.0 if at == 30 else 10.0
    days = met_norway.parse(met_body(met_run), CAME, LONDON).forecast.days
    assert days.rain_chance[:3].tolist() == [0.1, 0.4, 0.1]
    assert days.gust_ms[0] == pytest.approx(9.17)


@pytest.mark.parametrize(
    ("zone", "day", "rain_hours"), [("Europe/London", date(2024, 3, 31), 23), ("Europe/London", date(2024, 10, 27), 25)]
)
def test_days_of_the_clock_changes(met_body: Callable[..., bytes], zone: str, day: date, rain_hours: int) -> None:
    start = datetime.combine(day, datetime.min.time(), UTC) - timedelta(hours=12)
    steps: Steps = [
        (start + timedelta(hours=i), {"air_temperature": 5.0}, {"next_1_hours": {"precipitation_amount": 1.0}})
        for i in range(60)
    ]
    body = met_body(steps, updated_at=start.isoformat())
    days = met_norway.parse(body, start, ZoneInfo(zone)).forecast.days
    assert days.of("rain_mm").at(day) == rain_hours


def test_null_is_unknown(met_body: Callable[..., bytes], met_run: Steps) -> None:
    met_run[3][1]["air_temperature"] = None
    assert np.isnan(met_norway.parse(met_body(met_run), CAME, LONDON).hours.air_c[3])


@pytest.mark.parametrize(
    ("damage", "what"),
    [
        (lambda told: told.pop("properties"), "there is no properties"),
        (lambda told: told["properties"].pop("meta"), "there is no meta"),
        (lambda told: told["properties"].update(timeseries=[]), "timeseries is empty"),
        (lambda told: told["properties"]["timeseries"][3].pop("data"), "there is no instant"),
        (lambda told: told["properties"]["timeseries"][3].update(time="soon"), "'soon' is not a time"),
        (lambda told: told["properties"]["timeseries"][3].update(time="2024-04-20T05:00:00"), "does not say its zone"),
        (lambda told: told["properties"]["timeseries"][3].update(time="2024-04-20T05:30:00Z"), "not on the hour"),
        (lambda told: told["properties"]["timeseries"][3].update(time="2034-04-20T05:00:00Z"), "more than 16 days"),
        (lambda told: told["properties"]["meta"]["units"].update(air_temperature="fahrenheit"), "is in fahrenheit"),
        (lambda told: told["properties"]["meta"]["units"].update(wind_speed="km/h"), "wind_speed is in km/h"),
        (lambda told: told["properties"]["meta"].update(updated_at="2024-04-21T05:00:00Z"), "still to come"),
        (
            lambda told: told["properties"]["timeseries"][3]["data"]["instant"]["details"].update(air_temperature="9"),
            "'9' is not a number",
        ),
    ],
)
def test_each_damage_is_told(
    met_body: Callable[..., bytes], met_run: Steps, damage: Callable[[Any], Any], what: str
) -> None:
    told = json.loads(met_body(met_run))
    damage(told)
    with pytest.raises(SourceError) as caught:
        met_norway.parse(json.dumps(told).encode(), CAME, LONDON)
    assert what in caught.value.what
    assert caught.value.where == "MET Norway Locationforecast"
    assert caught.value.remedy


@responses.activate
def test_the_terms_are_kept(
    met_body: Callable[..., bytes], met_run: Steps, access_at: Callable[..., Access], place: Place
) -> None:
    """Four decimals, who asks, not before it expires, and the condition as received."""
    modified = "Sat, 20 Apr 2024 04:31:11 GMT"
    dates = {"Expires": "Sat, 20 Apr 2024 05:43:00 GMT", "Last-Modified": modified}
    responses.get(URL, body=met_body(met_run), headers=dates)
    first = met_norway.fetch(access_at(CAME), place)
    asked = responses.calls[0].request
    assert asked.params == {"lat": "51.1235", "lon": "-0.9877", "altitude": "85"}
    assert "grower@brackenford.example" in asked.headers["User-Agent"]
    met_norway.fetch(access_at(CAME + timedelta(minutes=30)), place)
    assert len(responses.calls) == 1
    responses.reset()
    responses.get(URL, status=304, headers={"Expires": "Sat, 20 Apr 2024 06:50:00 GMT"})
    again = met_norway.fetch(access_at(CAME + timedelta(minutes=40)), place)
    assert responses.calls[0].request.headers["If-Modified-Since"] == modified
    assert again.forecast.received == CAME
    assert np.array_equal(again.forecast.days.air_min_c, first.forecast.days.air_min_c, equal_nan=True)
    met_norway.fetch(access_at(CAME + timedelta(minutes=90)), place)
    assert len(responses.calls) == 1


@responses.activate
def test_a_notice_of_withdrawal_is_told_as_long_as_the_file_is_used(
    met_body: Callable[..., bytes], met_run: Steps, access_at: Callable[..., Access], place: Place
) -> None:
    responses.get(URL, status=203, body=met_body(met_run), headers={"Last-Modified": "Sat, 20 Apr 2024 04:31:11 GMT"})
    responses.get(URL, status=304)
    for hours in (0, 1):
        issue = met_norway.fetch(access_at(CAME + timedelta(hours=hours)), place)
        assert [one.what for one in issue.complaints] == [
            "the service says that this form of its forecast will be withdrawn (203)"
        ]
    assert len(responses.calls) == 2


@responses.activate
@pytest.mark.parametrize("fetch", [met_norway.fetch, nws.fetch])
def test_nothing_is_asked_without_a_contact(fetch: Callable[..., Any], tmp_path: Path, place: Place) -> None:
    told = pytest.raises(SourceError, match="wants a contact address")
    with Http(Fetching(contact=" ")) as http, told:
        fetch(Access(http, Endpoints(), tmp_path, CAME), place)
    assert len(responses.calls) == 0


@responses.activate
def test_a_forecast_that_was_cut_off_is_told_and_not_kept(
    met_body: Callable[..., bytes], met_run: Steps, access_at: Callable[..., Access], place: Place
) -> None:
    responses.get(URL, body=met_body(met_run)[:4000])
    with pytest.raises(SourceError, match="no whole JSON"):
        met_norway.fetch(access_at(CAME), place)
    assert not list(access_at().spool.rglob("*.json"))


@responses.activate
@pytest.mark.parametrize(("status", "what"), [(403, "refused"), (429, "too often"), (503, "in trouble")])
def test_each_refusal_is_told(access_at: Callable[..., Access], place: Place, status: int, what: str) -> None:
    responses.get(URL, status=status)
    with pytest.raises(SourceError, match=what) as caught:
        met_norway.fetch(access_at(CAME), place)
    assert caught.value.where == "MET Norway Locationforecast (api.met.no)"


@pytest.mark.parametrize(
    ("name", "zone"), [("metno_complete_51.5_-0.1", "Europe/London"), ("metno_compact_39.9_116.4", "Asia/Shanghai")]
)
def test_true_payloads(measured: Path, name: str, zone: str) -> None:
    told = json.loads((measured / f"{name}.json").read_text(encoding="utf-8"))["data"]
    came = datetime(2020, 7, 20, 11, 44, tzinfo=UTC)
    issue = met_norway.parse(json.dumps(told).encode(), came, ZoneInfo(zone))
    days = issue.forecast.days
    assert len(days) == 9
    assert issue.complaints == ()
    assert np.isfinite(days.air_min_c[1:]).all()
    assert (days.air_min_c[1:] < days.air_max_c[1:]).all()
    series = told["properties"]["timeseries"]
    once = sum(
        (step["data"].get("next_1_hours") or step["data"].get("next_6_hours") or {"details": {}})["details"].get(
            "precipitation_amount", 0.0
        )
        for step in series
    )
    assert np.nansum(issue.hours.rain_mm) == pytest.approx(once)
