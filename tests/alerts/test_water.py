"""Water, skip or hold; the weekly target; keeping it dry: both sides of every threshold, and what is not known."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from haulm.advice import NotKnown, Said, Section
from haulm.alerts.water import keep_it_dry, target_fits, water_verdict
from haulm.garden import Cause, Habit, Stage
from haulm.weather import DAY, Daily, unknown_days

NAN = float("nan")


def outlook(today, rain_mm, chance=None):
    known = {"rain_mm": np.array(rain_mm, dtype=float)}
    if chance is not None:
        known["rain_chance"] = np.array(chance, dtype=float)
    return unknown_days(today, len(rain_mm), **known)


def with_water(thresholds, **changes):
    return thresholds.model_copy(update={"water": thresholds.water.model_copy(update=changes)})


def said_of(rule, verdict, today):
    return Said(rule, "gatebed", "gate-early", "2027-04-10", verdict, 0, today - 10 * DAY, today - DAY)


def going_down(a, today, cause, **changes):
    crop = {"dying_cause": cause, "dying_since": today - DAY, "days_from_shoots": 90, "p_days": 800.0} | changes
    return a.crop(**crop)


# --- the ledger of the week (25 mm in seven days; a turn of 5 mm at least: common practice and judgement)


@pytest.mark.parametrize(
    ("effective", "watered", "verdict"),
    [(25.0, 0.0, "skip"), (20.1, 0.0, "skip"), (20.0, 0.0, "water"), (10.0, 10.1, "skip"), (10.0, 10.0, "water")],
)
def test_short_by_a_turn_or_not(a, thresholds, effective, watered, verdict):
    water = a.water(week_effective_mm=effective, week_watered_mm=watered)
    assert water_verdict(a.condition(water=water), thresholds, None).verdict == verdict


def test_a_turn_is_what_the_week_lacks_and_the_root_zone_can_hold(a, thresholds):
    lacking = a.condition(water=a.water(week_effective_mm=18.0))
    facts = water_verdict(lacking, thresholds, None).facts
    assert (facts["turn_mm"], facts["turn_l"]) == (7.0, pytest.approx(7.0 * 2.4 * 1.2))
    little_room = a.condition(water=a.water(week_effective_mm=0.0))
    assert water_verdict(little_room, thresholds, None).facts["turn_mm"] == 8.0


def test_minutes_only_for_a_hose_that_was_measured(a, thresholds):
    condition = a.condition(water=a.water(week_effective_mm=18.0))
    assert water_verdict(condition, thresholds, None).facts["minutes"] is None
    measured = with_water(thresholds, hose_flow_l_min=7.2)
    assert water_verdict(condition, measured, None).facts["minutes"] == pytest.approx(2.8)


# --- the root zone overrides (FAO-56: RAW is what plants take with ease)


@pytest.mark.parametrize(("depletion", "why"), [(20.9, "enough"), (21.0, "dry-root-zone")])
def test_a_dry_root_zone_cannot_wait(a, thresholds, today, depletion, why):
    water = a.water(depletion_low_mm=depletion, depletion_high_mm=depletion)
    rain = a.sky(outlook=outlook(today, [30.0] * 7, [0.95] * 7))
    found = water_verdict(a.condition(water=water, sky=rain), thresholds, None)
    assert found.facts["why"] == why
    if why == "dry-root-zone":
        assert (found.verdict, found.section, found.facts["turn_mm"]) == ("water", Section.DO_TODAY, 21.0)


@pytest.mark.parametrize(
    ("depletion", "drained", "why"), [(0.0, 0, "full"), (4.9, 0, "full"), (5.0, 0, "week-short"), (9.0, 1, "full")]
)
def test_no_water_where_it_would_drain_away(a, thresholds, depletion, drained, why):
    water = a.water(
        week_effective_mm=0.0, depletion_low_mm=depletion, depletion_high_mm=depletion, drained_days=drained
    )
    assert water_verdict(a.condition(water=water), thresholds, None).facts["why"] == why


@pytest.mark.parametrize(("depletion", "verdict"), [(16.7, "skip"), (16.9, "water")])
def test_going_by_depletion_waters_a_little_before_the_ready_water_is_gone(a, thresholds, depletion, verdict):
    by_depletion = with_water(thresholds, way="depletion")
    water = a.water(week_effective_mm=0.0, depletion_low_mm=depletion, depletion_high_mm=depletion)
    assert water_verdict(a.condition(water=water), by_depletion, None).verdict == verdict


@pytest.mark.parametrize(
    ("share", "depletion", "verdict"), [(0.5, 10.4, "skip"), (0.5, 10.5, "water"), (1.0, 20.9, "skip")]
)
def test_how_nearly_dry_is_the_grower_s_to_set(a, thresholds, share, depletion, verdict):
    by_depletion = with_water(thresholds, way="depletion", nearly_dry_share=share)
    water = a.water(week_effective_mm=0.0, depletion_low_mm=depletion, depletion_high_mm=depletion)
    assert water_verdict(a.condition(water=water), by_depletion, None).verdict == verdict


def test_each_way_tells_of_the_other_s_light(a, thresholds):
    """By the root zone the ledger of the week stands beside; by the week the root zone does."""
    by_depletion = with_water(thresholds, way="depletion")
    water = a.water(week_effective_mm=9.0, depletion_low_mm=17.0, depletion_high_mm=17.0)
    root = water_verdict(a.condition(water=water), by_depletion, None)
    assert (root.facts["why"], root.facts["turn_mm"], root.facts["short_mm"]) == ("nearly-dry", 17.0, 16.0)
    moist = water_verdict(
        a.condition(water=replace(water, depletion_low_mm=8.0, depletion_high_mm=8.0)), by_depletion, None
    )
    assert (moist.verdict, moist.facts["why"], moist.facts["short_mm"]) == ("skip", "moist", 16.0)
    week = water_verdict(a.condition(water=water), thresholds, None)
    assert (week.facts["why"], week.facts["depletion_mm"], week.facts["ready_mm"]) == ("week-short", 17.0, 21.0)
    assert target_fits(a.condition(water=a.water(outlook_need_mm=40.0)), by_depletion, None) is None


# --- a target that is generous and the water it asks for


@pytest.mark.parametrize(("need", "verdict"), [(16.0, "water"), (14.9, "skip"), (NAN, "water"), (60.0, "water")])
def test_no_bed_is_watered_for_more_than_the_week_is_expected_to_use(a, thresholds, need, verdict):
    water = a.water(week_effective_mm=10.0, outlook_need_mm=need, depletion_low_mm=18.0, depletion_high_mm=18.0)
    found = water_verdict(a.condition(water=water), thresholds, None)
    assert found.verdict == verdict
    if verdict == "water":
        aim = 16.0 if need == 16.0 else 25.0
        assert (found.facts["aim_mm"], found.facts["turn_mm"]) == (aim, aim - 10.0)


@given(need=st.floats(0.0, 60.0), had=st.floats(0.0, 60.0), depletion=st.floats(0.0, 20.9))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_generous_target_and_a_turn_of_water_never_contradict_each_other(a, thresholds, need, had, depletion):
    """What a turn brings the week up to is never above what the target alert says would do."""
    water = a.water(
        week_effective_mm=had, outlook_need_mm=need, depletion_low_mm=depletion, depletion_high_mm=depletion
    )
    condition = a.condition(water=water)
    fits, found = target_fits(condition, thresholds, None), water_verdict(condition, thresholds, None)
    if fits is not None and fits.verdict == "generous" and found.verdict == "water":
        assert had + found.facts["turn_mm"] <= fits.facts["need_mm"] + 1e-9


@pytest.mark.parametrize(("room", "later"), [(8.0, 7.0), (10.1, 0.0), (15.0, 0.0)])
def test_what_the_root_zone_cannot_hold_at_once_is_for_a_later_day(a, thresholds, room, later):
    """Ten of 25 mm are there, and a turn of 5 mm at least: 8 now and 7 later; of 10.1 now the rest is no turn."""
    water = a.water(week_effective_mm=10.0, depletion_low_mm=room, depletion_high_mm=room)
    facts = water_verdict(a.condition(water=water), thresholds, None).facts
    assert facts["turn_mm"] == room
    assert facts["later_l"] == pytest.approx(later * 2.4 * 1.2)


# --- hold (70 %, or 5 mm where no chance is given: judgement)


@pytest.mark.parametrize(
    ("rain", "chance", "verdict"),
    [
        ([0, 8, 0, 0], [0.0, 0.70, 0.0, 0.0], "hold"),
        ([0, 8, 0, 0], [0.0, 0.69, 0.0, 0.0], "water"),
        ([0, 8, 0, 0], None, "hold"),
        ([0, 6.9, 0, 0], [0, 0.9, 0, 0], "water"),  # the straw keeps 2 mm, and the rest is no turn
        ([0, 7.0, 0, 0], [0, 0.9, 0, 0], "hold"),
        ([0, 4.9, 0, 0], None, "water"),
        ([0, 0, 8, 0], None, "hold"),
        ([0, 0, 0, 8], None, "water"),
        ([NAN, NAN, NAN, NAN], None, "water"),
    ],
)
def test_hold_only_for_likely_rain_that_comes_soon_and_reaches_the_soil(a, thresholds, today, rain, chance, verdict):
    sky = a.sky(outlook=outlook(today, rain, chance))
    condition = a.condition(water=a.water(week_effective_mm=10.0), sky=sky)
    assert water_verdict(condition, thresholds, None).verdict == verdict


@pytest.mark.parametrize(("tomorrow_evening", "verdict"), [(20.9, "hold"), (21.0, "water")])
def test_rain_that_comes_after_the_root_zone_is_dry_is_no_reason_to_hold(
    a, thresholds, today, tomorrow_evening, verdict
):
    sky = a.sky(outlook=outlook(today, [0.0, 0.0, 12.0]))
    water = a.water(
        week_effective_mm=10.0,
        depletion_low_mm=18.0,
        depletion_high_mm=18.0,
        outlook_depletion_mm=Daily(today, np.array([19.0, tomorrow_evening, 23.0])),
    )
    assert water_verdict(a.condition(water=water, sky=sky), thresholds, None).verdict == verdict


@pytest.mark.parametrize(("days", "verdict"), [(3, "water"), (4, "hold")])
def test_how_far_off_rain_is_waited_for(a, thresholds, today, days, verdict):
    sky = a.sky(outlook=outlook(today, [0, 0, 0, 12], [0, 0, 0, 0.9]))
    condition = a.condition(water=a.water(week_effective_mm=10.0), sky=sky)
    assert water_verdict(condition, with_water(thresholds, hold_days=days), None).verdict == verdict


def test_a_chance_that_was_not_given_is_not_told(a, thresholds, today):
    condition = a.condition(water=a.water(week_effective_mm=10.0), sky=a.sky(outlook=outlook(today, [9.0, 0.0, 0.0])))
    facts = water_verdict(condition, thresholds, None).facts
    assert (facts["rain_chance"], facts["rain_day"], facts["rain_coming_mm"]) == (None, today, 9.0)


# --- never "water" out of missing data


@pytest.mark.parametrize(
    ("effective", "low", "high", "verdict"),
    [
        (0.0, 10.0, 20.0, "water"),  # even with the unknown rain the week lacks 15 mm
        (15.0, 10.0, 18.0, None),  # the unknown rain may have brought what lacks
        (15.0, 4.0, 8.0, None),  # the root zone may be full
        (21.0, 10.0, 18.0, "skip"),  # rain not known could only add
        (25.0, 10.0, 21.0, None),  # the week is well, but the root zone may be dry
        (25.0, 21.0, 30.0, "water"),  # dry either way
        (0.0, 0.0, 4.0, "skip"),  # full either way
        (0.0, NAN, NAN, None),
    ],
)
def test_unknown_rain(a, thresholds, effective, low, high, verdict):
    water = a.water(
        week_effective_mm=effective, week_unknown_days=1, depletion_low_mm=low, depletion_high_mm=high, ready_mm=21.0
    )
    found = water_verdict(a.condition(water=water), thresholds, None)
    if verdict is None:
        assert isinstance(found, NotKnown)
        assert found.worth_saying
    else:
        assert found.verdict == verdict


def test_with_unknown_rain_only_what_lacks_for_sure_is_carried(a, thresholds):
    water = a.water(week_effective_mm=3.0, week_unknown_days=1, depletion_low_mm=12.0, depletion_high_mm=20.0)
    assert water_verdict(a.condition(water=water), thresholds, None).facts["turn_mm"] == 12.0
    water = replace(water, week_effective_mm=8.0)
    assert water_verdict(a.condition(water=water), thresholds, None).facts["turn_mm"] == 25.0 - 8.0 - 8.0


@pytest.mark.parametrize(("low", "high", "known"), [(10.0, 20.0, False), (17.0, 20.0, True), (10.0, 12.0, True)])
def test_unknown_rain_going_by_depletion(a, thresholds, low, high, known):
    water = a.water(depletion_low_mm=low, depletion_high_mm=high, week_unknown_days=2)
    found = water_verdict(a.condition(water=water), with_water(thresholds, way="depletion"), None)
    assert isinstance(found, NotKnown) is not known


def test_a_bed_without_any_water_reckoning_is_not_known(a, thresholds):
    found = water_verdict(a.condition(water=None), thresholds, None)
    assert found == NotKnown("the bed's water", worth_saying=True)


# --- before the shoots (top 10-15 cm more than half dry: judgement; no water then: University of Nebraska-Lincoln)


@pytest.mark.parametrize(("top_share", "why"), [(0.5, "before-shoots"), (0.51, "top-dry")])
def test_before_the_shoots_only_where_the_top_is_dry(a, thresholds, top_share, why):
    condition = a.condition(Stage.PLANTED, water=a.water(week_effective_mm=0.0, top_share=top_share))
    assert water_verdict(condition, thresholds, None).facts["why"] == why


def test_before_the_shoots_a_turn_is_small(a, thresholds):
    condition = a.condition(Stage.PLANTED, water=a.water(top_share=0.9, depletion_low_mm=30.0, depletion_high_mm=30.0))
    assert water_verdict(condition, thresholds, None).facts["turn_mm"] == thresholds.water.least_turn_mm


def test_before_the_shoots_without_rain_known(a, thresholds):
    found = water_verdict(a.condition(Stage.PLANTED, water=a.water(top_share=NAN)), thresholds, None)
    assert isinstance(found, NotKnown)


# --- tops going down


@pytest.mark.parametrize("cause", [Cause.THIRST, Cause.FROST, Cause.BLIGHT])
def test_tops_that_go_down_of_something_else_still_get_their_water(a, thresholds, today, cause):
    water = a.water(depletion_low_mm=30.0, depletion_high_mm=30.0)
    condition = a.condition(Stage.DYING_BACK, crop=going_down(a, today, cause), water=water)
    assert water_verdict(condition, thresholds, None).verdict == "water"


def test_while_it_is_asked_why_the_tops_go_down_the_water_goes_on(a, thresholds, today):
    young = going_down(a, today, Cause.UNKNOWN, days_from_shoots=40, p_days=250.0)
    condition = a.condition(Stage.DYING_BACK, crop=young, water=a.water(week_effective_mm=10.0))
    assert water_verdict(condition, thresholds, None).verdict == "water"


def test_ripe_tops_get_no_more_word_of_water(a, thresholds, today):
    dry = a.water(week_effective_mm=0.0, depletion_low_mm=40.0, depletion_high_mm=40.0)
    condition = a.condition(Stage.DYING_BACK, crop=going_down(a, today, Cause.AGE), water=dry)
    assert water_verdict(condition, thresholds, None) is None


def test_tops_that_go_down_by_and_by_get_half(a, thresholds, today):
    planting = replace(a.planting, habit=Habit.INDETERMINATE)
    crop = going_down(a, today, Cause.AGE)
    week = a.condition(Stage.DYING_BACK, planting=planting, crop=crop, water=a.water(week_effective_mm=7.6))
    assert water_verdict(week, thresholds, None).verdict == "skip"  # lacks 4.9 mm of 12.5
    lacking = replace(week, water=a.water(week_effective_mm=5.0))
    facts = water_verdict(lacking, thresholds, None).facts
    assert (facts["turn_mm"], facts["target_mm"], facts["tapering"]) == (7.5, 12.5, True)
    dry = replace(week, water=a.water(depletion_low_mm=30.0, depletion_high_mm=30.0))
    assert water_verdict(dry, thresholds, None).facts["turn_mm"] == 15.0
    third = thresholds.model_copy(update={"ripening": thresholds.ripening.model_copy(update={"taper_share": 0.3})})
    assert water_verdict(dry, third, None).facts["turn_mm"] == pytest.approx(9.0)


def test_tapering_tops_wait_for_likely_rain_even_in_dry_soil_and_are_not_covered_from_it(a, thresholds, today):
    """One bed, one word: a bed that gets half its water is never told to water, and to keep its rain off, at once."""
    crop, planting = going_down(a, today, Cause.AGE), replace(a.planting, habit=Habit.INDETERMINATE)
    dry = a.water(depletion_low_mm=24.0, depletion_high_mm=24.0, outlook_depletion_mm=Daily(today, np.full(7, 26.0)))
    for rain, verdict in (([0, 40, 0], "hold"), ([0, 0, 0], "water")):
        sky = a.sky(outlook=outlook(today, rain, [0.0, 0.9 if rain[1] else 0.0, 0.0]))
        bed = a.condition(Stage.DYING_BACK, planting=planting, crop=crop, water=dry, sky=sky)
        assert water_verdict(bed, thresholds, None).verdict == verdict
        assert keep_it_dry(bed, thresholds, None) is None
    cut = replace(bed, crop=replace(crop, dying_since=today - 14 * DAY), sky=a.sky(outlook=outlook(today, [0, 40, 0])))
    assert keep_it_dry(cut, thresholds, None).verdict == "cover"
    assert water_verdict(cut, thresholds, None) is None


@pytest.mark.parametrize(("days", "watered"), [(13, True), (14, False)])
def test_two_weeks_after_they_began_to_go_down_such_tops_get_none(a, thresholds, today, days, watered):
    crop = going_down(a, today, Cause.AGE, dying_since=today - days * DAY)
    planting = replace(a.planting, habit=Habit.INDETERMINATE)
    bed = a.condition(Stage.DYING_BACK, planting=planting, crop=crop, water=a.water(week_effective_mm=0.0))
    assert (water_verdict(bed, thresholds, None) is not None) is watered


# --- the target is short or generous (20 % on, 15 % off: judgement)


@pytest.mark.parametrize(
    ("need", "verdict"), [(30.0, "short"), (29.9, None), (20.1, None), (20.0, "generous"), (-3.0, "generous")]
)
def test_the_target_fits_within_a_fifth(a, thresholds, need, verdict):
    found = target_fits(a.condition(water=a.water(outlook_need_mm=need)), thresholds, None)
    assert (found.verdict if found else None) == verdict
    assert found is None or found.facts["need_mm"] >= 0.0


@pytest.mark.parametrize(
    ("need", "said", "verdict"),
    [
        (28.75, "short", "short"),
        (28.7, "short", None),
        (21.25, "generous", "generous"),
        (21.3, "generous", None),
        (21.0, "short", None),  # the lower bar is for the same word only
        (29.0, "unknown", None),
    ],
)
def test_the_target_once_called_ends_a_little_lower(a, thresholds, today, need, said, verdict):
    condition = a.condition(water=a.water(outlook_need_mm=need))
    found = target_fits(condition, thresholds, said_of("weekly-target", said, today))
    assert (found.verdict if found else None) == verdict


def test_without_a_forecast_the_target_is_not_judged(a, thresholds):
    for water in (None, a.water(outlook_need_mm=NAN)):
        assert isinstance(target_fits(a.condition(water=water), thresholds, None), NotKnown)


# --- keep it dry (above field capacity: product rule)


def ripening_bed(a, today, rain, **water):
    crop = going_down(a, today, Cause.AGE)
    return a.condition(Stage.DYING_BACK, crop=crop, water=a.water(**water), sky=a.sky(outlook=outlook(today, rain)))


@pytest.mark.parametrize(
    ("rain", "speaks"),
    [
        ([0, 10.1, 0], True),  # room: 8 mm in the bed and 2 mm in the straw
        ([0, 10.0, 0], False),
        ([4, 4, 4], True),
        ([0, 0, 0, 40], False),
    ],
)
def test_cover_before_rain_that_would_soak_a_ripening_bed(a, thresholds, today, rain, speaks):
    found = keep_it_dry(ripening_bed(a, today, rain), thresholds, None)
    assert (found is not None) is speaks


@pytest.mark.parametrize(("rain", "speaks"), [([4.9, 0, 0], False), ([5.0, 0, 0], True)])
def test_a_sprinkle_on_a_full_bed_is_no_soaking(a, thresholds, today, rain, speaks):
    full = ripening_bed(a, today, rain, depletion_low_mm=0.0, depletion_high_mm=0.0, straw_holds_mm=0.0)
    assert (keep_it_dry(full, thresholds, None) is not None) is speaks


@pytest.mark.parametrize(("rain", "speaks"), [([8.1, 0, 0], True), ([8.0, 0, 0], False)])
def test_an_open_warning_of_rain_ends_well_below_the_room(a, thresholds, today, rain, speaks):
    said = said_of("keep-it-dry", "cover", today)
    assert (keep_it_dry(ripening_bed(a, today, rain), thresholds, said) is not None) is speaks


def test_where_such_a_warning_ends_is_the_grower_s_to_set(a, thresholds, today):
    said, late = said_of("keep-it-dry", "cover", today), with_water(thresholds, soaking_off_share=0.5)
    for rain, speaks in ((5.1, True), (5.0, False)):
        assert (keep_it_dry(ripening_bed(a, today, [rain, 0, 0]), late, said) is not None) is speaks


def test_the_cover_goes_on_before_the_first_wet_day(a, thresholds, today):
    found = keep_it_dry(ripening_bed(a, today, [0.5, 5.0, 9.0]), thresholds, None)
    assert found.facts["rain_day"] == today + DAY


def test_of_two_possible_beds_the_wetter_one_is_kept_dry(a, thresholds, today):
    unsure = ripening_bed(a, today, [8.0, 0, 0], depletion_low_mm=2.0, depletion_high_mm=20.0)
    assert keep_it_dry(unsure, thresholds, None).verdict == "cover"


@pytest.mark.parametrize("rain", [[NAN, NAN, NAN], [0.0, NAN, 0.0], [2.0]])
def test_a_missing_forecast_is_no_dry_one(a, thresholds, today, rain):
    assert isinstance(keep_it_dry(ripening_bed(a, today, rain), thresholds, None), NotKnown)


def test_rain_enough_in_the_known_days_warns_all_the_same(a, thresholds, today):
    assert keep_it_dry(ripening_bed(a, today, [15.0, NAN, NAN]), thresholds, None).verdict == "cover"


def test_without_a_water_reckoning_dryness_is_not_known(a, thresholds, today):
    bed = ripening_bed(a, today, [15.0, 0.0, 0.0])
    for water in (None, a.water(depletion_low_mm=NAN)):
        assert isinstance(keep_it_dry(replace(bed, water=water), thresholds, None), NotKnown)


@pytest.mark.parametrize("cause", [Cause.THIRST, Cause.FROST])
def test_thirsty_or_frosted_tops_are_not_covered_from_rain(a, thresholds, today, cause):
    bed = replace(ripening_bed(a, today, [30.0, 0.0, 0.0]), crop=going_down(a, today, cause))
    assert keep_it_dry(bed, thresholds, None) is None
    gone = replace(bed, crop=going_down(a, today, cause, tops_gone=today - DAY))
    assert keep_it_dry(gone, thresholds, None).verdict == "cover"


# --- facts that the letter tells


@pytest.mark.parametrize(("third_evening", "days_on"), [(20.9, 3), (21.0, 2)])
def test_the_bed_lasts_until_the_evening_on_which_the_ready_water_is_gone(a, thresholds, today, third_evening, days_on):
    outlook_mm = Daily(today, np.array([10.0, 15.0, third_evening, 26.0]))
    facts = water_verdict(a.condition(water=a.water(outlook_depletion_mm=outlook_mm)), thresholds, None).facts
    assert facts["dry_on"] == today + days_on * DAY
    lasting = a.water(outlook_depletion_mm=Daily(today, np.array([10.0, 11.0])))
    assert water_verdict(a.condition(water=lasting), thresholds, None).facts["dry_on"] is None


def test_a_dry_root_zone_is_more_urgent_than_a_short_week(a, thresholds):
    dry = a.condition(water=a.water(depletion_low_mm=30.0, depletion_high_mm=30.0))
    short = a.condition(water=a.water(week_effective_mm=10.0))
    assert water_verdict(dry, thresholds, None).urgency > water_verdict(short, thresholds, None).urgency


def test_rain_without_a_chance_counts_from_its_own_amount(a, thresholds, today):
    bare = a.water(week_effective_mm=10.0, straw_holds_mm=0.0)
    enough = with_water(thresholds, hold_rain_mm=6.0)
    for rain_mm, verdict in ((6.0, "hold"), (5.9, "water")):
        condition = a.condition(water=bare, sky=a.sky(outlook=outlook(today, [rain_mm, 0.0, 0.0])))
        assert water_verdict(condition, enough, None).verdict == verdict


@pytest.mark.parametrize(("low", "high"), [(NAN, 30.0), (3.0, NAN)])
def test_half_known_water_is_not_known(a, thresholds, low, high):
    water = a.water(week_effective_mm=0.0, depletion_low_mm=low, depletion_high_mm=high)
    assert isinstance(water_verdict(a.condition(water=water), thresholds, None), NotKnown)


def test_a_millimetre_makes_a_wet_day(a, thresholds, today):
    found = keep_it_dry(ripening_bed(a, today, [0.9, 1.0, 14.0]), thresholds, None)
    assert found.facts["rain_day"] == today + DAY


def test_without_a_gap_in_this_week_an_older_doubt_is_met_in_the_middle(a, thresholds):
    """The ledger of the week is whole: what an earlier gap left neither silences the rule nor stays for good."""
    doubt = a.water(depletion_low_mm=6.0, depletion_high_mm=24.0)
    assert water_verdict(a.condition(water=doubt), thresholds, None).verdict == "skip"
    gap = replace(doubt, week_unknown_days=1)
    assert isinstance(water_verdict(a.condition(water=gap), thresholds, None), NotKnown)
    short = water_verdict(a.condition(water=replace(doubt, week_effective_mm=5.0)), thresholds, None)
    assert (short.verdict, short.facts["turn_mm"]) == ("water", 15.0)
    dry = water_verdict(
        a.condition(water=replace(doubt, depletion_low_mm=22.0, depletion_high_mm=38.0)), thresholds, None
    )
    assert (dry.facts["why"], dry.facts["turn_mm"]) == ("dry-root-zone", 30.0)
    full = a.water(depletion_low_mm=0.0, depletion_high_mm=6.0)
    assert water_verdict(a.condition(water=full), thresholds, None).facts["why"] == "full"


def test_drizzle_that_adds_up_is_named_by_the_day_on_which_it_is_too_much(a, thresholds, today):
    little = with_water(thresholds, least_turn_mm=1.5)
    bed = ripening_bed(a, today, [0.9, 0.9, 0.9], depletion_low_mm=1.0, straw_holds_mm=0.0)
    assert keep_it_dry(bed, little, None).facts["rain_day"] == today + DAY
