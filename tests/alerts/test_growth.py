"""Shoots due and overdue, the second straw, stop watering, skins set: both sides of every threshold."""

from dataclasses import replace

import pytest

from haulm.advice import NotKnown, Said, Section
from haulm.alerts.growth import (
    ASK,
    CUT,
    TAPER,
    asked_to_wait,
    ripening,
    second_straw,
    shoots_due,
    skins_set,
    stop_watering,
)
from haulm.condition import DayRange
from haulm.garden import Cause, Habit, Stage
from haulm.weather import DAY

NAN = float("nan")


def said_of(rule, verdict, first_on, level=0):
    return Said(rule, "gatebed", "gate-early", first_on.isoformat(), verdict, level, first_on, first_on)


def verdict_of(found):
    return found.verdict if found is not None else None


# --- shoots due, overdue (seven days past the late end: judgement)


def expecting(a, today, early, late):
    late_day = None if late is None else today + late * DAY
    shoots = DayRange(today + early * DAY, today + (early + 2) * DAY, late_day, 1.0, 0)
    crop = a.crop(shoots=shoots, days_from_shoots=None, shoot_height_m=NAN, p_days=0.0)
    return a.condition(Stage.PLANTED, crop=crop)


@pytest.mark.parametrize(
    ("early", "late", "verdict"),
    [
        (1, 9, None),
        (0, 8, "due"),
        (-14, -6, "due"),
        (-15, -7, "overdue"),
        (-40, -27, "overdue"),
        (-40, -28, "unnoted"),
        (-40, None, "due"),
    ],
)
def test_shoots_are_due_in_their_range_and_overdue_a_week_after(a, thresholds, today, early, late, verdict):
    found = shoots_due(expecting(a, today, early, late), thresholds, None)
    assert verdict_of(found) == verdict
    assert verdict != "overdue" or (found.facts["overdue_days"], found.section) == (-late, Section.DO_TODAY)


@pytest.mark.parametrize("closes_in", [-1, 3])
def test_overdue_shoots_tell_until_when_to_replant(a, thresholds, today, closes_in):
    late = replace(expecting(a, today, -15, -7), planting=replace(a.planting, window_last=today + closes_in * DAY))
    assert shoots_due(late, thresholds, None).facts["replant_until"] == today + closes_in * DAY


def test_shoots_once_looked_for_stay_looked_for(a, thresholds, today):
    said = said_of("shoots-due", "due", today - DAY)
    assert shoots_due(expecting(a, today, 1, 9), thresholds, said).verdict == "due"


@pytest.mark.parametrize(("days", "ago", "waits"), [(7, None, False), (7, 6, True), (7, 7, False), (10, 9, True)])
def test_no_shoots_yet_asks_for_silence_so_long(a, thresholds, today, days, ago, waits):
    patient = thresholds.model_copy(update={"shoots": thresholds.shoots.model_copy(update={"ask_again_days": days})})
    looked = None if ago is None else today - ago * DAY
    assert asked_to_wait(replace(a.condition(Stage.PLANTED), no_shoots=looked), patient) is waits


@pytest.mark.parametrize(("looked", "verdict"), [(None, "unnoted"), (28, "unnoted"), (27, "overdue")])
def test_shoots_are_not_taken_to_stand_where_a_late_look_found_none(a, thresholds, today, looked, verdict):
    late = replace(expecting(a, today, -60, -40), no_shoots=None if looked is None else today - looked * DAY)
    assert verdict_of(shoots_due(late, thresholds, None)) == verdict


def test_shoots_that_are_noted_are_no_longer_due(a, thresholds):
    assert shoots_due(a.condition(Stage.EMERGED), thresholds, None) is None
    estimated = replace(a.condition(), stage=a.stage(Stage.EMERGED, noted=False))
    assert shoots_due(estimated, thresholds, None).verdict == "overdue"


def test_shoots_without_an_estimate_are_not_due(a, thresholds):
    for shoots in (None, DayRange(None, None, None, 0.0, 3)):
        condition = a.condition(Stage.PLANTED, crop=a.crop(shoots=shoots))
        assert shoots_due(condition, thresholds, None) is None


# --- the second straw (shoots 15 cm out, soil 15 °C, again after 14 days: common practice and judgement)


@pytest.mark.parametrize(
    ("height_m", "soil_c", "verdict"),
    [
        (0.15, 15.0, "second-layer"),
        (0.149, 15.0, None),
        (0.15, 14.9, None),
        (0.29, 14.9, None),
        (0.30, 9.0, "second-layer"),  # tall shoots wait for no warmth: light greens the tubers
        (NAN, 20.0, None),
    ],
)
def test_the_second_layer_waits_for_shoots_and_warmth(a, thresholds, height_m, soil_c, verdict):
    condition = a.condition(crop=a.crop(shoot_height_m=height_m), soil=a.soil((soil_c,) * 3))
    assert verdict_of(second_straw(condition, thresholds, None)) == verdict


def test_a_cool_day_does_not_take_back_the_second_layer(a, thresholds, today):
    condition = a.condition(soil=a.soil((14.0,) * 3))
    assert second_straw(condition, thresholds, said_of("second-straw", "second-layer", today - DAY)) is not None


@pytest.mark.parametrize(("straw_m", "speaks"), [(0.19, True), (0.20, False)])
def test_straw_that_lies_deep_enough_needs_no_second_layer(a, thresholds, straw_m, speaks):
    condition = a.condition(straw_m=straw_m, soil=a.soil((16.0,) * 3))
    assert (second_straw(condition, thresholds, None) is not None) is speaks


@pytest.mark.parametrize(
    ("days_ago", "verdict"), [(0, None), (13, None), (14, "top-up"), (17, "top-up"), (18, None), (28, "top-up")]
)
def test_straw_laid_since_the_shoots_is_looked_at_after_a_fortnight(a, thresholds, today, days_ago, verdict):
    condition = a.condition(last_straw=today - days_ago * DAY, soil=a.soil((9.0,) * 3))
    assert verdict_of(second_straw(condition, thresholds, None)) == verdict


def test_straw_laid_before_the_shoots_is_the_first_layer(a, thresholds, today):
    for days_ago, verdict in ((29, "second-layer"), (28, "top-up")):  # the shoots came 28 days ago
        condition = a.condition(last_straw=today - days_ago * DAY, soil=a.soil((16.0,) * 3))
        assert second_straw(condition, thresholds, None).verdict == verdict


def test_no_straw_is_asked_for_out_of_unknown_soil(a, thresholds):
    for soil in (a.soil((16.0, 16.0, NAN)), a.soil((16.0,) * 3, known=False)):
        assert isinstance(second_straw(a.condition(soil=soil), thresholds, None), NotKnown)


def test_tops_that_go_down_need_no_second_straw(a, thresholds, today):
    warm = a.soil((16.0,) * 3)
    for crop in (a.crop(dying_since=today), a.crop(tops_gone=today)):
        assert second_straw(a.condition(crop=crop, soil=warm), thresholds, None) is None


# --- stop watering (P-days of the class: prairie production guide; 70 days and 70 %: judgement)


def going_down(a, today, cause, days=70, p_days=560.0, *, habit=Habit.DETERMINATE, soil_c=18.0):
    crop = a.crop(dying_cause=cause, dying_since=today - DAY, days_from_shoots=days, p_days=p_days)
    planting = replace(a.planting, habit=habit)
    return a.condition(Stage.DYING_BACK, crop=crop, planting=planting, soil=a.soil((soil_c,) * 3))


@pytest.mark.parametrize(("p_days", "verdict"), [(799.9, None), (800.0, "look")])
def test_at_the_warmth_of_its_class_look_at_the_tops(a, thresholds, p_days, verdict):
    found = stop_watering(a.condition(crop=a.crop(p_days=p_days)), thresholds, None)
    assert verdict_of(found) == verdict
    assert found is None or found.section is Section.KEEP_AN_EYE


@pytest.mark.parametrize(
    ("cause", "days", "p_days", "verdict"),
    [
        (Cause.UNKNOWN, 70, 560.0, "cut"),
        (Cause.UNKNOWN, 69, 560.0, "ask"),
        (Cause.UNKNOWN, 70, 559.0, "ask"),
        (None, 69, 560.0, "ask"),
        (Cause.AGE, 69, 560.0, "cut"),  # the grower's word stands against one sign
        (Cause.AGE, 70, 559.0, "cut"),
        (Cause.AGE, 69, 559.0, "ask"),  # but not against both: cutting the water now would cost the crop
        (Cause.FROST, 90, 800.0, None),
        (Cause.THIRST, 90, 800.0, None),
        (Cause.BLIGHT, 90, 800.0, None),
    ],
)
def test_cut_or_ask_first(a, thresholds, today, cause, days, p_days, verdict):
    assert verdict_of(stop_watering(going_down(a, today, cause, days, p_days), thresholds, None)) == verdict


def test_indeterminate_kinds_taper(a, thresholds, today):
    condition = going_down(a, today, Cause.AGE, habit=Habit.INDETERMINATE)
    assert stop_watering(condition, thresholds, None).verdict == "taper"


@pytest.mark.parametrize(
    ("soil_c", "said", "verdict"),
    [
        (24.0, None, "cut"),
        (24.1, None, "small-turns"),
        (23.1, "small-turns", "small-turns"),
        (23.0, "small-turns", "cut"),
        (24.0, "cut", "cut"),
        (NAN, None, "cut"),
    ],
)
def test_in_hot_soil_small_turns(a, thresholds, today, soil_c, said, verdict):
    standing = said_of("stop-watering", said, today - DAY, CUT) if said else None
    condition = going_down(a, today, Cause.AGE, 90, 800.0, soil_c=soil_c)
    assert stop_watering(condition, thresholds, standing).verdict == verdict


def test_without_knowing_when_the_shoots_came_it_cannot_be_said(a, thresholds, today):
    condition = going_down(a, today, Cause.AGE, None)
    found = stop_watering(condition, thresholds, None)
    assert isinstance(found, NotKnown)
    assert found.worth_saying
    assert ripening(condition, thresholds) is None


def test_the_step_and_the_word_agree(a, thresholds, today):
    assert ripening(a.condition(), thresholds) is None
    assert ripening(going_down(a, today, Cause.UNKNOWN, 40), thresholds) == ASK
    assert ripening(going_down(a, today, Cause.AGE, habit=Habit.INDETERMINATE), thresholds) == TAPER
    assert ripening(going_down(a, today, Cause.AGE), thresholds) == CUT
    assert ripening(going_down(a, today, Cause.FROST), thresholds) is None


def test_graver_steps_have_higher_levels(a, thresholds, today):
    look = stop_watering(a.condition(crop=a.crop(p_days=800.0)), thresholds, None)
    cut = stop_watering(going_down(a, today, Cause.AGE), thresholds, None)
    assert look.level < cut.level


# --- skins set (7 to 21 days: EDIS HS181, Bohl 2003; about two weeks: Browning, University of Nebraska)


def bare(a, today, gone, likely, early=None, late=None):
    early_day = today + (likely if early is None else early) * DAY
    late_day = today + (likely if late is None else late) * DAY
    skins = DayRange(early_day, today + likely * DAY, late_day, 1.0, 0)
    crop = a.crop(tops_gone=today - gone * DAY, skins_ready=skins)
    return a.condition(Stage.SKINS_SETTING, crop=crop)


@pytest.mark.parametrize(("likely", "verdict", "to_go"), [(1, "setting", 1), (0, "set", 0), (-5, "set", 0)])
def test_skins_set_on_their_day(a, thresholds, today, likely, verdict, to_go):
    found = skins_set(bare(a, today, 13, likely), thresholds, None)
    assert (found.verdict, found.facts["days_to_go"]) == (verdict, to_go)


@pytest.mark.parametrize(
    ("gone", "early", "verdict"),
    [
        (15, 0, "set"),  # a cold day moved the likely day after the word was given
        (15, 1, "setting"),
        (2, 0, "setting"),  # the tops grew again and were cut since: the count starts anew
        (3, 0, "setting"),
    ],
)
def test_skins_called_set_stay_so_unless_counted_anew(a, thresholds, today, gone, early, verdict):
    said = said_of("skins-set", "set", today - 3 * DAY, 1)
    assert skins_set(bare(a, today, gone, 6, early), thresholds, said).verdict == verdict


def test_no_skins_before_the_tops_are_gone(a, thresholds, today):
    condition = bare(a, today, 13, 0)
    for crop in (replace(condition.crop, tops_gone=None), replace(condition.crop, skins_ready=None)):
        assert skins_set(replace(condition, crop=crop), thresholds, None) is None
    endless = replace(condition.crop, skins_ready=DayRange(None, None, None, 0.0, 0))
    assert skins_set(replace(condition, crop=endless), thresholds, None) is None


@pytest.mark.parametrize(("days_ago", "step", "verdict"), [(13, TAPER, "taper"), (14, CUT, "cut"), (40, CUT, "cut")])
def test_tops_that_go_down_by_and_by_have_their_water_cut_after_two_weeks(
    a, thresholds, today, days_ago, step, verdict
):
    """Halve at half yellow, stop at two thirds or 14 to 21 days before lifting: common practice; 14 days: judgement."""
    condition = going_down(a, today, Cause.AGE, 120, 900.0, habit=Habit.INDETERMINATE)
    condition = replace(condition, crop=replace(condition.crop, dying_since=today - days_ago * DAY))
    found = stop_watering(condition, thresholds, None)
    assert (ripening(condition, thresholds), found.level, found.verdict) == (step, step, verdict)
    assert found.facts["tapered_days"] == (14 if step == CUT else None)
    sooner = thresholds.model_copy(update={"ripening": thresholds.ripening.model_copy(update={"taper_days": 10})})
    assert ripening(condition, sooner) == CUT


def test_hot_soil_and_small_turns_are_the_grower_s_to_set(a, thresholds, today):
    warm = going_down(a, today, Cause.AGE, 120, 900.0, soil_c=22.0)
    assert stop_watering(warm, thresholds, None).verdict == "cut"
    limits = {"hot_soil_c": 21.0, "hot_soil_off_c": 20.0, "small_turn_share": 0.2}
    cooler = thresholds.model_copy(update={"ripening": thresholds.ripening.model_copy(update=limits)})
    found = stop_watering(warm, cooler, None)
    assert (found.verdict, found.facts["small_turn_l"]) == ("small-turns", pytest.approx(0.2 * 5.0 * 2.4 * 1.2))


@pytest.mark.parametrize(("lain", "verdict"), [(14, None), (27, None), (28, "top-up"), (31, "top-up"), (32, None)])
def test_straw_topped_up_late_is_looked_at_half_as_often(a, thresholds, today, lain, verdict):
    """Laid four weeks or more after the shoots it lies on straw that has settled: a month, not a fortnight."""
    crop = replace(
        a.condition().crop,
        days_from_shoots=lain + 28,
        shoots=replace(a.condition().crop.shoots, likely=today - (lain + 28) * DAY),
    )
    found = second_straw(a.condition(crop=crop, last_straw=today - lain * DAY), thresholds, None)
    assert (found.verdict if found else None) == verdict
