"""A fork server: haulm and all that it imports, loaded once; each run of the program is a process forked from it.

A run has its own words, environment, folder, files and clock, is killed from outside where that is asked for, and ends
with its own exit code. What a fresh `python -m haulm` does at its start (reading modules) is all that is spared.
"""

import importlib
import json
import os
import pkgutil
import selectors
import signal
import socket
import sys
import time
import traceback
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

import told

ALSO = (
    "apscheduler.schedulers.blocking", "bs4", "icalendar", "mailparser_reply", "matplotlib.backends.backend_agg",
    "meteostat", "pandas", "time_machine", "requests", "smtplib", "imaplib", "aiosmtpd",
)  # fmt: skip


@dataclass
class Run:
    """One process at work, who waits for it, and when it is to be killed."""

    pid: int
    door: socket.socket
    began: float
    kill_at: float | None
    late_s: float | None


class Zygote:
    """Listens at `path`; `launcher` is what runs take for their Python."""

    def __init__(self, path: Path, launcher: Path) -> None:
        sys.executable = str(launcher)
        _load()
        self._path = path
        self._runs: dict[int, Run] = {}
        self._door = socket.socket(socket.AF_UNIX)
        self._door.bind(str(path))
        self._door.listen(16)
        self._wake, self._woken = os.pipe()
        os.set_blocking(self._woken, False)
        signal.signal(signal.SIGCHLD, lambda *_: None)
        signal.set_wakeup_fd(self._woken)

    def serve(self) -> None:
        """Until the harness goes away."""
        picks = selectors.DefaultSelector()
        picks.register(self._door, selectors.EVENT_READ)
        picks.register(self._wake, selectors.EVENT_READ)
        picks.register(0, selectors.EVENT_READ)
        os.write(1, b"ready\n")
        while True:
            for key, _ in picks.select(self._patience()):
                if key.fileobj == 0:
                    self._leave()
                elif key.fileobj == self._wake:
                    os.read(self._wake, 4096)
                else:
                    self._begin(self._door.accept()[0])
            self._kill()
            self._collect()

    def _patience(self) -> float | None:
        waits = [run.kill_at - time.monotonic() for run in self._runs.values() if run.kill_at is not None]
        return max(min(waits), 0.0) if waits else None

    def _begin(self, door: socket.socket) -> None:
        said, files, _, _ = socket.recv_fds(door, 1 << 20, 3)
        while not said.endswith(b"\n"):
            said += door.recv(1 << 20)
        asked = json.loads(said)
        if "kill" in asked:
            self._told_to_kill(door)
            return
        pid = os.fork()
        if pid == 0:
            _become(asked, files)
        for each in files:
            os.close(each)
        now = time.monotonic()
        kill = json.loads(asked["environ"].get("YEAR_OF_KILL", "null"))
        wanted = kill and asked["words"][0] == kill["command"]
        at = now + kill["after_s"] if wanted and "after_s" in kill else None
        self._runs[pid] = Run(pid, door, now, at, kill["late_s"] if wanted and "late_s" in kill else None)

    def _told_to_kill(self, door: socket.socket) -> None:
        """Kill the run that waits for this word; where that is at once, it is dead before the answer."""
        now = time.monotonic()
        for run in self._runs.values():
            if run.late_s is not None:
                run.kill_at = now + run.late_s
        self._kill()
        door.sendall(b"\n")
        door.close()

    def _kill(self) -> None:
        now = time.monotonic()
        for run in self._runs.values():
            if run.kill_at is not None and run.kill_at <= now:
                os.kill(run.pid, signal.SIGKILL)
                run.kill_at = None

    def _collect(self) -> None:
        for run in list(self._runs.values()):
            pid, status, used = os.wait4(run.pid, os.WNOHANG)
            if pid == 0:
                continue
            del self._runs[pid]
            ended = {
                "code": os.WEXITSTATUS(status) if os.WIFEXITED(status) else None,
                "signal": os.WTERMSIG(status) if os.WIFSIGNALED(status) else 0,
                "seconds": time.monotonic() - run.began,
                "processor_s": used.ru_utime + used.ru_stime,
                "resident_kb": used.ru_maxrss,
            }
            with suppress(OSError):  # whoever waited may have been killed meanwhile
                run.door.sendall(json.dumps(ended).encode() + b"\n")
            run.door.close()

    def _leave(self) -> NoReturn:
        for run in self._runs.values():
            os.kill(run.pid, signal.SIGKILL)
        self._path.unlink(missing_ok=True)
        sys.exit(0)


def _become(asked: dict[str, Any], files: list[int]) -> NoReturn:
    """In the child: the program itself, from here on."""
    code: Any = 1
    try:
        signal.set_wakeup_fd(-1)
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        for number, each in enumerate(files):
            os.dup2(each, number)
        os.closerange(3, 256)
        os.chdir(asked["folder"])
        os.environ.clear()
        os.environ.update(asked["environ"])
        sys.argv = ["haulm", *asked["words"]]
        sys.stdout, sys.stderr = os.fdopen(1, "w", closefd=False), os.fdopen(2, "w", closefd=False, buffering=1)
        told.obey(os.environ)
        from haulm.cli import main  # noqa: PLC0415  it was loaded before

        code = main(asked["words"])
    except SystemExit as left:
        code = left.code if left.code is not None else 0
    except BaseException:  # noqa: BLE001  as Python itself does
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code if isinstance(code, int) else 1)


def _load() -> None:
    package = importlib.import_module("haulm")
    for module in pkgutil.walk_packages(package.__path__, "haulm."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    for name in ALSO:
        importlib.import_module(name)


if __name__ == "__main__":
    Zygote(Path(sys.argv[1]), Path(sys.argv[2])).serve()
