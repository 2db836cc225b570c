"""How long one garden's morning takes from the shell, against importing what it is built on.

    python tests/speed/start.py [--runs 10]

`haulm morning --dry-run` with its picture, from an own file of ten invented years, turn by turn with a bare import of
the same libraries, each in a process of its own. Figures are medians, of wall time and of processor time; one run of
each goes before, so that bytecode is there as after an installation.
"""

import argparse
import math
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, date, datetime
from pathlib import Path

from haulm.sources.invented import invented_record
from haulm.weather import DAY, QUANTITIES

YEARS = 10
COMMANDS = {
    "imports": (sys.executable, "-c", "import numpy, jinja2, matplotlib.figure, pydantic_settings"),
    "morning": (
        *(sys.executable, "-m", "haulm", "morning", "--dry-run"),
        *("--settings", "haulm.toml", "--state", "state"),
    ),
}
SETTINGS = """version = 1
[place]
name = "Brackenford"
latitude = 44.0
longitude = -90.0
elevation = "900 ft"
zone = "America/Chicago"
units = "us"
[beds.gatebed]
name = "Gatebed"
length = "8 ft"
width = "4 ft"
texture = "sandy loam"
soil_depth = "12 in"
straw = [{{ since = {straw}, depth = "4 in" }}]
[plantings.gate-early]
bed = "gatebed"
name = "Gate early"
maturity = "early"
season = "spring"
spacing = "12 in"
window_first = {opens}
window_last = {closes}
[recipients.me]
name = "The grower"
address = "grower@example.org"
[store]
[weather]
source = "file"
file = "station.csv"
station = "Brackenford station"
[post]
folder = "letters"
"""


def main() -> None:
    """Measure, and print one line a command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=10)
    runs = parser.parse_args().runs
    with tempfile.TemporaryDirectory() as folder:
        lay_out(Path(folder), datetime.now(UTC).date())
        warm = {name: measured(command, folder) for name, command in COMMANDS.items()}
        laps = [{name: measured(command, folder) for name, command in COMMANDS.items()} for _ in range(runs)]
    middle = {
        name: [statistics.median(times) for times in zip(*(lap[name] for lap in laps), strict=True)] for name in warm
    }
    for name, (wall_s, processor_s) in middle.items():
        print(f"{name}: {wall_s:.2f} s by the clock, {processor_s:.2f} s of processor")
    wall, processor = (middle["morning"][at] / middle["imports"][at] for at in (0, 1))
    print(f"morning against imports: {wall:.2f} x by the clock, {processor:.2f} x of processor")


def lay_out(folder: Path, today: date) -> None:
    """A garden's settings, and ten invented years up to yesterday."""
    dates = {"straw": today - 30 * DAY, "opens": today - 10 * DAY, "closes": today + 30 * DAY}
    (folder / "haulm.toml").write_text(SETTINGS.format(**dates), encoding="utf-8")
    days = invented_record("brackenford", today.replace(year=today.year - YEARS, day=1), today - DAY, 1).days
    lines = [",".join(("date", *QUANTITIES))]
    for at, values in enumerate(zip(*(getattr(days, name) for name in QUANTITIES), strict=True)):
        lines.append(
            ",".join([str(days.first + at * DAY), *("" if math.isnan(value) else f"{value:.1f}" for value in values)])
        )
    (folder / "station.csv").write_text("\n".join(lines), encoding="utf-8")


def measured(command: tuple[str, ...], folder: str) -> tuple[float, float]:
    """Seconds of wall time and of processor time of one process."""
    surroundings = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(command, cwd=folder, env=surroundings, stdout=subprocess.DEVNULL, check=True)
    wall_s, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall_s, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


if __name__ == "__main__":
    main()
