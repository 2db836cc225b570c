"""Frost on the shoots: grades, nights, offsets of hysteresis, estimated shoots, and what is not known.

Chances are those of a normal spread about the leaf's minimum: at the limit exactly one in two. Where a chance is
wanted exactly, the leaf temperature is placed by the normal quantile: 0.8416 spreads above a limit is 20 %,
0.5244 is 30 %, 1.2816 is 10 % (any table of the normal distribution).
"""

from dataclasses import replace
from datetime import timedelta
from statistics import NormalDist

import numpy as np
import pytest

from haulm.advice import Decision, NotKnown, Said, Section, Speaks
from haulm.alerts.frost import frost_on_shoots, night_chance
from haulm.alerts.select import Judged, select
from haulm.condition import DayRange
from haulm.garden import Cause, Stage
from haulm.letter import words
from haulm.weather import DAY, Mark, Timeline, unknown_days

NAN = float("nan")
AT_20, AT_30, AT_10 = 0.8416, 0.5244, 1.2816
SURE = 0.02  # °C to either side of the edge
SPREAD_C = 1.5


def nights(a, tonight=8.0, second=8.0, third=8.0, fourth=8.0):
    leaves = (tonight, second, third, fourth)
    return a.sky([a.night(ahead, leaf_c) for ahead, leaf_c in enumerate(leaves, start=1)])


def said_of(verdict, today, level=1):
    return Said("frost", "gatebed", "gate-early", "2027-04-18", verdict, level, today - 2 * DAY, today - DAY)


def verdict_of(found):
    return found.verdict if found is not None else None


@pytest.mark.parametrize(
    ("leaf_c", "verdict"),
    [
        (AT_20 * SPREAD_C + SURE, None),  # 0 °C at a little less than 20 %
        (AT_20 * SPREAD_C - SURE, "heads-up"),
        (-1.0 + AT_30 * SPREAD_C + SURE, "heads-up"),  # -1 °C at a little less than 30 %
        (-1.0 + AT_30 * SPREAD_C - SURE, "cover-tonight"),
        (-2.2 + AT_30 * SPREAD_C + SURE, "cover-tonight"),  # -2.2 °C: 28 °F
        (-2.2 + AT_30 * SPREAD_C - SURE, "severe"),
    ],
)
def test_the_grades_of_tonight(a, thresholds, leaf_c, verdict):
    found = frost_on_shoots(a.condition(sky=nights(a, leaf_c)), thresholds, None)
    assert verdict_of(found) == verdict
    assert found is None or found.section is (Section.GET_READY if verdict == "heads-up" else Section.DO_TODAY)


def test_a_later_night_is_a_heads_up_however_cold(a, thresholds, today):
    found = frost_on_shoots(a.condition(sky=nights(a, second=-6.0)), thresholds, None)
    assert (found.verdict, found.facts["morning"], found.facts["tonight"]) == ("heads-up", today + 2 * DAY, False)


def test_three_nights_are_watched_and_no_more(a, thresholds):
    assert frost_on_shoots(a.condition(sky=nights(a, third=-3.0)), thresholds, None).verdict == "heads-up"
    assert frost_on_shoots(a.condition(sky=nights(a, fourth=-3.0)), thresholds, None) is None


def test_tonight_goes_before_a_colder_later_night(a, thresholds, today):
    found = frost_on_shoots(a.condition(sky=nights(a, tonight=-1.2, third=-5.0)), thresholds, None)
    assert (found.facts["morning"], found.facts["limit_c"], found.level) == (today + DAY, -1.0, 2)
    assert found.chance == pytest.approx(0.553, abs=0.001)  # Φ(0.2 / 1.5)


def test_graver_is_more_urgent(a, thresholds):
    found = [frost_on_shoots(a.condition(sky=nights(a, leaf_c)), thresholds, None) for leaf_c in (1.0, -1.0, -3.0)]
    assert [one.level for one in found] == [1, 2, 3]
    assert found[0].urgency < found[1].urgency < found[2].urgency


# --- an open warning ends below 10 % (judgement)


@pytest.mark.parametrize(
    ("leaf_c", "verdict"), [(AT_10 * SPREAD_C - SURE, "heads-up"), (AT_10 * SPREAD_C + SURE, None)]
)
@pytest.mark.parametrize("said", ["heads-up", "cover-tonight", "severe"])
def test_an_open_warning_ends_below_its_own_chance(a, thresholds, today, leaf_c, verdict, said):
    found = frost_on_shoots(a.condition(sky=nights(a, second=leaf_c)), thresholds, said_of(said, today))
    assert verdict_of(found) == verdict


def test_having_said_that_nothing_is_known_is_no_open_warning(a, thresholds, today):
    condition = a.condition(sky=nights(a, second=AT_10 * SPREAD_C - SURE))
    assert frost_on_shoots(condition, thresholds, said_of("unknown", today, -1)) is None


# --- shoots: the early end of an estimate counts


@pytest.mark.parametrize(
    ("early_in", "cold_night", "verdict"),
    [
        (3, 3, "heads-up"),
        (4, 3, None),
        (2, 1, None),  # tonight is cold, but shoots may be out from the day after tomorrow only
        (1, 1, "severe"),
        (-5, 1, "severe"),
    ],
)
def test_shoots_that_are_only_expected(a, thresholds, today, early_in, cold_night, verdict):
    early = today + early_in * DAY
    crop = a.crop(shoots=DayRange(early, early + 5 * DAY, early + 10 * DAY, 1.0, 0), days_from_shoots=None, p_days=0.0)
    sky = a.sky([a.night(ahead, -4.0 if ahead == cold_night else 8.0) for ahead in (1, 2, 3)])
    found = frost_on_shoots(a.condition(Stage.PLANTED, crop=crop, sky=sky), thresholds, None)
    assert verdict_of(found) == verdict
    assert found is None or found.facts["shoots_noted"] is False


def test_noted_shoots_are_no_estimate(a, thresholds, today):
    noted = DayRange(today, today, today, 1.0, 0)
    condition = a.condition(crop=a.crop(shoots=noted), sky=nights(a, 0.0))
    assert frost_on_shoots(condition, thresholds, None).facts["shoots_noted"] is True
    estimated = a.condition(Stage.EMERGED, sky=nights(a, 0.0))
    assert frost_on_shoots(estimated, thresholds, None).facts["shoots_noted"] is False
    dying = a.condition(Stage.DYING_BACK, sky=nights(a, 0.0))
    assert frost_on_shoots(dying, thresholds, None).facts["shoots_noted"] is True


def test_no_shoots_or_no_tops_no_frost_on_them(a, thresholds, today):
    cold = nights(a, -5.0)
    endless = DayRange(None, None, None, 0.0, 5)
    for crop in (a.crop(shoots=None), a.crop(shoots=endless), a.crop(tops_gone=today)):
        assert frost_on_shoots(a.condition(crop=crop, sky=cold), thresholds, None) is None


@pytest.mark.parametrize(
    ("changes", "ripe"),
    [
        ({}, False),
        ({"p_days": 800.0}, True),
        ({"dying_cause": Cause.AGE, "days_from_shoots": 90, "p_days": 700.0}, True),
        ({"dying_cause": Cause.THIRST}, False),
        ({"dying_cause": Cause.UNKNOWN}, False),  # 26 days old: not ripe
    ],
)
def test_only_ripe_tops_are_given_up(a, thresholds, today, changes, ripe):
    since = today - DAY if "dying_cause" in changes else None
    condition = a.condition(crop=a.crop(**changes, dying_since=since), sky=nights(a, -1.0))
    assert frost_on_shoots(condition, thresholds, None).facts["nearly_ripe"] is ripe


# --- what is not known is not safe


@pytest.mark.parametrize(("recent_min_c", "worth_saying"), [(10.0, True), (10.1, False), (NAN, True)])
def test_without_a_forecast_frost_is_not_known(a, thresholds, recent_min_c, worth_saying):
    for sky in (a.sky((), recent_min_c=recent_min_c), replace(nights(a, NAN, NAN, NAN), recent_min_c=recent_min_c)):
        found = frost_on_shoots(a.condition(sky=sky), thresholds, None)
        assert found == NotKnown("forecast", worth_saying=worth_saying)


def test_a_missing_night_does_not_end_a_warning(a, thresholds, today):
    condition = a.condition(sky=nights(a, third=NAN))
    assert frost_on_shoots(condition, thresholds, said_of("heads-up", today)) == NotKnown("forecast")


def test_a_missing_tonight_is_worth_a_word(a, thresholds):
    found = frost_on_shoots(a.condition(sky=nights(a, tonight=NAN)), thresholds, None)
    assert found == NotKnown("forecast", worth_saying=True)


def test_a_known_danger_is_told_though_another_night_is_missing(a, thresholds):
    found = frost_on_shoots(a.condition(sky=nights(a, tonight=NAN, second=-2.0)), thresholds, None)
    assert found.verdict == "heads-up"


def test_colder_leaves_never_lower_the_grade(a, thresholds):
    found = [
        frost_on_shoots(a.condition(sky=nights(a, leaf_c)), thresholds, None) for leaf_c in np.arange(6, -8, -0.25)
    ]
    levels = [one.level if one else 0 for one in found]
    assert levels == sorted(levels)
    assert set(levels) == {0, 1, 2, 3}


def test_tops_that_go_down_of_age_are_left_to_the_frost(a, thresholds, today):
    crop = a.crop(dying_cause=Cause.AGE, dying_since=today - DAY, days_from_shoots=90, p_days=800.0)
    found = frost_on_shoots(a.condition(Stage.DYING_BACK, crop=crop, sky=nights(a, -3.0)), thresholds, None)
    assert (found.verdict, found.section) == ("ripe-tops", Section.KEEP_AN_EYE)
    thirsty = replace(crop, dying_cause=Cause.THIRST)
    found = frost_on_shoots(a.condition(Stage.DYING_BACK, crop=thirsty, sky=nights(a, -3.0)), thresholds, None)
    assert (found.verdict, found.section) == ("severe", Section.DO_TODAY)


@pytest.mark.parametrize(
    ("recent_min_c", "days_from_shoots", "verdict"),
    [
        (-4.0, 7, "killed"),  # HortScience 27:244 (1992), abstract: leaves are killed at -4 C
        (-3.9, 7, "severe"),
        (-4.0, 6, "severe"),  # the shoots may have come after that night
        (-4.0, None, "severe"),
        (NAN, 7, "severe"),
    ],
)
def test_after_a_killing_night_the_letter_asks_what_still_lives(a, thresholds, recent_min_c, days_from_shoots, verdict):
    sky = replace(nights(a, -3.0), recent_min_c=recent_min_c)
    found = frost_on_shoots(a.condition(crop=a.crop(days_from_shoots=days_from_shoots), sky=sky), thresholds, None)
    assert (found.verdict, found.section) == (verdict, Section.DO_TODAY)


# --- an open warning without a forecast stays prudent


def blind(a, thresholds, standing, recent_min_c=3.0):
    return frost_on_shoots(a.condition(sky=a.sky((), recent_min_c=recent_min_c)), thresholds, standing)


@pytest.mark.parametrize(
    ("verdict", "level", "section"),
    [("heads-up", 1, Section.GET_READY), ("cover-tonight", 2, Section.DO_TODAY), ("severe", 3, Section.DO_TODAY)],
)
def test_an_open_warning_stands_where_no_forecast_comes(a, thresholds, today, verdict, level, section):
    found = blind(a, thresholds, said_of(verdict, today, level))
    assert (found.verdict, found.section, found.level, found.chance) == ("no-forecast", section, level, None)
    assert (found.facts["asked_for_cover"], found.facts["since"]) == (level >= 2, today)


@pytest.mark.parametrize(("blind_days", "stands"), [(0, True), (2, True), (3, False)])
def test_it_stands_for_as_many_days_as_nights_are_watched(a, thresholds, today, blind_days, stands):
    since = today - blind_days * DAY
    said = Said("frost", "gatebed", "gate-early", since.isoformat(), "no-forecast", 2, since, today - DAY)
    found = blind(a, thresholds, said)
    assert (found == NotKnown("forecast", worth_saying=True)) is not stands
    assert not stands or found.facts["since"] == since


def test_a_forecast_that_comes_again_ends_it_or_takes_it_up(a, thresholds, today):
    said = Said("frost", "gatebed", "gate-early", today.isoformat(), "no-forecast", 2, today - DAY, today - DAY)
    assert frost_on_shoots(a.condition(sky=nights(a)), thresholds, said) is None
    possible = frost_on_shoots(a.condition(sky=nights(a, AT_10 * SPREAD_C - SURE)), thresholds, said)
    assert verdict_of(possible) == "heads-up"  # the lower chance at which an open warning ends
    cold = frost_on_shoots(a.condition(sky=nights(a, -1.2)), thresholds, said)
    assert verdict_of(cold) == "cover-tonight"


@pytest.mark.parametrize("verdict", ["ripe-tops", "killed", "unknown"])
def test_other_words_are_no_warning_to_hold_on_to(a, thresholds, today, verdict):
    assert blind(a, thresholds, said_of(verdict, today, 2)) == NotKnown("forecast", worth_saying=True)


def told_of(a, today, answer, *memory):
    """An answer as the alert of a morning, with as much of the morning as its words look at."""
    one = Judged("frost", Speaks.EACH_DAY, "gatebed", "gate-early", Stage.EMERGED, True, answer)
    (alert,), _ = select([one], memory, today)
    condition = a.condition()
    days, marks = unknown_days(today, 1), np.array([Mark.FORECAST], dtype=np.int8)
    timeline = Timeline(days, marks, marks, today, a.sky().origin, None, timedelta(0))
    return alert, Decision(condition.garden, a.now, today, timeline, (condition,), (), ())


@pytest.mark.parametrize(
    ("level", "told"), [(1, "Keep fleece or straw ready for Gatebed"), (2, "Cover Gatebed before dusk tonight unless")]
)
def test_its_words(a, thresholds, today, level, told):
    said = said_of({1: "heads-up", 2: "cover-tonight"}[level], today, level)
    item = words.item(*told_of(a, today, blind(a, thresholds, said), said))
    assert item.sentence.startswith(told)
    assert "no newer forecast" in item.sentence
    assert "is not known" in item.reasons
    assert "Look at a local forecast" in item.reasons
    assert item.caution


@pytest.mark.parametrize(
    ("chance", "sentence", "subject", "odds"),
    [
        (0.24, "is not ruled out", "Frost possible", "unlikely, 2 in 10"),
        (0.26, "is possible", "Frost possible", "possible, 3 in 10"),
        (0.44, "is possible", "Frost possible", "possible, 4 in 10"),
        (0.46, "may well come", "Frost as likely as not", "as likely as not, 5 in 10"),
        (0.64, "may well come", "Frost as likely as not", "more likely than not, 6 in 10"),
        (0.66, "is likely", "Frost likely", "likely, 7 in 10"),
        (0.98, "is likely", "Frost likely", "almost certain"),
    ],
)
def test_the_sentence_is_as_sure_as_the_chance(a, thresholds, today, chance, sentence, subject, odds):
    leaf_c = -NormalDist().inv_cdf(chance) * SPREAD_C
    answer = frost_on_shoots(a.condition(sky=nights(a, third=leaf_c)), thresholds, None)
    assert answer.chance == pytest.approx(chance, abs=1e-6)
    alert, decision = told_of(a, today, answer)
    item = words.item(alert, decision)
    assert sentence in item.sentence
    assert odds in item.reasons
    assert words.subject(alert, decision).startswith(subject)


# --- errors that are not normal


def test_skewed_errors_change_the_chance(a, thresholds):
    """Nine errors of +0.5 and one of −4.5: the mean night is warm enough, one in ten is not."""
    errors = (0.5,) * 9 + (-4.5,)
    plain = a.night(1, 2.2, spread_c=1.6)
    skewed = replace(plain, errors_c=errors)
    assert night_chance(skewed, -1.0) == pytest.approx(0.1, abs=0.02)
    assert night_chance(plain, -1.0) < 0.04


def test_no_night_is_promised(a):
    assert night_chance(a.night(1, 30.0), 0.0) == 0.01
    assert night_chance(a.night(1, -30.0), 0.0) == 0.99


def test_a_likelier_minimum_is_told_only_where_it_differs(a, thresholds):
    for likely_c, told_c in ((-4.0, None), (-2.0, -2.0)):
        night = a.night(1, -5.0, air_c=-4.0, likely_air_c=likely_c, still_and_clear=True)
        found = frost_on_shoots(a.condition(sky=a.sky([night])), thresholds, None)
        assert found.facts["likely_air_c"] == told_c
