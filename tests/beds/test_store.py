"""The store room of a morning: its air without holes, the readings of all beds, and what is kept in it."""

import math
from dataclasses import replace

import numpy as np
import pytest

from haulm.beds.conditions import conditions_of
from haulm.beds.forcing import PlaceMean
from haulm.beds.noted import LONGEST_KEPT, UNSTORED
from haulm.beds.sky import sky_now
from haulm.garden import Season, Stage, StoreKind
from haulm.weather import DAY


@pytest.fixture
def morning(make, thresholds, today):
    """The conditions of a garden whose crop was planted 150 days ago and lifted `lifted` days ago."""

    def known(*entries, lifted=40, kind=StoreKind.GARAGE, timeline=None, plantings=None, thresholds=thresholds):
        crop = make.planting(first=today - 160 * DAY, last=today - 130 * DAY)
        garden = replace(make.garden(make.bed(), *(plantings or (crop,))), store=kind)
        timeline = timeline or make.timeline()
        sky = sky_now(timeline, garden.place, thresholds, timeline.forecast_issued)
        noted = [make.entry(today - 150 * DAY, "planted"), make.entry(today - lifted * DAY, "lifted", 9.0), *entries]
        return conditions_of(garden, timeline, sky, make.journal(*noted), thresholds, PlaceMean())

    return known


def stored(make, today, ago=30):
    return make.entry(today - ago * DAY, "into store")


def test_a_garage_is_a_little_warmer_than_the_mean_of_the_last_days(make, morning, today):
    (one,) = morning(stored(make, today))
    air_c = make.seasons(today - 2 * DAY, 1)[0]
    assert one.store.room_c.at(today - DAY) == pytest.approx(air_c + 2.0, abs=0.4)
    assert one.store.known
    assert one.store.readings == 0


def test_the_kind_of_room_makes_the_difference(make, morning, today):
    rooms = {kind: morning(stored(make, today), kind=kind)[0].store.room_c.at(today) for kind in StoreKind}
    assert rooms[StoreKind.HOUSE] == max(rooms.values())
    assert rooms[StoreKind.CELLAR] < rooms[StoreKind.COOL_ROOM]  # in May it still has the winter in it


def test_readings_count_whichever_bed_or_none_they_were_noted_for(make, morning, today):
    (before,) = morning(stored(make, today))
    read = before.store.room_c.at(today - 5 * DAY) + 4.0
    for bed in ("gatebed", "", "elsewhere"):
        reading = make.entry(today - 5 * DAY, "store temperature", read, planting="", bed=bed)
        (after,) = morning(stored(make, today), reading)
        assert after.store.readings == 1
        moved = after.store.room_c.at(today) - before.store.room_c.at(today)
        assert 0.5 < moved < 4.0
        assert after.store.spread_c.at(today) < before.store.spread_c.at(today)


def test_a_wild_reading_is_told_and_not_used(make, morning, today):
    (before,) = morning(stored(make, today))
    wild = make.entry(today - 5 * DAY, "store temperature", 43.0, planting="")
    (after,) = morning(stored(make, today), wild)
    assert after.store.questioned_c == ((today - 5 * DAY, 43.0),)
    assert after.store.room_c.at(today) == before.store.room_c.at(today)


def test_a_store_after_weeks_of_unknown_weather_counts_as_known_only_within_its_limit(make, morning, today, thresholds):
    low = make.timeline().days.air_min_c
    gone = np.where(np.arange(len(low)) >= 1060, np.nan, low)
    blind = make.timeline(air_min_c=gone)
    (clear,), (dim,) = morning(stored(make, today)), morning(stored(make, today), timeline=blind)
    assert dim.store.spread_c.at(today) > clear.store.spread_c.at(today) + 1.0
    spread_c = dim.store.spread_c.at(today)
    for limit_c, known in ((spread_c + 0.01, True), (spread_c - 0.01, False)):
        store = thresholds.store.model_copy(update={"spread_limit_c": limit_c})
        told = thresholds.model_copy(update={"store": store})
        assert morning(stored(make, today), timeline=blind, thresholds=told)[0].store.known is known


def test_what_is_kept_has_no_bed_and_what_grows_no_store(make, morning, today):
    autumn = make.planting("gate-autumn", season=Season.AUTUMN, first=today + 60 * DAY, last=today + 120 * DAY)
    crop = make.planting(first=today - 160 * DAY, last=today - 130 * DAY)
    kept, waiting = morning(stored(make, today), plantings=(crop, autumn))
    assert (kept.stage.stage, kept.soil.known, kept.water, kept.ends) == (Stage.STORED, False, None, None)
    assert np.isnan(kept.soil.as_it_lies_c.at(today))
    assert waiting.soil.known
    assert waiting.store is None
    assert kept.kept_seed.window_of == autumn.name


@pytest.mark.parametrize(("lifted", "stage"), [(UNSTORED.days - 1, Stage.LIFTED), (UNSTORED.days, Stage.STORED)])
def test_a_crop_nobody_noted_as_stored_counts_as_stored_in_the_end(morning, today, lifted, stage):
    (one,) = morning(lifted=lifted)
    assert one.stage.stage is stage
    assert one.stage.noted is (stage is Stage.LIFTED)


@pytest.mark.parametrize(("lifted", "there"), [(LONGEST_KEPT.days, True), (LONGEST_KEPT.days + 1, False)])
def test_a_crop_is_kept_until_it_is_finished_or_a_year_is_over(make, thresholds, today, lifted, there):
    crop = make.planting(first=today - 500 * DAY, last=today - 470 * DAY)
    garden, timeline = make.garden(make.bed(), crop), make.timeline()
    sky = sky_now(timeline, garden.place, thresholds, timeline.forecast_issued)
    noted = [make.entry(today - 490 * DAY, "planted"), make.entry(today - lifted * DAY, "lifted", 9.0)]

    def alive(*more):
        return bool(conditions_of(garden, timeline, sky, make.journal(*noted, *more), thresholds, PlaceMean()))

    assert alive() is there
    assert not alive(make.entry(today, "finished"))


# --- the seed kept back


def test_seed_sleeps_longer_in_a_cellar_than_in_the_house(make, morning, today):
    cold, warm = (morning(stored(make, today), kind=kind)[0].kept_seed for kind in (StoreKind.CELLAR, StoreKind.HOUSE))
    assert warm.wakes.early < warm.wakes.likely < warm.wakes.late
    assert warm.wakes.likely < cold.wakes.likely
    assert warm.too_old < cold.too_old


def test_in_the_house_the_days_are_those_of_the_table(make, morning, today):
    """A heated room is held where it was read, nearly: the sleep of that warmth by the table, from the lifting on."""
    reading = make.entry(today - DAY, "store temperature", 20.0, planting="")
    (one,) = morning(stored(make, today), reading, kind=StoreKind.HOUSE)
    room = one.store.room_c.between(today - 40 * DAY, today + 80 * DAY)
    assert np.ptp(room) < 1e-6
    assert 18.0 < room[0] < 20.0
    sleep = np.interp(room[0], (15.0, 20.0), (85.0, 70.0))
    assert (one.kept_seed.wakes.likely - (today - 40 * DAY)).days == math.ceil(sleep) - 1


def test_sprouts_that_were_seen_beat_the_estimate_and_those_before_planting_do_not_count(make, morning, today):
    before = make.entry(today - 151 * DAY, "sprouting")
    assert morning(before, stored(make, today))[0].kept_seed.sprouting is None
    (one,) = morning(before, stored(make, today), make.entry(today - 2 * DAY, "sprouting"))
    assert one.kept_seed.wakes.early == one.kept_seed.wakes.late == today - 2 * DAY


def test_without_another_crop_in_the_settings_the_window_comes_again_in_a_year(make, morning, today):
    (one,) = morning(stored(make, today))
    first = today - 160 * DAY
    assert one.kept_seed.window_first == first.replace(year=first.year + 1)
    assert one.kept_seed.again
    assert one.kept_seed.chitting == one.kept_seed.window_first - 28 * DAY


def test_a_year_on_the_first_window_of_any_crop_whose_seed_can_still_be_woken_counts(make, morning, today):
    crop = make.planting(first=today - 160 * DAY, last=today - 130 * DAY)
    other = make.planting("gate-other", first=today - 300 * DAY, last=today - 290 * DAY)
    done = make.entry(today - 299 * DAY, "planted", planting="gate-other")
    over = make.entry(today - 200 * DAY, "finished", planting="gate-other")
    (one,) = morning(done, over, stored(make, today), plantings=(crop, other))
    assert 64 <= (one.kept_seed.window_first - today).days <= 66
    late = make.planting("gate-other", first=today - 340 * DAY, last=today - 330 * DAY)
    (one,) = morning(done, over, stored(make, today), plantings=(crop, late))
    assert 204 <= (one.kept_seed.window_first - today).days <= 206  # in 25 days: too soon to wake seed for it


@pytest.mark.parametrize(("lifted", "spoken_of"), [(123, True), (124, False)])
def test_seed_is_not_spoken_of_for_a_window_nobody_would_hold_it_for(make, morning, today, lifted, spoken_of):
    """The window opens in 205 days: its seed is woken in 177, three hundred days after lifting 123 days ago."""
    crop = make.planting(first=today - 160 * DAY, last=today - 130 * DAY)
    (one,) = morning(stored(make, today), lifted=lifted, plantings=(crop,))
    assert (one.kept_seed is not None) is spoken_of


def test_a_crop_that_has_its_seed_already_is_not_waited_for(make, morning, today):
    crop = make.planting(first=today - 160 * DAY, last=today - 130 * DAY)
    soon = make.planting("gate-soon", first=today + 90 * DAY, last=today + 120 * DAY)
    later = make.planting("gate-later", first=today + 250 * DAY, last=today + 280 * DAY)
    chitted = make.entry(today - DAY, "chitting begun", planting="gate-soon")
    kept = morning(stored(make, today), plantings=(crop, soon, later))[0].kept_seed
    assert (kept.window_first, kept.again) == (soon.window_first, False)
    kept = morning(stored(make, today), chitted, plantings=(crop, soon, later))[0].kept_seed
    assert kept.window_first == later.window_first


def test_blight_that_was_ever_noted_stays_with_the_seed(make, morning, today):
    blighted = make.entry(today - 60 * DAY, "dying back", cause="blight")
    of_age = make.entry(today - 50 * DAY, "dying back", cause="age", number=1)
    assert morning(blighted, of_age, stored(make, today))[0].kept_seed.blight
    assert not morning(of_age, stored(make, today))[0].kept_seed.blight
