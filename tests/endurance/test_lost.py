"""What the simulated year holds of weather that went with a damaged store."""

import sqlite3
from contextlib import closing
from datetime import date, timedelta

import lost
import pytest
from sky import NEIGHBOUR, STATION

TODAY = date(2027, 6, 20)


def _row(station: str, days_ago: int) -> lost.Row:
    return station, "air_min_c", (TODAY - timedelta(days=days_ago)).isoformat(), 7.5


@pytest.mark.parametrize(
    ("station", "days_ago", "told"),
    [(STATION, 1, True), (STATION, 0, False), (NEIGHBOUR, 3, True), (NEIGHBOUR, 2, False)],
)
def test_a_row_is_due_on_the_day_of_the_mending_if_its_station_tells_it_by_then(
    station: str, days_ago: int, told: bool
) -> None:
    faults = ["store gone"]
    assert lost.due(_row(station, days_ago), TODAY, faults, restored=True, asked=False) is told
    assert lost.due(_row(station, days_ago), TODAY + timedelta(days=1), [], restored=False, asked=True)


def test_a_mending_among_other_faults_has_until_the_next_morning_that_asks_the_station() -> None:
    row, faults = _row(STATION, 2), ["store truncated", "station's days: hang"]
    assert not lost.due(row, TODAY, faults, restored=True, asked=True)
    assert not lost.due(row, TODAY, [], restored=False, asked=False)
    assert not lost.due(row, TODAY, ["station's days: 404"], restored=False, asked=True)
    assert not lost.due(row, TODAY, ["clock a day back"], restored=False, asked=True)
    assert lost.due(row, TODAY, ["second station's days: 404", "mail refused"], restored=False, asked=True)


def test_a_row_counts_as_back_with_its_own_value_alone() -> None:
    with closing(sqlite3.connect(":memory:")) as database:
        database.execute("CREATE TABLE weather (station TEXT, quantity TEXT, day TEXT, value REAL)")
        back, other, missing = _row(STATION, 1), _row(STATION, 2), _row(NEIGHBOUR, 3)
        database.execute("INSERT INTO weather VALUES (?, ?, ?, ?)", back)
        database.execute("INSERT INTO weather VALUES (?, ?, ?, ?)", (*other[:3], 8.0))
        assert lost.still_lost(database, [back, other, missing]) == [other, missing]
