"""How long a replay takes, on a measured station through the grower's own file, and where its time goes.

    python tests/accuracy/replay.py STATIONS.csv.gz STATION [--first 2011] [--years 10] [--alone] [--profile]

STATIONS has the columns station, latitude_deg, longitude_deg, date, air_min_c, air_max_c, rain_mm. One bed, one spring
crop a year, a simulated grower, hindcasts; pictures left out. Processor time is told, of this process and of the one
that works ahead, and wall time. With --alone none works ahead; with --profile neither, and the share of the decision's
parts is told, which the profiler itself shifts towards what calls much.
"""

import argparse
import cProfile
import gzip
import pstats
import resource
import sys
import tempfile
import time
from datetime import UTC, date, datetime
from pathlib import Path

from haulm.jobs.replay import replay
from haulm.jobs.state_folder import state_folder
from haulm.settings.load import load

SETTINGS = """version = 1
[place]
name = "A real station"
latitude = {latitude}
longitude = {longitude}
elevation = "300 m"
zone = "{zone}"
units = "metric"
[beds.gatebed]
length = "2.4 m"
width = "1.2 m"
texture = "loam"
soil_depth = "30 cm"
[plantings.early]
bed = "gatebed"
maturity = "early"
season = "spring"
spacing = "30 cm"
window_first = 2020-04-05
window_last = 2020-06-05
[recipients.me]
name = "Me"
address = "me@example.org"
[weather]
file = "days.csv"
"""
PARTS = {
    "soil to come": ("soil_run", "_coming"),
    "soil that was": ("soil_run", "_past"),
    "soil as taught, and when it is ready": ("soil", "soils_now"),
    "water": ("conditions", "_watered"),
    "store room": ("conditions", "_kept"),
    "weather as known": ("decide", "known_weather"),
    "sky and nights": ("sky", "sky_now"),
    "weather of the place": ("outside", "place_weather"),
    "rules": ("decide", "_of_the_beds"),
    "words": ("words", "item"),
    "hindcasts": ("hindcast", "hindcasts"),
}


def garden_of(stations: Path, station: str, folder: Path) -> Path:
    """The settings file of a garden at a station, its days beside it."""
    with gzip.open(stations, "rt", encoding="utf-8") as file:
        rows = [line.rstrip("\n").split(",") for line in file if line.startswith(f"{station},")]
    days = ["date,air_min_c,air_max_c,rain_mm", *(",".join([row[3], *row[4:7]]) for row in rows)]
    (folder / "days.csv").write_text("\n".join(days) + "\n", encoding="utf-8")
    longitude = float(rows[0][2])
    zone = "America/New_York" if longitude > -85 else "America/Chicago" if longitude > -101 else "America/Denver"
    told = SETTINGS.format(latitude=rows[0][1], longitude=rows[0][2], zone=zone)
    (folder / "garden.toml").write_text(told, encoding="utf-8")
    return folder / "garden.toml"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("stations", type=Path)
    parser.add_argument("station")
    parser.add_argument("--first", type=int, default=2011)
    parser.add_argument("--years", type=int, default=10)
    parser.add_argument("--alone", action="store_true")
    parser.add_argument("--profile", action="store_true")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        settings = load(garden_of(arguments.stations, arguments.station, Path(name)))
        state = state_folder(Path(name) / "state", {})
        days = (date(arguments.first, 1, 1), date(arguments.first + arguments.years - 1, 12, 31))
        profile = cProfile.Profile()
        processor, wall = time.process_time(), time.perf_counter()
        if arguments.profile:
            profile.enable()
        helpers = 0 if arguments.alone or arguments.profile else None
        found = replay([({}, settings)], state, days, datetime.now(UTC), simulated=True, helpers=helpers)
        profile.disable()
        processor, wall = time.process_time() - processor, time.perf_counter() - wall
    ahead = resource.getrusage(resource.RUSAGE_CHILDREN)
    mornings = found.kept + found.drawn
    sys.stdout.write(
        f"{mornings} mornings: {wall:.1f} s by the clock, {1000 * wall / mornings:.2f} ms each; of processor "
        f"{processor:.1f} s here, {ahead.ru_utime + ahead.ru_stime:.1f} s working ahead\n"
    )
    if arguments.profile:
        stats = pstats.Stats(profile)
        spent = {(Path(key[0]).stem, key[2]): row[3] for key, row in stats.stats.items()}  # type: ignore[attr-defined]
        for part, function in PARTS.items():
            sys.stdout.write(f"  {part:37} {spent[function] / spent['replay', 'replay']:6.1%}\n")


if __name__ == "__main__":
    main()
