"""Straw as it lies: laid straw settles, added straw lies fresh on it, raking takes from all of it."""

import numpy as np
import pytest

from haulm.beds.straw import straw_lying_m
from haulm.science.bed_surface import settled_m
from haulm.weather import DAY


def laid(make, day, depth_m, what="straw laid"):
    return make.entry(day, what, depth_m, planting="")


def test_laid_straw_settles_and_the_note_is_of_the_whole_depth(make, today):
    journal = make.journal(laid(make, today, 0.10), laid(make, today + 30 * DAY, 0.20))
    lying = straw_lying_m(make.bed(), journal, today - 2 * DAY, 100)
    assert (lying[:2] == 0.0).all()
    assert lying[2] == pytest.approx(0.10)
    assert lying[31] == pytest.approx(float(settled_m(0.10, 29)))
    assert lying[32] == pytest.approx(0.20)
    old = float(settled_m(0.10, 30))
    assert lying[62] == pytest.approx(float(settled_m(0.10, 60) + settled_m(0.20 - old, 30)))
    assert (np.diff(lying[32:]) < 0).all()


def test_straw_of_long_ago_has_settled_before_the_first_day(make, today):
    bed = make.bed(straw=[(today - 400 * DAY, 0.25)])
    np.testing.assert_allclose(straw_lying_m(bed, make.journal(), today, 3), 0.15, atol=1e-6)


def test_raking_takes_from_every_layer_and_to_nothing_takes_all(make, today):
    laid_twice = [laid(make, today, 0.10), laid(make, today + 10 * DAY, 0.20)]
    half = make.journal(*laid_twice, laid(make, today + 20 * DAY, 0.05, "straw raked off"))
    none = make.journal(*laid_twice, laid(make, today + 20 * DAY, 0.0, "straw raked off"))
    lying = straw_lying_m(make.bed(), half, today, 60)
    assert lying[20] == pytest.approx(0.05)
    assert lying[59] < lying[20]
    assert (straw_lying_m(make.bed(), none, today, 60)[20:] == 0.0).all()


def test_straw_that_the_settings_have_from_a_day_after_the_last_one_run_is_not_there_yet(make, today):
    now = make.bed(straw=((today - DAY, 0.1),))
    later = make.bed(straw=((today - DAY, 0.1), (today + 15 * DAY, 0.2)))
    told = straw_lying_m(later, make.journal(), today, 16)
    np.testing.assert_array_equal(
        straw_lying_m(later, make.journal(), today, 10), straw_lying_m(now, make.journal(), today, 10)
    )
    assert told[-1] == pytest.approx(0.2)
    assert (straw_lying_m(make.bed(straw=((today + 15 * DAY, 0.2),)), make.journal(), today, 10) == 0.0).all()
