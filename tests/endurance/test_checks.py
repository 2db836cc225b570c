"""What the checks of a simulated year take for what."""

import json
import sqlite3
from contextlib import closing
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pytest
from checks import Checks, Day
from world import World

TODAY = date(2028, 6, 3)


@pytest.mark.parametrize(
    ("rule", "verdict", "lost"),
    [
        ("frost", "severe", False),
        ("evening-frost", "cover-tonight", False),
        ("evening-frost", "taken-back", True),
        ("heat", "hot", True),
    ],
)
def test_what_is_remembered_of_frost_was_said_by_either_letter(
    tmp_path: Path, rule: str, verdict: str, lost: bool
) -> None:
    said = {
        "rule": rule, "bed": "gatebed", "planting": "spring", "verdict": verdict, "level": 2, "fresh": True,
        "ended": False, "episode": TODAY.isoformat(),
    }  # fmt: skip
    checks = Checks(cast("World", SimpleNamespace(letterbox=SimpleNamespace(taken=[]))), tmp_path)
    with closing(sqlite3.connect(":memory:")) as store:
        store.row_factory = sqlite3.Row
        store.executescript("""
            CREATE TABLE said (rule TEXT, bed TEXT, planting TEXT, day TEXT, episode TEXT);
            CREATE TABLE letters (id INTEGER PRIMARY KEY, kind TEXT, day TEXT, json TEXT);
            INSERT INTO said VALUES ('frost', 'gatebed', 'spring', '2028-06-03', '2028-06-03');
        """)
        store.execute("INSERT INTO letters VALUES (1, 'evening', '2028-06-03', ?)", (json.dumps({"alerts": [said]}),))
        assert bool([what for what, _ in checks._alerts(store, Day(TODAY)) if what == "an alert was lost"]) is lost
