"""Time to buy seed, to set it to chit, to cut it: both sides of every threshold.

All defaults are common practice or judgement; the classes' P-days are held by `tests/science/test_development.py`.
"""

from dataclasses import replace

import pytest

from haulm.advice import NotKnown, Said, Section
from haulm.alerts.seed import buy_seed, cut_already, cut_seed, last_day, likely_planting, start_chitting, taken
from haulm.condition import DayRange, SeasonChances, SeedNow
from haulm.garden import Maturity, Season, Stage
from haulm.taught import SeasonFits
from haulm.weather import DAY

NAN = float("nan")


def said_of(rule, verdict, first_on):
    return Said(rule, "gatebed", "gate-early", first_on.isoformat(), verdict, 0, first_on, first_on)


def verdict_of(found):
    return found.verdict if found is not None else None


# --- buy


def opening(a, today, ahead, **changes):
    planting = replace(a.planting, window_first=today + ahead * DAY, window_last=today + (ahead + 40) * DAY)
    return a.condition(Stage.SEED, planting=planting, chances=SeasonChances(10, 0.1, None), **changes)


@pytest.mark.parametrize(("ahead", "speaks"), [(71, False), (70, True), (1, True), (-40, True), (-41, False)])
def test_seed_is_spoken_of_from_ten_weeks_before_the_window_to_its_end(a, thresholds, today, ahead, speaks):
    assert (buy_seed(opening(a, today, ahead), thresholds, None) is not None) is speaks


def test_seed_that_was_noted_is_not_asked_for(a, thresholds, today):
    assert buy_seed(opening(a, today, 60, seed=SeedNow(bought=today)), thresholds, None) is None


@pytest.mark.parametrize(
    ("fitting", "maturity", "fits"),
    [
        ("", Maturity.EARLY, False),
        ("early", Maturity.EARLY, True),
        ("early", Maturity.MID, False),
        ("mid", Maturity.MID, True),
        ("late", Maturity.EARLY, True),
    ],
)
def test_a_class_fits_up_to_the_latest_that_ripens_in_the_place_s_years(a, thresholds, today, fitting, maturity, fits):
    own_years = SeasonFits(any_window=True, likely_day=today + 70 * DAY, fitting=fitting, ripe_share=0.5, years=9)
    condition = opening(a, today, 60, seed=SeedNow(season_ends=today + 180 * DAY, fits=own_years))
    found = buy_seed(replace(condition, planting=replace(condition.planting, maturity=maturity)), thresholds, None)
    facts = found.facts
    assert (found.verdict, facts["fitting"], facts["it_fits"], facts["season_days"]) == ("buy", fitting, fits, 120)
    assert (facts["ripe_share"], facts["likely_day"], facts["own_years"]) == (0.5, today + 70 * DAY, 9)


def test_without_a_record_no_class_is_called_fitting(a, thresholds, today):
    facts = buy_seed(opening(a, today, 60), thresholds, None).facts
    assert (facts["fitting"], facts["it_fits"], facts["season_days"]) == ("", False, None)


@pytest.mark.parametrize(("any_window", "verdict"), [(False, "no-window"), (True, "off-window")])
def test_where_no_day_of_the_window_comes_to_a_crop_nobody_is_told_to_buy(a, thresholds, today, any_window, verdict):
    """And what the years said stands on the mornings after, on which they are not asked."""
    condition = opening(a, today, 60, seed=SeedNow(fits=SeasonFits(any_window=any_window)))
    assert verdict_of(buy_seed(condition, thresholds, None)) == verdict
    unasked, said = opening(a, today, 59), Said("buy-seed", "gate", "early", f"{today}", verdict, 0, today, today)
    assert verdict_of(buy_seed(unasked, thresholds, said)) == verdict
    fits = SeasonFits(any_window=True, likely_day=today + 70 * DAY)
    assert verdict_of(buy_seed(opening(a, today, 59, seed=SeedNow(fits=fits)), thresholds, said)) == "buy"


def test_the_days_that_would_do_are_named(a, thresholds, today):
    spans = ((today + 100 * DAY, today + 120 * DAY), (today + 200 * DAY, today + 260 * DAY))
    condition = opening(a, today, 60, seed=SeedNow(fits=SeasonFits(True, others=spans, others_good=True)))
    facts = buy_seed(condition, thresholds, None).facts
    assert (facts["opens"], facts["closes"]) == tuple(zip(*spans, strict=True))
    assert (facts["others_good"], facts["likely_day"]) == (True, None)


@pytest.mark.parametrize(("ahead", "named"), [(1, "Lates"), (364, "Lates"), (365, "")])
def test_in_spring_the_seed_of_the_autumn_window_is_thought_of(a, thresholds, today, ahead, named):
    spring = opening(a, today, 60)
    begins = spring.planting.window_first + ahead * DAY
    autumn = replace(spring.planting, key="lates", name="Lates", season=Season.AUTUMN, window_first=begins)
    garden = replace(spring.garden, plantings=(spring.planting, autumn))
    assert buy_seed(replace(spring, garden=garden), thresholds, None).facts["autumn_name"] == named


# --- chit


@pytest.mark.parametrize(
    ("ready", "standing", "speaks"), [(29, False, False), (28, False, True), (35, True, True), (36, True, False)]
)
def test_chitting_begins_four_weeks_before_the_likely_day(a, thresholds, today, ready, standing, speaks):
    said = said_of("start-chitting", "chit", today - DAY) if standing else None
    condition = a.condition(Stage.SEED, soil=a.soil(ready=ready), chances=SeasonChances(10, 0.1, None))
    assert verdict_of(start_chitting(condition, thresholds, said)) == ("chit" if speaks else None)


@pytest.mark.parametrize(("ready", "short"), [(14, False), (13, True)])
def test_less_than_two_weeks_is_called_short(a, thresholds, ready, short):
    assert start_chitting(a.condition(Stage.SEED, soil=a.soil(ready=ready)), thresholds, None).facts["short"] is short


@pytest.mark.parametrize(("ready", "now"), [(1, False), (0, True)])
def test_where_the_bed_is_ready_the_seed_is_not_sent_to_chit_without_an_if(a, thresholds, ready, now):
    """The same letter says "Plant" then, and who has sprouted seed in hand must not lay it by again."""
    assert start_chitting(a.condition(Stage.SEED, soil=a.soil(ready=ready)), thresholds, None).facts["now"] is now


@pytest.mark.parametrize(("ahead", "waited_for"), [(28, True), (29, False)])
def test_unknown_soil_gives_no_chitting_day_and_says_so_when_it_is_due(a, thresholds, today, ahead, waited_for):
    answer = start_chitting(opening(a, today, ahead, soil=a.soil(known=False)), thresholds, None)
    assert isinstance(answer, NotKnown) is waited_for
    assert answer is None or answer.worth_saying


def test_a_day_that_never_comes_asks_for_no_chitting(a, thresholds, today):
    never = replace(a.soil(), ready=DayRange(None, None, None, 0.0, 10))
    assert start_chitting(a.condition(Stage.SEED, soil=never), thresholds, None) is None


def test_the_likely_day_keeps_to_the_window_and_to_the_last_safe_day(a, thresholds, today):
    assert likely_planting(a.condition(Stage.SEED, soil=a.soil(ready=-2)), thresholds) == today
    opens = replace(a.planting, window_first=today + 12 * DAY)
    assert likely_planting(a.condition(Stage.SEED, planting=opens), thresholds) == today + 12 * DAY
    for days, likely in ((9, today + 9 * DAY), (8, None)):
        safe = SeasonChances(10, 0.1, today + days * DAY)
        condition = a.condition(Stage.SEED, chances=safe)
        assert (last_day(condition), likely_planting(condition, thresholds)) == (today + days * DAY, likely)
        assert start_chitting(condition, thresholds, None).verdict == ("chit" if likely else "in-vain")
    assert last_day(a.condition(Stage.SEED, chances=SeasonChances(0, NAN, None))) == a.planting.window_last


@pytest.mark.parametrize(("ahead", "verdict"), [(29, None), (28, "in-vain")])
def test_seed_is_left_asleep_where_the_soil_is_fit_too_late(a, thresholds, today, ahead, verdict):
    planting = replace(a.planting, window_first=today + ahead * DAY)
    safe = SeasonChances(10, 0.1, today + 40 * DAY)
    condition = a.condition(Stage.SEED, soil=a.soil(ready=41), planting=planting, chances=safe)
    assert verdict_of(start_chitting(condition, thresholds, None)) == verdict
    assert verdict_of(buy_seed(condition, thresholds, None)) == "in-vain"
    in_time = replace(condition, soil=a.soil(ready=40))
    assert verdict_of(buy_seed(in_time, thresholds, None)) == "buy"


def test_how_many_years_tell_that_the_soil_is_fit_too_late(a, thresholds, today):
    safe = SeasonChances(10, 0.1, today + 40 * DAY)
    condition = a.condition(Stage.SEED, soil=a.soil(ready=41), chances=safe)
    facts = start_chitting(condition, thresholds, None).facts
    assert (facts["likely"], facts["last_day"], facts["years"]) == (today + 41 * DAY, today + 40 * DAY, 10)
    raked = replace(a.soil(), ready=None, ready_if_raked=DayRange(None, today + 41 * DAY, None, 1.0, 10))
    assert start_chitting(replace(condition, soil=raked), thresholds, None).facts["years"] == 0


def test_no_seed_is_asked_for_where_the_soil_never_comes_to_its_limit(a, thresholds, today):
    """A place near the pole, or one that is hot the whole year: told once, and nobody is sent to buy."""
    never = replace(a.soil(), ready=DayRange(None, None, None, 0.2, 10))
    assert verdict_of(buy_seed(opening(a, today, 60, soil=never), thresholds, None)) == "in-vain"
    unknown = replace(never, known=False)
    assert verdict_of(buy_seed(opening(a, today, 60, soil=unknown), thresholds, None)) == "buy"


@pytest.mark.parametrize(("soil_c", "likely"), [(27.0, 3), (27.1, 20)])
def test_in_autumn_seed_may_be_woken_for_soil_that_does_with_care(a, thresholds, today, soil_c, likely):
    planting = replace(a.planting, season=Season.AUTUMN)
    soil = a.soil((29.0,) * 3, (29.0, 28.0, 27.5, *(soil_c,) * 4), ready=20)
    condition = a.condition(Stage.SEED, soil=soil, planting=planting)
    facts = start_chitting(condition, thresholds, None).facts
    assert facts["likely"] == today + likely * DAY
    assert (facts["early"] is None) is (likely == 3)  # the range is that of soil fit without care


def test_the_range_around_the_likely_day_is_that_of_the_soil_it_counts_to(a, thresholds, today):
    bare = start_chitting(a.condition(Stage.SEED), thresholds, None).facts
    assert (bare["early"], bare["late"], bare["years"]) == (today + 5 * DAY, today + 14 * DAY, 10)
    assert (bare["likely"], bare["days_to_go"]) == (today + 9 * DAY, 9)
    by_raking = DayRange(today + 2 * DAY, today + 4 * DAY, today + 8 * DAY, 1.0, 7)
    raked = a.condition(Stage.SEED, soil=replace(a.soil(), ready_if_raked=by_raking))
    facts = start_chitting(raked, thresholds, None).facts
    assert (facts["raked"], facts["early"], facts["late"], facts["years"]) == (
        True,
        today + 2 * DAY,
        today + 8 * DAY,
        7,
    )
    no_better = a.condition(
        Stage.SEED, soil=replace(a.soil(), ready_if_raked=replace(by_raking, likely=today + 9 * DAY))
    )
    assert start_chitting(no_better, thresholds, None).facts["raked"] is False
    only_raked = a.condition(Stage.SEED, soil=replace(a.soil(), ready=None, ready_if_raked=by_raking))
    facts = start_chitting(only_raked, thresholds, None).facts
    assert (facts["likely"], facts["raked"], facts["early"], facts["years"]) == (today + 4 * DAY, False, None, 0)


@pytest.mark.parametrize(("early", "late", "told"), [(9, 9, True), (5, 8, False), (10, 14, False)])
def test_a_range_that_the_likely_day_lies_outside_of_is_not_told(a, thresholds, today, early, late, told):
    span = DayRange(today + early * DAY, today + 9 * DAY, today + late * DAY, 1.0, 10)
    facts = start_chitting(a.condition(Stage.SEED, soil=replace(a.soil(), ready=span)), thresholds, None).facts
    assert (facts["early"] is not None, facts["late"] is not None) == (told, told)


@pytest.mark.parametrize(("raked", "verdict"), [(28, "chit"), (29, None)])
def test_under_old_straw_chitting_counts_to_the_day_of_the_raked_bed(a, thresholds, today, raked, verdict):
    soil = replace(a.soil(ready=40), ready_if_raked=DayRange(None, today + raked * DAY, None, 1.0, 10))
    condition = a.condition(Stage.SEED, soil=soil, chances=SeasonChances(10, 0.1, None))
    found = start_chitting(condition, thresholds, None)
    assert verdict_of(found) == verdict
    assert found is None or (found.facts["likely"], found.facts["raked"]) == (today + raked * DAY, True)
    bare = start_chitting(a.condition(Stage.SEED), thresholds, None)
    assert (bare.facts["likely"], bare.facts["raked"]) == (today + 9 * DAY, False)


@pytest.mark.parametrize(
    ("stage", "known", "held"),
    [
        (Stage.SEED, False, True),
        (Stage.CHITTING, False, True),
        (Stage.CHITTING, True, False),
        (Stage.PLANTED, False, False),  # what stands in the bed is this planting, its water not known
    ],
)
def test_a_bed_whose_water_is_another_crops_is_taken(a, stage, known, held):
    assert taken(a.condition(stage, water=a.water() if known else None)) is held


# --- cut (between 10 and 21 °C in the week of planting)


def about_to_plant(a, ready, waiting_c=14.0, **changes):
    return a.condition(Stage.CHITTING, soil=a.soil((9.0,) * 3, (waiting_c,) * 20, ready=ready), **changes)


@pytest.mark.parametrize(("ready", "speaks"), [(8, False), (7, True), (3, True), (2, False)])
def test_seed_is_cut_three_to_seven_days_before(a, thresholds, ready, speaks):
    found = cut_seed(about_to_plant(a, ready), thresholds, None)
    assert verdict_of(found) == ("cut" if speaks else None)
    assert found is None or found.section is Section.DO_TODAY


@pytest.mark.parametrize(("ready", "speaks"), [(10, True), (11, False), (1, True)])
def test_said_once_it_stands_though_the_day_moves(a, thresholds, today, ready, speaks):
    said = said_of("cut-seed", "cut", today - DAY)
    assert (cut_seed(about_to_plant(a, ready), thresholds, said) is not None) is speaks


@pytest.mark.parametrize(
    ("soil_c", "before", "verdict"),
    [
        (9.9, None, "whole"),
        (10.0, None, "cut"),
        (21.0, None, "cut"),
        (21.1, None, "whole"),
        (9.1, "cut", "cut"),
        (8.9, "cut", "whole"),
        (10.9, "whole", "whole"),
        (11.0, "whole", "cut"),
        (20.1, "whole", "whole"),
        (22.0, "cut", "cut"),
    ],
)
def test_cut_or_whole_goes_by_the_soil_that_waits(a, thresholds, today, soil_c, before, verdict):
    """For a grower who plants from 7 °C on: by default planting would wait where cut seed is too cold."""
    early = {"planting": {"soil_ready_spring": "7 C", "soil_off_spring": "6 C"}}
    said = said_of("cut-seed", before, today - DAY) if before else None
    assert cut_seed(about_to_plant(a, 5, soil_c), type(thresholds).model_validate(early), said).verdict == verdict


@pytest.mark.parametrize(
    ("season", "soil_c", "standing", "speaks"),
    [
        (Season.SPRING, 9.9, False, False),
        (Season.SPRING, 10.0, False, True),
        (Season.SPRING, 9.0, True, True),
        (Season.SPRING, 8.9, True, False),
        (Season.AUTUMN, 27.1, False, False),
        (Season.AUTUMN, 27.0, False, True),
        (Season.AUTUMN, 28.0, True, True),
        (Season.AUTUMN, 28.1, True, False),
    ],
)
def test_nothing_is_said_of_cutting_for_a_week_in_which_planting_would_wait(
    a, thresholds, today, season, soil_c, standing, speaks
):
    soil = a.soil((29.0,) * 3, (29.0,) * 5 + (soil_c,) * 15, ready=5)
    condition = a.condition(Stage.CHITTING, soil=soil, planting=replace(a.planting, season=season))
    said = said_of("cut-seed", "cut", today - DAY) if standing else None
    assert (cut_seed(condition, thresholds, said) is not None) is speaks


@pytest.mark.parametrize(("days_left", "speaks"), [(0, True), (-1, False)])
def test_what_was_said_of_cutting_stands_to_the_last_day_to_plant(a, thresholds, today, days_left, speaks):
    last = SeasonChances(10, 0.1, today + days_left * DAY)
    said = said_of("cut-seed", "cut", today - DAY)
    assert (cut_seed(about_to_plant(a, 0, chances=last), thresholds, said) is not None) is speaks


def test_cut_seed_is_not_cut_again_and_unknown_soil_gives_no_word(a, thresholds, today):
    assert cut_already(about_to_plant(a, 5, seed=SeedNow(cut=today)), thresholds)
    assert not cut_already(about_to_plant(a, 5), thresholds)
    for soil in (a.soil(ready=5, known=False), a.soil((9.0,) * 3, (12.0,) * 4, ready=5)):
        assert isinstance(cut_seed(a.condition(Stage.CHITTING, soil=soil), thresholds, None), NotKnown)
