"""Frost at the tubers, cutting the tops, which day suits lifting: both sides of every threshold."""

from dataclasses import replace

import numpy as np
import pytest

from haulm.advice import NotKnown, Said, Section
from haulm.alerts.lifting import cut_tops, freeze_at_tubers, lift_days, tops_frosted
from haulm.condition import DayRange
from haulm.garden import Cause, Stage
from haulm.science.frost import chance_at_or_below
from haulm.weather import DAY, Daily, unknown_days

NAN = float("nan")


def said_of(rule, verdict, first_on, level=0):
    return Said(rule, "gatebed", "gate-early", first_on.isoformat(), verdict, level, first_on, first_on)


# --- frost at the tubers (they freeze below about -1.1 °C: Bethke & Fishler 2019; 20 % and 10 %: judgement)


def in_soil(a, soil_c, of=Stage.SKINS_SETTING, **changes):
    """Soil whose mean stands at a value on every coming day, known to 1.5 °C."""
    return a.condition(of, soil=a.soil(ahead=(soil_c,) * 7), **changes)


@pytest.mark.parametrize(("soil_c", "speaks"), [(1.26, True), (1.27, False)])
def test_frost_at_the_tubers_is_told_from_a_chance_of_one_in_five(a, thresholds, soil_c, speaks):
    """Φ(-1.2625 / 1.5) = 0.2: the quantile of the normal distribution at 20 % is -0.8416."""
    found = freeze_at_tubers(in_soil(a, soil_c), thresholds, None)
    assert (found is not None) is speaks


@pytest.mark.parametrize(("soil_c", "speaks"), [(1.92, True), (1.93, False)])
def test_it_ends_only_below_one_in_ten(a, thresholds, today, soil_c, speaks):
    standing = said_of("tubers-freeze", "straw-or-lift", today - DAY, 1)
    assert (freeze_at_tubers(in_soil(a, soil_c), thresholds, standing) is not None) is speaks


@pytest.mark.parametrize(
    ("stage", "verdict"),
    [
        (Stage.PLANTED, "straw"),
        (Stage.EMERGED, "straw"),
        (Stage.DYING_BACK, "straw-or-lift"),
        (Stage.SKINS_SETTING, "straw-or-lift"),
    ],
)
def test_what_is_not_ripe_gets_straw_and_what_is_may_be_lifted(a, thresholds, stage, verdict):
    assert freeze_at_tubers(in_soil(a, 0.0, stage), thresholds, None).verdict == verdict


@pytest.mark.parametrize(("coldest", "section", "level"), [(0, Section.DO_TODAY, 2), (2, Section.GET_READY, 1)])
def test_the_coming_night_is_graver_than_a_later_one(a, thresholds, coldest, section, level):
    ahead = np.full(7, 8.0)
    ahead[1 + coldest] = 0.5
    found = freeze_at_tubers(a.condition(soil=a.soil(ahead=tuple(ahead))), thresholds, None)
    assert (found.section, found.level, found.facts["tonight"]) == (section, level, coldest == 0)


@pytest.mark.parametrize(
    ("recent_c", "verdict"),
    [((9.0, -1.1, 9.0), "frozen"), ((9.0, -1.0, 9.0), "straw-or-lift"), ((-1.1, 9.0, 9.0), "straw-or-lift")],
)
def test_tubers_that_lay_at_the_cold_that_freezes_them_are_left_alone(a, thresholds, recent_c, verdict):
    """-1.1 °C (30 °F: Bethke & Fishler 2019), the mean of one of the last two days."""
    soil = a.soil(recent_c, (1.0,) * 7)
    found = freeze_at_tubers(a.condition(Stage.SKINS_SETTING, soil=soil), thresholds, None)
    assert found.verdict == verdict


def test_how_cold_they_lay_is_told_with_yesterday_s_spread(a, thresholds, today):
    soil = a.soil((9.0, -2.0, -1.5), (1.0,) * 7)
    spread = replace(soil.spread_c, values=np.arange(len(soil.spread_c.values), dtype=float))
    facts = freeze_at_tubers(
        a.condition(Stage.SKINS_SETTING, soil=replace(soil, spread_c=spread)), thresholds, None
    ).facts
    assert (facts["soil_c"], facts["spread_c"]) == (-2.0, spread.at(today - DAY))


def test_nights_beyond_those_watched_do_not_count(a, thresholds):
    ahead = (8.0, 8.0, 8.0, 8.0, -3.0, -3.0, -3.0)
    nights = [a.night(k) for k in range(1, 7)]
    assert freeze_at_tubers(a.condition(soil=a.soil(ahead=ahead), sky=a.sky(nights)), thresholds, None) is None


@pytest.mark.parametrize(("depth_m", "straw_m", "bare"), [(0.0, 0.049, True), (0.0, 0.05, False), (0.05, 0.0, False)])
def test_the_air_counts_for_bare_tubers_only(a, thresholds, depth_m, straw_m, bare):
    planting = replace(a.planting, depth_m=depth_m)
    condition = a.condition(planting=planting, straw_m=straw_m, sky=a.sky([a.night(1, leaf_c=-2.0)]))
    found = freeze_at_tubers(condition, thresholds, None)
    assert (found is not None) is bare
    assert found is None or found.chance == pytest.approx(float(chance_at_or_below(0.0, -2.0, 1.5)))


def test_frost_at_the_tubers_is_not_judged_without_forecast_or_soil(a, thresholds):
    for recent_c, soil_c, worth in ((0.0, 4.0, True), (0.1, 4.0, False), (0.0, 4.1, False)):
        sky, soil = a.sky((), has_forecast=False, recent_min_c=recent_c), a.soil((soil_c,) * 3)
        found = freeze_at_tubers(a.condition(sky=sky, soil=soil), thresholds, None)
        assert (found.lacks, found.worth_saying) == ("forecast", worth)
    for air_c, worth in ((0.0, True), (0.1, False)):
        unknown = a.condition(soil=a.soil(known=False), sky=a.sky([a.night(1, air_c)]))
        found = freeze_at_tubers(unknown, thresholds, None)
        assert (found.lacks, found.worth_saying) == ("soil temperature", worth)


@pytest.mark.parametrize(("recent_c", "worth"), [(0.0, True), (0.1, False)])
def test_a_coming_night_that_is_missing_is_no_safe_one(a, thresholds, recent_c, worth):
    """The nights after it are forecast, and mild."""
    nights = [a.night(1, NAN, air_c=NAN), a.night(2, 6.0), a.night(3, 6.0)]
    bare = replace(a.planting, depth_m=0.0)
    condition = a.condition(planting=bare, straw_m=0.0, sky=a.sky(nights, recent_min_c=recent_c))
    assert freeze_at_tubers(condition, thresholds, None) == NotKnown("forecast", worth_saying=worth)
    later = a.sky([a.night(1, 6.0), a.night(2, NAN, air_c=NAN), a.night(3, 6.0)])
    assert freeze_at_tubers(a.condition(planting=bare, straw_m=0.0, sky=later), thresholds, None) is None


# --- tops that a frost killed


@pytest.mark.parametrize(
    ("noted", "gone", "lowest_c", "speaks"),
    [(False, True, -3.0, True), (True, True, -3.0, False), (False, False, -3.0, False), (False, True, NAN, False)],
)
def test_after_a_killing_frost_nobody_noted_it_asks_for_a_look(a, thresholds, today, noted, gone, lowest_c, speaks):
    crop = a.crop(tops_gone=today - DAY if gone else None, frosted_min_c=lowest_c)
    stage = a.stage(Stage.SKINS_SETTING, noted=noted)
    found = tops_frosted(a.condition(Stage.SKINS_SETTING, crop=crop, stage=stage), thresholds, None)
    assert (found is not None) is speaks


# --- cut the tops (21 days: skins need up to that, EDIS HS181 and Bohl 2003; a week's notice: judgement)


@pytest.mark.parametrize(("ahead", "verdict"), [(29, None), (28, "soon"), (22, "soon"), (21, "now"), (-5, "now")])
@pytest.mark.parametrize("what", ["hard_freeze", "lasting_heat", "next_window"])
def test_green_tops_are_cut_three_weeks_before_their_end(a, thresholds, today, ahead, verdict, what):
    condition = a.condition(Stage.DYING_BACK, ends=a.ends(**{what: today + ahead * DAY}))
    found = cut_tops(condition, thresholds, None)
    assert (found.verdict if found else None) == verdict
    assert found is None or found.facts["cut_on"] == today + (ahead - 21) * DAY


def test_the_first_of_several_ends_counts(a, thresholds, today):
    ends = a.ends(hard_freeze=today + 25 * DAY, lasting_heat=today + 20 * DAY, next_window=today + 90 * DAY)
    found = cut_tops(a.condition(Stage.DYING_BACK, ends=ends), thresholds, None)
    assert (found.facts["why"], found.facts["end"]) == ("heat", today + 20 * DAY)


def test_an_end_that_moves_a_little_takes_nothing_back(a, thresholds, today):
    condition = a.condition(Stage.DYING_BACK, ends=a.ends(lasting_heat=today + 24 * DAY))
    assert cut_tops(condition, thresholds, said_of("cut-tops", "now", today - DAY, 1)).verdict == "now"
    far = a.condition(Stage.DYING_BACK, ends=a.ends(lasting_heat=today + 29 * DAY))
    assert cut_tops(far, thresholds, said_of("cut-tops", "now", today - DAY, 1)) is None


@pytest.mark.parametrize(
    ("cause", "days", "speaks"),
    [
        (Cause.AGE, 80, True),
        (Cause.UNKNOWN, 80, True),
        (Cause.UNKNOWN, 30, False),  # asked first what else takes the tops down
        (Cause.FROST, 80, False),
        (Cause.THIRST, 80, False),
        (Cause.BLIGHT, 30, True),
    ],
)
def test_tops_that_may_recover_or_are_asked_about_are_not_cut(a, thresholds, today, cause, days, speaks):
    crop = a.crop(dying_cause=cause, dying_since=today - DAY, days_from_shoots=days, p_days=800.0)
    condition = a.condition(Stage.DYING_BACK, crop=crop, ends=a.ends(hard_freeze=today + 10 * DAY))
    assert (cut_tops(condition, thresholds, None) is not None) is speaks


def test_no_end_in_sight_and_no_years_to_tell(a, thresholds):
    assert cut_tops(a.condition(Stage.DYING_BACK), thresholds, None) is None
    for ends in (a.ends(years=0), None):
        assert isinstance(cut_tops(a.condition(Stage.DYING_BACK, ends=ends), thresholds, None), NotKnown)


# --- days to lift (10-18 °C: Thornton, University of Idaho 2019; 7 °C, 45 °F, from memory; all else judgement)


def ripe(a, today, rain_mm=(0.0,) * 7, *, likely=0, early=None, soil_c=12.0, below_c=1.0, **changes):
    early_day = today + (likely - 7 if early is None else early) * DAY
    skins = DayRange(early_day, today + likely * DAY, today + (likely + 7) * DAY, 1.0, 0)
    dry = unknown_days(today, len(rain_mm), rain_mm=np.array(rain_mm), air_min_c=np.full(len(rain_mm), 5.0))
    soil = a.soil((soil_c,) * 3, (soil_c,) * 7, below_c=below_c)
    quiet = {"sky": a.sky([a.night(1)], outlook=dry), "soil": soil} | changes
    crop = a.crop(tops_gone=today - 14 * DAY, skins_ready=skins)
    return a.condition(Stage.SKINS_SETTING, crop=crop, **quiet)


@pytest.mark.parametrize(("likely", "verdict"), [(7, None), (6, "good"), (1, "good"), (0, "today"), (-20, "today")])
def test_days_are_ranked_once_the_skins_set_within_the_week(a, thresholds, today, likely, verdict):
    found = lift_days(ripe(a, today, likely=likely), thresholds, None)
    assert (found.verdict if found else None) == verdict
    assert found is None or found.facts["day"] == today + max(likely, 0) * DAY


def test_skins_called_set_stay_set_but_a_new_count_or_skins_still_setting_do_not(a, thresholds, today):
    found = lift_days(ripe(a, today), thresholds, None)
    standing = said_of("lift-days", "today", today - DAY, found.level)
    assert lift_days(ripe(a, today, likely=8, early=0), thresholds, standing).verdict == "today"
    assert lift_days(ripe(a, today, likely=8, early=1), thresholds, standing) is None
    ahead = lift_days(ripe(a, today, likely=1), thresholds, None)
    promised = said_of("lift-days", "good", today - DAY, ahead.level)
    assert lift_days(ripe(a, today, likely=1), thresholds, promised).facts["day"] == today + DAY


def test_a_day_that_is_only_a_little_better_is_not_waited_for(a, thresholds, today):
    """A frosty morning is not worth a day; five degrees of cold that stays are."""
    frosty = unknown_days(today, 7, rain_mm=np.zeros(7), air_min_c=np.array([-1.0] + [5.0] * 6))
    condition = ripe(a, today, sky=a.sky([a.night(1)], outlook=frosty))
    assert lift_days(condition, thresholds, None).facts["day"] == today
    cold = ripe(a, today, soil=a.soil((1.0,) * 3, (1.0, 1.0, 1.0, 6.5, 6.5, 6.5, 6.5), below_c=0.5))
    assert lift_days(cold, thresholds, None).facts["day"] == today + 3 * DAY


def test_nine_degrees_too_warm_are_waited_out_for_a_day_of_two(a, thresholds, today):
    """Each degree counts: 18 °C (65 °F) is where lifting should stop (Thornton 2019); how much each is judgement."""
    heat = (28.0,) * 2 + (21.0,) * 5
    waits = lift_days(ripe(a, today, soil=a.soil((27.0,) * 3, heat, below_c=1.0)), thresholds, None)
    assert waits.facts["day"] == today + 2 * DAY
    less = lift_days(ripe(a, today, soil=a.soil((27.0,) * 3, (23.0,) * 2 + (21.0,) * 5, below_c=1.0)), thresholds, None)
    assert less.facts["day"] == today


def test_the_planting_that_comes_next_is_named(a, thresholds, today):
    next_crop = a.ends(next_window=today + 20 * DAY, next_planting="Gatebed lates")
    assert lift_days(ripe(a, today, ends=next_crop), thresholds, None).facts["next_planting"] == "Gatebed lates"
    assert lift_days(ripe(a, today, ends=None), thresholds, None).facts["next_planting"] == ""


def test_nothing_is_lifted_out_of_frozen_ground(a, thresholds, today):
    near = a.ends(tubers_freeze=today + DAY)
    for soil_c, pressing in ((0.1, True), (0.0, False)):
        hard = ripe(a, today, (9.0,) * 7, soil_c=soil_c, ends=near)
        assert lift_days(hard, thresholds, None).facts["pressing"] is pressing
    assert lift_days(ripe(a, today, soil_c=-1.1), thresholds, None) is None  # the tubers may have frozen


def test_a_bad_week_is_told_once_the_skins_have_set_or_it_cannot_wait(a, thresholds, today):
    wet = (9.0,) * 7
    assert lift_days(ripe(a, today, wet, likely=5), thresholds, None) is None
    assert lift_days(ripe(a, today, wet), thresholds, None).section is Section.KEEP_AN_EYE
    soon = a.ends(next_window=today + 2 * DAY)
    assert lift_days(ripe(a, today, wet, likely=1, ends=soon), thresholds, None).section is Section.GET_READY


def test_the_dry_day_is_named_and_the_other_dry_ones_after_it(a, thresholds, today):
    found = lift_days(ripe(a, today, (0.0, 5.0, 0.0, 0.0, 0.0, 5.0, 0.0), likely=1), thresholds, None)
    assert found.facts["day"] == today + 3 * DAY  # rain on the 1st, and the day before the 2nd
    assert found.facts["others"] == (today + 4 * DAY,)


@pytest.mark.parametrize(
    ("changes", "faults"),
    [
        ({"soil_c": 7.0, "below_c": 0.5}, ""),
        ({"soil_c": 20.0, "below_c": 2.0}, ""),
        ({"soil_c": 0.0}, "frozen"),
        ({"rain_mm": (2.0,) * 7}, ""),
        ({"rain_mm": (2.1,) * 7}, "rain"),
        ({"rain_mm": (NAN,) * 7}, "rain-unknown"),
    ],
)
def test_what_speaks_against_a_day(a, thresholds, today, changes, faults):
    found = lift_days(ripe(a, today, **changes), thresholds, None)
    assert found.facts["faults"] == faults
    assert found.verdict == ("today" if faults in {"", "rain-unknown"} else "least-bad")


@pytest.mark.parametrize(("soil_c", "below_c", "fault"), [(6.9, 0.5, "cold"), (20.1, 2.0, "warm")])
def test_cold_and_warm_tubers_are_waited_out_only_where_relief_is_in_sight(
    a, thresholds, today, soil_c, below_c, fault
):
    in_vain = lift_days(ripe(a, today, soil_c=soil_c, below_c=below_c), thresholds, None)
    assert (in_vain.verdict, in_vain.facts["faults"], in_vain.facts[fault]) == ("today", fault, True)
    ahead = (soil_c,) * 5 + (12.0, 12.0)
    wet = (0.0,) * 5 + (9.0, 9.0)
    relief = ripe(a, today, wet, soil=a.soil((soil_c,) * 3, ahead, below_c=below_c))
    assert lift_days(relief, thresholds, None).verdict == "least-bad"
    dry = replace(relief, sky=ripe(a, today).sky)
    assert lift_days(dry, thresholds, None).facts["day"] == today + 5 * DAY


@pytest.mark.parametrize(("depletion_mm", "faults"), [(2.0, ""), (1.9, "wet-bed"), (NAN, "")])
def test_a_wet_bed_is_not_lifted_from(a, thresholds, today, depletion_mm, faults):
    full = Daily(today, np.zeros(7))
    water = a.water(depletion_low_mm=depletion_mm, outlook_depletion_mm=full)
    assert lift_days(ripe(a, today, water=water), thresholds, None).facts["faults"] == faults
    drained = a.water(depletion_low_mm=0.0, outlook_depletion_mm=Daily(today, np.full(7, 5.0)))
    assert lift_days(ripe(a, today, water=drained), thresholds, None).facts["day"] == today + DAY


def test_likely_rain_and_a_frosty_morning_count_too(a, thresholds, today):
    for known, fault in (
        ({"rain_chance": np.full(7, 0.5)}, "rain"),
        ({"rain_chance": np.full(7, 0.49)}, ""),
        ({"rain_mm": np.zeros(7), "air_min_c": np.zeros(7)}, "frost"),
        ({"rain_mm": np.zeros(7), "air_min_c": np.full(7, 0.1)}, ""),
    ):
        sky = a.sky([a.night(1)], outlook=unknown_days(today, 7, **known))
        found = lift_days(ripe(a, today, sky=sky), thresholds, None)
        assert found.facts["faults"] == fault
        assert (found.verdict == "today") is (fault != "rain")


def test_it_can_wait_until_frost_heat_the_next_crop_or_six_weeks(a, thresholds, today):
    def by(**seen):
        facts = lift_days(ripe(a, today, ends=a.ends(**seen)), thresholds, None).facts
        return (facts["lift_by"] - today).days, facts["why"], facts["pressing"]

    assert by() == (42, "age", False)
    assert by(tubers_freeze=today + 10 * DAY, lasting_heat=today + 20 * DAY) == (9, "freeze", False)
    assert by(lasting_heat=today + 3 * DAY) == (2, "heat", True)
    assert by(next_window=today + 4 * DAY) == (3, "next-crop", False)
    assert by(tubers_freeze=today + DAY) == (0, "freeze", True)


def test_the_best_day_is_looked_for_before_the_last_one(a, thresholds, today):
    wet_then_dry = (5.0, 5.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    free = lift_days(ripe(a, today, wet_then_dry), thresholds, None)
    held = lift_days(ripe(a, today, wet_then_dry, ends=a.ends(next_window=today + 2 * DAY)), thresholds, None)
    assert free.facts["day"] == today + 3 * DAY
    assert (held.verdict, held.facts["day"], held.section) == ("least-bad", today, Section.GET_READY)


def test_no_day_is_named_without_forecast_or_soil(a, thresholds, today):
    blind = ripe(a, today, sky=a.sky((), has_forecast=False))
    buried = ripe(a, today, soil=a.soil(known=False))
    for condition, lacks in ((blind, "forecast"), (buried, "soil temperature")):
        found = lift_days(condition, thresholds, None)
        assert (found.lacks, found.worth_saying) == (lacks, True)
    assert lift_days(a.condition(Stage.SKINS_SETTING), thresholds, None) is None


def test_frost_at_the_tubers_is_told_for_the_night_that_begins_the_evening_before_with_more_straw(a, thresholds, today):
    soil = a.soil(ahead=(-1.0,) * 7)
    condition = a.condition(soil=soil, sky=a.sky([a.night(1, -9.0), a.night(2, 3.0), a.night(3, 3.0)]))
    found = freeze_at_tubers(condition, thresholds, None)
    assert (found.facts["night"], found.facts["morning"]) == (today, today + DAY)
    assert found.facts["wanted_m"] > found.facts["straw_m"] == condition.straw_m
