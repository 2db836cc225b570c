"""What one morning may leave to the next: taken over while all it was made from is equal, and never else."""

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from haulm.beds.in_step import asked, finished
from haulm.beds.memo import OPEN_DAYS, Memo


@dataclass(frozen=True)
class Sums:
    total: NDArray[np.float64]


def at_once(answer):
    """A course that comes to this answer."""
    return asked(lambda answers: answers, answer)


class Walk:
    """A march that adds up, and remembers which days it was asked for."""

    def __init__(self):
        self.memo, self.days = Memo(), []

    def to(self, values, given=("here",), start=0.0):
        inputs = np.asarray(values, dtype=float)[None, :]

        def run(state, days):
            self.days += range(days.start, days.stop)
            total = state + np.cumsum(inputs[0, days])
            return at_once((float(total[-1]), Sums(total)))

        self.days = []
        state, found = finished(self.memo.march("walk", given, inputs, lambda: start, run))
        assert state == found.total[-1]
        np.testing.assert_allclose(found.total, start + np.cumsum(inputs[0]), atol=1e-12)
        return self.days


@pytest.fixture
def walk():
    return Walk()


def test_a_day_more_costs_a_day_more(walk):
    values = np.arange(100.0)
    assert walk.to(values[:90]) == list(range(90))
    assert walk.to(values[:91]) == [90]
    assert walk.to(values[:95]) == [91, 92, 93, 94]
    assert walk.to(values[:95]) == []


def test_a_forecast_that_gave_way_to_what_was_observed_is_walked_again(walk):
    values = np.arange(100.0)
    bridged = np.append(values[:90], 50.0)
    walk.to(bridged)
    assert walk.to(values[:92]) == list(range(91 - OPEN_DAYS, 92))


def test_every_morning_another_forecast_of_yesterday_costs_a_few_days_each(walk):
    values = np.arange(60.0)
    walk.to(values[:30])
    for today in range(31, 60):
        days = walk.to(np.append(values[: today - 1], -7.0))
        assert len(days) <= (2 if today > 31 else OPEN_DAYS + 2)


@pytest.mark.parametrize("late", [1, 3, 8])
def test_a_station_that_is_always_late_by_so_many_days_costs_so_many_each(walk, late):
    values = np.arange(80.0)
    for today in range(40, 80):
        days = walk.to(np.append(values[: today - late], np.full(late, -today)))
        if today > 40 + late + 1:
            assert len(days) == late + 1


def test_a_change_long_ago_is_walked_from_the_beginning(walk):
    values = np.arange(50.0)
    walk.to(values)
    late = values.copy()
    late[3] = 9.0
    assert walk.to(late) == list(range(50))
    assert walk.to(late) == []


def test_not_known_is_equal_to_not_known_and_to_nothing_else(walk):
    memo, walked = Memo(), []

    def run(state, days):
        walked.append(days)
        return at_once((state, Sums(inputs[0, days])))

    for inputs in (np.array([[1.0, np.nan] + [0.0] * 8]), np.array([[1.0, np.nan] + [0.0] * 8])):
        finished(memo.march("walk", (), inputs, float, run))
    assert len(walked) == 2  # the first time, in its two pieces
    inputs = np.array([[1.0, 2.0] + [0.0] * 8])
    finished(memo.march("walk", (), inputs, float, run))
    assert len(walked) == 4


def test_other_circumstances_begin_anew(walk):
    values = np.arange(20.0)
    walk.to(values)
    assert walk.to(values, given=("there",), start=5.0) == list(range(20))


def test_fewer_days_than_before_is_a_morning_gone_back_to(walk):
    values = np.arange(40.0)
    walk.to(values)
    assert walk.to(values[:30]) == list(range(30))


def test_fewer_days_than_stay_open(walk):
    assert walk.to([1.0, 2.0]) == [0, 1]
    assert walk.to([1.0, 2.0, 3.0]) == [2]


def test_results_are_kept_while_all_they_are_made_from_is_equal():
    memo, made = Memo(), []

    def ask(name, *given):
        def work():
            made.append(given)
            return len(made)

        return memo.kept(name, given, work)

    assert ask("a", np.array([1.0, np.nan]), "x") == 1
    assert ask("a", np.array([1.0, np.nan]), "x") == 1
    assert ask("a", np.array([1.0, 2.0]), "x") == 2
    assert ask("a", np.array([1.0, 2.0]), "y") == 3
    assert ask("a", np.array([1.0, 2.0])) == 4
    assert ask("b", np.array([1.0, 2.0])) == 5
    assert ask("a", 1) == 6
    assert ask("a", True) == 7  # equal in Python, but another thing


def test_a_part_of_its_own_has_results_of_its_own():
    memo = Memo()
    assert memo.under("one").kept("a", (1,), lambda: "first") == "first"
    assert memo.under("two").kept("a", (1,), lambda: "second") == "second"
    assert memo.under("one").kept("a", (1,), lambda: "third") == "first"
