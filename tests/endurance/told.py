"""What the environment tells a process of a simulated year: its clock, no names of servers, and where to be killed.

`YEAR_OF_CLOCK` is how many seconds the machine's clock stands ahead of the true one; `YEAR_OF_NO_NAMES` takes the
name service away; `YEAR_OF_KILL_AT` names a step of the program (`name` or `name:nth`) at which it kills itself,
which no handler and no clean-up survives.
"""

import os
import signal
import socket
import sys
import time
from collections.abc import Mapping
from typing import Any, NoReturn


def obey(environ: Mapping[str, str]) -> None:
    """Set this process up as told; it lasts until it ends."""
    ahead_s = float(environ.get("YEAR_OF_CLOCK", "0"))
    if ahead_s:
        import time_machine  # noqa: PLC0415  only where the clock is another

        time_machine.travel(time.time() + ahead_s, tick=True).start()
    if environ.get("YEAR_OF_NO_NAMES"):
        socket.getaddrinfo = _no_names
    if environ.get("YEAR_OF_KILL_AT"):
        _kill_at(environ["YEAR_OF_KILL_AT"])


def _no_names(*asked: Any, **more: Any) -> NoReturn:
    raise socket.gaierror(socket.EAI_AGAIN, "Temporary failure in name resolution")


def _kill_at(told: str) -> None:
    name, moment, nth = told.split(":")
    left = [int(nth)]

    def hook(event: str, values: tuple[Any, ...]) -> None:
        if event == "haulm.step" and values == (name, moment):
            left[0] -= 1
            if left[0] == 0:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(hook)
