"""Looked, and no shoots yet: the question after them is silent for a week, and is then asked anew."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest

from haulm.garden import Entry, Garden, Journal, What
from haulm.jobs.decide import decide
from haulm.jobs.demo import SEED, scenes
from haulm.settings.thresholds import Thresholds
from haulm.sources.invented import invented_record
from haulm.weather import DAY

PLANTED, LAST = date(2027, 4, 20), date(2027, 7, 20)


@pytest.fixture(scope="module")
def scene():
    found = scenes(2027)[0]
    garden = Garden(found.garden.key, found.garden.place, found.garden.beds, found.garden.plantings)
    return garden, invented_record(garden.key, date(2020, 1, 1), LAST, SEED)


def as_of(garden, day, hour=6):
    return datetime.combine(day, time(hour, 30), ZoneInfo(garden.place.zone))


def entry(garden, day, what):
    instant = as_of(garden, day, 18).astimezone(UTC)
    return Entry(f"{what} {day}", instant, day, garden.beds[0].key, garden.plantings[0].key, what)


def asked(scene, days, entries, memory=()):
    """What is said of the shoots each morning, and the memory after the last."""
    garden, record = scene
    told = []
    for day in days:
        made = decide(garden, Thresholds(), as_of(garden, day), record, [], Journal(tuple(entries)), memory)
        memory = made.memory
        told.append([(one.fresh, one.ended) for one in made.alerts if one.rule == "shoots-due"])
    return told, memory


def test_no_shoots_yet_is_silent_for_a_week_and_ends_without_a_word(scene):
    garden, _ = scene
    entries = [entry(garden, PLANTED, What.PLANTED)]
    day, memory, told = PLANTED, (), [[]]
    while not told[0]:
        day += DAY
        assert day < LAST
        told, memory = asked(scene, [day], entries, memory)
    assert told == [[(True, False)]]
    looked = [*entries, entry(garden, day, What.NO_SHOOTS)]
    after, _ = asked(scene, [day + n * DAY for n in range(1, 9)], looked, memory)
    assert after[:6] == [[]] * 6  # the week counts from the day of the look
    assert after[6] == [(True, False)]  # asked anew
    assert after[7] == [(False, False)]
    without, _ = asked(scene, [day + DAY], entries, memory)
    assert without == [[(False, False)]]


def test_a_look_that_is_taken_back_or_comes_later_changes_nothing(scene):
    garden, _ = scene
    entries, day = [entry(garden, PLANTED, What.PLANTED)], PLANTED + 60 * DAY
    plain, _ = asked(scene, [day], entries)
    assert plain[0]
    look = entry(garden, day - DAY, What.NO_SHOOTS)
    withdrawal = Entry("taken back", look.instant, look.day, look.bed, look.planting, None, withdraws=look.id)
    later = entry(garden, day, What.NO_SHOOTS)  # written in the evening of that day
    assert asked(scene, [day], [*entries, look])[0] == [[]]
    assert asked(scene, [day], [*entries, look, withdrawal])[0] == plain
    assert asked(scene, [day], [*entries, later])[0] == plain
