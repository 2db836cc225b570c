"""Depths of water as volumes, against published tables; and a hose as the grower measures it."""

import json
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm import units
from haulm.errors import UnitError
from haulm.letter import amounts
from haulm.settings.thresholds import Thresholds
from haulm.units import Display, Kind

CASES = json.loads((Path(__file__).parent / "reference" / "water_amounts.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_a_depth_on_an_area_is_a_volume(case):
    litres = units.litres_from_mm(case["depth_mm"], case["area_m2"])
    if case["litres"] is not None:
        assert litres == pytest.approx(case["litres"], abs=case["tolerance"])
    if case["us_gallons"] is not None:
        assert units.gallons_from_litres(litres) == pytest.approx(case["us_gallons"], abs=case["tolerance"])
    assert units.mm_from_litres(litres, case["area_m2"]) == pytest.approx(case["depth_mm"])


@pytest.mark.parametrize(
    ("litres", "metric", "us"), [(75.512, "76 litres", "20 gallons"), (3.7, "4 litres", "1 gallon")]
)
def test_the_grower_reads_whole_litres_or_whole_us_gallons(litres, metric, us):
    assert amounts.volume(litres, Display.METRIC) == metric
    assert amounts.volume(litres, Display.US) == us


@pytest.mark.parametrize(("written", "l_min"), [("12 l/min", 12.0), ("3 gal/min", 11.356), ("3 gpm", 11.356)])
def test_the_flow_of_the_hose_is_written_as_it_was_measured(written, l_min):
    limits = Thresholds.model_validate({"water": {"hose_flow": written}}).water
    assert limits.hose_flow_l_min == pytest.approx(l_min, abs=1e-3)


# Whatever is written


NUMBERS = st.decimals(0, 9999, places=3, allow_nan=False).map(str) | st.integers(0, 10**14).map(str)
SPELT = [*units._READERS, *units._OTHER_SPELLINGS]
INVERSE = [
    (units.celsius_from_fahrenheit, units.fahrenheit_from_celsius),
    (units.metres_per_second_from_kmh, units.kilometres_per_hour),
    (lambda mm: units.litres_from_mm(mm, 2.88), lambda litres: units.mm_from_litres(litres, 2.88)),
]


@given(st.text(max_size=60) | st.from_regex(units._AMOUNT), st.lists(st.sampled_from(Kind), min_size=1, unique=True))
def test_any_text_is_an_amount_or_refused_in_words(text, kinds):
    try:
        found = units.read_quantity(text, *kinds)
    except UnitError as told:
        assert told.what
        return
    assert found.kind in kinds
    assert math.isfinite(found.value)


@pytest.mark.parametrize("figures", [16, 400, 5000])
@pytest.mark.parametrize("form", ["{}", "{}/3", "1/{}", "-{},5", "2 x {}"])
def test_more_figures_than_a_number_can_have_are_no_amount(form, figures):
    with pytest.raises(UnitError, match="not an amount"):
        units.read_quantity(f"{form.format('9' * figures)} mm", Kind.WATER)


@given(NUMBERS, st.sampled_from(SPELT), st.integers(1, 999), st.sampled_from([",", "."]), st.sampled_from(["", " "]))
def test_a_count_a_comma_and_a_minus_mean_what_they_say(number, unit, count, point, blank):
    (kind, *_) = units._READERS[units._plain_unit(unit)]
    one = units.read_quantity(f"{number}{blank}{unit}", kind)
    many = units.read_quantity(f"{count} x {number.replace('.', point)} {unit.upper()}", kind)
    assert many.value == pytest.approx(count * one.value)
    if kind is not Kind.TEMPERATURE:
        assert units.read_quantity(f"-{number}{unit}", kind).value == pytest.approx(-one.value)


@given(st.floats(-1e6, 1e6), st.sampled_from(INVERSE))
def test_there_and_back_is_the_same(value, both):
    there, back = both
    assert back(there(value)) == pytest.approx(value, abs=1e-6)
    assert there(back(value)) == pytest.approx(value, abs=1e-6)


@given(st.floats(0, 1e5), st.floats(0, 1e5))
def test_a_warmer_day_is_warmer_in_any_scale(one, other):
    colder, warmer = sorted((one, other))
    assert units.fahrenheit_from_celsius(colder) <= units.fahrenheit_from_celsius(warmer)
    degrees = units.fahrenheit_from_celsius(warmer) - units.fahrenheit_from_celsius(colder)
    assert units.fahrenheit_degrees(warmer - colder) == pytest.approx(degrees, abs=1e-6)
