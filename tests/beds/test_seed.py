"""The season a seed would have: the next killing frost, or the start of warm nights."""

from datetime import date

import numpy as np
import pytest

from haulm.beds.chances import FrostYears
from haulm.beds.forcing import Climate
from haulm.beds.noted import noted
from haulm.beds.seed import frost_after, heat_after, seed_now
from haulm.garden import Season
from haulm.science.climatology import MixedDates, fit_mean_year
from haulm.settings.thresholds import Thresholds

NEVER = MixedDates(0.0, float("nan"), float("nan"), 10)
NO_RECORD = MixedDates(float("nan"), float("nan"), float("nan"), 0)


def frosts(first, *, southern=False):
    return FrostYears(NEVER, first, southern)


def climate(mean_c, half_c):
    day = np.arange(1.0, 366.0)
    wave = mean_c - half_c * np.cos(2.0 * np.pi * (day - 25.0) / 365.25)
    return Climate(fit_mean_year(day, wave), fit_mean_year(day, wave + 12.0), 1.0, (2020,))


@pytest.mark.parametrize(
    ("first", "mean_day", "frost"),
    [
        (date(2027, 4, 20), 285.0, date(2027, 10, 12)),
        (date(2027, 9, 1), 365.0 + 20.0, date(2028, 1, 20)),  # a mild place: the first frost comes after new year
        (date(2027, 1, 5), 365.0 + 20.0, date(2027, 1, 20)),  # still of the autumn before
        (date(2027, 9, 10), 135.0, date(2028, 5, 14)),  # south of the equator: the next May
    ],
)
def test_the_next_killing_frost_is_found_over_the_turn_of_the_year(first, mean_day, frost):
    assert frost_after(first, frosts(MixedDates(1.0, mean_day, 8.0, 10)), 0.5) == frost


def test_the_frost_is_taken_as_early_as_the_chance_that_is_borne():
    dates = MixedDates(1.0, 285.0, 10.0, 10)
    early = frost_after(date(2027, 4, 20), frosts(dates), 0.2)
    assert (date(2027, 10, 12) - early).days == 9  # the quantile of 0.2 lies 0.84 spreads before the mean


@pytest.mark.parametrize("dates", [NEVER, NO_RECORD, MixedDates(0.1, 300.0, 5.0, 10)])
def test_frost_that_never_or_seldom_comes_ends_no_season(dates):
    assert frost_after(date(2027, 4, 20), frosts(dates), 0.2) is None


def test_warm_nights_begin_where_the_mean_year_passes_the_limit():
    # 16 − 8·cos(2π(d − 25)/365.25) = 20 at a third of the year after the coldest day: 25 + 121.75
    begins = heat_after(date(2027, 1, 20), climate(16.0, 8.0), 20.0)
    assert abs((begins - date(2027, 5, 27)).days) <= 1
    assert heat_after(date(2027, 1, 20), climate(10.0, 8.0), 20.0) is None
    assert heat_after(date(2027, 7, 1), climate(16.0, 8.0), 20.0) == date(2027, 7, 1)  # too warm from its first day


@pytest.mark.parametrize(("season", "mean_c", "by_heat"), [(Season.SPRING, 16.0, True), (Season.SPRING, 10.0, False)])
def test_the_season_ends_with_the_first_of_the_two(make, season, mean_c, by_heat):
    planting = make.planting(season=season, first=date(2027, 2, 1), last=date(2027, 3, 1))
    bought = make.entry(date(2027, 1, 5), "seed bought")
    days = noted(make.journal(bought, make.entry(date(2027, 1, 20), "seed cut")), planting)
    now = seed_now(days, planting, frosts(MixedDates(1.0, 300.0, 5.0, 10)), climate(mean_c, 8.0), Thresholds())
    assert (now.bought, now.cut) == (date(2027, 1, 5), date(2027, 1, 20))
    assert now.ends_by_heat is by_heat
    assert now.season_ends.month == (5 if by_heat else 10)


def test_without_a_record_nothing_is_said_of_the_season(make):
    now = seed_now(
        noted(make.journal(), make.planting()), make.planting(), frosts(NO_RECORD), climate(16.0, 8.0), Thresholds()
    )
    assert now.season_ends is None
