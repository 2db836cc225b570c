"""MET Norway Locationforecast 2.0: a forecast for any place, hourly for about 54 hours and six-hourly after that.

Terms of the service, kept here: a User-Agent with a contact, at most four decimals, not again before `Expires`,
`If-Modified-Since` exactly as last received. Data under CC BY 4.0.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from haulm.errors import Complaint
from haulm.garden import Place
from haulm.sources.catalogue import MET_NORWAY, check_contact
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
from haulm.weather import HOURLY, FloatArray, Forecast, Hours

WITHDRAWN = 203  # the service's own use of that status (from memory of its terms)
LONGEST = timedelta(days=16)
_INSTANT = {
    "air_temperature": ("air_c", 1.0, "celsius"),
    "relative_humidity": ("humidity_pct", 1.0, "%"),
    "dew_point_temperature": ("dew_point_c", 1.0, "celsius"),
    "wind_speed": ("wind_ms", 1.0, "m/s"),
    "wind_speed_of_gust": ("gust_ms", 1.0, "m/s"),
    "cloud_area_fraction": ("cloud", 0.01, "%"),
}
_UNITS = {name: unit for name, (_, _, unit) in _INSTANT.items()} | {
    "precipitation_amount": "mm",
    "probability_of_precipitation": "%",
    "air_temperature_min": "celsius",
    "air_temperature_max": "celsius",
}


def fetch(access: Access, place: Place) -> Issue:
    """The forecast for a place, from the spool while it has not expired.

    Raises
    ------
    SourceError
        It could not be had or could not be read.
    """
    check_contact(MET_NORWAY, access.http.fetching.contact)
    at = {
        "lat": degrees(place.latitude_deg),
        "lon": degrees(place.longitude_deg),
        "altitude": str(round(place.elevation_m)),
    }
    name = f"met_norway/{at['lat']}_{at['lon']}_{at['altitude']}.json"
    held = obtain(access, Wanted(name, access.endpoints.met_norway, MET_NORWAY.name, _check, at))
    issue = parse(held.body, held.fetched, ZoneInfo(place.zone))
    if held.status == WITHDRAWN:
        told = Complaint("the service says that this form of its forecast will be withdrawn (203)", MET_NORWAY.name)
        return replace(issue, complaints=(*issue.complaints, told))
    return issue


def parse(body: bytes, received: datetime, zone: ZoneInfo) -> Issue:
    """A forecast from the service's JSON; `received` is when these bytes came.

    Raises
    ------
    SourceError
        It has not the form, or not the units, that it should have.
    """
    where = MET_NORWAY.name
    properties = part(read_json(body, where), "properties", where)
    _check_units(table(part(properties, "meta", where), "units", where), where)
    issued = issue_instant(part(properties, "meta.updated_at", where), received, where)
    steps = _steps(rows(properties, "timeseries", where), where)
    hours, extremes = _hours(steps, where)
    days = fold(hours, zone, extremes, rest_of_first_day=True)
    return Issue(Forecast(MET_NORWAY.origin, issued, days, received), hours, _complaints(steps))


@dataclass(frozen=True, slots=True)
class _Step:
    start: datetime
    data: dict[str, Json]


def _check(body: bytes, where: str) -> bytes:
    rows(read_json(body, where), "properties.timeseries", where)
    return body


def _check_units(units: dict[str, Json], where: str) -> None:
    for name, unit in _UNITS.items():
        if units.get(name, unit) != unit:
            raise unexpected(f"{name} is in {units[name]}, not in {unit}", where)


def _steps(series: list[Json], where: str) -> list[_Step]:
    """The steps in order, one an instant: a repeated one replaces the first."""
    found = {}
    for one in series:
        start = instant(part(one, "time", where), where)
        if start.minute or start.second:
            raise unexpected(f"a step at {start:%H:%M:%S}, not on the hour", where)
        found[start] = _Step(start, table(one, "data", where))
    steps = [found[start] for start in sorted(found)]
    if steps[-1].start - steps[0].start > LONGEST:
        raise unexpected(f"steps over more than {LONGEST.days} days", where)
    return steps


def _hours(steps: list[_Step], where: str) -> tuple[Hours, list[Extreme]]:
    first = steps[0].start
    count = hours_between(first, steps[-1].start) + 1
    values = {name: np.full(count, np.nan) for name in HOURLY}
    span = np.zeros(count, dtype=np.int8)
    for step, following in zip(steps, [*steps[1:], None], strict=True):
        at = hours_between(first, step.start)
        span[at] = min(hours_between(step.start, following.start), 6) if following else 1
        details = table(part(step.data, "instant", where), "details", where)
        for name, (quantity, factor, _) in _INSTANT.items():
            values[quantity][at] = number(details.get(name), where) * factor
    extremes = _periods(steps, first, values, where)
    return hours_from(first, span, **values), extremes


def _periods(steps: list[_Step], first: datetime, values: dict[str, FloatArray], where: str) -> list[Extreme]:
    """Spread each period's rain over its hours, and give the extremes of the six-hour periods.

    Six-hour periods overlap where steps are hourly. There the hourly rain counts; of a longer period only what the
    hourly ones have not counted falls in the hours that they leave open.
    """
    extremes = []
    for hours, key in ((1, "next_1_hours"), (6, "next_6_hours")):
        for step in steps:
            if key not in step.data or (hours == 6 and "next_1_hours" in step.data):
                continue
            details = table(step.data[key], "details", where)
            at = hours_between(first, step.start)
            inside = slice(at, at + hours)
            _spread(values["rain_mm"][inside], number(details.get("precipitation_amount"), where))
            chance = number(details.get("probability_of_precipitation"), where) / 100.0
            values["rain_chance"][inside] = np.fmax(values["rain_chance"][inside], chance)
            low, high = (number(details.get(f"air_temperature_{end}"), where) for end in ("min", "max"))
            if hours == 6:
                extremes.append(Extreme(step.start, hours, low, high))
    return extremes


def _spread(rain_mm: FloatArray, amount_mm: float) -> None:
    open_hours = np.isnan(rain_mm)
    if open_hours.any() and np.isfinite(amount_mm):
        rain_mm[open_hours] = max(amount_mm - np.nansum(rain_mm), 0.0) / open_hours.sum()


def _complaints(steps: list[_Step]) -> tuple[Complaint, ...]:
    lacking = sum("next_1_hours" not in step.data and "next_6_hours" not in step.data for step in steps[:-1])
    if not lacking:
        return ()
    told = "1 step says" if lacking == 1 else f"{lacking} steps say"
    return (Complaint(f"{told} nothing about the rain that follows", MET_NORWAY.name),)
