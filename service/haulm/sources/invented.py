"""Invented weather for the two demo places: no station measured it, and every letter made from it says so.

A date's weather depends on the place, the date and the seed alone, never on the range asked for: each calendar year has
its own random numbers, and the memory of the weather (spells of warmth, wet after wet) enters it from the year before,
run from the same numbers each time. So one invented year can be looked at on any of its days.

All climate figures here are judgement: plausible for such a valley or hill, copied from no station.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray

from haulm.sources.forecast_error import FORECAST_DAYS, Usual, dew_point, errors, news, told
from haulm.weather import QUANTITIES, Days, FloatArray, Forecast, Origin, Record, unknown_days

Mask = NDArray[np.bool_]

YEAR_DAYS = 366  # every year draws numbers for a leap day, so that it moves no other day's
WARM_UP_DAYS = 365
# Share of an air mass that is still there a day later, and of a warm or cold spell of weeks.
AIR_MASS_STAYS, SPELL_STAYS = 0.70, 0.97
FRONT_CHANCE = 0.12
USUAL_DELAY = timedelta(hours=4)
ATTRIBUTION = "This weather is invented: drawn by a program, measured nowhere."
_CHANNELS = 9

ISSUE_TIME = time(3, tzinfo=UTC)
# Standard error of the night minimum for today and the nine days after it, °C. The first is near the 1.34 that 86.5 %
# of first nights within 2 °C imply (Met Office, accuracy of its forecasts); the rest is a plausible ramp, from memory.
ERROR_C = np.array([1.3, 1.5, 1.75, 2.0, 2.3, 2.6, 2.85, 3.05, 3.2, 3.3])


@dataclass(frozen=True, slots=True)
class Swing:
    """A quantity that swings once a year between its winter and its summer value."""

    winter: float
    summer: float

    def on(self, warmth: FloatArray) -> FloatArray:
        """The value where `warmth` runs from 0 (the coldest day of the year) to 1 (the warmest)."""
        return self.winter + (self.summer - self.winter) * warmth


@dataclass(frozen=True, slots=True)
class Climate:
    """What a place's weather is like, in the coldest and in the warmest weeks.

    `mean_c` is the day's mean, `range_c` the day's range under a half clouded sky, `mass_c` and `spell_c` the standard
    deviations of the changes from day to day and of spells of weeks, `front_c` the cooling by a front.
    `wet_after_dry` and `wet_after_wet` are chances, `rain_mm` the mean of a wet day. `dry_cloud` is the mean
    cloud of a dry day, `humidity_pct` the mean of one with half the sky clouded.
    """

    coldest_day: int
    mean_c: Swing
    range_c: Swing
    mass_c: Swing
    spell_c: float
    front_c: Swing
    wet_after_dry: Swing
    wet_after_wet: Swing
    rain_mm: Swing
    dry_cloud: Swing
    humidity_pct: Swing
    wind_ms: Swing

    def warmth(self, day_of_year: FloatArray) -> FloatArray:
        """Where each day of the year stands between the coldest (0) and the warmest (1)."""
        return 0.5 - 0.5 * np.cos(2.0 * np.pi * (day_of_year - self.coldest_day) / 365.25)

    def wet_share(self, warmth: FloatArray) -> FloatArray:
        """The share of wet days that the two chances lead to in the long run."""
        dry, wet = self.wet_after_dry.on(warmth), self.wet_after_wet.on(warmth)
        return dry / (1.0 + dry - wet)


@dataclass(frozen=True, slots=True)
class InventedPlace:
    """A place of the demo. Its position gives it a sun and a zone; no station stands there.

    `number` makes the weather of one seed different in each place.
    """

    key: str
    number: int
    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    zone: str
    climate: Climate

    @property
    def origin(self) -> Origin:
        """Says of the record that it is invented."""
        return Origin("invented", f"the invented station at {self.name}", ATTRIBUTION, 0.0, 0.0)


BRACKENFORD = InventedPlace(
    key="brackenford",
    number=1,
    name="Brackenford",
    latitude_deg=52.5,
    longitude_deg=-3.0,
    elevation_m=230.0,
    zone="Europe/London",
    climate=Climate(
        coldest_day=30,
        mean_c=Swing(0.6, 15.4),
        range_c=Swing(7.0, 12.2),
        mass_c=Swing(2.4, 1.5),
        spell_c=1.0,
        front_c=Swing(2.0, 2.0),
        wet_after_dry=Swing(0.30, 0.26),
        wet_after_wet=Swing(0.62, 0.54),
        rain_mm=Swing(4.3, 5.2),
        dry_cloud=Swing(0.55, 0.42),
        humidity_pct=Swing(86.0, 74.0),
        wind_ms=Swing(4.2, 2.9),
    ),
)
SALLOW_WELLS = InventedPlace(
    key="sallow-wells",
    number=2,
    name="Sallow Wells",
    latitude_deg=34.0,
    longitude_deg=-114.0,
    elevation_m=160.0,
    zone="America/Phoenix",
    climate=Climate(
        coldest_day=8,
        mean_c=Swing(11.0, 31.0),
        range_c=Swing(12.0, 14.0),
        mass_c=Swing(1.9, 1.5),
        spell_c=0.9,
        front_c=Swing(2.0, 1.0),
        wet_after_dry=Swing(0.07, 0.02),
        wet_after_wet=Swing(0.40, 0.25),
        rain_mm=Swing(5.0, 5.0),
        dry_cloud=Swing(0.28, 0.12),
        humidity_pct=Swing(56.0, 34.0),
        wind_ms=Swing(2.2, 2.8),
    ),
)
INVENTED_PLACES: Mapping[str, InventedPlace] = {place.key: place for place in (BRACKENFORD, SALLOW_WELLS)}


def invented_record(place_key: str, first: date, last: date, seed: int) -> Record:
    """The invented weather of a place from one local day to another, both included.

    Parameters
    ----------
    place_key
        A key of `INVENTED_PLACES`.
    first, last
        Any days; the same day always has the same weather.
    seed
        Not negative.
    """
    place = INVENTED_PLACES[place_key]
    if last < first:
        return Record(place.origin, unknown_days(first, 0), np.empty(0), USUAL_DELAY)
    years = range(first.year, last.year + 1)
    table = _years(place, years, seed)
    kept = [table[:, row, : _length(year)] for row, year in enumerate(years)]
    whole = Days(date(years[0], 1, 1), **dict(zip(QUANTITIES, np.concatenate(kept, axis=1), strict=True)))
    days = whole.cut(first, last)
    return Record(place.origin, days, np.full(len(days), np.nan), USUAL_DELAY)


def _length(year: int) -> int:
    return (date(year + 1, 1, 1) - date(year, 1, 1)).days


def _years(place: InventedPlace, years: Sequence[int], seed: int) -> FloatArray:
    """Calendar years side by side: (quantity, year, day), each year 366 days long."""
    drawn = {year: _draw(place, year, seed) for year in range(years[0] - 1, years[-1] + 1)}
    noise = np.stack([_with_warm_up(drawn[year - 1], drawn[year], year) for year in years], axis=1)
    day_of_year: FloatArray = np.arange(1.0 - WARM_UP_DAYS, 1.0 + YEAR_DAYS)
    warmth = place.climate.warmth(day_of_year)
    table = _weather(place.climate, warmth, noise)
    return table[:, :, WARM_UP_DAYS:]


def _draw(place: InventedPlace, year: int, seed: int) -> FloatArray:
    """A year's own numbers, (channel, day): the first six standard normal, then two uniform, then gamma."""
    draw = np.random.default_rng([seed, place.number, year])
    normal = draw.standard_normal((_CHANNELS - 3, YEAR_DAYS))
    uniform = draw.random((2, YEAR_DAYS))
    # Shape below 1: many small falls, few large ones. Divided by it, the mean is 1.
    amount = draw.standard_gamma(0.75, (1, YEAR_DAYS)) / 0.75
    return np.concatenate([normal, uniform, amount])


def _with_warm_up(before: FloatArray, own: FloatArray, year: int) -> FloatArray:
    ended = _length(year - 1)
    return np.concatenate([before[:, ended - WARM_UP_DAYS : ended], own], axis=1)


def _weather(climate: Climate, warmth: FloatArray, noise: FloatArray) -> FloatArray:
    """The quantities of the vocabulary, in its order, from numbers drawn: (quantity, year, day)."""
    mass_n, spell_n, range_n, cloud_n, air_n, wind_n, wet_u, front_u, amount = noise
    front = front_u < FRONT_CHANCE
    wet = _wet(climate, warmth, wet_u, front)
    # Fronts cool at once and the air then warms slowly; their mean is given back, so that the climate keeps its mean.
    front_c = climate.front_c.on(warmth) * (FRONT_CHANCE - front)
    mass = _remembered(AIR_MASS_STAYS, climate.mass_c.on(warmth) * np.sqrt(1.0 - AIR_MASS_STAYS**2) * mass_n + front_c)
    spell = _remembered(SPELL_STAYS, climate.spell_c * np.sqrt(1.0 - SPELL_STAYS**2) * spell_n)
    cloud = _cloud(climate, warmth, wet, cloud_n)
    # A clouded sky keeps winter nights warm and summer days cool.
    mean = climate.mean_c.on(warmth) + mass + spell + (2.4 - 4.0 * warmth) * (cloud - 0.5)
    half = 0.5 * climate.range_c.on(warmth) * (1.35 - 0.7 * cloud) * np.exp(0.1 * range_n)
    rain = np.where(wet, np.maximum(climate.rain_mm.on(warmth) * amount, 0.2), 0.0)
    humidity = np.clip(climate.humidity_pct.on(warmth) + 22.0 * (cloud - 0.5) + 7.0 * wet + 5.0 * air_n, 8.0, 100.0)
    wind = climate.wind_ms.on(warmth) * np.exp(0.3 * wind_n - 0.05) * np.where(front, 1.5, 1.0)
    gust = wind * (1.7 + 0.1 * np.abs(wind_n)) + 2.0 * front
    columns = (mean - half, mean + half, rain, humidity, dew_point(mean, humidity), wind, gust)
    shown = [np.round(column, 1) for column in columns]
    return np.stack([*shown, np.round(cloud, 2), np.full_like(cloud, np.nan)])


def _remembered(stays: float, shocks: FloatArray) -> FloatArray:
    """A first-order autoregression along the days, from nothing: x[t] = stays * x[t-1] + shocks[t]."""
    values = np.empty_like(shocks)
    now = np.zeros(shocks.shape[0])
    for day in range(shocks.shape[1]):
        now = stays * now + shocks[:, day]
        values[:, day] = now
    return values


def _wet(climate: Climate, warmth: FloatArray, drawn: FloatArray, front: Mask) -> Mask:
    """Whether each day is wet: wet days keep company, and a front makes one likelier."""
    after_dry, after_wet = climate.wet_after_dry.on(warmth), climate.wet_after_wet.on(warmth)
    wet = np.zeros(drawn.shape, dtype=bool)
    now = np.zeros(drawn.shape[0], dtype=bool)
    for day in range(drawn.shape[1]):
        chance = np.where(now, after_wet[day], after_dry[day])
        # A front gives rain a second chance, the other days give that back (to within two hundredths).
        chance = np.where(front[:, day], 1.0 - (1.0 - chance) ** 2, chance * (1.0 - 0.12 * (1.0 - chance)))
        now = drawn[:, day] < chance
        wet[:, day] = now
    return wet


def _cloud(climate: Climate, warmth: FloatArray, wet: Mask, drawn: FloatArray) -> FloatArray:
    dry_mean = climate.dry_cloud.on(warmth)
    return np.clip(np.where(wet, 0.82 + 0.12 * drawn, dry_mean + 0.22 * drawn), 0.0, 1.0)


def invented_forecasts(place_key: str, truth: Days, mornings: Sequence[date], seed: int) -> tuple[Forecast, ...]:
    """What a forecaster would have said of invented weather at 03:00 UTC of each morning: that day and nine more.

    The error of a day is a sum of shocks, one for each morning still to come before it: it grows with the days
    ahead, a wrong forecast stays wrong until news comes, and the same news moves neighbouring days. The chance of rain
    is honest: of the days given 30 %, about 30 % are wet.

    Parameters
    ----------
    place_key
        A key of `INVENTED_PLACES`.
    truth
        The days of `invented_record`; a day that it does not hold is not forecast.
    mornings
        Local days, in any order.
    seed
        Not negative.
    """
    if not mornings:
        return ()
    place = INVENTED_PLACES[place_key]
    first = min(mornings)
    shocks, drawn = news((seed, place.number, 0), first, (max(mornings) - first).days + FORECAST_DAYS)
    starts = np.array([(morning - first).days for morning in mornings])
    guesses = drawn[starts[:, None] + np.arange(FORECAST_DAYS)]
    origin = Origin("invented", f"the invented forecast for {place.name}", ATTRIBUTION)
    return tuple(
        Forecast(origin, datetime.combine(morning, ISSUE_TIME), _told(place.climate, truth, morning, error, false))
        for morning, error, false in zip(mornings, errors(shocks, starts, ERROR_C), guesses, strict=True)
    )


def _told(climate: Climate, truth: Days, morning: date, error: FloatArray, drawn: FloatArray) -> Days:
    true = truth.cut(morning, morning + timedelta(days=FORECAST_DAYS - 1))
    warmth = climate.warmth(morning.timetuple().tm_yday + np.arange(float(FORECAST_DAYS)))
    usual = Usual(climate.wet_share(warmth), climate.rain_mm.on(warmth))
    return told(true, error, drawn, ERROR_C, usual)
