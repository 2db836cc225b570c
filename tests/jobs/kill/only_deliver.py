"""Only the post of a run: what waits in a garden's store is sent, by settings, store and clock as they are told."""

from datetime import datetime
from pathlib import Path

from haulm.jobs.deliver import deliver
from haulm.settings.load import load
from haulm.store.database import open_database


def main(words: list[str]) -> int:
    settings, store, now = words
    with open_database(Path(store)) as database:
        return deliver(load(Path(settings)), database, datetime.fromisoformat(now))
