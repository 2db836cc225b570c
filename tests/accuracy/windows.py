"""`haulm season` for ten stations of different climates, from a file of measured days: windows beside common practice.

    python tests/accuracy/windows.py STATIONS.csv.gz [--pictures FOLDER]

STATIONS has the columns station, latitude_deg, longitude_deg, date, air_min_c, air_max_c, rain_mm. Each station
becomes a garden of its own with all settings at their defaults (seed under the straw, a garden 1.5 °C colder than the
station on clear nights) and its record becomes the grower's own weather file; then the command's own work is run. What
practice does is common knowledge of the trade, without a source.
"""

import argparse
import csv
import gzip
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from textwrap import wrap

from haulm.jobs.season import picture, season_told
from haulm.jobs.state_folder import StateFolder
from haulm.letter.season import SeasonTold, ring_day
from haulm.science.windows import Window
from haulm.settings.load import load

TWICE = "spring, and again in high summer"
ONCE = "once, after the soil has reached 10 °C"
TEN = {
    "AZ_Yuma_27_ENE": ("hot lowland desert", "late winter, early autumn"),
    "CA_Stovepipe_Wells_1_SW": ("hottest desert", "late winter, early autumn"),
    "FL_Titusville_7_E": ("humid subtropics", "autumn to late winter"),
    "CA_Fallbrook_5_NE": ("mild, dry summer", "most of the year"),
    "CA_Bodega_6_WSW": ("mild cool coast", "most of the year"),
    "KY_Bowling_Green_21_NNE": ("humid mid-latitude", TWICE),
    "PA_Avondale_2_N": ("humid mid-latitude, cooler", TWICE),
    "IL_Shabbona_5_NNE": ("continental", ONCE),
    "MN_Goodridge_12_NNW": ("cold continental", ONCE),
    "CO_Boulder_14_W": ("high mountain, 3,000 m", "none, or under cover"),
}
SETTINGS = """version = 1
[place]
name = "{station}"
latitude = {latitude}
longitude = {longitude}
elevation = "100 m"
zone = "Etc/UTC"
[beds.bed]
length = "2.4 m"
width = "1.2 m"
texture = "loam"
soil_depth = "30 cm"
[weather]
source = "file"
file = "weather.csv"
"""
DAY_COLUMNS = ("date", "air_min_c", "air_max_c", "rain_mm")


def days_of(path: Path) -> dict[str, list[dict[str, str]]]:
    """The rows of the ten stations."""
    rows = defaultdict(list)
    with gzip.open(path, "rt", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if row["station"] in TEN:
                rows[row["station"]].append(row)
    return rows


def garden(folder: Path, station: str, rows: list[dict[str, str]]) -> Path:
    """A garden at a station: its settings and its weather file."""
    here = folder / station
    here.mkdir()
    with (here / "weather.csv").open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file)
        out.writerow(DAY_COLUMNS)
        out.writerows([row[column] for column in DAY_COLUMNS] for row in rows)
    place = {"station": station, "latitude": rows[0]["latitude_deg"], "longitude": rows[0]["longitude_deg"]}
    (here / "haulm.toml").write_text(SETTINGS.format(**place), encoding="utf-8")
    return here / "haulm.toml"


def told_at(settings_file: Path, last: str) -> tuple[SeasonTold, float]:
    """The station's year on the morning after its last day, and the seconds it took."""
    now = datetime.fromisoformat(f"{last}T12:00").replace(tzinfo=UTC) + timedelta(days=1)
    began = time.perf_counter()
    told = season_told(load(settings_file), StateFolder(settings_file.parent / "state"), now, "", None)
    return told, time.perf_counter() - began


def lines(station: str, told: SeasonTold, seconds: float) -> Iterator[str]:
    """One station's part of the table."""
    kind, practice = TEN[station]
    place = told.place
    yield f"{station} ({kind}), {place.latitude_deg:.1f} {place.longitude_deg:.1f}, {told.years} years, {seconds:.1f} s"
    yield f"  practice: {practice}"
    for window in told.windows:
        yield from wrap(spoken(window), 100, initial_indent="  ", subsequent_indent="    ")
    if not told.windows and told.closest is not None:
        whys = sorted({why.name.lower().replace("_", " ") for _, why in told.closest.failed})
        yield f"  no window; best would be {ring_day(told.closest.best)}: {', '.join(whys)}"


def spoken(window: Window) -> str:
    """A window in one line."""
    span = "any day" if window.whole_year else f"{ring_day(window.first)} - {ring_day(window.last)}"
    about = "" if not window.good else f" (chancy {ring_day(window.about[0])} - {ring_day(window.about[1])})"
    kind = f"{window.maturity}, ripe" if window.ripens else "early, lifted young"
    early, late = (ring_day(window.best + days) for days in window.lift_days)
    return (
        f"{'window' if window.good else 'chancy'} {span}{about}, best {ring_day(window.best)}: "
        f"{window.share:.0%} of {window.years} years; {kind}; lifted {early} - {late}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("stations", type=Path)
    parser.add_argument("--pictures", type=Path)
    arguments = parser.parse_args()
    rows = days_of(arguments.stations)
    with tempfile.TemporaryDirectory() as folder:
        for station in TEN:
            told, seconds = told_at(garden(Path(folder), station, rows[station]), rows[station][-1]["date"])
            sys.stdout.writelines(f"{line}\n" for line in lines(station, told, seconds))
            if arguments.pictures:
                (arguments.pictures / f"{station}.png").write_bytes(picture(told))


if __name__ == "__main__":
    main()
