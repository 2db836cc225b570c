"""What forecasts have been worth at a place: bias, spread and shape of their errors by lead day, learned from pairs.

A pair is a value as it was forecast and the one measured afterwards. The error (measured less forecast) is a regression
on what was known when the forecast was issued: the clearness of the night, the season, and how unusual the forecast was
for it; its spread is a second regression on the same. What both leave over gives the shape of the errors: its quantiles
near the case asked for, so that fat tails and skewness are kept. A Gaussian prior, stated below, speaks until pairs do.
Leads, or places, stand on the first axes and are learned at once.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haulm.science.frost import normal_cdf, spread_by_lead_c

FloatArray = NDArray[np.float64]

# The prior, in °C; all sizes judgement unless said.
SERIES = ("always", "clear", "season cos", "season sin", "unusual")
# Forecasts of clear, calm nights are 1 to 2 °C too warm, little dependent on lead (a published verification of a
# global model); the low end, since what is given for a place is mostly put right already.
BIAS_C = np.array([0.0, -1.0, 0.0, 0.0, 0.0])
BIAS_SPREAD_C = np.array([0.8, 0.7, 0.3, 0.3, 0.4])  # the last for lead day 1; it grows with the lead's own spread
USUAL_CASE = np.array([1.0, 0.35, 0.7, 0.7, 0.7])  # a case whose whole spread is that by lead day
LOG_VARIANCE = np.array([0.0, 0.3, 0.0, 0.0, 0.0])  # clear nights vary more than covered ones
LOG_VARIANCE_SPREAD = np.array([0.6, 0.7, 0.4, 0.4, 0.2])
UNUSUAL_UNIT_C = 5.0  # one unit of "unusual" is so far from the mean year

PAIR_WEIGHT = 0.35  # judgement: errors of one spell of weather are alike, so a pair tells about a third of its own
HALF_LIFE_DAYS = 365.0  # judgement: forecasts get better and change; a year-old pair counts half
PRIOR_WEIGHT = 2.0  # judgement: pairs, so weighed, that the prior's normal shape stands for
ROUNDS, STEPS = 3, 3
FARTHEST_SD = 4.0  # an error further off than this moves the spread no more than this

# Width of what counts as near the case asked for: forecast [°C], clearness, days of the season. Chosen among a few on
# measured stations with a neighbour's, a lagged and a noisy forecast (DEVELOPERS.md, "Chances of frost").
NEAR_C, NEAR_CLEAR, NEAR_DAYS = 2.5, 0.25, 60.0
YEAR_DAYS = 365.25
SMOOTHED_SD = 0.2  # each error stands for a small normal one of this share of the spread
QUANTILES = 40
_GRID = 25


@dataclass(frozen=True, slots=True, eq=False)
class Cases:
    """Forecasts as issued, arrays of one shape (..., cases); NaN in any field is not known.

    `value_c` as forecast, `unusual_c` how far above the mean year, `clear` the weight of a clear, calm night (0 to 1),
    `day_of_year` of the day forecast.
    """

    value_c: FloatArray
    unusual_c: FloatArray
    clear: FloatArray
    day_of_year: FloatArray

    @property
    def series(self) -> FloatArray:
        """The regressors, (..., cases, 5); what is not known counts as usual."""
        angle = 2.0 * np.pi * self.day_of_year / YEAR_DAYS
        unusual = np.clip(np.nan_to_num(self.unusual_c / UNUSUAL_UNIT_C), -3.0, 3.0)
        clear = np.nan_to_num(self.clear, nan=USUAL_CASE[1])
        return np.stack([np.ones_like(angle), clear, np.cos(angle), np.sin(angle), unusual], axis=-1)


@dataclass(frozen=True, slots=True, eq=False)
class Skill:
    """What was learned of each lead: arrays of shape (..., ) and what follows.

    Attributes
    ----------
    bias_c, covariance_c2
        Coefficients of the error, (..., 5), and their covariance (..., 5, 5).
    log_variance
        Coefficients of the logarithm of its variance, (..., 5).
    pairs, left, weight
        The pairs, their standardised errors after both regressions, and what each weighs, (..., pairs).
    """

    bias_c: FloatArray
    covariance_c2: FloatArray
    log_variance: FloatArray
    pairs: Cases
    left: FloatArray
    weight: FloatArray

    def at(self, rows: ArrayLike) -> "Skill":
        """The same for chosen rows of the first axis, each as often as it is named."""
        at = np.asarray(rows, dtype=np.int64)
        pairs = Cases(
            self.pairs.value_c[at], self.pairs.unusual_c[at], self.pairs.clear[at], self.pairs.day_of_year[at]
        )
        learned = (self.bias_c[at], self.covariance_c2[at], self.log_variance[at])
        return Skill(*learned, pairs, self.left[at], self.weight[at])


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """Cases put right: the mean and standard deviation to expect [°C], and equally likely errors about that mean.

    `errors_c` is (..., cases, quantiles), with mean 0; a normal one of the remaining variance lies about each.
    """

    mean_c: FloatArray
    spread_c: FloatArray
    errors_c: FloatArray


def learn(pairs: Cases, error_c: ArrayLike, age_days: ArrayLike, lead_days: ArrayLike) -> Skill:
    """Bayesian regression of errors and of their spread, each on the same five series.

    Parameters
    ----------
    pairs
        The forecasts as they were issued, (..., pairs).
    error_c
        Measured less forecast [°C], (..., pairs); NaN is no pair.
    age_days
        How long ago the day was that was forecast, (..., pairs).
    lead_days
        Lead of each row, (...,): its prior spread is `spread_by_lead_c`.
    """
    error = np.asarray(error_c, dtype=np.float64)
    told = np.isfinite(error) & np.isfinite(pairs.value_c)
    weight = np.where(told, PAIR_WEIGHT * 0.5 ** (np.asarray(age_days, dtype=np.float64) / HALF_LIFE_DAYS), 0.0)
    error, series = np.where(told, error, 0.0), np.where(told[..., None], pairs.series, 0.0)
    bias_spread, log_variance = _prior(np.asarray(lead_days, dtype=np.float64))
    found, bias, covariance = log_variance, np.zeros_like(bias_spread), np.zeros((*bias_spread.shape, 5))
    for _ in range(ROUNDS):
        bias, covariance = _bias(series, error, weight, found, bias_spread)
        left = error - np.einsum("...ni,...i->...n", series, bias)
        square = left**2 + np.einsum("...ni,...ij,...nj->...n", series, covariance, series)
        found = _log_variance(series, square, weight, found, log_variance)
    left = error - np.einsum("...ni,...i->...n", series, bias)
    return Skill(bias, covariance, found, pairs, left / np.sqrt(_variance(series, found)), weight)


def _prior(lead_days: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Spread of the coefficients and log variance of the rest, so that the usual case has the spread of its lead."""
    whole = spread_by_lead_c(lead_days)
    growing = (whole / spread_by_lead_c(1.0))[..., None]
    bias_spread = np.where(np.arange(len(SERIES)) == SERIES.index("unusual"), growing, 1.0) * BIAS_SPREAD_C
    of_bias = ((bias_spread * USUAL_CASE) ** 2).sum(axis=-1)
    rest = np.log(whole**2 - of_bias) - USUAL_CASE[1] * LOG_VARIANCE[1]
    return bias_spread, rest[..., None] * np.array([1.0, 0.0, 0.0, 0.0, 0.0]) + LOG_VARIANCE


def _variance(series: FloatArray, log_variance: FloatArray) -> FloatArray:
    return np.asarray(np.exp(np.clip(np.einsum("...ni,...i->...n", series, log_variance), -4.0, 5.0)))


def _bias(
    series: FloatArray, error: FloatArray, weight: FloatArray, log_variance: FloatArray, prior_spread: FloatArray
) -> tuple[FloatArray, FloatArray]:
    precise = series * (weight / _variance(series, log_variance))[..., None]
    prior = np.eye(5) / prior_spread[..., None] ** 2
    covariance = np.linalg.inv(prior + np.swapaxes(precise, -1, -2) @ series)
    said = prior @ BIAS_C + np.einsum("...ni,...n->...i", precise, error)
    return np.einsum("...ij,...j->...i", covariance, said), np.asarray(covariance, dtype=np.float64)


def _log_variance(
    series: FloatArray, square: FloatArray, weight: FloatArray, start: FloatArray, prior: FloatArray
) -> FloatArray:
    """Fisher scoring of a gamma regression with logarithmic link and a Gaussian prior."""
    precision = np.diag(LOG_VARIANCE_SPREAD**-2.0)
    curved = 0.5 * np.swapaxes(series * weight[..., None], -1, -2) @ series + precision
    found = start
    for _ in range(STEPS):
        over = np.minimum(square / _variance(series, found), FARTHEST_SD**2) - 1.0
        slope = 0.5 * np.einsum("...ni,...n->...i", series, weight * over) - (found - prior) @ precision
        found = found + np.clip(np.linalg.solve(curved, slope[..., None])[..., 0], -2.0, 2.0)
    return found


def put_right(skill: Skill, cases: Cases) -> Outlook:
    """What to expect of new forecasts, (..., cases); an unknown forecast stays unknown."""
    series = cases.series
    mean = np.einsum("...ni,...i->...n", series, skill.bias_c)
    unsure = np.einsum("...ni,...ij,...nj->...n", series, skill.covariance_c2, series)
    spread = np.sqrt(_variance(series, skill.log_variance) + unsure)
    shape = _shape(skill, cases)
    middle = shape.mean(axis=-1)
    errors = (shape - middle[..., None]) * spread[..., None]
    whole = spread * np.sqrt(shape.var(axis=-1) + SMOOTHED_SD**2)
    return Outlook(cases.value_c + mean + middle * spread, whole, errors)


def _shape(skill: Skill, cases: Cases) -> FloatArray:
    """Quantiles of the standardised errors near each case, (..., cases, quantiles): a normal prior, then pairs."""
    grid = _normal_grid()
    near = _nearness(skill.pairs, cases) * skill.weight[..., None, :]
    prior = np.full((*near.shape[:-1], _GRID), PRIOR_WEIGHT / _GRID)
    left = np.broadcast_to(skill.left[..., None, :], near.shape)
    values = np.concatenate([left, np.broadcast_to(grid, prior.shape)], axis=-1)
    weights = np.concatenate([near, prior], axis=-1)
    return _quantiles(values, weights)


def _nearness(pairs: Cases, cases: Cases) -> FloatArray:
    """How near each pair is to each case, (..., cases, pairs), 0 to 1."""
    apart = np.abs(cases.day_of_year[..., :, None] - pairs.day_of_year[..., None, :])
    apart = np.minimum(apart, YEAR_DAYS - apart) / NEAR_DAYS
    colder = (cases.value_c[..., :, None] - pairs.value_c[..., None, :]) / NEAR_C
    clearer = (cases.clear[..., :, None] - pairs.clear[..., None, :]) / NEAR_CLEAR
    off = np.nan_to_num(colder) ** 2 + np.nan_to_num(clearer) ** 2 + np.nan_to_num(apart) ** 2
    return np.asarray(np.exp(-0.5 * off))


def _quantiles(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Weighted quantiles in the middle of equal steps, along the last axis."""
    order = np.argsort(values, axis=-1)
    sorted_values = np.take_along_axis(values, order, axis=-1)
    summed = np.cumsum(np.take_along_axis(weights, order, axis=-1), axis=-1)
    steps = (np.arange(QUANTILES) + 0.5) / QUANTILES
    wanted = summed[..., -1:] * steps
    flat, goals, held = (a.reshape(-1, a.shape[-1]) for a in (summed, wanted, sorted_values))
    found = [np.searchsorted(row, goal) for row, goal in zip(flat, goals, strict=True)]
    taken = [row[np.minimum(at, len(row) - 1)] for row, at in zip(held, found, strict=True)]
    return np.array(taken).reshape(wanted.shape)


@cache
def _normal_grid() -> FloatArray:
    """Standard normal quantiles in the middle of equal steps, by inverting the distribution function on a fine line."""
    line = np.linspace(-4.0, 4.0, 1601)
    steps = (np.arange(_GRID) + 0.5) / _GRID
    grid = np.asarray(np.interp(steps, normal_cdf(line), line))
    grid.setflags(write=False)
    return grid


def chance_at_or_below(limit_c: ArrayLike, mean_c: ArrayLike, spread_c: ArrayLike, errors_c: ArrayLike) -> FloatArray:
    """Chance (0 to 1, both shut out by no floor) of a value at or below a limit.

    Parameters
    ----------
    limit_c, mean_c, spread_c
        Limit, expected value and its whole standard deviation [°C], (...,).
    errors_c
        Equally likely errors about the mean [°C], (..., quantiles); a single 0 makes it normal.
    """
    errors = np.asarray(errors_c, dtype=np.float64)
    left = np.asarray(spread_c, dtype=np.float64) ** 2 - errors.var(axis=-1)
    smooth = np.sqrt(np.maximum(left, 1e-12))
    gap = np.asarray(limit_c, dtype=np.float64) - np.asarray(mean_c, dtype=np.float64)
    return np.asarray(normal_cdf((gap[..., None] - errors) / smooth[..., None]).mean(axis=-1))
