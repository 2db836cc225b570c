"""Servers on loopback that mean harm, and a garden that meets them from the command line."""

import os
import socket
import ssl
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import pytest
import trustme

from haulm.settings.sample import sample_toml

Script = Callable[[socket.socket], None]


@pytest.fixture(autouse=True)
def no_proxy(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_PROXY", "*")


@pytest.fixture
def serve() -> Iterator[Callable[..., int]]:
    """Serve each connection with a function of its socket, over TLS where a context is given; gives the port."""
    doors: list[socket.socket] = []

    def start(script: Script, tls: ssl.SSLContext | None = None) -> int:
        door = socket.create_server(("127.0.0.1", 0))
        doors.append(door)

        def answer(connection: socket.socket) -> None:
            with suppress(OSError), connection:
                script(tls.wrap_socket(connection, server_side=True) if tls else connection)

        def listen() -> None:
            with suppress(OSError):
                while True:
                    threading.Thread(target=answer, args=(door.accept()[0],), daemon=True).start()

        threading.Thread(target=listen, daemon=True).start()
        return int(door.getsockname()[1])

    yield start
    for door in doors:
        with suppress(OSError):
            door.shutdown(socket.SHUT_RDWR)
        door.close()


@pytest.fixture(scope="session")
def of_nobody() -> ssl.SSLContext:
    """The certificate of an authority that nobody has heard of, for the very host that is asked."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    trustme.CA().issue_cert("localhost", "127.0.0.1").configure_cert(context)
    return context


@pytest.fixture
def garden(tmp_path: Path, write_invented_days: Callable[..., None]) -> Path:
    """A settings file with its weather up to yesterday."""
    today = datetime.now(UTC).date()
    write_invented_days(tmp_path / "brackenford.csv", today, 420, today.replace(year=today.year - 2, day=1))
    path = tmp_path / "garden.toml"
    path.write_text(sample_toml(), encoding="utf-8")
    path.chmod(0o600)
    return path


@pytest.fixture
def haulm(tmp_path: Path) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run the program as a person does."""

    def run(*words: str, umask: int = 0o022, **environ: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "haulm", *words]
        inherited = {name: value for name, value in os.environ.items() if not name.startswith("HAULM_")}
        return subprocess.run(
            command, capture_output=True, text=True, check=False, umask=umask, cwd=tmp_path, timeout=120,
            env=inherited | {"HAULM_STATE": str(tmp_path / "state")} | environ,
        )  # fmt: skip

    return run
