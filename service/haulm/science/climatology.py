"""What a place's own years say: its mean year, the dates of its frosts, and chances out of a handful of years.

The thresholds for frosts are in `frost`. Every result carries how many years it rests on: below about ten, whoever
uses it should hedge. No chance drawn from n years is nearer to 0 or 1 than 1/(2(n+1)) (judgement: half of what the
empirical rule m/(n+1) gives to the rarest of n).
"""

from dataclasses import dataclass
from datetime import date
from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haulm.science.frost import normal_cdf

FloatArray = NDArray[np.float64]

YEAR_DAYS = 365.25
MOST_DAYS = 366
FEWEST_DAYS_OF_THE_YEAR = 300  # judgement: different days of the year known, for a mean year to be seen whole
MOST_MISSING_DAYS = 10  # in a season, before its date counts as unknown: climate.usu.edu
# Frost, freeze and hard freeze: 36, 32 and 28 °F, US National Weather Service (weather.gov/jan/frostfreeze).
FROST_LIMITS_C = (20.0 / 9.0, 0.0, -20.0 / 9.0)
FEWEST_DATES_FOR_A_SPREAD = 3  # judgement
SPREAD_OF_FEW_DATES_DAYS = 14.0  # judgement: what the spread is taken for when there are fewer dates
LEAST_SPREAD_DAYS = 1.0  # judgement: a date is known to the day


@dataclass(frozen=True, slots=True, eq=False)
class MeanYear:
    """A quantity's mean course through the year, in the quantity's own unit.

    Attributes
    ----------
    coefficients
        Mean, then cosine and sine amplitude of each harmonic of 365.25 days, the angle 0 at day 0: the form that
        `soil_temperature.steady_state` takes. NaN where too little is known.
    spread
        Standard deviation of the known days about it.
    days
        How many days it rests on.
    """

    coefficients: FloatArray
    spread: float
    days: int


def fit_mean_year(day_of_year: ArrayLike, values: ArrayLike, harmonics: int = 2) -> MeanYear:
    """Least squares of harmonics of the year to the known days.

    Parameters
    ----------
    day_of_year
        Day of the year of each value, 1 to 366, (days,).
    values
        The quantity on each day, (days,); NaN is not known and left out. Days of any number of years, in any order.
    harmonics
        How many waves a year: 1 is a plain annual wave.

    Returns
    -------
    MeanYear
        All NaN when fewer than 300 different days of the year are known: a fit over half a year would say anything
        about the other half.
    """
    day, known_values = np.asarray(day_of_year, dtype=np.float64), np.asarray(values, dtype=np.float64)
    known = np.isfinite(known_values) & np.isfinite(day)
    day, known_values = day[known], known_values[known]
    terms = 1 + 2 * harmonics
    if _different_days(day) < FEWEST_DAYS_OF_THE_YEAR:
        return MeanYear(np.full(terms, np.nan), float("nan"), len(day))
    waves, at = _waves_of(day, terms)
    # Equal days of the year have equal waves, so each is asked once: the normal equations of a whole record are small,
    # and over 300 different days as good as exact.
    often, total = np.bincount(at, minlength=len(waves)), np.bincount(at, known_values, minlength=len(waves))
    coefficients: FloatArray = np.asarray(np.linalg.solve(waves.T @ (waves * often[:, None]), waves.T @ total))
    left = known_values - (waves @ coefficients)[at]
    return MeanYear(coefficients, float(np.sqrt(np.sum(left**2) / (len(day) - terms))), len(day))


def mean_year_at(mean_year: MeanYear, day_of_year: ArrayLike) -> FloatArray:
    """The mean year's value on days of the year, of any shape; NaN gives NaN."""
    day = np.asarray(day_of_year, dtype=np.float64)
    waves, at = _waves_of(day, len(mean_year.coefficients))
    return np.asarray((waves @ mean_year.coefficients)[at])


def _different_days(day: FloatArray) -> int:
    whole = np.floor(day).astype(np.int64)
    return int(np.count_nonzero(np.bincount(whole - whole.min()))) if whole.size else 0


def _waves_of(day: FloatArray, terms: int) -> tuple[FloatArray, NDArray[np.int64]]:
    """Waves, (rows, terms), and which row is each day's: those of a year kept from before where all days are whole."""
    if day.size and bool(((day % 1.0 == 0.0) & (day >= 0.0) & (day <= MOST_DAYS)).all()):
        return _waves_of_a_year(terms), day.astype(np.int64)
    return _waves(day.ravel(), terms), np.arange(day.size).reshape(day.shape)


@cache
def _waves_of_a_year(terms: int) -> FloatArray:
    return _waves(np.arange(MOST_DAYS + 1.0), terms)


def _waves(day: FloatArray, terms: int) -> FloatArray:
    angles = [2.0 * np.pi * harmonic / YEAR_DAYS * day for harmonic in range(1, (terms + 1) // 2)]
    waves = [wave for angle in angles for wave in (np.cos(angle), np.sin(angle))]
    return np.stack([np.ones_like(day), *waves], axis=-1)


# --- dates at which a season passes a threshold ---


@dataclass(frozen=True, slots=True, eq=False)
class SeasonDates:
    """One date a season, or none.

    Attributes
    ----------
    years
        The year in which each season begins, (seasons,).
    day
        Day counted from 1 January of that year as 1 (an autumn that runs into the next year goes past 365);
        NaN if the threshold was not reached, or that is not known.
    known
        False if more than 10 days of the season are missing.
    """

    years: NDArray[np.int64]
    day: FloatArray
    known: NDArray[np.bool_]


def last_in_spring(first_day: date, air_min_c: ArrayLike, threshold_c: float, *, southern: bool = False) -> SeasonDates:
    """The last day of each spring on which the minimum is at or below a threshold.

    Parameters
    ----------
    first_day
        Day of the first value.
    air_min_c
        Daily minima [°C], one a day without a break, (days,); NaN is a missing day.
    threshold_c
        Threshold [°C].
    southern
        South of the equator: spring begins on 24 July there, else on 24 January.

    Returns
    -------
    SeasonDates
        Every spring of which the record has at least one day.

    References
    ----------
    The boundary of the seasons (24 July north, 24 January south) and the missing days allowed: climate.usu.edu. That
    the other boundary lies half a year from it is judgement.
    """
    return _season_dates(first_day, air_min_c, threshold_c, month=7 if southern else 1, last=True)


def first_in_autumn(
    first_day: date, air_min_c: ArrayLike, threshold_c: float, *, southern: bool = False
) -> SeasonDates:
    """The first day of each autumn on which the minimum is at or below a threshold; autumn begins when spring ends.

    Arguments and result as for `last_in_spring`.
    """
    return _season_dates(first_day, air_min_c, threshold_c, month=1 if southern else 7, last=False)


def season_begun(day: date) -> date:
    """The day on which the season of a day began, 24 January or 24 July, on either side of the equator."""
    begins = (date(day.year, 7, 24), date(day.year, 1, 24), date(day.year - 1, 7, 24))
    return next(begun for begun in begins if begun <= day)


def _season_dates(first_day: date, air_min_c: ArrayLike, threshold_c: float, *, month: int, last: bool) -> SeasonDates:
    minima, begin = np.asarray(air_min_c, dtype=np.float64), first_day.toordinal()
    end = begin + len(minima)
    rows = []
    for year in range(first_day.year - 1, date.fromordinal(end).year + 1):
        start, stop = _season(year, month)
        if max(start, begin) < min(stop, end):
            values = _cut(minima, start - begin, stop - begin)
            offset = start - date(year, 1, 1).toordinal() + 1
            rows.append((year, *_date(values, threshold_c, offset, last=last)))
    years, days, known = zip(*rows, strict=True) if rows else ((), (), ())
    return SeasonDates(np.array(years, dtype=np.int64), np.array(days, dtype=np.float64), np.array(known, dtype=bool))


def _season(year: int, month: int) -> tuple[int, int]:
    """First day of a half-year's season, and the day after its last, as ordinals."""
    after = date(year, 7, 24) if month == 1 else date(year + 1, 1, 24)
    return date(year, month, 24).toordinal(), after.toordinal()


def _date(values: FloatArray, threshold_c: float, offset: int, *, last: bool) -> tuple[float, bool]:
    known = bool(np.isnan(values).sum() <= MOST_MISSING_DAYS)
    reached = np.flatnonzero(values <= threshold_c)
    if not known or not reached.size:
        return float("nan"), known
    return float(offset + reached[-1 if last else 0]), known


def _cut(values: FloatArray, start: int, stop: int) -> FloatArray:
    """values[start:stop] with NaN for what lies outside."""
    whole = np.full(stop - start, np.nan)
    low, high = max(start, 0), min(stop, len(values))
    whole[low - start : high - start] = values[low:high]
    return whole


# --- chances ---


@dataclass(frozen=True, slots=True)
class MixedDates:
    """Dates of a thing that does not come every year: a share of years, times a normal distribution given it comes.

    Attributes
    ----------
    share
        Share of the known years in which it came, as counted.
    mean_day, spread_days
        Mean and standard deviation of its date; NaN if it never came.
    years
        How many years were known. Below about ten: hedge.
    """

    share: float
    mean_day: float
    spread_days: float
    years: int


def fit_mixed_dates(dates: SeasonDates) -> MixedDates:
    """Mixed distribution of dates (NCDC freeze/frost tables; Haan 1979): how often it comes, and when given it comes.

    Seasons that are not known are left out. With fewer than 3 dates the spread is taken for 14 days, and it is never
    below 1 day (both judgement). Without a known season everything is NaN, and `years` 0.
    """
    years = int(np.count_nonzero(dates.known))
    days = dates.day[dates.known & np.isfinite(dates.day)]
    if not years:
        return MixedDates(float("nan"), float("nan"), float("nan"), 0)
    if not len(days):
        return MixedDates(0.0, float("nan"), float("nan"), years)
    few = len(days) < FEWEST_DATES_FOR_A_SPREAD
    spread = SPREAD_OF_FEW_DATES_DAYS if few else max(float(np.std(days, ddof=1)), LEAST_SPREAD_DAYS)
    return MixedDates(len(days) / years, float(np.mean(days)), spread, years)


def bounded_chance(chance: ArrayLike, years: int) -> FloatArray:
    """A chance kept at least 1/(2(n+1)) from 0 and from 1 (judgement); NaN stays NaN, and is all that 0 years give."""
    least = 1.0 / (2.0 * (years + 1.0)) if years > 0 else np.nan
    return np.clip(np.asarray(chance, dtype=np.float64), least, 1.0 - least)


def chance_after(dates: MixedDates, day: ArrayLike) -> FloatArray:
    """Chance, 0 to 1, that it comes on a later day than this (as for a last frost), bounded by the years known."""
    return bounded_chance(_came(dates, np.subtract(dates.mean_day, day)), dates.years)


def chance_before(dates: MixedDates, day: ArrayLike) -> FloatArray:
    """Chance, 0 to 1, that it comes by this day (as for a first frost), bounded by the years known."""
    return bounded_chance(_came(dates, np.subtract(day, dates.mean_day)), dates.years)


def _came(dates: MixedDates, ahead_days: ArrayLike) -> FloatArray:
    """Share of years times the chance given that it comes; 0, for any day that is one, if it never came."""
    ahead = np.asarray(ahead_days, dtype=np.float64)
    if dates.share == 0.0:
        return np.zeros_like(ahead)
    return np.asarray(dates.share * normal_cdf(ahead / dates.spread_days))


def day_at_chance_after(dates: MixedDates, chance: ArrayLike) -> FloatArray:
    """The day after which it comes with a given chance; NaN where it does not come that often at all.

    Parameters
    ----------
    dates
        From `fit_mixed_dates`.
    chance
        0 to 1, any shape. 0.9 is the "90 % spring date": the threshold comes again in 9 of 10 years.

    Returns
    -------
    FloatArray
        Day of the year.
    """
    return dates.mean_day - dates.spread_days * _normal_quantile(np.divide(chance, dates.share or np.nan))


def day_at_chance_before(dates: MixedDates, chance: ArrayLike) -> FloatArray:
    """The day by which it comes with a given chance; arguments and NaN as for `day_at_chance_after`."""
    return dates.mean_day + dates.spread_days * _normal_quantile(np.divide(chance, dates.share or np.nan))


def _normal_quantile(chance: ArrayLike) -> FloatArray:
    each = np.atleast_1d(np.asarray(chance, dtype=np.float64))
    found = np.array([NormalDist().inv_cdf(p) if 0.0 < p < 1.0 else np.nan for p in each.ravel()])
    return found.reshape(np.shape(chance))


def chance_over_years(chance: ArrayLike, years: ArrayLike) -> FloatArray:
    """R = 1 − (1 − P)ⁿ: chance that a thing of yearly chance P comes at least once in n years (from memory)."""
    yearly = np.asarray(chance, dtype=np.float64)
    return np.asarray(1.0 - (1.0 - yearly) ** np.asarray(years, dtype=np.float64))


def empirical_exceedance(values: ArrayLike) -> FloatArray:
    """m/(n+1): the chance of reaching each value, m its rank from the highest (the lowest of equals), n how many.

    Parameters
    ----------
    values
        (years,); NaN is left out of the count and stays NaN.
    """
    array = np.asarray(values, dtype=np.float64)
    known = np.isfinite(array)
    rank = (array[known][None, :] >= array[:, None]).sum(axis=1)
    return np.where(known, rank / (known.sum() + 1.0), np.nan)
