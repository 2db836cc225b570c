"""Frost at the depth of tubers, as the chance of it is told, against soil measured at real stations.

Data: U.S. Climate Reference Network daily product (Diamond et al. 2013, BAMS 94:485-498), read where
HAULM_MEASURED_DATA names the folder that holds it; skipped elsewhere. Bare soil, seed 10 cm deep, observed weather:
this is the estimate's own part of the chance, without a forecaster's.
"""

import gzip
import os
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import numpy as np
import pytest

from haulm.garden import Bed, Entry, Garden, Habit, Journal, Maturity, Place, Planting, Season, What
from haulm.jobs.decide import decide
from haulm.science.frost import normal_chance
from haulm.settings.thresholds import Thresholds
from haulm.sources.own_file import parse_record
from haulm.sources.quality import cleaned_record
from haulm.units import Display
from haulm.weather import DAY, Origin

STATIONS = ("ND_Jamestown_38_WSW", "WI_Necedah_5_WNW", "IA_Des_Moines_17_E", "ME_Limestone_4_NNW", "SD_Pierre_24_S")
YEARS = (2013, 2017, 2021)
BED = Bed("bare", "Bare", 2.4, 1.2, "loam", 0.3)
KILLS_C = -1.1  # tubers freeze below about 30 °F (Bethke & Fishler 2019)


@pytest.fixture(scope="module")
def rows():
    folder = os.environ.get("HAULM_MEASURED_DATA")
    if not folder:
        pytest.skip("HAULM_MEASURED_DATA is not set: the measured data are not part of the project")
    found = {name: [] for name in STATIONS}
    with gzip.open(Path(folder) / "soil_stations_dev.csv.gz", "rt", encoding="utf-8") as file:
        for line in file:
            row = line.rstrip("\n").split(",")
            if row[0] in found:
                found[row[0]].append(row)
    return found


def estimated(name, rows, year):
    """Soil of one autumn as it stands on a December morning: estimate and spread a day."""
    lines = ["date,air_min_c,air_max_c,rain_mm", *(",".join(row[3:7]) for row in rows if row[3] < f"{year}-12-25")]
    record, _ = parse_record("\n".join(lines), where=name, origin=Origin("s", name), usual_delay=timedelta(0))
    as_of = datetime.combine(date(year, 12, 25), time(12), UTC)
    window = (date(year, 4, 25), date(year, 6, 15))
    crop = Planting(*("crop", "bare", "the crop", Maturity.MID, Habit.DETERMINATE, Season.SPRING, 0.3, 0.10), *window)
    place = Place("a real station", float(rows[0][1]), float(rows[0][2]), 300.0, "America/Chicago", Display.METRIC, 1.5)
    noted = [
        Entry(str(what), datetime.combine(day, time(18), UTC), day, "bare", "crop", what)
        for day, what in ((date(year, 5, 18), What.PLANTED), (date(year, 9, 1), What.TOPS_DEAD))
    ]
    garden, cleaned = Garden("real", place, (BED,), (crop,)), cleaned_record(record, today=date(year, 12, 25))[0]
    return decide(garden, Thresholds(), as_of, cleaned, [], Journal(tuple(noted)), ()).conditions[0].soil


@pytest.fixture(scope="module")
def judged(rows):
    """Chance told, and what was measured, of each day from October to late December."""
    told, measured = [], []
    for name, held in rows.items():
        seen = {date.fromisoformat(row[3]): float(row[9]) for row in held if row[9]}
        for year in YEARS:
            soil = estimated(name, held, year)
            days = [day for k in range(85) if (day := date(year, 10, 1) + k * DAY) in seen]
            told += [float(normal_chance(0.0, soil.as_it_lies_c.at(day), soil.spread_c.at(day))) for day in days]
            measured += [seen[day] for day in days]
    return np.array(told), np.array(measured)


def test_no_day_that_kills_tubers_goes_by_without_a_word(judged):
    told, measured = judged
    assert (measured <= KILLS_C).sum() >= 30
    assert (told[measured <= KILLS_C] >= Thresholds().tubers.freeze_chance).mean() >= 0.98


def test_days_of_frost_in_the_ground_are_called_and_others_mostly_not(judged):
    """At least nine in ten called; of days well above frost, at most one in ten (both bounds are judgement)."""
    told, measured = judged
    called = told >= Thresholds().tubers.freeze_chance
    assert (measured <= 0.0).sum() >= 100
    assert called[measured <= 0.0].mean() >= 0.9
    assert called[measured > 1.0].mean() <= 0.1


def test_chances_are_in_order_and_err_to_the_side_of_caution(judged):
    """The greater the chance told, the oftener the ground froze; and seldom oftener than told."""
    told, measured = judged
    bands = [(told >= low) & (told < high) for low, high in ((0.0, 0.1), (0.1, 0.4), (0.4, 0.7), (0.7, 1.01))]
    froze = [float((measured[band] <= 0.0).mean()) for band in bands]
    assert froze == sorted(froze)
    assert froze[0] <= 0.02
    assert all(share <= told[band].mean() + 0.05 for share, band in zip(froze, bands, strict=True))
