"""A bed, a planting and a quiet morning, to be changed by each test where its rule looks."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from haulm.bed_water import WaterNow
from haulm.condition import (
    Condition,
    CropNow,
    DayRange,
    DaySpan,
    Ends,
    KeptSeed,
    Night,
    SeasonChances,
    SkyNow,
    SoilNow,
    StageNow,
    StoreNow,
)
from haulm.garden import Bed, Garden, Habit, Maturity, Place, Planting, Season, Stage
from haulm.settings.thresholds import Thresholds
from haulm.units import Display
from haulm.weather import DAY, Daily, Origin, unknown_days

TODAY = date(2027, 4, 20)


@pytest.fixture
def today():
    return TODAY


@pytest.fixture
def thresholds():
    """The defaults, but for a least turn of 5 mm, which keeps the sums of the water tests small."""
    return Thresholds.model_validate({"water": {"least_turn": "5 mm"}})


def soil(recent=(12.0, 12.0, 12.0), ahead=(12.0,) * 7, *, known=True, before=12.0, ready=9, below_c=1.0):
    """Soil of ten days back and seven ahead; `recent` are the last days before today, `ready` when it is likely fit.

    Its coldest moment of a day is `below_c` under the mean.
    """
    past = [before] * (10 - len(recent)) + list(recent)
    lies = Daily(TODAY - 10 * DAY, np.array([*past, *ahead], dtype=float))
    return SoilNow(
        as_it_lies_c=lies,
        under_new_straw_c=Daily(TODAY, np.array(ahead, dtype=float)),
        spread_c=Daily(lies.first, np.full(len(lies.values), 1.5)),
        known=known,
        ready=DayRange(TODAY + (ready - 4) * DAY, TODAY + ready * DAY, TODAY + (ready + 5) * DAY, 1.0, 10),
        lowest_c=Daily(lies.first, lies.values - below_c),
    )


def ends(**changes):
    """Eighteen years tell of hard freezes; nothing is in sight unless told otherwise."""
    return replace(Ends(18, None, None, None, None, ""), **changes)


def store(week_c=6.0, ahead_c=None, *, spread_c=2.0, known=True, **changes):
    """A room at one warmth for sixty days back, and from tomorrow on at another where told."""
    values = np.full(120, float(week_c))
    if ahead_c is not None:
        values[61:] = ahead_c
    room = Daily(TODAY - 60 * DAY, values)
    return replace(StoreNow(room, Daily(room.first, np.full(120, spread_c)), known, 0), **changes)


def kept_seed(wakes_in=0, *, old_in=None, chitting_in=30, **changes):
    """A kept crop that wakes about a day, for a window whose seed is woken in a month."""
    wakes = DayRange(TODAY + (wakes_in - 20) * DAY, TODAY + wakes_in * DAY, TODAY + (wakes_in + 20) * DAY, 1.0, 0)
    chitting = TODAY + chitting_in * DAY
    old = None if old_in is None else TODAY + old_in * DAY
    return replace(KeptSeed(wakes, old, None, False, chitting + 28 * DAY, "Gatebed lates", chitting), **changes)


def water(**changes):
    quiet = WaterNow(
        week_rain_mm=30.0,
        week_effective_mm=25.0,
        week_watered_mm=0.0,
        week_unknown_days=0,
        depletion_low_mm=8.0,
        depletion_high_mm=8.0,
        total_mm=60.0,
        ready_mm=21.0,
        top_share=0.3,
        outlook_depletion_mm=Daily(TODAY, np.array([10.0, 13.0, 16.0, 19.0, 22.0, 25.0, 28.0])),
        outlook_need_mm=25.0,
        drained_days=0,
        straw_holds_mm=2.0,
    )
    return replace(quiet, **changes)


def night(ahead=1, leaf_c=8.0, spread_c=1.5, **changes):
    plain = Night(TODAY + ahead * DAY, leaf_c, leaf_c, spread_c, still_and_clear=False)
    return replace(plain, **changes)


def sky(nights=(), outlook=None, **changes):
    quiet = SkyNow(
        outlook=outlook if outlook is not None else unknown_days(TODAY, 7, rain_mm=np.zeros(7)),
        nights=tuple(nights),
        newest_observed=TODAY - DAY,
        newest_age=timedelta(hours=6),
        usual_delay=timedelta(hours=6),
        recent_min_c=5.0,
        origin=Origin("near", "the station at Brackenford"),
        has_forecast=True,
        gaps=(),
    )
    return replace(quiet, **changes)


def crop(**changes):
    quiet = CropNow(
        shoots=DayRange(TODAY - 30 * DAY, TODAY - 28 * DAY, TODAY - 26 * DAY, 1.0, 0),
        days_from_shoots=26,
        shoot_height_m=0.2,
        p_days=180.0,
        p_days_needed=800.0,
        dying_cause=None,
        dying_since=None,
        tops_gone=None,
        skins_ready=None,
        forming=DaySpan(TODAY - 14 * DAY, TODAY + 20 * DAY),
    )
    return replace(quiet, **changes)


def stage(of, *, noted=True, since=TODAY - 20 * DAY):
    return StageNow(of, since, since, since, noted)


PLACE = Place("Brackenford", 52.5, -3.0, 140.0, "Europe/London", Display.METRIC, 1.5)
BED = Bed("gatebed", "Gatebed", 2.4, 1.2, "loam", 0.3)
PLANTING = Planting(
    "gate-early", "gatebed", "Gatebed earlies", Maturity.EARLY, Habit.DETERMINATE, Season.SPRING, 0.3, 0.05,
    TODAY - 20 * DAY, TODAY + 40 * DAY,
)  # fmt: skip


def quiet_condition(of=Stage.EMERGED, **changes):
    planting = changes.pop("planting", PLANTING)
    quiet = Condition(
        garden=Garden("brackenford", PLACE, (BED,), (planting,)),
        bed=BED,
        planting=planting,
        today=TODAY,
        stage=stage(of),
        straw_m=0.1,
        soil=soil(),
        water=water(),
        crop=crop(),
        last_straw=None,
        chances=SeasonChances(10, 0.1, TODAY + 30 * DAY),
        sky=sky([night(1), night(2), night(3)]),
        ends=ends(),
    )
    return replace(quiet, **changes)


@pytest.fixture
def a():
    """Makers of the pieces of a condition, all quiet unless told otherwise."""

    class Makers:
        condition = staticmethod(quiet_condition)
        soil = staticmethod(soil)
        water = staticmethod(water)
        ends = staticmethod(ends)
        store = staticmethod(store)
        kept_seed = staticmethod(kept_seed)
        crop = staticmethod(crop)
        sky = staticmethod(sky)
        night = staticmethod(night)
        stage = staticmethod(stage)
        planting = PLANTING
        now = datetime(2027, 4, 20, 5, 30, tzinfo=UTC)

    return Makers
