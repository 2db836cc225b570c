"""Small invented records, and the pieces of a morning made from them."""

from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import pytest

from haulm.garden import Bed, Cause, Entry, Garden, Habit, Journal, Maturity, Place, Planting, Season, Straw, What
from haulm.settings.thresholds import Thresholds
from haulm.units import Display
from haulm.weather import DAY, Mark, Origin, Timeline, unknown_days

TODAY = date(2027, 5, 20)
ORIGIN = Origin("made", "an invented station")
NOON = time(12)


def place_of(latitude_deg=52.5, offset_c=1.5):
    return Place("Brackenford", latitude_deg, -3.0, 140.0, "Europe/London", Display.METRIC, offset_c)


def bed_of(key="gatebed", straw=(), **changes):
    known = {"length_m": 2.4, "width_m": 1.2, "texture": "loam", "soil_depth_m": 0.3} | changes
    return Bed(key, "Gatebed", straw=tuple(Straw(day, depth_m) for day, depth_m in straw), **known)


def planting_of(
    key="gate-early", *, season=Season.SPRING, first=date(2027, 4, 1), last=date(2027, 6, 10), depth_m=0.05
):
    return Planting(
        key, "gatebed", "Gatebed earlies", Maturity.EARLY, Habit.DETERMINATE, season, 0.3, depth_m, first, last
    )


def entry_of(day, what, value=None, *, planting="gate-early", cause=None, number=0, bed="gatebed"):
    instant = datetime.combine(day, NOON, UTC) + timedelta(minutes=number)
    return Entry(
        f"{day}-{what}-{number}", instant, day, bed, planting, What(what), "", value, Cause(cause) if cause else None
    )


def seasons(first, count, latitude_deg=52.5, mean_c=10.0, half_c=8.0):
    """Means of a plain annual wave, coldest in late January, or in July south of the equator."""
    day = np.array([(first + i * DAY).timetuple().tm_yday for i in range(count)], dtype=float)
    coldest = 25.0 if latitude_deg >= 0 else 207.0
    return mean_c - half_c * np.cos(2.0 * np.pi * (day - coldest) / 365.25)


def timeline_of(past_days=1100, ahead_days=8, *, today=TODAY, latitude_deg=52.5, mark=Mark.OBSERVED, **known):
    """Observed days up to yesterday, and a forecast from today on; `known` puts other arrays in their place."""
    first, count = today - past_days * DAY, past_days + ahead_days
    mean_c = seasons(first, count, latitude_deg)
    values = {
        "air_min_c": mean_c - 5.0,
        "air_max_c": mean_c + 5.0,
        "rain_mm": np.zeros(count),
        "rain_chance": np.full(count, np.nan),
    } | {name: np.broadcast_to(value, count).astype(float) for name, value in known.items()}
    marks = np.full(count, mark, dtype=np.int8)
    marks[past_days:] = Mark.FORECAST
    lost = np.isnan(values["air_min_c"]) | np.isnan(values["air_max_c"])
    marks[lost] = Mark.UNKNOWN
    rain_marks = np.where(np.isnan(values["rain_mm"]), Mark.UNKNOWN, marks).astype(np.int8)
    issued = datetime.combine(today, time(4), UTC) if ahead_days else None
    observed = np.flatnonzero(marks[:past_days] == Mark.OBSERVED)
    return Timeline(
        unknown_days(first, count, **values), marks, rain_marks, today, ORIGIN,
        first + int(observed[-1]) * DAY if observed.size else None, timedelta(hours=6),
        ORIGIN if issued else None, issued,
    )  # fmt: skip


@pytest.fixture
def today():
    return TODAY


@pytest.fixture
def thresholds():
    return Thresholds()


@pytest.fixture
def make():
    """Makers of the pieces that a morning is made of."""

    class Makers:
        place = staticmethod(place_of)
        bed = staticmethod(bed_of)
        planting = staticmethod(planting_of)
        entry = staticmethod(entry_of)
        timeline = staticmethod(timeline_of)
        seasons = staticmethod(seasons)

        @staticmethod
        def journal(*entries):
            return Journal(tuple(entries))

        @staticmethod
        def garden(bed, *plantings, latitude_deg=52.5):
            return Garden("brackenford", place_of(latitude_deg), (bed,), plantings)

    return Makers
