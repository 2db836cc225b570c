"""Soil temperature at 10 cm through the product's own code, on measured stations, to be scored from outside.

    python tests/accuracy/soil.py STATIONS.csv.gz PREDICTED.csv [--readings N] [--seasons one|all]

STATIONS has the columns station, latitude_deg, date, air_min_c, air_max_c, rain_mm. PREDICTED gets station, date,
soil_10cm_c. Bare ground, no straw; the air and rain of the station alone. Gaps in the air of up to three days are
bridged on a straight line, longer ones by the place's mean year; unknown rain by the place's mean. The place's mean
year and aridity come from its whole record, as a grower's do from the years that haulm has fetched.

With --readings N the learning is given N measured daily means at 10 cm (column soil_10cm_c), evenly spread over March
to October, from the first odd year with at least 150 such days (one) or from every odd year (all); score even years.
"""

import argparse
import csv
import gzip
from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import numpy as np

from haulm.science import soil_learning as learning
from haulm.science import soil_surface as surface
from haulm.science.climatology import fit_mean_year, mean_year_at
from haulm.science.evapotranspiration import hargreaves_et_mm
from haulm.science.soil_freezing import Freezing
from haulm.science.soil_temperature import SoilColumn
from haulm.science.sun import top_radiation_mj

CONDUCTIVITY_W_MK, HEAT_CAPACITY_MJ_M3K = 1.5, 2.2  # the ground the surface was fitted with
DEPTH_M = 0.10
LONGEST_GAP_DAYS = 3
LEAST_DAYS_OF_A_SEASON = 150
SPIN_UP_DAYS = 365


def stations(path: Path) -> Iterator[tuple[str, float, date, dict[str, np.ndarray]]]:
    """Each station: name, latitude, first day, and its values a day without a break (NaN where blank)."""
    rows = defaultdict(list)
    with gzip.open(path, "rt", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            rows[row["station"]].append(row)
    for name, days in rows.items():
        first = date.fromisoformat(days[0]["date"])
        count = (date.fromisoformat(days[-1]["date"]) - first).days + 1
        values = {key: np.full(count, np.nan) for key in ("air_min_c", "air_max_c", "rain_mm", "soil_10cm_c")}
        for row in days:
            at = (date.fromisoformat(row["date"]) - first).days
            for key, column_values in values.items():
                if row.get(key):
                    column_values[at] = float(row[key])
        yield name, float(days[0]["latitude_deg"]), first, values


def without_holes(values: np.ndarray, day_of_year: np.ndarray) -> np.ndarray:
    """Short gaps on a straight line, longer ones by the place's mean year."""
    known = np.flatnonzero(np.isfinite(values))
    line = np.interp(np.arange(len(values)), known, values[known])
    gap = np.array([known[min(i, len(known) - 1)] for i in np.searchsorted(known, np.arange(len(values)))])
    before = np.array([known[max(i - 1, 0)] for i in np.searchsorted(known, np.arange(len(values)), side="right")])
    short = (gap - before) <= LONGEST_GAP_DAYS + 1
    usual = mean_year_at(fit_mean_year(day_of_year, values), day_of_year)
    return np.where(np.isfinite(values), values, np.where(short, line, usual))


def predict(latitude: float, first: date, values: dict[str, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Daily mean at 10 cm under the station's own ground (°C), and the sensitivity series (4, days)."""
    day_of_year = days_of_year(first, len(values["air_min_c"]))
    low, high = (without_holes(values[key], day_of_year)[None, :] for key in ("air_min_c", "air_max_c"))
    rain = np.where(np.isfinite(values["rain_mm"]), values["rain_mm"], np.nanmean(values["rain_mm"]))[None, :]
    sun = top_radiation_mj(latitude, day_of_year)[None, :]
    cover = surface.plant_cover(rain.mean() / hargreaves_et_mm(low, high, sun).mean())
    _, felt = surface.advance(surface.start_state(1), low, high, rain, sun, cover)
    soil = SoilColumn(CONDUCTIVITY_W_MK, HEAT_CAPACITY_MJ_M3K, np.array([[DEPTH_M]]), freezing=Freezing())
    turn = learning.season_turn(latitude, day_of_year)
    estimate, series = learning.sensitivity_series(felt, 0.0, turn, day_of_year, soil)
    return estimate[0, :, 0], series[:, 0, :, 0]


def days_of_year(first: date, count: int) -> np.ndarray:
    days = np.datetime64(first) + np.arange(count)
    return (days - days.astype("datetime64[Y]")).astype(float) + 1.0


def reading_days(first: date, measured: np.ndarray, usable: np.ndarray, count: int, seasons: str) -> np.ndarray:
    """Positions of the readings: evenly spread over March to October of the first odd year that will do, or of all."""
    days = np.datetime64(first) + np.arange(len(measured))
    year = days.astype("datetime64[Y]").astype(int) + 1970
    month = days.astype("datetime64[M]").astype(int) % 12 + 1
    found: list[np.ndarray] = []
    for odd in range(first.year | 1, int(year[-1]) + 1, 2):
        held = np.flatnonzero(usable & np.isfinite(measured) & (year == odd) & (month >= 3) & (month <= 10))
        if len(held) >= LEAST_DAYS_OF_A_SEASON:
            found.append(held[np.round(np.linspace(0, len(held) - 1, count)).astype(int)])
            if seasons == "one":
                break
    return np.concatenate(found) if found else np.array([], dtype=int)


def taught(soil: np.ndarray, series: np.ndarray, measured: np.ndarray, at: np.ndarray) -> np.ndarray:
    """The estimate after the readings at some positions."""
    learned = learning.learn(measured[at] - soil[at], series[:, at], at.astype(float))
    return soil + learned.mean @ series


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("stations", type=Path)
    parser.add_argument("predicted", type=Path)
    parser.add_argument("--readings", type=int, default=0)
    parser.add_argument("--seasons", choices=["one", "all"], default="one")
    arguments = parser.parse_args()
    with arguments.predicted.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file)
        out.writerow(["station", "date", "soil_10cm_c"])
        for name, latitude, first, values in stations(arguments.stations):
            soil, series = predict(latitude, first, values)
            if arguments.readings:
                usable = np.isfinite(values["air_min_c"]) & np.isfinite(values["air_max_c"])
                usable &= np.arange(len(soil)) >= SPIN_UP_DAYS
                measured = values["soil_10cm_c"]
                at = reading_days(first, measured, usable, arguments.readings, arguments.seasons)
                soil = taught(soil, series, measured, at)
            days = np.datetime64(first) + np.arange(len(soil))
            out.writerows(zip([name] * len(soil), days.astype(str), np.round(soil, 3), strict=True))


if __name__ == "__main__":
    main()
