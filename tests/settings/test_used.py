"""A threshold that a grower can set must change something: every one is read by the program."""

from pathlib import Path

import pytest

import haulm
from haulm.settings.thresholds import Thresholds

PROGRAM = "\n".join(
    path.read_text(encoding="utf-8")
    for path in Path(haulm.__file__).parent.rglob("*.py")
    if not path.name.endswith("thresholds.py")
)


@pytest.mark.parametrize(
    "key",
    [f"{table}.{key}" for table, field in Thresholds.model_fields.items() for key in field.annotation.model_fields],
)
def test_every_threshold_is_read_somewhere(key):
    assert f".{key.split('.')[1]}" in PROGRAM
