"""The lock: never waited for, never left behind by a killed run."""

import signal
import subprocess
import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest

from haulm.errors import BusyError, StoreError
from haulm.store.lock import lock

HOLD = """
import sys, pathlib, time
from datetime import datetime, timezone
from haulm.store.lock import lock
with lock(pathlib.Path(sys.argv[1]), datetime(2027, 4, 12, 4, 30, tzinfo=timezone.utc), holder="haulm morning"):
    print("here", flush=True)
    time.sleep(60)
"""

Second = Callable[..., "subprocess.Popen[str]"]


def test_another_process_is_turned_away_and_told_who_holds_it(
    tmp_path: Path, now: datetime, second_process: Second
) -> None:
    process = second_process(HOLD, str(tmp_path / "run.lock"))
    with pytest.raises(BusyError) as caught, lock(tmp_path / "run.lock", now):
        pytest.fail("two held it")
    assert str(process.pid) in caught.value.what
    assert "haulm morning" in caught.value.what
    assert "2027-04-12T04:30" in caught.value.what
    assert int(caught.value.exit_code) == 75


def test_a_killed_holder_leaves_it_free(tmp_path: Path, now: datetime, second_process: Second) -> None:
    path = tmp_path / "run.lock"
    process = second_process(HOLD, str(path))
    process.send_signal(signal.SIGKILL)
    process.wait(timeout=10)
    assert "haulm morning" in path.read_text(encoding="utf-8")  # stale words, which mean nothing
    with lock(path, now, holder="a later run"):
        assert "a later run" in path.read_text(encoding="utf-8")


def test_it_is_free_after_a_fault_inside(tmp_path: Path, now: datetime) -> None:
    path = tmp_path / "run.lock"
    with pytest.raises(ZeroDivisionError), lock(path, now):
        raise ZeroDivisionError
    with lock(path, now):
        assert str(now.year) in path.read_text(encoding="utf-8")
    assert path.read_text(encoding="utf-8") == ""


def test_one_process_does_not_hold_it_twice(tmp_path: Path, now: datetime) -> None:
    with lock(tmp_path / "run.lock", now), pytest.raises(BusyError), lock(tmp_path / "run.lock", now):
        pytest.fail("held twice")


def test_patience_waits_for_a_short_holder(tmp_path: Path, now: datetime) -> None:
    path = tmp_path / "run.lock"
    taken, go = threading.Event(), threading.Event()

    def hold() -> None:
        with lock(path, now):
            taken.set()
            go.wait(5)

    holder = threading.Thread(target=hold)
    holder.start()
    assert taken.wait(5)
    threading.Timer(0.1, go.set).start()
    with lock(path, now, patience_s=5):
        assert go.is_set()
    holder.join()


def test_a_lock_that_cannot_be_made_is_told(tmp_path: Path, now: datetime) -> None:
    (tmp_path / "run.lock").mkdir()
    with pytest.raises(StoreError, match="a folder stands"), lock(tmp_path / "run.lock", now):
        pytest.fail("held")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_on_a_full_disk_it_is_held_without_its_words(tmp_path: Path, now: datetime) -> None:
    """What is done under it tells of the disk; a lock that gave up would keep that from being said."""
    (tmp_path / "run.lock").symlink_to("/dev/full")  # never read it: it has no end
    held = False
    with lock(tmp_path / "run.lock", now):
        held = True
    assert held
