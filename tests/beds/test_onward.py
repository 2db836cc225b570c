"""A season goes onward: no stage is ever taken back, and what was noted always wins over what was estimated."""

from dataclasses import fields, replace

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from haulm.beds.crop import shoots_range
from haulm.beds.noted import Noted, stage_now
from haulm.condition import EarlierCrops
from haulm.garden import Cause, Stage
from haulm.weather import DAY, Daily

AFTER_PLANTING = ("shoots", "dying", "tops_dead", "lifted", "stored", "finished")
STAGE_OF = {
    "chitting": Stage.CHITTING, "planted": Stage.PLANTED, "shoots": Stage.EMERGED, "dying": Stage.DYING_BACK,
    "tops_dead": Stage.SKINS_SETTING, "lifted": Stage.LIFTED, "stored": Stage.STORED, "finished": Stage.FINISHED,
}  # fmt: skip
BACK, DAYS = 60, 150
MANY = settings(suppress_health_check=[HealthCheck.function_scoped_fixture])


def seasons(today):
    """Days noted in the order of a season, each of them or not, with weather that no forecast foresaw."""

    @st.composite
    def drawn(draw):
        offsets = sorted(draw(st.lists(st.integers(3, DAYS - 1), min_size=6, max_size=6)))
        told = {name: today + at * DAY for name, at in zip(AFTER_PLANTING, offsets, strict=True) if draw(st.booleans())}
        chitting = today - draw(st.integers(1, 50)) * DAY if draw(st.booleans()) else None
        cause = draw(st.sampled_from([None, *Cause])) if "dying" in told else None
        return Noted(chitting=chitting, planted=today, dying_cause=cause, **told), draw(st.integers(0, 2**32 - 1))

    return drawn()


def known(days, morning):
    """As much of it as was noted by a morning."""
    later = {
        f.name: None for f in fields(days) if f.name != "dying_cause" and (getattr(days, f.name) or morning) > morning
    }
    return replace(days, **later)


def soil_as_known(true_c, at, rng):
    """Past days as they were; from then on a forecast that errs by a random walk."""
    return np.concatenate([true_c[:at], true_c[at:] + np.cumsum(rng.normal(0.0, 0.7, len(true_c) - at))])


@given(data=st.data())
@MANY
def test_no_stage_is_taken_back_and_what_was_noted_wins(today, data):
    days, seed = data.draw(seasons(today))
    rng = np.random.default_rng(seed)
    true_c = 11.0 + np.cumsum(rng.normal(0.05, 0.8, BACK + DAYS))
    moved = EarlierCrops(2, float(rng.uniform(-0.4, 0.4)), 0, 1.0)
    reached = 0
    for at in range(DAYS):
        morning = today + at * DAY
        now = known(days, morning)
        soil = Daily(today - BACK * DAY, soil_as_known(true_c, BACK + at, rng))
        stage = stage_now(now, shoots_range(now, soil, morning, moved), morning)
        assert stage.stage.order >= reached, morning
        reached = stage.stage.order
        noted = [name for name in STAGE_OF if getattr(now, name) is not None]
        furthest = max((STAGE_OF[name] for name in noted), key=lambda one: one.order)
        assert stage.stage.order >= furthest.order
        if stage.noted:
            assert stage.stage is furthest
            assert stage.since == max(getattr(now, name) for name in noted if STAGE_OF[name] is furthest)
        else:
            assert (stage.stage, furthest) in {(Stage.EMERGED, Stage.PLANTED), (Stage.STORED, Stage.LIFTED)}


@given(data=st.data())
@MANY
def test_noted_shoots_win_over_any_soil(today, data):
    days, seed = data.draw(seasons(today))
    if days.shoots is None:
        return
    soil = Daily(today - BACK * DAY, np.random.default_rng(seed).uniform(-5.0, 35.0, BACK + DAYS))
    found = shoots_range(days, soil, today + DAYS * DAY)
    assert (found.early, found.likely, found.late) == (days.shoots,) * 3
