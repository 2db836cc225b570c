"""What becomes of a crop planted on each day: every way to fail on both sides of its limit, and published paces."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.science.crop_fates import Fate, Needs, Seasons, fates

NEEDS = Needs(
    ready_c=10.0, ready_days=3, ahead_days=7, cold_c=7.0, cold_days=5, hot_c=27.0, hot_days=7, night_c=15.0,
    forming_after_days=14, forming_days=42, cool_nights=7, heat_c=27.8, heat_days=30, longest_days=180,
)  # fmt: skip
DAYS, PLANTED = 400, 100


def mild(**changed):
    """A year in which everything goes well; `changed` puts other arrays in its place."""
    values = {
        "bare_c": np.full(DAYS, 18.0),
        "planted_c": np.full(DAYS, 18.0),
        "grown_c": np.full(DAYS, 18.0),
        "air_min_c": np.full(DAYS, 12.0),
        "p_days": np.full(DAYS, 8.0),
        "killing": np.zeros(DAYS, dtype=bool),
    }
    return Seasons(**values | changed)


def with_days(value, first, last, fill, kind=float):
    values = np.full(DAYS, fill, dtype=kind)
    values[PLANTED + first : PLANTED + last] = value
    return values


def fate(weather, needs=NEEDS, p_days=560.0):
    return Fate(int(fates(weather, [p_days], needs).fate[0, PLANTED]))


def test_a_good_year_brings_a_crop():
    found = fates(mild(), [560.0], NEEDS)
    assert Fate(int(found.fate[0, PLANTED])) is Fate.GROWN
    assert found.soil[PLANTED]
    assert found.shoots[PLANTED]
    assert found.nights[PLANTED]
    assert found.warmth[0, PLANTED]


def test_shoots_come_at_the_published_paces():
    """170 °C·d above 3 °C, at most 15 a day, is 11.3 days at 18 °C; Sale 1979's 450 °C·d above 2 °C is 28.1.

    Chitted seed is late three quarters of the way from the one to the other (judgement).
    """
    found = fates(mild(), [560.0], NEEDS)
    assert found.early[PLANTED] == 12
    assert found.late[PLANTED] == 12 + round(0.75 * (29 - 12))


def test_ripeness_is_counted_in_physiological_days():
    """800 P-days at 10 a day (21 °C all day, Sands, Hackett & Nix 1979) take 80 days from the shoots."""
    found = fates(mild(p_days=np.full(DAYS, 10.0)), [800.0], NEEDS)
    likely = 12 + round(0.25 * (29 - 12))
    assert found.ripe[0, PLANTED] == likely + 80


@pytest.mark.parametrize(("soil_c", "expected"), [(10.0, Fate.GROWN), (9.9, Fate.SOIL_COLD)])
def test_the_bare_bed_must_have_been_warm_before_planting(soil_c, expected):
    assert fate(mild(bare_c=with_days(soil_c, -3, 0, 18.0))) is expected


@pytest.mark.parametrize(("soil_c", "expected"), [(10.0, Fate.GROWN), (9.9, Fate.SOIL_COLD)])
def test_soil_must_stay_warm_in_the_week_after_planting(soil_c, expected):
    assert fate(mild(planted_c=with_days(soil_c, 0, 7, 18.0))) is expected


@pytest.mark.parametrize(("days", "expected"), [(4, Fate.GROWN), (5, Fate.SOIL_COLD)])
def test_seed_rots_in_a_cold_spell(days, expected):
    assert fate(mild(planted_c=with_days(6.0, 8, 8 + days, 18.0))) is expected


def test_a_cold_spell_counts_that_is_whole_before_the_likely_shoots():
    """Five days whose last is the day before them rot the seed; one day later the shoots are out first."""
    told = set()
    for first in range(7, 20):
        found = fates(mild(planted_c=with_days(6.0, first, first + 5, 18.0)), [560.0], NEEDS)
        early, late = int(found.early[PLANTED]), int(found.late[PLANTED])
        whole_before = first + 4 < early + round(0.25 * (late - early))
        assert (Fate(int(found.fate[0, PLANTED])) is Fate.SOIL_COLD) is whole_before
        told.add(whole_before)
    assert told == {True, False}


def test_cold_after_the_shoots_rots_no_seed():
    assert fate(mild(planted_c=with_days(6.0, 30, 60, 18.0))) is Fate.GROWN


@pytest.mark.parametrize(("soil_c", "expected"), [(27.0, Fate.GROWN), (27.1, Fate.SOIL_HOT)])
def test_soil_may_not_be_hot_at_planting(soil_c, expected):
    assert fate(mild(planted_c=with_days(soil_c, -3, 0, 18.0))) is expected


@pytest.mark.parametrize(("days", "expected"), [(7, Fate.GROWN), (8, Fate.SOIL_HOT)])
def test_a_hot_week_before_the_shoots_is_borne(days, expected):
    assert fate(mild(planted_c=with_days(28.0, 1, 1 + days, 18.0))) is expected


@pytest.mark.parametrize(("day", "expected"), [(11, Fate.GROWN), (12, Fate.SHOOTS_FROZEN)])
def test_a_killing_frost_counts_from_the_early_shoots(day, expected):
    assert fate(mild(killing=with_days(True, day, day + 1, False, bool))) is expected


def test_a_killing_frost_after_the_forming_days_comes_too_soon_or_too_late():
    found = fates(mild(), [560.0], NEEDS)
    ripe = int(found.ripe[0, PLANTED])
    early, late = (mild(killing=with_days(True, day, day + 1, False, bool)) for day in (ripe, ripe + 1))
    assert fate(early) is Fate.FROST_TOO_SOON
    assert fate(late) is Fate.GROWN


@pytest.mark.parametrize(("night_c", "expected"), [(14.9, Fate.GROWN), (15.0, Fate.NIGHTS_WARM)])
def test_tubers_form_in_nights_below_15(night_c, expected):
    """FAO crop page for potato."""
    assert fate(mild(air_min_c=np.full(DAYS, night_c))) is expected


@pytest.mark.parametrize(("nights", "expected"), [(7, Fate.GROWN), (6, Fate.NIGHTS_WARM)])
def test_a_week_of_cool_nights_is_enough(nights, expected):
    assert fate(mild(air_min_c=with_days(12.0, 40, 40 + nights, 20.0))) is expected


def test_cool_nights_before_and_after_the_forming_days_do_not_count():
    before, after = with_days(12.0, -90, 26, 20.0), with_days(12.0, 16 + 14 + 42, 250, 20.0)
    assert fate(mild(air_min_c=before)) is Fate.NIGHTS_WARM
    assert fate(mild(air_min_c=after)) is Fate.NIGHTS_WARM


@pytest.mark.parametrize(("soil_c", "expected"), [(27.7, Fate.GROWN), (27.8, Fate.HEAT_TOO_SOON)])
def test_a_month_of_hot_soil_ends_the_crop(soil_c, expected):
    """82 °F for about a month: University of Delaware."""
    assert fate(mild(grown_c=with_days(soil_c, 20, 60, 18.0))) is expected


@pytest.mark.parametrize(("first", "expected"), [(15, Fate.GROWN), (16, Fate.HEAT_TOO_SOON)])
def test_the_month_of_heat_counts_from_the_likely_shoots(first, expected):
    """They come on the sixteenth day: a quarter of the way from the twelfth to the twenty-ninth."""
    assert fate(mild(grown_c=with_days(27.8, first, first + 30, 18.0))) is expected


def test_shoots_that_may_never_be_out_bring_no_crop_however_little_is_asked():
    """Two warm weeks are enough by the early bound; by the late one the shoots stay below for good."""
    soil = np.full(DAYS, 1.0)
    soil[:230] = 18.0
    found = fates(mild(planted_c=soil), [10.0], NEEDS)
    assert found.early[215] == 12
    assert found.warmth[0, 100]
    assert not found.warmth[0, 215]


def test_heat_before_the_shoots_does_not_end_the_crop():
    assert fate(mild(grown_c=with_days(35.0, -60, 15, 18.0))) is Fate.GROWN


@pytest.mark.parametrize(("longest", "expected"), [(120, Fate.GROWN), (60, Fate.TOO_SLOW)])
def test_a_crop_has_only_so_many_days(longest, expected):
    assert fate(mild(), replace(NEEDS, longest_days=longest)) is expected


def test_the_first_thing_that_goes_wrong_is_told():
    weather = mild(bare_c=np.full(DAYS, 5.0), killing=np.ones(DAYS, dtype=bool), air_min_c=np.full(DAYS, 20.0))
    assert fate(weather) is Fate.SOIL_COLD


def test_days_whose_crop_is_not_seen_whole_are_not_known():
    found = fates(mild(), [560.0], NEEDS).fate[0]
    assert (found[:3] == Fate.NOT_KNOWN).all()
    assert (found[DAYS - 180 :] == Fate.NOT_KNOWN).all()
    assert (found[3 : DAYS - 180] == Fate.GROWN).all()


@pytest.mark.parametrize("ready_days", [1, 3])
def test_the_first_day_seen_whole_goes_by_all_days_before_it(ready_days):
    """A bed just warm enough on each of them is warm enough, the first of the record among them."""
    found = fates(mild(bare_c=np.full(DAYS, 10.0)), [560.0], replace(NEEDS, ready_days=ready_days)).fate[0]
    assert (found[:ready_days] == Fate.NOT_KNOWN).all()
    assert (found[ready_days : DAYS - 180] == Fate.GROWN).all()


def some_weather(seed):
    draw = np.random.default_rng(seed)
    soil = 16.0 + 10.0 * np.sin(np.arange(DAYS) / 60.0) + draw.normal(0.0, 2.0, DAYS)
    return mild(
        bare_c=soil + 1.0, planted_c=soil, grown_c=soil - 1.0, air_min_c=soil - 4.0,
        p_days=draw.uniform(0.0, 10.0, DAYS), killing=draw.random(DAYS) < 0.01,
    )  # fmt: skip


@given(st.integers(0, 2**32 - 1), st.integers(0, DAYS - 1))
def test_more_frost_never_makes_a_day_better(seed, night):
    weather = some_weather(seed)
    killing = weather.killing.copy()
    killing[night] = True
    before, after = (fates(one, [560.0, 800.0], NEEDS) for one in (weather, replace(weather, killing=killing)))
    assert not ((after.fate == Fate.GROWN) & (before.fate != Fate.GROWN)).any()
    assert not (after.shoots & ~before.shoots).any()


@given(st.integers(0, 2**32 - 1))
def test_more_warmth_asked_never_makes_a_day_better_and_each_need_is_whole(seed):
    found = fates(some_weather(seed), [560.0, 800.0, 1000.0], NEEDS)
    grown = found.fate == Fate.GROWN
    assert not (grown[1:] & ~grown[:-1]).any()
    each = found.soil & found.shoots & found.nights & found.warmth
    known = found.fate != Fate.NOT_KNOWN
    assert (grown[known] == each[known]).all()


def test_rows_are_as_each_alone():
    rows = [some_weather(seed) for seed in (1, 2, 3)]
    both = Seasons(*(np.stack([getattr(row, name) for row in rows]) for name in Seasons.__slots__))
    together = fates(both, [560.0], NEEDS)
    for at, row in enumerate(rows):
        alone = fates(row, [560.0], NEEDS)
        assert (together.fate[:, at] == alone.fate).all()
        assert (together.end[at] == alone.end).all()
