"""The soil of beds through a whole record at once, each under one depth of straw: for questions about the year."""

from collections.abc import Sequence

import numpy as np

from haulm.beds.forcing import Forcing
from haulm.beds.soil_run import Ground
from haulm.garden import Bed
from haulm.science import soil_surface as surface
from haulm.science import soil_temperature as column
from haulm.science.bed_surface import LIGHT, Bedding, beside, sides_conductance_w_m2_k
from haulm.science.soil_freezing import Freezing
from haulm.science.soil_learning import annual_wave
from haulm.science.soil_properties import TEXTURES, straw_resistance_m2k_w
from haulm.science.soil_temperature import SoilColumn
from haulm.science.sun import top_radiation_mj
from haulm.weather import FloatArray


def soil_of_years(
    ground: Ground, beds: Sequence[Bed], depth_m: float, straw_m: FloatArray, weather: Forcing
) -> FloatArray:
    """Daily mean of the soil at one depth [°C], (beds, days).

    Parameters
    ----------
    beds, straw_m
        Beds, and the depth of straw that lies on each all along [m], (beds,).
    weather
        The whole record, one row; the soil begins as the record's mean year would settle it.
    """
    textures = [TEXTURES[bed.texture] for bed in beds]
    soil = SoilColumn(
        conductivity_w_mk=np.array([texture.conductivity_w_mk for texture in textures]),
        heat_capacity_mj_m3k=np.array([texture.heat_capacity_mj_m3k for texture in textures]),
        depths_m=np.full((len(beds), 1), depth_m),
        freezing=Freezing(),
    )
    forcing, layer = _driven(ground, beds, straw_m, weather)
    day = weather.day_of_year
    settled = column.steady_state(annual_wave(forcing, day), float(day[0]), layer.mean(axis=1), soil)
    return np.asarray(column.advance(column.with_ice(settled), forcing, layer, soil)[1].soil_c[:, :, 0])


def _driven(
    ground: Ground, beds: Sequence[Bed], straw_m: FloatArray, weather: Forcing
) -> tuple[FloatArray, FloatArray]:
    """What drives the column: forcing and resistance, (beds, days)."""
    many = (len(beds), 1)
    low, high, rain = (np.tile(values, many) for values in (weather.air_min_c, weather.air_max_c, weather.rain_mm))
    lying = np.broadcast_to(straw_m[:, None], low.shape)
    light = np.array([LIGHT[bed.light] for bed in beds])
    top_mj = top_radiation_mj(ground.place.latitude_deg, weather.day_of_year)[None, :]
    _, felt = surface.advance(
        surface.start_state(len(beds)), low, high, rain, top_mj, ground.cover,
        bedding=Bedding(lying, light[:, :1], light[:, 1:]),
    )  # fmt: skip
    ties = [
        sides_conductance_w_m2_k(bed.raised_m, bed.length_m, bed.width_m, TEXTURES[bed.texture].conductivity_w_mk)
        for bed in beds
    ]
    layer = felt.resistance_m2k_w + straw_resistance_m2k_w(lying, felt.straw_wetness)
    return beside(felt.temperature_c, layer, np.array(ties)[:, None], (low + high) / 2.0)
