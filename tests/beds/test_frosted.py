"""Tops that a measured frost killed though nobody noted it: by estimate, and only where they were ripe."""

from dataclasses import replace

import numpy as np
import pytest

from haulm.beds.conditions import conditions_of
from haulm.beds.forcing import PlaceMean
from haulm.beds.frosted import tops_frosted
from haulm.beds.noted import Noted
from haulm.beds.sky import sky_now
from haulm.condition import DayRange
from haulm.garden import Stage
from haulm.weather import DAY, Mark

SEVERE_C = -2.2  # 28 °F, a hard freeze: weather.gov/jan/frostfreeze


@pytest.fixture
def frosted(make, today):
    """Nights at 5 °C, but for the given one `ago` days back."""

    def found(night_c, ago=3, *, mark=Mark.OBSERVED, entries=(), ripe=(-20, -10), **noted):
        low = np.full(1108, 5.0)
        low[1100 - ago] = night_c
        timeline = make.timeline(air_min_c=low)
        marks = timeline.air_mark.copy()
        marks[1100 - ago] = mark
        days = Noted(**({"planted": today - 120 * DAY} | noted))
        early, likely = (today + offset * DAY for offset in ripe)
        journal = make.journal(*entries)
        seen = replace(timeline, air_mark=marks)
        return tops_frosted(days, DayRange(early, likely, None, 1.0, 0), make.bed(), seen, journal, SEVERE_C)

    return found


@pytest.mark.parametrize(("night_c", "killed"), [(-2.2, True), (-2.1, False)])
def test_ripe_tops_are_gone_after_a_measured_hard_freeze(frosted, today, night_c, killed):
    found = frosted(night_c)
    assert (found is not None) is killed
    assert found is None or found == (today - 3 * DAY, night_c)


@pytest.mark.parametrize(
    ("ripe", "night_c", "killed"),
    [
        ((-20, -3), -2.2, True),  # ripe on the day of the frost
        ((-20, -2), -2.2, False),
        ((-3, 20), -4.0, True),  # nearly ripe: the frost that kills all leaves (HortScience 27:244, 1992)
        ((-3, 20), -3.9, False),
        ((-2, 20), -8.0, False),
    ],
)
def test_tops_that_are_not_ripe_are_not_given_up(frosted, ripe, night_c, killed):
    assert (frosted(night_c, ripe=ripe) is not None) is killed


@pytest.mark.parametrize("mark", [Mark.FILLED, Mark.BRIDGED, Mark.UNKNOWN])
def test_only_what_was_observed_kills(frosted, mark):
    assert frosted(-6.0, mark=mark) is None


def test_what_is_noted_goes_before(make, frosted, today):
    assert frosted(-6.0, dying=today - 3 * DAY, ripe=(50, 60)) is not None
    assert frosted(-6.0, dying=today - 2 * DAY) is None  # seen alive since
    for noted in ("tops_dead", "tops_cut", "lifted", "stored"):
        assert frosted(-6.0, **{noted: today - DAY}) is None
    assert frosted(-6.0, planted=None) is None
    warm = make.entry(today - 3 * DAY, "night minimum", -1.0, planting="")
    assert frosted(-6.0, entries=[warm]) is None
    cold = make.entry(today - 3 * DAY, "night minimum", -3.0, planting="")
    assert frosted(1.0, entries=[cold]) == (today - 3 * DAY, -3.0)


def test_the_stage_and_the_skins_follow_the_estimate_and_a_note_ends_it(make, thresholds, today):
    low = make.timeline().days.air_min_c.copy()
    low[1097] = -5.0
    timeline, garden = make.timeline(air_min_c=low), make.garden(make.bed(), make.planting())
    sky = sky_now(timeline, garden.place, thresholds, timeline.forecast_issued)
    grown = [make.entry(today - 120 * DAY, "planted"), make.entry(today - 20 * DAY, "dying back", cause="age")]

    def morning(*more):
        return conditions_of(garden, timeline, sky, make.journal(*grown, *more), thresholds, PlaceMean())[0]

    guess, gone = morning(), today - 3 * DAY
    assert (guess.stage.stage, guess.stage.since, guess.stage.noted) == (Stage.SKINS_SETTING, gone, False)
    assert (guess.crop.tops_gone, guess.crop.frosted_min_c) == (gone, -5.0)
    assert guess.crop.skins_ready.early == gone + 7 * DAY
    seen = morning(make.entry(today - DAY, "tops dead"))
    assert (seen.stage.noted, seen.crop.tops_gone) == (True, today - DAY)
    assert np.isnan(seen.crop.frosted_min_c)
