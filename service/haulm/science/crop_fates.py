"""What would have become of a crop planted on each day of a record: its shoots, its nights, its warmth, its end.

Arrays have the days last, (days,) or (rows, days). A crop planted on day s grows from day s + 1 on.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haulm.science.development import CHITTED_LATE, CHITTED_LIKELY, early_emergence_share, late_emergence_share

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Mask = NDArray[np.bool_]

_ROUNDING = 1e-9  # 45 tenths of a tenth do not add up to one in binary


class Fate(IntEnum):
    """What became of a crop: the first thing that went wrong with it, in the order of its life."""

    NOT_KNOWN = -1
    GROWN = 0
    SOIL_COLD = 1
    SOIL_HOT = 2
    SHOOTS_FROZEN = 3
    NIGHTS_WARM = 4
    FROST_TOO_SOON = 5
    HEAT_TOO_SOON = 6
    TOO_SLOW = 7


@dataclass(frozen=True, slots=True)
class Needs:
    """What a crop wants of its weather; °C and days.

    Attributes
    ----------
    ready_c, ready_days, ahead_days
        The soil's mean over so many days before planting, and over so many from it on, is at least this.
    cold_c, cold_days
        So many days running below this, before the shoots, rot the seed.
    hot_c, hot_days
        The mean of the days before planting is at most this, and no more days than these are warmer before the shoots.
    night_c, forming_after_days, forming_days, cool_nights
        So many nights below this fall in the forming days, which begin so long after the shoots.
    heat_c, heat_days
        Soil at the tubers that is so warm in the mean of so many days since the shoots ends the crop.
    longest_days
        From planting to ripe, at the most.
    """

    ready_c: float
    ready_days: int
    ahead_days: int
    cold_c: float
    cold_days: int
    hot_c: float
    hot_days: int
    night_c: float
    forming_after_days: int
    forming_days: int
    cool_nights: int
    heat_c: float
    heat_days: int
    longest_days: int


@dataclass(frozen=True, slots=True, eq=False)
class Seasons:
    """The weather that crops live through, arrays of one shape, without holes.

    Attributes
    ----------
    bare_c, planted_c, grown_c
        Daily mean of the soil where seed lies [°C]: in the bed without straw, as it is from planting to the shoots,
        and under the straw of the grown crop.
    air_min_c
        Nights [°C].
    p_days
        Physiological days of each day.
    killing
        Nights that kill the shoots.
    """

    bare_c: FloatArray
    planted_c: FloatArray
    grown_c: FloatArray
    air_min_c: FloatArray
    p_days: FloatArray
    killing: Mask


@dataclass(frozen=True, slots=True, eq=False)
class Fates:
    """Of a crop planted on each day: every array in the shape of `Seasons`, those of warmth (needs, …, days).

    Attributes
    ----------
    fate
        A `Fate`, (needs, …, days).
    soil, shoots, nights, warmth
        Whether soil was right, the shoots escaped the frost, tubers formed, and (needs, …, days) the warmth came in
        time; each by itself, whatever else went wrong.
    early, late, ripe, end
        Days from planting to the shoots, early and late; to the warmth needed, (needs, …, days); and to the frost after
        the forming days or the heat that ends the crop, or to its longest life. Past the record's end where not seen.
    """

    fate: NDArray[np.int8]
    soil: Mask
    shoots: Mask
    nights: Mask
    warmth: Mask
    early: IntArray
    late: IntArray
    ripe: IntArray
    end: IntArray


def fates(weather: Seasons, p_days_needed: ArrayLike, needs: Needs) -> Fates:
    """What becomes of a crop planted on each day.

    Parameters
    ----------
    weather
        Every day of the record.
    p_days_needed
        Physiological days wanted, (needs,).
    needs
        The limits.

    Returns
    -------
    Fates
        `Fate.NOT_KNOWN` for days so near to either end of the record that their crop is not seen whole.

    Notes
    -----
    Seed is chitted. For danger the early bound of emergence counts, growth runs from the likely day. A killing
    frost before the forming days are over takes the shoots; later, it or lasting heat ends the crop, which must have
    had its warmth by then. More killing nights never make a day better.
    """
    shape, days = weather.planted_c.shape, weather.planted_c.shape[-1]
    at: IntArray = np.broadcast_to(np.arange(days), shape).astype(np.int64)
    late = _reached(late_emergence_share(weather.planted_c), at, 1.0)
    early = np.minimum(_reached(early_emergence_share(weather.planted_c), at, 1.0), late)
    likely = np.where(late >= days, days, early + np.round(CHITTED_LIKELY * (late - early)).astype(np.int64))
    formed = likely + needs.forming_after_days + needs.forming_days
    frost = _next(weather.killing, early)
    heat = _next(_mean_of_last(weather.grown_c, needs.heat_days) >= needs.heat_c, likely + needs.heat_days - 1)
    latest = at + needs.longest_days
    ripe = np.stack([_reached(weather.p_days, likely, float(need)) for need in np.atleast_1d(p_days_needed)])
    later_frost = _next(weather.killing, np.maximum(formed, early))
    end = np.minimum(np.minimum(later_frost, heat), latest)
    cold, hot = _too_cold(weather, needs, at, likely), _too_hot(weather, needs, at, likely)
    nights = _count(weather.air_min_c < needs.night_c, early + needs.forming_after_days, formed) >= needs.cool_nights
    why_short = np.where(
        end == later_frost, Fate.FROST_TOO_SOON, np.where(end == heat, Fate.HEAT_TOO_SOON, Fate.TOO_SLOW)
    )
    found = np.where(ripe < end, Fate.GROWN, why_short)
    for wrong, fate in (
        (~nights, Fate.NIGHTS_WARM), (frost < formed, Fate.SHOOTS_FROZEN), (hot, Fate.SOIL_HOT), (cold, Fate.SOIL_COLD),
        ((at < needs.ready_days) | (latest >= days), Fate.NOT_KNOWN),
    ):  # fmt: skip
        found = np.where(wrong, fate, found)
    return Fates(
        fate=found.astype(np.int8),
        soil=~cold & ~hot,
        shoots=frost >= formed,
        nights=nights,
        warmth=ripe < end,
        early=early - at,
        late=early + np.round(CHITTED_LATE * (late - early)).astype(np.int64) - at,
        ripe=ripe - at,
        end=end - at,
    )


def _too_cold(weather: Seasons, needs: Needs, at: IntArray, likely: IntArray) -> Mask:
    """Not warm enough before planting in the bare bed, or after it under straw; or cold for days before the shoots."""
    before = _mean(weather.bare_c, at - needs.ready_days, at) < needs.ready_c
    after = _mean(weather.planted_c, at, at + needs.ahead_days) < needs.ready_c
    rots = _run_of(weather.planted_c < needs.cold_c, needs.cold_days)
    return np.asarray(before | after | (_next(rots, at + needs.cold_days - 1) < likely))


def _too_hot(weather: Seasons, needs: Needs, at: IntArray, likely: IntArray) -> Mask:
    """Too hot in the mean of the days before planting, or on too many days from then to the shoots."""
    before = _mean(weather.planted_c, at - needs.ready_days, at) > needs.hot_c
    return np.asarray(before | (_count(weather.planted_c > needs.hot_c, at, likely) > needs.hot_days))


# --- along the days ---


def _reached(daily: FloatArray, start: IntArray, amount: float) -> IntArray:
    """Position at which the sum of the days after `start` reaches an amount; the number of days where it does not."""
    days = daily.shape[-1]
    total = np.cumsum(daily, axis=-1)
    wanted = _at(total, start) + amount - _ROUNDING
    rows = zip(total.reshape(-1, days), wanted.reshape(-1, days), strict=True)
    found = np.stack([np.searchsorted(row, want) for row, want in rows]).reshape(daily.shape)
    return np.where(start >= days, days, found).astype(np.int64)


def _next(mask: Mask, start: IntArray) -> IntArray:
    """Position of the first true day at or after `start`; the number of days where there is none."""
    days = mask.shape[-1]
    coming = np.minimum.accumulate(np.where(mask, np.arange(days), days)[..., ::-1], axis=-1)[..., ::-1]
    return np.where(start >= days, days, _at(coming, start)).astype(np.int64)


def _at(values: NDArray[Any], position: IntArray) -> NDArray[Any]:
    """The values at positions along the days, those outside taken for the nearest end."""
    return np.take_along_axis(values, np.clip(position, 0, values.shape[-1] - 1), axis=-1)


def _between(daily: NDArray[Any], start: IntArray, stop: IntArray) -> NDArray[Any]:
    """Sum of the days from `start` up to, not with, `stop`, as far as the record goes."""
    total = np.cumsum(np.concatenate([np.zeros_like(daily[..., :1]), daily], axis=-1), axis=-1)
    return np.asarray(_at(total, stop) - _at(total, start))


def _count(mask: Mask, start: IntArray, stop: IntArray) -> IntArray:
    """How many days are true from `start` up to, not with, `stop`."""
    return np.asarray(_between(mask.astype(np.int64), start, stop))


def _mean(values: FloatArray, start: IntArray, stop: IntArray) -> FloatArray:
    """Mean of the days from `start` up to, not with, `stop`."""
    return np.asarray(_between(values, start, stop) / np.maximum(stop - start, 1))


def _run_of(mask: Mask, length: int) -> Mask:
    """The days on which a thing has been true so many days running; before there are so many, none."""
    at = np.broadcast_to(np.arange(mask.shape[-1]), mask.shape)
    return np.asarray(_count(mask, at - length + 1, at + 1) >= length)


def _mean_of_last(values: FloatArray, length: int) -> FloatArray:
    """Mean of the last so many days; minus infinity before there are so many."""
    at = np.broadcast_to(np.arange(values.shape[-1]), values.shape)
    return np.where(at >= length - 1, _mean(values, at - length + 1, at + 1), -np.inf)
