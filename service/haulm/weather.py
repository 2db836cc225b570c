"""The weather's side of the vocabulary: the record, forecasts as issued, and where each value came from."""

from dataclasses import dataclass, field, fields
from datetime import date, datetime, timedelta
from enum import IntEnum, StrEnum

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
MarkArray = NDArray[np.int8]
DAY, HOUR = timedelta(days=1), timedelta(hours=1)


class Mark(IntEnum):
    """How a value of one day came about, from the weakest up."""

    UNKNOWN = 0
    FORECAST = 1
    BRIDGED = 2
    FILLED = 3
    OBSERVED = 4


@dataclass(frozen=True, slots=True, eq=False)
class Daily:
    """One value a local day, without a break; NaN where it is not known."""

    first: date
    values: FloatArray

    @property
    def last(self) -> date:
        """The last local day held; the day before `first` when there is none."""
        return self.first + timedelta(days=len(self.values) - 1)

    def at(self, day: date) -> float:
        """The value of a day, NaN outside the run."""
        position = (day - self.first).days
        return float(self.values[position]) if 0 <= position < len(self.values) else float("nan")

    def between(self, first: date, last: date) -> FloatArray:
        """The values from one day to another, both included, with NaN for days outside the run."""
        start, stop = (first - self.first).days, (last - self.first).days + 1
        if 0 <= start <= stop <= len(self.values):
            return self.values[start:stop].copy()
        inside = self.values[max(start, 0) : max(stop, 0)]
        before, after = min(max(-start, 0), max(stop - start, 0)), max(stop - max(start, len(self.values)), 0)
        return np.concatenate([np.full(before, np.nan), inside, np.full(after, np.nan)])


@dataclass(frozen=True, slots=True, eq=False)
class Days:
    """What a run of local days was like, or is expected to be. All arrays have one length; NaN is not known.

    Temperatures in °C, rain in mm a day, humidity in %, speeds in m/s, cloud as a share of the sky (0 to 1),
    `rain_chance` the chance of rain as the forecaster gives it (0 to 1).
    """

    first: date
    air_min_c: FloatArray
    air_max_c: FloatArray
    rain_mm: FloatArray
    humidity_pct: FloatArray
    dew_point_c: FloatArray
    wind_ms: FloatArray
    gust_ms: FloatArray
    cloud: FloatArray
    rain_chance: FloatArray

    def __len__(self) -> int:
        return len(self.air_min_c)

    @property
    def last(self) -> date:
        """The last local day held; the day before `first` when there is none."""
        return self.first + timedelta(days=len(self) - 1)

    def of(self, quantity: str) -> Daily:
        """One quantity as a run of days."""
        return Daily(self.first, getattr(self, quantity))

    def cut(self, first: date, last: date) -> "Days":
        """These days from one day to another, both included; days not held are not known."""
        kept = {name: self.of(name).between(first, last) for name in QUANTITIES}
        return Days(first, **kept)


QUANTITIES = tuple(f.name for f in fields(Days) if f.name != "first")


def unknown_days(first: date, count: int, **known: FloatArray) -> Days:
    """Days of which only the named quantities are known."""
    blank = {name: np.full(count, np.nan) for name in QUANTITIES if name not in known}
    return Days(first, **blank, **known)


@dataclass(frozen=True, slots=True, eq=False)
class Hours:
    """Hour after hour without a break, from `first` (UTC, on the hour). All arrays have one length; NaN is not known.

    Temperatures in °C, humidity in %, speeds in m/s, cloud as a share of the sky (0 to 1), all at the hour.
    `rain_mm` falls in the hour that begins there; where only a longer period's rain is given, it is spread evenly.
    `rain_chance` (0 to 1) is that of the period the hour lies in. `span_hours` says for how long the values at an
    hour stand: 1 where they come hourly, 6 in the far part of a forecast (then the 5 hours after are NaN with
    a span of 0).
    """

    first: datetime
    air_c: FloatArray
    humidity_pct: FloatArray
    dew_point_c: FloatArray
    wind_ms: FloatArray
    gust_ms: FloatArray
    cloud: FloatArray
    rain_mm: FloatArray
    rain_chance: FloatArray
    span_hours: MarkArray

    def __len__(self) -> int:
        return len(self.air_c)

    def instant(self, position: int) -> datetime:
        """The instant (UTC) at which an hour begins."""
        return self.first + position * HOUR

    @property
    def end(self) -> datetime:
        """The instant (UTC) at which the last hour ends."""
        return self.instant(len(self))

    def part(self, start: int, stop: int) -> "Hours":
        """The hours from one position up to another, which is left out."""
        at = slice(max(start, 0), max(stop, start, 0))
        kept = {name: getattr(self, name)[at] for name in (*HOURLY, "span_hours")}
        return Hours(self.instant(at.start), **kept)

    def before(self, instant: datetime) -> "Hours":
        """The hours that are over at an instant."""
        return self.part(0, max((instant - self.first) // HOUR, 0))

    def since(self, instant: datetime) -> "Hours":
        """The hours that begin at an instant or later."""
        return self.part(min(max(-((self.first - instant) // HOUR), 0), len(self)), len(self))


HOURLY = tuple(f.name for f in fields(Hours) if f.name not in {"first", "span_hours"})


@dataclass(frozen=True, slots=True)
class Origin:
    """Where values came from and what their licence asks to be said."""

    key: str
    name: str
    attribution: str = ""
    distance_km: float | None = None
    height_difference_m: float | None = None


NOWHERE = Origin("none", "")  # of a timeline without any record


@dataclass(frozen=True, slots=True)
class LastNight:
    """The lowest hour since yesterday evening, at the station: `known_hours` tells how many hours told of it."""

    lowest_c: float
    until: datetime
    known_hours: int


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """Days as a station observed them: never a forecast, never a filled value.

    Attributes
    ----------
    days
        Observed values; NaN where the station gave none.
    received
        When each day's row reached us, seconds since 1970 UTC; NaN where that was not noted: then a day counts
        as received `usual_delay` after its local end.
    usual_delay
        How long after the end of a local day this source usually has it.
    lent
        Air temperatures of neighbours, moved by their mean difference, for days that this station lacks: filled
        values, never observed ones.
    last_night
        Of the night just past, where the station tells hours.
    hours
        Hour by hour as the station observed them, where it tells hours. They count as known from `hours_had` on, and
        at any earlier instant those that were over `usual_delay` before.
    """

    origin: Origin
    days: Days
    received: FloatArray
    usual_delay: timedelta
    lent: "Record | None" = None
    last_night: LastNight | None = None
    hours: Hours | None = None
    hours_had: datetime | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Forecast:
    """One issue of a forecast. `received` is None where it was not noted: then it counts from when it was issued.

    `hours` are those it was folded from, where they are held. They may begin before it was issued: hours of earlier
    issues that are past.
    """

    origin: Origin
    issued: datetime
    days: Days
    received: datetime | None = None
    hours: Hours | None = None

    @property
    def known_since(self) -> datetime:
        """The instant from which this issue may be used."""
        return self.received or self.issued


@dataclass(frozen=True, slots=True)
class NightsRead:
    """How much colder than the station leaves in the garden get, in °C: on clear, calm nights, and on all others.

    `readings` counts the night minima of the journal that taught it, `questioned_c` holds those (day, °C) that are too
    far from all else to be used.
    """

    clear_colder_c: float
    other_colder_c: float
    readings: int = 0
    questioned_c: tuple[tuple[date, float], ...] = ()


@dataclass(frozen=True, slots=True)
class NightPast:
    """One night that is over, named by the day it ended on.

    `air_c` is what the station measured, `leaf_c` the leaf's minimum by that and the kind of night, `read_c` what the
    garden's own thermometer said (NaN where it was not read). `whole` is False where more of the night was to come
    after the newest hour known.
    """

    morning: date
    air_c: float
    leaf_c: float
    read_c: float
    whole: bool


@dataclass(frozen=True, slots=True)
class ForecastsGraded:
    """How forecasts of the coming night's minimum turned out at the station, in °C.

    `nights` counts those graded; `too_warm_c` is the mean of forecast less measured, `spread_c` the standard deviation
    about it.
    """

    nights: int
    too_warm_c: float
    spread_c: float


class Gap(StrEnum):
    """A thing that a morning does not know, by name."""

    OBSERVATIONS_OLD = "observations old"
    NO_OBSERVATIONS = "no observations"
    NO_FORECAST = "no forecast"
    FORECAST_OLD = "forecast old"
    RAIN_UNKNOWN = "rain unknown"
    SHORT_RECORD = "short record"
    LONG_GAP = "long gap"


@dataclass(frozen=True, slots=True, eq=False)
class Timeline:
    """The weather as one morning knows it, without a break from the first day of the record to the end of the outlook.

    Days before `today` are observed, filled, bridged or unknown; `today` and later are forecast or unknown.

    Attributes
    ----------
    days
        The values, NaN where unknown.
    air_mark, rain_mark
        A `Mark` a day for the air temperatures and for the rain.
    today
        The local day of the morning.
    origin
        Where the observations came from.
    newest_observed
        The last local day with an observed air temperature; None if there is none.
    forecast_origin, forecast_issued
        Of the forecast in use; None without one.
    gaps
        What is not known, for the letter's last part.
    last_night
        The station's lowest hour of the night just past; None where it tells no hours.
    hours_seen, hours_ahead
        Hour by hour as observed, and as the forecast in use has them; None where neither tells hours. The latter may
        begin in the past, with what was forecast for hours that were not observed.
    """

    days: Days
    air_mark: MarkArray
    rain_mark: MarkArray
    today: date
    origin: Origin
    newest_observed: date | None
    usual_delay: timedelta
    forecast_origin: Origin | None = None
    forecast_issued: datetime | None = None
    gaps: tuple[Gap, ...] = field(default=())
    last_night: LastNight | None = None
    hours_seen: Hours | None = None
    hours_ahead: Hours | None = None

    @property
    def today_index(self) -> int:
        """Position of `today` in the arrays."""
        return (self.today - self.days.first).days

    @property
    def outlook(self) -> Days:
        """Today and the days after it."""
        return self.days.cut(self.today, self.days.last)


@dataclass(frozen=True, slots=True, eq=False)
class BlightWeather:
    """What hours say of the place's blight weather, a value a local day, from the first hours held to some days ahead.

    Attributes
    ----------
    hutton
        1 where a day does its half of the Hutton criteria, 0 where it does not, NaN where missing hours would tell.
    humid_hours, lowest_c, missing_hours
        Of the day's known hours: how many had 90 % humidity or more, and the lowest temperature; and how many lack.
    forecast_hours
        How many of the day's hours are known from a forecast alone.
    severity
        Wallin's severity value of the wet hours from noon to noon, on the day that it ends; NaN as for `hutton`.
    """

    hutton: Daily
    humid_hours: Daily
    lowest_c: Daily
    missing_hours: Daily
    forecast_hours: Daily
    severity: Daily
