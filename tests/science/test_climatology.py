"""A place's own years: its mean year, the dates of its frosts, and chances that do not promise too much."""

import json
import math
from datetime import date
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.science import climatology as climate

CASES = json.loads((Path(__file__).parents[1] / "reference" / "climatology.json").read_text(encoding="utf-8"))
DATES = climate.MixedDates(share=1.0, mean_day=104.0, spread_days=9.1165, years=10)


def cases(equation):
    return [pytest.param(case, id=case["id"]) for case in CASES if case["equation"] == equation]


def season_dates(days):
    days = np.array(days, dtype=float)
    return climate.SeasonDates(np.arange(len(days)), days, np.full(len(days), True))


def minima(first, last, **cold):
    """Minima of 10 °C with named exceptions: d2019_04_20=-1.0."""
    values = np.full((last - first).days + 1, 10.0)
    for name, value in cold.items():
        values[(date(*map(int, name[1:].split("_"))) - first).days] = value
    return values


def test_every_reference_value_is_asked_for():
    asked = {"fit_mixed_dates", "day_at_chance_after", "chance_over_years", "empirical_exceedance"}
    assert {case["equation"] for case in CASES} == asked


# --- chances ---


@pytest.mark.parametrize("case", cases("fit_mixed_dates"))
def test_fit_of_dates(case):
    found = climate.fit_mixed_dates(season_dates(case["inputs"]["days"]))
    numbers = [found.share, found.mean_day, found.spread_days, found.years]
    assert numbers == pytest.approx(case["expected"], abs=case["tolerance"])


@pytest.mark.parametrize("case", cases("day_at_chance_after"))
def test_day_at_chance(case):
    inputs = dict(case["inputs"])
    chance = inputs.pop("chance")
    found = climate.day_at_chance_after(climate.MixedDates(**inputs, years=10), chance)
    assert found == pytest.approx(case["expected"], abs=case["tolerance"])


@pytest.mark.parametrize("case", cases("chance_over_years"))
def test_chance_over_years(case):
    assert climate.chance_over_years(**case["inputs"]) == pytest.approx(case["expected"], abs=case["tolerance"])


@pytest.mark.parametrize("case", cases("empirical_exceedance"))
def test_empirical_exceedance(case):
    values = case["inputs"]["values"]
    found = climate.empirical_exceedance(values)[values.index(case["inputs"]["of"])]
    assert found == pytest.approx(case["expected"], abs=case["tolerance"])


def test_exceedance_leaves_out_what_is_not_known_and_gives_equals_the_same():
    found = climate.empirical_exceedance([3.0, math.nan, 1.0, 3.0])
    assert found == pytest.approx([2 / 4, math.nan, 3 / 4, 2 / 4], nan_ok=True)
    assert climate.empirical_exceedance([]).shape == (0,)


@given(st.floats(0.06, 0.94), st.floats(0.06, 1.0))
def test_day_and_chance_undo_each_other(chance, share):
    dates = climate.MixedDates(share=share, mean_day=104.0, spread_days=9.0, years=20)
    for day_at, chance_at in (
        (climate.day_at_chance_after, climate.chance_after),
        (climate.day_at_chance_before, climate.chance_before),
    ):
        day = day_at(dates, chance)
        assert np.isnan(day) if chance >= share else chance_at(dates, day) == pytest.approx(chance, abs=1e-6)


def test_chance_after_by_the_standard_library():
    days = np.array([92.0, 104.0, 111.0])
    expected = [0.8 * (1.0 - NormalDist(104.0, 9.0).cdf(day)) for day in days]
    dates = climate.MixedDates(share=0.8, mean_day=104.0, spread_days=9.0, years=20)
    assert climate.chance_after(dates, days) == pytest.approx(expected, abs=1e-6)


@given(st.integers(0, 60), st.floats(-400, 800))
def test_a_handful_of_years_never_promises(years, day):
    for share in (0.0, 0.5, 1.0):
        spread = 9.0 if share else math.nan
        dates = climate.MixedDates(share=share, mean_day=104.0 if share else math.nan, spread_days=spread, years=years)
        for found in (climate.chance_after(dates, day), climate.chance_before(dates, day)):
            least = 1.0 / (2.0 * (years + 1))
            assert np.isnan(found) if years == 0 else least - 1e-12 <= found <= 1.0 - least + 1e-12


def test_a_later_day_is_safer_from_the_last_frost_and_less_safe_from_the_first():
    days = np.arange(60.0, 150.0)
    assert (np.diff(climate.chance_after(DATES, days)) <= 0).all()
    assert (np.diff(climate.chance_before(DATES, days)) >= 0).all()
    assert climate.chance_after(DATES, 104.0) == climate.chance_after(DATES, days)[44]


def test_few_dates_are_spread_by_judgement_and_none_are_rare():
    one = climate.fit_mixed_dates(season_dates([100.0, math.nan, math.nan]))
    assert (one.share, one.spread_days, one.years) == (1 / 3, climate.SPREAD_OF_FEW_DATES_DAYS, 3)
    never = climate.fit_mixed_dates(season_dates([math.nan] * 9))
    assert (never.share, never.years) == (0.0, 9)
    assert climate.chance_after(never, 50.0) == 1 / 20
    assert np.isnan(climate.day_at_chance_after(never, 0.1))
    same = climate.fit_mixed_dates(season_dates([100.0] * 5))
    assert same.spread_days == climate.LEAST_SPREAD_DAYS


def test_no_known_season_is_not_known():
    nothing = climate.fit_mixed_dates(climate.SeasonDates(np.array([1]), np.array([math.nan]), np.array([False])))
    assert nothing.years == 0
    assert np.isnan(climate.chance_after(nothing, 100.0))
    assert np.isnan(climate.day_at_chance_before(nothing, 0.5))


# --- dates ---


def test_last_and_first_north():
    """24 July parts the seasons north of the equator: climate.usu.edu."""
    values = minima(
        date(2019, 1, 1), date(2020, 12, 31),
        d2019_01_10=-5.0, d2019_03_01=-2.0, d2019_04_20=0.0, d2019_07_23=0.1, d2019_10_05=-0.1, d2020_01_20=-9.0,
        d2020_05_02=-1.0,
    )  # fmt: skip
    last = climate.last_in_spring(date(2019, 1, 1), values, 0.0)
    assert last.years.tolist() == [2019, 2020]
    assert last.day.tolist() == [110.0, 123.0]
    assert last.known.all()
    first = climate.first_in_autumn(date(2019, 1, 1), values, 0.0)
    assert first.years.tolist() == [2018, 2019, 2020]
    assert first.known.tolist() == [False, True, False]  # the ends of the record show too little of their autumns
    assert first.day[1] == 278.0


@pytest.mark.parametrize(
    ("day", "spring_day", "autumn_day"), [("d2019_07_23", 204.0, None), ("d2019_07_24", None, 205.0)]
)
def test_the_boundary_day_north(day, spring_day, autumn_day):
    values = minima(date(2019, 1, 24), date(2020, 1, 23), **{day: -3.0})
    spring = climate.last_in_spring(date(2019, 1, 24), values, 0.0)
    autumn = climate.first_in_autumn(date(2019, 1, 24), values, 0.0)
    assert spring.day == pytest.approx([spring_day or math.nan], nan_ok=True)
    assert autumn.day == pytest.approx([autumn_day or math.nan], nan_ok=True)


@pytest.mark.parametrize(
    ("day", "spring_day", "autumn_day"), [("d2020_01_23", 388.0, None), ("d2020_01_24", None, 24.0)]
)
def test_the_boundary_day_south(day, spring_day, autumn_day):
    """24 January parts the seasons south of the equator: climate.usu.edu."""
    values = minima(date(2019, 7, 24), date(2020, 7, 23), **{day: -3.0})
    spring = climate.last_in_spring(date(2019, 7, 24), values, 0.0, southern=True)
    autumn = climate.first_in_autumn(date(2019, 7, 24), values, 0.0, southern=True)
    assert (spring.years.tolist(), autumn.years.tolist()) == ([2019], [2020])
    assert spring.day == pytest.approx([spring_day or math.nan], nan_ok=True)
    assert autumn.day == pytest.approx([autumn_day or math.nan], nan_ok=True)


def test_an_autumn_runs_into_the_next_year():
    values = minima(date(2019, 7, 24), date(2020, 1, 23), d2020_01_03=-1.0)
    assert climate.first_in_autumn(date(2019, 7, 24), values, 0.0).day.tolist() == [368.0]


@pytest.mark.parametrize(("missing", "known"), [(10, True), (11, False)])
def test_ten_missing_days_are_borne(missing, known):
    values = minima(date(2019, 1, 24), date(2019, 7, 23), d2019_04_20=-1.0)
    values[:missing] = math.nan
    found = climate.last_in_spring(date(2019, 1, 24), values, 0.0)
    assert found.known.tolist() == [known]
    assert found.day == pytest.approx([110.0 if known else math.nan], nan_ok=True)


@pytest.mark.parametrize(
    ("day", "begun"),
    [
        (date(2027, 1, 23), date(2026, 7, 24)),
        (date(2027, 1, 24), date(2027, 1, 24)),
        (date(2027, 7, 23), date(2027, 1, 24)),
        (date(2027, 7, 24), date(2027, 7, 24)),
        (date(2027, 12, 31), date(2027, 7, 24)),
    ],
)
def test_the_day_a_season_began(day, begun):
    assert climate.season_begun(day) == begun


def test_no_record_has_no_seasons():
    assert climate.last_in_spring(date(2019, 1, 1), [], 0.0).years.shape == (0,)


@given(st.integers(0, 2**32 - 1))
def test_a_colder_threshold_is_passed_earlier_in_spring_and_later_in_autumn(seed):
    values = np.random.default_rng(seed).normal(3.0, 4.0, 365 * 3)
    warm, cold = (climate.last_in_spring(date(2018, 1, 1), values, limit).day for limit in (0.0, -2.2))
    assert not (cold > warm).any()
    warm, cold = (climate.first_in_autumn(date(2018, 1, 1), values, limit).day for limit in (0.0, -2.2))
    assert not (cold < warm).any()


# --- the mean year ---


def course(day, mean=9.0, cosine=-8.0, sine=-3.0, twice=0.7):
    angle = 2 * np.pi * day / 365.25
    return mean + cosine * np.cos(angle) + sine * np.sin(angle) + twice * np.cos(2 * angle)


def test_a_year_made_of_two_waves_comes_back():
    day = np.tile(np.arange(1.0, 366.0), 3)
    found = climate.fit_mean_year(day, course(day))
    assert found.coefficients == pytest.approx([9.0, -8.0, -3.0, 0.7, 0.0], abs=1e-9)
    assert found.spread == pytest.approx(0.0, abs=1e-9)
    assert found.days == 3 * 365
    assert climate.mean_year_at(found, day) == pytest.approx(course(day))
    assert climate.mean_year_at(found, 100.0) == pytest.approx(course(100.0))


def test_gaps_are_left_out_and_the_spread_is_found():
    day = np.tile(np.arange(1.0, 366.0), 8)
    rng = np.random.default_rng(4)
    values = course(day) + rng.normal(0.0, 3.0, day.shape)
    values[rng.random(day.shape) < 0.2] = math.nan
    found = climate.fit_mean_year(day, values)
    assert found.coefficients[:3] == pytest.approx([9.0, -8.0, -3.0], abs=0.3)
    assert found.spread == pytest.approx(3.0, abs=0.2)
    assert found.days == np.isfinite(values).sum()


def test_it_is_the_least_squares_of_a_reference_library():
    """`numpy.linalg.lstsq` on a row a day: over whole days of the year, and over parts of days."""
    rng = np.random.default_rng(6)
    for day in (rng.integers(1, 367, 4000).astype(float), rng.uniform(1.0, 366.0, 4000)):
        values = course(day) + rng.normal(0.0, 3.0, day.shape)
        angles = 2 * np.pi * np.outer(day, [1, 2]) / 365.25
        waves = np.stack([np.ones_like(day), *(w(a) for a in angles.T for w in (np.cos, np.sin))], axis=1)
        expected, left, _, _ = np.linalg.lstsq(waves, values, rcond=None)
        found = climate.fit_mean_year(day, values)
        assert found.coefficients == pytest.approx(expected, abs=1e-11)
        assert found.spread == pytest.approx(math.sqrt(left[0] / (4000 - 5)), abs=1e-11)
        assert climate.mean_year_at(found, day) == pytest.approx(waves @ expected, abs=1e-11)


def test_one_wave_on_request():
    day = np.arange(1.0, 366.0)
    assert climate.fit_mean_year(day, course(day, twice=0.0), harmonics=1).coefficients.shape == (3,)


def test_half_a_year_says_nothing_about_the_other_half():
    summer = np.tile(np.arange(90.0, 270.0), 5)
    found = climate.fit_mean_year(summer, course(summer))
    assert np.isnan(found.coefficients).all()
    assert np.isnan(climate.mean_year_at(found, 10.0))


def test_an_unknown_day_of_the_year_is_unknown():
    day = np.arange(1.0, 366.0)
    found = climate.mean_year_at(climate.fit_mean_year(day, course(day)), np.array([[1.0, math.nan]]))
    assert np.isnan(found).tolist() == [[False, True]]
