"""How often it rained after a forecast of so much rain, so many days ahead: the chance of a wet day from an amount.

A Beta prior for each class of amount and lead, and the place's own days counted into it.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

WET_MM = 1.0  # a wet day, as climatologists count it: at least 1 mm
EDGES_MM = (0.2, 1.0, 5.0)  # judgement: dry, a trace, some, much rain forecast
PRIOR_CHANCE = np.array([0.07, 0.25, 0.65, 0.88])  # judgement: of a wet day, forecast for the same day or the next
# Judgement: what an amount is worth by lead day 0 to 7; the rest is the place's own share of wet days.
WORTH = np.array([1.0, 1.0, 0.9, 0.8, 0.7, 0.55, 0.45, 0.35])
PRIOR_DAYS = 12.0  # judgement: days of its own that outweigh the prior
HALF_LIFE_DAYS = 365.0  # judgement, as for temperatures
NEXT_LEAD = 0.5  # judgement: a day forecast one day sooner or later tells half as much


def wet_chance(
    forecast_mm: ArrayLike, told_mm: ArrayLike, measured_mm: ArrayLike, age_days: ArrayLike, usual_share: float
) -> FloatArray:
    """Chance (0 to 1, never either end) of at least 1 mm, by lead.

    Parameters
    ----------
    forecast_mm
        Rain now forecast for each lead day from 0, (leads,), at most 8; NaN gives NaN.
    told_mm, measured_mm
        Rain as forecast earlier and as measured, (issues, leads); NaN in either is no pair.
    age_days
        How long ago each forecast day was, (issues, leads).
    usual_share
        Share of the place's days with at least 1 mm; NaN where the record is short: then amounts are taken at the worth
        of the first lead.

    Notes
    -----
    Posterior mean of a Beta distribution: (prior days · prior chance + wet days) / (prior days + days), days weighed by
    age, those of the next leads at half.
    """
    told, measured = np.asarray(told_mm, dtype=np.float64), np.asarray(measured_mm, dtype=np.float64)
    asked = np.asarray(forecast_mm, dtype=np.float64)
    known = np.isfinite(told) & np.isfinite(measured)
    weight = np.where(known, 0.5 ** (np.asarray(age_days, dtype=np.float64) / HALF_LIFE_DAYS), 0.0)
    wet = np.nan_to_num(measured) >= WET_MM
    alike = known[..., None] & (_class(told)[..., None] == np.arange(len(PRIOR_CHANCE)))
    days = _with_neighbours((weight[..., None] * alike).sum(axis=0))
    rained = _with_neighbours((weight[..., None] * (alike & wet[..., None])).sum(axis=0))
    prior = _prior(usual_share)[: days.shape[0]]
    chance = (PRIOR_DAYS * prior + rained) / (PRIOR_DAYS + days)
    lead = np.arange(len(asked))
    return np.where(np.isfinite(asked), chance[lead, _class(asked)], np.nan)


def _class(amount_mm: FloatArray) -> NDArray[np.int64]:
    return np.asarray(np.searchsorted(EDGES_MM, np.nan_to_num(amount_mm), side="right"), dtype=np.int64)


def _prior(usual_share: float) -> FloatArray:
    worth = WORTH[:, None] if np.isfinite(usual_share) else np.ones((len(WORTH), 1))
    usual = usual_share if np.isfinite(usual_share) else 0.0
    return np.asarray(worth * PRIOR_CHANCE + (1.0 - worth) * usual)


def _with_neighbours(counts: FloatArray) -> FloatArray:
    """Counts of each lead with half of those a day sooner and a day later, (leads, classes)."""
    padded = np.pad(counts, ((1, 1), (0, 0)))
    return np.asarray(counts + NEXT_LEAD * (padded[:-2] + padded[2:]))
