"""Look now: once a season each, in its time and weather. All limits are common practice without a source."""

from dataclasses import replace

import numpy as np
import pytest

from haulm.advice import NotKnown, Said, Section
from haulm.alerts.look import beetle, greening, slugs, tuber_moth, voles
from haulm.condition import DayRange, DaySpan
from haulm.weather import DAY, unknown_days

NAN = float("nan")


def after_week(a, today, low_c=10.0, high_c=16.0, rain_mm=2.0, known=7, **changes):
    """A week of one weather, of which the last days are known."""
    values = {"air_min_c": low_c, "air_max_c": high_c, "rain_mm": rain_mm}
    kept = np.arange(7) >= 7 - known
    recent = unknown_days(today - 7 * DAY, 7, **{name: np.where(kept, v, NAN) for name, v in values.items()})
    return a.condition(sky=a.sky(recent=recent), **changes)


def with_shoots(a, today, early, likely):
    return {"crop": a.crop(shoots=DayRange(today + early * DAY, today + likely * DAY, None, 1.0, 0))}


def forming(a, today, since):
    return {"crop": a.crop(forming=DaySpan(today - since * DAY, today + 9 * DAY))}


@pytest.mark.parametrize(("low_c", "week_mm", "speaks"), [(7.0, 12.0, True), (6.9, 12.0, False), (7.0, 11.9, False)])
def test_slugs_are_looked_for_in_mild_wet_weather(a, thresholds, today, low_c, week_mm, speaks):
    condition = after_week(a, today, low_c, rain_mm=week_mm / 7.0 + 1e-9, **with_shoots(a, today, -2, 0))
    found = slugs(condition, thresholds, None)
    assert (found is not None) is speaks
    assert found is None or found.section is Section.KEEP_AN_EYE


@pytest.mark.parametrize(
    ("early", "likely", "speaks"), [(4, 6, False), (3, 6, True), (-30, -28, True), (-31, -29, False)]
)
def test_slugs_are_looked_for_while_shoots_are_short(a, thresholds, today, early, likely, speaks):
    condition = after_week(a, today, **with_shoots(a, today, early, likely))
    assert (slugs(condition, thresholds, None) is not None) is speaks


def test_a_bare_bed_shelters_no_slugs(a, thresholds, today):
    condition = after_week(a, today, straw_m=0.0, **with_shoots(a, today, -2, 0))
    assert slugs(condition, thresholds, None) is None


@pytest.mark.parametrize(("high_c", "speaks"), [(20.0, True), (19.9, False)])
def test_beetles_are_looked_for_in_weeks_of_fifteen_degrees(a, thresholds, today, high_c, speaks):
    assert (beetle(after_week(a, today, 10.0, high_c), thresholds, None) is not None) is speaks


def test_beetles_wait_until_there_is_leaf_for_sure(a, thresholds, today):
    condition = after_week(a, today, 15.0, 25.0, crop=a.crop(days_from_shoots=None))
    assert beetle(condition, thresholds, None) is None


@pytest.mark.parametrize(
    ("high_c", "week_mm", "since", "speaks"),
    [(30.0, 5.0, 0, True), (29.9, 5.0, 0, False), (30.0, 5.1, 0, False), (30.0, 5.0, -1, False)],
)
def test_tuber_moths_are_thought_of_in_dry_heat_once_there_are_tubers(
    a, thresholds, today, high_c, week_mm, since, speaks
):
    condition = after_week(a, today, 14.0, high_c, (week_mm - 1e-9) / 7.0, **forming(a, today, since))
    assert (tuber_moth(condition, thresholds, None) is not None) is speaks


@pytest.mark.parametrize(
    ("since", "straw_m", "vole", "green"),
    [
        (21, 0.10, True, True),
        (20, 0.10, False, True),
        (21, 0.09, False, True),
        (14, 0.2, False, True),
        (13, 0.2, False, False),
    ],
)
def test_voles_and_light_are_looked_for_once_tubers_swell(a, thresholds, today, since, straw_m, vole, green):
    condition = a.condition(straw_m=straw_m, **forming(a, today, since))
    assert (voles(condition, thresholds, None) is not None) is vole
    assert (greening(condition, thresholds, None) is not None) is green


@pytest.mark.parametrize(("known", "told"), [(5, True), (4, False)])
def test_a_week_hardly_known_is_no_weather(a, thresholds, today, known, told):
    shoots = with_shoots(a, today, -2, 0)
    for rule, condition in (
        (slugs, after_week(a, today, rain_mm=4.0, known=known, **shoots)),
        (beetle, after_week(a, today, high_c=25.0, known=known)),
        (tuber_moth, after_week(a, today, 20.0, 30.0, 0.0, known=known, **forming(a, today, 5))),
    ):
        assert isinstance(rule(condition, thresholds, None), NotKnown) is not told


def test_once_said_each_stays_said(a, thresholds, today):
    cold = after_week(a, today, 0.0, 5.0, 0.0, crop=a.crop(forming=None))
    for rule in (slugs, beetle, tuber_moth, voles, greening):
        assert not rule(cold, thresholds, None)
        said = Said("look", "gatebed", "gate-early", "2027-04-10", "look", 0, today - 10 * DAY, today - DAY)
        found = rule(replace(cold), thresholds, said)
        assert (found.verdict, found.level) == ("look", 0)  # so that the episode stays open
