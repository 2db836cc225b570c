"""Files and store as one station's record at an instant."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from haulm.sources.held import known_by
from haulm.weather import Origin, Record, unknown_days

NOON = datetime(2027, 5, 4, 12, tzinfo=UTC)
FIRST = date(2027, 5, 1)


def record(first, rain, received=None):
    values = np.array(rain, dtype=float)
    noted = np.full(len(values), np.nan) if received is None else np.array(received, dtype=float)
    days = unknown_days(first, len(values), rain_mm=values)
    return Record(Origin("99901", "Brackenford Hill"), days, noted, timedelta(days=1))


def at(hours):
    return (NOON + timedelta(hours=hours)).timestamp()


def test_nothing_is_nothing():
    assert known_by(None, None, NOON) is None


def test_either_alone_stands():
    one = record(FIRST, [1.0, 2.0])
    assert known_by(one, None, NOON) is one
    assert known_by(None, one, NOON) is one


def test_the_file_is_the_newer_truth_and_the_store_gives_what_it_lacks():
    files = record(date(2027, 5, 2), [2.5, np.nan, 4.0], [at(-3)] * 3)
    held = record(FIRST, [1.0, 2.0, 3.0], [at(-9), at(-8), at(-7)])
    both = known_by(files, held, NOON)
    assert (both.days.first, both.days.last) == (FIRST, date(2027, 5, 4))
    assert both.days.rain_mm.tolist() == [1.0, 2.5, 3.0, 4.0]
    assert both.received.tolist() == [at(-9), at(-3), at(-7), at(-3)]


def test_what_came_later_is_not_known_yet_and_the_older_value_is():
    files = record(FIRST, [9.0, 2.0], [at(1), np.nan])
    held = record(FIRST, [1.0], [at(-20)])
    assert known_by(files, held, NOON).days.rain_mm.tolist() == [1.0, 2.0]
    alone = known_by(files, None, NOON)
    assert np.isnan(alone.days.rain_mm[0])
    assert alone.days.rain_mm[1] == 2.0


@pytest.mark.parametrize("hours", [0, -1])
def test_the_instant_itself_counts(hours):
    assert known_by(record(FIRST, [1.0], [at(hours)]), None, NOON).days.rain_mm.tolist() == [1.0]
