"""Frost on the shoots: grades, nights, offsets of hysteresis, estimated shoots, and what is not known.

Chances are those of a normal spread about the leaf's minimum: at the limit exactly one in two. Where a chance is
wanted exactly, the leaf temperature is placed by the normal quantile: 0.8416 spreads above a limit is 20 %,
0.5244 is 30 %, 1.2816 is 10 % (any table of the normal distribution).
"""

from dataclasses import replace

import numpy as np
import pytest

from haulm.advice import NotKnown, Said, Section
from haulm.alerts.frost import frost_on_shoots
from haulm.condition import DayRange
from haulm.garden import Cause, Stage
from haulm.weather import DAY

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
