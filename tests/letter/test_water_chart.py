"""The picture of a bed's water: what its bars and lines count, when it is drawn at all, and its words."""

import io
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from PIL import Image

from haulm.bed_water import WaterLately
from haulm.garden import Stage
from haulm.letter.drawing import LARGEST_BYTES
from haulm.letter.water_chart import PAST_DAYS, day_water, water_alt_text, water_chart
from haulm.units import Display
from haulm.weather import DAY, Daily


@pytest.fixture(autouse=True)
def _own_cache(tmp_path_factory, monkeypatch):
    monkeypatch.setenv("MPLCONFIGDIR", str(tmp_path_factory.getbasetemp() / "matplotlib"))


@pytest.fixture
def growing(condition_of, water, timeline):
    """Rain of 2 mm to the soil on each of five weeks' days, and 14 mm watered a week ago."""
    first = timeline.today - timedelta(days=35)
    watered = np.zeros(35)
    watered[-7] = 14.0
    lately = WaterLately(
        Daily(first, np.full(35, 2.0)), Daily(first, watered), Daily(first, np.linspace(2.0, 8.0, 35)),
        Daily(first, np.full(35, 18.0)),
    )  # fmt: skip
    return condition_of(stage=Stage.EMERGED, water=replace(water, lately=lately))


def test_the_week_counts_rain_that_reached_the_soil_and_waterings_together(growing, timeline, thresholds):
    shown = day_water(growing, timeline, thresholds, PAST_DAYS)
    yesterday = int(np.flatnonzero(shown.days == -1)[0])
    assert shown.week[yesterday] == 7 * 2.0 + 14.0
    assert shown.week[yesterday - 7] == 7 * 2.0
    assert shown.target == thresholds.water.weekly_target_mm
    assert np.isnan(shown.week[yesterday + 1 :]).all()  # what straw will hold back of coming rain is not known


def test_before_the_shoots_no_week_is_aimed_at_and_without_a_crop_rain_is_what_fell(
    growing, condition_of, timeline, thresholds
):
    seed = replace(growing, stage=replace(growing.stage, stage=Stage.PLANTED))
    assert day_water(seed, timeline, thresholds, PAST_DAYS).target is None
    bare = day_water(condition_of(), timeline, thresholds, 14)
    fell = timeline.days.of("rain_mm").between(timeline.today - 14 * DAY, timeline.today - DAY)
    np.testing.assert_array_equal(bare.rain[:14], fell)
    assert bare.title.startswith("Rain each day")


def test_it_is_small_and_dark_on_white(growing, timeline, thresholds):
    png = water_chart(growing, timeline, thresholds)
    assert len(png) < LARGEST_BYTES
    with Image.open(io.BytesIO(png)) as image:
        grey = np.asarray(image.convert("L"), dtype=float)
    assert (grey > 250).mean() > 0.7
    assert grey.min() < 60


def test_a_bed_without_a_thirsty_crop_has_none(growing, condition_of, timeline, thresholds):
    assert water_chart(condition_of(), timeline, thresholds) is None
    lifted = replace(growing, stage=replace(growing.stage, stage=Stage.LIFTED))
    assert water_chart(lifted, timeline, thresholds) is None


def test_its_words_have_its_numbers(growing, timeline, thresholds, garden_of):
    told = water_alt_text(growing, timeline, thresholds)
    assert told.startswith("Water of Gatebed in the last 28 days: 56 mm of rain reached the soil, 14 mm watered;")
    assert "plants feel it from 18 mm" in told
    us = replace(growing, garden=garden_of(Display.US))
    assert "mm" not in water_alt_text(us, timeline, thresholds)
