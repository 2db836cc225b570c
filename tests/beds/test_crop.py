"""The crop's own progress: shoots from the warmth of the soil, their height above the straw, skins."""

from datetime import date

import numpy as np
import pytest

from haulm.beds.crop import Around, crop_now, shoots_range
from haulm.beds.noted import Noted
from haulm.condition import DayRange
from haulm.weather import DAY, Daily


def daily(first, count, value):
    return Daily(first, np.broadcast_to(np.asarray(value, dtype=float), count).copy())


@pytest.fixture
def around(today):
    """Days of 10 to 20 °C air: 7.3885 P-days a day, computed from the published formula."""

    def made(straw_m=0.06, soil_c=15.0, count=200):
        first = today - count * DAY
        return Around(*(daily(first, count, value) for value in (10.0, 20.0, soil_c, straw_m)))

    return made


def test_shoots_noted_are_no_estimate(today):
    days = Noted(planted=today - 30 * DAY, shoots=today - 3 * DAY)
    found = shoots_range(days, daily(today - 60 * DAY, 90, 12.0), today)
    assert (found.early, found.likely, found.late) == (today - 3 * DAY,) * 3


@pytest.mark.parametrize(("soil_c", "early", "late"), [(10.0, 25, 57), (14.0, 16, 38), (20.0, 12, 25)])
def test_shoots_come_between_two_published_sums_of_warmth(today, soil_c, early, late):
    """170 °C·d over 3 °C to 18 °C (a published crop model), and 450 °C·d over 2 °C (Sale 1979), in whole days."""
    planted = today - 5 * DAY
    found = shoots_range(Noted(planted=planted), daily(today - 60 * DAY, 200, soil_c), today)
    assert (found.early, found.late) == (planted + early * DAY, planted + late * DAY)
    assert found.early < found.likely < found.late


def test_not_planted_yet_it_is_as_if_planted_today(today):
    found = shoots_range(Noted(), daily(today, 200, 20.0), today)
    assert found.early == today + 12 * DAY


def test_soil_too_cold_for_the_late_end_leaves_it_open(today):
    soil = np.where(np.arange(200) < 30, 12.0, 1.0)
    found = shoots_range(Noted(planted=today), Daily(today, soil), today)
    assert found.early is not None
    assert (found.likely, found.late) == (None, None)
    assert shoots_range(Noted(planted=today), daily(today - 30 * DAY, 20, 12.0), today) is None


def out_since(today, days):
    since = today - days * DAY
    return DayRange(since, since, since, 1.0, 0)


def test_warmth_is_counted_from_the_shoots_to_yesterday(make, thresholds, today, around):
    days = Noted(planted=today - 40 * DAY, shoots=today - 10 * DAY)
    crop = crop_now(make.planting(), days, out_since(today, 10), around(), thresholds.skins, today)
    assert crop.p_days == pytest.approx(10 * 7.3885, abs=0.01)
    assert crop.days_from_shoots == 10
    assert crop.shoot_height_m == pytest.approx(0.003 * crop.p_days)


def test_straw_laid_since_hides_as_much_of_the_shoots(make, thresholds, today, around):
    days = Noted(planted=today - 60 * DAY, shoots=today - 20 * DAY)
    bare = crop_now(make.planting(), days, out_since(today, 20), around(), thresholds.skins, today)
    straw = np.where(np.arange(200) < 195, 0.06, 0.20)
    second = crop_now(make.planting(), days, out_since(today, 20), around(straw), thresholds.skins, today)
    assert second.shoot_height_m == pytest.approx(bare.shoot_height_m - 0.14)
    deep = np.where(np.arange(200) < 195, 0.06, 0.30)
    buried = crop_now(make.planting(), days, out_since(today, 8), around(deep), thresholds.skins, today)
    assert buried.shoot_height_m == 0.0
    grown = crop_now(make.planting(), days, out_since(today, 120), around(), thresholds.skins, today)
    assert grown.shoot_height_m == pytest.approx(0.6)


def test_before_the_shoots_there_is_no_height_and_no_warmth(make, thresholds, today, around):
    days = Noted(planted=today - 10 * DAY)
    due = DayRange(today + DAY, today + 5 * DAY, today + 9 * DAY, 1.0, 0)
    crop = crop_now(make.planting(), days, due, around(), thresholds.skins, today)
    assert (crop.p_days, crop.days_from_shoots) == (0.0, None)
    assert np.isnan(crop.shoot_height_m)


def test_days_from_the_shoots_count_from_the_late_end_of_an_estimate(make, thresholds, today, around):
    days = Noted(planted=today - 40 * DAY)
    shoots = DayRange(today - 12 * DAY, today - 6 * DAY, today + 2 * DAY, 1.0, 0)
    crop = crop_now(make.planting(), days, shoots, around(), thresholds.skins, today)
    assert crop.days_from_shoots is None
    assert crop.p_days > 0.0


@pytest.mark.parametrize(
    ("soil_c", "noted", "waits"),
    [
        (14.0, {"dying": 12, "tops_dead": 4}, 14),  # about two weeks: Browning, University of Nebraska
        (18.0, {"dying": 12, "tops_dead": 4}, 7),  # 7-21 days: EDIS HS181 and Bohl 2003
        (10.0, {"dying": 12, "tops_dead": 4}, 21),
        (18.0, {"tops_cut": 4}, 21),  # green tops cut
        (18.0, {"dying": 12, "tops_cut": 4}, 7),
    ],
)
def test_skins_set_sooner_in_warm_soil_and_later_in_cold_or_under_green_tops(
    make, thresholds, today, around, soil_c, noted, waits
):
    days = Noted(planted=date(2027, 1, 1), **{name: today - ago * DAY for name, ago in noted.items()})
    crop = crop_now(make.planting(), days, out_since(today, 90), around(soil_c=soil_c), thresholds.skins, today)
    gone = today - 4 * DAY
    assert crop.skins_ready.likely == gone + waits * DAY
    assert (crop.skins_ready.early, crop.skins_ready.late) == (gone + 7 * DAY, gone + 21 * DAY)
