"""The garden's own nights: how clear and calm, what a minimum thermometer taught, and the coming leaf minima."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray

from haulm.beds.forcing import days_of_year
from haulm.beds.memo import Memo
from haulm.condition import Night
from haulm.garden import Entry, Journal, Place, What
from haulm.science.climatology import MeanYear, fit_mean_year, mean_year_at
from haulm.science.forecast_skill import Outlook
from haulm.science.leaf_night import GardenNight, Sky, clear_and_calm, garden_night, leaf_minimum, night_sky
from haulm.science.sun import daylight_hours
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, Daily, Days, FloatArray, Mark, NightPast, NightsRead, Timeline

LEAST_RANGE_C = 3.0  # judgement: a smaller usual range tells nothing of clouds
PAST_NIGHTS = 5  # last night, and four more for stations whose days come late
NAN = float("nan")
LOOKED_BACK_DAYS = 3 * 366  # a garden changes: older readings are left aside (judgement)


@dataclass(frozen=True, slots=True, eq=False)
class GardenNights:
    """What turns a station's night into the garden's.

    Attributes
    ----------
    learned
        How much colder the garden is.
    usual_range_c
        The place's mean year of the day's range, as `day_range_c` measures it; NaN where the record is short.
    read
        For the letter: the same, and the readings it rests on.
    """

    learned: GardenNight
    usual_range_c: MeanYear
    read: NightsRead


def garden_nights(
    timeline: Timeline, journal: Journal, place: Place, thresholds: Thresholds, memo: Memo | None = None
) -> GardenNights:
    """The garden's offset as the settings have it, brought up to date by nights read in the garden.

    Parameters
    ----------
    journal
        What stands in it this morning (`Journal.known`). A reading belongs to the night that ends on its day.
    """
    usual = usual_range(timeline, memo or Memo())
    entries = [entry for entry in _readings(journal) if np.isfinite(_station_c(entry.day, timeline))]
    at = np.array([(entry.day - timeline.days.first).days for entry in entries], dtype=np.int64)
    colder = np.array([_station_c(entry.day, timeline) - float(entry.value or 0.0) for entry in entries])
    then = _skies_then(timeline, usual, at) if entries else None
    learned = garden_night(place.clear_night_offset_c + thresholds.frost.straw_term_c, colder, then)
    wild = tuple((entries[k].day, float(entries[k].value or 0.0)) for k in np.flatnonzero(learned.questioned))
    clear, other = learned.mean_c
    return GardenNights(learned, usual, NightsRead(float(clear), float(other), len(entries) - len(wild), wild))


def skies_of(of: Callable[[str], FloatArray], day_of_year: FloatArray, usual_range_c: MeanYear) -> Sky:
    """How clear and calm each night was or will be, named by the day it ends on.

    Parameters
    ----------
    of
        Gives a quantity by its name in `Days`, (..., nights); consecutive nights along the last axis.
    """
    usual = mean_year_at(usual_range_c, day_of_year)
    ratio = day_range_c(of("air_min_c"), of("air_max_c")) / np.where(usual >= LEAST_RANGE_C, usual, np.nan)
    return night_sky(of("cloud"), of("wind_ms"), of("dew_point_c"), ratio)


def skies(days: Days, usual_range_c: MeanYear) -> Sky:
    """How clear and calm each night of a run of days is."""
    return skies_of(lambda name: days.of(name).values, days_of_year(days.first, len(days)), usual_range_c)


def day_range_c(air_min_c: FloatArray, air_max_c: FloatArray) -> FloatArray:
    """From the mean of the maxima before and after a night down to its minimum [°C], (..., nights)."""
    before = np.concatenate([np.full_like(air_max_c[..., :1], np.nan), air_max_c[..., :-1]], axis=-1)
    both = np.stack([before, air_max_c])
    known = np.isfinite(both)
    mean = np.where(known, both, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    return np.where(known.any(axis=0), mean - air_min_c, np.nan)


def coming_nights(days: Days, air: Outlook, garden: GardenNights) -> tuple[Night, ...]:
    """Each night of a run of days at leaf height.

    Parameters
    ----------
    days
        The first is there for its maximum only: it tells of the evening before the first night.
    air
        Screen minima to expect of the days after the first, (days - 1, 1): see `plainly` and `GradedMinima.expect`.
    """
    sky, calm = skies(days, garden.usual_range_c), clear_and_calm(days.cloud, days.wind_ms)
    sky = Sky(sky.share[1:], sky.doubt[1:], sky.dry[1:])
    leaf, spread = leaf_minimum(air.mean_c[:, 0], air.spread_c[:, 0], sky, garden.learned)
    return tuple(
        Night(
            morning=days.first + (i + 1) * DAY,
            air_c=float(days.air_min_c[i + 1]),
            leaf_c=float(leaf[i]),
            spread_c=float(spread[i]),
            still_and_clear=None if np.isnan(calm[i + 1]) else bool(calm[i + 1] > 0.5),
            clear_chance=float(sky.share[i]),
            errors_c=tuple(air.errors_c[i, 0].tolist()),
            likely_air_c=float(air.mean_c[i, 0]),
        )
        for i in range(len(days) - 1)
    )


def leaf_seen_c(timeline: Timeline, garden: GardenNights) -> Daily:
    """How cold leaves in the garden got in each past night, by the station's minimum and what is known of its sky.

    NaN where no minimum was observed. An estimate too: no thermometer hung among the leaves.
    """
    days, seen = timeline.days, timeline.air_mark == Mark.OBSERVED
    leaf, _ = leaf_minimum(days.air_min_c, 0.0, skies(days, garden.usual_range_c), garden.learned)
    return Daily(days.first, np.where(seen, leaf, np.nan))


def plainly(air_min_c: FloatArray, air_spread_c: FloatArray) -> Outlook:
    """Screen minima with normal errors of a known spread, (nights,), for `coming_nights`."""
    return Outlook(air_min_c[:, None], air_spread_c[:, None], np.zeros((len(air_min_c), 1, 1)))


def past_nights(timeline: Timeline, garden: GardenNights, journal: Journal, place: Place) -> tuple[NightPast, ...]:
    """The nights just over, oldest first, as far as the station told of them."""
    first = timeline.today - (PAST_NIGHTS - 1) * DAY
    days = timeline.days.cut(first - DAY, timeline.today)
    measured = [(first + k * DAY, _station_c(first + k * DAY, timeline), True) for k in range(PAST_NIGHTS - 1)]
    hours = timeline.last_night
    if hours is not None:
        measured.append((timeline.today, hours.lowest_c, hours.until >= _warming(timeline.today, place)))
    sky = skies(days, garden.usual_range_c)
    leaf_c, _ = leaf_minimum(np.zeros(len(days)), 0.0, sky, garden.learned)
    read = {entry.day: float(entry.value or 0.0) for entry in _readings(journal)}
    wild = {day for day, _ in garden.read.questioned_c}
    return tuple(
        NightPast(
            morning, air_c, air_c + float(leaf_c[(morning - days.first).days]),
            NAN if morning in wild else read.get(morning, NAN), whole,
        )
        for morning, air_c, whole in measured
        if np.isfinite(air_c)
    )  # fmt: skip


def _warming(day: date, place: Place) -> datetime:
    """When the air has begun to warm: an hour after sunrise, and half an hour for the sun's uneven clock."""
    daylight = float(daylight_hours(place.latitude_deg, day.timetuple().tm_yday))
    after_midnight = 12.0 - daylight / 2.0 - place.longitude_deg / 15.0 + 1.5
    return datetime.combine(day, time(), UTC) + timedelta(hours=after_midnight)


def _readings(journal: Journal) -> list[Entry]:
    return [entry for entry in journal.entries if entry.what is What.NIGHT_READ and entry.value is not None]


def _station_c(day: date, timeline: Timeline) -> float:
    """The station's minimum of a past day, where it was observed and is not too old."""
    at = (day - timeline.days.first).days
    if not max(timeline.today_index - LOOKED_BACK_DAYS, 0) <= at < timeline.today_index:
        return float("nan")
    return float(timeline.days.air_min_c[at]) if timeline.air_mark[at] == Mark.OBSERVED else float("nan")


def _skies_then(timeline: Timeline, usual_range_c: MeanYear, at: NDArray[np.int64]) -> Sky:
    """The nights that were read, by their places in the timeline."""
    begins = max(int(at.min(initial=timeline.today_index)) - 1, 0)  # a day before, for its maximum
    sky = skies(timeline.days.cut(timeline.days.first + begins * DAY, timeline.today - DAY), usual_range_c)
    return Sky(sky.share[at - begins], sky.doubt[at - begins], sky.dry[at - begins])


def usual_range(timeline: Timeline, memo: Memo) -> MeanYear:
    """Mean year of the day's range, of days up to the last New Year where they show the year whole, else of all."""
    first = timeline.days.first
    seen = timeline.air_mark == Mark.OBSERVED
    low, high = (np.where(seen, v, np.nan) for v in (timeline.days.air_min_c, timeline.days.air_max_c))

    def fitted(count: int) -> MeanYear:
        range_c = day_range_c(low[:count], high[:count])
        return fit_mean_year(days_of_year(first, count), range_c)

    before = max((date(timeline.today.year, 1, 1) - first).days, 0)
    usual = memo.kept("usual range", (first, low[:before], high[:before]), lambda: fitted(before))
    return usual if np.isfinite(usual.coefficients).all() else fitted(len(low))
