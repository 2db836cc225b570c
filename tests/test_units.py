"""Depths of water as volumes, against published tables; and a hose as the grower measures it."""

import json
from pathlib import Path

import pytest

from haulm import units
from haulm.letter import amounts
from haulm.settings.thresholds import Thresholds
from haulm.units import Display

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
