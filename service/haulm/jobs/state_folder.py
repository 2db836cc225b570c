"""Where haulm keeps what it must remember: one folder, given by the command, the environment or the home folder."""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from haulm.garden import Garden
from haulm.post.folder import safe_name


@dataclass(frozen=True, slots=True)
class StateFolder:
    """The files of one folder: the store for all gardens, a journal and a lock for each."""

    path: Path
    cache: Path | None = None

    @property
    def spool(self) -> Path:
        """Files fetched from weather services; they may be thrown away."""
        return (self.cache or self.path) / "spool"

    @property
    def store(self) -> Path:
        """The one SQLite file."""
        return self.path / "haulm.sqlite"

    def journal(self, garden: Garden) -> Path:
        """The journal, which is the truth about what the grower noted."""
        return self.path / f"{safe_name(garden.key)}.journal.jsonl"

    def lock(self, garden: Garden) -> Path:
        """Held by the run that is at work on the garden."""
        return self.path / f"{safe_name(garden.key)}.lock"

    def trouble(self, garden: Garden) -> Path:
        """Its time is when the webhook was last told that runs fail; it holds nothing."""
        return self.path / f".{safe_name(garden.key)}.trouble"


def state_folder(given: Path | None, environ: Mapping[str, str]) -> StateFolder:
    """The folder named by the command, else by HAULM_STATE, else by systemd, else below the home folder."""
    caches = environ.get("CACHE_DIRECTORY", "").split(os.pathsep)[0]
    cache = Path(caches) if caches else None
    for named in (given, environ.get("HAULM_STATE"), environ.get("STATE_DIRECTORY", "").split(os.pathsep)[0]):
        if named:
            return StateFolder(Path(named), cache)
    base = environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state"
    return StateFolder(Path(base) / "haulm", cache)
