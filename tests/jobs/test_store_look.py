"""`haulm check` tells what of all that is kept stands open to other users of the machine."""

from datetime import date

import pytest

from haulm.cli import main
from haulm.errors import Exit
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.store_look import told_open
from haulm.settings.sample import sample_toml
from haulm.store.database import copies_of, open_database


@pytest.fixture
def state(tmp_path):
    """As haulm makes it itself."""
    found = StateFolder(tmp_path / "state", tmp_path / "cache")
    open_database(found.store).close()
    for folder in (found.spool, copies_of(found.store), found.path / "post-book"):
        folder.mkdir(parents=True, mode=0o700)
    return found


def told(state):
    return [line.removeprefix("Others on this machine can read ") for line in told_open(state)]


def test_what_haulm_makes_is_closed(state):
    assert told(state) == []
    assert told(StateFolder(state.path / "nowhere")) == []


def test_each_that_is_open_is_named_with_what_to_do(state):
    for path in (state.path, state.store, state.path / "post-book", copies_of(state.store), state.spool):
        path.chmod(0o644 if path == state.store else 0o750)
    assert told(state) == [
        f"{state.path}: run chmod 700 on it.",
        f"{state.store}: run chmod 600 on it.",
        f"{state.path / 'post-book'}: run chmod 700 on it.",
        f"{copies_of(state.store)}: run chmod 700 on it.",
        f"{state.spool}: run chmod 700 on it.",
    ]


def test_what_lies_in_a_closed_folder_is_reached_by_nobody(state):
    state.store.chmod(0o644)
    assert told(state) == []
    state.spool.chmod(0o755)
    assert told(state) == [f"{state.spool}: run chmod 700 on it."]
    inside = StateFolder(state.path)
    inside.spool.mkdir(mode=0o755)
    assert told(inside) == []
    state.path.chmod(0o701)
    assert told(inside) == [
        f"{state.path}: run chmod 700 on it.", f"{state.store}: run chmod 600 on it.",
        f"{inside.spool}: run chmod 700 on it.",
    ]  # fmt: skip


def test_the_command_says_so(state, tmp_path, write_invented_days, capsys):
    (tmp_path / "haulm.toml").write_text(sample_toml(), encoding="utf-8")
    write_invented_days(tmp_path / "brackenford.csv", date(2027, 5, 4), 30, date(2027, 1, 1))
    state.path.chmod(0o755)
    assert main(["check", str(tmp_path / "haulm.toml"), "--state", str(state.path)]) == Exit.DONE
    assert f"can read {state.path}: run chmod 700 on it." in " ".join(capsys.readouterr().out.split())
