"""For every test: no socket leads beyond this machine."""

import socket
from collections.abc import Callable
from typing import Any

import pytest

LOOPBACK = ("127.", "::1", "localhost")


class BeyondLoopbackError(RuntimeError):
    """A test tried to reach another machine."""


def _guarded(connect: Callable[..., Any]) -> Callable[..., Any]:
    def guarded(self: socket.socket, address: Any, *more: Any) -> Any:
        if self.family in {socket.AF_INET, socket.AF_INET6} and not str(address[0]).startswith(LOOPBACK):
            raise BeyondLoopbackError(f"a test tried to reach {address}")
        return connect(self, address, *more)

    return guarded


@pytest.fixture(autouse=True)
def loopback_only(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("connect", "connect_ex"):
        monkeypatch.setattr(socket.socket, name, _guarded(getattr(socket.socket, name)))
