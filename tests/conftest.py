"""For every test: no socket leads beyond this machine; and the invented place's weather as a file."""

import socket
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

from haulm.sources.invented import invented_record

# Every property test has the examples of the profile, but the few whose example is dear and which name a count.
settings.register_profile("ordinary", deadline=None)
settings.register_profile(
    "thorough",
    deadline=None,
    max_examples=1000,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("ordinary")  # `--hypothesis-profile` is read later, and wins

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


@pytest.fixture(scope="session")
def write_invented_days() -> Callable[..., None]:
    """Writes a weather file of the invented place: so many days, up to the day before one."""

    def write(path: Path, before: date, count: int, begins: date) -> None:
        days = invented_record("brackenford", begins, before, 7).days
        rows = ["date,air_min_c,air_max_c,rain_mm"]
        for back in range(count, 0, -1):
            day = before - timedelta(days=back)
            rows.append(",".join(str(v) for v in (day, *(days.of(n).at(day) for n in rows[0].split(",")[1:]))))
        path.write_text("\n".join(rows) + "\n")

    return write
