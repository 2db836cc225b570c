"""Soil temperature where the seed lies: what it has been, what it is expected to be, and when it will be ready."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from haulm.beds.forcing import Climate, Forcing
from haulm.beds.readings import Taught
from haulm.condition import DayRange, SoilNow
from haulm.garden import Bed, Place, Planting, Season
from haulm.science import soil_surface as surface
from haulm.science import soil_temperature as column
from haulm.science.climatology import mean_year_at
from haulm.science.evapotranspiration import hargreaves_et_mm
from haulm.science.soil_freezing import Freezing
from haulm.science.soil_properties import TEXTURES, straw_resistance_m2k_w
from haulm.science.soil_temperature import SoilColumn
from haulm.science.sun import top_radiation_mj
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, Daily, FloatArray

MODEL_SPREAD_C = 1.55  # measured on USCRN stations left out of the fit (DEVELOPERS.md, "Accuracy"); bare, no straw
AIR_SPREAD_MEMORY = 0.75  # judgement: how much of yesterday's doubt about the air is still in the soil today
YEAR_DAYS = 365


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """The place's ground: how it answers the weather, before any bed is looked at."""

    place: Place
    cover: float
    mean_year_c: FloatArray
    mean_resistance_m2k_w: float


@dataclass(frozen=True, slots=True, eq=False)
class SoilRun:
    """Soil of several plantings: past days (plantings, days), and ahead (plantings, straws, ways, days).

    Straws are the bed as it lies (0) and with the straw of planting (1); ways are those of `Forcing`. `doubt_c` is what
    doubt about the air has left in the soil; `felt` what the ground felt and, by the first way, will feel.
    """

    first: date
    today: date
    past_c: FloatArray
    ahead_c: FloatArray
    doubt_c: FloatArray
    felt: surface.Felt


def ground_of(place: Place, climate: Climate) -> Ground:
    """What the mean year does to the ground: plant cover from rain over evaporation, and the annual wave it feels."""
    day = np.arange(1.0, YEAR_DAYS + 1.0)
    low, high = mean_year_at(climate.air_min, day), mean_year_at(climate.air_max, day)
    sun = top_radiation_mj(place.latitude_deg, day)
    cover = float(surface.plant_cover(climate.rain_mm * YEAR_DAYS / max(hargreaves_et_mm(low, high, sun).sum(), 1.0)))
    rain = np.full((1, YEAR_DAYS), climate.rain_mm)
    _, felt = surface.advance(surface.start_state(1), low[None, :], high[None, :], rain, sun[None, :], cover)
    angle = 2.0 * np.pi * day / 365.25
    wave = felt.temperature_c[0]
    return Ground(
        place,
        cover,
        mean_year_c=np.array([wave.mean(), 2.0 * (wave * np.cos(angle)).mean(), 2.0 * (wave * np.sin(angle)).mean()]),
        mean_resistance_m2k_w=float(felt.resistance_m2k_w.mean()),
    )


def run_soil(
    ground: Ground, beds: list[Bed], plantings: list[Planting], straw_m: FloatArray, new_straw_m: float,
    past: Forcing, ahead: Forcing,
) -> SoilRun:  # fmt: skip
    """Soil under each planting's bed.

    Parameters
    ----------
    beds, plantings
        One bed a planting.
    straw_m
        Depth of straw on the days of `past`, (plantings, days); the last of it lies on.
    new_straw_m
        What planting would lay.
    """
    soil = _soils(beds, plantings, each=1)
    feels, felt = _feel(ground, surface.start_state(1), past)
    resistance = felt.resistance_m2k_w + straw_resistance_m2k_w(straw_m)
    usual = ground.mean_resistance_m2k_w + straw_resistance_m2k_w(straw_m).mean(axis=1)
    start = column.with_ice(column.steady_state(ground.mean_year_c, float(past.day_of_year[0]), usual, soil))
    state, been = column.advance(start, felt.temperature_c, resistance, soil)
    _, coming = _feel(ground, np.repeat(feels, ahead.air_min_c.shape[0], axis=0), ahead)
    straws = np.stack([straw_m[:, -1], np.full(len(beds), new_straw_m)], axis=1)
    ways = coming.temperature_c.shape[0]
    ahead_c = _ahead(_soils(beds, plantings, each=2 * ways), state, straws, coming)
    return SoilRun(past.first, ahead.first, been.soil_c[:, :, 0], ahead_c, _doubt(past, ahead), _joined(felt, coming))


def _soils(beds: list[Bed], plantings: list[Planting], each: int) -> SoilColumn:
    """The soils of the plantings' beds, each as many times as there are rows for it."""
    textures = [TEXTURES[bed.texture] for bed in beds]
    return SoilColumn(
        conductivity_w_mk=np.repeat([texture.conductivity_w_mk for texture in textures], each),
        heat_capacity_mj_m3k=np.repeat([texture.heat_capacity_mj_m3k for texture in textures], each),
        depths_m=np.repeat([planting.depth_m for planting in plantings], each)[:, None],
        freezing=Freezing(),
    )


def _feel(ground: Ground, state: FloatArray, weather: Forcing) -> tuple[FloatArray, surface.Felt]:
    sun = top_radiation_mj(ground.place.latitude_deg, weather.day_of_year)[None, :]
    return surface.advance(state, weather.air_min_c, weather.air_max_c, weather.rain_mm, sun, ground.cover)


def _ahead(rows: SoilColumn, state: FloatArray, straws: FloatArray, coming: surface.Felt) -> FloatArray:
    """Every planting under both straws in every way the weather may go, as rows of one call."""
    plantings, ways = len(straws), coming.temperature_c.shape[0]
    straw = np.repeat(straw_resistance_m2k_w(straws).reshape(-1), ways)[:, None]
    forcing = np.tile(coming.temperature_c, (2 * plantings, 1))
    resistance = np.tile(coming.resistance_m2k_w, (2 * plantings, 1)) + straw
    _, trajectory = column.advance(np.repeat(state, 2 * ways, axis=0), forcing, resistance, rows)
    return trajectory.soil_c[:, :, 0].reshape(plantings, 2, ways, -1)


def _joined(felt: surface.Felt, coming: surface.Felt) -> surface.Felt:
    return surface.Felt(
        np.concatenate([felt.temperature_c, coming.temperature_c[:1]], axis=1),
        np.concatenate([felt.resistance_m2k_w, coming.resistance_m2k_w[:1]], axis=1),
        np.concatenate([felt.warming_c, coming.warming_c[:1]], axis=1),
    )


def _doubt(past: Forcing, ahead: Forcing) -> FloatArray:
    """What doubt about the air has left in the soil, as a standard deviation a day."""
    doubt = 0.0
    left = []
    for air in np.concatenate([past.air_spread_c, ahead.air_spread_c]):
        doubt = AIR_SPREAD_MEMORY * doubt + (1.0 - AIR_SPREAD_MEMORY) * float(air) ** 2
        left.append(doubt)
    return np.asarray(np.sqrt(np.array(left)))


def soil_now(run: SoilRun, row: int, planting: Planting, taught: Taught | None, thresholds: Thresholds) -> SoilNow:
    """One planting's soil on the morning of `run.today`, moved by what readings taught about its bed."""
    days = run.past_c.shape[1]
    move = np.zeros(days + run.ahead_c.shape[3]) if taught is None else taught.move_c
    own = MODEL_SPREAD_C if taught is None else taught.spread_c
    past, lies, under = (
        run.past_c[row] + move[:days],
        run.ahead_c[row, 0] + move[days:],
        run.ahead_c[row, 1] + move[days:],
    )
    spread = Daily(run.first, np.sqrt(np.square(own) + np.square(run.doubt_c)))
    known = spread.at(run.today - DAY) <= thresholds.data.soil_spread_limit_c
    return SoilNow(
        as_it_lies_c=Daily(run.first, np.concatenate([past, lies[0]])),
        under_new_straw_c=Daily(run.today, under[0]),
        spread_c=spread,
        known=bool(known),
        ready=ready_range(past, lies, planting, thresholds, run.today) if known else None,
        questioned_c=() if taught is None else taught.questioned,
    )


def ready_range(
    past_c: FloatArray, ways_c: FloatArray, planting: Planting, thresholds: Thresholds, today: date
) -> DayRange | None:
    """The morning on which the soil will have stood at its limit for the days asked, within the window's first day.

    From the place's own years where there are any (four in five between the ends), else from the mean year alone.
    """
    limits = thresholds.planting
    needed = limits.ready_days
    days = np.concatenate([np.broadcast_to(past_c[-needed:], (len(ways_c), needed)), ways_c], axis=1)
    spring = planting.season is Season.SPRING
    good = days >= limits.soil_ready_spring_c if spring else days <= limits.soil_ready_autumn_c
    # A run that ends with yesterday makes today the day: position 0.
    shifted = np.stack([good[:, back : good.shape[1] - needed + back + 1] for back in range(needed)])
    ended = np.logical_and.reduce(shifted, axis=0)
    opens = max((planting.window_first - today).days, 0)
    ended[:, :opens] = False
    found = np.where(ended.any(axis=1), ended.argmax(axis=1), -1)
    own = found[1:] if len(found) > 1 else found[:1]
    years = len(found) - 1
    came = own[own >= 0]
    if not came.size:
        return DayRange(None, None, None, 0.0, years)
    early, likely, late = (today + timedelta(days=round(float(q))) for q in np.quantile(came, [0.1, 0.5, 0.9]))
    ends = (early, late) if years > 1 else (None, None)
    return DayRange(ends[0], likely, ends[1], came.size / own.size, years)
