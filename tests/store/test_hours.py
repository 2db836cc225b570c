"""Hours in the store: newer values win, the newest issue counts from its first hour on, and old ones go."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from haulm.store.database import open_database
from haulm.store.hours import KEPT_HOURS, forget_old, keep_hours, read_hours, read_run, replace_hours

FIRST = datetime(2027, 5, 4, 0, tzinfo=UTC)


@pytest.fixture
def database(tmp_path):
    with open_database(tmp_path / "haulm.sqlite") as opened:
        yield opened


def air(database, series="s"):
    return [value for _, value in read_hours(database, series, "air_c", FIRST, FIRST + timedelta(days=2))]


def test_known_hours_come_back_in_order_and_newer_values_win(database):
    assert keep_hours(database, "s", FIRST, {"air_c": np.array([1.0, np.nan, 3.0])}) == 2
    assert keep_hours(database, "s", FIRST + timedelta(hours=1), {"air_c": np.array([2.0, 3.5])}) == 2
    assert air(database) == [1.0, 2.0, 3.5]


def test_a_newer_issue_leaves_of_the_one_before_only_what_is_past(database):
    replace_hours(database, "forecast x", FIRST, {"air_c": np.array([1.0, 2.0, 3.0, 4.0])})
    keep_hours(database, "s", FIRST, {"air_c": np.array([5.0])})
    replace_hours(database, "forecast x", FIRST + timedelta(hours=2), {"air_c": np.array([9.0])})
    assert air(database, "forecast x") == [1.0, 2.0, 9.0]
    assert air(database) == [5.0]


def test_a_run_of_hours_is_read_as_one_with_its_holes(database):
    keep_hours(database, "s", FIRST, {"air_c": np.array([1.0, np.nan, np.nan, 4.0, 5.0])})
    keep_hours(database, "s", FIRST, {"humidity_pct": np.array([np.nan, 80.0])})
    keep_hours(database, "other", FIRST, {"air_c": np.array([7.0])})
    held = read_run(database, "s", FIRST, FIRST + timedelta(hours=4))
    assert held is not None
    assert (held.first, len(held)) == (FIRST, 4)
    assert np.array_equal(held.air_c, [1.0, np.nan, np.nan, 4.0], equal_nan=True)
    assert np.array_equal(held.humidity_pct, [np.nan, 80.0, np.nan, np.nan], equal_nan=True)
    assert held.span_hours.tolist() == [1, 1, 0, 1]
    assert read_run(database, "s", FIRST + timedelta(days=1), FIRST + timedelta(days=2)) is None


def test_hours_past_their_time_go(database):
    keep_hours(database, "s", FIRST, {"air_c": np.arange(3.0)})
    forget_old(database, FIRST + KEPT_HOURS + timedelta(hours=2))
    assert air(database) == [2.0]
