"""The US National Weather Service: intervals over hours, units as told, nulls, and a grid that moved."""

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
from haulm.sources import nws
from haulm.sources.http import Endpoints, Fetching, Http
from haulm.sources.spool import Access
from haulm.units import Display

ZONE = ZoneInfo("America/Phoenix")  # seven hours behind UTC, the clocks never change
CAME = datetime(2024, 4, 20, 5, 12, tzinfo=UTC)
GRID = "https://api.weather.gov/gridpoints/SAW/12,34"
POINTS = "https://api.weather.gov/points/33.4,-111.6789"


@pytest.fixture
def valley() -> Place:
    return Place("Sallow Wells", 33.40001, -111.67894, 380.0, "America/Phoenix", Display.US, 0.5)


@pytest.fixture
def layers() -> dict[str, tuple[str, list[tuple[str, float | None]]]]:
    """Three local days from midnight (07 UTC) of 20 April on."""
    whole = "2024-04-20T07:00:00+00:00/P3D"
    return {
        "temperature": (
            "wmoUnit:degC",
            [("2024-04-20T07:00:00+00:00/P1DT12H", 20.0), ("2024-04-21T19:00:00+00:00/PT36H", 30.0)],
        ),
        "minTemperature": ("wmoUnit:degC", [("2024-04-21T02:00:00+00:00/PT14H", 11.0)]),
        "maxTemperature": ("wmoUnit:degC", [("2024-04-20T14:00:00+00:00/PT13H", 36.5)]),
        "dewpoint": ("wmoUnit:degC", [(whole, 2.0)]),
        "relativeHumidity": ("wmoUnit:percent", [(whole, 25.0)]),
        "skyCover": ("wmoUnit:percent", [(whole, 40.0)]),
        "windSpeed": ("wmoUnit:km_h-1", [(whole, 18.0)]),
        "windGust": (
            "wmoUnit:km_h-1",
            [("2024-04-20T07:00:00+00:00/P2D", 36.0), ("2024-04-22T07:00:00+00:00/P1D", 72.0)],
        ),
        "quantitativePrecipitation": (
            "wmoUnit:mm",
            [
                ("2024-04-20T07:00:00+00:00/PT6H", 6.0),
                ("2024-04-20T13:00:00+00:00/PT18H", 0.0),
                ("2024-04-21T04:00:00+00:00/PT6H", 12.0),
                ("2024-04-21T10:00:00+00:00/PT21H", 0.0),
            ],
        ),
        "probabilityOfPrecipitation": (
            "wmoUnit:percent",
            [
                ("2024-04-20T07:00:00+00:00/PT12H", 15.0),
                ("2024-04-20T19:00:00+00:00/PT12H", 70.0),
                ("2024-04-21T07:00:00+00:00/P2D", 5.0),
            ],
        ),
    }


def parsed(body: bytes) -> Any:
    return nws.parse(body, CAME, ZONE)


def test_a_grid_is_folded_to_local_days(nws_grid: Callable[..., bytes], layers: dict[str, Any]) -> None:
    issue = parsed(nws_grid(layers))
    days = issue.forecast.days
    assert issue.forecast.issued == datetime(2024, 4, 20, 4, 10, tzinfo=UTC)
    assert days.first == date(2024, 4, 20)
    assert len(days) == 3
    assert days.air_min_c.tolist() == [20.0, 11.0, 30.0]
    assert days.air_max_c.tolist() == [36.5, 30.0, 30.0]
    assert days.dew_point_c.tolist() == [2.0] * 3
    assert days.humidity_pct.tolist() == [25.0] * 3
    assert days.cloud == pytest.approx([0.4] * 3)
    assert days.wind_ms == pytest.approx([5.0] * 3)
    assert days.gust_ms == pytest.approx([10.0, 10.0, 20.0])
    assert days.rain_chance == pytest.approx([0.7, 0.05, 0.05])


def test_rain_is_shared_out_over_its_interval_once(nws_grid: Callable[..., bytes], layers: dict[str, Any]) -> None:
    """The second fall, 12 mm from 21:00 to 03:00 local, lies half in each day; after 48 hours no amount is given.

    It overlaps the interval before it by three hours, which stay as that one has them.
    """
    issue = parsed(nws_grid(layers))
    assert issue.hours.rain_mm[:6].tolist() == [1.0] * 6
    # 13 UTC and 18 hours end at 07 UTC; the fall from 04 UTC to 10 UTC keeps its last three hours of 2 mm.
    assert issue.hours.rain_mm[24:27].tolist() == [2.0] * 3
    assert issue.forecast.days.rain_mm[0] == pytest.approx(6.0)
    assert issue.forecast.days.rain_mm[1] == pytest.approx(6.0)
    assert np.isnan(issue.forecast.days.rain_mm[2])


def test_null_is_unknown_not_zero(nws_grid: Callable[..., bytes], layers: dict[str, Any]) -> None:
    layers["quantitativePrecipitation"] = ("wmoUnit:mm", [("2024-04-20T07:00:00+00:00/P3D", None)])
    layers["windGust"] = (
        "wmoUnit:km_h-1",
        [("2024-04-20T07:00:00+00:00/P1D", None), ("2024-04-21T07:00:00+00:00/P2D", 36.0)],
    )
    days = parsed(nws_grid(layers)).forecast.days
    assert np.isnan(days.rain_mm).all()
    assert np.isnan(days.gust_ms[0])
    assert days.gust_ms[1] == pytest.approx(10.0)


@pytest.mark.parametrize("layer", ["windGust", "quantitativePrecipitation", "minTemperature"])
def test_a_layer_that_is_empty_or_absent_is_unknown(
    nws_grid: Callable[..., bytes], layers: dict[str, Any], layer: str
) -> None:
    del layers[layer]
    for body in (nws_grid(layers), nws_grid(layers, **{layer: {"values": []}})):
        days = parsed(body).forecast.days
        assert days.air_min_c[1] == (11.0 if layer != "minTemperature" else 20.0)
        assert np.isnan(days.gust_ms).all() == (layer == "windGust")
        assert np.isnan(days.rain_mm).all() == (layer == "quantitativePrecipitation")


def test_units_are_read(nws_grid: Callable[..., bytes], layers: dict[str, Any]) -> None:
    layers["temperature"] = ("unit:degF", [("2024-04-20T07:00:00+00:00/P3D", 50.0)])
    layers["windSpeed"] = ("wmoUnit:m_s-1", [("2024-04-20T07:00:00+00:00/P3D", 4.0)])
    layers["dewpoint"] = ("wmoUnit:K", [("2024-04-20T07:00:00+00:00/P3D", 275.15)])
    days = parsed(nws_grid(layers)).forecast.days
    assert days.air_min_c[0] == pytest.approx(10.0)
    assert days.wind_ms[0] == pytest.approx(4.0)
    assert days.dew_point_c[0] == pytest.approx(2.0)


def test_an_interval_from_the_half_hour_covers_the_hours_it_touches(
    nws_grid: Callable[..., bytes], layers: dict[str, Any]
) -> None:
    layers["temperature"] = (
        "wmoUnit:degC",
        [("2024-04-20T07:30:00+00:00/PT90M", 20.0), ("2024-04-20T09:00:00+00:00/P3D", 10.0)],
    )
    hours = parsed(nws_grid(layers)).hours
    assert hours.first == datetime(2024, 4, 20, 7, tzinfo=UTC)
    assert hours.air_c[:3].tolist() == [20.0, 20.0, 10.0]


@pytest.mark.parametrize(("day", "hours"), [(date(2024, 3, 10), 23), (date(2024, 11, 3), 25)])
def test_days_of_the_clock_changes(nws_grid: Callable[..., bytes], day: date, hours: int) -> None:
    """New York's clocks change at 02:00 on these days; an hour's rain is 1 mm."""
    start = datetime.combine(day, datetime.min.time(), UTC) - timedelta(hours=12)
    when = f"{start.isoformat()}/P3D"
    body = nws_grid(
        {"temperature": ("wmoUnit:degC", [(when, 5.0)]), "quantitativePrecipitation": ("wmoUnit:mm", [(when, 72.0)])},
        updateTime=start.isoformat(),
    )
    days = nws.parse(body, start, ZoneInfo("America/New_York")).forecast.days
    assert days.of("rain_mm").at(day) == pytest.approx(hours)
    assert days.of("rain_mm").at(day + timedelta(days=1)) == pytest.approx(24)


@pytest.mark.parametrize(
    ("damage", "what"),
    [
        (lambda told: told.pop("properties"), "there is no updateTime"),
        (lambda told: told["properties"].pop("updateTime"), "there is no updateTime"),
        (lambda told: told["properties"].update(updateTime="2024-05-20T00:00:00+00:00"), "still to come"),
        (lambda told: told["properties"].pop("temperature"), "there is no temperature"),
        (lambda told: told["properties"]["temperature"].update(uom="wmoUnit:rankine"), 'temperature is in "rankine"'),
        (lambda told: told["properties"]["windSpeed"].pop("uom"), 'windSpeed is in ""'),
        (lambda told: told["properties"]["temperature"]["values"][0].update(validTime="today"), "not a time"),
        (
            lambda told: told["properties"]["dewpoint"]["values"][0].update(validTime="2024-04-20T07:00:00+00:00/P1M"),
            "not a length of time",
        ),
        (
            lambda told: told["properties"]["temperature"]["values"][1].update(validTime="2024-04-20T07:00Z/P99D"),
            "more than 16 days",
        ),
        (lambda told: told["properties"]["temperature"]["values"][0].update(value="warm"), "'warm' is not a number"),
    ],
)  # fmt: skip
def test_each_damage_is_told(
    nws_grid: Callable[..., bytes], layers: dict[str, Any], damage: Callable[[Any], Any], what: str
) -> None:
    told = json.loads(nws_grid(layers))
    damage(told)
    with pytest.raises(SourceError) as caught:
        parsed(json.dumps(told).encode())
    assert what in caught.value.what
    assert caught.value.where == "US National Weather Service"


@responses.activate
def test_the_place_is_looked_up_once_with_four_decimals(
    nws_grid: Callable[..., bytes],
    nws_points: Callable[[str], bytes],
    layers: dict[str, Any],
    access_at: Callable[..., Access],
    valley: Place,
) -> None:
    responses.get(POINTS, body=nws_points(GRID))
    responses.get(GRID, body=nws_grid(layers), headers={"Expires": "Sat, 20 Apr 2024 06:00:00 GMT"})
    first = nws.fetch(access_at(CAME), valley)
    assert first.forecast.days.air_max_c[0] == 36.5
    nws.fetch(access_at(CAME + timedelta(minutes=10)), valley)
    nws.fetch(access_at(CAME + timedelta(days=1)), valley)
    assert [call.request.url for call in responses.calls] == [POINTS, GRID, GRID]
    nws.fetch(access_at(CAME + timedelta(days=31)), valley)
    assert [call.request.url for call in responses.calls][3:] == [POINTS, GRID]


@responses.activate
def test_a_grid_that_is_gone_is_looked_up_again(
    nws_grid: Callable[..., bytes],
    nws_points: Callable[[str], bytes],
    layers: dict[str, Any],
    access_at: Callable[..., Access],
    valley: Place,
) -> None:
    responses.get(POINTS, body=nws_points(GRID))
    responses.get(GRID, body=nws_grid(layers))
    nws.fetch(access_at(CAME), valley)
    responses.reset()
    moved = "https://api.weather.gov/gridpoints/SAW/13,35"
    responses.get(POINTS, body=nws_points(moved))
    responses.get(GRID, status=404)
    responses.get(moved, body=nws_grid(layers))
    assert nws.fetch(access_at(CAME + timedelta(days=1)), valley).forecast.days.air_max_c[0] == 36.5
    responses.reset()
    responses.get(POINTS, body=nws_points(moved))
    responses.get(moved, status=404)
    with pytest.raises(SourceError, match="not there"):
        nws.fetch(access_at(CAME + timedelta(days=2)), valley)


@responses.activate
def test_a_place_abroad_is_told(access_at: Callable[..., Access], valley: Place) -> None:
    responses.get(POINTS, status=404)
    with pytest.raises(SourceError, match="does not cover this place") as caught:
        nws.fetch(access_at(CAME), valley)
    assert "United States only" in caught.value.remedy


@responses.activate
def test_trouble_is_tried_again_then_told(nws_points: Callable[[str], bytes], tmp_path: Path, valley: Place) -> None:
    responses.get(POINTS, body=nws_points(GRID))
    responses.get(GRID, status=503)
    told = pytest.raises(SourceError, match=r"in trouble \(503\), after 5 tries")
    with Http(Fetching(contact="grower@brackenford.example", retry_wait_s=0.0)) as http, told:
        nws.fetch(Access(http, Endpoints(), tmp_path, CAME), valley)
    assert len(responses.calls) == 6


@responses.activate
def test_true_payloads(measured: Path, access_at: Callable[..., Access]) -> None:
    body = (measured / "nws_grid.json").read_bytes()
    responses.get("https://api.weather.gov/points/30,-85", body=(measured / "nws_points.json").read_bytes())
    responses.get("https://api.weather.gov/gridpoints/TAE/58,65", body=body)
    place = Place("a coast", 30.0, -85.0, 4.0, "America/New_York", Display.US, 0.0)
    issue = nws.fetch(access_at(datetime(2022, 2, 4, 4, tzinfo=UTC)), place)
    days = issue.forecast.days
    told = json.loads(body)["properties"]
    assert days.first == date(2022, 2, 3)
    assert np.isnan(days.air_max_c[0])  # issued at 22:15 local: too little of that day is left
    assert days.air_min_c[2] == pytest.approx(3.8889, abs=1e-3)  # the night's own layer
    assert np.nansum(issue.hours.rain_mm) == pytest.approx(
        sum(one["value"] for one in told["quantitativePrecipitation"]["values"])
    )
    assert (days.rain_chance[1:] <= 1.0).all()
