"""The soil of the beds run through the weather: as it has been, and each way it may go from here.

Beside each bed's estimate run the three soils that tell how readings would move it (`science.soil_learning`).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from itertools import accumulate

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haulm.beds.forcing import VALUES, Climate, Forcing
from haulm.beds.in_step import Course, asked
from haulm.beds.memo import Memo
from haulm.beds.readings import READ_AT_M, Heard
from haulm.garden import Bed, Place, Planting
from haulm.science import soil_learning as learning
from haulm.science import soil_surface as surface
from haulm.science.bed_surface import LIGHT, Bedding, beside, settled_m, sides_conductance_w_m2_k
from haulm.science.climatology import mean_year_at
from haulm.science.evapotranspiration import hargreaves_et_mm
from haulm.science.marches import SoilMarch, march_soils
from haulm.science.rows import widened
from haulm.science.soil_day import surface_swing_c
from haulm.science.soil_freezing import Freezing
from haulm.science.soil_learning import Sides
from haulm.science.soil_properties import TEXTURES, straw_resistance_m2k_w
from haulm.science.soil_temperature import SoilColumn
from haulm.science.sun import top_radiation_mj, top_radiation_of_days_mj
from haulm.weather import FloatArray

AIR_SPREAD_MEMORY = 0.75  # measured with the next: how much of yesterday's doubt about the air is still there today
# Doubt that a soil at 10 cm takes over from that about the air: weather replaced by the mean year at 20 USCRN stations
# moved the soil by 0.6 °C on the first day, 1.4 on the third, 1.9 after three weeks; its air by 4.2.
AIR_SPREAD_SHARE = 0.47
YEAR_DAYS = 365
USUAL_WETNESS = 0.5  # judgement: of straw through a year, for where the column begins more than a year ago
LIES, COVERED, RAKED = 0, 1, 2  # the straws that are run ahead: as it lies, what planting would lay, none
SEED, READ = 0, 1  # the depths at which the soil is looked at


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """The place's ground: how open ground answers the mean year, (1, 365), before any bed is looked at."""

    place: Place
    cover: float
    felt: surface.Felt
    air_c: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class SoilRun:
    """Soil of several plantings, where the seed lies.

    Attributes
    ----------
    past_c
        Up to yesterday, (plantings, days).
    lies_c, raked_c
        From today on, as the bed lies and raked bare today, by each way of `Forcing`, (plantings, ways, days).
        `raked_c` is None where no straw lies on any bed.
    covered_c
        From today on, under the straw that planting would lay, by the first way, (plantings, days).
    doubt_c, lost_c
        What doubt about the air has left in the soil, and that doubt itself as the soil remembers it, (days,).
    heard
        What a thermometer's readings are set against, one a planting, by the first way.
    """

    first: date
    today: date
    past_c: FloatArray
    lies_c: FloatArray
    covered_c: FloatArray
    raked_c: FloatArray | None
    doubt_c: FloatArray
    lost_c: FloatArray
    heard: tuple[Heard, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Beds:
    """The beds of some plantings, one a planting, on their ground; `ties` bind each to the air beside it [W/m²/K]."""

    ground: Ground
    beds: tuple[Bed, ...]
    soil: SoilColumn
    ties: FloatArray

    def __len__(self) -> int:
        return len(self.beds)


@dataclass(frozen=True, slots=True, eq=False)
class _State:
    """Of the surface, a row a bed or a way, and of the column, with three rows more for each bed."""

    surface: FloatArray
    column: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Days:
    """What became of some days: the soil, (depths, rows, days), as the rows of the column stand in `_State`; and of
    each bed what lies between weather and soil, (beds, days)."""

    soil_c: FloatArray
    swing_c: FloatArray
    layer_m2k_w: FloatArray
    natural_m2k_w: FloatArray
    straw_m2k_w: FloatArray


def ground_of(place: Place, climate: Climate) -> Ground:
    """What the mean year does to the ground: plant cover from rain over evaporation, and what open ground feels."""
    day = np.arange(1.0, YEAR_DAYS + 1.0)
    low, high = (mean_year_at(mean, day)[None, :] for mean in (climate.air_min, climate.air_max))
    sun = top_radiation_mj(place.latitude_deg, day)
    cover = float(surface.plant_cover(climate.rain_mm * YEAR_DAYS / max(hargreaves_et_mm(low, high, sun).sum(), 1.0)))
    rain = np.full((1, YEAR_DAYS), climate.rain_mm)
    _, felt = surface.advance(surface.start_state(1), low, high, rain, sun[None, :], cover)
    return Ground(place, cover, felt, (low + high) / 2.0)


def run_soil(
    ground: Ground, beds: Sequence[Bed], plantings: Sequence[Planting], straw_m: FloatArray, new_straw_m: ArrayLike,
    past: Forcing, ahead: Forcing, memo: Memo,
) -> Course[SoilRun]:  # fmt: skip
    """Soil under each planting's bed, as a course.

    Parameters
    ----------
    beds, plantings
        One bed a planting.
    straw_m
        Depth of straw as it lies and will lie, on the days of `past` and of `ahead`, (plantings, days).
    new_straw_m
        What planting would lay, today: a depth for each planting, or one for all.
    """
    given = (ground, tuple(beds), tuple(plantings))
    many = memo.kept("beds", given, lambda: _beds_of(*given))
    state, been = yield from _past(many, past, straw_m[:, : past.days], memo)
    rows = _rows_ahead(ahead.air_min_c.shape[0], raked=bool(straw_m[:, past.days].any()))
    laid_m = np.broadcast_to(np.asarray(new_straw_m, dtype=np.float64), (len(beds),))
    fresh = settled_m(laid_m[:, None], np.arange(ahead.days))
    straws = np.stack([straw_m[:, past.days :], fresh, np.zeros_like(fresh)], axis=1)
    coming = yield from _coming(many, state, ahead, straws, rows)
    own = coming.soil_c[SEED, : len(beds) * len(rows)].reshape(len(beds), len(rows), ahead.days)
    lost = _lost(past, ahead)
    share = np.concatenate([np.ones(past.days), np.full(ahead.days, AIR_SPREAD_SHARE)])
    return SoilRun(
        past.first,
        ahead.first,
        been.soil_c[SEED, : len(beds)],
        own[:, rows.straw == LIES],
        own[:, rows.straw == COVERED][:, 0],
        own[:, rows.straw == RAKED] if (rows.straw == RAKED).any() else None,
        lost * share,
        lost,
        _heard(many, been, coming, len(rows), past.first),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _RowsAhead:
    """What each row of one bed stands for: under which straw, and by which way of the weather."""

    straw: NDArray[np.int64]
    way: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.way)


def _rows_ahead(ways: int, *, raked: bool) -> _RowsAhead:
    """The first row is the bed as it lies, by the first way: readings are set against that one."""
    every = np.arange(ways)
    straws = [(LIES, every), *([(RAKED, every)] if raked else []), (COVERED, every[:1])]
    straw = np.concatenate([np.full(len(way), which) for which, way in straws])
    return _RowsAhead(straw, np.concatenate([way for _, way in straws]))


def _beds_of(ground: Ground, beds: Sequence[Bed], plantings: Sequence[Planting]) -> _Beds:
    textures = [TEXTURES[bed.texture] for bed in beds]
    soil = SoilColumn(
        conductivity_w_mk=np.array([texture.conductivity_w_mk for texture in textures]),
        heat_capacity_mj_m3k=np.array([texture.heat_capacity_mj_m3k for texture in textures]),
        depths_m=np.array([(planting.depth_m, READ_AT_M) for planting in plantings]),
        freezing=Freezing(),
    )
    ties = [
        sides_conductance_w_m2_k(bed.raised_m, bed.length_m, bed.width_m, texture.conductivity_w_mk)
        for bed, texture in zip(beds, textures, strict=True)
    ]
    return _Beds(ground, tuple(beds), learning.fourfold(soil, len(beds)), np.array(ties)[:, None])


def _past(many: _Beds, past: Forcing, straw_m: FloatArray, memo: Memo) -> Course[tuple[_State, _Days]]:
    """All days up to yesterday, or those since the last that has not changed."""
    usual = straw_resistance_m2k_w(straw_m[:, :YEAR_DAYS].mean(axis=1), USUAL_WETNESS)
    depths = np.asarray(many.soil.depths_m)

    def start() -> _State:
        return _start(many, usual, float(past.day_of_year[0]))

    def run(state: _State, days: slice) -> Course[tuple[_State, _Days]]:
        return _march(many, state, past.part(days), straw_m[:, days])

    inputs = np.concatenate([past.air_min_c, past.air_max_c, past.rain_mm, straw_m])
    return (yield from memo.march("soil", (many.ground, many.beds, depths, past.first, usual), inputs, start, run))


def _start(many: _Beds, straw_m2k_w: FloatArray, first_day: float) -> _State:
    """The column begins as the mean year, felt through the usual straw, would settle it: no one odd year colours it."""
    ground, shape = many.ground, (len(many), YEAR_DAYS)
    day = np.arange(1.0, YEAR_DAYS + 1.0)
    felt = surface.Felt(*(np.broadcast_to(getattr(ground.felt, name), shape) for name in surface.Felt.__slots__))
    turn = learning.season_turn(ground.place.latitude_deg, day)
    drives = learning.drives(felt, straw_m2k_w[:, None], turn, Sides(many.ties, np.broadcast_to(ground.air_c, shape)))
    return _State(surface.start_state(len(many)), learning.settled_state(*drives, day, first_day, many.soil))


def _coming(many: _Beds, state: _State, ahead: Forcing, straws_m: FloatArray, rows: _RowsAhead) -> Course[_Days]:
    """The days ahead, each bed under each straw (beds, straws, days) and by each way that its rows ask for."""
    each = len(rows)
    wide = _State(np.repeat(state.surface, each, axis=0), state.column[_rows(len(many), each)])
    lying = straws_m[:, rows.straw].reshape(-1, ahead.days)
    _, days = yield from _march(many, wide, ahead.by(np.tile(rows.way, len(many))), lying)
    return days


@lru_cache(maxsize=16)
def _rows(beds: int, each: int) -> NDArray[np.int64]:
    """Which soil each row of the column is of: every bed's own so often, then the three others of all beds."""
    own = np.repeat(np.arange(beds), each)
    return np.concatenate([own, np.arange(beds, len(learning.SERIES) * beds)])


def _march(many: _Beds, state: _State, weather: Forcing, straw_m: FloatArray) -> Course[tuple[_State, _Days]]:
    """Some days of every bed, in one row or more; a bed's first row is the one that readings are set against.

    The weather has a way for every row, or one for all.
    """
    low, high, rain = (getattr(weather, name) for name in VALUES)
    place, day, each = many.ground.place, weather.day_of_year, len(straw_m) // len(many)
    light = np.repeat([LIGHT[bed.light] for bed in many.beds], each, axis=0)
    bedding = Bedding(straw_m, light[:, :1], light[:, 1:])
    top_mj = top_radiation_of_days_mj(place.latitude_deg, day)[None, :]
    top, felt = surface.advance(state.surface, low, high, rain, top_mj, many.ground.cover, bedding=bedding)
    straw = straw_resistance_m2k_w(straw_m, felt.straw_wetness)
    air, ties = widened((low + high) / 2.0, straw_m.shape), np.repeat(many.ties, each, axis=0)
    own = beside(felt.temperature_c, felt.resistance_m2k_w + straw, ties, air)
    first = slice(None, None, each)
    felt_first = surface.Felt(*(getattr(felt, name)[first] for name in surface.Felt.__slots__))
    turn = learning.season_turn(place.latitude_deg, day)
    forcing, layer = learning.drives_under(own, felt_first, straw[first], turn, Sides(many.ties, air[first]))
    soil = learning.rows_of(many.soil, _rows(len(many), each))
    after, found = yield from asked(march_soils, SoilMarch(state.column, forcing, layer, soil))
    low, high = (one if len(one) == 1 else one[first] for one in (low, high))
    swing = surface_swing_c(low, high, felt_first.warming_c)
    told = _Days(found.soil_c.transpose(2, 0, 1), swing, own[1][first], felt_first.resistance_m2k_w, straw[first])
    return _State(top, after), told


def _heard(many: _Beds, been: _Days, coming: _Days, each: int, first: date) -> tuple[Heard, ...]:
    """What readings of each bed are set against, from the first day run to the last ahead."""
    count = len(many)
    lead = np.concatenate([np.arange(count) * each, count * each + np.arange((len(learning.SERIES) - 1) * count)])
    soils = (been.soil_c, coming.soil_c[:, lead])
    _, series = learning.told_apart(np.concatenate([part[SEED] for part in soils], axis=-1))
    read_c = [part[READ].reshape(len(learning.SERIES), count, -1) for part in soils]
    swing, layer, natural, straw = (
        np.concatenate([getattr(been, name), getattr(coming, name)], axis=-1)
        for name in ("swing_c", "layer_m2k_w", "natural_m2k_w", "straw_m2k_w")
    )
    return tuple(
        Heard(
            bed=bed,
            place=many.ground.place,
            first=first,
            soils_c=tuple(part[:, row] for part in read_c),
            series=series[:, row],
            swing_c=swing[row],
            layer_m2k_w=layer[row],
            natural_m2k_w=natural[row],
            straw_m2k_w=straw[row],
        )
        for row, bed in enumerate(many.beds)
    )


def _lost(past: Forcing, ahead: Forcing) -> FloatArray:
    """Doubt about the air as the soil remembers it, as a standard deviation a day."""
    return doubt_remembered_c(np.concatenate([past.air_spread_c, ahead.air_spread_c]))


def doubt_remembered_c(air_spread_c: FloatArray) -> FloatArray:
    """What is left on each day of the doubt about the air until then [°C], standard deviations, (days,)."""
    fresh = (1.0 - AIR_SPREAD_MEMORY) * air_spread_c**2
    begins = int(np.argmax(fresh != 0.0))  # before that, nothing is in doubt
    left = accumulate(fresh[begins:].tolist(), lambda doubt, day: AIR_SPREAD_MEMORY * doubt + day)
    return np.asarray(np.sqrt(np.concatenate([np.zeros(begins), list(left)])))
