"""The crop's own progress: shoots from the warmth of the soil, their height above the straw, skins."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from haulm.beds.crop import Around, air_of, crop_now, growth_of, shoots_range
from haulm.beds.noted import Noted
from haulm.condition import DayRange, DaySpan
from haulm.garden import Cause
from haulm.weather import DAY, Daily


def daily(first, count, value):
    return Daily(first, np.broadcast_to(np.asarray(value, dtype=float), count).copy())


@pytest.fixture
def around(today):
    """Days of 10 to 20 °C air: 7.3885 P-days a day, computed from the published formula."""

    def made(straw_m=0.06, soil_c=15.0, count=200, air=(10.0, 20.0), ahead=0):
        first = today - count * DAY
        low, high, soil, straw = (daily(first, count + ahead, value) for value in (*air, soil_c, straw_m))
        return Around(air_of(low, high), soil, straw)

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
    soil = np.where(np.arange(200) < 25, 12.0, 1.0)
    found = shoots_range(Noted(planted=today), Daily(today, soil), today)
    assert found.early is not None
    assert (found.likely, found.late) == (None, None)
    longer = shoots_range(Noted(planted=today), Daily(today, np.where(np.arange(200) < 35, 12.0, 1.0)), today)
    assert longer.early < longer.likely
    assert longer.late is None
    assert shoots_range(Noted(planted=today), daily(today - 30 * DAY, 20, 12.0), today) is None


def out_since(today, days):
    since = today - days * DAY
    return DayRange(since, since, since, 1.0, 0)


def test_warmth_is_counted_from_the_shoots_to_yesterday(make, thresholds, today, around):
    days = Noted(planted=today - 40 * DAY, shoots=today - 10 * DAY)
    crop = crop_now(make.planting(), days, out_since(today, 10), around(), thresholds, today)
    assert crop.p_days == pytest.approx(10 * 7.3885, abs=0.01)
    assert crop.days_from_shoots == 10
    assert crop.shoot_height_m == pytest.approx(10 * 0.025 * (0.3 + 0.7 * 6 / 9))  # 15 °C, between 9 and 18


def test_straw_laid_since_hides_as_much_of_the_shoots(make, thresholds, today, around):
    days = Noted(planted=today - 60 * DAY, shoots=today - 20 * DAY)
    bare = crop_now(make.planting(), days, out_since(today, 20), around(), thresholds, today)
    straw = np.where(np.arange(200) < 195, 0.06, 0.20)
    second = crop_now(make.planting(), days, out_since(today, 20), around(straw), thresholds, today)
    assert second.shoot_height_m == pytest.approx(bare.shoot_height_m - 0.14)
    deep = np.where(np.arange(200) < 195, 0.06, 0.30)
    buried = crop_now(make.planting(), days, out_since(today, 8), around(deep), thresholds, today)
    assert buried.shoot_height_m == 0.0
    grown = crop_now(make.planting(), days, out_since(today, 120), around(), thresholds, today)
    assert grown.shoot_height_m == pytest.approx(0.6)


def test_shoots_lengthen_with_warmth(make, thresholds, today, around):
    """Prairie production guide: very little at 6 °C, slowly at 9 °C, fastest at 18 °C."""
    days = Noted(planted=today - 40 * DAY, shoots=today - 10 * DAY)
    at = [
        crop_now(make.planting(), days, out_since(today, 10), around(air=(c - 4, c + 4)), thresholds, today)
        for c in (2.0, 6.0, 9.0, 13.0, 18.0, 22.0)
    ]
    heights = [crop.shoot_height_m for crop in at]
    assert heights[0] == 0.0
    assert heights[1] < 0.15 * heights[4]
    assert heights == sorted(heights)
    assert heights[4] == heights[5]


# --- chitted seed


@pytest.mark.parametrize(("chitted_days", "sooner"), [(13, False), (14, True), (30, True)])
def test_chitted_seed_is_nearer_the_early_bound(today, chitted_days, sooner):
    """Two weeks of sprouting or more (common practice); how much sooner is judgement."""
    soil = daily(today - 60 * DAY, 300, 12.0)
    plain = shoots_range(Noted(planted=today), soil, today)
    found = shoots_range(Noted(planted=today, chitting=today - chitted_days * DAY), soil, today)
    assert found.early == plain.early  # danger reckons with the soonest of all
    assert (found.likely < plain.likely) is sooner
    assert (found.late < plain.late) is sooner
    assert found.early < found.likely < found.late


def test_shoots_once_reached_stay_reached_whatever_weather_comes(today):
    """The likely day rests on the days that have been: a stage does not go back because the forecast turned cold."""
    been = np.full(60, 13.0)
    for coming in (13.0, 2.0, 25.0):
        soil = Daily(today - 60 * DAY, np.concatenate([been, np.full(200, coming)]))
        found = shoots_range(Noted(planted=today - 30 * DAY), soil, today)
        assert found.likely == today - 3 * DAY  # √(17 × 40.9) is 26.4 days at 13 °C


def test_shoots_noted_win_over_chitting_and_warmth(today):
    noted = Noted(planted=today - 40 * DAY, chitting=today - 80 * DAY, shoots=today - DAY)
    assert shoots_range(noted, daily(today - 60 * DAY, 300, 20.0), today).likely == today - DAY


# --- the weeks in which tubers are set


def test_tubers_are_set_from_two_weeks_after_the_early_shoots_in_four_weeks_of_cool_nights(
    make, thresholds, today, around
):
    days = Noted(planted=today - 40 * DAY)
    shoots = DayRange(today - 20 * DAY, today - 14 * DAY, today - 6 * DAY, 1.0, 0)
    crop = crop_now(make.planting(), days, shoots, around(air=(14.9, 25.0), ahead=120), thresholds, today)
    assert crop.forming == DaySpan(today - 6 * DAY, today + 8 * DAY + 27 * DAY)
    assert not crop.forming.holds(today - 7 * DAY)
    assert crop.forming.holds(today - 6 * DAY)
    assert crop.forming.holds(crop.forming.last)
    assert not crop.forming.holds(crop.forming.last + DAY)


def test_warm_nights_draw_the_setting_of_tubers_out(make, thresholds, today, around):
    """FAO crop page: nights below 15 °C to set tubers; at 15 °C a night is not cool enough."""
    days = Noted(planted=today - 40 * DAY, shoots=today - 14 * DAY)
    hot = crop_now(make.planting(), days, out_since(today, 14), around(air=(15.0, 30.0), ahead=120), thresholds, today)
    assert hot.forming == DaySpan(today, today + 41 * DAY)
    nights = np.where(np.arange(320) < 210, 20.0, 10.0)  # ten warm nights, then cool ones
    late = crop_now(
        make.planting(), days, out_since(today, 14), around(air=(nights, 30.0), ahead=120), thresholds, today
    )
    assert late.forming == DaySpan(today, today + (10 + 27) * DAY)


def test_no_tubers_are_set_before_planting_nor_once_the_tops_go_down(make, thresholds, today, around):
    due = DayRange(today + DAY, today + 5 * DAY, today + 9 * DAY, 1.0, 0)
    assert crop_now(make.planting(), Noted(), due, around(ahead=120), thresholds, today).forming is None
    for cause, ends in ((Cause.AGE, True), (Cause.UNKNOWN, True), (Cause.FROST, False)):
        days = Noted(planted=today - 60 * DAY, shoots=today - 30 * DAY, dying=today - 2 * DAY, dying_cause=cause)
        crop = crop_now(make.planting(), days, out_since(today, 30), around(ahead=120), thresholds, today)
        assert (crop.forming.last == today - 3 * DAY) is ends
    early = Noted(planted=today - 60 * DAY, shoots=today - 10 * DAY, tops_cut=today - 2 * DAY)
    assert crop_now(make.planting(), early, out_since(today, 10), around(ahead=120), thresholds, today).forming is None


# --- the way from shoots to ripeness


def test_growth_is_physiological_days_over_the_need(today, around):
    days = Noted(planted=today - 40 * DAY, shoots=today - 10 * DAY)
    growth = growth_of(days, out_since(today, 10), around(ahead=200), 800.0)
    assert growth.first == today - 10 * DAY
    assert growth.at(today - DAY) == pytest.approx(10 * 7.3885 / 800.0, abs=1e-4)
    assert (np.diff(growth.values) >= 0.0).all()
    assert growth_of(Noted(), out_since(today, 10), around(), 800.0) is None
    assert growth_of(days, DayRange(today, None, None, 1.0, 0), around(), 800.0) is None


@pytest.mark.parametrize(
    ("cause", "moved"),
    [(Cause.AGE, True), (Cause.UNKNOWN, True), (Cause.BLIGHT, True), (Cause.FROST, False), (Cause.THIRST, False)],
)
def test_tops_noted_as_going_down_are_past_the_middle_of_their_season(today, around, cause, moved):
    """FAO-56 Table 11: the late stage begins 75 of 105 days after full leaf began; a frosted crop comes again."""
    days = Noted(planted=today - 60 * DAY, shoots=today - 30 * DAY, dying=today - 4 * DAY, dying_cause=cause)
    growth = growth_of(days, out_since(today, 30), around(ahead=200), 800.0)
    plain = growth_of(replace(days, dying=None, dying_cause=None), out_since(today, 30), around(ahead=200), 800.0)
    assert growth.at(today - 5 * DAY) == plain.at(today - 5 * DAY)
    if not moved:
        np.testing.assert_array_equal(growth.values, plain.values)
        return
    assert growth.at(today - 4 * DAY) == pytest.approx(75 / 105 + 7.3885 / 800.0, abs=1e-4)
    assert (np.diff(growth.values) >= 0.0).all()


def test_tops_that_go_down_in_their_time_move_nothing(today, around):
    days = Noted(planted=today - 160 * DAY, shoots=today - 120 * DAY, dying=today - 10 * DAY, dying_cause=Cause.AGE)
    growth = growth_of(days, out_since(today, 120), around(ahead=50), 800.0)
    plain = growth_of(replace(days, dying=None), out_since(today, 120), around(ahead=50), 800.0)
    np.testing.assert_array_equal(growth.values, plain.values)


# --- ripeness


def test_ripe_when_the_class_has_had_its_physiological_days(make, thresholds, today, around):
    """800 P-days for early kinds (prairie production guide) at 7.3885 a day: 109 days with the shoots' own."""
    days = Noted(planted=today - 40 * DAY, shoots=today - 10 * DAY)
    crop = crop_now(make.planting(), days, out_since(today, 10), around(ahead=200), thresholds, today)
    out = today - 10 * DAY
    assert crop.ripe == DayRange(out + 97 * DAY, out + 108 * DAY, out + 119 * DAY, 1.0, 0)
    short = crop_now(make.planting(), days, out_since(today, 10), around(ahead=20), thresholds, today)
    assert (short.ripe.early, short.ripe.likely, short.ripe.late) == (None, None, None)


def test_tops_noted_as_going_down_of_age_are_ripe_and_frosted_ones_are_not(make, thresholds, today, around):
    noted = today - 5 * DAY
    for cause, won in ((Cause.AGE, True), (Cause.UNKNOWN, True), (Cause.THIRST, False), (Cause.BLIGHT, False)):
        days = Noted(planted=today - 80 * DAY, shoots=today - 60 * DAY, dying=noted, dying_cause=cause)
        crop = crop_now(make.planting(), days, out_since(today, 60), around(ahead=200), thresholds, today)
        assert (crop.ripe.likely == noted) is won
    assert crop_now(make.planting(), Noted(), None, around(), thresholds, today).ripe is None


def test_before_the_shoots_there_is_no_height_and_no_warmth(make, thresholds, today, around):
    days = Noted(planted=today - 10 * DAY)
    due = DayRange(today + DAY, today + 5 * DAY, today + 9 * DAY, 1.0, 0)
    crop = crop_now(make.planting(), days, due, around(), thresholds, today)
    assert (crop.p_days, crop.days_from_shoots) == (0.0, None)
    assert np.isnan(crop.shoot_height_m)


def test_days_from_the_shoots_count_from_the_late_end_of_an_estimate(make, thresholds, today, around):
    days = Noted(planted=today - 40 * DAY)
    shoots = DayRange(today - 12 * DAY, today - 6 * DAY, today + 2 * DAY, 1.0, 0)
    crop = crop_now(make.planting(), days, shoots, around(), thresholds, today)
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
        (18.0, {"dying": 11, "tops_cut": 4}, 7),
        (18.0, {"dying": 10, "tops_cut": 4}, 21),  # cut within a week of the first yellow leaves: green still
        (18.0, {"dying": 30, "tops_cut": 15, "cut_again": 4}, 21),  # new shoots
    ],
)
def test_skins_set_sooner_in_warm_soil_and_later_in_cold_or_under_green_tops(
    make, thresholds, today, around, soil_c, noted, waits
):
    days = Noted(planted=date(2027, 1, 1), **{name: today - ago * DAY for name, ago in noted.items()})
    crop = crop_now(make.planting(), days, out_since(today, 90), around(soil_c=soil_c), thresholds, today)
    gone = today - 4 * DAY
    assert crop.skins_ready.likely == gone + waits * DAY
    assert (crop.skins_ready.early, crop.skins_ready.late) == (gone + 7 * DAY, gone + 21 * DAY)


def test_each_day_counts_by_its_own_warmth_for_the_skins(make, thresholds, today):
    """Seven days at 10 °C are a third of the 21, seven at 14 °C half of the 14: a sixth is left, at 18 °C of 7 days."""
    soil = np.concatenate([np.full(100, 10.0), np.full(7, 14.0), np.full(60, 18.0)])
    days = Noted(planted=today - 90 * DAY, dying=today - 40 * DAY, tops_dead=today - 9 * DAY)
    first = today - 101 * DAY
    air = [daily(first, 167, value) for value in (10.0, 20.0)]
    around = Around(air_of(*air), Daily(first, soil), daily(first, 167, 0.06))
    crop = crop_now(make.planting(), days, out_since(today, 60), around, thresholds, today)
    assert crop.skins_ready.likely == today - 9 * DAY + 16 * DAY


def test_skins_over_unknown_soil_take_the_usual_days(make, thresholds, today, around):
    days = Noted(planted=today - 90 * DAY, dying=today - 40 * DAY, tops_dead=today - 8 * DAY)
    crop = crop_now(make.planting(), days, out_since(today, 60), around(soil_c=np.nan), thresholds, today)
    assert crop.skins_ready.likely == today + 6 * DAY
