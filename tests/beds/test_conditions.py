"""From weather and journal to the condition of each planting, on one morning."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from haulm.beds.conditions import conditions_of
from haulm.beds.forcing import PlaceMean
from haulm.beds.sky import sky_now
from haulm.beds.tended import LOOKED_AHEAD, LOOKED_BACK
from haulm.garden import Light, Season, Stage
from haulm.weather import DAY

MARCH = date(2027, 3, 10)


@pytest.fixture
def conditions(make, thresholds, today):
    def known(*plantings, entries=(), bed=None, timeline=None):
        bed = bed or make.bed()
        garden = make.garden(bed, *(plantings or (make.planting(),)))
        timeline = timeline or make.timeline()
        sky = sky_now(timeline, garden.place, thresholds, timeline.forecast_issued)
        return conditions_of(garden, timeline, sky, make.journal(*entries), thresholds, PlaceMean())

    return known


def planted(make, day, planting="gate-early"):
    return make.entry(day, "planted", planting=planting)


@pytest.mark.parametrize(
    ("opens_in", "closed_for", "there"),
    [(LOOKED_AHEAD.days, -200, True), (LOOKED_AHEAD.days + 1, -200, False), (-90, LOOKED_BACK.days, True)],
)
def test_a_planting_is_looked_at_from_some_weeks_before_its_window_to_some_after(
    make, conditions, today, opens_in, closed_for, there
):
    planting = make.planting(first=today + opens_in * DAY, last=today - closed_for * DAY)
    assert bool(conditions(planting)) is there


def test_a_crop_never_planted_is_forgotten_and_one_planted_is_not(make, conditions, today):
    planting = make.planting(first=today - 90 * DAY, last=today - (LOOKED_BACK.days + 1) * DAY)
    chitted = make.entry(today - 80 * DAY, "chitting begun")
    assert conditions(planting, entries=[chitted]) == ()
    assert conditions(planting, entries=[chitted, planted(make, today - 60 * DAY)])
    finished = make.entry(today - DAY, "finished")
    assert conditions(planting, entries=[planted(make, today - 60 * DAY), finished]) == ()


def test_the_soil_is_at_the_seeds_depth_and_runs_on_without_a_break(make, conditions, today):
    (shallow,) = conditions(make.planting(depth_m=0.0))
    (deep,) = conditions(make.planting(depth_m=0.10))
    soil = shallow.soil.as_it_lies_c
    assert np.isfinite(soil.between(today - 200 * DAY, today + 99 * DAY)).all()
    assert shallow.soil.under_new_straw_c.first == today
    spring = (today - 60 * DAY, today - DAY)
    assert soil.between(*spring).mean() > deep.soil.as_it_lies_c.between(*spring).mean()  # warming from above
    assert shallow.soil.known


def test_old_straw_keeps_a_bed_cool_in_spring_and_puts_off_its_day(make, conditions, today):
    window = {"first": today - 80 * DAY, "last": today + 60 * DAY}
    (bare,) = conditions(make.planting(**window))
    (covered,) = conditions(make.planting(**window), bed=make.bed(straw=[(today - 200 * DAY, 0.25)]))
    yesterday = today - DAY
    assert covered.soil.as_it_lies_c.at(yesterday) < bare.soil.as_it_lies_c.at(yesterday) - 0.5
    assert covered.soil.ready.likely >= bare.soil.ready.likely
    assert covered.straw_m == 0.25


def test_shade_keeps_a_bed_cool_and_raised_sides_tie_it_to_the_air(make, conditions, today):
    straw = [(today - 200 * DAY, 0.25)]
    found = [
        conditions(bed=make.bed(straw=straw, **told))[0].soil.as_it_lies_c.at(today - DAY)
        for told in ({}, {"light": Light.SHADE}, {"raised_m": 0.4})
    ]
    air_c = make.seasons(today - 8 * DAY, 8).mean()
    assert found[1] < found[0] - 0.2
    assert abs(found[2] - air_c) < abs(found[0] - air_c) - 0.2


def test_a_long_gap_makes_the_soil_unknown_until_its_trace_has_faded(make, conditions, today):
    low = make.timeline().days.air_min_c

    def with_gap(ended):
        gone = low.copy()
        gone[1100 - ended - 10 : 1100 - ended] = np.nan
        (one,) = conditions(timeline=make.timeline(air_min_c=gone))
        return one.soil

    assert not with_gap(0).known
    assert with_gap(0).ready is None
    assert with_gap(30).known


def test_without_any_observation_nothing_of_the_soil_is_known(make, conditions):
    nothing = np.full(1108, np.nan)
    (one,) = conditions(timeline=make.timeline(air_min_c=nothing, air_max_c=nothing, rain_mm=nothing))
    assert not one.soil.known
    assert one.soil.ready is None
    assert one.water.week_unknown_days == 7
    assert np.isnan(one.sky.recent_min_c)


def test_one_bed_two_plantings_and_only_the_one_in_the_ground_has_the_water(make, conditions, today):
    early = make.planting()
    autumn = make.planting("gate-autumn", season=Season.AUTUMN, first=today + 60 * DAY, last=today + 120 * DAY)
    first, second = conditions(early, autumn, entries=[planted(make, today - 30 * DAY)])
    assert first.water is not None
    assert second.water is None
    lifted = [planted(make, today - 90 * DAY), make.entry(today - 5 * DAY, "lifted", 9.0)]
    kept, second = conditions(early, autumn, entries=lifted)
    assert (kept.water, kept.stage.stage) == (None, Stage.LIFTED)
    assert second.water is not None


def test_an_estimate_of_the_shoots_gives_way_to_the_growers_note(make, conditions, today):
    entries = [planted(make, today - 40 * DAY)]
    (guess,) = conditions(entries=entries)
    assert guess.stage.stage is Stage.EMERGED
    assert not guess.stage.noted
    seen = make.entry(today - 2 * DAY, "shoots out")
    (noted,) = conditions(entries=[*entries, seen])
    assert (noted.stage.noted, noted.stage.since) == (True, today - 2 * DAY)
    assert noted.crop.p_days < guess.crop.p_days


def test_a_gauge_of_ones_own_goes_before_the_stations_rain(make, conditions, today):
    entries = [planted(make, today - 30 * DAY)]
    (dry,) = conditions(entries=entries)
    (wet,) = conditions(entries=[*entries, make.entry(today - 2 * DAY, "rain", 14.0, planting="")])
    assert (dry.water.week_rain_mm, wet.water.week_rain_mm) == (0.0, 14.0)
    assert wet.water.depletion_low_mm < dry.water.depletion_low_mm


def test_what_comes_after_this_morning_changes_only_what_is_expected(make, conditions, today):
    """Another forecast leaves the soil and the water of yesterday as they were."""
    timeline = make.timeline()
    warmer = replace(timeline.days, air_max_c=np.where(np.arange(1108) >= 1100, 30.0, timeline.days.air_max_c))
    entries = [planted(make, today - 30 * DAY)]
    (one,), (other,) = (conditions(entries=entries, timeline=t) for t in (timeline, replace(timeline, days=warmer)))
    past = (today - 100 * DAY, today - DAY)
    np.testing.assert_array_equal(one.soil.as_it_lies_c.between(*past), other.soil.as_it_lies_c.between(*past))
    assert one.water.depletion_low_mm == other.water.depletion_low_mm
    assert other.soil.as_it_lies_c.at(today + 5 * DAY) > one.soil.as_it_lies_c.at(today + 5 * DAY)


def test_south_of_the_equator_the_soil_cools_in_may(make, thresholds, today):
    garden = make.garden(make.bed(), make.planting(), latitude_deg=-37.0)
    timeline = make.timeline(latitude_deg=-37.0)
    sky = sky_now(timeline, garden.place, thresholds, timeline.forecast_issued)
    (one,) = conditions_of(garden, timeline, sky, make.journal(), thresholds, PlaceMean())
    soil = one.soil.as_it_lies_c
    assert soil.at(today - 60 * DAY) > soil.at(today - DAY) > soil.at(today + 40 * DAY)


# --- straw changed for planting


def test_raked_bare_a_bed_is_ready_sooner_in_spring_about_when_a_bare_one_is(make, conditions):
    timeline = make.timeline(today=MARCH)
    (deep,) = conditions(bed=make.bed(straw=((date(2026, 10, 20), 0.15),)), timeline=timeline)
    (bare,) = conditions(timeline=timeline)
    gain_days = (deep.soil.ready.likely - deep.soil.ready_if_raked.likely).days
    assert gain_days >= 5  # the closed form of damping by a layer gives 7 to 31 days for a deep one in a cold place
    assert abs((deep.soil.ready_if_raked.likely - bare.soil.ready.likely).days) <= 2
    assert bare.soil.ready_if_raked is None


def test_in_autumn_nothing_is_raked(make, conditions, today):
    planting = make.planting(season=Season.AUTUMN, first=today + 60 * DAY, last=today + 120 * DAY)
    (one,) = conditions(planting, bed=make.bed(straw=((date(2026, 10, 20), 0.15),)))
    assert one.soil.ready_if_raked is None


def test_a_bed_elsewhere_under_straw_changes_nothing_for_a_bare_one(make, thresholds):
    timeline = make.timeline(today=MARCH)
    garden = make.garden(make.bed(), make.planting(), replace(make.planting("other"), bed="wallbed"))
    covered = make.bed("wallbed", straw=((date(2026, 10, 20), 0.15),))
    sky = sky_now(timeline, garden.place, thresholds, timeline.forecast_issued)
    both = replace(garden, beds=(*garden.beds, covered))
    bare, under = conditions_of(both, timeline, sky, make.journal(), thresholds, PlaceMean())
    assert bare.soil.ready_if_raked is None
    assert under.soil.ready_if_raked.likely < under.soil.ready.likely


def test_standing_water_and_cut_seed_come_from_the_journal(make, conditions, today):
    entries = [
        make.entry(today - 9 * DAY, "seed cut"),
        make.entry(today - 4 * DAY, "standing water", planting=""),
        make.entry(today - 2 * DAY, "standing water", planting=""),
    ]
    (one,) = conditions(entries=entries)
    assert (one.seed.cut, one.seed.bought, one.standing_water) == (today - 9 * DAY, None, today - 2 * DAY)
    (none,) = conditions()
    assert none.standing_water is None
