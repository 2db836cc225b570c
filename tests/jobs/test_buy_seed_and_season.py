"""What the letter says of seed to buy and what `haulm season` says are one thing: the same day, class and share.

Invented places always; measured ones (U.S. Climate Reference Network, Diamond et al. 2013, BAMS 94:485-498) where
HAULM_MEASURED_DATA names the folder that holds them.
"""

import gzip
import os
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import cycle
from pathlib import Path

import numpy as np
import pytest

from haulm.advice import Said
from haulm.garden import Maturity, Season
from haulm.jobs import demo
from haulm.jobs.decide import _seed_told
from haulm.jobs.morning import think
from haulm.jobs.season import season_told
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.sources.invented import invented_record

STATIONS = ("AZ_Yuma_27_ENE", "CA_Bodega_6_WSW", "PA_Avondale_2_N", "MN_Sandstone_6_W", "WI_Necedah_5_WNW")
LOOKS = [date(2023, month, 10) for month in range(1, 13)]


@pytest.fixture
def place(tmp_path):
    """The sample's garden under other weather: rows of date, minimum, maximum and rain."""

    def of(rows, latitude="46"):
        (tmp_path / "haulm.toml").write_text(sample_toml(), encoding="utf-8")
        told = {"HAULM_PLACE__LATITUDE": latitude, "HAULM_PLACE__ZONE": "Etc/UTC"}
        settings = load(tmp_path / "haulm.toml", told)
        settings.weather.file.write_text("\n".join(["date,air_min_c,air_max_c,rain_mm", *rows]) + "\n")
        return settings, StateFolder(tmp_path / "state")

    return of


def at_noon(day):
    return datetime(day.year, day.month, day.day, 12, tzinfo=UTC)


def planned(settings, first, last, maturity):
    """The garden with one planting in such a window."""
    one = replace(
        settings.garden.plantings[0], window_first=first, window_last=last, maturity=maturity, season=Season.SPRING
    )
    return replace(settings, garden=replace(settings.garden, plantings=(one,)))


def seed_alert(settings, state, day):
    _, decision = think(settings, state, at_noon(day), at_noon(day))
    return next(alert for alert in decision.alerts if alert.rule == "buy-seed")


def compared(settings, state):
    """Each window that opens within some weeks of each look, as both tell it; how many there were."""
    seen, kinds = 0, cycle(Maturity)
    for day in LOOKS:
        for window in season_told(settings, state, at_noon(day), "", None).windows:
            ahead = (window.best - (day - date(day.year, 1, 1)).days) % 365
            if not 8 <= ahead <= 66:
                continue
            kind, best = next(kinds), day + ahead * timedelta(days=1)
            garden = planned(settings, best - timedelta(days=5), best + timedelta(days=5), kind)
            facts = seed_alert(garden, state, day).facts
            assert facts["likely_day"] == best, (day, window)
            assert facts["fitting"] == (window.maturity if window.ripens else ""), (day, window)
            share = window.ripe_shares[list(Maturity).index(kind)]
            assert facts["ripe_share"] == pytest.approx(share)
            assert facts["it_fits"] is (share >= settings.thresholds.windows.good_share), (day, window)
            seen += 1
    return seen


def test_an_invented_place_is_told_the_same_by_both(place):
    record = invented_record("brackenford", date(2014, 1, 1), date(2023, 12, 31), demo.SEED)
    days = record.days
    rows = [
        f"{days.first + timedelta(days=k)},{days.air_min_c[k]:.1f},{days.air_max_c[k]:.1f},{days.rain_mm[k]:.1f}"
        for k in range(len(days))
        if np.isfinite([days.air_min_c[k], days.air_max_c[k], days.rain_mm[k]]).all()
    ]
    assert compared(*place(rows)) > 0


def wave_of(mean_c, half_c):
    """Rows of eight years whose mean day is a plain wave."""
    first = date(2016, 1, 1)
    days = [first + timedelta(days=k) for k in range((date(2024, 1, 1) - first).days)]
    wave = [mean_c - half_c * np.cos(2 * np.pi * (day.timetuple().tm_yday - 25) / 365.25) for day in days]
    middles = wave + np.random.default_rng(5).normal(0.0, 0.5, len(wave))  # days all alike look like a stuck sensor
    return [f"{day},{middle - 3:.1f},{middle + 3:.1f},3.0" for day, middle in zip(days, middles, strict=True)]


@pytest.mark.parametrize(("latitude", "mean_c", "half_c"), [("4", 28.0, 1.0), ("78", -8.0, 10.0)])
def test_where_no_day_of_the_year_will_do_nobody_is_told_to_buy(place, latitude, mean_c, half_c):
    """A tropical and a polar place: no window of any kind, whatever the grower has planned."""
    settings, state = place(wave_of(mean_c, half_c), latitude)
    for day in LOOKS[::3]:
        assert season_told(settings, state, at_noon(day), "", None).found.years.size > 2
        assert season_told(settings, state, at_noon(day), "", None).windows == ()
        opens = day + timedelta(days=30)
        alert = seed_alert(planned(settings, opens, opens + timedelta(days=40), Maturity.EARLY), state, day)
        assert alert.verdict in {"no-window", "in-vain"}
        assert alert.facts["fitting"] == ""


def test_dates_that_meet_none_of_the_windows_are_told_so_and_which_do(place):
    """A hot place, and a planting put into its summer: the windows about it are named as they come next."""
    settings, state = place(wave_of(22.0, 9.0), "33")
    day = date(2023, 5, 20)
    windows = [one for one in season_told(settings, state, at_noon(day), "", None).windows if one.good]
    assert windows
    summer = planned(settings, date(2023, 7, 1), date(2023, 7, 20), Maturity.EARLY)
    alert = seed_alert(summer, state, day)
    assert (alert.verdict, alert.facts["others_good"]) == ("off-window", True)
    spans = list(zip(alert.facts["opens"], alert.facts["closes"], strict=True))
    assert spans == sorted(spans)
    assert all(first <= last and day <= last <= day + timedelta(days=366) for first, last in spans)
    on_ring = sorted(at for window in windows for at in (window.first, window.last))
    assert sorted((at.replace(year=2001) - date(2001, 1, 1)).days for span in spans for at in span) == on_ring
    moved = planned(settings, *spans[0], Maturity.EARLY)
    assert seed_alert(moved, state, max(spans[0][0] - timedelta(days=20), day)).verdict in {"buy", "in-vain"}


def test_a_window_that_was_moved_is_looked_at_again_within_a_week():
    spoke = date(2023, 5, 20)

    def told(verdict, day):
        return _seed_told([Said("buy-seed", "gatebed", "early", f"{spoke}", verdict, 0, spoke, day)], day)

    asked = [spoke + timedelta(days=k) for k in range(1, 15) if not told("off-window", spoke + timedelta(days=k))]
    assert asked == [spoke + timedelta(days=7), spoke + timedelta(days=14)]
    assert told("buy", asked[0]) == told("no-window", asked[0]) == {"early"}
    assert told("in-vain", asked[0] + timedelta(days=1)) == frozenset()


@pytest.mark.parametrize("station", STATIONS)
def test_measured_places_are_told_the_same_by_both(place, station):
    folder = os.environ.get("HAULM_MEASURED_DATA")
    if not folder:
        pytest.skip("HAULM_MEASURED_DATA is not set: the measured data are not part of the project")
    with gzip.open(Path(folder) / "soil_stations_dev.csv.gz", "rt", encoding="utf-8") as file:
        cells = [line.rstrip("\n").split(",") for line in file if line.startswith(f"{station},")]
    rows = [",".join([row[3], *row[4:7]]) for row in cells if row[3] < "2024"]
    assert compared(*place(rows, cells[0][1])) > 0
