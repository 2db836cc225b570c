"""The machine that haulm runs on: starts its processes at instants of ours, and tells how each ended."""

import json
import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

HERE = Path(__file__).parent
LONGEST_S = 120.0


@dataclass(frozen=True)
class Ended:
    """One process of the program: its words, how it ended, and what it printed."""

    words: tuple[str, ...]
    code: int | None
    signal: int
    out: str
    err: str
    seconds: float
    resident_kb: int

    @property
    def killed(self) -> bool:
        """Whether it ended by SIGKILL."""
        return self.signal == 9


class Machine:
    """Processes of the program, forked from a server that has it loaded, or (`fresh`) started from nothing."""

    def __init__(self, folder: Path, environ: Mapping[str, str]) -> None:
        self._folder = folder
        self._path = folder / "zygote"
        self._path.unlink(missing_ok=True)
        launcher = folder / "python"
        launcher.write_text(f'#!/bin/sh\nexec {sys.executable} -IS {HERE / "launch.py"} "$@"\n')
        launcher.chmod(0o755)
        self.environ = {
            **{name: os.environ[name] for name in ("PATH", "LANG", "LD_LIBRARY_PATH") if name in os.environ},
            "PYTHONPATH": os.pathsep.join([str(HERE / "shim"), *filter(None, [os.environ.get("PYTHONPATH")])]),
            "PYTHONDONTWRITEBYTECODE": "1", "OPENBLAS_NUM_THREADS": "1", "MPLCONFIGDIR": str(folder / "matplotlib"),
            "YEAR_OF_SHIM": str(HERE), "YEAR_OF_ZYGOTE": str(self._path), "HOME": str(folder),
            **environ,
        }  # fmt: skip
        self._zygote = subprocess.Popen(
            [sys.executable, str(HERE / "zygote.py"), str(self._path), str(launcher)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=self.environ,
        )  # fmt: skip
        assert self._zygote.stdout is not None
        if self._zygote.stdout.readline() != b"ready\n":
            raise RuntimeError("the fork server did not start")
        self._count = 0

    def close(self) -> None:
        """Let the fork server go."""
        assert self._zygote.stdin is not None
        self._zygote.stdin.close()
        self._zygote.wait(10)

    def run(
        self, words: Sequence[str], clock: datetime, more: Mapping[str, str] | None = None, *, fresh: bool = False
    ) -> Ended:
        """Run `haulm` with some words, its clock standing at an instant, and wait for it."""
        environ = {**self.environ, "YEAR_OF_CLOCK": repr(clock.timestamp() - time.time()), **(more or {})}
        self._count += 1
        names = [self._folder / f"{what}.{self._count % 8}" for what in ("out", "err")]
        with names[0].open("wb") as out, names[1].open("wb") as err, Path(os.devnull).open("rb") as nothing:
            files = (nothing.fileno(), out.fileno(), err.fileno())
            ended = (self._fresh if fresh else self._forked)(words, environ, files)
        told = [name.read_text("utf-8", "replace") for name in names]
        return Ended(tuple(words), ended["code"], ended["signal"], *told, ended["seconds"], ended["resident_kb"])

    def run_together(self, each: Sequence[Sequence[str]], clock: datetime, more: Mapping[str, str]) -> list[Ended]:
        """Several at the same instant."""
        ended: list[Ended] = []

        def run(words: Sequence[str]) -> None:
            ended.append(self.run(words, clock, more))

        threads = [threading.Thread(target=run, args=(one,)) for one in each]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        return ended

    def kill_now(self) -> None:
        """Kill the run that was begun to be killed at a word."""
        with socket.socket(socket.AF_UNIX) as door:
            door.settimeout(LONGEST_S)
            door.connect(str(self._path))
            door.sendall(b'{"kill": true}\n')
            door.recv(1)

    def _forked(self, words: Sequence[str], environ: dict[str, str], files: tuple[int, ...]) -> dict[str, float]:
        with socket.socket(socket.AF_UNIX) as door:
            door.settimeout(LONGEST_S)
            door.connect(str(self._path))
            asked = {"words": list(words), "environ": environ, "folder": str(self._folder)}
            socket.send_fds(door, [json.dumps(asked).encode() + b"\n"], list(files))
            found: dict[str, float] = json.loads(door.makefile().readline())
            return found

    def _fresh(self, words: Sequence[str], environ: dict[str, str], files: tuple[int, ...]) -> dict[str, float]:
        began = time.monotonic()
        process = subprocess.Popen(
            [sys.executable, "-P", "-m", "haulm", *words],
            env=environ, cwd=self._folder, stdin=files[0], stdout=files[1], stderr=files[2],
        )  # fmt: skip
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        code = process.returncode
        return {
            "code": code if code >= 0 else None, "signal": max(-code, 0), "seconds": time.monotonic() - began,
            "resident_kb": used.ru_maxrss,
        }  # fmt: skip
