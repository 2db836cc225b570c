"""What the grower's own soil thermometer says, and what it teaches about the bed."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from haulm.beds.forcing import days_of_year
from haulm.garden import Bed, Journal, What
from haulm.science.soil_freezing import Freezing
from haulm.science.soil_learning import Errors, learn, season_turn, sensitivity_series, spread_c
from haulm.science.soil_properties import TEXTURES, straw_resistance_m2k_w
from haulm.science.soil_surface import Felt
from haulm.science.soil_temperature import SoilColumn
from haulm.weather import FloatArray

READ_AT_M = 0.10  # a kitchen thermometer pushed in to its handle; judgement
# A reading is one moment of one spot, taken for the day's mean; judgement, beside the 0.35 °C of a probe's daily mean.
KITCHEN = Errors(reading_c=1.0)


@dataclass(frozen=True, slots=True, eq=False)
class Taught:
    """What readings changed: the move of each day's estimate [°C], its spread, and the readings not believed."""

    move_c: FloatArray
    spread_c: FloatArray
    questioned: tuple[tuple[date, float], ...]


def taught_by(
    journal: Journal, bed: Bed, depth_m: float, felt: Felt, straw_m: FloatArray, latitude_deg: float, first: date
) -> Taught | None:
    """What the readings of a bed teach about its soil at a depth; None without readings.

    Parameters
    ----------
    felt
        What the ground felt and is expected to feel, (1, days) from `first`.
    straw_m
        Depth of straw, (days,).
    """
    entries = [entry for entry in journal.of(bed.key, "", What.SOIL_READ) if entry.value is not None]
    count = felt.temperature_c.shape[1]
    held = [(entry, (entry.day - first).days) for entry in entries]
    held = [(entry, at) for entry, at in held if 0 <= at < count]
    if not held:
        return None
    at = np.array([position for _, position in held])
    read_c = np.array([entry.value for entry, _ in held], dtype=np.float64)
    day_of_year = days_of_year(first, count)
    turn, straw = season_turn(latitude_deg, day_of_year), straw_resistance_m2k_w(straw_m)[None, :]
    read_soil, read_series = sensitivity_series(felt, straw, turn, day_of_year, _column(bed, READ_AT_M))
    learned = learn(read_c - read_soil[at], read_series[:, at], at.astype(np.float64), KITCHEN)
    soil, series = sensitivity_series(felt, straw, turn, day_of_year, _column(bed, depth_m))
    wild = tuple((held[k][0].day, float(read_c[k])) for k in np.flatnonzero(learned.questioned))
    return Taught(learned.mean @ series, spread_c(series, learned.covariance, soil), wild)


def _column(bed: Bed, depth_m: float) -> SoilColumn:
    texture = TEXTURES[bed.texture]
    depth = np.array([[depth_m]])
    return SoilColumn(texture.conductivity_w_mk, texture.heat_capacity_mj_m3k, depth, freezing=Freezing())
