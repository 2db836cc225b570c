"""A thermometer in the bed moves the letter's figure, narrows its doubt, and a slip of the pen is questioned."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest

from haulm.garden import Entry, Journal, What
from haulm.jobs import demo
from haulm.jobs.decide import decide
from haulm.jobs.letter_forms import write_out
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY

TODAY = date(2027, 5, 11)


@pytest.fixture(scope="module")
def scene():
    return demo.scenes(2027)[0]


@pytest.fixture(scope="module")
def weather(scene):
    return demo._weather(scene.garden, TODAY)


def reading(day, value_c, number=0):
    instant = datetime.combine(day, time(9), UTC)
    return Entry(f"r{number}-{day}", instant, day, "gatebed", "", What.SOIL_READ, "", value_c)


@pytest.fixture
def think(scene, weather):
    def decided(*readings):
        record, forecasts = weather
        journal = Journal((*demo.journal_of(scene, 2027).entries, *readings))
        as_of = demo._at_half_past_six(scene.garden.place, TODAY)
        return decide(scene.garden, Thresholds(), as_of, record, forecasts, journal, ())

    return decided


@pytest.fixture
def unplanted(scene, weather):
    def decided():
        as_of = demo._at_half_past_six(scene.garden.place, TODAY)
        return decide(scene.garden, Thresholds(), as_of, *weather, Journal(()), ())

    return decided


def yesterday(decision):
    soil = decision.conditions[0].soil
    return soil.as_it_lies_c.at(TODAY - DAY), soil.spread_c.at(TODAY - DAY)


def days_with(think, offset_c, count):
    soil = think().conditions[0].soil.as_it_lies_c
    days = [TODAY - timedelta(days=2 + 4 * k) for k in range(count)]
    return [reading(day, soil.at(day) + offset_c, k) for k, day in enumerate(days)]


def test_readings_move_the_estimate_their_way_the_more_the_more_there_are(think):
    plain, _ = yesterday(think())
    one, _ = yesterday(think(*days_with(think, 2.0, 1)))
    six, _ = yesterday(think(*days_with(think, 2.0, 6)))
    assert plain < one < six < plain + 2.5


def test_readings_narrow_the_doubt(think):
    _, before = yesterday(think())
    _, after = yesterday(think(*days_with(think, 0.0, 6)))
    assert after < before


def test_a_slip_of_the_pen_is_told_and_not_used(scene, think):
    good = days_with(think, 0.5, 5)
    wild = reading(TODAY - 3 * DAY, 31.0, 99)
    with_wild, without = think(*good, wild), think(*good)
    assert yesterday(with_wild)[0] == pytest.approx(yesterday(without)[0], abs=0.1)
    assert with_wild.conditions[0].soil.questioned_c == ((TODAY - 3 * DAY, 31.0),)
    letter = " ".join(write_out(with_wild, Thresholds(), "x.png", with_picture=False).text.split())
    assert "The soil reading of 31 °C in Gatebed on Sat 8 May is far from everything else" in letter


def test_a_reading_noted_later_is_not_known_yet(think):
    late = replace(reading(TODAY - 2 * DAY, 20.0), instant=datetime(2027, 5, 12, 9, tzinfo=UTC))
    assert yesterday(think(late)) == yesterday(think())


def test_the_same_degrees_teach_more_warmth_in_the_morning_than_in_the_afternoon(think):
    """In the morning the soil at 10 cm is below its day's mean, in the evening above it."""
    value_c = think().conditions[0].soil.as_it_lies_c.at(TODAY - 3 * DAY) + 1.0
    noted = reading(TODAY - 3 * DAY, value_c)
    early, late = (replace(noted, instant=noted.instant.replace(hour=hour)) for hour in (7, 19))
    assert yesterday(think(early))[0] > yesterday(think(late))[0] + 0.05


def test_a_reading_written_down_on_another_day_is_taken_for_any_hour_and_trusted_less(think):
    value_c = think().conditions[0].soil.as_it_lies_c.at(TODAY - 3 * DAY)
    noted = reading(TODAY - 3 * DAY, value_c)
    later = replace(noted, instant=noted.instant + DAY)
    assert yesterday(think(later))[1] > yesterday(think(noted))[1]


def test_a_reading_that_came_by_mail_has_no_hour_of_its_own(think):
    """Its instant is that at which the mailbox was read, whenever the thermometer was looked at."""
    value_c = think().conditions[0].soil.as_it_lies_c.at(TODAY - 3 * DAY) + 1.0
    mailed = replace(reading(TODAY - 3 * DAY, value_c), origin="mail")
    early, late = (replace(mailed, instant=mailed.instant.replace(hour=hour)) for hour in (7, 19))
    later = replace(mailed, origin="command", instant=mailed.instant + DAY)
    assert yesterday(think(early)) == yesterday(think(late)) == yesterday(think(later))


def test_without_readings_the_doubt_is_that_of_any_place(think):
    """Left-out stations: 1.26 in winter to 1.91 °C in summer (DEVELOPERS.md, "Accuracy")."""
    soil = think().conditions[0].soil
    spread = soil.spread_c.between(date(2026, 5, 1), TODAY - DAY)
    assert spread.min() > 0.9
    assert 1.1 < spread.mean() < 2.2
    assert soil.spread_c.at(TODAY + 20 * DAY) > soil.spread_c.at(TODAY + DAY) > soil.spread_c.at(TODAY - DAY)


def test_the_chance_of_a_warm_enough_day_is_even_where_the_estimate_meets_the_limit(think, unplanted):
    assert think().conditions[0].soil.fit_chance is None  # planted: nobody waits for it
    soil = unplanted().conditions[0].soil
    told = soil.fit_chance
    estimate, chance = soil.as_it_lies_c.between(told.first, told.last), told.values
    limit_c = Thresholds().planting.soil_ready_spring_c
    nearest = abs(estimate - limit_c).argmin()
    assert chance[nearest] == pytest.approx(0.5, abs=0.1)
    warm, cool = chance[estimate > limit_c + 4.5], chance[estimate < limit_c]
    assert warm.min() > 0.95
    assert 0.02 < cool.min() < cool.max() < 0.5


def test_a_reading_of_this_morning_counts(think):
    soil = think().conditions[0].soil.as_it_lies_c
    now = replace(reading(TODAY, soil.at(TODAY) + 3.0), instant=datetime(2027, 5, 11, 5, 0, tzinfo=UTC))
    assert yesterday(think(now))[0] > yesterday(think())[0] + 0.1


# --- what they taught, in numbers that can be told


def season_of_readings(think, offset_of):
    """One reading every three weeks of the year that is past, each off the estimate by what its month says.

    Written down the day after, so that each is taken for its day's mean.
    """
    soil = think().conditions[0].soil.as_it_lies_c
    days = [TODAY - timedelta(days=5 + 21 * k) for k in range(17)]
    read = [reading(day, soil.at(day) + offset_of(day.month), k) for k, day in enumerate(days)]
    return [replace(one, instant=one.instant + DAY) for one in read]


def test_without_readings_nothing_was_taught(think):
    assert think().conditions[0].soil.taught is None


def test_every_reading_stands_beside_the_estimate_with_and_without_them(think):
    good = days_with(think, 2.0, 5)
    taught = think(*good, reading(TODAY - 3 * DAY, 31.0, 99)).conditions[0].soil.taught
    assert len(taught.readings) == 6
    for one in taught.readings:
        assert one.believed is (one.read_c != 31.0)
        if one.believed:
            assert abs(one.day_mean_c - one.taught_c) < abs(one.day_mean_c - one.untaught_c)


def test_what_they_moved_is_the_difference_to_the_estimate_without_them(think):
    plain, taught = think().conditions[0].soil, think(*days_with(think, 2.0, 5)).conditions[0].soil
    day = TODAY - DAY
    assert taught.as_it_lies_c.at(day) - taught.taught.moved_c.at(day) == pytest.approx(plain.as_it_lies_c.at(day))
    assert taught.taught.untaught_spread_c.at(day) == pytest.approx(plain.spread_c.at(day), abs=0.02)
    assert taught.spread_c.at(day) < taught.taught.untaught_spread_c.at(day)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_warm_summer_and_a_cold_winter_speak_of_a_sunny_bed_and_the_other_way_about(think, sign):
    readings = season_of_readings(think, lambda month: sign * (3.0 if month in {5, 6, 7, 8} else -1.5))
    taught = think(*readings).conditions[0].soil.taught
    assert sign * taught.swing_c > taught.swing_spread_c
    assert taught.swing_spread_c < taught.untaught_swing_spread_c


def test_a_bed_that_is_warmer_all_year_is_not_called_sunny(think):
    taught = think(*season_of_readings(think, lambda month: 1.5)).conditions[0].soil.taught
    assert abs(taught.swing_c) < 1.0
    assert taught.moved_c.at(TODAY - DAY) > 0.7
