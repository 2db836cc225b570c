"""What the weather services know at an instant, in their own forms: an invented station, its neighbour, two forecasts.

The weather is the invented one of the demo; a fault asks for the same as of another instant, or under other names.
"""

import gzip
import json
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from haulm.sources.invented import invented_forecasts, invented_record
from haulm.sources.invented_hours import invented_hours
from haulm.weather import Days

ZONE = ZoneInfo("America/Chicago")
STATION, NEIGHBOUR = "99901", "USW00099901"
BEGINS = date(2024, 1, 1)
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
NCEI_LATE = 3 * DAY  # how long after a day's end the second station tells it
HOURS_TOLD = 10 * DAY
COLUMNS = ("temp", "tmin", "tmax", "rhum", "prcp")
Json = dict[str, Any]


class Sky:
    """The weather of one seed, and what each service says of it at `now` (the true instant, whatever a clock says)."""

    def __init__(self, seed: int, until: date) -> None:
        self._seed = seed
        self.days: Days = invented_record("brackenford", BEGINS, until, seed).days
        self._hours = invented_hours(self.days, ZONE.key)
        self._past = lru_cache(maxsize=None)(self._year)
        self._told = lru_cache(maxsize=8)(self._forecast_of)

    def truth(self, quantity: str, day: date) -> float:
        """What the station measured, to the tenth that it tells."""
        return round(float(self.days.of(quantity).at(day)), 1)

    def daily(self, year: int, now: datetime, *, ahead: int = 0, renamed: bool = False) -> bytes | None:
        """The station's days of a year; with `ahead` so many that have not been."""
        last = now.astimezone(ZONE).date() - DAY + ahead * DAY
        return self._past(year, min(last, date(year, 12, 31)), renamed)

    def _year(self, year: int, last: date, renamed: bool) -> bytes | None:
        first = max(date(year, 1, 1), BEGINS)
        if first > last:
            return None
        names = [f"{name}_day" if renamed and name.startswith("t") else name for name in COLUMNS]
        rows = ["year,month,day," + ",".join(f"{name},{name}_source" for name in names)]
        for day in _days(first, last):
            low, high, rain = (self.truth(name, day) for name in ("air_min_c", "air_max_c", "rain_mm"))
            values = ((low + high) / 2, low, high, 80, rain)
            rows.append(f"{day.year},{day.month},{day.day}," + ",".join(f"{one:.1f},dwd_daily" for one in values))
        return gzip.compress(("\n".join(rows) + "\n").encode(), 1, mtime=0)

    def hourly(self, year: int, now: datetime, *, ahead: int = 0, renamed: bool = False) -> bytes | None:
        """The station's last hours, as far as they lie in a year."""
        last = now.astimezone(UTC).replace(minute=0, second=0, microsecond=0) - HOUR + ahead * DAY
        names = ("warmth", "damp") if renamed else ("temp", "rhum")
        rows = ["year,month,day,hour," + ",".join(f"{name},{name}_source" for name in names)]
        at = last - HOURS_TOLD
        while at <= last:
            if at.year == year:
                k = round((at - self._hours.first) / HOUR)
                air, damp = self._hours.air_c[k], self._hours.humidity_pct[k]
                rows.append(f"{at.year},{at.month},{at.day},{at.hour},{air:.1f},dwd_hourly,{damp:.0f},dwd_hourly")
            at += HOUR
        return gzip.compress(("\n".join(rows) + "\n").encode(), 1, mtime=0) if len(rows) > 1 else None

    def described(self, *, renamed: bool = False) -> bytes:
        """The station's description."""
        place = {"latitude": 44.05, "longitude": -90.03, "elevation": 300}
        told = {
            "id": STATION, "country": "US", "region": "", "name": {"en": "Brackenford Hill"},
            "where" if renamed else "location": place, "timezone": ZONE.key,
        }  # fmt: skip
        return json.dumps(told).encode()

    def ncei(self, year: int, now: datetime, *, ahead: int = 0, renamed: bool = False) -> bytes:
        """The neighbour's days: a little colder, and late."""
        last = now.astimezone(ZONE).date() - NCEI_LATE + ahead * DAY
        low, high = ("MIN", "MAX") if renamed else ("TMIN", "TMAX")
        rows = [
            {"DAY" if renamed else "DATE": day.isoformat(), "STATION": NEIGHBOUR,
             "PRCP": f"{self.neighbour('rain_mm', day):.1f}",
             low: f"{self.neighbour('air_min_c', day):.1f}", high: f"{self.neighbour('air_max_c', day):.1f}"}
            for day in _days(max(date(year, 1, 1), BEGINS), min(last, date(year, 12, 31)))
        ]  # fmt: skip
        return json.dumps(rows).encode()

    def neighbour(self, quantity: str, day: date) -> float:
        """What the neighbour measured."""
        return round(self.truth(quantity, day) - (0.0 if quantity == "rain_mm" else 0.4), 1)

    def _forecast_of(self, morning: date) -> Days:
        (issue,) = invented_forecasts("brackenford", self.days, [morning], self._seed)
        return issue.days

    def _coming(self, issued: datetime) -> Iterator[tuple[datetime, Json]]:
        """Hour by hour what is forecast: the sun's course between the minimum and the maximum that are told."""
        days = self._told(issued.astimezone(ZONE).date())
        for k in range(9 * 24):
            at = issued + k * HOUR
            local = at.astimezone(ZONE)
            if local.date() > days.last:
                return
            low, high, rain, cloud, wind = (
                float(days.of(n).at(local.date())) for n in ("air_min_c", "air_max_c", "rain_mm", "cloud", "wind_ms")
            )
            share = max(0.0, 1.0 - abs(local.hour - 15) / 10.0)
            air = low + (high - low) * share
            chance = float(days.rain_chance.at(local.date())) if hasattr(days.rain_chance, "at") else 0.3
            yield (
                at,
                {"air": air, "rain": max(rain, 0.0) / 24.0, "cloud": cloud, "wind": max(wind, 0.0), "chance": chance},
            )

    def met(self, now: datetime, *, renamed: bool = False, ahead: int = 0) -> bytes:
        """The forecast of MET Norway's form, issued some hours ago."""
        issued = _issued(now) + ahead * DAY
        steps = []
        for at, one in self._coming(issued):
            details = {
                "air_temperature": round(one["air"], 1), "relative_humidity": 80.0, "wind_speed": round(one["wind"], 1),
                "cloud_area_fraction": round(100 * one["cloud"], 1),
                "dew_point_temperature": round(one["air"] - 3.0, 1),
            }  # fmt: skip
            hour = {"details": {"precipitation_amount": round(one["rain"], 2)}, "summary": {"symbol_code": "cloudy"}}
            steps.append({"time": _z(at), "data": {"instant": {"details": details}, "next_1_hours": hour}})
        units = {
            "air_temperature": "celsius", "relative_humidity": "%", "wind_speed": "m/s",
            "cloud_area_fraction": "%", "precipitation_amount": "mm", "dew_point_temperature": "celsius",
        }  # fmt: skip
        meta = {"updated_at": _z(issued), "units": units}
        told = {"meta": meta, "steps" if renamed else "timeseries": steps}
        return json.dumps({"type": "Feature", "properties": told}).encode()

    def grid(self, now: datetime, *, renamed: bool = False, ahead: int = 0) -> bytes:
        """The same of the US service's form."""
        issued = _issued(now) + ahead * DAY
        layers: dict[str, list[tuple[str, float]]] = {}
        for at, one in self._coming(issued):
            when = f"{at:%Y-%m-%dT%H:%M:%S}+00:00/PT1H"
            for name, value in (
                ("temperature", one["air"]), ("dewpoint", one["air"] - 3.0), ("relativeHumidity", 80.0),
                ("skyCover", 100 * one["cloud"]), ("windSpeed", 3.6 * one["wind"]),
                ("quantitativePrecipitation", one["rain"]), ("probabilityOfPrecipitation", 30.0),
            ):  # fmt: skip
                layers.setdefault(name, []).append((when, round(value, 2)))
        units = {
            "temperature": "degC", "dewpoint": "degC", "relativeHumidity": "percent", "skyCover": "percent",
            "windSpeed": "km_h-1", "quantitativePrecipitation": "mm", "probabilityOfPrecipitation": "percent",
        }  # fmt: skip
        told: Json = {
            name: {"uom": f"wmoUnit:{units[name]}", "values": [{"validTime": w, "value": v} for w, v in values]}
            for name, values in layers.items()
        }
        if renamed:
            told["temp"] = told.pop("temperature")
        told |= {"updateTime": _z(issued)} | {
            name: {"values": []} for name in ("windGust", "minTemperature", "maxTemperature")
        }
        return json.dumps({"type": "Feature", "properties": told}).encode()


def points(address: str, *, renamed: bool = False) -> bytes:
    """Where the US service has the grid of the place."""
    name = "gridData" if renamed else "forecastGridData"
    return json.dumps({"properties": {name: f"{address}/grid"}}).encode()


def _issued(now: datetime) -> datetime:
    """Forecasts are renewed each six hours, and come two hours later."""
    at = (now.astimezone(UTC) - 2 * HOUR).replace(minute=0, second=0, microsecond=0)
    return at - timedelta(hours=at.hour % 6)


def _z(at: datetime) -> str:
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _days(first: date, last: date) -> Iterator[date]:
    return (first + k * DAY for k in range((last - first).days + 1))
