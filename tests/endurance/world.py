"""All of a simulated year that is not haulm: the machine, the servers, the disk, and the true instant."""

import os
import shutil
import subprocess
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path

import garden
from answerbox import Mailbox
from letterbox import Letterbox
from machine import Ended, Machine
from services import Services
from sky import Sky

DISK_MB = 192
BALLAST = "ballast"


@dataclass
class Call:
    """One call of the program as a timer or a person makes it; faults change it before it is made.

    `behind_s` is how far the machine's clock is behind the true one; `together` are more calls at the same instant.
    """

    words: tuple[str, ...]
    at: datetime
    environ: dict[str, str] = field(default_factory=dict)
    ahead_s: float = 0.0
    together: list[tuple[str, ...]] = field(default_factory=list)
    fresh: bool = False
    ended: list[Ended] = field(default_factory=list)

    @property
    def worker(self) -> str:
        """The command that does the work of it."""
        if self.words[0] != "schedule":
            return self.words[0]
        return "evening" if "--evening" in self.words else "morning"


class World:
    """A folder with everything in it; the part `disk` may be a small disk of its own."""

    def __init__(self, folder: Path, seed: int, until: date) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self.disk = folder / "disk"
        self.disk.mkdir(exist_ok=True)
        self.sky = Sky(seed, until)
        self.services = Services(self.sky)
        self.letterbox = Letterbox(folder / "taken.jsonl", "haulm", garden.MAIL_PASSWORD)
        self.mailbox = Mailbox(folder, garden.HAULM, garden.BOX_PASSWORD)
        ports = garden.Ports(self.letterbox.port, self.mailbox.port, self.mailbox.cafile)
        self.settings = garden.write_garden(self.disk, ports, range(until.year - 2, until.year + 1))
        self.state = self.disk / "state"
        self.good = self.settings.read_text(encoding="utf-8")
        told = {"HAULM_SETTINGS": str(self.settings), "HAULM_STATE": str(self.state), "JOURNAL_STREAM": "1:1"}
        self.machine = Machine(folder, {**self.services.environ, **told})

    def close(self) -> None:
        """Let all of it go; the folder stays."""
        self.machine.close()
        for server in (self.services, self.letterbox, self.mailbox):
            server.close()

    @property
    def store(self) -> Path:
        """The one SQLite file."""
        return self.state / "haulm.sqlite"

    @property
    def journal(self) -> Path:
        """The journal of the garden."""
        return self.state / "haulm.journal.jsonl"

    def set_now(self, now: datetime) -> None:
        """The true instant, which every server goes by."""
        self.services.now = self.letterbox.now = now.astimezone(UTC)

    def make(self, call: Call) -> list[Ended]:
        """Make a call, and give how each process of it ended."""
        self.set_now(call.at)
        clock = datetime.fromtimestamp(call.at.timestamp() + call.ahead_s, UTC)
        if call.together:
            call.ended = self.machine.run_together([call.words, *call.together], clock, call.environ)
        else:
            call.ended = [self.machine.run(call.words, clock, call.environ, fresh=call.fresh)]
        return call.ended

    @contextmanager
    def full(self, left_kb: int) -> Iterator[None]:
        """The disk is full but for so many KiB."""
        room = shutil.disk_usage(self.disk).free - left_kb * 1024
        with (self.disk / BALLAST).open("wb") as file:
            os.posix_fallocate(file.fileno(), 0, max(room, 1))
        try:
            yield
        finally:
            (self.disk / BALLAST).unlink()


def mounted(disk: Path) -> bool:
    """Whether the folder is a small disk of its own: a tmpfs, which only root may mount."""
    if disk.is_mount():
        return True
    words = ["mount", "-t", "tmpfs", "-o", f"size={DISK_MB}m,mode=700", "none", str(disk)]
    try:
        return subprocess.run(words, capture_output=True, check=False).returncode == 0
    except OSError:  # there is no such command
        return False


def unmount(disk: Path) -> None:
    """Give the small disk back."""
    if disk.is_mount():
        subprocess.run(["umount", "-l", str(disk)], check=True)


Environ = Mapping[str, str]
