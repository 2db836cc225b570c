"""Reference evapotranspiration of the place's days, each by the best way that what is known of it allows."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haulm.bed_water import EtoWay
from haulm.beds.forcing import SPREAD_OF_UNKNOWN_C, Climate, Forcing
from haulm.garden import Place
from haulm.science import evapotranspiration as et
from haulm.science.climatology import mean_year_at
from haulm.science.sun import top_radiation_mj
from haulm.science.water_balance import POTATO_HEIGHT_M, climate_adjusted_kc
from haulm.weather import Daily, Days, FloatArray, Timeline

STATION_WIND_M = 10.0  # stations and forecasts tell the wind of 10 m (common practice of weather services)
# FAO-56 annex 6 (from memory): in dry places the dew point lies 2 to 3 °C below the minimum. Measured against mean
# humidity at 78 USCRN stations, April to September: it lies 5 °C and more below where rain is under three tenths of
# evaporation, but for two stations near the sea, and about the minimum elsewhere.
DRY_RAIN_SHARE, DRY_DEW_LOWER_C = 0.3, 2.5
TABLES_HUMIDITY_PCT = 45.0  # FAO-56 Table 12: least humidity of the day that its coefficients are for
CLIMATE_DAYS = 30  # judgement: eq 62 asks for means over a stage of the crop
YEAR_DAYS = 365
WAYS = tuple(EtoWay)


@dataclass(frozen=True, slots=True, eq=False)
class Evaporation:
    """Reference evapotranspiration a day, and the position in `WAYS` of the way it was found.

    `kc_moved` is by how much the climate of the last weeks moves the coefficient of a crop in full leaf (FAO-56 eq 62).
    """

    eto_mm: Daily
    way: NDArray[np.int8]
    kc_moved: Daily

    def ways(self, count: int, before: int) -> tuple[EtoWay, ...]:
        """The ways of the last `count` of the first `before` days."""
        return tuple(WAYS[way] for way in self.way[max(before - count, 0) : before])


def evaporation_of(timeline: Timeline, place: Place, past: Forcing, ahead: Forcing, *, dry: bool) -> Evaporation:
    """From the first day of `past` to the last of `ahead`, by the first way ahead.

    Penman-Monteith where the day's air is known: with humidity (or dew point) and wind as they are known, else with
    the dew point from the minimum and the usual wind (FAO-56 ch. 3). Where the mean year stands in for the air,
    Hargreaves. At 78 USCRN stations with humidity withheld, means of seven days came within 0.38 mm a day by the
    first rule and 0.50 by Hargreaves of those with humidity, the wind being taken as usual in all.
    """
    low, high = (
        np.concatenate([getattr(past, name)[0], getattr(ahead, name)[0]]) for name in ("air_min_c", "air_max_c")
    )
    day_of_year = np.concatenate([past.day_of_year, ahead.day_of_year])
    top_mj = top_radiation_mj(place.latitude_deg, day_of_year)
    air_known = np.concatenate([past.air_spread_c, ahead.air_spread_c]) < SPREAD_OF_UNKNOWN_C
    days = timeline.days.cut(past.first, ahead.last)
    vapour = known = _vapour_kpa(days, low, high)
    wind = et.wind_at_2m_ms(days.wind_ms, STATION_WIND_M)
    whole = np.isfinite(vapour) & np.isfinite(wind)
    lower_c = DRY_DEW_LOWER_C if dry else 0.0
    vapour = np.where(np.isfinite(vapour), vapour, et.vapour_from_minimum_kpa(low, lower_c))
    wind = np.where(np.isfinite(wind), wind, et.DEFAULT_WIND_MS)
    best = et.grass_et_mm(low, high, vapour, wind, top_mj, place.elevation_m)
    eto_mm = np.where(air_known, best, et.hargreaves_et_mm(low, high, top_mj))
    way = np.select(
        [air_known & whole, air_known],
        [WAYS.index(EtoWay.WHOLE), WAYS.index(EtoWay.BY_RULE)],
        WAYS.index(EtoWay.MEAN_YEAR),
    )
    moved = _kc_moved(100.0 * known / et.saturation_vapour_kpa(high), wind)
    return Evaporation(Daily(past.first, eto_mm), way.astype(np.int8), Daily(past.first, moved))


def _kc_moved(humidity_min_pct: FloatArray, wind_ms: FloatArray) -> FloatArray:
    """FAO-56 eq 62 by means of the last weeks; what is not known counts as in the tables' climate, 2 m/s and 45 %."""
    wind = _mean_of_last_weeks(np.where(np.isfinite(wind_ms), wind_ms, et.DEFAULT_WIND_MS))
    humidity = _mean_of_last_weeks(np.where(np.isfinite(humidity_min_pct), humidity_min_pct, TABLES_HUMIDITY_PCT))
    return climate_adjusted_kc(0.0, wind, humidity, POTATO_HEIGHT_M)


def _mean_of_last_weeks(values: FloatArray) -> FloatArray:
    total = np.concatenate([[0.0], np.cumsum(values)])
    at = np.arange(1, len(values) + 1)
    begin = np.maximum(at - CLIMATE_DAYS, 0)
    return np.asarray((total[at] - total[begin]) / (at - begin))


def _vapour_kpa(days: Days, low: FloatArray, high: FloatArray) -> FloatArray:
    """From the dew point where it is known, else from the humidity, else NaN."""
    from_humidity = et.vapour_from_mean_humidity_kpa(low, high, days.humidity_pct)
    return np.where(np.isfinite(days.dew_point_c), et.vapour_from_dew_point_kpa(days.dew_point_c), from_humidity)


def is_dry(place: Place, climate: Climate) -> bool:
    """Whether the place has so little rain that its air holds less than the night's low tells."""
    day = np.arange(1.0, YEAR_DAYS + 1.0)
    low, high = mean_year_at(climate.air_min, day), mean_year_at(climate.air_max, day)
    year_mm = et.hargreaves_et_mm(low, high, top_radiation_mj(place.latitude_deg, day)).sum()
    return bool(climate.rain_mm * YEAR_DAYS < DRY_RAIN_SHARE * year_mm)
