"""Soil ready, not yet, too late, planted too cold: both sides of every threshold, and what is not known."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from haulm.advice import NotKnown, Said, Section
from haulm.alerts.planting import not_yet, planted_too_cold, planting_time, soil_ready, too_late
from haulm.condition import SeasonChances
from haulm.garden import Season, Stage
from haulm.weather import DAY, Daily

NAN = float("nan")


def open_episode(today, verdict, rule="planting-time", level=0):
    return Said(rule, "gatebed", "gate-early", "2027-04-10", verdict, level, today, today)


def in_autumn(a, today, *, last_safe=30, **changes):
    planting = replace(a.planting, season=Season.AUTUMN)
    last = None if last_safe is None else today + last_safe * DAY
    return a.condition(Stage.CHITTING, planting=planting, chances=SeasonChances(10, 0.1, last), **changes)


# --- ready in spring (10 °C three days running: University of Nebraska-Lincoln, 50 °F; the days are common practice)


@pytest.mark.parametrize(
    ("recent", "ahead", "verdict"),
    [
        ((10.0, 10.0, 10.0), (10.0,) * 7, "plant"),
        ((9.99, 12.0, 12.0), (12.0,) * 7, None),
        ((12.0, 12.0, 9.99), (12.0,) * 7, None),
        ((12.0, 12.0, 12.0), (12.0,) * 6 + (9.99,), None),
    ],
)
def test_spring_needs_three_warm_days_and_seven_more(a, thresholds, recent, ahead, verdict):
    found = soil_ready(a.condition(Stage.SEED, soil=a.soil(recent, ahead)), thresholds, None)
    assert (found.verdict if found else None) == verdict


def test_once_said_it_holds_until_the_soil_falls_below_the_off_threshold(a, thresholds, today):
    said = open_episode(today, "plant")
    still = a.condition(Stage.SEED, soil=a.soil((9.5, 9.2, 9.0), (9.0,) * 7))
    assert soil_ready(still, thresholds, said).verdict == "plant"
    over = a.condition(Stage.SEED, soil=a.soil((9.5, 9.2, 8.99), (9.0,) * 7))
    assert soil_ready(over, thresholds, said) is None


def test_outside_the_window_nothing_is_said(a, thresholds, today):
    before = replace(a.planting, window_first=today + DAY)
    after = replace(a.planting, window_last=today - DAY)
    for planting in (before, after):
        assert soil_ready(a.condition(Stage.SEED, planting=planting), thresholds, None) is None
    first_day = replace(a.planting, window_first=today)
    assert soil_ready(a.condition(Stage.SEED, planting=first_day), thresholds, None) is not None


def test_a_wet_bed_is_not_ready_but_does_not_take_the_word_back(a, thresholds, today):
    wet = a.condition(Stage.SEED, water=a.water(drained_days=1))
    assert soil_ready(wet, thresholds, None) is None
    said = soil_ready(wet, thresholds, open_episode(today, "plant"))
    assert (said.verdict, said.facts["wet"]) == ("plant", True)


def test_missing_data_never_say_plant(a, thresholds):
    for soil in (a.soil(known=False), a.soil((12.0, NAN, 12.0)), a.soil(ahead=(12.0,) * 6 + (NAN,))):
        found = soil_ready(a.condition(Stage.SEED, soil=soil), thresholds, None)
        assert isinstance(found, NotKnown)
        assert found.worth_saying


def test_the_frost_chance_is_told_beside_the_limit(a, thresholds, today):
    risky = a.condition(Stage.SEED, chances=SeasonChances(10, 0.35, None))
    facts = soil_ready(risky, thresholds, None).facts
    assert (facts["frost_chance"], facts["frost_limit"]) == (0.35, 0.2)


# --- ready in autumn (24 °C: Sale 1979, emergence held back above 22-24 °C; 27 °C with care: judgement)


@pytest.mark.parametrize(
    ("recent", "verdict"),
    [
        ((24.0, 24.0, 24.0), "plant"),
        ((24.1, 24.0, 24.0), "plant-with-care"),
        ((27.0, 26.5, 26.0), "plant-with-care"),
        ((27.1, 26.5, 26.0), None),
    ],
)
def test_autumn_waits_for_the_soil_to_fall(a, thresholds, today, recent, verdict):
    condition = in_autumn(a, today, soil=a.soil(recent, (23.0,) * 7, before=28.0))
    found = soil_ready(condition, thresholds, None)
    assert (found.verdict if found else None) == verdict


def test_with_care_only_for_awake_seed_in_falling_soil(a, thresholds, today):
    rising = in_autumn(a, today, soil=a.soil((25.0, 25.5, 26.0), (26.0,) * 7, before=24.0))
    assert soil_ready(rising, thresholds, None) is None
    asleep = replace(
        in_autumn(a, today, soil=a.soil((26.0, 25.5, 25.0), (24.0,) * 7, before=28.0)), stage=a.stage(Stage.SEED)
    )
    assert soil_ready(asleep, thresholds, None) is None


def test_autumn_ends_a_degree_above_the_limit(a, thresholds, today):
    said = open_episode(today, "plant")
    warm = in_autumn(a, today, soil=a.soil((25.0, 25.0, 25.0), (24.0,) * 7))
    assert soil_ready(warm, thresholds, said).verdict == "plant"


def test_care_once_asked_for_is_not_dropped_by_the_slack(a, thresholds, today):
    said = open_episode(today, "plant-with-care")
    condition = in_autumn(a, today, soil=a.soil((25.2, 24.9, 24.5), (24.0,) * 7, before=28.0))
    assert soil_ready(condition, thresholds, said).verdict == "plant-with-care"


def test_after_the_last_safe_day_autumn_is_too_late(a, thresholds, today):
    cool = a.soil((22.0,) * 3, (22.0,) * 7)
    assert soil_ready(in_autumn(a, today, last_safe=0, soil=cool), thresholds, None).verdict == "plant"
    late = in_autumn(a, today, last_safe=-1, soil=cool)
    assert soil_ready(late, thresholds, None) is None
    assert too_late(late).verdict == "too-late"
    unknown = in_autumn(a, today, last_safe=None, soil=cool)
    assert soil_ready(unknown, thresholds, None).facts["last_safe"] is None


# --- not yet, too late


@pytest.mark.parametrize(
    ("recent", "ahead", "drained", "why"),
    [
        ((9.0, 9.5, 9.9), (12.0,) * 7, 0, "cold"),
        ((9.9, 12.0, 12.0), (12.0,) * 7, 0, "cold"),
        ((12.0,) * 3, (12.0,) * 5 + (9.0, 9.0), 0, "turning cold"),
        ((12.0,) * 3, (12.0,) * 7, 2, "wet"),
        ((12.0,) * 3, (12.0,) * 7, 0, None),
    ],
)
def test_not_yet_says_why(a, thresholds, recent, ahead, drained, why):
    condition = a.condition(Stage.CHITTING, soil=a.soil(recent, ahead), water=a.water(drained_days=drained))
    found = not_yet(condition, thresholds, None)
    assert (found.facts["why"] if found else None) == why
    assert found is None or found.section is Section.LEAVE_ALONE


@pytest.mark.parametrize(("recent", "verdict"), [((8.0,) * 3, "wait"), ((12.0,) * 3, "plant")])
def test_the_chance_that_yesterday_was_right_is_told_and_not_known_where_there_is_none(
    a, thresholds, today, recent, verdict
):
    plain = a.condition(Stage.CHITTING, soil=a.soil(recent))
    odds = Daily(today - 2 * DAY, np.array([0.1, 0.3, 0.5]))
    known = replace(plain, soil=replace(plain.soil, fit_chance=odds))
    told = [planting_time(one, thresholds, None) for one in (plain, known)]
    assert [found.verdict for found in told] == [verdict, verdict]
    assert [found.facts["fit_chance"] for found in told] == [None, 0.3]


def test_not_yet_tells_when_it_is_likely_to_be_time_and_by_how_many_years(a, thresholds, today):
    cold = a.soil((8.0,) * 3)
    known = not_yet(a.condition(Stage.CHITTING, soil=cold), thresholds, None).facts
    assert (known["early"], known["likely"], known["late"]) == (today + 5 * DAY, today + 9 * DAY, today + 14 * DAY)
    assert (known["years"], known["last_safe"]) == (10, today + 30 * DAY)
    unknown = not_yet(a.condition(Stage.CHITTING, soil=replace(cold, ready=None)), thresholds, None).facts
    assert [unknown[name] for name in ("early", "likely", "late", "years")] == [None, None, None, 0]


@pytest.mark.parametrize(("week_ago", "change"), [(6.0, 2.0), (11.0, -3.0)])
def test_not_yet_tells_how_the_soil_moved_in_a_week(a, thresholds, week_ago, change):
    soil = a.soil((*(8.0,) * 7,), before=week_ago)
    assert not_yet(a.condition(Stage.CHITTING, soil=soil), thresholds, None).facts["trend_c"] == change


def test_not_yet_in_autumn(a, thresholds, today):
    hot = in_autumn(a, today, soil=a.soil((26.0, 28.1, 26.0), (27.0,) * 7))
    assert not_yet(hot, thresholds, None).facts["why"] == "hot"
    again = in_autumn(a, today, soil=a.soil((26.0,) * 3, (26.0,) * 6 + (28.5,)))
    assert not_yet(again, thresholds, None).facts["why"] == "turning hot"


def test_with_chitted_seed_there_is_always_one_verdict(a, thresholds):
    for warm in np.arange(8.0, 13.0, 0.25):
        condition = a.condition(Stage.CHITTING, soil=a.soil((warm,) * 3, (11.0,) * 7))
        expected = "plant" if warm >= 10.0 else "wait"
        assert planting_time(condition, thresholds, None).verdict == expected


def test_without_chitted_seed_cold_soil_is_no_news(a, thresholds):
    cold = a.soil((8.0,) * 3)
    assert planting_time(a.condition(Stage.SEED, soil=cold), thresholds, None) is None
    assert planting_time(a.condition(Stage.CHITTING, soil=cold), thresholds, None) is not None


def test_the_closed_window_names_the_next_one(a, thresholds, today):
    closed = replace(a.planting, window_last=today - DAY)
    condition = a.condition(Stage.SEED, planting=closed)
    assert too_late(condition).facts["next_window"] is None
    later = replace(a.planting, key="gate-late", name="Gatebed lates", window_first=today + timedelta(days=100))
    garden = replace(condition.garden, plantings=(closed, later))
    facts = too_late(replace(condition, garden=garden)).facts
    assert (facts["next_name"], facts["next_window"]) == ("Gatebed lates", later.window_first)
    assert too_late(a.condition(Stage.SEED)) is None


# --- planted too cold (7 °C: sprouts hardly grow at 6 °C, prairie production guide; five days: common practice)


@pytest.mark.parametrize(("warmest", "top_share", "speaks"), [(6.9, 0.2, True), (7.0, 0.2, False), (6.9, 0.6, False)])
def test_too_cold_is_cold_on_every_day_and_wet(a, thresholds, warmest, top_share, speaks):
    condition = a.condition(
        Stage.PLANTED, soil=a.soil((6.0, 6.0, warmest, 6.0, 6.0)), water=a.water(top_share=top_share)
    )
    assert (planted_too_cold(condition, thresholds, None) is not None) is speaks


def test_too_cold_ends_a_degree_higher(a, thresholds, today):
    said = open_episode(today, "too-cold", "planted-too-cold")
    for warmest, speaks in ((7.9, True), (8.0, False)):
        condition = a.condition(Stage.PLANTED, soil=a.soil((6.0, 6.0, warmest, 6.0, 6.0)))
        assert (planted_too_cold(condition, thresholds, said) is not None) is speaks


def test_too_cold_is_not_known_without_soil(a, thresholds):
    condition = a.condition(Stage.PLANTED, soil=a.soil((6.0, NAN, 6.0, 6.0, 6.0)))
    assert isinstance(planted_too_cold(condition, thresholds, None), NotKnown)


@pytest.mark.parametrize(
    ("nights_c", "told"), [((8.0, 8.0, 8.0), True), ((8.0, NAN, 8.0), False), ((8.0, 8.0), False), ((), False)]
)
def test_no_frost_is_called_off_for_nights_that_are_not_told(a, thresholds, nights_c, told):
    """Straw is thinned over cold seed only where no frost is near."""
    nights = [a.night(1 + k, leaf_c) for k, leaf_c in enumerate(nights_c)]
    condition = a.condition(Stage.PLANTED, soil=a.soil((6.0,) * 5), sky=a.sky(nights))
    facts = planted_too_cold(condition, thresholds, None).facts
    assert (facts["has_forecast"], facts["frost_near"]) == (told, False)


def test_without_a_forecast_nobody_is_told_to_plant(a, thresholds):
    """The soil is run on along the mean year, which is no look ahead: whether to plant is not known."""
    blind = a.sky(has_forecast=False)
    answer = planting_time(a.condition(Stage.CHITTING, sky=blind), thresholds, None)
    assert isinstance(answer, NotKnown)
    assert answer.worth_saying
    cold = planting_time(a.condition(Stage.CHITTING, sky=blind, soil=a.soil((8.0,) * 3)), thresholds, None)
    assert (cold.verdict, cold.facts["why"]) == ("wait", "cold")
    assert np.isnan(cold.facts["ahead_min_c"])


def test_how_old_the_stations_newest_day_is_goes_with_the_word_to_plant(a, thresholds, today):
    old = a.sky(newest_observed=today - 6 * DAY)
    assert planting_time(a.condition(Stage.CHITTING, sky=old), thresholds, None).facts["observed_days_ago"] == 6


@pytest.mark.parametrize(
    ("begun", "opens_in", "verdict"), [(14, 5, "wait"), (13, 5, None), (13, 0, "wait"), (3, -4, "wait")]
)
def test_seed_hardly_awake_is_told_to_wait_only_once_the_window_is_open(a, thresholds, today, begun, opens_in, verdict):
    planting = replace(a.planting, window_first=today + opens_in * DAY)
    since = a.stage(Stage.CHITTING, since=today - begun * DAY)
    cold = a.condition(Stage.CHITTING, soil=a.soil((8.0,) * 3), planting=planting, stage=since)
    found = planting_time(cold, thresholds, None)
    assert (found.verdict if found else None) == verdict
    assert found is None or found.facts["sprouted"] is (begun >= 14)


@pytest.mark.parametrize(("days_left", "level"), [(6, 0), (5, 1), (0, 1)])
@pytest.mark.parametrize("season", list(Season))
def test_a_bed_that_is_ready_is_spoken_of_again_before_the_last_day(a, thresholds, today, season, days_left, level):
    planting = replace(a.planting, season=season, window_last=today + days_left * DAY)
    found = planting_time(a.condition(Stage.CHITTING, planting=planting), thresholds, None)
    assert (found.verdict, found.level) == ("plant", level)


def test_too_late_names_the_same_window_of_next_year(a, thresholds, today):
    closed = replace(a.planting, window_last=today - DAY)
    facts = planting_time(a.condition(Stage.CHITTING, planting=closed), thresholds, None).facts
    assert facts["next_year"] == closed.window_first + 365 * DAY


@pytest.mark.parametrize("taken", [True, False])
def test_a_bed_that_holds_another_crop_is_planted_after_it(a, thresholds, taken):
    condition = a.condition(Stage.CHITTING, water=None if taken else a.water())
    assert planting_time(condition, thresholds, None).facts["taken"] is taken


def test_in_autumn_no_forecast_is_no_leave_to_plant(a, thresholds):
    condition = a.condition(
        Stage.CHITTING,
        planting=replace(a.planting, season=Season.AUTUMN),
        soil=a.soil((22.0,) * 3, (22.0, float("nan"), *(22.0,) * 5)),
    )
    answer = planting_time(condition, thresholds, None)
    assert isinstance(answer, NotKnown)
    assert answer.worth_saying
