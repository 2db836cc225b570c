"""A word on standard error while a command is at work for longer than a moment, where a person looks on."""

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO

MOMENT_S = 1.0
_ERASED = "\r\x1b[K"  # ECMA-48: erase the line from the cursor on


@contextmanager
def at_work(doing: str, stream: TextIO | None = None, moment_s: float = MOMENT_S) -> Iterator[None]:
    """Tell what is being done, and for how long already, until it is done; silent where nobody looks on.

    Whatever is printed within would run into the line: print after it.
    """
    shown = stream or sys.stderr
    if not shown.isatty():
        yield
        return
    done = threading.Event()
    teller = threading.Thread(target=_tell, args=(doing, shown, done, moment_s), daemon=True)
    teller.start()
    try:
        yield
    finally:
        done.set()
        teller.join()


def _tell(doing: str, shown: TextIO, done: threading.Event, moment_s: float) -> None:
    waited = 0
    while not done.wait(moment_s):
        waited += 1
        shown.write(f"{_ERASED}{doing} … {waited} s")
        shown.flush()
    if waited:
        shown.write(_ERASED)
        shown.flush()
