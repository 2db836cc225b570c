"""How the faults of a simulated year are dealt."""

from datetime import date, timedelta
from pathlib import Path

import pytest
import world
from faults import STEPS, kinds
from plan import CROWDED_CALLS, Plan, dealt

KINDS = kinds(STEPS)


def test_where_no_small_disk_may_be_mounted_no_disk_is_filled(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    assert not world.mounted(tmp_path)
    assert {one.name for one in KINDS} - {one.name for one in kinds(STEPS, small_disk=False)} == {"disk full"}


def test_a_year_deals_each_kind_as_often_as_it_is_to_come() -> None:
    plan = dealt(4, 365, KINDS)
    names = [one.kind.name for day in plan.faults.values() for one in day] + [one.name for one in plan.left]
    assert {kind.name: names.count(kind.name) for kind in KINDS} == {kind.name: kind.a_year for kind in KINDS}


@pytest.mark.parametrize("seed", range(5))
def test_the_short_form_deals_every_kind_once_and_one_stopping_fault_to_a_call(seed: int) -> None:
    plan = dealt(seed, 20, KINDS, each_once=True)
    names = [one.kind.name for day in plan.faults.values() for one in day] + [one.name for one in plan.left]
    assert sorted(names) == sorted(kind.name for kind in KINDS)
    for day in plan.faults.values():
        stopping = [(one.strikes, one.first) for one in day if not one.kind.source]
        assert len(stopping) == len(set(stopping))
        assert all(first < (CROWDED_CALLS if strikes == "morning" else 1) for strikes, first in stopping)


def test_one_that_is_never_met_does_not_keep_the_others_that_are_owed_out() -> None:
    plan = Plan({}, {}, [])
    owed = [kind for kind in KINDS if kind.name in {"mailbox breaks off mid-fetch", "killed at: run ended"}]
    days = [date(2027, 6, 1) + timedelta(days=n) for n in range(20)]
    assert {tuple(one.kind.name for one in plan.of(day, owed)) for day in days} == {(one.name,) for one in owed}
