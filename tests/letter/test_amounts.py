"""Rounding and units: every figure of a letter in both systems."""

import re
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.letter import amounts
from haulm.units import Display

US, METRIC = Display.US, Display.METRIC
NAN = float("nan")


@pytest.mark.parametrize(
    ("tell", "value", "metric", "us"),
    [
        (amounts.temperature, 10.0, "10 °C", "50 °F"),
        (amounts.temperature, 9.44, "9.4 °C", "49 °F"),
        (amounts.temperature, -2.2, "−2.2 °C", "28 °F"),
        (amounts.temperature, -0.04, "0 °C", "32 °F"),
        (amounts.temperature, -17.8, "−17.8 °C", "0 °F"),
        (amounts.warmth, 1.0, "1 °C", "1.8 °F"),
        (amounts.warmth, 6.6, "7 °C", "12 °F"),
        (amounts.change, 1.6, "1.6 °C warmer", "3 °F warmer"),
        (amounts.change, -1.0, "1 °C colder", "1.8 °F colder"),
        (amounts.change, 0.1, "neither warmer nor colder", "neither warmer nor colder"),
        (amounts.water, 25.4, "25 mm", "1 in"),
        (amounts.water, 15.0, "15 mm", "0.6 in"),
        (amounts.water, 0.0, "0 mm", "0 in"),
        (amounts.water, 0.44, "0.4 mm", "0.02 in"),
        (amounts.volume, 75.512, "76 litres", "20 gallons"),
        (amounts.volume, 3.785411784, "4 litres", "1 gallon"),
        (amounts.volume, 0.3, "less than half a litre", "less than half a gallon"),
        (amounts.straw, 0.07, "7 cm", "3 in"),
        (amounts.straw, 0.0, "0 cm", "0 in"),
        (amounts.length, 0.1, "10 cm", "4 in"),
        (amounts.length, 2.4384, "2.4 m", "8 ft"),
        (amounts.distance, 6.4, "6.4 km", "4 miles"),
        (amounts.distance, 1.609344, "1.6 km", "1 mile"),
        (amounts.speed, 11.111111, "40 km/h", "25 mph"),
        (amounts.weight, 4.5359237, "4.5 kg", "10 lb"),
    ],
)
def test_one_value_in_both_systems(tell, value, metric, us):
    assert tell(value, METRIC) == metric
    assert tell(value, US) == us


@pytest.mark.parametrize("tell", ["temperature", "warmth", "change", "water", "volume", "straw", "length", "distance",
                                  "speed", "weight"])  # fmt: skip
@pytest.mark.parametrize("value", [None, NAN])
@pytest.mark.parametrize("display", list(Display))
def test_what_is_not_known_says_so(tell, value, display):
    assert getattr(amounts, tell)(value, display) == "not known"


def test_counts_and_chances_that_are_not_known_say_so():
    tellers = (amounts.days, amounts.years, amounts.chance, amounts.share)
    told = [tell(value) for tell in tellers for value in (None, NAN)]
    assert set(told) == {"not known"}
    assert amounts.day(None, date(2026, 4, 14)) == "not known"


def test_a_value_rounded_onto_its_limit_says_on_which_side_it_lies():
    assert amounts.temperature(9.8, US, 10.0) == "just under 50 °F"
    assert amounts.temperature(10.02, METRIC, 10.0) == "just over 10 °C"
    assert amounts.temperature(10.0, METRIC, 10.0) == "10 °C"
    assert amounts.temperature(9.0, METRIC, 10.0) == "9 °C"


def test_ranges_name_their_unit_once_and_fold_where_both_ends_read_alike():
    assert amounts.temperatures(-1.5, 4.0, METRIC) == "−1.5 to 4 °C"
    assert amounts.temperatures(10.01, 10.02, METRIC) == "10 °C"
    assert amounts.waters(8.0, 14.0, METRIC) == "8 to 14 mm"
    assert amounts.waters(8.0, NAN, METRIC) == "not known"


def test_days_carry_their_year_only_when_it_is_another():
    today = date(2026, 4, 14)
    assert amounts.day(today, today) == "Tue 14 April"
    assert amounts.day(date(2027, 1, 2), today) == "Sat 2 January 2027"
    assert amounts.day_span(today, today, today) == "on Tue 14 April"
    assert amounts.day_span(today, None, today) == "not before Tue 14 April"
    assert amounts.day_span(None, today, today) == "by Tue 14 April"
    assert amounts.day_span(None, None, today) == "not known"
    assert amounts.day_span(today, date(2026, 4, 20), today) == "between 14 and 20 April"
    assert amounts.day_span(today, date(2026, 5, 2), today) == "between 14 April and 2 May"
    assert (
        amounts.day_span(date(2026, 12, 20), date(2027, 1, 2), today) == "between 20 December 2026 and 2 January 2027"
    )


@pytest.mark.parametrize(
    ("early", "likely", "late", "told"),
    [
        ((5, 3), (5, 7), (5, 12), "between 3 and 12 May, most likely the 7th"),
        ((5, 1), (5, 22), (5, 23), "between 1 and 23 May, most likely the 22nd"),
        ((4, 28), (4, 30), (5, 12), "between 28 April and 12 May, most likely 30 April"),
        ((4, 28), (5, 11), (5, 12), "between 28 April and 12 May, most likely 11 May"),
        ((5, 7), (5, 7), (5, 7), "on Thu 7 May"),
        ((5, 3), (5, 7), None, "not before Sun 3 May, most likely 7 May"),
        (None, (5, 7), None, "about Thu 7 May"),
        ((5, 3), None, (5, 12), "between 3 and 12 May"),
        (None, None, None, "not known"),
    ],
)
def test_a_day_that_is_worked_out_reads_the_same_everywhere(early, likely, late, told):
    ends = [None if one is None else date(2026, *one) for one in (early, late)]
    assert amounts.expected_day(likely and date(2026, *likely), date(2026, 4, 14), *ends) == told


def test_a_temperature_that_is_worked_out_reads_as_its_days_do():
    """Four cases of five of a normal lie within 1.2816 standard deviations (any table of the normal distribution)."""
    assert amounts.expected_temperature(9.9, METRIC, 1.1) == "between 8.5 and 11.3 °C, most likely 9.9 °C"
    assert amounts.expected_temperature(0.5, METRIC, 1.0) == "between −0.8 and 1.8 °C, most likely 0.5 °C"
    assert amounts.expected_temperature(10.0, US, 0.1) == "50 °F"
    assert amounts.expected_temperature(10.0, METRIC, NAN) == "10 °C"
    assert amounts.expected_temperature(NAN, METRIC, 1.0) == "not known"


def test_counts_and_listings():
    assert [amounts.days(n) for n in (0, 1, 3.4)] == ["0 days", "1 day", "3 days"]
    assert amounts.years(1) == "1 year"
    assert amounts.listing(["a", "b", "c"]) == "a, b and c"
    assert amounts.listing(["a"]) == "a"
    assert amounts.count(2, "thing", "things") == "two things"
    assert amounts.count(1, "thing", "things") == "one thing"
    assert amounts.share(0.38) == "38 %"


def test_one_table_of_chances_whose_words_and_numbers_agree():
    rising = [row.chance for row in amounts.ODDS]
    assert rising == sorted(rising)
    for row in amounts.ODDS:
        part, whole, percent = map(int, re.fullmatch(r"(\d+) in (\d+) \((\d+) %\)", row.told).groups())
        assert part / whole == pytest.approx(row.chance)
        assert percent / 100 == pytest.approx(row.chance)
    words = [row.word for row in amounts.ODDS]
    assert all(words.index(word) + words.count(word) - 1 == len(words) - 1 - words[::-1].index(word) for word in words)


@given(st.floats(0.0, 1.0))
def test_no_chance_is_ever_certain_nor_far_from_what_is_said(chance):
    told = amounts.chance(chance)
    percent = int(re.search(r"\((\d+) %\)", told)[1])
    assert 0 < percent < 100
    assert abs(percent / 100 - chance) <= 0.0501


@given(st.floats(-40.0, 60.0), st.floats(-40.0, 60.0), st.sampled_from(list(Display)))
def test_rounding_never_turns_two_temperatures_about(one_c, other_c, display):
    def read(celsius):
        return float(amounts.temperature(celsius, display).split(" ")[0].replace("−", "-"))

    low, high = sorted((one_c, other_c))
    assert read(low) <= read(high)


@pytest.mark.parametrize(("value", "told"), [(2.5, "3"), (-2.5, "−3"), (0.449, "0"), (1.15, "1"), (199.5, "200")])
def test_halves_round_away_from_zero(value, told):
    assert amounts.plain(value) == told


def test_a_yield_is_told_by_area():
    """1 kg/m² is 2.20462 lb on 10.7639 ft², so 0.2048 lb/ft² (exact by definition)."""
    assert amounts.weight_of_area(4.24, Display.METRIC) == "4.2 kg a square metre"
    assert amounts.weight_of_area(4.24, Display.US) == "0.9 lb a square foot"
    assert amounts.weight_of_area(None, Display.US) == "not known"


@pytest.mark.parametrize(
    ("count", "told"),
    [(0.2, "1 minute"), (1.4, "1 minute"), (1.5, "2 minutes"), (12.0, "12 minutes"), (None, "not known")],
)
def test_minutes_of_the_hose_are_whole(count, told):
    assert amounts.minutes(count) == told


@pytest.mark.parametrize(
    ("mm", "told"),
    [(1.0, "0.04 in"), (2.4, "0.09 in"), (2.5, "0.1 in"), (11.0, "0.45 in"), (12.7, "0.5 in"), (25.0, "1 in"),
     (31.0, "1.2 in"), (33.0, "1.3 in"), (-11.0, "−0.45 in")],
)  # fmt: skip
def test_inches_of_water_go_by_twentieths_about_a_millimetre(mm, told):
    assert amounts.water(mm, Display.US) == told


@pytest.mark.parametrize(
    ("ahead", "soon", "night"),
    [
        (1, "tomorrow", "tonight"),
        (2, "on Thursday", "tomorrow night"),
        (3, "on Friday", "on Thursday night"),
        (6, "on Monday", "on Sunday night"),
        (7, "on Tue 21 April", "in the night to Tue 21 April"),
    ],
)
def test_a_coming_day_beside_a_date_is_told_by_its_name(ahead, soon, night):
    """A subject ends with its own date: "in the night to Fri 14 May – Tue 11 May" reads as a stretch of days."""
    today = date(2026, 4, 14)
    coming = date(2026, 4, 14 + ahead)
    assert amounts.soon(coming, today) == soon
    assert amounts.night_to(coming, today) == night
