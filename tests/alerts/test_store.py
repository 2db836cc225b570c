"""Curing, the store's warmth, looking through it, seed kept back: both sides of every threshold."""

from dataclasses import replace

import pytest

from haulm.advice import NotKnown, Said, Section
from haulm.alerts.store import LOOK_DAYS, cure, seed_kept, store_check, store_cold, store_warmth
from haulm.condition import DayRange
from haulm.garden import Stage
from haulm.weather import DAY


def said_of(rule, verdict, first_on, level=0):
    return Said(rule, "gatebed", "gate-early", first_on.isoformat(), verdict, level, first_on, first_on)


# --- cure (50-60 °F, 10-14 days: University of Massachusetts; a warm place, 4-7 days: judgement)


def lifted(a, today, days, room=None):
    return a.condition(Stage.LIFTED, stage=a.stage(Stage.LIFTED, since=today - days * DAY), store=room)


@pytest.mark.parametrize(
    ("days", "room_c", "verdict"),
    [
        (0, 13.0, "cure"),
        (9, 13.0, "cure"),
        (10, 13.0, "store"),
        (3, 17.1, "cure"),
        (4, 17.1, "store"),
        (9, 5.0, "cure"),
    ],
)
def test_what_was_lifted_heals_and_then_goes_into_the_store(a, thresholds, today, days, room_c, verdict):
    assert cure(lifted(a, today, days, a.store(room_c)), thresholds, None).verdict == verdict


@pytest.mark.parametrize(
    ("room_c", "room"), [(8.9, "cold"), (9.0, "fits"), (17.0, "fits"), (17.1, "warm"), (float("nan"), "unknown")]
)
def test_how_the_store_suits_healing(a, thresholds, today, room_c, room):
    assert cure(lifted(a, today, 1, a.store(room_c)), thresholds, None).facts["room"] == room


def test_a_store_that_is_not_known_is_not_counted_on(a, thresholds, today):
    for room in (a.store(13.0, known=False), None):
        found = cure(lifted(a, today, 5, room), thresholds, None)
        assert (found.verdict, found.facts["room"]) == ("cure", "unknown")


def test_a_store_that_warms_later_does_not_shorten_the_days_told(a, thresholds, today):
    room = a.store(16.0, 19.0)  # from tomorrow on; lifted today
    found = cure(lifted(a, today, 0, room), thresholds, None)
    later = replace(lifted(a, today, 0, room), today=today + 5 * DAY)
    assert (found.facts["room"], cure(later, thresholds, None).verdict) == ("fits", "cure")


def test_a_store_that_cools_takes_nothing_back(a, thresholds, today):
    standing = said_of("cure", "store", today - DAY, 1)
    assert cure(lifted(a, today, 5, a.store(15.0)), thresholds, standing).verdict == "store"


# --- how long the store keeps (40-45 °F for a home store: Utah State University; the bands above: judgement)


def kept(a, today, room, days=40, **changes):
    stage = a.stage(Stage.STORED, since=today - days * DAY)
    return a.condition(Stage.STORED, stage=stage, store=room, **changes)


def cold(a, thresholds, today, room, standing=None):
    found = store_cold(kept(a, today, room), thresholds, standing)
    return found.verdict if found is not None else None


def warmth(a, thresholds, today, room, standing=None):
    found = store_warmth(kept(a, today, room), thresholds, standing)
    return found.verdict if found is not None else None


@pytest.mark.parametrize(
    ("room_c", "verdict"), [(0.99, "may-freeze"), (1.0, "too-cold"), (2.99, "too-cold"), (3.0, None)]
)
def test_frost_and_cold_in_the_store(a, thresholds, today, room_c, verdict):
    assert cold(a, thresholds, today, a.store(room_c)) == verdict


@pytest.mark.parametrize(
    ("said", "room_c", "verdict"),
    [
        ("may-freeze", 1.99, "may-freeze"),
        ("may-freeze", 2.0, "too-cold"),
        ("too-cold", 3.99, "too-cold"),
        ("too-cold", 4.0, None),
        ("unknown", 3.5, None),
    ],
)
def test_cold_ends_only_with_room_to_spare(a, thresholds, today, said, room_c, verdict):
    assert cold(a, thresholds, today, a.store(room_c), said_of("store-cold", said, today - DAY)) == verdict


@pytest.mark.parametrize(
    ("week_c", "band"),
    [(2.99, None), (3.0, "keeps"), (10.0, "keeps"), (10.01, "months"), (15.0, "months"), (15.01, "weeks")],
)
def test_how_long_potatoes_keep_in_the_warmth_of_the_store(a, thresholds, today, week_c, band):
    assert warmth(a, thresholds, today, a.store(week_c)) == band


@pytest.mark.parametrize(
    ("said", "week_c", "band"),
    [
        ("keeps", 2.0, "keeps"),  # said already, and not said anew after the cold
        ("months", 9.01, "months"),
        ("months", 9.0, "keeps"),
        ("weeks", 14.01, "weeks"),
        ("weeks", 14.0, "months"),
        ("weeks", 9.0, "keeps"),
        ("keeps", 10.0, "keeps"),
    ],
)
def test_a_band_is_left_only_with_room_to_spare(a, thresholds, today, said, week_c, band):
    assert warmth(a, thresholds, today, a.store(week_c), said_of("store-warmth", said, today - DAY)) == band


def test_warmth_is_that_of_the_last_week_and_of_four_to_come(a, thresholds, today):
    """7 days at 16 °C and 28 at 8.5 °C have a mean of 10.0; a little more of either end changes the band."""
    assert warmth(a, thresholds, today, a.store(16.0, 8.5)) == "keeps"
    assert warmth(a, thresholds, today, a.store(16.1, 8.5)) == "months"
    assert warmth(a, thresholds, today, a.store(6.0, 20.0)) == "weeks"


def test_cold_is_told_ahead_where_there_is_a_forecast(a, thresholds, today):
    coming = kept(a, today, a.store(6.0, 0.5))
    found = store_cold(coming, thresholds, None)
    assert (found.verdict, found.section, found.facts["coldest_on"]) == ("may-freeze", Section.DO_TODAY, today + DAY)
    assert store_cold(replace(coming, sky=a.sky((), has_forecast=False)), thresholds, None) is None


@pytest.mark.parametrize(
    ("week_c", "later_c", "cools"), [(16.0, 10.0, True), (12.0, 10.0, True), (16.0, 10.1, False), (6.0, 6.0, False)]
)
def test_a_warm_store_that_will_cool_in_time_is_told_of(a, thresholds, today, week_c, later_c, cools):
    found = store_warmth(kept(a, today, a.store(week_c, later_c)), thresholds, None)
    assert found.facts["cooler_on"] == (today + DAY if cools else None)


def test_frost_is_graver_than_cold_and_heat_than_warmth(a, thresholds, today):
    by_cold = [store_cold(kept(a, today, a.store(c)), thresholds, None).level for c in (0.0, 2.0)]
    by_warmth = [store_warmth(kept(a, today, a.store(c)), thresholds, None).level for c in (20.0, 12.0, 6.0)]
    assert by_cold == sorted(by_cold, reverse=True)
    assert by_warmth == sorted(by_warmth, reverse=True)
    assert len(set(by_cold)) == 2


def test_a_store_that_is_not_known_is_neither_cold_nor_warm(a, thresholds, today):
    for room in (a.store(known=False), None):
        for rule in (store_cold, store_warmth):
            assert isinstance(rule(kept(a, today, room), thresholds, None), NotKnown)


# --- looking through the store (a week, then each fortnight: common practice)


@pytest.mark.parametrize(
    ("days", "speaks"),
    [(0, False), (6, False), (7, True), (9, True), (10, False), (20, False), (21, True), (23, True), (24, False),
     (35, True), (203, True), (202, False)],
)  # fmt: skip
def test_the_store_is_looked_through_after_a_week_and_each_fortnight(a, thresholds, today, days, speaks):
    found = store_check(kept(a, today, a.store(), days), thresholds, None)
    assert (found is not None) is speaks
    assert LOOK_DAYS == 3
    assert found is None or (found.facts["next_on"] - (today - days * DAY)).days % 14 == 7


def test_a_look_is_asked_for_in_a_store_of_unknown_warmth_too(a, thresholds, today):
    found = store_check(kept(a, today, a.store(known=False), 7), thresholds, None)
    assert found.verdict == "look"
    assert found.facts["room_c"] != found.facts["room_c"]


# --- seed kept back (day-degrees above 4 °C from the first sprouts: O'Brien et al. 1983; all else judgement)


def judged(a, thresholds, today, seed, standing=None):
    found = seed_kept(kept(a, today, a.store(), kept_seed=seed), thresholds, standing)
    return found.verdict if found is not None else None


@pytest.mark.parametrize(
    ("wakes_in", "old_in", "verdict"),
    [(31, None, "asleep"), (30, None, "ready"), (-90, 31, "ready"), (-90, 30, "too-old"), (30, 30, "too-old")],
)
def test_seed_is_asleep_ready_or_too_old_on_the_day_it_is_woken(a, thresholds, today, wakes_in, old_in, verdict):
    assert judged(a, thresholds, today, a.kept_seed(wakes_in, old_in=old_in)) == verdict


@pytest.mark.parametrize(
    ("said", "wakes_in", "old_in", "verdict"),
    [
        ("ready", 37, None, "ready"),
        ("ready", 38, None, "asleep"),
        ("too-old", -90, 37, "too-old"),
        ("too-old", -90, 38, "ready"),
        ("asleep", 31, None, "asleep"),
    ],
)
def test_a_word_on_the_seed_is_changed_only_for_more_than_a_week(a, thresholds, today, said, wakes_in, old_in, verdict):
    standing = said_of("seed-kept", said, today - DAY)
    assert judged(a, thresholds, today, a.kept_seed(wakes_in, old_in=old_in), standing) == verdict


def test_a_crop_with_blight_is_no_seed_however_it_slept(a, thresholds, today):
    assert judged(a, thresholds, today, a.kept_seed(0, blight=True)) == "none"
    assert judged(a, thresholds, today, a.kept_seed(0, blight=True, wakes=None)) == "none"


@pytest.mark.parametrize(("chitting_in", "speaks"), [(0, True), (-1, False)])
def test_seed_is_spoken_of_until_it_is_woken(a, thresholds, today, chitting_in, speaks):
    assert (judged(a, thresholds, today, a.kept_seed(-40, chitting_in=chitting_in)) is not None) is speaks


def test_seed_from_an_unknown_store_is_not_judged(a, thresholds, today):
    found = seed_kept(kept(a, today, a.store(), kept_seed=a.kept_seed(wakes=None)), thresholds, None)
    assert isinstance(found, NotKnown)
    assert seed_kept(kept(a, today, a.store()), thresholds, None) is None


def test_sleep_that_does_not_end_is_sleep(a, thresholds, today):
    assert judged(a, thresholds, today, a.kept_seed(wakes=DayRange(None, None, None, 0.0, 0))) == "asleep"


@pytest.mark.parametrize(
    ("days", "readings", "section"), [(2, 0, "Get ready"), (3, 0, "Still so"), (3, 1, "Get ready")]
)
def test_a_guess_of_cold_asks_for_no_hands_all_winter(a, thresholds, today, days, readings, section):
    room = replace(a.store(2.0), readings=readings)
    said = said_of("store-cold", "too-cold", today - days * DAY)
    found = store_cold(a.condition(Stage.STORED, store=room), thresholds, said)
    assert (found.verdict, found.section.value) == ("too-cold", section)


def test_frost_that_a_guess_did_not_speak_of_yet_is_news(a, thresholds, today):
    said = said_of("store-cold", "too-cold", today - 9 * DAY)
    found = store_cold(a.condition(Stage.STORED, store=a.store(0.0)), thresholds, said)
    assert (found.verdict, found.section) == ("may-freeze", Section.DO_TODAY)
