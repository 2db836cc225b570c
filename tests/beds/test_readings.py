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
