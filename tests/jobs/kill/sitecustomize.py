"""Read by Python itself at its start where this folder is on its path: ends the process at a step, or lists its steps.

The program tells of its steps by audit events and knows of nothing here. KILL_AT_STEP is a step, a moment and the
how-manieth time, like ``letter stored:before:1``; LIST_STEPS names a file that gets a line of that form for each step;
TRAVEL_TO is an instant that the clock shall show at the start.
"""

import os
import signal
import sys
from collections import Counter


def watch(kill: str, listed: str) -> None:
    """Take part in every step of this process from now on."""
    seen: Counter[str] = Counter()

    def came(event: str, words: tuple[object, ...]) -> None:
        if event != "haulm.step":
            return
        at = ":".join(map(str, words))
        seen[at] += 1
        if listed:
            with open(listed, "a", encoding="utf-8") as file:  # noqa: PTH123  nothing is imported for it
                file.write(f"{at}:{seen[at]}\n")
        if kill == f"{at}:{seen[at]}":
            os.kill(os.getpid(), signal.SIGKILL)

    if kill or listed:
        sys.addaudithook(came)


def travel(to: str) -> None:
    """Let the clock go on from an instant."""
    if to:
        import time_machine  # noqa: PLC0415  only where it is wanted

        time_machine.travel(to, tick=True).start()


travel(os.environ.get("TRAVEL_TO", ""))
watch(os.environ.get("KILL_AT_STEP", ""), os.environ.get("LIST_STEPS", ""))
