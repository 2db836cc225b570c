"""The windows of invented places: cold, mild, hot, tropical and polar, north and south; and years with holes."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from haulm.beds.forcing import PlaceMean, climate_of
from haulm.beds.windows import Sown, limits_of, needs_of, year_fates
from haulm.garden import Light
from haulm.science.windows import shares, windows

TODAY = date(2027, 1, 1)
YEARS = 5


@pytest.fixture
def asked(make, thresholds):
    """The fates of a place's years: a plain annual wave of the day's mean, and a daily range about it."""

    def found(
        latitude_deg=52.5, mean_c=10.0, half_c=10.0, range_c=10.0, offset_c=0.0, change=None, light=Light.OPEN,
        read=lambda _timeline: (),
    ):  # fmt: skip
        count = (TODAY - date(TODAY.year - YEARS, 1, 1)).days
        first = TODAY - timedelta(days=count)
        middle = make.seasons(first, count, latitude_deg, mean_c, half_c)
        low, high = middle - range_c / 2.0, middle + range_c / 2.0
        if change is not None:
            change(low, first)
        timeline = make.timeline(
            past_days=count, ahead_days=0, today=TODAY, latitude_deg=latitude_deg, air_min_c=low, air_max_c=high,
            rain_mm=2.0,
        )  # fmt: skip
        climate = climate_of(timeline, PlaceMean(), latitude_deg)
        place = make.place(latitude_deg, offset_c)
        sown = Sown(make.bed(light=light), make.planting())
        return year_fates(timeline, climate, place, sown, thresholds, make.journal(*read(timeline)))

    return found


@pytest.fixture
def spans(asked, thresholds):
    """The good windows of a place as (first, last) months."""

    def listed(**place):
        good = [window for window in windows(asked(**place), limits_of(thresholds)) if window.good]
        months = [[(date(2023, 1, 1) + timedelta(days=day)).month for day in (one.first, one.last)] for one in good]
        return "any day" if any(one.whole_year for one in good) else [tuple(month) for month in months]

    return listed


def test_a_cool_place_has_one_window_after_its_soil_is_warm(spans):
    ((first, last),) = spans()
    assert first in (4, 5)
    assert last in (5, 6, 7)


def test_south_of_the_equator_it_comes_half_a_year_later(spans):
    (north,) = spans(latitude_deg=40.0)
    (south,) = spans(latitude_deg=-40.0)
    assert [(month + 6 - 1) % 12 + 1 for month in north] == list(south)


def test_a_hot_summer_parts_the_year_in_two(spans):
    found = spans(latitude_deg=33.0, mean_c=19.0, half_c=9.5, range_c=13.0)
    assert len(found) == 2
    assert found[0][1] <= 5
    assert found[1][0] >= 7


def test_a_mild_winter_lets_a_window_cross_new_year(spans):
    found = spans(latitude_deg=30.0, mean_c=20.0, half_c=7.0, range_c=10.0)
    assert any(last < first for first, last in found)


def test_a_tropical_highland_can_be_planted_any_day(spans):
    assert spans(latitude_deg=2.0, mean_c=17.0, half_c=0.5) == "any day"


@pytest.mark.parametrize(
    ("place", "need"),
    [
        ({"latitude_deg": 2.0, "mean_c": 28.0, "half_c": 1.0}, "nights"),
        ({"latitude_deg": 78.0, "mean_c": -6.0, "half_c": 11.0}, "soil"),
    ],
)
def test_lowland_tropics_and_polar_places_have_no_window_and_it_is_told_why(asked, spans, place, need):
    assert spans(**place) == []
    assert np.nanmax(getattr(shares(asked(**place)), need)) == 0.0


def test_a_garden_in_a_hollow_has_a_shorter_window(asked, thresholds):
    flat, hollow = (windows(asked(offset_c=offset_c), limits_of(thresholds))[0] for offset_c in (0.0, 4.0))
    assert hollow.length < flat.length
    assert flat.holds(hollow.first)
    assert flat.holds(hollow.last)


def test_a_frost_in_every_june_takes_the_early_part(asked, thresholds):
    def frosty(low, first):
        days = [(first + timedelta(days=at)) for at in range(len(low))]
        low[[(day.month, day.day) == (6, 25) for day in days]] = -4.0

    plain, frozen = (windows(asked(change=change), limits_of(thresholds)) for change in (None, frosty))
    assert frozen[0].first > plain[0].first


def test_a_hole_leaves_its_year_out_of_the_days_whose_crop_it_hides(asked):
    def hole(low, first):
        start = (date(2024, 6, 1) - first).days
        low[start : start + 15] = np.nan

    whole, holed = shares(asked()), shares(asked(change=hole))
    may, october = 140, 290
    assert holed.years[may] == whole.years[may] - 1
    assert holed.years[october] == whole.years[october]
    may_of_2024 = asked(change=hole).known[list(asked(change=hole).years).index(2024), may]
    assert not may_of_2024


def test_ten_missing_days_are_borne(asked):
    def holes(low, first):
        start = (date(2024, 6, 1) - first).days
        low[start : start + 20 : 2] = np.nan

    assert (shares(asked(change=holes)).years == shares(asked()).years).all()


def test_the_last_year_tells_only_of_crops_that_it_shows_whole(asked, thresholds):
    found = asked()
    row = list(found.years).index(TODAY.year - 1)
    longest = thresholds.windows.longest_days
    assert found.known[row, : 365 - longest - 1].all()
    assert not found.known[row, 365 - longest + 10 :].any()
    assert TODAY.year not in found.years


def test_shade_opens_a_spring_later(asked, thresholds):
    sunny, shady = (windows(asked(light=light), limits_of(thresholds))[0] for light in (Light.OPEN, Light.SHADE))
    assert shady.first > sunny.first


def test_what_a_crop_needs_comes_from_the_settings(thresholds):
    changed = thresholds.model_copy(update={"shoots": thresholds.shoots.model_copy(update={"forming_night_c": 17.0})})
    assert needs_of(changed) == replace(needs_of(thresholds), night_c=17.0)


def test_readings_of_warmer_soil_open_the_window_sooner(asked, make, thresholds):
    def readings(difference_c):
        def read(timeline):
            days = [TODAY - timedelta(days=back) for back in range(220, 280, 6)]
            return [make.entry(day, "soil temperature", 11.0 + difference_c, number=at) for at, day in enumerate(days)]

        return read

    warm, cool = (windows(asked(read=readings(off_c)), limits_of(thresholds))[0].first for off_c in (4.0, -4.0))
    assert warm < cool
