"""The picture: small, of the right planting, and described in numbers."""

import io
from dataclasses import replace
from datetime import date
from itertools import pairwise

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from haulm.garden import Season, Stage
from haulm.letter.chart import alt_text, choose, planting_limit_c, soil_chart
from haulm.letter.drawing import LARGEST_BYTES, name_days, quiet_axes
from haulm.units import Display


@pytest.fixture(autouse=True)
def _own_cache(tmp_path_factory, monkeypatch):
    monkeypatch.setenv("MPLCONFIGDIR", str(tmp_path_factory.getbasetemp() / "matplotlib"))


@pytest.fixture
def drawn(thresholds):
    def draw(condition, timeline):
        png = soil_chart(condition, timeline, thresholds)
        with Image.open(io.BytesIO(png)) as image:
            return len(png), image.format, np.asarray(image.convert("L"), dtype=float)

    return draw


def test_the_picture_is_a_small_png_with_dark_lines_on_white(condition_of, timeline, drawn):
    size, form, grey = drawn(condition_of(), timeline)
    assert form == "PNG"
    assert size < LARGEST_BYTES == 20_000
    assert grey.shape[1] == 720
    assert (grey > 250).mean() > 0.7
    assert grey.min() < 60


def test_the_picture_says_more_when_there_is_more_to_say(condition_of, timeline, without_forecast, drawn):
    """Without a forecast the half after today is all but empty."""

    def ink_after_today(grey):
        return (grey[40:380, 460:620] < 200).mean()

    _, _, full = drawn(condition_of(), timeline)
    _, _, blank = drawn(condition_of(soil_known=False), without_forecast)
    assert ink_after_today(blank) < ink_after_today(full) / 3


def test_nothing_known_at_all_is_drawn_too(condition_of, timeline, drawn, thresholds):
    one = condition_of()
    blank = replace(one.soil.as_it_lies_c, values=np.full(len(one.soil.as_it_lies_c.values), np.nan))
    unknown = replace(one, soil=replace(one.soil, as_it_lies_c=blank))
    dry = replace(timeline, days=replace(timeline.days, rain_mm=np.full(len(timeline.days), np.nan)))
    assert drawn(unknown, dry)[0] < LARGEST_BYTES == 20_000
    told = alt_text(unknown, dry, thresholds)
    assert "not known for the last 21 days" in told
    assert "forecast: not known" in told


def test_restless_weather_and_an_odd_name_still_make_a_small_picture(condition_of, timeline, garden_of, drawn):
    """A name with $ signs is no formula, and a long one does not push the figures out."""
    one = condition_of(garden=garden_of(Display.US, bed="$Bed$ under the old pear tree, by the lower wall"))
    dice = np.random.default_rng(7)
    soil_c = replace(one.soil.as_it_lies_c, values=24.0 + dice.normal(0.0, 2.0, len(one.soil.as_it_lies_c.values)))
    wet = replace(timeline, days=replace(timeline.days, rain_mm=dice.gamma(0.4, 15.0, len(timeline.days))))
    size, _, grey = drawn(replace(one, soil=replace(one.soil, as_it_lies_c=soil_c)), wet)
    assert size < LARGEST_BYTES == 20_000
    assert (grey[:40, -20:] > 250).all()  # the title ends before the picture does
    assert ((grey > 190) & (grey < 235)).mean() > 0.02  # the pale shade is still there in fewer colours


def test_a_name_in_letters_that_the_picture_lacks_is_left_to_the_words(condition_of, timeline, garden_of, thresholds):
    one = condition_of(garden=garden_of(bed="畑"))
    nameless = condition_of(garden=garden_of(bed="ジャガ"))
    assert soil_chart(one, timeline, thresholds) == soil_chart(nameless, timeline, thresholds)  # and no warning
    assert "畑" in alt_text(one, timeline, thresholds)


def test_the_same_morning_draws_the_same_picture(condition_of, timeline, thresholds):
    assert soil_chart(condition_of(), timeline, thresholds) == soil_chart(condition_of(), timeline, thresholds)


def test_words_for_the_picture(condition_of, timeline, thresholds, garden_of):
    assert alt_text(condition_of(), timeline, thresholds) == (
        "Soil temperature in Gatebed, 5 cm deep: 10.3 °C yesterday; over the last 21 days between 6.9 °C and 10.3 °C. "
        "Expected to Thu 23 April: between 9.3 °C and 10.6 °C. Planting waits for 10 °C. "
        "Rain: 21 mm in the last 21 days; forecast: 18 mm."
    )
    told = alt_text(condition_of(garden=garden_of(Display.US)), timeline, thresholds)
    assert "50 °F" in told
    assert "°C" not in told


def test_words_for_a_picture_with_gaps(condition_of, without_forecast, thresholds):
    told = alt_text(condition_of(soil_known=False), without_forecast, thresholds)
    assert "not known yesterday" in told
    assert "Expected" not in told
    assert "(6 days not known)" in told


def test_the_planting_that_waits_is_shown_before_those_in_the_ground(condition_of):
    waiting = condition_of()
    growing = condition_of("wall-late", Stage.EMERGED)
    stored = condition_of("wall-late", Stage.STORED)
    assert choose([growing, waiting]) is waiting
    assert choose([stored, growing]) is growing
    assert choose([stored]) is None


def test_the_planting_line_follows_the_season_and_ends_with_the_planting(condition_of, thresholds):
    spring = condition_of()
    autumn = replace(spring, planting=replace(spring.planting, season=Season.AUTUMN))
    assert planting_limit_c(spring, thresholds) == thresholds.planting.soil_ready_spring_c
    assert planting_limit_c(autumn, thresholds) == thresholds.planting.soil_ready_autumn_c
    for done in (Stage.PLANTED, Stage.EMERGED):
        assert planting_limit_c(condition_of(stage=done), thresholds) is None


@pytest.mark.parametrize("back", range(15, 22))
def test_the_names_of_days_stay_within_the_picture(back):
    """Whatever weekday it begins on: the picture's left edge is the curve's first day."""
    figure = Figure(figsize=(7.2, 4.0), dpi=100)
    axes = figure.add_axes((0.02, 0.1, 0.87, 0.8))  # as the pictures are set
    days = np.arange(-float(back), 10.0)
    quiet_axes(axes)
    axes.set_xlim(days[0] - 0.7, days[-1] + 0.7)
    name_days(axes, date(2026, 4, 14), days)
    renderer = FigureCanvasAgg(figure).get_renderer()
    shown = [label.get_window_extent(renderer) for label in axes.get_xticklabels()]
    assert min(box.x0 for box in shown) >= 0.0
    assert all(before.x1 < after.x0 for before, after in pairwise(shown))
