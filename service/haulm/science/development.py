"""The crop's own clock: P-days, emergence between two bounds, and what each class of maturity needs.

Arrays of days are (beds, days), days last; everything broadcasts and nothing is raised.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# P-days to maturity: 800 to 1000 in a prairie production guide (800 and 1000 are two of its varieties);
# which class gets which is judgement.
P_DAYS_NEEDED = {"early": 800.0, "mid": 900.0, "late": 1000.0}
# Days from planting to maturity, shortest and longest: FAO crop page for potato.
CLASS_DAYS = {"early": (90, 120), "mid": (120, 150), "late": (150, 180)}

NO_EMERGENCE_AT_C = 8.9  # Epstein 1966, Agron. J. 58 (abstract): nothing emerged in soil of 48 °F
SPROUTS_HARDLY_GROW_C = 6.0  # prairie production guide: very little sprout growth
SPROUTS_GROW_SLOWLY_C = 9.0  # the same
SPROUTS_GROW_FASTEST_C = 18.0  # the same

# Days from tops wholly dead or cut until skins hold. EDIS HS181: 7 to 21; SE US Vegetable Handbook and Browning
# (Nebraska): about two weeks. Which end belongs to warm and which to cold soil or green tops is judgement.
SKINS_WARM_DAYS, SKINS_USUAL_DAYS, SKINS_COLD_DAYS = 7, 14, 21

EARLY_NEED_C_D, EARLY_BASE_C, EARLY_CAP_C = 170.0, 3.0, 18.0  # a published crop-model parameter set for potato
LATE_NEED_C_D, LATE_BASE_C, LATE_CAP_C = 450.0, 2.0, 24.0  # Sale 1979, Aust. J. Agric. Res. 30:667-675 (abstract)
# Sale finds emergence inhibited above 24 °C and gives no rate: from there the late bound's share falls straight to
# nothing at 30 °C, where growth stops (FAO crop page, prairie guide). The straight line is judgement.
LATE_END_C = 30.0

# Where between the two bounds, 0 to 1, shoots are likely, and where they are late (judgement). The late bound is of
# seed with sprouts just to be seen; seed that was chitted has part of its way behind it and comes 10 to 14 days sooner
# to the harvest (weakly sourced). Danger reckons with the early bound of either.
UNCHITTED_LIKELY, UNCHITTED_LATE = 0.5, 1.0
CHITTED_LIKELY, CHITTED_LATE = 0.25, 0.75
CHITTED_AFTER_DAYS = 14  # common practice, no source: seed put to sprout two to six weeks before it is planted

# Shoots lengthen very little at 6 °C, slowly at 9, fastest at 18 (prairie production guide, of sprouts in soil). The
# figures between, and the end of growth at 30 °C as for emergence, are judgement.
_ELONGATION_C = (4.0, SPROUTS_HARDLY_GROW_C, SPROUTS_GROW_SLOWLY_C, SPROUTS_GROW_FASTEST_C, LATE_CAP_C, LATE_END_C)
_ELONGATION_SHARE = (0.0, 0.1, 0.3, 1.0, 1.0, 0.0)

REACHED = 1.0 - 1e-9  # 45 tenths of a tenth do not add up to one in binary
_P_WEIGHTS = (5.0, 8.0, 8.0, 3.0)  # Pscheidt & Stevenson 1988, read in public code that cites it


@dataclass(frozen=True, slots=True, eq=False)
class EmergenceShares:
    """How much of the way to emergence lies behind, 0 to 1 and on: by the early and by the late bound."""

    early: FloatArray
    late: FloatArray


def p_days(air_min_c: ArrayLike, air_max_c: ArrayLike) -> FloatArray:
    """Physiological days of one day, 0 to 10 (Sands, Hackett & Nix 1979, weights of Pscheidt & Stevenson 1988).

    Parameters
    ----------
    air_min_c, air_max_c
        The day's extremes [°C], any shape that broadcasts. NaN gives NaN: an unknown day has no P-days.

    Notes
    -----
    P = (5·p(T1) + 8·p(T2) + 8·p(T3) + 3·p(T4)) / 24, T1 = Tmin, T2 = (2Tmin+Tmax)/3, T3 = (Tmin+2Tmax)/3,
    T4 = Tmax. The °C constants 7, 21, 30 and 10 are from memory; they agree with the °F form read at the University
    of Nebraska-Lincoln.
    """
    low, high = np.asarray(air_min_c, dtype=np.float64), np.asarray(air_max_c, dtype=np.float64)
    steps = (low, (2.0 * low + high) / 3.0, (low + 2.0 * high) / 3.0, high)
    total = sum(weight * _p(air) for weight, air in zip(_P_WEIGHTS, steps, strict=True))
    return np.asarray(total / 24.0)


def _p(air_c: FloatArray) -> FloatArray:
    width = np.where(air_c <= 21.0, 14.0, 9.0)
    return 10.0 * np.maximum(1.0 - ((air_c - 21.0) / width) ** 2, 0.0)


def early_emergence_share(soil_c: ArrayLike) -> FloatArray:
    """Share of the way to emergence made in a day, early bound: 170 °C·d above 3 °C, no faster above 18 °C.

    Parameters
    ----------
    soil_c
        Daily mean soil temperature where the seed lies [°C]. NaN gives NaN.
    """
    soil = np.asarray(soil_c, dtype=np.float64)
    return np.maximum(np.minimum(soil, EARLY_CAP_C) - EARLY_BASE_C, 0.0) / EARLY_NEED_C_D


def late_emergence_share(soil_c: ArrayLike) -> FloatArray:
    """Share of the way to emergence made in a day, late bound: 450 °C·d above 2 °C (Sale 1979), up to 24 °C.

    Parameters
    ----------
    soil_c
        Daily mean soil temperature where the seed lies [°C]. Above 24 °C the share falls to none at 30 °C
        (judgement). NaN gives NaN.
    """
    soil = np.asarray(soil_c, dtype=np.float64)
    inhibited = np.minimum(np.maximum((LATE_END_C - soil) / (LATE_END_C - LATE_CAP_C), 0.0), 1.0)
    return np.maximum(np.minimum(soil, LATE_CAP_C) - LATE_BASE_C, 0.0) * inhibited / LATE_NEED_C_D


def emergence_shares(soil_c: ArrayLike, *, already: EmergenceShares | None = None) -> EmergenceShares:
    """The way to emergence after each day since planting, by both bounds.

    Parameters
    ----------
    soil_c
        Daily mean soil temperature where the seed lies [°C], (beds, days) or (days,), from the first day that counts.
        An unknown day (NaN) counts as the fastest for the early bound and as none for the late one, so that the
        range still holds the truth.
    already
        Shares at the end of the day before, (beds,): the last columns of an earlier call; none where not given.

    Notes
    -----
    The two sums differ more than twofold: the seed's state and variety decide. For danger the early bound counts,
    for permission the late one. Between 2 and 3.6 °C, where hardly anything moves, the late formula runs ahead of the
    early one; there the early bound goes as fast as the late, so that it is never behind.
    """
    slow = late_emergence_share(soil_c)
    fast = np.maximum(early_emergence_share(soil_c), slow)
    unknown = np.isnan(slow)
    early = np.where(unknown, (EARLY_CAP_C - EARLY_BASE_C) / EARLY_NEED_C_D, fast)
    late = np.where(unknown, 0.0, slow)
    if already is None:
        return EmergenceShares(np.cumsum(early, axis=-1), np.cumsum(late, axis=-1))
    return EmergenceShares(_onward(already.early, early), _onward(already.late, late))


def share_between(shares: EmergenceShares, way: float) -> FloatArray:
    """The way to emergence after each day for seed between the bounds: their weighted geometric mean (judgement).

    It rests on the days that have been alone, so that emergence once reached stays reached whatever weather comes.

    Parameters
    ----------
    shares
        The way by the early and by the late bound.
    way
        Where the seed stands between them: 0 is the early bound, 1 the late one.
    """
    return np.asarray(shares.early ** (1.0 - way) * shares.late**way)


def way_of_seed(early: float, late: float) -> float:
    """Where between the bounds seed stood that emerged on the day of these shares: `share_between` turned round.

    NaN where the late bound has nothing yet, or both are one.
    """
    if late <= 0.0 or early <= late:
        return float("nan")
    return float(np.log(early) / np.log(early / late))


def _onward(before: FloatArray, daily: FloatArray) -> FloatArray:
    return np.asarray(before)[..., None] + np.cumsum(daily, axis=-1)


def elongation_share(mean_c: ArrayLike) -> FloatArray:
    """How fast shoots lengthen, as a share of their fastest, 0 to 1.

    Parameters
    ----------
    mean_c
        Daily mean temperature about the shoots [°C]. NaN gives NaN.
    """
    return np.asarray(np.interp(np.asarray(mean_c, dtype=np.float64), _ELONGATION_C, _ELONGATION_SHARE))


def nights_until(air_min_c: ArrayLike, below_c: float, nights: int) -> int:
    """Index of the night on which so many nights cooler than a limit have been, of a run (days,); -1 where not.

    Parameters
    ----------
    air_min_c
        Daily minimum of the air [°C], from the first night that counts. An unknown night (NaN) counts as warm.
    below_c
        Tubers are set in nights below 15 °C (FAO crop page for potato).
    nights
        How many such nights are asked for.
    """
    cool = np.flatnonzero(np.asarray(air_min_c, dtype=np.float64) < below_c)
    return int(cool[nights - 1]) if len(cool) >= nights else -1


def first_day_reached(share: ArrayLike) -> NDArray[np.int64]:
    """Index of the first day on which a share of 1 is reached, along the last axis; -1 where it is not.

    Parameters
    ----------
    share
        Growing shares, (beds, days) or (days,), as `emergence_shares` gives them.
    """
    reached = np.asarray(share, dtype=np.float64) >= REACHED
    if reached.shape[-1] == 0:
        return np.full(reached.shape[:-1], -1, dtype=np.int64)
    return np.where(reached.any(axis=-1), reached.argmax(axis=-1), -1)
