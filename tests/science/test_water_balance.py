"""The bed's water: FAO-56 examples, a balance that closes, and answers that stay honest where rain is unknown."""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm import units
from haulm.science import water_balance as wb

CASES = json.loads((Path(__file__).parents[1] / "reference" / "water_balance.json").read_text(encoding="utf-8"))
SEEDS = st.integers(0, 2**32 - 1)


def cases(*equations):
    return [pytest.param(case, id=case["id"]) for case in CASES if case["equation"] in equations]


def agrees(case, equation):
    inputs = {key: np.array(value) if key != "stages" else value for key, value in case["inputs"].items()}
    assert equation(**inputs) == pytest.approx(np.array(case["expected"]), abs=case["tolerance"])


def bare(**changes):
    """One bed of bare loam, 0.4 m, without weather."""
    forcing = wb.WaterForcing(
        rain_mm=0.0, irrigation_mm=0.0, eto_mm=5.0, kc=1.0, straw_m=0.0, total_mm=62.0, ready_mm=21.7, top_mm=23.0,
        unknown_rain_mm=10.0,
    )  # fmt: skip
    return replace(forcing, **changes)


def season(seed, *, beds=3, days=60, gaps=False):
    """Random but plausible weather, waterings, straw and roots."""
    rng = np.random.default_rng(seed)
    shape = (beds, days)
    rain = np.where(rng.random(shape) < 0.35, rng.gamma(0.7, 9.0, shape), 0.0)
    if gaps:
        rain = np.where(rng.random(shape) < 0.1, np.nan, rain)
    total = rng.uniform(12, 90, (beds, 1)) * np.where(np.arange(days) < rng.integers(1, days), 1.0, rng.uniform(0.3, 2))
    return wb.WaterForcing(
        rain_mm=rain,
        irrigation_mm=np.where(rng.random(shape) < 0.1, rng.uniform(3, 30, shape), 0.0),
        eto_mm=rng.uniform(0, 9, shape),
        kc=rng.uniform(0.1, 1.2, shape),
        straw_m=np.repeat(rng.choice([0.0, 0.05, 0.1, 0.25], (beds, days // 10)), 10, axis=1),
        total_mm=total,
        ready_mm=total * rng.uniform(0.1, 0.8, (beds, 1)),
        top_mm=0.3 * total,
        unknown_rain_mm=rng.uniform(0, 25, (beds, 1)),
    )


def begin(forcing, share=0.4):
    return wb.start_state(forcing.total_mm[:, 0], forcing.top_mm[:, 0], driest_share=share, wettest_share=share)


def run_depletion(start_mm, total_mm, ready_mm, crop_et_mm, rain_mm, irrigation_mm):
    forcing = bare(
        rain_mm=rain_mm, irrigation_mm=irrigation_mm, eto_mm=crop_et_mm, total_mm=total_mm, ready_mm=ready_mm
    )
    share = start_mm / total_mm
    _, trajectory = wb.advance(wb.start_state(total_mm, 23.0, driest_share=share, wettest_share=share), forcing)
    return trajectory


# --- the crop coefficient ---


def test_every_reference_value_is_asked_for():
    asked = {"crop_coefficient", "potato_coefficient", "climate_adjusted_kc", "mulched_kc", "evaporation_saved",
             "total_available_mm", "readily_available_mm", "depletion_fraction", "stress_coefficient",
             "advance_depletion", "advance_drainage", "rain_worth_counting_mm"}  # fmt: skip
    assert {case["equation"] for case in CASES} == asked


@pytest.mark.parametrize("case", cases("crop_coefficient"))
def test_eq_66_crop_coefficient(case):
    agrees(case, wb.crop_coefficient)


@pytest.mark.parametrize("case", cases("potato_coefficient"))
def test_potato_through_the_season(case):
    agrees(case, wb.potato_coefficient)


def test_potato_over_the_whole_season():
    """E21, DERIVED: exact sum over days 1 to 130."""
    assert wb.potato_coefficient(np.arange(1, 131)).sum() == pytest.approx(117.625, abs=1e-9)


def test_published_stages_add_up_to_their_seasons():
    """FAO-56 Table 11, p. 105."""
    assert {name: sum(stages) for name, stages in wb.POTATO_STAGES.items()} == {
        "arid": 115, "continental": 130, "europe": 145, "long": 165, "desert": 140
    }  # fmt: skip


@given(st.floats(-50, 400), st.floats(0, 1))
def test_kc_lies_between_its_three_values(day, cover):
    assert 0.25 <= float(wb.potato_coefficient(day, cover=cover)) <= 1.15


def test_kc_stays_at_its_ends_outside_the_season():
    assert wb.crop_coefficient(np.array([-9.0, 500.0]), (25, 30, 45, 30), (0.5, 1.15, 0.75)).tolist() == [0.5, 0.75]


def test_a_stage_of_no_length_is_a_step():
    found = wb.crop_coefficient(np.array([10.0, 11.0]), (10, 0, 20, 0), (0.5, 1.1, 0.7))
    assert found.tolist() == pytest.approx([0.5, 1.1])


@pytest.mark.parametrize("case", cases("climate_adjusted_kc"))
def test_eq_62_climate(case):
    agrees(case, wb.climate_adjusted_kc)


def test_the_climate_of_the_tables_changes_nothing_and_extremes_stop_at_the_range():
    assert wb.climate_adjusted_kc(1.15, 2.0, 45.0, 0.6) == pytest.approx(1.15)
    assert wb.climate_adjusted_kc(1.15, 25.0, 3.0, 0.6) == wb.climate_adjusted_kc(1.15, 6.0, 20.0, 0.6)
    assert wb.climate_adjusted_kc(1.15, 0.2, 99.0, 0.6) == wb.climate_adjusted_kc(1.15, 1.0, 80.0, 0.6)
    for beyond, end in ((25.0, 10.0), (0.02, 0.1)):
        assert wb.climate_adjusted_kc(1.15, 5.0, 30.0, beyond) == wb.climate_adjusted_kc(1.15, 5.0, 30.0, end)


def test_mulch_covers_no_more_than_all_the_soil_and_no_less_than_none():
    assert wb.evaporation_saved([-0.1, 0.0, 1.0, 1.05]).tolist() == [0.0, 0.0, 0.5, 0.5]


# --- straw as mulch, water in the soil ---


@pytest.mark.parametrize("case", cases("mulched_kc", "evaporation_saved"))
def test_mulch_rule(case):
    agrees(case, getattr(wb, case["equation"]))


@pytest.mark.parametrize("case", cases("total_available_mm", "readily_available_mm"))
def test_eq_82_and_83_available_water(case):
    agrees(case, getattr(wb, case["equation"]))


@pytest.mark.parametrize("case", cases("depletion_fraction"))
def test_depletion_fraction(case):
    agrees(case, wb.depletion_fraction)


def test_fine_soil_lowers_and_coarse_soil_raises_the_fraction_within_the_limits():
    """FAO-56 Table 22 note: 5 to 10 % less in fine soil, more in coarse soil."""
    plain = wb.depletion_fraction(5.0)
    for factor, low, high in ((wb.FINE_SOIL_FACTOR, 0.90, 0.95), (wb.COARSE_SOIL_FACTOR, 1.05, 1.10)):
        assert low <= wb.depletion_fraction(5.0, factor) / plain <= high
    assert wb.depletion_fraction(30.0, wb.FINE_SOIL_FACTOR) == 0.1


def test_a_turn_on_a_small_bed():
    """E29, R1 and R4, DERIVED: loam of 155 mm/m, 0.4 m deep: 21.7 mm, on 4 by 8 ft 64.5 l or 17.04 US gallons."""
    area_m2 = 4 * 8 * units.M_PER_FOOT**2
    turn_mm = float(wb.readily_available_mm(wb.total_available_mm(155.0, 0.4), wb.depletion_fraction(5.0)))
    assert turn_mm == pytest.approx(21.7, abs=1e-9)
    litres = units.litres_from_mm(turn_mm, area_m2)
    assert units.gallons_from_litres(litres) == pytest.approx(17.04, abs=0.005)
    assert units.litres_from_mm(units.MM_PER_INCH, area_m2) == pytest.approx(75.512, abs=0.001)


@pytest.mark.parametrize("case", cases("stress_coefficient"))
def test_eq_84_stress(case):
    agrees(case, wb.stress_coefficient)


@given(st.floats(-20, 200), st.floats(0.1, 150), st.floats(0, 1))
def test_stress_is_a_share(depletion, total, fraction):
    assert 0.0 <= float(wb.stress_coefficient(depletion, total, fraction * total)) <= 1.0


@pytest.mark.parametrize("case", cases("rain_worth_counting_mm"))
def test_rain_below_a_fifth_of_eto_may_be_ignored(case):
    agrees(case, wb.rain_worth_counting_mm)


# --- the balance itself ---


@pytest.mark.parametrize("case", cases("advance_depletion"))
def test_eq_85_depletion_day_by_day(case):
    trajectory = run_depletion(**case["inputs"])
    for answer in trajectory.depletion_mm:
        assert answer[0] == pytest.approx(case["expected"], abs=case["tolerance"])


@pytest.mark.parametrize("case", cases("advance_drainage"))
def test_eq_88_drainage_with_water_early_in_the_day(case):
    trajectory = run_depletion(**case["inputs"])
    assert trajectory.drainage_mm[0, 0] == pytest.approx(case["expected"], abs=case["tolerance"])
    assert trajectory.above_capacity[0, 0].tolist() == [True, False]


@given(SEEDS, st.booleans())
def test_no_water_is_lost_or_made(seed, gaps):
    forcing = season(seed, gaps=gaps)
    before = begin(forcing)
    after, t = wb.advance(before, forcing)
    unknown = np.isnan(forcing.rain_mm)
    rain = np.stack([np.where(unknown, fill, forcing.rain_mm) for fill in (0.0, forcing.unknown_rain_mm)])
    came = (rain + forcing.irrigation_mm).sum(axis=2)
    went = (t.drainage_mm + t.crop_et_mm + t.straw_dried_mm + t.straw_carried_mm).sum(axis=2)
    into_soil = wb.depletion_in(before) - wb.depletion_in(after) - t.deficit_left_mm.sum(axis=2)
    into_straw = wb.straw_water_in(after) - wb.straw_water_in(before)
    np.testing.assert_allclose(came, went + into_soil + into_straw, rtol=0, atol=1e-9)


@given(SEEDS)
def test_every_day_closes_at_the_soil_s_surface(seed):
    forcing = season(seed)
    t = wb.advance(begin(forcing), forcing)[1]
    straw = np.concatenate([np.zeros((2, 3, 1)), t.straw_water_mm], axis=2)
    into_straw = np.diff(straw, axis=2) + t.straw_dried_mm + t.straw_carried_mm
    np.testing.assert_allclose(forcing.rain_mm - t.effective_rain_mm, into_straw, rtol=0, atol=1e-9)


@pytest.mark.parametrize(("more_mm", "drained"), [(0.0, False), (1e-9, False), (0.2, True)])
def test_a_turn_that_just_fills_the_bed_is_no_drained_day(more_mm, drained):
    state = wb.start_state(62.0, 23.0, driest_share=0.3, wettest_share=0.3)
    turn_mm = float(wb.depletion_in(state)[0, 0]) + more_mm
    trajectory = wb.advance(state, bare(irrigation_mm=[[turn_mm]]))[1]
    assert trajectory.above_capacity[0, 0].tolist() == [drained]


@given(SEEDS)
def test_everything_stays_inside_its_bounds(seed):
    forcing = season(seed, gaps=True)
    t = wb.advance(begin(forcing), forcing)[1]
    assert (t.depletion_mm >= 0).all()
    assert (t.depletion_mm <= forcing.total_mm + 1e-9).all()
    assert ((t.top_share >= 0) & (t.top_share <= 1)).all()
    assert (t.top_share * forcing.top_mm <= t.depletion_mm + 1e-9).all()  # the top is a part of the root zone
    assert ((t.straw_water_mm >= 0) & (t.straw_water_mm <= 8.0)).all()
    for flow in (t.drainage_mm, t.crop_et_mm, t.effective_rain_mm, t.straw_dried_mm, t.straw_carried_mm):
        assert (flow >= 0).all()
    assert (t.above_capacity == (t.drainage_mm > wb.DRAINED_MM)).all()


@given(SEEDS)
def test_unknown_rain_gives_bounds_that_hold_whatever_fell(seed):
    """Any rain from none to the plausible amount leaves the bed between the two answers, and they are ordered."""
    forcing = season(seed, gaps=True)
    state = begin(forcing)
    told = wb.advance(state, forcing)[1]
    fell = np.random.default_rng(seed).uniform(0, 1, np.shape(forcing.rain_mm)) * forcing.unknown_rain_mm
    true = wb.advance(state, replace(forcing, rain_mm=np.where(np.isnan(forcing.rain_mm), fell, forcing.rain_mm)))[1]
    assert np.isfinite(told.depletion_mm).all()
    for low, middle, high in (
        (told.depletion_low_mm, true.depletion_low_mm, told.depletion_high_mm),
        (told.top_share[wb.RAIN_AS_MAY_BE], true.top_share[0], told.top_share[wb.RAIN_AS_NONE]),
    ):
        assert (low <= middle + 1e-9).all()
        assert (middle <= high + 1e-9).all()


def test_known_rain_gives_one_answer():
    forcing = season(11)
    t = wb.advance(begin(forcing), forcing)[1]
    np.testing.assert_array_equal(t.depletion_low_mm, t.depletion_high_mm)


def test_the_two_answers_meet_again_once_the_bed_is_full():
    forcing = bare(rain_mm=[math.nan, 0.0, 200.0, 0.0])
    t = wb.advance(wb.start_state(62.0, 23.0, driest_share=0.5, wettest_share=0.5), forcing)[1]
    spread = t.depletion_high_mm[0] - t.depletion_low_mm[0]
    assert 8.0 < spread[0] <= 10.0  # the drier bed draws less
    assert 0.0 < spread[1] < spread[0]
    assert spread[2:].tolist() == [0.0, 0.0]


def test_an_unknown_start_is_carried_as_bounds_too():
    t = wb.advance(wb.start_state(62.0, 23.0), bare(rain_mm=[0.0, 0.0]))[1]
    assert t.depletion_low_mm[0, 0] == pytest.approx(5.0)
    assert t.depletion_high_mm[0, 0] == pytest.approx(62.0)


def test_400_days_are_150_and_250():
    forcing = season(7, beds=4, days=400, gaps=True)
    state = begin(forcing)
    end, whole = wb.advance(state, forcing)

    def part(start, stop):
        def cut(v):
            return v[:, start:stop] if np.shape(v)[-1] == 400 else v

        return wb.WaterForcing(**{name: cut(getattr(forcing, name)) for name in wb.FORCING_NAMES})

    middle, first = wb.advance(state, part(0, 150))
    last, then = wb.advance(middle, part(150, 400))
    np.testing.assert_allclose(last, end, rtol=0, atol=1e-12)
    for name in wb.TRAJECTORY_NAMES:
        joined = np.concatenate([getattr(first, name), getattr(then, name)], axis=2)
        np.testing.assert_allclose(joined, getattr(whole, name), rtol=0, atol=1e-12)


def test_one_bed_is_the_same_alone_and_among_many():
    """Alone it is walked through in plain numbers, among many as arrays: to the same bits."""
    forcing = season(3, beds=5)
    state = begin(forcing)
    end, many = wb.advance(state, forcing)
    for bed in range(5):
        alone = wb.WaterForcing(**{name: getattr(forcing, name)[bed : bed + 1] for name in wb.FORCING_NAMES})
        end_alone, one = wb.advance(state[bed : bed + 1], alone)
        for name in wb.TRAJECTORY_NAMES:
            np.testing.assert_array_equal(getattr(one, name)[:, 0], getattr(many, name)[:, bed])
        np.testing.assert_array_equal(end_alone[0], end[bed])


def test_inputs_are_left_as_they_were():
    forcing = season(5)
    state, rain = begin(forcing), forcing.rain_mm.copy()
    kept = state.copy()
    wb.advance(state, forcing)
    np.testing.assert_array_equal(state, kept)
    np.testing.assert_array_equal(forcing.rain_mm, rain)


def test_a_bed_without_evapotranspiration_known_is_unknown_and_leaves_the_others_alone():
    eto = np.full((2, 3), 4.0)
    eto[0, 1] = math.nan
    t = wb.advance(wb.start_state([62.0, 62.0], 23.0), bare(rain_mm=[[5.0], [5.0]], eto_mm=eto))[1]
    assert np.isnan(t.depletion_low_mm).tolist() == [[False, True, True], [False, False, False]]


def test_shapes_that_do_not_fit_are_refused():
    with pytest.raises(ValueError, match="broadcast"):
        wb.advance(wb.start_state([62.0, 62.0], 23.0), bare(rain_mm=np.zeros((3, 5))))


def test_no_days_change_nothing():
    state = wb.start_state([62.0, 30.0], [23.0, 10.0])
    after, t = wb.advance(state, bare(rain_mm=np.zeros((2, 0))))
    np.testing.assert_array_equal(after, state)
    assert t.depletion_mm.shape == (2, 2, 0)


# --- straw ---


def test_deeper_and_drier_straw_holds_back_more_and_never_above_8_mm():
    depths = np.array([[0.0], [0.03], [0.1], [0.2], [0.5]])
    dry = wb.advance(wb.start_state(np.full(5, 62.0), 23.0), bare(rain_mm=[[25.0]], eto_mm=0.0, straw_m=depths))
    held = 25.0 - dry[1].effective_rain_mm[0, :, 0]
    assert held[0] == 0.0
    assert (np.diff(held[:4]) > 0).all()
    assert held[3] == held[4] <= 8.0
    wet = wb.advance(dry[0], bare(rain_mm=[[25.0]], eto_mm=0.0, straw_m=depths))
    assert (25.0 - wet[1].effective_rain_mm[0, 1:, 0] < held[1:]).all()


def test_a_drop_on_dry_straw_stays_there_and_a_downpour_passes():
    t = wb.advance(wb.start_state([62.0, 62.0], 23.0), bare(rain_mm=[[0.5], [60.0]], straw_m=0.1))[1]
    assert t.effective_rain_mm[0, 0, 0] < 0.1
    assert t.effective_rain_mm[0, 1, 0] > 55.0


def test_water_given_under_the_straw_all_reaches_the_soil():
    forcing = bare(irrigation_mm=[20.0], straw_m=0.2, eto_mm=0.0)
    state = wb.start_state(62.0, 23.0, driest_share=0.5, wettest_share=0.5)
    after, _ = wb.advance(state, forcing)
    assert (wb.depletion_in(state) - wb.depletion_in(after)).ravel() == pytest.approx([20.0, 20.0])
    assert wb.straw_water_in(after).ravel().tolist() == [0.0, 0.0]


def test_wet_straw_dries_again_with_eto_whatever_the_crop():
    wet = bare(rain_mm=[30.0, 0.0, 0.0, 0.0], straw_m=0.2, eto_mm=3.0, kc=0.3)
    t = wb.advance(wb.start_state(62.0, 23.0), wet)[1]
    assert t.straw_water_mm[0, 0] == pytest.approx([8 * (1 - math.exp(-30 / 8)) - 3, 1.8118, 0.0, 0.0], abs=1e-3)


def test_straw_raked_off_takes_its_water_along():
    t = wb.advance(wb.start_state(62.0, 23.0), bare(rain_mm=[30.0, 0.0], straw_m=[0.2, 0.05], eto_mm=0.0))[1]
    assert t.straw_water_mm[0, 0, 1] == pytest.approx(2.0)
    assert t.straw_carried_mm[0, 0, 1] == pytest.approx(t.straw_water_mm[0, 0, 0] - 2.0)


# --- the top of the bed, and roots that change ---


def test_the_top_dries_first_and_is_wetted_first():
    rain = np.zeros(16)
    rain[15] = 12.0
    t = wb.advance(wb.start_state(62.0, 23.0, driest_share=0.0), bare(rain_mm=rain, eto_mm=2.0))[1]
    top, root = t.top_share[0, 0], t.depletion_mm[0, 0] / 62.0
    assert (top[:15] > root[:15]).all()
    assert top[14] > 0.5
    assert top[15] < 0.3
    assert root[15] > 0.2


def test_a_stressed_crop_leaves_the_top_no_drier_than_the_whole():
    top = {"total_mm": 24.0, "ready_mm": 2.0, "top_mm": 24.0, "eto_mm": 9.0}  # the top is all there is
    t = wb.advance(wb.start_state(24.0, 24.0, driest_share=0.6, wettest_share=0.2), bare(rain_mm=np.zeros(5), **top))[1]
    assert (t.top_share * 24.0 <= t.depletion_mm + 1e-9).all()


def test_a_shallower_root_zone_keeps_its_share_and_a_deeper_one_its_millimetres():
    state = wb.start_state(60.0, 20.0, driest_share=0.5, wettest_share=0.5)
    t = wb.advance(state, bare(rain_mm=[0.0, 0.0], eto_mm=0.0, total_mm=[30.0, 60.0], ready_mm=10.0, top_mm=10.0))[1]
    assert t.depletion_mm[0, 0].tolist() == pytest.approx([15.0, 15.0])
    assert t.deficit_left_mm[0, 0].tolist() == pytest.approx([15.0, 0.0])
