"""An invented office: N beds over S stations, drawn from a seed, as a folder that `haulm morning --gardens` reads.

    python tests/speed/office.py FOLDER STATE [--beds 1000] [--stations 10] [--days 400] [--seed 1]

Every station has its own invented weather and forecasts. A garden lies at one of them and has two beds, each with its
own size, soil, straw, crop and window; on the morning that it is made for (`MORNING`) half of the crops wait to be
planted, the others are under way, with the notes that tell it in the garden's journal below STATE.
"""

import argparse
import csv
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from pathlib import Path

import numpy as np

from haulm.garden import Entry, What
from haulm.sources.invented import INVENTED_PLACES, invented_forecasts, invented_record
from haulm.store.journal_file import line_of
from haulm.weather import DAY, Days

MORNING = date(2027, 5, 11)
BEDS_A_GARDEN = 2
FORECAST_MORNINGS = 3
_TEXTURES = ("sandy loam", "loam", "silt loam", "compost mix")
_MATURITIES = ("early", "mid", "late")
_COMMON = """[post]
log = false
"""
_QUANTITIES = ("air_min_c", "air_max_c", "rain_mm", "humidity_pct", "wind_ms", "cloud")
_FORETOLD = (*_QUANTITIES, "rain_chance")


@dataclass(frozen=True, slots=True)
class Office:
    """How large it is."""

    beds: int
    stations: int
    days: int = 400
    seed: int = 1

    @property
    def gardens(self) -> int:
        """How many growers it has."""
        return -(-self.beds // BEDS_A_GARDEN)


def make_office(folder: Path, state: Path, office: Office, common: str = _COMMON) -> None:
    """Write the folder and, below the state folder, the journals of the crops under way."""
    folder.mkdir(parents=True, exist_ok=True)
    state.mkdir(parents=True, exist_ok=True)
    (folder / "common.toml").write_text(common, encoding="utf-8")
    _write_places(folder, office)
    rng = np.random.default_rng((office.seed, 1))
    with (
        (folder / "growers.csv").open("w", newline="", encoding="utf-8") as growers,
        (folder / "beds.csv").open("w", newline="", encoding="utf-8") as beds,
    ):
        people, plots = csv.writer(growers), csv.writer(beds)
        people.writerow(["grower", "place", "name", "address"])
        plots.writerow([
            "grower", "bed", "length", "width", "texture", "straw.since", "straw.depth", "planting",
            "planting.maturity", "planting.season", "planting.depth", "planting.window_first", "planting.window_last",
        ])  # fmt: skip
        for number in range(office.gardens):
            key = f"grower{number:06d}"
            people.writerow([key, _station(number % office.stations), f"Grower {number}", f"{key}@example.org"])
            notes = []
            for bed in range(BEDS_A_GARDEN):
                row, noted = _bed(key, f"bed{bed}", rng)
                plots.writerow(row)
                notes += noted
            if notes:
                lines = "".join(f"{line_of(note)}\n" for note in notes)
                (state / f"{key}.journal.jsonl").write_text(lines, encoding="utf-8")


def _station(number: int) -> str:
    return f"station{number:05d}"


def _write_places(folder: Path, office: Office) -> None:
    place, rng = INVENTED_PLACES["brackenford"], np.random.default_rng((office.seed, 0))
    with (folder / "places.csv").open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(["place", "name", "latitude", "longitude", "elevation", "zone", "units", "weather.file",
                        "weather.forecast_file"])  # fmt: skip
        for number in range(office.stations):
            key, units = _station(number), "us" if number % 2 else "metric"
            latitude, longitude = place.latitude_deg + rng.uniform(-2.0, 2.0), rng.uniform(-3.4, -2.6)
            table.writerow([key, f"Plots {number}", f"{latitude:.3f}", f"{longitude:.3f}", "230 m", place.zone, units,
                            f"{key}.csv", f"{key}-ahead.csv"])  # fmt: skip
            _write_weather(folder, key, office, office.seed + number)


def _write_weather(folder: Path, key: str, office: Office, seed: int) -> None:
    first = MORNING - office.days * DAY
    truth = invented_record("brackenford", first, MORNING + 12 * DAY, seed).days
    with (folder / f"{key}.csv").open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(["date", *_QUANTITIES])
        table.writerows(_rows(truth.cut(first, MORNING - DAY), _QUANTITIES))
    mornings = [MORNING - back * DAY for back in range(FORECAST_MORNINGS - 1, -1, -1)]
    with (folder / f"{key}-ahead.csv").open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(["issued", "date", *_FORETOLD])
        for issue in invented_forecasts("brackenford", truth, mornings, seed):
            for row in _rows(issue.days, _FORETOLD):
                table.writerow([f"{issue.issued:%Y-%m-%dT%H:%M:%SZ}", *row])


def _rows(days: Days, names: tuple[str, ...]) -> Iterator[list[str]]:
    columns = [days.of(name).values for name in names]
    for index in range(len(days)):
        cells = [f"{column[index]:.2f}" if np.isfinite(column[index]) else "" for column in columns]
        yield [(days.first + index * DAY).isoformat(), *cells]


def _bed(garden: str, key: str, rng: np.random.Generator) -> tuple[list[str], list[Entry]]:
    """A bed's row and its notes."""
    straw = date(2026, 10, 1) + int(rng.integers(0, 60)) * DAY
    under_way = rng.random() < 0.5
    opens = date(2027, 3, 20) + int(rng.integers(0, 30)) * DAY
    row = [
        garden, key, f"{rng.uniform(1.5, 6.0):.2f} m", f"{rng.uniform(0.9, 1.5):.2f} m",
        _TEXTURES[int(rng.integers(4))], straw.isoformat(), f"{rng.uniform(6.0, 20.0):.1f} cm",
        f"{key}-crop", _MATURITIES[int(rng.integers(3))], "spring", f"{rng.uniform(0.0, 12.0):.1f} cm",
        opens.isoformat(), (opens + 60 * DAY).isoformat(),
    ]  # fmt: skip
    planted = opens + int(rng.integers(0, 25)) * DAY
    notes = [_note(garden, key, What.PLANTED, planted), _note(garden, key, What.STRAW_LAID, planted, 0.06)]
    notes += [_note(garden, key, What.WATERED, MORNING - back * DAY, 12.0) for back in (3, 7, 10) if planted < MORNING]
    return row, [note for note in notes if note.day < MORNING] if under_way else []


def _note(garden: str, bed: str, what: What, day: date, value: float | None = None) -> Entry:
    instant = datetime.combine(day, time(18), UTC)
    planting = f"{bed}-crop" if what is What.PLANTED else ""
    return Entry(f"{garden}-{bed}-{what}-{day}", instant, day, bed, planting, what, "", value, None, "command", "")


def main() -> None:
    """Write one."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("state", type=Path)
    parser.add_argument("--beds", type=int, default=1000)
    parser.add_argument("--stations", type=int, default=10)
    parser.add_argument("--days", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    make_office(asked.folder, asked.state, Office(asked.beds, asked.stations, asked.days, asked.seed))


if __name__ == "__main__":
    main()
