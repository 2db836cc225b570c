"""What ends a ripening crop: hard freeze by own years, lasting heat, frost at the tubers, the next crop."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from haulm.beds.chances import FrostYears
from haulm.beds.conditions import conditions_of
from haulm.beds.endings import ends_of, hard_freeze_day
from haulm.beds.forcing import PlaceMean
from haulm.beds.sky import sky_now
from haulm.condition import SoilNow
from haulm.garden import Season
from haulm.science.climatology import MixedDates
from haulm.weather import DAY, Daily

# 280 is 7 October counted from 1 January of a common year; a normal distribution has 20 % below mean - 0.8416 sd.
AUTUMN = MixedDates(1.0, 280.0, 10.0, 18)
NEVER = MixedDates(0.0, float("nan"), float("nan"), 18)
NO_YEARS = MixedDates(float("nan"), float("nan"), float("nan"), 0)


def frosts(first, *, southern=False):
    return FrostYears(NEVER, first, southern)


@pytest.mark.parametrize(
    ("today", "day"),
    [
        (date(2027, 8, 1), date(2027, 9, 28)),  # 280 - 8.4 = 271.6: the 271st day
        (date(2027, 11, 20), date(2027, 9, 28)),  # behind: due any night
        (date(2028, 1, 23), date(2027, 9, 28)),
        (date(2028, 1, 24), date(2028, 9, 27)),  # the next cold season, in a leap year
    ],
)
def test_a_hard_freeze_counts_from_the_day_by_which_it_came_in_one_year_of_five(today, day):
    assert hard_freeze_day(frosts(AUTUMN), 0.2, today) == day


def test_south_of_the_equator_the_cold_season_begins_in_january():
    may = MixedDates(1.0, 140.0, 10.0, 18)
    assert hard_freeze_day(frosts(may, southern=True), 0.2, date(2027, 7, 23)) == date(2027, 5, 11)
    assert hard_freeze_day(frosts(may, southern=True), 0.2, date(2027, 7, 24)) == date(2028, 5, 10)


@pytest.mark.parametrize("first", [NEVER, NO_YEARS, MixedDates(0.15, 280.0, 10.0, 18)])
def test_where_it_does_not_come_so_often_or_no_year_tells_there_is_no_day(first):
    assert hard_freeze_day(frosts(first), 0.2, date(2027, 8, 1)) is None


@pytest.fixture
def seen(make, thresholds, today):
    def known(soil_c, *others, lowest_c=None):
        values = np.asarray(soil_c, dtype=float)
        lies = Daily(today, values)
        lowest = Daily(today, values - 1.0 if lowest_c is None else np.asarray(lowest_c, dtype=float))
        soil = SoilNow(lies, lies, Daily(today, np.full(len(values), 1.5)), known=True, ready=None, lowest_c=lowest)
        planting = make.planting()
        garden = make.garden(make.bed(), planting, *others)
        return ends_of(garden, planting, frosts(AUTUMN), soil, thresholds, today)

    return known


def test_heat_lasts_from_the_first_of_ten_days_that_are_hot_by_their_mean(seen, today):
    soil = np.full(60, 20.0)
    soil[10:19], soil[30:40] = 27.0, 27.0  # nine days, then ten
    assert seen(soil).lasting_heat == today + 30 * DAY
    assert seen(np.where(soil == 27.0, 26.9, soil)).lasting_heat is None
    soil[34], soil[35] = 26.0, 28.0  # one cooler day ends no heat
    assert seen(soil).lasting_heat == today + 30 * DAY
    assert seen(np.full(5, 30.0)).lasting_heat is None


def test_frost_at_the_tubers_is_looked_for_from_tomorrow_on(seen, today):
    """The same chance as the warning: one in five, which is 1.26 °C at a spread of 1.5 °C."""
    lowest = np.full(40, 1.27)
    lowest[0], lowest[20:] = -5.0, 1.26
    assert seen(lowest).tubers_freeze == today + 20 * DAY
    assert seen(np.full(40, 9.0)).tubers_freeze is None


def test_the_next_crop_is_the_one_in_the_same_bed_whose_window_opens_next(make, seen, today):
    autumn = make.planting("gate-autumn", season=Season.AUTUMN, first=today + 60 * DAY, last=today + 90 * DAY)
    spring = make.planting("gate-spring", first=today + 300 * DAY, last=today + 330 * DAY)
    past = make.planting("gate-past", first=today - 90 * DAY, last=today - 60 * DAY)
    elsewhere = replace(make.planting("wall", first=today + 5 * DAY, last=today + 9 * DAY), bed="wallbed")
    found = seen(np.full(40, 15.0), spring, autumn, past, elsewhere)
    assert (found.next_window, found.next_planting) == (today + 60 * DAY, autumn.name)
    assert seen(np.full(40, 15.0), past).next_window is None


def test_only_a_ripening_crop_is_asked_about_its_end(make, thresholds, today):

    garden, timeline = make.garden(make.bed(), make.planting()), make.timeline()
    sky = sky_now(timeline, garden.place, thresholds, timeline.forecast_issued)

    def ends(*entries):
        (one,) = conditions_of(garden, timeline, sky, make.journal(*entries), thresholds, PlaceMean())
        return one.ends, one.soil

    growing = [make.entry(today - 60 * DAY, "planted"), make.entry(today - 30 * DAY, "shoots out")]
    assert ends(*growing)[0] is None
    found, soil = ends(*growing, make.entry(today - DAY, "dying back", cause="age"))
    assert found.years >= 2
    days = (today, today + 20 * DAY)
    assert (soil.lowest_c.between(*days) < soil.as_it_lies_c.between(*days)).all()
