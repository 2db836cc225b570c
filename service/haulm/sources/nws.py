"""The US National Weather Service: the forecast grid, spread from its intervals over hours.

Terms of the service, kept here: a User-Agent with a contact, at most four decimals, /points asked rarely. 500 and 503
are common; the session tries again, then the caller falls back on another source. Public domain.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

import numpy as np

from haulm.errors import SourceError, in_one_line
from haulm.garden import Place
from haulm.sources.catalogue import NWS, check_contact
from haulm.sources.http import NotThereError
from haulm.sources.local_days import Extreme, fold, hours_from
from haulm.sources.payload import (
    Json,
    degrees,
    hours_between,
    instant,
    issue_instant,
    number,
    part,
    read_json,
    rows,
    table,
    unexpected,
)
from haulm.sources.readings import Issue
from haulm.sources.spool import Access, Wanted, obtain
from haulm.units import celsius_from_fahrenheit, metres_per_second_from_kmh
from haulm.weather import HOUR, FloatArray, Forecast, Hours

# Grids are redrawn now and then, about yearly (judgement); a grid that is gone is looked up at once.
POINTS_NOT_WITHIN = timedelta(days=30)
LONGEST_HOURS = 16 * 24


@dataclass(frozen=True, slots=True)
class _Spell:
    """One value of a layer over some whole hours."""

    start: datetime
    hours: int
    value: float


def fetch(access: Access, place: Place) -> Issue:
    """The forecast for a place.

    Raises
    ------
    SourceError
        It could not be had or could not be read, or the service does not cover the place.
    """
    check_contact(NWS, access.http.fetching.contact)
    at = f"{degrees(place.latitude_deg)}_{degrees(place.longitude_deg)}"
    for not_within in (POINTS_NOT_WITHIN, timedelta(0)):
        grid_url = _grid_url(access, place, at, not_within)
        wanted = Wanted(f"nws/{at}.grid.json", grid_url, NWS.name, _check_grid)
        try:
            held = obtain(access, wanted)
        except NotThereError:
            if not not_within:
                raise
            continue
        return parse(held.body, held.fetched, ZoneInfo(place.zone))
    raise AssertionError("the second look-up returns or raises")


def parse(body: bytes, received: datetime, zone: ZoneInfo) -> Issue:
    """A forecast from the service's grid JSON; `received` is when these bytes came.

    Raises
    ------
    SourceError
        It has not the form, or a unit that is not known here.
    """
    where = NWS.name
    grid = table(read_json(body, where), "properties", where)
    issued = issue_instant(part(grid, "updateTime", where), received, where)
    hours = _hours({name: _layer(grid, layer, where) for name, layer in _LAYERS.items()}, where)
    low, high = (_layer(grid, layer, where) for layer in ("minTemperature", "maxTemperature"))
    extremes = [Extreme(one.start, one.hours, one.value, np.nan) for one in low]
    extremes += [Extreme(one.start, one.hours, np.nan, one.value) for one in high]
    days = fold(hours, zone, extremes, rest_of_first_day=True)
    return Issue(Forecast(NWS.origin, issued, days, received), hours)


_LAYERS = {
    "air_c": "temperature",
    "dew_point_c": "dewpoint",
    "humidity_pct": "relativeHumidity",
    "cloud": "skyCover",
    "wind_ms": "windSpeed",
    "gust_ms": "windGust",
    "rain_mm": "quantitativePrecipitation",
    "rain_chance": "probabilityOfPrecipitation",
}
_IN_SHARES = {"skyCover", "probabilityOfPrecipitation"}
# Codes of the World Meteorological Organization's unit register, as `uom` and `unitCode` give them.
_TO_HOUSE: dict[str, Callable[[float], float]] = {
    "degC": float,
    "degF": celsius_from_fahrenheit,
    "K": lambda value: value - 273.15,
    "percent": float,
    "km_h-1": metres_per_second_from_kmh,
    "m_s-1": float,
    "mm": float,
}


def _grid_url(access: Access, place: Place, at: str, not_within: timedelta) -> str:
    url = access.endpoints.nws_points.format(
        latitude=degrees(place.latitude_deg), longitude=degrees(place.longitude_deg)
    )
    wanted = Wanted(f"nws/{at}.points.json", url, NWS.name, _check_points, not_within=not_within)
    try:
        held = obtain(access, wanted)
    except NotThereError as missing:
        raise SourceError(
            "the service does not cover this place",
            where=missing.where,
            remedy="It serves the United States only. Take it out of the sources, or check latitude and longitude.",
        ) from missing
    grid = str(part(read_json(held.body, NWS.name), "properties.forecastGridData", NWS.name))
    if urlsplit(grid).netloc != urlsplit(url).netloc:
        raise unexpected(f"it sends us to another server, {in_one_line(grid, 120)}", NWS.name)
    return grid


def _check_points(body: bytes, where: str) -> bytes:
    part(read_json(body, where), "properties.forecastGridData", where)
    return body


def _check_grid(body: bytes, where: str) -> bytes:
    rows(read_json(body, where), "properties.temperature.values", where)
    return body


def _layer(grid: dict[str, Json], name: str, where: str) -> list[_Spell]:
    layer = table(grid, name, where)
    listed = layer.get("values")
    if not listed:
        return []
    if not isinstance(listed, list):
        raise unexpected(f"{name} is no list", where)
    unit = str(layer.get("uom") or layer.get("unitCode") or "").rpartition(":")[2]
    if unit not in _TO_HOUSE:
        raise unexpected(f'{name} is in "{unit}"', where)
    factor = 0.01 if name in _IN_SHARES else 1.0
    return [_spell(one, _TO_HOUSE[unit], factor, where) for one in listed]


def _spell(one: Json, to_house: Callable[[float], float], factor: float, where: str) -> _Spell:
    written, _, lasting = str(part(one, "validTime", where)).partition("/")
    start = instant(written, where)
    whole = start.replace(minute=0, second=0, microsecond=0)
    length = _duration(lasting, where) + (start - whole)
    return _Spell(whole, ceil(length / HOUR), to_house(number(one.get("value"), where)) * factor)


_DURATION = re.compile(r"P(?:(?P<days>\d{1,2})D)?(?:T(?:(?P<hours>\d{1,3})H)?(?:(?P<minutes>\d{1,4})M)?)?")


def _duration(written: str, where: str) -> timedelta:
    match = _DURATION.fullmatch(written)
    length = timedelta(**{unit: int(count) for unit, count in match.groupdict("0").items()}) if match else timedelta(0)
    if not length:
        raise unexpected(f'"{written}" is not a length of time', where)
    return length


def _hours(layers: dict[str, list[_Spell]], where: str) -> Hours:
    if not layers["air_c"]:
        raise unexpected("there is no temperature", where)
    first = min(one.start for one in layers["air_c"])
    count = max(hours_between(first, one.start) + one.hours for one in layers["air_c"])
    if count > LONGEST_HOURS:
        raise unexpected(f"hours over more than {LONGEST_HOURS // 24} days", where)
    values = {name: _over_hours(spells, first, count, shared=name == "rain_mm") for name, spells in layers.items()}
    return hours_from(first, np.ones(count, dtype=np.int8), **values)


def _over_hours(spells: list[_Spell], first: datetime, count: int, *, shared: bool) -> FloatArray:
    """A layer hour by hour: a sum is shared out over its interval's hours, any other value stands in each of them."""
    values = np.full(count, np.nan)
    taken = np.zeros(count, dtype=bool)
    for spell in spells:
        at = hours_between(first, spell.start)
        inside = np.arange(max(at, 0), min(max(at + spell.hours, 0), count))
        inside = inside[~taken[inside]]
        values[inside] = spell.value / spell.hours if shared else spell.value
        taken[inside] = True
    return values
