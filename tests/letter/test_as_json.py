"""The letter for programs."""

import json

import numpy as np
import pytest

from haulm.letter.as_json import VERSION, as_json
from haulm.letter.compose import compose
from haulm.units import Display


@pytest.fixture
def written(busy, thresholds):
    def write(display=Display.METRIC):
        return as_json(compose(busy(display), thresholds), busy(display))

    return write


def test_it_is_plain_json_in_one_order(written):
    one = json.dumps(written(), allow_nan=False)
    assert one == json.dumps(written(), allow_nan=False)
    assert list(json.loads(one)) == [
        "version", "garden", "kind", "day", "written", "subject", "greeting", "parts", "alerts", "beds", "numbers",
        "basis", "heard", "offers", "weather",
    ]  # fmt: skip


def test_every_name_is_in_its_documentation(written):
    def names(value):
        if isinstance(value, dict):
            for name, inner in value.items():
                yield name
                if name != "facts":
                    yield from names(inner)
        elif isinstance(value, list):
            for inner in value:
                yield from names(inner)

    assert [name for name in names(written()) if name not in as_json.__doc__] == []


def test_raw_values_stay_in_house_units_whatever_the_reader_reads(written):
    metric, us = written(Display.METRIC), written(Display.US)
    assert metric["alerts"] == us["alerts"]
    assert metric["beds"] == us["beds"]
    assert metric["numbers"] != us["numbers"]
    frost = next(alert for alert in us["alerts"] if alert["rule"] == "frost")
    assert frost["facts"]["leaf_c"] == -1.3
    assert frost["facts"]["night"] == "2026-04-14"
    assert frost["chance"] == 0.58
    assert us["version"] == VERSION


def test_not_known_is_null_and_sequences_are_lists(alert_of, decision_of, thresholds):
    facts = {
        "why": "cold", "season": "spring", "soil_yesterday_c": float("nan"), "limit_c": 10.0, "ready_days": 3,
        "trend_c": float("nan"), "ahead_min_c": np.float64(8.5), "ahead_max_c": 10.2, "look_ahead_days": np.int64(7),
        "likely": None, "early": None, "late": None, "years": 12, "days_c": (1.0, float("nan")), "clear": np.bool_(1),
        "new_straw_m": 0.06, "sprouted": True, "fit_chance": None,
    }  # fmt: skip
    alert = alert_of("planting-time", verdict="wait", facts=facts)
    decision = decision_of(alert)
    got = as_json(compose(decision, thresholds), decision)["alerts"][0]["facts"]
    assert got["soil_yesterday_c"] is None
    assert got["likely"] is None
    assert got["days_c"] == [1.0, None]
    assert got["clear"] is True
    assert list(got) == sorted(facts)
    json.dumps(got, allow_nan=False)
