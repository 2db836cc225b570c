"""Soil temperature where the seed lies: what it has been, what it is expected to be, and when it will be ready."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from haulm.beds.forcing import Climate, Forcing, days_of_year
from haulm.beds.readings import READ_AT_M, Heard, Taught
from haulm.condition import DayRange, SoilNow
from haulm.garden import Bed, Place, Planting, Season
from haulm.science import soil_surface as surface
from haulm.science import soil_temperature as column
from haulm.science.bed_surface import LIGHT, Bedding, beside, settled_m, sides_conductance_w_m2_k
from haulm.science.climatology import mean_year_at
from haulm.science.evapotranspiration import hargreaves_et_mm
from haulm.science.frost import normal_cdf
from haulm.science.soil_day import surface_swing_c
from haulm.science.soil_freezing import Freezing
from haulm.science.soil_learning import Sides, annual_wave, season_turn, sensitivity_series
from haulm.science.soil_properties import TEXTURES, straw_resistance_m2k_w
from haulm.science.soil_temperature import SoilColumn
from haulm.science.sun import top_radiation_mj
from haulm.settings.thresholds import Thresholds
from haulm.weather import Daily, FloatArray

AIR_SPREAD_MEMORY = 0.75  # measured with the next: how much of yesterday's doubt about the air is still there today
# Doubt that a soil at 10 cm takes over from that about the air: weather replaced by the mean year at 20 USCRN stations
# moved the soil by 0.6 °C on the first day, 1.4 on the third, 1.9 after three weeks; its air by 4.2.
AIR_SPREAD_SHARE = 0.47
YEAR_DAYS = 365
BARE = 2  # the place of the raked bed among the straws that are run ahead


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

    Straws are the bed as it lies (0), with the straw of planting (1) and, where straw lies, raked bare (2); ways are
    those of `Forcing`.

    Attributes
    ----------
    doubt_c, lost_c
        What doubt about the air has left in the soil, and that doubt itself as the soil remembers it, (days,).
    heard
        What a thermometer's readings are set against, one a planting, by the first way.
    """

    first: date
    today: date
    past_c: FloatArray
    ahead_c: FloatArray
    doubt_c: FloatArray
    lost_c: FloatArray
    heard: tuple[Heard, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Top:
    """What lies between the weather and the soil of some rows: all that the column is driven by."""

    felt: surface.Felt
    straw_m2k_w: FloatArray
    sides: Sides
    swing_c: FloatArray

    def drives(self) -> tuple[FloatArray, FloatArray]:
        """Forcing and resistance for the column."""
        layer = self.felt.resistance_m2k_w + self.straw_m2k_w
        return beside(self.felt.temperature_c, layer, self.sides.conductance_w_m2_k, self.sides.air_c)


def ground_of(place: Place, climate: Climate) -> Ground:
    """What the mean year does to the ground: plant cover from rain over evaporation, and the annual wave it feels."""
    day = np.arange(1.0, YEAR_DAYS + 1.0)
    low, high = mean_year_at(climate.air_min, day), mean_year_at(climate.air_max, day)
    sun = top_radiation_mj(place.latitude_deg, day)
    cover = float(surface.plant_cover(climate.rain_mm * YEAR_DAYS / max(hargreaves_et_mm(low, high, sun).sum(), 1.0)))
    rain = np.full((1, YEAR_DAYS), climate.rain_mm)
    _, felt = surface.advance(surface.start_state(1), low[None, :], high[None, :], rain, sun[None, :], cover)
    return Ground(place, cover, annual_wave(felt.temperature_c, day)[0], float(felt.resistance_m2k_w.mean()))


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
        Depth of straw as it lies and will lie, on the days of `past` and of `ahead`, (plantings, days).
    new_straw_m
        What planting would lay, today.
    """
    soil, ways = _soils(beds, plantings, each=1), ahead.air_min_c.shape[0]
    feels, top = _top(ground, beds, surface.start_state(len(beds)), past, straw_m[:, : past.days])
    forcing, resistance = top.drives()
    usual = ground.mean_resistance_m2k_w + top.straw_m2k_w.mean(axis=1)
    start = column.with_ice(column.steady_state(ground.mean_year_c, float(past.day_of_year[0]), usual, soil))
    state, been = column.advance(start, forcing, resistance, soil)
    fresh = np.broadcast_to(settled_m(new_straw_m, np.arange(ahead.days)), (len(beds), ahead.days))
    straws = [straw_m[:, past.days :], fresh]
    if straw_m[:, past.days].any():
        straws.append(np.zeros_like(fresh))
    lying = np.stack(straws, axis=1).reshape(-1, ahead.days)
    each = len(straws) * ways
    rows = [bed for bed in beds for _ in range(each)]
    _, coming = _top(ground, rows, np.repeat(feels, each, axis=0), ahead, np.repeat(lying, ways, axis=0))
    many = _soils(beds, plantings, each)
    _, will = column.advance(np.repeat(state, each, axis=0), *coming.drives(), many)
    lost = _lost(past, ahead)
    share = np.concatenate([np.ones(past.days), np.full(ahead.days, AIR_SPREAD_SHARE)])
    read_c = np.concatenate([been.soil_c[:, :, 1], will.soil_c[::each, :, 1]], axis=1)
    return SoilRun(
        past.first,
        ahead.first,
        been.soil_c[:, :, 0],
        will.soil_c[:, :, 0].reshape(len(beds), len(straws), ways, -1),
        lost * share,
        lost,
        _heard(ground, beds, _joined(top, coming, each), read_c, soil, past.first),
    )


def _soils(beds: list[Bed], plantings: list[Planting], each: int) -> SoilColumn:
    """The soils of the plantings' beds, each as many times as there are rows for it: where seed lies, and is read."""
    textures = [TEXTURES[bed.texture] for bed in beds]
    return SoilColumn(
        conductivity_w_mk=np.repeat([texture.conductivity_w_mk for texture in textures], each),
        heat_capacity_mj_m3k=np.repeat([texture.heat_capacity_mj_m3k for texture in textures], each),
        depths_m=np.repeat([(planting.depth_m, READ_AT_M) for planting in plantings], each, axis=0),
        freezing=Freezing(),
    )


def _top(
    ground: Ground, beds: list[Bed], state: FloatArray, weather: Forcing, straw_m: FloatArray
) -> tuple[FloatArray, _Top]:
    """The surface of one row a bed; the weather's ways are repeated until every row has one."""
    times = len(beds) // weather.air_min_c.shape[0]
    low, high, rain = (np.tile(v, (times, 1)) for v in (weather.air_min_c, weather.air_max_c, weather.rain_mm))
    top_mj = top_radiation_mj(ground.place.latitude_deg, weather.day_of_year)[None, :]
    light = np.array([LIGHT[bed.light] for bed in beds])
    bedding = Bedding(straw_m, light[:, :1], light[:, 1:])
    after, felt = surface.advance(state, low, high, rain, top_mj, ground.cover, bedding=bedding)
    ties = [
        sides_conductance_w_m2_k(bed.raised_m, bed.length_m, bed.width_m, TEXTURES[bed.texture].conductivity_w_mk)
        for bed in beds
    ]
    sides = Sides(np.array(ties)[:, None], (low + high) / 2.0)
    swing = surface_swing_c(low, high, felt.warming_c)
    return after, _Top(felt, straw_resistance_m2k_w(straw_m, felt.straw_wetness), sides, swing)


def _joined(been: _Top, coming: _Top, each: int) -> _Top:
    """Past and the first way ahead, as the beds lie, day after day."""

    def both(past: FloatArray, ahead: FloatArray) -> FloatArray:
        return np.concatenate([past, ahead[::each]], axis=1)

    felt = (both(getattr(been.felt, name), getattr(coming.felt, name)) for name in surface.Felt.__slots__)
    return _Top(
        surface.Felt(*felt),
        both(been.straw_m2k_w, coming.straw_m2k_w),
        Sides(been.sides.conductance_w_m2_k, both(np.asarray(been.sides.air_c), np.asarray(coming.sides.air_c))),
        both(been.swing_c, coming.swing_c),
    )


def _heard(
    ground: Ground, beds: list[Bed], top: _Top, read_c: FloatArray, soil: SoilColumn, first: date
) -> tuple[Heard, ...]:
    """What readings of each bed are set against."""
    day_of_year = days_of_year(first, top.swing_c.shape[1])
    turn = season_turn(ground.place.latitude_deg, day_of_year)
    _, series = sensitivity_series(top.felt, top.straw_m2k_w, turn, day_of_year, soil, top.sides)
    _, resistance = top.drives()
    return tuple(
        Heard(
            bed=bed,
            place=ground.place,
            first=first,
            estimate_c=read_c[row],
            series=series[:, row, :, 0],
            series_read=series[:, row, :, 1],
            swing_c=top.swing_c[row],
            layer_m2k_w=resistance[row],
            natural_m2k_w=top.felt.resistance_m2k_w[row],
            straw_m2k_w=top.straw_m2k_w[row],
        )
        for row, bed in enumerate(beds)
    )


def _lost(past: Forcing, ahead: Forcing) -> FloatArray:
    """Doubt about the air as the soil remembers it, as a standard deviation a day."""
    doubt = 0.0
    left = []
    for air in np.concatenate([past.air_spread_c, ahead.air_spread_c]):
        doubt = AIR_SPREAD_MEMORY * doubt + (1.0 - AIR_SPREAD_MEMORY) * float(air) ** 2
        left.append(doubt)
    return np.asarray(np.sqrt(np.array(left)))


def soil_now(run: SoilRun, row: int, planting: Planting, taught: Taught, thresholds: Thresholds) -> SoilNow:
    """One planting's soil on the morning of `run.today`, moved by what readings taught about its bed."""
    days = run.past_c.shape[1]
    past, lies, under = (
        run.past_c[row] + taught.move_c[:days],
        run.ahead_c[row, 0] + taught.move_c[days:],
        run.ahead_c[row, 1] + taught.move_c[days:],
    )
    seen = np.concatenate([past, lies[0]])
    spread = np.hypot(taught.spread_c(seen), run.doubt_c)
    known = run.lost_c[days - 1] <= thresholds.data.soil_spread_limit_c
    return SoilNow(
        as_it_lies_c=Daily(run.first, seen),
        under_new_straw_c=Daily(run.today, under[0]),
        spread_c=Daily(run.first, spread),
        known=bool(known),
        ready=ready_range(past, lies, planting, thresholds, run.today) if known else None,
        questioned_c=taught.questioned,
        fit_chance=Daily(run.first, _fit_chance(seen, spread, planting, thresholds)),
        ready_if_raked=_if_raked(run, row, planting, taught, thresholds) if known else None,
    )


def _if_raked(run: SoilRun, row: int, planting: Planting, taught: Taught, thresholds: Thresholds) -> DayRange | None:
    """When the bed would be ready were it raked bare today; None in autumn, or where no straw lies."""
    days, straws_c = run.past_c.shape[1], run.ahead_c[row]
    if planting.season is not Season.SPRING or len(straws_c) <= BARE:
        return None
    past, bare = run.past_c[row] + taught.move_c[:days], straws_c[BARE] + taught.move_c[days:]
    return ready_range(past, bare, planting, thresholds, run.today)


def _fit_chance(soil_c: FloatArray, spread_c: FloatArray, planting: Planting, thresholds: Thresholds) -> FloatArray:
    """Chance that a day's mean is on the right side of the limit that planting waits for."""
    limits = thresholds.planting
    if planting.season is Season.SPRING:
        return normal_cdf((soil_c - limits.soil_ready_spring_c) / spread_c)
    return normal_cdf((limits.soil_ready_autumn_c - soil_c) / spread_c)


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
