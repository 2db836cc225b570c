"""What came of a frost call: in vain, unwarned, right, or near enough; told once, in one line."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from haulm.advice import Decision, Said, Section
from haulm.alerts.outcome import frost_outcomes
from haulm.condition import DayRange
from haulm.garden import Stage
from haulm.letter import words
from haulm.units import Display
from haulm.weather import DAY, Mark, NightPast, Timeline, unknown_days

NAN = float("nan")


def said(today, verdict="cover-tonight", level=2, *, rule="frost", first=1, last=1):
    """Said from some days ago to some days ago."""
    begun = today - first * DAY
    return Said(rule, "gatebed", "gate-early", begun.isoformat(), verdict, level, begun, today - last * DAY)


def past(today, leaf_c, *, back=0, air_c=None, read_c=NAN, whole=True):
    return NightPast(today - back * DAY, leaf_c + 1.0 if air_c is None else air_c, leaf_c, read_c, whole)


def outcomes(a, thresholds, memory, *nights, **changes):
    condition = a.condition(sky=a.sky(nights_past=tuple(nights)), **changes)
    return frost_outcomes([condition], tuple(memory), thresholds)


def verdicts(found):
    return [alert.verdict for alert in found[0]]


@pytest.mark.parametrize(
    ("leaf_c", "verdict"),
    [(3.0, ["did-not-come"]), (0.1, ["did-not-come"]), (0.0, []), (-0.5, []), (-1.0, []), (-5.0, [])],
)
def test_a_call_in_vain_is_told_and_a_near_thing_is_none(a, thresholds, today, leaf_c, verdict):
    assert verdicts(outcomes(a, thresholds, [said(today)], past(today, leaf_c))) == verdict


@pytest.mark.parametrize(
    ("leaf_c", "verdict"), [(-1.0, ["came-unwarned"]), (-4.0, ["came-unwarned"]), (-0.9, []), (2.0, [])]
)
@pytest.mark.parametrize("stood", [("water", "skip", 0), ("frost", "heads-up", 1)])
def test_a_frost_without_a_call_is_told(a, thresholds, today, leaf_c, verdict, stood):
    rule, word, level = stood
    memory = [said(today, word, level, rule=rule)]
    assert verdicts(outcomes(a, thresholds, memory, past(today, leaf_c))) == verdict


def test_a_call_that_the_evening_took_back_is_no_call(a, thresholds, today):
    """Nothing came of it, and nothing is said; but a frost that came after all is told, and as what it was."""
    back = replace(said(today), ended_on=today - DAY)
    assert verdicts(outcomes(a, thresholds, [back], past(today, 3.0))) == []
    (alert,), _ = outcomes(a, thresholds, [back], past(today, -3.0))
    assert (alert.verdict, alert.facts["taken_back"]) == ("came-unwarned", True)
    (plain,), _ = outcomes(a, thresholds, [said(today, "skip", 0, rule="water")], past(today, -3.0))
    assert plain.facts["taken_back"] is False


def test_without_a_letter_on_that_day_nobody_failed_to_warn(a, thresholds, today):
    assert verdicts(outcomes(a, thresholds, [], past(today, -3.0))) == []
    earlier = said(today, "skip", 0, rule="water", first=6, last=3)
    assert verdicts(outcomes(a, thresholds, [earlier], past(today, -3.0))) == []


def test_the_grower_s_own_thermometer_says_more_than_the_station(a, thresholds, today):
    warm, cold = past(today, -2.0, read_c=1.5), past(today, 2.0, read_c=-1.5)
    assert verdicts(outcomes(a, thresholds, [said(today)], warm)) == ["did-not-come"]
    assert verdicts(outcomes(a, thresholds, [said(today, "skip", 0, rule="water")], cold)) == ["came-unwarned"]


def test_a_night_that_is_still_going_on_is_not_called_frostless(a, thresholds, today):
    assert verdicts(outcomes(a, thresholds, [said(today)], past(today, 3.0, whole=False))) == []
    frozen = past(today, -2.0, whole=False)
    assert verdicts(outcomes(a, thresholds, [said(today, "skip", 0, rule="water")], frozen)) == ["came-unwarned"]


def test_the_call_of_the_night_s_own_eve_counts(a, thresholds, today):
    """A cover asked for three days ago, then none: the frost of last night was not called."""
    memory = [said(today, first=3, last=2), said(today, "skip", 0, rule="water", first=9)]
    assert verdicts(outcomes(a, thresholds, memory, past(today, -2.0))) == ["came-unwarned"]
    assert verdicts(outcomes(a, thresholds, memory, past(today, 3.0, back=1))) == ["did-not-come"]
    assert verdicts(outcomes(a, thresholds, memory, past(today, -2.0, back=1))) == []


@pytest.mark.parametrize("verdict", ["ripe-tops", "killed"])
def test_tops_given_up_are_not_mourned(a, thresholds, today, verdict):
    assert verdicts(outcomes(a, thresholds, [said(today, verdict)], past(today, -3.0))) == []
    assert verdicts(outcomes(a, thresholds, [said(today, verdict)], past(today, 3.0))) == []


def test_frost_before_the_shoots_were_surely_out_is_no_news(a, thresholds, today):
    memory = [said(today, "skip", 0, rule="water")]
    soon = DayRange(today - 9 * DAY, today - 3 * DAY, today + DAY, 1.0, 0)
    assert verdicts(outcomes(a, thresholds, memory, past(today, -3.0), crop=a.crop(shoots=soon))) == []
    assert verdicts(outcomes(a, thresholds, memory, past(today, -3.0), crop=a.crop(tops_gone=today - 2 * DAY))) == []
    assert verdicts(outcomes(a, thresholds, memory, past(today, -3.0), stage=a.stage(Stage.PLANTED))) == []
    for stage, told in ((Stage.EMERGED, 1), (Stage.DYING_BACK, 1), (Stage.SKINS_SETTING, 0)):
        assert len(verdicts(outcomes(a, thresholds, memory, past(today, -3.0), stage=a.stage(stage)))) == told


def test_each_night_is_told_once(a, thresholds, today):
    alerts, told = outcomes(a, thresholds, [said(today)], past(today, 3.0))
    assert len(alerts) == 1
    (kept,) = told
    assert (kept.episode, kept.first_on, kept.ended_on) == (today.isoformat(), today, today)
    # Worked out again on the same day it says the same; on the next day it is silent.
    assert len(outcomes(a, thresholds, [said(today), kept], past(today, 3.0))[0]) == 1
    condition = a.condition(sky=a.sky(nights_past=(past(today, 3.0),)))
    tomorrow = replace(condition, today=today + DAY)
    assert frost_outcomes([tomorrow], (said(today), kept), thresholds) == ((), ())


@pytest.mark.parametrize(("display", "degrees"), [(Display.METRIC, "3.1 °C"), (Display.US, "38 °F")])
def test_its_words_are_one_line(a, thresholds, today, display, degrees):
    condition = a.condition(sky=a.sky(nights_past=(past(today, 2.0, air_c=3.1),)))
    (alert,), _ = frost_outcomes([condition], (said(today),), thresholds)
    garden = replace(condition.garden, place=replace(condition.garden.place, display=display))
    days, marks = unknown_days(today, 1), np.array([Mark.FORECAST], dtype=np.int8)
    timeline = Timeline(days, marks, marks, today, condition.sky.origin, None, timedelta(0))
    item = words.item(alert, Decision(garden, a.now, today, timeline, (condition,), (), ()))
    assert alert.section is Section.KEEP_AN_EYE
    assert item.sentence.startswith(f"Last night's frost did not come to Gatebed: {degrees} at the station")
    assert (item.reasons, item.caution) == ("", "")


def test_an_earlier_night_is_named_and_a_frost_asks_to_look(a, thresholds, today):
    night = past(today, -2.0, back=1, read_c=-2.4)
    condition = a.condition(sky=a.sky(nights_past=(night,)))
    (alert,), _ = frost_outcomes([condition], (said(today, "skip", 0, rule="water", first=5),), thresholds)
    days, marks = unknown_days(today, 1), np.array([Mark.FORECAST], dtype=np.int8)
    timeline = Timeline(days, marks, marks, today, condition.sky.origin, None, timedelta(0))
    item = words.item(alert, Decision(condition.garden, a.now, today, timeline, (condition,), (), ()))
    assert item.sentence == (
        "It froze on Gatebed in the night to Mon 19 April, and this letter had not asked for a cover: "
        "−2.4 °C by your own thermometer, −1 °C at the station. Look at the leaves."
    )
    assert item.caution.startswith("After a frost wait 10 to 14 days")
