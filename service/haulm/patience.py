"""Work with what others sent, or with a server, waited for so long and no longer, whatever they do."""

from collections.abc import Callable
from threading import Thread
from typing import TypeVar

_T = TypeVar("_T")


def within(seconds: float, work: Callable[[], _T]) -> _T:
    """Do the work, and wait for it no longer than so many seconds.

    It runs in a thread of its own: a name look-up that hangs, or a server that sends one byte at a time, obeys no
    timeout of a socket, and a morning must not wait for it. Work that is given up may still be running. Whatever it
    ends in is raised here.

    Raises
    ------
    TimeoutError
        It took longer.
    """
    done: list[_T] = []
    faults: list[Exception] = []

    def run() -> None:
        try:
            done.append(work())
        except Exception as fault:  # noqa: BLE001  carried over to who waits
            faults.append(fault)

    thread = Thread(target=run, daemon=True)
    thread.start()
    thread.join(seconds)
    if faults:
        raise faults[0]
    if not done:
        raise TimeoutError(f"not done after {seconds:g} s")
    return done[0]
