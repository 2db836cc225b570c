"""What the grower's own soil thermometer says, and what it teaches about the bed."""

from dataclasses import dataclass
from datetime import UTC, date

import numpy as np
from numpy.typing import NDArray

from haulm.garden import Bed, Entry, Journal, Place, What
from haulm.science.soil_day import day_wave, off_the_mean_c
from haulm.science.soil_learning import Errors, Learned, learn, places_under_straw, sum_over, told_apart
from haulm.science.soil_properties import TEXTURES
from haulm.taught import SoilReading
from haulm.weather import FloatArray

IntArray = NDArray[np.int64]

# A kitchen thermometer pushed in to its handle (judgement). The journal keeps no depth, and seed that is laid on the
# soil has none: readings are taken to be of 10 cm whatever the seed's depth, and teach about every depth.
READ_AT_M = 0.10
# A reading is one moment of one spot, taken for the bed's mean; judgement, beside the 0.35 °C of a probe's daily mean.
KITCHEN = Errors(reading_c=1.0)
BY_MAIL = "mail"  # its instant is that at which the mailbox was read
HOUR_DOUBT = 0.5  # judgement: share of the day's swing at 10 cm by which a known hour may still mislead
UNKNOWN_HOUR_DOUBT = 0.71  # of an hour that may be any: 1/√2, the standard deviation of a wave over its amplitude


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """What readings of one bed are set against, day by day from `first`.

    Attributes
    ----------
    soils_c
        The estimate at the depth where readings are taken, and the three soils beside it, as
        `soil_learning.told_apart` takes them: up to yesterday and from today on, (4, days) each.
    series
        How each coefficient moves the estimate where the seed lies, (4, days).
    swing_c, layer_m2k_w
        Half the day's range at the surface, and all that lies between it and the soil.
    natural_m2k_w, straw_m2k_w
        Resistance of what naturally covers the ground, and of straw.
    """

    bed: Bed
    place: Place
    first: date
    soils_c: tuple[FloatArray, ...]
    series: FloatArray
    swing_c: FloatArray
    layer_m2k_w: FloatArray
    natural_m2k_w: FloatArray
    straw_m2k_w: FloatArray

    def where_read(self, at: IntArray) -> tuple[FloatArray, FloatArray]:
        """The estimate on some days where readings are taken, (n,), and how each coefficient moves it, (4, n)."""
        estimate_c, series = told_apart(np.concatenate(self.soils_c, axis=1)[:, at])
        return estimate_c[0], series[:, 0]


@dataclass(frozen=True, slots=True, eq=False)
class Taught:
    """What is known of a bed's own ground: the move of each day's estimate [°C], and each reading beside it.

    `places` is the covariance of the coefficients before any reading.
    """

    move_c: FloatArray
    learned: Learned
    series: FloatArray
    places: FloatArray
    readings: tuple[SoilReading, ...] = ()

    @property
    def questioned(self) -> tuple[tuple[date, float], ...]:
        """The readings that are not believed."""
        return tuple((one.day, one.read_c) for one in self.readings if not one.believed)


@dataclass(frozen=True, slots=True, eq=False)
class _Reading:
    """One reading: its day's place in the run, as read, made a mean of its day, and its error."""

    entry: Entry
    at: int
    read_c: float
    mean_c: float
    error_c: float


def taught_by(journal: Journal, heard: Heard, days: int) -> Taught:
    """What the readings of a bed teach about its soil; without any, how places differ.

    Parameters
    ----------
    journal
        What stands in it this morning (`Journal.known`). Readings of days not run are left out.
    days
        So many of the days run are this garden's; others that stand beside it may look further ahead.
    """
    entries = journal.of(heard.bed.key, "", What.SOIL_READ)
    readings = [_reading(entry, heard) for entry in entries if _held(entry, heard)]
    at = np.array([reading.at for reading in readings], dtype=np.int64)
    mean_c = np.array([reading.mean_c for reading in readings])
    places = places_under_straw(heard.natural_m2k_w[:days], heard.straw_m2k_w[:days])
    estimate_c, series_read = heard.where_read(at)
    learned = learn(
        mean_c - estimate_c,
        series_read,
        at.astype(np.float64),
        KITCHEN,
        reading_c=np.array([reading.error_c for reading in readings]),
        places=places,
    )
    taught_c = estimate_c + learned.mean @ series_read
    beside = tuple(
        SoilReading(one.entry.day, one.read_c, one.mean_c, untaught, taught, not questioned)
        for one, untaught, taught, questioned in zip(
            readings, estimate_c.tolist(), taught_c.tolist(), learned.questioned.tolist(), strict=True
        )
    )
    move_c = sum_over(learned.mean, heard.series) if readings else np.zeros(heard.series.shape[1])
    return Taught(move_c, learned, heard.series, places, beside)


def _held(entry: Entry, heard: Heard) -> bool:
    return entry.value is not None and 0 <= (entry.day - heard.first).days < heard.series.shape[1]


def _reading(entry: Entry, heard: Heard) -> _Reading:
    """Put right for the hour at which it was written down, where that was on the day it is about and is known."""
    at, read_c = (entry.day - heard.first).days, float(entry.value or 0.0)
    soil = TEXTURES[heard.bed.texture]
    share, lag_h = day_wave(READ_AT_M, heard.layer_m2k_w[at], soil.conductivity_w_mk, soil.heat_capacity_mj_m3k)
    swing_c = float(heard.swing_c[at] * share)
    if heard.place.day_of(entry.instant) != entry.day or entry.origin == BY_MAIL:
        return _Reading(entry, at, read_c, read_c, float(np.hypot(KITCHEN.reading_c, UNKNOWN_HOUR_DOUBT * swing_c)))
    utc = entry.instant.astimezone(UTC)
    solar_hour = utc.hour + utc.minute / 60.0 + heard.place.longitude_deg / 15.0
    off_c = float(off_the_mean_c(solar_hour, heard.swing_c[at], share, lag_h))
    return _Reading(entry, at, read_c, read_c - off_c, float(np.hypot(KITCHEN.reading_c, HOUR_DOUBT * swing_c)))
