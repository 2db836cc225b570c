"""Work with a server, ended after so long whatever the server does."""

import imaplib
from collections.abc import Callable
from http.client import HTTPException
from threading import Thread
from typing import TypeVar

from haulm.errors import HaulmError

_T = TypeVar("_T")
# What work with a server ends in when it goes wrong; the faults of smtplib, ssl and requests are kinds of OSError.
_KNOWN = (HaulmError, OSError, HTTPException, ValueError, imaplib.IMAP4.error)


def within(seconds: float, work: Callable[[], _T]) -> _T:
    """Do the work, and wait for it no longer than so many seconds.

    It runs in a thread of its own: a name look-up that hangs, or a server that sends one byte at a time, obeys no
    timeout of a socket, and a morning must not wait for it. Work that is given up may still be running.

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
        except _KNOWN as fault:
            faults.append(fault)

    thread = Thread(target=run, daemon=True)
    thread.start()
    thread.join(seconds)
    if faults:
        raise faults[0]
    if done:
        return done[0]
    if thread.is_alive():
        raise TimeoutError(f"not done after {seconds:g} s")
    raise RuntimeError("work with a server ended in a fault of haulm itself")
