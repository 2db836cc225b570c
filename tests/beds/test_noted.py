"""What the journal says about one planting: days, stages, straw, waterings, the grower's own gauge."""

from datetime import date

import numpy as np
import pytest

from haulm.beds.noted import (
    LONGEST_SEASON,
    SEED_BEFORE_WINDOW,
    Noted,
    last_laid,
    noted,
    rain_read_mm,
    stage_now,
    straw_depths_m,
    watered_mm,
)
from haulm.condition import DayRange
from haulm.garden import Cause, Stage
from haulm.weather import DAY


def test_the_first_entry_of_a_kind_counts_and_other_plantings_do_not(make, today):
    journal = make.journal(
        make.entry(today - 30 * DAY, "planted", planting="gate-late"),
        make.entry(today - 20 * DAY, "planted"),
        make.entry(today - 10 * DAY, "planted"),
        make.entry(today - 5 * DAY, "straw laid", 0.06, planting=""),
    )
    days = noted(journal, make.planting())
    assert days.planted == today - 20 * DAY
    assert days.in_ground(today)
    assert days.shoots is None


def test_a_key_used_again_brings_nothing_of_the_year_before(make):
    planting = make.planting()
    edge = planting.window_first - SEED_BEFORE_WINDOW
    old = make.journal(make.entry(edge - DAY, "planted"), make.entry(edge - DAY, "lifted", 5.0))
    assert noted(old, planting) == Noted()
    assert noted(make.journal(make.entry(edge, "seed bought")), planting).seed_bought == edge


def test_a_crop_nobody_lifted_does_not_hold_its_bed_for_ever(today):
    planted = Noted(planted=today - LONGEST_SEASON)
    assert planted.in_ground(today)
    assert not planted.in_ground(today + DAY)
    assert not Noted(planted=today - DAY, lifted=today).in_ground(today)


def test_the_last_word_on_why_the_tops_go_down_counts_from_the_first_day(make, today):
    journal = make.journal(
        make.entry(today - 9 * DAY, "dying back", cause="thirst"),
        make.entry(today - 3 * DAY, "dying back", cause="age"),
    )
    days = noted(journal, make.planting())
    assert (days.dying, days.dying_cause) == (today - 9 * DAY, Cause.AGE)
    unsaid = noted(make.journal(make.entry(today, "dying back")), make.planting())
    assert unsaid.dying_cause is Cause.UNKNOWN


@pytest.mark.parametrize(
    ("dead", "cut", "gone"),
    [(None, None, None), (5, None, 5), (None, 3, 3), (5, 3, 5), (3, 5, 5)],
)
def test_tops_are_gone_when_dead_or_cut_whichever_came_first(today, dead, cut, gone):
    ago = {None: None} | {days: today - days * DAY for days in (3, 5)}
    assert Noted(tops_dead=ago[dead], tops_cut=ago[cut]).tops_gone == ago[gone]


@pytest.mark.parametrize(
    ("days", "stage"),
    [
        ({}, Stage.SEED),
        ({"seed_bought": 60}, Stage.SEED),
        ({"chitting": 40}, Stage.CHITTING),
        ({"chitting": 40, "planted": 30}, Stage.PLANTED),
        ({"planted": 30, "shoots": 9}, Stage.EMERGED),
        ({"planted": 30, "dying": 5}, Stage.DYING_BACK),
        ({"planted": 30, "dying": 5, "tops_cut": 2}, Stage.SKINS_SETTING),
        ({"planted": 30, "lifted": 1}, Stage.LIFTED),
        ({"planted": 30, "lifted": 5, "stored": 1}, Stage.STORED),
        ({"planted": 30, "finished": 1}, Stage.FINISHED),
    ],
)
def test_the_furthest_stage_noted_holds(today, days, stage):
    known = Noted(**{name: today - ago * DAY for name, ago in days.items()})
    now = stage_now(known, None, today)
    assert now.stage is stage
    assert now.noted is bool(days)
    assert now.early == now.since == now.late


@pytest.mark.parametrize(("likely_in", "stage"), [(1, Stage.PLANTED), (0, Stage.EMERGED), (-4, Stage.EMERGED)])
def test_between_planting_and_a_note_the_shoots_are_an_estimate_with_its_range(today, likely_in, stage):
    likely = today + likely_in * DAY
    shoots = DayRange(likely - 8 * DAY, likely, likely + 9 * DAY, 1.0, 0)
    now = stage_now(Noted(planted=today - 30 * DAY), shoots, today)
    assert now.stage is stage
    if stage is Stage.EMERGED:
        assert (now.noted, now.early, now.since, now.late) == (False, shoots.early, likely, shoots.late)


def test_straw_is_as_set_then_as_noted_and_the_journal_has_the_last_word_on_a_day(make):
    first = date(2027, 4, 1)
    bed = make.bed(straw=[(date(2026, 10, 20), 0.10), (first + 4 * DAY, 0.03)])
    journal = make.journal(
        make.entry(first + 2 * DAY, "straw raked off", 0.0, planting=""),
        make.entry(first + 4 * DAY, "straw laid", 0.06, planting=""),
        make.entry(first + 9 * DAY, "straw laid", 0.20, planting=""),
    )
    depths = straw_depths_m(bed, journal, first, 7)
    np.testing.assert_allclose(depths, [0.10, 0.10, 0.0, 0.0, 0.06, 0.06, 0.06])
    assert last_laid(bed, journal, first + 6 * DAY) == first + 4 * DAY
    assert last_laid(bed, journal, first) == date(2026, 10, 20)
    assert last_laid(make.bed(), make.journal(), first) is None


def test_waterings_of_a_day_add_up_and_those_outside_the_run_do_not_count(make, today):
    journal = make.journal(
        make.entry(today - DAY, "watered", 4.0, number=1),
        make.entry(today - DAY, "watered", 6.5, number=2),
        make.entry(today - 9 * DAY, "watered", 9.0),
        make.entry(today - DAY, "watered", 7.0, bed="other"),
    )
    np.testing.assert_allclose(watered_mm(make.bed(), journal, today - 3 * DAY, 4), [0.0, 0.0, 10.5, 0.0])


def test_the_growers_own_gauge_speaks_only_for_the_days_it_was_read(make, today):
    journal = make.journal(make.entry(today - 2 * DAY, "rain", 0.0), make.entry(today - DAY, "rain", 12.0))
    read = rain_read_mm(make.bed(), journal, today - 3 * DAY, 3)
    assert np.isnan(read[0])
    np.testing.assert_allclose(read[1:], [0.0, 12.0])


def test_a_gauge_noted_without_an_amount_is_not_taken_for_dry(make, today):
    """As a journal written by hand may have it."""
    journal = make.journal(make.entry(today - DAY, "rain"))
    assert np.isnan(rain_read_mm(make.bed(), journal, today - DAY, 1)[0])


def test_new_shoots_that_were_cut_start_the_count_again_and_dead_tops_cleared_away_do_not(make, today):
    dead, cleared = make.entry(today - 20 * DAY, "tops dead"), make.entry(today - 15 * DAY, "tops cut")
    again = make.entry(today - 4 * DAY, "tops cut", number=1)
    assert noted(make.journal(dead, cleared), make.planting()).tops_gone == today - 20 * DAY
    assert noted(make.journal(dead, cleared, again), make.planting()).tops_gone == today - 4 * DAY


def test_a_crop_noted_only_as_stored_is_out_of_the_ground(today):
    days = Noted(planted=today - 99 * DAY, stored=today - DAY)
    assert days.out_of_ground == today - DAY
    assert not days.in_ground(today)
    assert days.is_kept(today)
