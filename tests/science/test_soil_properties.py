"""What soils and straw are made of, against the tables it comes from."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.science import soil_properties as soil

CASES = json.loads((Path(__file__).parents[1] / "reference" / "soil_properties.json").read_text(encoding="utf-8"))


def cases(equation):
    return [pytest.param(case, id=case["id"]) for case in CASES if case["equation"] == equation]


def test_every_reference_value_is_asked_for():
    asked = {"thermal", "dry_conductivity_w_mk", "table_19", "straw_resistance_band"}
    assert {case["equation"] for case in CASES} == asked


@pytest.mark.parametrize("case", cases("thermal"))
def test_thermal_table(case):
    row = soil.THERMAL[case["inputs"]["soil"], case["inputs"]["wetness"]]
    water, conductivity, capacity, diffusivity = case["expected"]
    assert (row.water_m3_m3, row.conductivity_w_mk, row.heat_capacity_mj_m3k) == (water, conductivity, capacity)
    assert row.diffusivity_m2_s == pytest.approx(diffusivity * 1e-6)
    derived = soil.diffusivity_m2_s(row.conductivity_w_mk, row.heat_capacity_mj_m3k)
    assert derived == pytest.approx(row.diffusivity_m2_s, rel=case["tolerance"][3])


def test_the_thermal_table_holds_nothing_else():
    assert len(cases("thermal")) == len(soil.THERMAL)


@pytest.mark.parametrize("case", cases("dry_conductivity_w_mk"))
def test_johansen_dry(case):
    assert soil.dry_conductivity_w_mk(**case["inputs"]) == pytest.approx(case["expected"], abs=case["tolerance"])


@pytest.mark.parametrize(
    ("density", "expected"),
    [(0.0, 64.7 / 2700.0), (-0.1, math.nan), (2700.0, (364.5 + 64.7) / 143.1), (2701.0, math.nan)],
)
def test_johansen_dry_at_its_ends_and_beyond(density, expected):
    assert float(soil.dry_conductivity_w_mk(density)) == pytest.approx(expected, nan_ok=True)


@pytest.mark.parametrize("case", cases("table_19"))
def test_fao_56_table_19(case):
    texture = soil.TEXTURES[case["inputs"]["texture"]]
    found = [texture.field_capacity, texture.wilting_point, texture.available]
    assert [list(column) for column in found] == case["expected"]


def test_only_the_compost_mix_is_outside_the_table():
    assert set(soil.TEXTURES) - {case["inputs"]["texture"] for case in CASES if "texture" in case["inputs"]} == {
        "compost mix"
    }


@pytest.mark.parametrize("name", soil.TEXTURES)
def test_middles_lie_in_their_ranges_and_in_order(name):
    texture = soil.TEXTURES[name]
    assert texture.field_capacity[0] < texture.field_capacity_m3_m3 < texture.field_capacity[1]
    assert texture.wilting_point[0] < texture.wilting_point_m3_m3 < texture.wilting_point[1]
    assert texture.available[0] < texture.available_m3_m3 < texture.available[1]
    assert texture.wilting_point_m3_m3 < texture.field_capacity_m3_m3
    # The table's own column and the difference of the middles agree to 0.03 m³/m³, which is their rounding.
    difference = texture.field_capacity_m3_m3 - texture.wilting_point_m3_m3
    assert texture.available_m3_m3 == pytest.approx(difference, abs=0.03)


def test_loam_s_middle_is_the_one_of_the_worked_potato():
    """FAO-56, p 0.35 and 0.4 m of roots in loam: 21.7 mm, from 0.155."""
    assert soil.TEXTURES["loam"].available_m3_m3 == pytest.approx(0.155)


def test_heat_lies_between_the_rows_it_is_taken_from():
    sand, clay, peat = (soil.THERMAL[row, "moist"] for row in ("sand 0.40", "clay 0.40", "peat 0.90"))
    assert soil.TEXTURES["sand"].conductivity_w_mk == pytest.approx(sand.conductivity_w_mk)
    assert soil.TEXTURES["clay"].conductivity_w_mk == pytest.approx(clay.conductivity_w_mk)
    assert peat.conductivity_w_mk < soil.TEXTURES["compost mix"].conductivity_w_mk < clay.conductivity_w_mk
    for name in set(soil.TEXTURES) - {"compost mix"}:
        assert clay.conductivity_w_mk <= soil.TEXTURES[name].conductivity_w_mk <= sand.conductivity_w_mk + 1e-12


def test_mineral_soils_conduct_as_measured():
    """Farouki 1982: sand of 1600 kg/m³ at 5-20 % moisture 1.4-2.9 W/m/K, clay 0.9-1.4."""
    assert 1.4 <= soil.TEXTURES["sand"].conductivity_w_mk <= 2.9
    assert 0.9 - 1e-12 <= soil.TEXTURES["clay"].conductivity_w_mk <= 1.4


@pytest.mark.parametrize("case", cases("straw_resistance_band"))
def test_straw_lies_in_the_measured_band(case):
    low, high = case["expected"]
    assert low < soil.straw_resistance_m2k_w(**case["inputs"]) < high


@given(st.floats(0, 1), st.floats(0, 1))
def test_more_straw_parts_more_and_none_parts_nothing(one, other):
    low, high = soil.straw_resistance_m2k_w(np.sort([one, other]))
    assert 0.0 <= low <= high
    assert soil.straw_resistance_m2k_w(0.0) == 0.0
    assert soil.straw_resistance_m2k_w([one])[0] == soil.straw_resistance_m2k_w(one)


@given(st.floats(900, 2000), st.floats(900, 2000))
def test_denser_dry_soil_conducts_better(one, other):
    low, high = soil.dry_conductivity_w_mk(np.sort([one, other]))
    assert 0.0 < low <= high


def test_what_cannot_be_is_not_known():
    for found in (
        soil.straw_resistance_m2k_w(-0.01), soil.straw_resistance_m2k_w(math.nan),
        soil.dry_conductivity_w_mk(-1.0), soil.dry_conductivity_w_mk(2900.0), soil.dry_conductivity_w_mk(math.nan),
        soil.diffusivity_m2_s(1.0, 0.0), soil.diffusivity_m2_s(-1.0, 2.0), soil.diffusivity_m2_s(math.nan, 2.0),
    ):  # fmt: skip
        assert np.isnan(found)
