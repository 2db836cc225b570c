"""How much colder than the station's screen leaves in the garden get, night by night, and what readings teach of it.

On a clear, calm night ground and leaves lose warmth to the sky and cold air lies in hollows; under cloud or in wind
all heights are nearly alike. Everything broadcasts; nothing is raised.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haulm.science.evapotranspiration import saturation_vapour_kpa

FloatArray = NDArray[np.float64]

# Judgement: from here to there the night loses its clear, calm character.
CLEAR_CLOUD, COVERED_CLOUD = 0.3, 0.7
CALM_WIND_MS, STIRRED_WIND_MS = 2.0, 4.0

CLEAR_CALM_NIGHTS = 0.35  # judgement: share of nights that are clear and calm, where nothing at all tells
CALM_WHEN_CLEAR = 0.6  # judgement: share of clear nights that are calm as well
CLEAR_WHEN_CALM = 0.5  # judgement: share of calm nights that are clear as well
RANGE_TELLS = 4.0  # judgement: log odds of a clear, calm night for a day's range that is a whole usual range larger
MOST_SHARE = 0.9  # judgement: nothing but cloud and wind themselves makes a night surer than this
FORECAST_DOUBT = 0.2  # judgement: standard deviation of the weight of a night whose cloud and wind are forecast

# Judgement: a clear night of spring has its dew point near 2 °C; there the garden's offset holds as it is set.
USUAL_DEW_POINT_C = 2.0
DRIEST, DAMPEST = 1.25, 0.75  # judgement: no night's loss to the sky is taken to differ more from the usual

# What a garden is taken for before it was measured: standard deviations [°C], all judgement.
CLEAR_PRIOR_C = 1.0  # of what the settings say of clear, calm nights
OTHER_PRIOR_C = 0.5  # of no difference on all other nights
NIGHT_C = 0.7  # one night from the next, of the same kind
READING_C = 0.7  # a minimum thermometer in the garden: the instrument and where it hangs
QUESTIONED_SD = 3.5  # judgement: a reading further than this from what all else says is not believed


@dataclass(frozen=True, slots=True, eq=False)
class GardenNight:
    """How much colder leaves in the garden are than the station [°C]: on clear, calm nights, and on all others.

    Attributes
    ----------
    mean_c, covariance_c2
        (2,) and (2, 2).
    questioned
        Which of the readings it was taught by were not used.
    """

    mean_c: FloatArray
    covariance_c2: FloatArray
    questioned: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Sky:
    """What kind of night it is.

    `share` is the weight of a clear, calm night, 0 to 1, or the chance of one where that is not forecast; `doubt` its
    standard deviation; `dry` the loss to the sky beside that of a usual clear night, 1 where the dew point is unknown.
    """

    share: FloatArray
    doubt: FloatArray
    dry: FloatArray


def clear_and_calm(cloud_fraction: ArrayLike, wind_ms: ArrayLike) -> FloatArray:
    """How much of a clear, calm night it is: a weight from 0 (covered or windy) to 1; NaN where that is not known.

    Parameters
    ----------
    cloud_fraction
        Share of the sky covered in the night, 0 to 1: clear up to 0.3, covered from 0.7.
    wind_ms
        Wind of the night [m/s]: calm up to 2, stirred from 4. All four limits are judgement.

    Notes
    -----
    The lesser of both weights counts. Where one is not known the other may still settle it: a stirred night is not
    calm whatever the clouds.
    """
    clear, calm = _weights(cloud_fraction, wind_ms)
    settled = (clear == 0.0) | (calm == 0.0)
    return np.where(settled, 0.0, np.minimum(clear, calm))


def _weights(cloud_fraction: ArrayLike, wind_ms: ArrayLike) -> tuple[FloatArray, FloatArray]:
    clear = _falling(cloud_fraction, CLEAR_CLOUD, COVERED_CLOUD)
    return clear, _falling(wind_ms, CALM_WIND_MS, STIRRED_WIND_MS)


def _falling(values: ArrayLike, full: float, none: float) -> FloatArray:
    return np.clip((none - np.asarray(values, dtype=np.float64)) / (none - full), 0.0, 1.0)


def night_sky(
    cloud_fraction: ArrayLike, wind_ms: ArrayLike, dew_point_c: ArrayLike, range_ratio: ArrayLike = np.nan
) -> Sky:
    """How clear and calm nights are, as far as it is known.

    Parameters
    ----------
    cloud_fraction, wind_ms, dew_point_c
        Of the night: share of the sky covered (0 to 1), wind [m/s], dew point [°C]. NaN is not known.
    range_ratio
        The day's range of temperature over the usual one of that time of the year: clear skies make it large. NaN is
        not known. Used only where cloud or wind is not known.

    Notes
    -----
    Unknown cloud and wind are neither taken for clear and calm nor for the opposite: the night is a mixture of both
    kinds, and its doubt that of the mixture. Where one of the two is known, it is mixed over the other.
    """
    clear, calm = _weights(cloud_fraction, wind_ms)
    told = _of_range(range_ratio)
    likelier = told / CLEAR_CALM_NIGHTS  # than usual, by the day's range
    either = np.where(np.isnan(clear), CLEAR_WHEN_CALM * likelier, clear) * np.where(
        np.isnan(calm), CALM_WHEN_CLEAR * likelier, calm
    )
    neither = np.isnan(clear) & np.isnan(calm)
    mixed = np.minimum(np.where(neither, told, either), MOST_SHARE)
    weight = clear_and_calm(cloud_fraction, wind_ms)
    known = np.isfinite(weight)
    share = np.where(known, weight, mixed)
    doubt = np.where(known, FORECAST_DOUBT, np.sqrt(share * (1.0 - share)))
    return Sky(share, doubt, _dryness(dew_point_c) * np.ones_like(share))


def _of_range(range_ratio: ArrayLike) -> FloatArray:
    usual = np.log(CLEAR_CALM_NIGHTS / (1.0 - CLEAR_CALM_NIGHTS))
    more = np.nan_to_num(np.asarray(range_ratio, dtype=np.float64) - 1.0, nan=0.0)
    return np.asarray(1.0 / (1.0 + np.exp(-(usual + RANGE_TELLS * np.clip(more, -1.5, 1.5)))))


def _dryness(dew_point_c: ArrayLike) -> FloatArray:
    """Loss to a clear sky over the usual one: (0.34 - 0.14 √ea) of FAO-56 equation 39, ea by equation 14."""
    dew = np.asarray(dew_point_c, dtype=np.float64)
    loss, usual = (0.34 - 0.14 * np.sqrt(saturation_vapour_kpa(at)) for at in (dew, USUAL_DEW_POINT_C))
    return np.nan_to_num(np.clip(loss / usual, DAMPEST, DRIEST), nan=1.0)


def leaf_minimum(
    air_min_c: ArrayLike, air_spread_c: ArrayLike, sky: Sky, garden: GardenNight
) -> tuple[FloatArray, FloatArray]:
    """Minimum at leaf height in the garden and its standard deviation [°C].

    Parameters
    ----------
    air_min_c, air_spread_c
        Screen minimum at the station and its standard deviation [°C]. NaN gives NaN.
    sky
        Of `night_sky`.
    garden
        Of `garden_night`.

    Notes
    -----
    Colder by share · dry · (clear) + (1 - share) · (other). The spread holds the forecast's, what is not known of the
    garden, how nights of one kind differ, and what is not known of the kind of night.
    """
    kind = np.stack([sky.share * sky.dry, 1.0 - sky.share], axis=-1)
    colder = kind @ garden.mean_c
    of_garden = np.einsum("...i,ij,...j->...", kind, garden.covariance_c2, kind)
    of_kind = (sky.doubt * (sky.dry * garden.mean_c[0] - garden.mean_c[1])) ** 2
    air = np.asarray(air_spread_c, dtype=np.float64)
    spread = np.sqrt(air**2 + of_garden + of_kind + NIGHT_C**2)
    return np.asarray(air_min_c, dtype=np.float64) - colder, spread


def garden_night(
    clear_colder_c: float, colder_read_c: ArrayLike = (), sky: Sky | None = None, reading_c: float = READING_C
) -> GardenNight:
    """What is known of a garden: a Gaussian prior, brought up to date by nights read in the garden.

    Parameters
    ----------
    clear_colder_c
        What the settings say of clear, calm nights, the straw's term included [°C].
    colder_read_c
        Station minimum less the minimum read at leaf height [°C], (readings,). Not NaN.
    sky
        Of those nights, (readings,); None without readings.
    reading_c
        Standard deviation of a reading [°C].

    Notes
    -----
    Each reading is weighed against what the prior and all the others say; while the worst of them lies further off than
    3.5 standard deviations it is left out and named in `questioned`.
    """
    read = np.asarray(colder_read_c, dtype=np.float64)
    prior = np.array([clear_colder_c, 0.0]), np.diag([CLEAR_PRIOR_C**2, OTHER_PRIOR_C**2])
    if sky is None or not read.size:
        return GardenNight(*prior, np.zeros(read.shape, dtype=bool))
    kind = np.stack([sky.share * sky.dry, 1.0 - sky.share], axis=-1)
    error = reading_c**2 + NIGHT_C**2 + (sky.doubt * clear_colder_c) ** 2
    used = np.ones(read.shape, dtype=bool)
    while used.any():
        off = _off_by_sd(read, kind, error, used, prior)
        worst = int(np.argmax(np.where(used, off, 0.0)))
        if off[worst] <= QUESTIONED_SD:
            break
        used[worst] = False
    return GardenNight(*_updated(read[used], kind[used], error[used], prior), ~used)


Belief = tuple[FloatArray, FloatArray]


def _updated(read: FloatArray, kind: FloatArray, error: FloatArray, prior: Belief) -> Belief:
    mean, covariance = prior
    precision = np.linalg.inv(covariance)
    after = np.asarray(np.linalg.inv(precision + kind.T @ (kind / error[:, None])), dtype=np.float64)
    return after @ (precision @ mean + kind.T @ (read / error)), after


def _off_by_sd(
    read: FloatArray, kind: FloatArray, error: FloatArray, used: NDArray[np.bool_], prior: Belief
) -> FloatArray:
    """How far each reading lies from what the prior and all other used ones say, in standard deviations."""
    off = np.zeros(len(read))
    for at in np.flatnonzero(used):
        others = used & (np.arange(len(read)) != at)
        mean, covariance = _updated(read[others], kind[others], error[others], prior)
        off[at] = abs(read[at] - kind[at] @ mean) / np.sqrt(kind[at] @ covariance @ kind[at] + error[at])
    return off
