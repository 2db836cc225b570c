"""Real stores in real files, and second processes that can be killed."""

import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from haulm.store.database import Database, open_database
from haulm.store.letters import Address, StoredLetter

NOW = datetime(2027, 4, 12, 5, 30, tzinfo=UTC)

Second = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture
def now() -> datetime:
    return NOW


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "state" / "haulm.sqlite"


@pytest.fixture
def database(path: Path) -> Iterator[Database]:
    with open_database(path) as opened:
        yield opened


@pytest.fixture
def letter() -> StoredLetter:
    return StoredLetter(
        garden="brackenford",
        kind="morning",
        day=NOW.date(),
        written=NOW,
        subject="Soil is ready in Gatebed · 12 April",
        text="Plant the sprouted seed.\n",
        html="<p>Plant the sprouted seed.</p>",
        json='{"version": 1}',
        picture=b"\x89PNG\r\n\x1a\n\x00",
    )


@pytest.fixture
def addresses() -> tuple[Address, ...]:
    return (
        Address("mail", "me@garden.example", "<1@garden.example>"),
        Address("mail", "you@garden.example", "<2@garden.example>"),
        Address("webhook", "barn"),
    )


@pytest.fixture
def second_process() -> Iterator[Second]:
    """Start a Python program; it is returned once it has printed its first line. It is killed at the end."""
    started: list[subprocess.Popen[str]] = []

    def start(program: str, *words: str) -> "subprocess.Popen[str]":
        process = subprocess.Popen(
            [sys.executable, "-c", program, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        started.append(process)
        assert process.stdout is not None
        assert process.stderr is not None
        line = process.stdout.readline()
        assert line.strip() == "here", process.stderr.read()
        return process

    yield start
    for process in started:
        process.kill()
        process.communicate()
