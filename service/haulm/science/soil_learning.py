"""What a few soil thermometer readings teach about a place, and how far off the estimate may be before and after.

Four numbers of a place are learned, each the coefficient of one series that says how the soil would move: an offset,
the strength of the sun on this ground, the thickness of what naturally covers it, and a shift of the sun between
spring and autumn. A Gaussian prior says how places differ; readings close in time share their error. How places differ,
and how readings err together, was fitted on USCRN stations (DEVELOPERS.md, "Accuracy").
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haulm.science import soil_temperature as column
from haulm.science.soil_surface import Felt
from haulm.science.soil_temperature import SoilColumn
from haulm.science.sun import top_radiation_mj

FloatArray = NDArray[np.float64]

SERIES = ("offset", "sun", "layer", "season")
SUN_UNIT = 0.25  # one unit of "sun" or "season" is a quarter of the warming by the sun
LAYER_UNIT = 0.3  # one unit of "layer" is 30 % more natural resistance at the surface
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
    """What is known of a place: the coefficients' mean (4,) and covariance (4, 4), and which readings were not used."""

    mean: FloatArray
    covariance: FloatArray
    questioned: NDArray[np.bool_]


def season_turn(latitude_deg: float, day_of_year: ArrayLike) -> FloatArray:
    """How the sun's daily change stands to its greatest of the year: about +1 in spring, −1 in autumn."""
    year = top_radiation_mj(latitude_deg, np.arange(1.0, 367.0))
    change = np.gradient(year)
    days = np.clip(np.asarray(day_of_year, dtype=np.int64), 1, 366) - 1
    return np.asarray(change[days] / max(float(np.abs(change).max()), 0.1))


def annual_wave(values: FloatArray, day_of_year: FloatArray) -> FloatArray:
    """Mean, and cosine and sine of the year [unit of the values], over whole years of days: as `steady_state` takes."""
    whole = int(int(len(values) / YEAR_DAYS) * YEAR_DAYS) or len(values)
    kept, angle = values[:whole], 2.0 * np.pi * day_of_year[:whole] / YEAR_DAYS
    return np.array([kept.mean(), 2.0 * (kept * np.cos(angle)).mean(), 2.0 * (kept * np.sin(angle)).mean()])


def sensitivity_series(
    felt: Felt, cover_m2k_w: ArrayLike, turn: FloatArray, day_of_year: FloatArray, soil: SoilColumn
) -> tuple[FloatArray, FloatArray]:
    """The estimate, and how each learned coefficient would move it.

    Parameters
    ----------
    felt
        Of one place, (1, days), no holes, whole years for the start.
    cover_m2k_w
        Resistance of straw on it [m² K/W], broadcasting to (1, days); it is not natural and is not learned.
    turn
        `season_turn` of the days.
    soil
        One bed with one depth.

    Returns
    -------
    soil_c, series
        (days,) [°C]; (4, days) [°C a unit], in the order of SERIES. Those of sun and season leave freezing out.
    """
    straw = np.broadcast_to(np.asarray(cover_m2k_w, dtype=np.float64), felt.temperature_c.shape)
    natural = felt.resistance_m2k_w
    sun = SUN_UNIT * felt.warming_c
    dry = SoilColumn(soil.conductivity_w_mk, soil.heat_capacity_mj_m3k, soil.depths_m, soil.step_s)
    whole = _run(felt.temperature_c, natural + straw, day_of_year, soil)
    thicker = _run(felt.temperature_c, natural * (1.0 + LAYER_UNIT) + straw, day_of_year, soil)
    sunned = _run(sun, natural + straw, day_of_year, dry)
    seasoned = _run(sun * turn, natural + straw, day_of_year, dry)
    return whole, np.stack([np.ones_like(whole), sunned, thicker - whole, seasoned])


def _run(forcing_c: FloatArray, resistance: FloatArray, day_of_year: FloatArray, soil: SoilColumn) -> FloatArray:
    start = column.steady_state(annual_wave(forcing_c[0], day_of_year), day_of_year[0], resistance.mean(), soil)
    state = start if soil.freezing is None else column.with_ice(start)
    return column.advance(state, forcing_c, resistance, soil)[1].soil_c[0, :, 0]


def error_covariance(day: FloatArray, errors: Errors = Errors()) -> FloatArray:
    """Covariance [°C²] between readings on days `day` (n,) of what the series cannot explain, (n, n)."""
    gap = np.abs(day[:, None] - day[None, :])
    weather = errors.weather_c**2 * np.exp(-gap / errors.weather_days)
    spell = errors.spell_c**2 * np.exp(-gap / errors.spell_days)
    return np.asarray(weather + spell + errors.reading_c**2 * np.eye(len(day)))


def learn(miss_c: FloatArray, series: FloatArray, day: FloatArray, errors: Errors = Errors()) -> Learned:
    """Bayesian linear update of a place from readings; wild ones are set aside, the worst first.

    Parameters
    ----------
    miss_c
        Reading less estimate [°C], (n,).
    series
        The sensitivity series on those days, (4, n).
    day
        Day number of each reading, from any origin, (n,).

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
    whole = series.T @ PLACES @ series + error_covariance(day, errors)
    while used.any():
        precision = np.linalg.inv(whole[np.ix_(used, used)])
        weighted = precision @ miss_c[used]
        score = np.abs(weighted) / np.sqrt(np.diag(precision))
        if score.max() <= QUESTIONED_SD:
            break
        used[np.flatnonzero(used)[score.argmax()]] = False
    if not used.any():
        return Learned(np.zeros(len(SERIES)), PLACES.copy(), given)
    shown = series[:, used]
    gain = PLACES @ shown @ np.linalg.inv(whole[np.ix_(used, used)])
    covariance = PLACES - gain @ shown.T @ PLACES
    return Learned(gain @ miss_c[used], (covariance + covariance.T) / 2.0, given & ~used)


def spread_c(
    series: FloatArray,
    covariance: FloatArray,
    soil_c: FloatArray,
    errors: Errors = Errors(),
) -> FloatArray:
    """Standard deviation of the daily mean [°C], (days,): the place's, and the day's own.

    var = x′ P x + base² + (sun · x_sun)² + (frost · min(T, 0))²
    """
    place = np.einsum("pd,pq,qd->d", series, covariance, series)
    day = errors.base_c**2 + (errors.sun * series[1]) ** 2 + (errors.frost * np.minimum(soil_c, 0.0)) ** 2
    return np.asarray(np.sqrt(np.maximum(place, 0.0) + day))
