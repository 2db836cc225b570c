"""Weather without holes: what a morning knows, the place's mean year where it knows nothing, and its own years ahead.

Rows are ways the weather may go: row 0 is the forecast and then the mean year; each further row is the forecast
and then one of the place's own past years.
"""

from calendar import isleap
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from haulm.beds.memo import Memo
from haulm.science.climatology import MeanYear, fit_mean_year, mean_year_at
from haulm.science.frost import spread_by_lead_c
from haulm.weather import DAY, FloatArray, Mark, Timeline

FEWEST_DAYS_OF_RAIN, USUAL_RAIN_MM = 330, 2.0  # judgement: before a mean of the place's own rain is worth taking
FEWEST_DAYS_OF_AN_OWN_YEAR = 0.9  # judgement: a past year with more unknown days than this is left out
SPREAD_OF_UNKNOWN_C = 4.0  # judgement: day-to-day spread of the air about the mean year of its day
SPREAD_OF_FILLED_C = 1.5  # judgement: a filled or bridged day beside an observed one
VALUES = ("air_min_c", "air_max_c", "rain_mm")
YEAR_DAYS = 365  # the least a year has
LONGEST_OUTLOOK_DAYS = 240  # as far ahead as a season's question goes


@dataclass(frozen=True, slots=True)
class PlaceMean:
    """What the settings say of the place's mean year, for a record too short to tell; None is not told."""

    air_c: float | None = None
    half_range_c: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Climate:
    """The place's mean year of daily minimum, maximum and rain, and how many whole years it rests on."""

    air_min: MeanYear
    air_max: MeanYear
    rain_mm: float
    years: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Forcing:
    """Weather for the science, rows × days, no holes. `rain_known` and `air_spread_c` are one row for all."""

    first: date
    air_min_c: FloatArray
    air_max_c: FloatArray
    rain_mm: FloatArray
    rain_known: NDArray[np.bool_]
    air_spread_c: FloatArray

    @property
    def days(self) -> int:
        """How many days."""
        return int(self.air_min_c.shape[1])

    @property
    def last(self) -> date:
        """The last day."""
        return self.first + timedelta(days=self.days - 1)

    @property
    def day_of_year(self) -> FloatArray:
        """Day of the year of each day, from 1."""
        return days_of_year(self.first, self.days)

    def since(self, day: date) -> "Forcing":
        """The same weather from a day on."""
        return self.part(slice(max((day - self.first).days, 0), None))

    def part(self, days: slice) -> "Forcing":
        """The same weather on some of its days, by their places."""
        return Forcing(
            self.first + (days.start or 0) * DAY,
            self.air_min_c[:, days],
            self.air_max_c[:, days],
            self.rain_mm[:, days],
            self.rain_known[days],
            self.air_spread_c[days],
        )

    def by(self, ways: NDArray[np.int64]) -> "Forcing":
        """Some of its ways, by their places; one may come more than once."""
        return replace(self, **{name: getattr(self, name)[ways] for name in VALUES})

    def with_rain(self, read_mm: FloatArray) -> "Forcing":
        """The same weather with the rain that the grower read; NaN leaves the day as it is."""
        read = np.isfinite(read_mm)
        return replace(self, rain_mm=np.where(read, read_mm, self.rain_mm), rain_known=self.rain_known | read)


def days_of_year(first: date, count: int) -> FloatArray:
    """Day of the year, from 1, of a run of days; not to be written into."""
    before = first.timetuple().tm_yday - 1
    return _days_of_years(first.year, 1 + (before + count) // YEAR_DAYS)[before : before + count]


@lru_cache(maxsize=64)
def _days_of_years(year: int, years: int) -> FloatArray:
    """Those of some whole years on end, kept for the next to ask."""
    lengths = (YEAR_DAYS + isleap(each) for each in range(year, year + years))
    numbers = np.concatenate([np.arange(1.0, length + 1.0) for length in lengths])
    numbers.setflags(write=False)
    return numbers


def climate_of(timeline: Timeline, told: PlaceMean, latitude_deg: float, memo: Memo | None = None) -> Climate:
    """The place's mean year from the days observed, else from what the settings tell, else a guess by latitude.

    It rests on the days up to the last New Year where they show the year whole, so that each season weighs the same
    and the mean year stays the same for a year; else on all days there are.
    """
    first, year = timeline.days.first, timeline.today.year
    before = _seen(timeline, date(year, 1, 1) - DAY)
    climate = (memo or Memo()).kept("climate", (first, *before, year), lambda: _fitted(first, *before, year))
    if _whole_year(climate):
        return climate
    all_days = _seen(timeline, timeline.today - DAY)
    climate = _fitted(first, *all_days, year)
    if _whole_year(climate):
        return climate
    lowest, highest = _guessed_year(told, latitude_deg, *all_days[:2])
    return replace(climate, air_min=lowest, air_max=highest)


def _seen(timeline: Timeline, last: date) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Observed minima and maxima, and rain, from the record's first day to another; NaN where not observed."""
    count = max((last - timeline.days.first).days + 1, 0)
    seen = timeline.air_mark[:count] >= Mark.OBSERVED
    low, high = (np.where(seen, v[:count], np.nan) for v in (timeline.days.air_min_c, timeline.days.air_max_c))
    return low, high, timeline.days.rain_mm[:count]


def _fitted(first: date, air_min: FloatArray, air_max: FloatArray, rain_mm: FloatArray, year: int) -> Climate:
    """What days seen before or in a calendar year tell; NaN where they are too few."""
    day_of_year = days_of_year(first, len(air_min))
    known = np.isfinite(air_min) & np.isfinite(air_max)
    rain = rain_mm[np.isfinite(rain_mm)]
    mean_rain_mm = float(rain.mean()) if rain.size >= FEWEST_DAYS_OF_RAIN else USUAL_RAIN_MM
    lowest, highest = fit_mean_year(day_of_year, air_min), fit_mean_year(day_of_year, air_max)
    return Climate(lowest, highest, mean_rain_mm, _whole_years(first, known, year))


def _whole_year(climate: Climate) -> bool:
    return bool(np.isfinite([*climate.air_min.coefficients, *climate.air_max.coefficients]).all())


def _guessed_year(
    told: PlaceMean, latitude_deg: float, air_min: FloatArray, air_max: FloatArray
) -> tuple[MeanYear, MeanYear]:
    """A plain annual wave, coldest in late January (July south of the equator); judgement, said in the letter."""
    middle = (air_min + air_max) / 2.0
    seen = middle[np.isfinite(middle)]
    mean_c = told.air_c if told.air_c is not None else float(seen.mean()) if seen.size else 10.0
    half_c = told.half_range_c if told.half_range_c is not None else min(0.25 * abs(latitude_deg), 18.0)
    day = np.arange(1.0, 366.0)
    coldest = 25.0 if latitude_deg >= 0 else 207.0
    wave = mean_c - half_c * np.cos(2.0 * np.pi * (day - coldest) / 365.25)
    return fit_mean_year(day, wave - 5.0), fit_mean_year(day, wave + 5.0)


def _whole_years(first: date, known: NDArray[np.bool_], this_year: int) -> tuple[int, ...]:
    """Past years of which enough days are known."""
    found = []
    for year in range(first.year, this_year):
        start = (date(year, 1, 1) - first).days
        stop = (date(year + 1, 1, 1) - first).days
        if start >= 0 and known[start:stop].mean() >= FEWEST_DAYS_OF_AN_OWN_YEAR:
            found.append(year)
    return tuple(found)


def past(timeline: Timeline, climate: Climate, first: date) -> Forcing:
    """From a first day to yesterday, one row; unknown days follow the mean year."""
    count = (timeline.today - first).days
    start = (first - timeline.days.first).days
    marks = np.full(count, Mark.UNKNOWN, dtype=np.int8)
    held = timeline.air_mark[max(start, 0) : timeline.today_index]
    if len(held):
        marks[count - len(held) :] = held
    spread = np.select([marks == Mark.OBSERVED, marks >= Mark.BRIDGED], [0.0, SPREAD_OF_FILLED_C], SPREAD_OF_UNKNOWN_C)
    return _whole(first, climate, _values(timeline, first, timeline.today - DAY), spread)


def ahead(timeline: Timeline, climate: Climate, *, own_years: bool, count: int = LONGEST_OUTLOOK_DAYS) -> Forcing:
    """From today on: the forecast, then the mean year (row 0) and, where asked, each own year (further rows)."""
    today = timeline.today
    given = _values(timeline, today, today + timedelta(days=count - 1))
    known = np.isfinite(given[0]) & np.isfinite(given[1])
    leads = np.arange(1.0, count + 1.0)
    spread = np.where(known, spread_by_lead_c(leads), SPREAD_OF_UNKNOWN_C)
    base = _whole(today, climate, given, spread)
    if not own_years or not climate.years:
        return base
    years = [_own_year(timeline, today, year, count) for year in climate.years]
    low, high, rain = (np.stack([getattr(base, name)[0], *_over(base, name, years, known)]) for name in VALUES)
    return replace(base, air_min_c=low, air_max_c=high, rain_mm=rain)


def _values(timeline: Timeline, first: date, last: date) -> tuple[FloatArray, FloatArray, FloatArray]:
    low, high, rain = (timeline.days.of(name).between(first, last) for name in VALUES)
    return low, high, rain


def _over(base: Forcing, name: str, years: list[dict[str, FloatArray]], known: NDArray[np.bool_]) -> list[FloatArray]:
    """Each own year under the forecast, and the mean year where the own year has a hole."""
    mean_year = getattr(base, name)[0]
    return [np.where(known | ~np.isfinite(year[name]), mean_year, year[name]) for year in years]


def _own_year(timeline: Timeline, today: date, year: int, count: int) -> dict[str, FloatArray]:
    start = same_day(today, year)
    last = start + timedelta(days=count - 1)
    lived = np.arange(count) < (timeline.today - start).days  # what lies beyond yesterday is not that year's weather
    return {name: np.where(lived, timeline.days.of(name).between(start, last), np.nan) for name in VALUES}


def same_day(day: date, year: int) -> date:
    """The same day of another year; 29 February is the 28th there."""
    return day.replace(year=year, day=28) if (day.month, day.day) == (2, 29) else day.replace(year=year)


def _whole(
    first: date, climate: Climate, values: tuple[FloatArray, FloatArray, FloatArray], spread: FloatArray
) -> Forcing:
    air_min, air_max, rain = values
    rain_known = np.isfinite(rain)
    return Forcing(
        first,
        _else_usual(first, air_min, climate.air_min)[None, :],
        _else_usual(first, air_max, climate.air_max)[None, :],
        np.where(rain_known, rain, climate.rain_mm)[None, :],
        rain_known,
        spread,
    )


def _else_usual(first: date, values: FloatArray, mean_year: MeanYear) -> FloatArray:
    known = np.isfinite(values)
    return values if known.all() else np.where(known, values, mean_year_at(mean_year, days_of_year(first, len(values))))
