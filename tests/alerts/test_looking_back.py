"""The season in a few numbers: each is what the crop had, and litres and weights are those of the bed."""

from dataclasses import replace

import pytest

from haulm.advice import Section
from haulm.alerts.looking_back import season_review
from haulm.condition import SeasonSum
from haulm.garden import Stage
from haulm.weather import DAY


def test_the_numbers_of_a_season_are_those_of_the_crop_and_its_bed(a, thresholds, today):
    season = SeasonSum(today - 120 * DAY, today - 100 * DAY, today, 240.0, 2, 55.0, 4, 7.2)
    found = season_review(a.condition(Stage.LIFTED, season=season), thresholds, None)
    assert found.section is Section.KEEP_AN_EYE
    assert (found.facts["shoots_days"], found.facts["days"]) == (20, 120)
    assert found.facts["watered_l"] == pytest.approx(55.0 * 2.4 * 1.2)  # mm on a bed of 2.4 by 1.2 m
    assert found.facts["weight_kg_m2"] == pytest.approx(7.2 / (2.4 * 1.2))


def test_shoots_that_nobody_noted_have_no_day_and_a_crop_still_in_the_ground_no_review(a, thresholds, today):
    season = SeasonSum(today - 120 * DAY, None, today, 240.0, 2, 55.0, 4, 7.2)
    found = season_review(a.condition(Stage.LIFTED, season=season), thresholds, None)
    assert found.facts["shoots_days"] is None
    assert season_review(replace(a.condition(), season=None), thresholds, None) is None
