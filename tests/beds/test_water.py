"""The bed's ledger and its root zone: rain through straw, waterings, unknown rain as two bounds, the days ahead."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from haulm.beds.evaporation import evaporation_of
from haulm.beds.forcing import PlaceMean, ahead, climate_of, past
from haulm.beds.in_step import finished
from haulm.beds.noted import Noted
from haulm.beds.water import AS_USUAL, bed_days, grown_on, water_now
from haulm.science.soil_properties import TEXTURES
from haulm.science.water_balance import StrawWater
from haulm.weather import DAY, Daily

BACK = 60


def grows(out, a_day=0.01):
    """Ripe a hundred days after the shoots: full cover after 29, going down from 71 on."""
    return Daily(out, a_day * np.arange(1.0, 300.0))


@pytest.fixture
def bed_water(make, today):
    """Water of a bed planted 50 days ago with shoots 30 days ago; arrays of rain are the days before today."""

    def worked_out(rain=(), *, straw_m=0.0, watered=(), coming=(), chance=np.nan, days=None, bed=None, forecast=True,
        holds=AS_USUAL, kc_moved=0.0,
    ):  # fmt: skip
        timeline = make.timeline(ahead_days=8 if forecast else 0)
        fallen = timeline.days.rain_mm.copy()
        at = timeline.today_index
        fallen[at - len(rain) : at] = rain
        if forecast:
            fallen[at : at + len(coming)] = coming
        timeline = make.timeline(ahead_days=8 if forecast else 0, rain_mm=fallen)
        climate = climate_of(timeline, PlaceMean(), 52.5)
        been, expected = (
            past(timeline, climate, today - BACK * DAY),
            ahead(timeline, climate, own_years=False, count=30),
        )
        bed = bed or make.bed()
        days = days or Noted(planted=today - 50 * DAY, shoots=today - 30 * DAY)
        growth = grows(days.shoots) if days.shoots else None
        count = been.days + expected.days
        turns = np.zeros(count)
        turns[BACK - len(watered) : BACK] = watered
        grown = grown_on(days, growth, been.first, count)[None, :]
        unread = np.full((1, been.days), np.nan)
        straw = np.full((1, count), straw_m)
        on_bed = bed_days([bed], grown, been.first, straw, turns[None, :], unread, holds)
        evaporation = evaporation_of(timeline, make.place(), been, expected, dry=False)
        moved = Daily(been.first, np.full(count, kc_moved))
        evaporation = replace(evaporation, kc_moved=moved)
        return finished(water_now(on_bed, been, expected, evaporation, Daily(today, np.full(30, chance))))[0]

    return worked_out


def test_the_weeks_ledger_counts_seven_days_and_not_the_eighth(bed_water):
    week = bed_water([9.0, 1.0, 2.0, 0.0, 0.0, 4.0, 0.0, 5.0], watered=[8.0, 0.0, 3.0, 0.0, 0.0, 0.0, 0.0, 6.0])
    assert week.week_rain_mm == pytest.approx(12.0)
    assert week.week_watered_mm == pytest.approx(9.0)
    assert week.week_unknown_days == 0


def test_the_last_weeks_day_by_day_end_in_what_the_morning_tells(bed_water):
    now = bed_water([9.0, 1.0, 2.0, 0.0, 0.0, 4.0, 0.0, 5.0], watered=[8.0, 0.0, 3.0, 0.0, 0.0, 0.0, 0.0, 6.0])
    lately = now.lately
    assert lately.rain_mm.values[-7:].sum() == pytest.approx(now.week_effective_mm)
    assert lately.watered_mm.values[-7:].sum() == pytest.approx(now.week_watered_mm)
    assert (lately.depletion_mm.values[-1], lately.ready_mm.values[-1]) == (now.depletion_low_mm, now.ready_mm)


def test_straw_keeps_some_of_the_rain_and_never_adds_to_it(bed_water):
    rain = [0.0, 6.0, 0.0, 0.0, 3.0, 0.0, 0.0]
    bare, covered = bed_water(rain), bed_water(rain, straw_m=0.15)
    assert bare.week_effective_mm == pytest.approx(bare.week_rain_mm)
    assert 0.0 <= covered.week_effective_mm < bare.week_effective_mm
    assert covered.week_rain_mm == bare.week_rain_mm
    assert bare.straw_holds_mm == 0.0
    assert 0.0 < covered.straw_holds_mm <= 8.0


def test_the_most_that_straw_keeps_is_the_grower_s_to_set(bed_water):
    rain = [0.0, 20.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    usual, less, none = (bed_water(rain, straw_m=0.3, holds=StrawWater(most_mm=most)) for most in (8.0, 3.0, 0.0))
    assert usual.week_effective_mm < less.week_effective_mm < none.week_effective_mm
    assert none.week_effective_mm == pytest.approx(20.0)
    assert (less.straw_holds_mm, none.straw_holds_mm) == (pytest.approx(3.0, abs=0.5), 0.0)


def test_a_watering_is_taken_off_the_depletion_and_straw_does_not_keep_it(bed_water):
    for straw_m in (0.0, 0.2):
        dry, wet = bed_water(straw_m=straw_m), bed_water(straw_m=straw_m, watered=[10.0])
        assert dry.depletion_low_mm - wet.depletion_low_mm == pytest.approx(10.0, abs=1.5)  # a wetter bed uses more


def test_unknown_rain_is_told_as_two_bounds_that_hold_whatever_fell(bed_water):
    gap = bed_water([0.0, np.nan, np.nan, 0.0])
    assert gap.week_unknown_days == 2
    assert gap.week_rain_mm == 0.0
    assert gap.depletion_low_mm < gap.depletion_high_mm
    for fell in (0.0, 4.0, 10.0):
        known = bed_water([0.0, fell, fell, 0.0])
        assert gap.depletion_low_mm - 1e-9 <= known.depletion_low_mm <= gap.depletion_high_mm + 1e-9
        assert known.depletion_low_mm == pytest.approx(known.depletion_high_mm)


def test_a_soaked_bed_counts_the_days_it_drained_back_from_yesterday(bed_water):
    assert bed_water([60.0, 0.0, 0.0]).drained_days == 0
    assert bed_water([60.0]).drained_days == 1
    assert bed_water([60.0, 20.0]).drained_days == 2


@pytest.mark.parametrize("texture", ["loam", "clay", "sand", "compost mix"])
def test_the_root_zone_is_no_deeper_than_the_bed_and_holds_what_its_soil_holds(bed_water, make, texture):
    """TAW = 1000 (FC - WP) Zr, FAO-56 equation 82."""
    held = {}
    for depth_m in (0.2, 0.3):
        water = bed_water(bed=make.bed(texture=texture, soil_depth_m=depth_m))
        held[depth_m] = water.total_mm
        assert water.total_mm <= 1000.0 * TEXTURES[texture].available_m3_m3 * depth_m + 1e-9
        assert 0.1 * water.total_mm <= water.ready_mm <= 0.8 * water.total_mm
    assert held[0.2] < held[0.3]


def test_coarse_soil_gives_up_more_of_its_water_with_ease_than_fine_soil(bed_water, make):
    """FAO-56 Table 22, note: p is 5-10 % lower in fine soil and higher in coarse soil."""
    shares = {}
    for texture in ("sand", "loam", "clay"):
        water = bed_water(bed=make.bed(texture=texture))
        shares[texture] = water.ready_mm / water.total_mm
    assert shares["clay"] < shares["loam"] < shares["sand"]


def season(make, days, growth, *, straw_m=0.0, count=200, **bed):
    first = days.planted - 10 * DAY
    none = np.zeros((1, count))
    grown = grown_on(days, growth, first, count)[None, :]
    found = bed_days([make.bed(**bed)], grown, first, none + straw_m, none, none[:, :0])
    return replace(found, kc=found.kc[0], roots_m=found.roots_m[0])


def test_roots_and_thirst_follow_the_crops_own_growth(make, today):
    out = today - 30 * DAY
    days = Noted(planted=today - 50 * DAY, shoots=out)
    on_bed = season(make, days, grows(out))
    assert (np.diff(on_bed.roots_m) >= 0.0).all()
    assert on_bed.roots_m[0] == pytest.approx(0.15)
    assert on_bed.roots_m[-1] == pytest.approx(0.30)  # the bed's own depth
    at = (out - on_bed.first).days
    assert on_bed.kc[at - 1] == pytest.approx(0.5)  # FAO-56 Table 12, Kc ini of roots and tubers
    assert on_bed.kc[at + 28] == pytest.approx(1.15)  # Kc mid of potato, from 30 of 105 of the way (Table 11)
    assert on_bed.kc[at + 70] == pytest.approx(1.15)
    assert on_bed.kc[at + 99] == pytest.approx(0.75)  # Kc end, ripe
    assert on_bed.kc[-1] == pytest.approx(0.75)


def test_on_the_tables_own_clock_it_is_the_tables_curve(make, today):
    """Growth of 1/105 a day is FAO-56's continental season with shoots on day 25: Table 12 along Table 11."""
    out = today - 30 * DAY
    on_bed = season(make, Noted(planted=today - 50 * DAY, shoots=out), grows(out, 1 / 105))
    at = (out - on_bed.first).days - 1 - 25
    for day, kc in ((25, 0.5), (40, 0.825), (55, 1.15), (100, 1.15), (115, 0.95), (130, 0.75)):
        assert on_bed.kc[at + day] == pytest.approx(kc), day


def test_a_cool_season_is_a_slow_one(make, today):
    out = today - 30 * DAY
    days = Noted(planted=today - 50 * DAY, shoots=out)
    warm, cool = (season(make, days, grows(out, a_day)) for a_day in (0.01, 0.006))
    at = slice((out - warm.first).days, (out - warm.first).days + 28)
    assert (cool.kc[at] < warm.kc[at]).all()
    assert (cool.roots_m[at] < warm.roots_m[at]).all()


def test_straw_saves_half_of_what_the_soil_would_lose(make, today):
    """FAO-56 ch. 10, E23: under full cover Kc is 0.25, 1.125 and 0.70."""
    out = today - 30 * DAY
    days = Noted(planted=today - 50 * DAY, shoots=out)
    on_bed = season(make, days, grows(out), straw_m=0.2)
    at = (out - on_bed.first).days
    assert [on_bed.kc[at + day] for day in (-1, 40, 120)] == pytest.approx([0.25, 1.125, 0.70])


@given(depth_m=st.floats(0.05, 1.0), a_day=st.floats(0.001, 0.05), cut=st.none() | st.integers(0, 150))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_roots_are_never_deeper_than_the_bed_nor_thirst_outside_the_tables(make, today, depth_m, a_day, cut):
    out = today - 30 * DAY
    gone = None if cut is None else out + cut * DAY
    on_bed = season(
        make, Noted(planted=today - 50 * DAY, shoots=out, tops_cut=gone), grows(out, a_day), soil_depth_m=depth_m
    )
    assert (on_bed.roots_m <= depth_m + 1e-12).all()
    assert (on_bed.roots_m > 0.0).all()
    assert ((on_bed.kc >= 0.25) & (on_bed.kc <= 1.15)).all()
    if gone is not None:
        assert on_bed.kc[(gone - on_bed.first).days :] == pytest.approx(0.5)  # bare soil without a crop


def test_a_dead_crop_drinks_no_more(make, today):
    out = today - 55 * DAY
    alive = Noted(planted=today - 59 * DAY, shoots=out, dying=today - 12 * DAY)
    dead = replace(alive, tops_dead=today - 2 * DAY)
    green, gone = (season(make, one, grows(out)) for one in (alive, dead))
    at = (today - green.first).days
    assert gone.kc[at] < green.kc[at]
    assert gone.kc[at - 3] == green.kc[at - 3]


def test_only_likely_rain_stretches_the_days_a_bed_lasts(bed_water):
    rain = [0.0, 12.0, 12.0]
    dry = bed_water().outlook_depletion_mm.values
    assert (np.diff(dry) > 0.0).all()
    assert len(dry) == 7
    for chance, counts in ((0.9, True), (0.5, True), (0.4, False), (np.nan, False)):
        ahead_mm = bed_water(coming=rain, chance=chance).outlook_depletion_mm.values
        assert bool(ahead_mm[2] < dry[2] - 10.0) is counts


def test_dry_wind_moves_the_thirst_of_leaves_and_not_of_bare_soil(bed_water, today):
    in_leaf, seed = Noted(planted=today - 59 * DAY, shoots=today - 40 * DAY), Noted(planted=today - 3 * DAY)
    plain, moved = (bed_water(days=in_leaf, kc_moved=by).outlook_need_mm for by in (0.0, 0.1))
    assert moved == pytest.approx(plain * 1.25 / 1.15)
    plain, moved = (bed_water(days=seed, kc_moved=by).outlook_need_mm for by in (0.0, 0.1))
    assert moved == plain


def test_the_weeks_need_is_not_known_without_a_forecast(bed_water):
    assert bed_water().outlook_need_mm > 0.0
    assert np.isnan(bed_water(forecast=False).outlook_need_mm)
    assert np.isfinite(bed_water(forecast=False).depletion_low_mm)
