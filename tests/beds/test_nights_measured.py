"""Chances of cold nights against measured stations, with stand-ins for a forecast.

HAULM_MEASURED_DATA names the folder that holds the stations; skipped elsewhere. `tests/accuracy/nights.py` scores all
of them; here every sixth, for 0 °C, so that bands are wider by what fewer nights allow.
"""

import importlib.util
import os
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[1] / "accuracy" / "nights.py"
OFF_AT_MOST = 0.08
LEAST_SKILL = {"neighbour": 0.40, "lagged": 0.18, "noisy": 0.55}


@pytest.fixture(scope="module")
def scored():
    folder = os.environ.get("HAULM_MEASURED_DATA")
    if not folder:
        pytest.skip("HAULM_MEASURED_DATA is not set: the measured data are not part of the project")
    spec = importlib.util.spec_from_file_location("accuracy_nights", SCRIPT)
    script = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = script
    spec.loader.exec_module(script)
    everyone = script.stations(Path(folder) / "soil_stations_dev.csv.gz")
    return script, script.gathered(everyone[::6], everyone)


@pytest.mark.parametrize("stand_in", sorted(LEAST_SKILL))
def test_of_nights_given_a_chance_about_that_share_froze(scored, stand_in):
    script, found = scored
    rows = script.tenths(found[stand_in, 0.0])
    assert min(count for count, _, _ in rows) >= 300
    assert max(abs(share - chance) for _, chance, share in rows) <= OFF_AT_MOST
    assert script.skill_over_climatology(found[stand_in, 0.0]) >= LEAST_SKILL[stand_in]


@pytest.mark.parametrize("stand_in", sorted(LEAST_SKILL))
def test_a_lower_threshold_calls_more_and_errs_more(scored, stand_in):
    script, found = scored
    season = script.of_the_season(found[stand_in, -1.0])
    called = [season.chance >= at_least for at_least in script.CALLS]
    hits = [season.came[call].sum() / season.came.sum() for call in called]
    false = [1.0 - season.came[call].mean() for call in called]
    assert hits == sorted(hits, reverse=True)
    assert false == sorted(false, reverse=True)
    assert hits[1] >= 0.6
