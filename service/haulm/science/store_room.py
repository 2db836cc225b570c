"""How warm a store room is, from the outdoor air alone, and what a few thermometer readings teach about it.

The room follows the outdoor air with a lag and a mean offset; the house, warmed and cooled by those who live in it,
holds it above a floor and below a ceiling:

    dT/dt = (clip(T_air + offset, floor, ceiling) − T) / lag

These numbers of each kind of room are judgement, with wide stated spreads: readings correct them. No published series
of home stores was found.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haulm.science.soil_learning import Errors, learn, spread_c

FloatArray = NDArray[np.float64]

NO_FLOOR_C, NO_CEILING_C = -99.0, 99.0
STEPS = 3  # of the update, as the lag does not act in a straight line; more change nothing
SMALL = np.array([0.5, 0.1, 0.5, 0.5])  # of offset [°C], log lag [-], floor and ceiling [°C]: for the slopes
LEAST_LAG_DAYS, MOST_LAG_DAYS = 0.1, 400.0
# Judgement: a kitchen thermometer, one moment for a day and one corner for a room; doors and weather for some days, use
# of the house for some weeks; a degree of any day.
STORE = Errors(1.0, 1.0, 4.0, 1.0, 40.0, 1.0, sun=0.0, frost=0.0)


@dataclass(frozen=True, slots=True)
class Room:
    """A kind of room before any reading.

    Attributes
    ----------
    lag_days
        Time in which it comes 63 % nearer to a new outdoor temperature.
    offset_c
        How much warmer than the outdoor air it settles.
    floor_c
        The warmth of the house holds it above this; NO_FLOOR_C where nothing does.
    ceiling_c
        And below this; NO_CEILING_C where nothing does.
    offset_spread_c, lag_spread, floor_spread_c, ceiling_spread_c
        Standard deviations among rooms of its kind; the lag's that of its logarithm.
    """

    lag_days: float
    offset_c: float
    floor_c: float
    ceiling_c: float
    offset_spread_c: float
    lag_spread: float
    floor_spread_c: float
    ceiling_spread_c: float

    @property
    def start(self) -> FloatArray:
        """Offset, log of the lag, floor, ceiling."""
        return np.array([self.offset_c, np.log(self.lag_days), self.floor_c, self.ceiling_c])

    @property
    def covariance(self) -> FloatArray:
        """Of the four, (4, 4)."""
        spreads = (self.offset_spread_c, self.lag_spread, self.floor_spread_c, self.ceiling_spread_c)
        return np.diag(np.square(spreads))


# Judgement, all of it. Sheds and garages warm in the sun; rooms of a house do less so.
ROOMS = {
    "cool room": Room(4.0, 1.0, 7.0, 26.0, 2.5, 0.6, 3.0, 4.0),
    "cellar": Room(60.0, 1.0, 6.0, NO_CEILING_C, 2.5, 0.6, 2.5, 0.0),
    "garage": Room(2.0, 2.0, NO_FLOOR_C, NO_CEILING_C, 2.5, 0.6, 0.0, 0.0),
    "shed": Room(0.7, 1.5, NO_FLOOR_C, NO_CEILING_C, 2.0, 0.6, 0.0, 0.0),
    "house": Room(2.0, 1.0, 18.0, 26.0, 2.0, 0.6, 2.5, 3.0),
}


@dataclass(frozen=True, slots=True, eq=False)
class RoomDays:
    """A room day by day: its mean [°C], the standard deviation of that, and which readings were not believed."""

    room_c: FloatArray
    spread_c: FloatArray
    questioned: NDArray[np.bool_]


def lagged_c(
    air_c: ArrayLike,
    lag_days: ArrayLike,
    offset_c: ArrayLike = 0.0,
    floor_c: ArrayLike = NO_FLOOR_C,
    ceiling_c: ArrayLike = NO_CEILING_C,
) -> FloatArray:
    """Daily means of a room that follows the air with a first-order lag, exact for air that is steady within a day.

    Parameters
    ----------
    air_c
        Daily means of the outdoor air [°C], (days,), no holes.
    lag_days, offset_c, floor_c, ceiling_c
        Of each room, (rows,) or one number; the floor goes before a ceiling below it.

    Returns
    -------
    FloatArray
        (rows, days) [°C]. The room starts at the mean of what it would follow in the first year; air that is not known
        makes it unknown from there on.
    """
    told = (lag_days, offset_c, floor_c, ceiling_c)
    lag, offset, floor, ceiling = (np.atleast_1d(np.asarray(one, dtype=np.float64)) for one in told)
    free = np.asarray(air_c, dtype=np.float64)[None, :] + offset[:, None]
    follows = np.maximum(np.minimum(free, ceiling[:, None]), floor[:, None])
    kept = np.exp(-1.0 / lag)[:, None]
    first = follows[:, :365].mean(axis=1, keepdims=True)
    evenings = _carried((1.0 - kept) * follows, kept) + kept ** np.arange(1, follows.shape[1] + 1) * first
    mornings = np.concatenate([np.broadcast_to(first, (len(evenings), 1)), evenings[:, :-1]], axis=1)
    return np.asarray(follows + lag[:, None] * (1.0 - kept) * (mornings - follows))


def _carried(given: FloatArray, kept: FloatArray) -> FloatArray:
    """y(t) = kept · y(t−1) + given(t) from nothing, (rows, days): spans of days that double, not a day at a time."""
    total, span = np.broadcast_to(given, np.broadcast_shapes(given.shape, kept.shape)).copy(), 1
    while span < total.shape[1]:
        total[:, span:] = total[:, span:] + kept**span * total[:, :-span]
        span *= 2
    return total


def room_days(
    room: Room, air_c: FloatArray, air_spread_c: FloatArray, at: NDArray[np.int64], read_c: FloatArray
) -> RoomDays:
    """A room from the outdoor air, corrected by readings: a Bayesian update of offset, lag, floor and ceiling.

    Parameters
    ----------
    room
        What is known of its kind.
    air_c, air_spread_c
        Outdoor daily means and their standard deviation [°C], (days,), no holes.
    at, read_c
        Day of each reading, as a position in `air_c`, and what was read [°C], (n,).

    Notes
    -----
    `soil_learning.learn` about the newest values of the four numbers, three times over. The doubt about the air goes
    through the room as if all of it leaned one way, where neither floor nor ceiling holds the room.
    """
    prior, covariance = room.start, room.covariance
    found, questioned = prior.copy(), np.zeros(len(at), dtype=bool)
    for _ in range(STEPS if len(at) else 0):
        estimate, slopes = _with_slopes(found, air_c)
        seen = slopes[:, at]
        miss = read_c - estimate[at] + (found - prior) @ seen
        learned = learn(miss, seen, at.astype(np.float64), STORE, places=room.covariance)
        found = prior + learned.mean
        found[1] = np.clip(found[1], np.log(LEAST_LAG_DAYS), np.log(MOST_LAG_DAYS))
        covariance, questioned = learned.covariance, learned.questioned
    estimate, slopes = _with_slopes(found, air_c)
    doubt = slopes[0] * lagged_c(air_spread_c, np.exp(found[1]))[0]
    spread = np.hypot(spread_c(slopes, covariance, estimate, STORE), doubt)
    return RoomDays(estimate, spread, questioned)


def _with_slopes(numbers: FloatArray, air_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The room, and how each of its four numbers would move it, (days,) and (4, days)."""
    rows = np.vstack([numbers, numbers + np.diag(SMALL)])
    each = lagged_c(air_c, np.exp(rows[:, 1]), rows[:, 0], rows[:, 2], rows[:, 3])
    return each[0], (each[1:] - each[0]) / SMALL[:, None]
