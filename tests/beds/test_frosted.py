"""Tops that a measured frost killed though nobody noted it: by estimate, and only where they were ripe."""

from dataclasses import replace

import numpy as np
import pytest

from haulm.beds.conditions import conditions_of
from haulm.beds.crop import crop_kept
from haulm.beds.forcing import PlaceMean
from haulm.beds.frosted import tops_frosted
from haulm.beds.noted import Noted
from haulm.beds.sky import sky_now
from haulm.condition import DayRange
from haulm.garden import Cause, Stage
from haulm.weather import DAY, Mark


@pytest.fixture
def frosted(make, thresholds, today):
    """Nights at 5 °C, but for the given one `ago` days back; shoots out for `out` days, ripe by their warmth."""

    def found(night_c, ago=3, *, mark=Mark.OBSERVED, entries=(), ripe=(-20, -10), out=100, **noted):
        low = np.full(1108, 5.0)
        low[1100 - ago] = night_c
        timeline = make.timeline(air_min_c=low)
        marks = timeline.air_mark.copy()
        marks[1100 - ago] = mark
        days = Noted(**({"planted": today - 120 * DAY} | noted))
        early, likely = (today + offset * DAY for offset in ripe)
        journal = make.journal(*entries)
        seen = replace(timeline, air_mark=marks)
        late = None if out is None else today - out * DAY
        shoots = DayRange(today - 110 * DAY, None, late, 1.0, 0)
        crop = replace(crop_kept(make.planting(), days), shoots=shoots, ripe=DayRange(early, likely, None, 1.0, 0))
        return tops_frosted(days, crop, make.bed(), seen, journal, thresholds)

    return found


@pytest.mark.parametrize(("night_c", "killed"), [(-2.2, True), (-2.1, False)])
def test_ripe_tops_are_gone_after_a_measured_hard_freeze(frosted, today, night_c, killed):
    """28 °F, a hard freeze: weather.gov/jan/frostfreeze."""
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
    assert (frosted(night_c, ripe=ripe, out=20) is not None) is killed


@pytest.mark.parametrize(("out", "night_c", "killed"), [(73, -4.0, True), (72, -4.0, False), (73, -3.9, False)])
def test_old_tops_do_not_come_again_after_a_frost_that_kills_every_leaf(frosted, out, night_c, killed):
    """Seventy days from the shoots, on the day of the frost three days ago."""
    assert (frosted(night_c, ripe=(50, 60), out=out) is not None) is killed


@pytest.mark.parametrize("mark", [Mark.FILLED, Mark.BRIDGED, Mark.UNKNOWN])
def test_only_what_was_observed_kills(frosted, mark):
    assert frosted(-6.0, mark=mark) is None


def test_what_is_noted_goes_before(make, frosted, today):
    assert frosted(-6.0, dying=today - 3 * DAY, dying_cause=Cause.AGE, ripe=(50, 60)) is not None
    assert frosted(-6.0, dying=today - 2 * DAY, dying_cause=Cause.AGE) is None  # seen alive since
    for noted in ("tops_dead", "tops_cut", "lifted", "stored"):
        assert frosted(-6.0, **{noted: today - DAY}) is None
    assert frosted(-6.0, planted=None) is None
    warm = make.entry(today - 3 * DAY, "night minimum", -1.0, planting="")
    assert frosted(-6.0, entries=[warm]) is None
    cold = make.entry(today - 3 * DAY, "night minimum", -3.0, planting="")
    assert frosted(1.0, entries=[cold]) == (today - 3 * DAY, -3.0)


@pytest.mark.parametrize(
    ("cause", "out", "killed"),
    [
        (Cause.UNKNOWN, 73, True),
        (Cause.UNKNOWN, 72, False),  # 69 days old on the day of the frost, and asked about: it may grow again
        (Cause.BLIGHT, 73, True),
        (Cause.AGE, None, False),
        (Cause.FROST, 60, False),
        (Cause.THIRST, 60, False),
    ],
)
def test_young_tops_and_those_that_suffered_from_frost_or_thirst_grow_again(frosted, today, cause, out, killed):
    found = frosted(-6.0, ripe=(50, 60), dying=today - 20 * DAY, dying_cause=cause, out=out)
    assert (found is not None) is killed
    assert frosted(-6.0, dying=today - 20 * DAY, dying_cause=Cause.FROST) is not None  # ripe by its warmth all the same


def test_the_stage_and_the_skins_follow_the_estimate_and_a_note_ends_it(make, thresholds, today):
    low = make.timeline().days.air_min_c.copy()
    low[1097] = -5.0
    timeline, garden = make.timeline(air_min_c=low), make.garden(make.bed(), make.planting())
    sky = sky_now(timeline, garden.place, thresholds, timeline.forecast_issued)
    grown = [
        make.entry(today - 120 * DAY, "planted"),
        make.entry(today - 90 * DAY, "shoots out"),
        make.entry(today - 20 * DAY, "dying back", cause="age"),
    ]

    def morning(*more):
        return conditions_of(garden, timeline, sky, make.journal(*grown, *more), thresholds, PlaceMean())[0]

    guess, gone = morning(), today - 3 * DAY
    assert (guess.stage.stage, guess.stage.since, guess.stage.noted) == (Stage.SKINS_SETTING, gone, False)
    assert (guess.crop.tops_gone, guess.crop.frosted_min_c) == (gone, -5.0)
    assert guess.crop.skins_ready.early == gone + 7 * DAY
    seen = morning(make.entry(today - DAY, "tops dead"))
    assert (seen.stage.noted, seen.crop.tops_gone) == (True, today - DAY)
    assert np.isnan(seen.crop.frosted_min_c)


def test_a_planting_never_goes_back_a_stage(make, thresholds, today):
    """Mornings of an autumn with frosts, in which only some things are noted, and those late."""
    low = make.timeline().days.air_min_c.copy()
    low[[1040, 1064, 1072, 1088]] = (-1.0, -2.5, -5.0, -7.0)
    garden = make.garden(make.bed(), make.planting())
    noted = [
        make.entry(today - 160 * DAY, "planted"),
        make.entry(today - 130 * DAY, "shoots out"),
        make.entry(today - 48 * DAY, "dying back", cause="age"),
        make.entry(today - 12 * DAY, "tops dead"),
        make.entry(today - 5 * DAY, "lifted", 5.0),
    ]
    stages = []
    for back in range(100, -1, -4):
        day = today - back * DAY
        known = make.timeline(1100 - back, today=day, air_min_c=low[: 1108 - back])
        sky = sky_now(known, garden.place, thresholds, known.forecast_issued)
        entries = [entry for entry in noted if entry.day < day]
        stages += [
            one.stage.stage
            for one in conditions_of(garden, known, sky, make.journal(*entries), thresholds, PlaceMean())
        ]
    orders = [stage.order for stage in stages]
    assert orders == sorted(orders)
    assert {Stage.EMERGED, Stage.DYING_BACK, Stage.SKINS_SETTING, Stage.LIFTED} <= set(stages)
