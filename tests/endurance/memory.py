"""The memory of `haulm schedule` over a year: the watch as it ships, asked every so many minutes, in one process.

    python tests/endurance/memory.py [--days N] [--every MINUTES]

Its children are processes too, but of a few lines: each notes in the store that its errand was done, so that the watch
sees what it would see. What a real child takes goes back when it ends.
"""

import argparse
import logging
import os
import sys
import tempfile
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import garden

from haulm.jobs.schedule import Watch
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import load
from haulm.store.database import open_database

BEGINS = date(2027, 3, 2)
CHILD = """
import os, sqlite3, sys
kind, now = sys.argv[1], os.environ["YEAR_OF_NOW"]
with sqlite3.connect(os.environ["YEAR_OF_STORE"], timeout=5) as store:
    store.execute(
        "INSERT INTO runs (garden, kind, day, started, ended, outcome, exit_code, note)"
        " VALUES (?, ?, ?, ?, ?, ?, 0, '')",
        (os.environ["YEAR_OF_GARDEN"], kind, os.environ["YEAR_OF_DAY"], now, now, "done"),
    )
"""


def resident_kb() -> int:
    """What this process has in memory now."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") // 1024


def main() -> None:
    """Print it after each tenth part, and the first ten days."""
    words = argparse.ArgumentParser(description="The memory of haulm schedule over a year.")
    words.add_argument("--days", type=int, default=365)
    words.add_argument("--every", type=int, default=5, help="minutes from one look to the next; haulm itself takes 1")
    given = words.parse_args()
    logging.disable(logging.CRITICAL)
    with tempfile.TemporaryDirectory() as folder:
        state = StateFolder(Path(folder) / "state")
        path = garden.write_garden(Path(folder), garden.Ports(25, 993, Path(folder) / "ca.pem"), range(2026, 2030))
        settings = load(path, {})
        state.store.parent.mkdir()
        open_database(state.store).close()
        environ = {"YEAR_OF_STORE": str(state.store), "YEAR_OF_GARDEN": settings.garden.key}
        watch = Watch(path, state, environ, (sys.executable, "-ISc", CHILD))
        now = datetime(BEGINS.year, BEGINS.month, BEGINS.day, tzinfo=UTC)
        for number in range(1, given.days + 1):
            for _ in range(24 * 60 // given.every):
                now += timedelta(minutes=given.every)
                environ["YEAR_OF_NOW"] = now.strftime("%Y-%m-%dT%H:%M:%S.000000Z")
                environ["YEAR_OF_DAY"] = settings.garden.place.day_of(now).isoformat()
                watch.tick(now)
            if number in {1, 10, given.days} or number % max(given.days // 10, 1) == 0:
                print(f"day {number}: {resident_kb()} KiB", flush=True)
        with open_database(state.store) as database:
            runs = database.row("SELECT COUNT(*) AS count FROM runs")
            assert runs is not None
            print(f"{runs['count']} errands were started and noted done.")


if __name__ == "__main__":
    main()
