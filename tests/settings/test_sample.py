"""The sample and the schema are what the model says, and every threshold says what it rests on."""

import json
import re
import tomllib
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any, get_args

import jsonschema
import pytest

from haulm.settings.file_form import SettingsFile, Texture
from haulm.settings.load import load
from haulm.settings.names import known_values
from haulm.settings.quantities import unit_of
from haulm.settings.sample import sample_toml, schema_json, write
from haulm.settings.table import choices_of, keys_of, note_of, range_words
from haulm.settings.thresholds import Thresholds

CONFIG = Path(__file__).parents[2] / "config"
BASIS = re.compile(r"published: \S.*|common practice, no source|judgement(: \S.*)?")


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(below) for key, below in value.items()}
    if isinstance(value, list):
        return [_plain(below) for below in value]
    return value.isoformat() if isinstance(value, date) else value


def _thresholds() -> Iterator[tuple[str, Any]]:
    for path, field in known_values(Thresholds, {}):
        yield ".".join(map(str, path)), field


def test_config_holds_what_the_program_writes(tmp_path):
    write(tmp_path)
    for name in ("haulm.toml", "haulm.schema.json"):
        assert (CONFIG / name).read_bytes() == (tmp_path / name).read_bytes(), f"write {name} anew"


def test_the_sample_loads_as_it_stands():
    settings = load(CONFIG / "haulm.toml")
    assert settings.garden.place.name == "Brackenford"
    assert [bed.name for bed in settings.garden.beds] == ["Gatebed"]
    assert settings.thresholds == Thresholds()


def test_the_sample_loads_with_every_key_live(tmp_path):
    text = re.sub(r"^# (\w+ = |\[\w)", r"\1", sample_toml(), flags=re.MULTILINE)
    path = tmp_path / "all.toml"
    hidden = r'^(password|secret|url(?= = "https://alive)) = .*\n'  # each has a file of its own
    path.write_text(re.sub(hidden, "", text, flags=re.MULTILINE))
    for name in ("mail-password", "mailbox-password", "webhook-secret"):
        (tmp_path / name).write_text("at least sixteen letters and signs\n")
    (tmp_path / "heartbeat-url").write_text("https://alive.example.org/token\n")
    settings = load(path)
    written = tomllib.loads(text)
    known = {path for path, _ in known_values(SettingsFile, written)}
    assert known == {path for path in known if _has(written, path)}
    assert (
        settings.thresholds.model_copy(
            update={"water": settings.thresholds.water.model_copy(update={"hose_flow_l_min": None})}
        )
        == Thresholds()
    )


def _has(tree: Any, path: tuple[Any, ...]) -> bool:
    for part in path:
        if part not in tree:
            return False
        tree = tree[part]
    return True


def test_the_sample_fits_the_schema():
    schema = json.loads(schema_json())
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(_plain(tomllib.loads(sample_toml())), schema)


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ('elevation = "900 ft"', "elevation = 900"),
        ('maturity = "early"', 'maturity = "soon"'),
        ('elevation = "900 ft"', 'elevatoin = "900 ft"'),
        ("[beds.gatebed]", '[beds."Gate Bed"]'),
        ('# at = "06:30"', 'at = "25:00"'),
        ("# ready_days = 3", "ready_days = 99"),
        ("# frost_chance = 0.2", 'frost_chance = "often"'),
    ],
)
def test_the_schema_refuses(right, wrong):
    assert right in sample_toml()
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(_plain(tomllib.loads(sample_toml().replace(right, wrong))), json.loads(schema_json()))


def test_the_sample_gives_reason_unit_and_range_above_a_key():
    assert (
        "# Rain that passes the straw, and waterings, wanted in seven days: about an inch.\n"
        "# Unit: mm or in. Range: between 5 mm (0.2 in) and 100 mm (3.94 in). Basis: common practice, no source.\n"
        '# weekly_target = "25 mm"\n'
    ) in sample_toml()


@pytest.mark.parametrize(("key", "field"), list(_thresholds()))
def test_every_threshold_has_reason_unit_default_range_and_basis(key, field):
    assert field.description, key
    assert "\n" not in field.description
    assert len(field.description) <= 110
    assert unit_of(field) or choices_of(field)
    assert not field.is_required()
    assert range_words(field)
    assert BASIS.fullmatch(note_of(field)["basis"])


def test_every_default_of_the_file_rests_on_something_named():
    tables = {key: field for key, field in keys_of(SettingsFile).items() if key != "thresholds"}
    sample = tomllib.loads(sample_toml())
    for path, field in known_values(SettingsFile, sample):
        if path[0] in tables and not field.is_required() and field.default not in (None, ()) and path[-1] != "units":
            assert BASIS.fullmatch(note_of(field).get("basis", "")), path


def test_textures_are_those_of_the_soil_tables():
    soil_properties = pytest.importorskip("haulm.science.soil_properties")
    assert set(get_args(Texture)) == set(soil_properties.TEXTURES)
