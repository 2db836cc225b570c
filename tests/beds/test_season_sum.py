"""A crop's season in a few numbers: added up by hand, from journal and record."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from haulm.beds.noted import noted
from haulm.beds.season_sum import season_sum
from haulm.garden import Entry, Journal, What
from haulm.weather import unknown_days

PLANTED, LIFTED = date(2026, 5, 1), date(2026, 5, 11)


def entry(planting, day, what, value=None):
    key = "" if what in {What.WATERED, What.RAIN_READ} else planting.key
    return Entry(f"{day}{what}", datetime(2026, 6, 1, tzinfo=UTC), day, planting.bed, key, what, "", value)


@pytest.fixture
def told(make):
    bed, planting = make.bed(), replace(make.planting(), window_first=PLANTED, window_last=PLANTED)

    def summed(*entries, rain=None):
        fell = np.full(20, 2.0) if rain is None else rain
        journal = Journal(tuple(entry(planting, *one) for one in entries))
        weather = unknown_days(PLANTED - timedelta(days=2), 20, rain_mm=fell)
        return season_sum(bed, planting, noted(journal, planting), journal, weather)

    return summed


def test_it_adds_up_from_planting_to_the_day_before_lifting(told):
    """Ten days of 2 mm, but on one the grower's own gauge had 7; two waterings on one day are one turn."""
    season = told(
        (PLANTED, What.PLANTED),
        (date(2026, 5, 3), What.WATERED, 5.0),
        (date(2026, 5, 6), What.WATERED, 6.0),
        (date(2026, 4, 30), What.WATERED, 50.0),
        (date(2026, 5, 4), What.RAIN_READ, 7.0),
        (LIFTED, What.LIFTED, 3.0),
        (LIFTED + timedelta(days=2), What.LIFTED, 1.5),
    )
    assert season.rain_mm == pytest.approx(9 * 2.0 + 7.0)
    assert (season.rain_unknown_days, season.watered_days) == (0, 2)
    assert season.watered_mm == pytest.approx(11.0)
    assert season.weight_kg == pytest.approx(4.5)


def test_unknown_rain_is_counted_and_a_weight_that_was_not_noted_is_not_known(told):
    rain = np.full(20, 2.0)
    rain[4:6] = np.nan
    season = told((PLANTED, What.PLANTED), (LIFTED, What.LIFTED), rain=rain)
    assert season.rain_unknown_days == 2
    assert season.rain_mm == pytest.approx(16.0)
    assert np.isnan(season.weight_kg)


def test_without_planting_or_lifting_there_is_no_season(told):
    assert told((PLANTED, What.PLANTED)) is None
    assert told((LIFTED, What.LIFTED, 3.0)) is None
    assert told((LIFTED, What.PLANTED), (PLANTED, What.LIFTED, 3.0)) is None  # a journal written by hand
