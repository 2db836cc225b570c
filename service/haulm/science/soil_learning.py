"""What a few soil thermometer readings teach about a place, and how far off the estimate may be before and after.

Four numbers of a place are learned, each the coefficient of one series that says how the soil would move: an offset,
the strength of the sun on this ground, the thickness of what naturally covers it, and a shift of the sun between
spring and autumn. A Gaussian prior says how places differ; readings close in time share their error. How places differ,
and how readings err together, was fitted on USCRN stations (DEVELOPERS.md, "Accuracy").
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haulm.science import soil_temperature as column
from haulm.science.bed_surface import beside
from haulm.science.soil_surface import Felt
from haulm.science.soil_temperature import SoilColumn
from haulm.science.sun import top_radiation_mj

FloatArray = NDArray[np.float64]

SERIES = ("offset", "sun", "layer", "season")
SUN_UNIT = 0.25  # one unit of "sun" or "season" is a quarter of the warming by the sun
LAYER_UNIT = 0.3  # one unit of "layer" is 30 % more natural resistance at the surface
STRAW_DOUBT = 0.4  # judgement: 0.1 to 0.6 W/m/K were measured, and depth and settling are guessed
QUESTIONED_SD = 3.5  # judgement: a reading further than this from what all else says is not believed
YEAR_DAYS = 365.25

# Covariance of the four coefficients between places (°C² a unit²), in the order of SERIES; fitted.
PLACES = np.array(
    [
        [0.932, -0.804, -0.292, 0.021],
        [-0.804, 1.769, -0.253, 0.033],
        [-0.292, -0.253, 1.017, 0.003],
        [0.021, 0.033, 0.003, 0.279],
    ]
)


@dataclass(frozen=True, slots=True)
class Errors:
    """How a reading and the estimate differ for reasons that no property of the place explains; fitted.

    Attributes
    ----------
    reading_c
        Error of a single reading and day.
    weather_c, weather_days
        Error that lasts days, and the time in which it fades.
    spell_c, spell_days
        Error that lasts a season, and its time.
    base_c
        Standard deviation of any one day.
    sun
        Share of the "sun" series: clouds, wetness, growth of the year.
    frost
        Share of the frost in the ground: snow depth, soil water.
    """

    reading_c: float = 0.35
    weather_c: float = 0.60
    weather_days: float = 5.0
    spell_c: float = 0.72
    spell_days: float = 55.0
    base_c: float = 0.85
    sun: float = 0.40
    frost: float = 0.40


@dataclass(frozen=True, slots=True, eq=False)
class Learned:
    """What is known of a place: the coefficients' mean (k,) and covariance (k, k), and which readings were not used."""

    mean: FloatArray
    covariance: FloatArray
    questioned: NDArray[np.bool_]


def season_turn(latitude_deg: float, day_of_year: ArrayLike) -> FloatArray:
    """How the sun's daily change stands to its greatest of the year: about +1 in spring, −1 in autumn."""
    days = np.clip(np.asarray(day_of_year, dtype=np.int64), 1, 366) - 1
    return _turn_of_the_year(latitude_deg)[days]


@lru_cache(maxsize=64)
def _turn_of_the_year(latitude_deg: float) -> FloatArray:
    change = np.gradient(top_radiation_mj(latitude_deg, np.arange(1.0, 367.0)))
    return np.asarray(change / max(float(np.abs(change).max()), 0.1))


@dataclass(frozen=True, slots=True, eq=False)
class Sides:
    """What else than its surface ties a bed to the air: conductance [W/m²/K], and what they feel [°C], (rows, days)."""

    conductance_w_m2_k: ArrayLike
    air_c: ArrayLike


NO_SIDES = Sides(0.0, 0.0)


def annual_wave(values: FloatArray, day_of_year: FloatArray) -> FloatArray:
    """Mean, and cosine and sine of the year [unit of the values], (rows, 3), over whole years of days (rows, days)."""
    rows = np.atleast_2d(values)
    whole = int(int(rows.shape[1] / YEAR_DAYS) * YEAR_DAYS) or rows.shape[1]
    kept, angle = rows[:, :whole], 2.0 * np.pi * day_of_year[:whole] / YEAR_DAYS
    waves = (np.ones(whole), 2.0 * np.cos(angle), 2.0 * np.sin(angle))
    return np.stack([(kept * wave).mean(axis=1) for wave in waves], axis=1)


def drives(
    felt: Felt, straw_m2k_w: ArrayLike, turn: FloatArray, sides: Sides = NO_SIDES
) -> tuple[FloatArray, FloatArray]:
    """What drives the soil as it is estimated, and the three others that tell how each learned coefficient moves it.

    Parameters
    ----------
    felt
        Of the rows, (rows, days), no holes.
    straw_m2k_w
        Resistance of straw [m² K/W], broadcasting to (rows, days); it is not natural, and only told apart from what
        is by its prior.
    turn
        `season_turn` of the days.
    sides
        What else ties the rows to the air.

    Returns
    -------
    tuple
        Forcing [°C] and resistance [m² K/W] for the column, (4 · rows, days): first all rows as estimated, then all
        under a thicker layer, then by the sun's part alone, then by that part turned with the season.
    """
    straw = np.asarray(straw_m2k_w, dtype=np.float64)
    estimate = beside(felt.temperature_c, felt.resistance_m2k_w + straw, sides.conductance_w_m2_k, sides.air_c)
    return drives_under(estimate, felt, straw, turn, sides)


def drives_under(
    estimate: tuple[FloatArray, FloatArray],
    felt: Felt,
    straw_m2k_w: FloatArray,
    turn: FloatArray,
    sides: Sides,
) -> tuple[FloatArray, FloatArray]:
    """`drives`, where what drives the estimate is known, and may be of more rows than the three others below it."""
    natural, still = felt.resistance_m2k_w, Sides(sides.conductance_w_m2_k, 0.0)
    sun, layer = SUN_UNIT * felt.warming_c, natural + straw_m2k_w
    each = (
        (felt.temperature_c, natural * (1.0 + LAYER_UNIT) + straw_m2k_w, sides),
        (sun, layer, still),
        (sun * turn, layer, still),
    )
    others = [beside(forcing, over, ties.conductance_w_m2_k, ties.air_c) for forcing, over, ties in each]
    forcing, resistance = (np.concatenate(part) for part in zip(estimate, *others, strict=True))
    return forcing, resistance


def fourfold(soil: SoilColumn, rows: int) -> SoilColumn:
    """The soils of the rows of `drives`. Those of sun and season leave freezing out: they are differences."""
    depths = np.broadcast_to(soil.depths_m, (rows, np.shape(soil.depths_m)[-1]))
    wet = soil.freezing and replace(soil.freezing, store_mj_m2=_freezes(soil.freezing.store_mj_m2, rows))
    return replace(
        soil,
        conductivity_w_mk=np.tile(np.broadcast_to(soil.conductivity_w_mk, (rows,)), len(SERIES)),
        heat_capacity_mj_m3k=np.tile(np.broadcast_to(soil.heat_capacity_mj_m3k, (rows,)), len(SERIES)),
        depths_m=np.tile(depths, (len(SERIES), 1)),
        freezing=wet,
    )


def _freezes(store_mj_m2: ArrayLike, rows: int) -> FloatArray:
    store = np.broadcast_to(np.asarray(store_mj_m2, dtype=np.float64), (rows,))
    return np.concatenate([store, store, np.zeros(2 * rows)])


def rows_of(soil: SoilColumn, rows: NDArray[np.int64]) -> SoilColumn:
    """Some of the soils of `fourfold`, by their places; a place may come more than once."""
    wet = soil.freezing and replace(soil.freezing, store_mj_m2=np.asarray(soil.freezing.store_mj_m2)[rows])
    return replace(
        soil,
        conductivity_w_mk=np.asarray(soil.conductivity_w_mk)[rows],
        heat_capacity_mj_m3k=np.asarray(soil.heat_capacity_mj_m3k)[rows],
        depths_m=np.asarray(soil.depths_m)[rows],
        freezing=wet,
    )


def settled_state(
    forcing_c: FloatArray, resistance_m2k_w: FloatArray, day_of_year: FloatArray, first_day: float, soil: SoilColumn
) -> FloatArray:
    """The state to begin from on day of the year `first_day`: what the forcing's annual wave would settle into.

    Parameters
    ----------
    forcing_c, resistance_m2k_w
        From `drives`, over whole years of days `day_of_year`.
    soil
        From `fourfold`.
    """
    wave = annual_wave(forcing_c, day_of_year)
    state = column.steady_state(wave, first_day, resistance_m2k_w.mean(axis=1), soil)
    return state if soil.freezing is None else column.with_ice(state)


def told_apart(soil_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The estimate (rows, …), and how each learned coefficient would move it (4, rows, …) [°C a unit], as SERIES.

    Parameters
    ----------
    soil_c
        Soil of the rows of `drives`, (4 · rows, …).
    """
    whole, thicker, sunned, seasoned = np.split(soil_c, len(SERIES))
    return whole, np.stack([np.ones_like(whole), sunned, thicker - whole, seasoned])


def sensitivity_series(
    felt: Felt,
    straw_m2k_w: ArrayLike,
    turn: FloatArray,
    day_of_year: FloatArray,
    soil: SoilColumn,
    sides: Sides = NO_SIDES,
) -> tuple[FloatArray, FloatArray]:
    """The estimate, and how each learned coefficient would move it, begun from the days' own annual wave.

    Parameters
    ----------
    felt, straw_m2k_w, turn, sides
        As for `drives`, whole years of days.
    day_of_year
        Of the days.
    soil
        Of the rows, with the depths wanted.

    Returns
    -------
    soil_c, series
        (rows, days, depths) [°C]; (4, rows, days, depths) [°C a unit], in the order of SERIES.
    """
    forcing, resistance = drives(felt, straw_m2k_w, turn, sides)
    wide = fourfold(soil, len(felt.temperature_c))
    start = settled_state(forcing, resistance, day_of_year, float(day_of_year[0]), wide)
    return told_apart(column.advance(start, forcing, resistance, wide)[1].soil_c)


def places_under_straw(natural_m2k_w: FloatArray, straw_m2k_w: FloatArray) -> FloatArray:
    """The prior covariance of a bed under straw: what straw insulates is known to STRAW_DOUBT of itself only.

    That doubt is put to the layer's coefficient, in its units of natural resistance, so that readings taken under straw
    lessen it. Inferred: how places differ was measured without straw.
    """
    units = STRAW_DOUBT / LAYER_UNIT * float(straw_m2k_w.mean()) / float(natural_m2k_w.mean())
    places = PLACES.copy()
    places[2, 2] += units**2
    return places


def error_covariance(day: FloatArray, errors: Errors = Errors(), reading_c: ArrayLike | None = None) -> FloatArray:
    """Covariance [°C²] between readings on days `day` (n,) of what the series cannot explain, (n, n).

    `reading_c` (n,) is the error of each reading where they differ, else that of `errors` holds for all.
    """
    gap = np.abs(day[:, None] - day[None, :])
    weather = errors.weather_c**2 * np.exp(-gap / errors.weather_days)
    spell = errors.spell_c**2 * np.exp(-gap / errors.spell_days)
    own = np.broadcast_to(np.asarray(errors.reading_c if reading_c is None else reading_c, dtype=np.float64), day.shape)
    return np.asarray(weather + spell + np.diag(own**2))


def learn(
    miss_c: FloatArray,
    series: FloatArray,
    day: FloatArray,
    errors: Errors = Errors(),
    *,
    reading_c: ArrayLike | None = None,
    places: FloatArray = PLACES,
) -> Learned:
    """Bayesian linear update of a place from readings; wild ones are set aside, the worst first.

    Parameters
    ----------
    miss_c
        Reading less estimate [°C], (n,); NaN is not known and left out.
    series
        The sensitivity series on those days, (k, n); k is 4 for soil.
    day
        Day number of each reading, from any origin, (n,).
    errors, reading_c
        As for `error_covariance`.
    places
        Prior covariance of the coefficients, (k, k).

    Returns
    -------
    Learned
        Without readings, the prior. A reading is questioned when it lies more than QUESTIONED_SD standard deviations
        from what the prior and all other readings say (leave-one-out).

    Notes
    -----
    θ = P X′ (X P X′ + K)⁻¹ r; leave-one-out residual [Q⁻¹ r]ᵢ / [Q⁻¹]ᵢᵢ (Gauss–Markov; from memory).
    """
    used = np.isfinite(miss_c)
    given = used.copy()
    if not used.any():
        return Learned(np.zeros(len(places)), places.copy(), given)
    whole = series.T @ places @ series + error_covariance(day, errors, reading_c)
    while used.any():
        precision = np.linalg.inv(whole[np.ix_(used, used)])
        weighted = precision @ miss_c[used]
        score = np.abs(weighted) / np.sqrt(np.diag(precision))
        if score.max() <= QUESTIONED_SD:
            break
        used[np.flatnonzero(used)[score.argmax()]] = False
    if not used.any():
        return Learned(np.zeros(len(places)), places.copy(), given)
    shown = series[:, used]
    gain = places @ shown @ np.linalg.inv(whole[np.ix_(used, used)])
    covariance = places - gain @ shown.T @ places
    return Learned(gain @ miss_c[used], (covariance + covariance.T) / 2.0, given & ~used)


def spread_c(series: FloatArray, covariance: FloatArray, soil_c: FloatArray, errors: Errors = Errors()) -> FloatArray:
    """Standard deviation of the daily mean [°C]: the place's (x′ P x), and the day's own.

    Parameters
    ----------
    series, covariance
        (…, k, days) and (…, k, k), the same axes before them for as many beds.
    soil_c
        The estimate [°C], (…, days).

    Returns
    -------
    FloatArray
        (…, days), each bed's the same whatever stands beside it.
    """
    count = series.shape[-2]
    twice = covariance * (2.0 - np.eye(count))  # of the matrix, which is symmetric, the upper half counts twice
    place = np.zeros(())
    for p in range(count):  # a matrix product would add up in an order that depends on the days' number
        place = place + series[..., p, :] * sum_over(twice[..., p, p:], series[..., p:, :])
    return np.asarray(np.sqrt(np.maximum(place, 0.0) + day_spread_c(series, soil_c, errors) ** 2))


def sum_over(coefficients: FloatArray, series: FloatArray) -> FloatArray:
    """Σ cₖ xₖ of each day, (…, days): coefficients (…, k) and series (…, k, days), one after another."""
    total = coefficients[..., 0, None] * series[..., 0, :]
    for k in range(1, series.shape[-2]):
        total += coefficients[..., k, None] * series[..., k, :]
    return np.asarray(total)


def day_spread_c(series: FloatArray, soil_c: FloatArray, errors: Errors = Errors()) -> FloatArray:
    """The day's own part of `spread_c` [°C], (…, days): var = base² + (sun · x_sun)² + (frost · min(T, 0))²."""
    sun = series[..., 1, :]
    day = errors.base_c**2 + (errors.sun * sun) ** 2 + (errors.frost * np.minimum(soil_c, 0.0)) ** 2
    return np.asarray(np.sqrt(day))
