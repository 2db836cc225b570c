"""A run that is killed between two steps, by a real SIGKILL: the next one completes its work and tells of it once."""

import signal
import subprocess
import sys
from datetime import date, timedelta

import pytest

from haulm.jobs.morning import morning
from haulm.settings.load import load
from haulm.store.answers import held_messages
from haulm.store.database import open_database

FIRST = date(2026, 5, 12)
SOUTHBED = '\n[beds.southbed]\nname = "Southbed"\nlength = "4.8 m"\nwidth = "1.2 m"\n'
# Ends its own process, without a word to anybody, as soon as a function is entered for the so-manieth time.
KILLED = """
import os, signal, sys
from datetime import datetime
from pathlib import Path
from haulm.jobs import answers
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import load

settings, state, now, name, times = load(Path(sys.argv[1])), StateFolder(Path(sys.argv[2])), *sys.argv[3:]
left = int(times)

def watch(frame, event, _):
    global left
    if event == "call" and frame.f_code.co_name == name:
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)

sys.setprofile(watch)
answers.answers(settings, state, datetime.fromisoformat(now))
"""


@pytest.fixture
def killed(desk, tmp_path):
    def run(name, times=1):
        words = [str(tmp_path / "haulm.toml"), str(desk.state.path), desk.at(FIRST, 20).isoformat(), name, str(times)]
        done = subprocess.run([sys.executable, "-c", KILLED, *words], capture_output=True, text=True, check=False)
        assert done.returncode == -signal.SIGKILL, done.stderr
        with open_database(desk.state.store) as database:
            place = database.row("SELECT validity, last_uid FROM mailboxes")
            return held_messages(database, desk.settings.garden.key), place

    return run


def letters(desk, days=2):
    return [
        " ".join(morning(desk.settings, desk.state, desk.at(FIRST + timedelta(days=n))).letter.text.split())
        for n in range(1, days + 1)
    ]


@pytest.mark.parametrize(
    ("step", "noted", "held"),
    [("append_entry", 0, 0), ("keep_heard", 1, 0), ("keep_place", 1, 1)],
)
def test_killed_between_two_steps(desk, box, killed, step, noted, held):
    identity = box.put(desk.subject(), "watered 20 l\nmaybe the shoots are out")
    messages, place = killed(step)
    assert len(desk.noted()) == noted
    assert messages == (frozenset({identity}) if held else frozenset())
    assert place is None
    first, second = letters(desk)
    assert first.count("“watered 20 l”. Noted for Gatebed") == 1
    assert first.count("“maybe the shoots are out” is not clear") == 1
    assert "From your answers" not in second
    assert desk.noted() == [("watered", "2026-05-12", "gatebed")]
    assert len(desk.entries()) == 1


def test_killed_between_two_messages(desk, box, killed):
    box.put(desk.subject(), "watered 20 l")
    box.put(desk.subject(), "soil 52")
    messages, _ = killed("keep_heard", times=2)
    assert len(messages) == 1
    first, second = letters(desk)
    assert first.count("Noted for Gatebed") == 2
    assert "From your answers" not in second
    assert [what for what, _, _ in desk.noted()] == ["watered", "soil temperature"]


@pytest.mark.parametrize(("step", "times"), [("append_entry", 3), ("append_entry", 4), ("keep_heard", 2)])
def test_killed_while_it_puts_right(desk, box, killed, tmp_path, step, times):
    """Two notes of one sentence are moved to the other bed; the run ends before, between or after the two entries."""
    path = tmp_path / "haulm.toml"
    path.write_text(path.read_text(encoding="utf-8") + SOUTHBED, encoding="utf-8")
    desk.settings = load(path)
    box.put(desk.subject(), "watered 20 l and soil 52")
    box.put(desk.subject(), "no, that was the other bed")
    killed(step, times)
    first, second = letters(desk)
    assert first.count("“no, that was the other bed”. Taken back for Gatebed") == 1
    assert first.count("Noted for Southbed") == 2
    assert "From your answers" not in second
    assert desk.noted() == [("watered", "2026-05-12", "southbed"), ("soil temperature", "2026-05-12", "southbed")]
    assert len(desk.entries()) == 4
