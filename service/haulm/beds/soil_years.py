"""The soil of beds through a whole record at once, each under one depth of straw: for questions about the year."""

from collections.abc import Sequence

import numpy as np

from haulm.beds.forcing import Climate, Forcing, ahead, past
from haulm.beds.in_step import finished
from haulm.beds.memo import Memo
from haulm.beds.readings import taught_by
from haulm.beds.soil_run import Ground, run_soil
from haulm.beds.straw import straw_lying_m
from haulm.garden import Bed, Journal, Planting, What
from haulm.science import soil_surface as surface
from haulm.science.bed_surface import LIGHT, Bedding, sides_conductance_w_m2_k
from haulm.science.soil_freezing import Freezing
from haulm.science.soil_learning import SERIES, Sides, season_turn, sensitivity_series
from haulm.science.soil_properties import TEXTURES, straw_resistance_m2k_w
from haulm.science.soil_temperature import SoilColumn
from haulm.science.sun import top_radiation_mj
from haulm.weather import FloatArray, Timeline

UNTAUGHT = np.zeros(len(SERIES))


def soil_of_years(
    ground: Ground, beds: Sequence[Bed], depth_m: float, straw_m: FloatArray, weather: Forcing,
    learned: FloatArray = UNTAUGHT,
) -> FloatArray:  # fmt: skip
    """Daily mean of the soil at one depth [°C], (beds, days).

    Parameters
    ----------
    beds, straw_m
        Beds, and the depth of straw that lies on each all along [m], (beds,).
    weather
        The whole record, one row; the soil begins as the record's mean year would settle it.
    learned
        What readings taught about the beds' ground, (4,), from `learned_from`.
    """
    many, day = (len(beds), 1), weather.day_of_year
    low, high, rain = (np.tile(values, many) for values in (weather.air_min_c, weather.air_max_c, weather.rain_mm))
    lying = np.broadcast_to(straw_m[:, None], low.shape)
    light = np.array([LIGHT[bed.light] for bed in beds])
    _, felt = surface.advance(
        surface.start_state(len(beds)), low, high, rain, top_radiation_mj(ground.place.latitude_deg, day)[None, :],
        ground.cover, bedding=Bedding(lying, light[:, :1], light[:, 1:]),
    )  # fmt: skip
    straw = straw_resistance_m2k_w(lying, felt.straw_wetness)
    turn = season_turn(ground.place.latitude_deg, day)
    sides = Sides(_ties(beds)[:, None], (low + high) / 2.0)
    estimate, series = sensitivity_series(felt, straw, turn, day, _soils(beds, depth_m), sides)
    return np.asarray(estimate[:, :, 0] + np.tensordot(learned, series[..., 0], axes=1))


def learned_from(
    journal: Journal, timeline: Timeline, climate: Climate, ground: Ground, bed: Bed, planting: Planting
) -> FloatArray:
    """What the readings since the first day of last year taught about a bed's ground, (4,); nothing without any."""
    if not journal.of(bed.key, "", What.SOIL_READ):
        return UNTAUGHT
    been = past(timeline, climate, timeline.today.replace(year=timeline.today.year - 1, month=1, day=1))
    today = ahead(timeline, climate, own_years=False, count=1)
    lying = straw_lying_m(bed, journal, been.first, been.days + today.days)[None, :]
    run = finished(run_soil(ground, [bed], [planting], lying, 0.0, been, today, Memo()))
    return taught_by(journal, run.heard[0], been.days + today.days).learned.mean


def _soils(beds: Sequence[Bed], depth_m: float) -> SoilColumn:
    textures = [TEXTURES[bed.texture] for bed in beds]
    return SoilColumn(
        conductivity_w_mk=np.array([texture.conductivity_w_mk for texture in textures]),
        heat_capacity_mj_m3k=np.array([texture.heat_capacity_mj_m3k for texture in textures]),
        depths_m=np.full((len(beds), 1), depth_m),
        freezing=Freezing(),
    )


def _ties(beds: Sequence[Bed]) -> FloatArray:
    return np.array(
        [
            sides_conductance_w_m2_k(bed.raised_m, bed.length_m, bed.width_m, TEXTURES[bed.texture].conductivity_w_mk)
            for bed in beds
        ]
    )
