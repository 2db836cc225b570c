"""The windows of real stations of different climates beside what the trade does there.

Data: U.S. Climate Reference Network daily product (Diamond et al. 2013, BAMS 94:485-498), read where
HAULM_MEASURED_DATA names the folder that holds it; skipped elsewhere. What practice does is common practice, no source:
hot lowland deserts plant in late winter, humid middle latitudes in spring and again in high summer, cold continents
once, after the soil has reached 10 °C, mild coasts most of the year.
"""

import gzip
import os
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from haulm.jobs.season import season_told
from haulm.jobs.state_folder import StateFolder
from haulm.letter.season import ring_date
from haulm.settings.load import load
from haulm.settings.sample import sample_toml

STATIONS = ("AZ_Yuma_27_ENE", "CA_Bodega_6_WSW", "PA_Avondale_2_N", "MN_Sandstone_6_W")


@pytest.fixture(scope="module")
def rows():
    folder = os.environ.get("HAULM_MEASURED_DATA")
    if not folder:
        pytest.skip("HAULM_MEASURED_DATA is not set: the measured data are not part of the project")
    found = {station: [] for station in STATIONS}
    with gzip.open(Path(folder) / "soil_stations_dev.csv.gz", "rt", encoding="utf-8") as file:
        for line in file:
            if line.startswith(STATIONS):
                cells = line.rstrip("\n").split(",")
                found[cells[0]].append(cells)
    return found


@pytest.fixture
def told(rows, tmp_path):
    def of(station):
        listed = rows[station]
        (tmp_path / "haulm.toml").write_text(sample_toml(), encoding="utf-8")
        settings = load(
            tmp_path / "haulm.toml", {"HAULM_PLACE__LATITUDE": listed[0][1], "HAULM_PLACE__ZONE": "Etc/UTC"}
        )
        lines = ["date,air_min_c,air_max_c,rain_mm", *(",".join([row[3], *row[4:7]]) for row in listed)]
        settings.weather.file.write_text("\n".join(lines) + "\n")
        now = datetime.fromisoformat(f"{listed[-1][3]}T12:00").replace(tzinfo=UTC) + timedelta(days=1)
        return season_told(settings, StateFolder(tmp_path / "state"), now, "", None)

    return of


def good(told):
    return [window for window in told.windows if window.good]


def months(window):
    return ring_date(window.first).month, ring_date(window.last).month


def test_a_hot_desert_is_planted_in_late_winter_and_never_in_summer(told):
    found = told("AZ_Yuma_27_ENE")
    (window,) = good(found)
    assert months(window)[0] in (12, 1)
    assert months(window)[1] in (2, 3)
    summer = slice((date(2023, 6, 1) - date(2023, 1, 1)).days, (date(2023, 9, 1) - date(2023, 1, 1)).days)
    assert (found.shares.young[0, summer] == 0.0).all()


def test_a_mild_coast_is_planted_most_of_the_year(told):
    assert sum(window.length for window in good(told("CA_Bodega_6_WSW"))) > 182


def test_a_humid_middle_latitude_is_planted_in_spring_and_again_in_high_summer(told):
    spring, summer = good(told("PA_Avondale_2_N"))
    assert months(spring)[0] == 4
    assert months(summer)[0] in (6, 7)
    assert spring.ripens
    assert not summer.ripens


def test_a_cold_continent_is_planted_once_after_the_soil_has_reached_ten_degrees(told, rows):
    (window,) = good(told("MN_Sandstone_6_W"))
    measured = [(row[3], float(row[8])) for row in rows["MN_Sandstone_6_W"] if row[8]]  # soil at 5 cm, under grass
    first_week = [
        celsius
        for day, celsius in measured
        if (date.fromisoformat(day) - date(int(day[:4]), 1, 1)).days in range(window.first, window.first + 7)
    ]
    month_before = [
        celsius
        for day, celsius in measured
        if (date.fromisoformat(day) - date(int(day[:4]), 1, 1)).days in range(window.first - 35, window.first - 28)
    ]
    assert np.mean(first_week) >= 10.0
    assert np.mean(month_before) < 8.0
    assert months(window)[0] == 5
