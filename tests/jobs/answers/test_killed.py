"""Killed at every step of reading answers: the next run notes each once, and the next letter tells of it once."""

import json
import re
import shutil
import sqlite3
from contextlib import closing
from datetime import date, timedelta

import pytest

from haulm.settings.load import load

FIRST = date(2026, 5, 12)
SOUTHBED = '\n[beds.southbed]\nname = "Southbed"\nlength = "4.8 m"\nwidth = "1.2 m"\n'
ANSWERS = ("answers",)


def clock(desk, day=FIRST, hour=20):
    return {"TRAVEL_TO": desk.at(day, hour).isoformat()}


@pytest.fixture
def fresh(desk, tmp_path):
    """Makes a copy of the garden, which has a second bed."""
    path = tmp_path / "haulm.toml"
    path.write_text(path.read_text(encoding="utf-8") + SOUTHBED, encoding="utf-8")
    desk.settings = load(path)
    things = [each for each in tmp_path.iterdir() if each.is_file()]

    def make(number):
        folder = tmp_path / number
        folder.mkdir()
        for each in things:
            shutil.copy(each, folder)
        shutil.copytree(desk.state.path, folder / "state")
        return folder

    return make


def rows(folder, statement):
    with closing(sqlite3.connect(folder / "state" / "haulm.sqlite")) as store:
        return [tuple(row) for row in store.execute(statement)]


def facts(folder):
    (journal,) = (folder / "state").glob("*.journal.jsonl")
    entries = [json.loads(line) for line in journal.read_text(encoding="utf-8").splitlines()]
    kept = ("id", "day", "bed", "what", "written", "withdraws")
    return {
        "journal": [tuple(entry[name] for name in kept) for entry in entries],
        "heard": rows(folder, "SELECT message, place, bed, sentence, outcome, told FROM answers ORDER BY 1, 2"),
        "place": rows(folder, "SELECT * FROM mailboxes"),
    }


def test_answers(kill_points, desk, box, fresh):
    box.put(desk.subject(), "watered 20 l and soil 52")
    box.put(desk.subject(), "maybe the shoots are out")
    box.put(desk.subject(), "no, that was the other bed")
    when, next_day = clock(desk), clock(desk, FIRST + timedelta(days=1), 12)
    calm = fresh("calm")
    assert kill_points.run(ANSWERS, calm, when) == 0, (calm / "printed").read_text(encoding="utf-8")
    wanted = facts(calm)
    assert [len(found) for found in wanted.values()] == [4, 3, 1]
    kill_points.run(("morning",), calm, next_day)
    told = letters(calm)
    assert told[0].count("Noted for Southbed") == 2

    def look(folder, point, came_by):
        assert kill_points.run(ANSWERS, folder, when) == 0, (folder / "printed").read_text(encoding="utf-8")
        found = facts(folder)
        assert [name for name in wanted if found[name] != wanted[name]] == []
        if point.time == 1:
            kill_points.run(("morning",), folder, next_day)
            assert letters(folder) == told

    assert kill_points.everywhere("answers", ANSWERS, when, fresh, look) == 18


def letters(folder):
    return [re.sub(r"\s+", " ", text) for (text,) in rows(folder, "SELECT text FROM letters ORDER BY day")]


def test_the_key_of_the_links(kill_points, desk, box, fresh):
    assert not desk.state.store.exists()

    def look(folder, point, came_by):
        made = rows(folder, "SELECT value FROM signing_keys")
        assert len(made) == (point.moment == "after")
        assert kill_points.run(ANSWERS, folder, clock(desk)) == 0
        keys = rows(folder, "SELECT value FROM signing_keys")
        assert len(keys) == 1
        assert keys == made or point.moment == "before"

    assert kill_points.everywhere("key", ANSWERS, clock(desk), fresh, look) == 2
