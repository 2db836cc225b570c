"""One dotted path names every value: in the environment, and in what a replay changes."""

import tomllib

import pytest

from haulm.errors import SettingsError
from haulm.settings.load import load
from haulm.settings.names import override


@pytest.mark.parametrize(
    ("name", "value", "read", "expected"),
    [
        ("HAULM_THRESHOLDS__PLANTING__SOIL_READY_SPRING", "54 F", "thresholds.planting.soil_ready_spring_c", 110 / 9),
        ("HAULM_THRESHOLDS__PLANTING__READY_DAYS", "4", "thresholds.planting.ready_days", 4),
        ("HAULM_THRESHOLDS__PLANTING__FROST_CHANCE", "15 %", "thresholds.planting.frost_chance", 0.15),
        ("HAULM_THRESHOLDS__PLANTING__FROST_CHANCE", "0.15", "thresholds.planting.frost_chance", 0.15),
        ("HAULM_THRESHOLDS__WATER__WAY", "depletion", "thresholds.water.way", "depletion"),
        ("HAULM_POST__LOG", "false", "post.log", False),
        ("HAULM_PLACE__LATITUDE", "-33.5", "garden.place.latitude_deg", -33.5),
        ("HAULM_PLACE__NAME", "7", "garden.place.name", "7"),
    ],
)
def test_the_environment_overrides_the_file(write, garden_text, name, value, read, expected):
    settings = load(write(garden_text), {name: value, "HOME": "/", "HAULMX": "no prefix"})
    for part in read.split("."):
        settings = getattr(settings, part)
    assert settings == (pytest.approx(expected) if isinstance(expected, float) else expected)


def test_the_environment_reaches_keys_of_the_growers_own(write, garden_text):
    environ = {"HAULM_PLANTINGS__GATE_EARLY__WINDOW_LAST": "2027-05-20", "HAULM_BEDS__GATEBED__WIDTH": "2 m"}
    garden = load(write(garden_text), environ).garden
    assert garden.plantings[0].window_last.isoformat() == "2027-05-20"
    assert garden.beds[0].width_m == 2.0


def test_names_read_elsewhere_are_left_alone(write, garden_text):
    environ = {"HAULM_SETTINGS": "x", "HAULM_STATE": "y", "HAULM_MEASURED_DATA": "z"}
    assert load(write(garden_text), environ) == load(write(garden_text))


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        (
            "HAULM_THRESHOLDS__PLANTING__SOIL_REDY_SPRING", "52 F",
            "HAULM_THRESHOLDS__PLANTING__SOIL_REDY_SPRING: no setting has this name. "
            'Did you mean "HAULM_THRESHOLDS__PLANTING__SOIL_READY_SPRING"?',
        ),
        (
            "HAULM_THRESHOLDS_FROST_ACT", "-1 C",
            "HAULM_THRESHOLDS_FROST_ACT: no setting has this name. Did you mean \"HAULM_THRESHOLDS__FROST__ACT\"?",
        ),
        (
            "HAULM_SETTING", "x",
            'HAULM_SETTING: no setting has this name. Did you mean "HAULM_SETTINGS"?',
        ),
        (
            "HAULM_THRESHOLDS__PLANTING__SOIL_READY_SPRING", "52",
            'HAULM_THRESHOLDS__PLANTING__SOIL_READY_SPRING: needs a unit: write "52 C" or "52 F".',
        ),
        (
            "HAULM_THRESHOLDS__PLANTING__SOIL_READY_SPRING", "90 F",
            "HAULM_THRESHOLDS__PLANTING__SOIL_READY_SPRING: must be between 4 C (39.2 F) and 20 C (68 F) "
            '(given: "90 F").',
        ),
        (
            # Off now lies above on: the variable that did it is named, not the untouched default.
            "HAULM_THRESHOLDS__PLANTING__SOIL_READY_SPRING", "46 F",
            "HAULM_THRESHOLDS__PLANTING__SOIL_READY_SPRING: must be below soil_ready_spring, which is "
            "7.78 C (46 F); it is 9 C (48.2 F).",
        ),
    ],
)  # fmt: skip
def test_a_fault_from_the_environment_names_the_variable(told, garden_text, name, value, message):
    assert told(garden_text, {name: value}) == [message]


def test_changes_win_over_environment_and_file(write, garden_text):
    key = "thresholds.planting.soil_ready_spring"
    settings = load(write(garden_text), {"HAULM_THRESHOLDS__PLANTING__SOIL_READY_SPRING": "52 F"}, {key: "12 C"})
    assert settings.thresholds.planting.soil_ready_spring_c == 12.0


def test_override_leaves_the_tree_alone(garden_text):
    tree = tomllib.loads(garden_text)
    changed = override(tree, {"thresholds.planting.ready_days": "5", "plantings.gate-early.spacing": "10 in"})
    assert changed["thresholds"]["planting"] == {"soil_ready_spring": "50 F", "ready_days": 5}
    assert changed["plantings"]["gate-early"]["spacing"] == "10 in"
    assert tree == tomllib.loads(garden_text)


def test_a_change_of_no_value_offers_the_nearest(write, garden_text):
    with pytest.raises(SettingsError) as caught:
        load(write(garden_text), {}, {"threshold.planting.soil_ready": "52 F"})
    assert 'Did you mean "thresholds.planting.soil_ready_spring"?' in str(caught.value)


def test_a_change_that_does_not_fit_is_told_under_its_name(write, garden_text):
    with pytest.raises(SettingsError) as caught:
        load(write(garden_text), {}, {"thresholds.frost.act": "-1"})
    assert [str(fault) for fault in caught.value.faults] == [
        'changed value of thresholds.frost.act: needs a unit: write "-1 C" or "-1 F".'
    ]
