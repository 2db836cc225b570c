"""Soil temperature at 10 cm through the product's own code, on measured stations, to be scored from outside.

    python tests/accuracy/soil.py STATIONS.csv.gz PREDICTED.csv

STATIONS has the columns station, latitude_deg, date, air_min_c, air_max_c, rain_mm. PREDICTED gets station, date,
soil_10cm_c. Bare ground, no straw; the air and rain of the station alone. Gaps in the air of up to three days are
bridged on a straight line, longer ones by the place's mean year; unknown rain by the place's mean.
"""

import argparse
import csv
import gzip
from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import numpy as np

from haulm.science import soil_surface as surface
from haulm.science import soil_temperature as column
from haulm.science.climatology import fit_mean_year, mean_year_at
from haulm.science.evapotranspiration import hargreaves_et_mm
from haulm.science.soil_freezing import Freezing
from haulm.science.sun import top_radiation_mj

CONDUCTIVITY_W_MK, HEAT_CAPACITY_MJ_M3K = 1.5, 2.2  # the ground the surface was fitted with
DEPTH_M = 0.10
LONGEST_GAP_DAYS = 3


def stations(path: Path) -> Iterator[tuple[str, float, date, dict[str, np.ndarray]]]:
    """Each station: name, latitude, first day, and its values a day without a break (NaN where blank)."""
    rows = defaultdict(list)
    with gzip.open(path, "rt", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            rows[row["station"]].append(row)
    for name, days in rows.items():
        first = date.fromisoformat(days[0]["date"])
        count = (date.fromisoformat(days[-1]["date"]) - first).days + 1
        values = {key: np.full(count, np.nan) for key in ("air_min_c", "air_max_c", "rain_mm")}
        for row in days:
            at = (date.fromisoformat(row["date"]) - first).days
            for key, column_values in values.items():
                if row[key]:
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


def predict(latitude: float, first: date, values: dict[str, np.ndarray]) -> np.ndarray:
    """Daily mean at 10 cm under the station's own ground (°C)."""
    days = np.datetime64(first) + np.arange(len(values["air_min_c"]))
    day_of_year = (days - days.astype("datetime64[Y]")).astype(float) + 1.0
    low, high = (without_holes(values[key], day_of_year)[None, :] for key in ("air_min_c", "air_max_c"))
    rain = np.where(np.isfinite(values["rain_mm"]), values["rain_mm"], np.nanmean(values["rain_mm"]))[None, :]
    sun = top_radiation_mj(latitude, day_of_year)[None, :]
    cover = surface.plant_cover(rain.mean() / hargreaves_et_mm(low, high, sun).mean())
    _, felt = surface.advance(surface.start_state(1), low, high, rain, sun, cover)
    years = int(len(days) // 365.25 * 365.25)
    wave, angle = felt.temperature_c[0, :years], 2.0 * np.pi * day_of_year[:years] / 365.25
    mean_year = [wave.mean(), 2.0 * (wave * np.cos(angle)).mean(), 2.0 * (wave * np.sin(angle)).mean()]
    soil = column.SoilColumn(CONDUCTIVITY_W_MK, HEAT_CAPACITY_MJ_M3K, np.array([[DEPTH_M]]), freezing=Freezing())
    start = column.steady_state(np.array(mean_year), day_of_year[0], felt.resistance_m2k_w.mean(), soil)
    _, found = column.advance(column.with_ice(start), felt.temperature_c, felt.resistance_m2k_w, soil)
    return found.soil_c[0, :, 0]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("stations", type=Path)
    parser.add_argument("predicted", type=Path)
    arguments = parser.parse_args()
    with arguments.predicted.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file)
        out.writerow(["station", "date", "soil_10cm_c"])
        for name, latitude, first, values in stations(arguments.stations):
            soil = predict(latitude, first, values)
            days = np.datetime64(first) + np.arange(len(soil))
            out.writerows(zip([name] * len(soil), days.astype(str), np.round(soil, 3), strict=True))


if __name__ == "__main__":
    main()
