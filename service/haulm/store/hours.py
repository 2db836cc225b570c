"""Hours as they were observed, and those of the newest forecast: what a day cannot tell about a night or wet leaves."""

from collections.abc import Mapping
from datetime import datetime, timedelta

import numpy as np

from haulm.steps import Step
from haulm.store.database import Database
from haulm.store.instants import instant_of, instant_text
from haulm.weather import HOUR, HOURLY, FloatArray, Hours

# How long things are kept (judgement). Days of weather, letters, episodes, notes and runs are kept for good.
KEPT_HOURS = timedelta(days=400)  # a season and the one before it
KEPT_ISSUES = timedelta(days=1100)  # three years of forecasts, to grade them by


def keep_hours(database: Database, series: str, first: datetime, values: Mapping[str, FloatArray]) -> int:
    """Store hours that are known, newer values in place of older ones; how many values that were.

    Parameters
    ----------
    series
        Whose hours they are: a station's key.
    first
        The first hour (UTC); every array of `values` goes on from it without a break, NaN where not known.
    """
    rows = [
        (series, instant_text(first + int(position) * HOUR), name, float(column[position]))
        for name, column in values.items()
        for position in np.flatnonzero(np.isfinite(column))
    ]
    with database.transaction(Step.HOURS_KEPT):
        database.run_many(
            """INSERT INTO hours (series, hour, quantity, value) VALUES (?, ?, ?, ?)
               ON CONFLICT DO UPDATE SET value = excluded.value""",
            rows,
        )
    return len(rows)


def replace_hours(database: Database, series: str, first: datetime, values: Mapping[str, FloatArray]) -> int:
    """The same for a series that is issued again and again: what an earlier issue said of these hours and later goes.

    So what is past stays as the last issue before it had it.
    """
    with database.transaction(Step.WEATHER_KEPT):
        database.rows("DELETE FROM hours WHERE series = ? AND hour >= ?", (series, instant_text(first)))
        return keep_hours(database, series, first, values)


def read_hours(
    database: Database, series: str, quantity: str, since: datetime, until: datetime
) -> tuple[tuple[datetime, float], ...]:
    """The known hours of a quantity in a span of time, both ends included, in order."""
    rows = database.rows(
        "SELECT hour, value FROM hours WHERE series = ? AND quantity = ? AND hour BETWEEN ? AND ? ORDER BY hour",
        (series, quantity, instant_text(since), instant_text(until)),
    )
    return tuple((instant_of(row["hour"]), row["value"]) for row in rows)


def read_run(database: Database, series: str, since: datetime, until: datetime) -> Hours | None:
    """All known hours of a series from an instant up to another (that one left out), on one run without a break."""
    rows = database.rows(
        "SELECT hour, quantity, value FROM hours WHERE series = ? AND hour >= ? AND hour < ? ORDER BY hour",
        (series, instant_text(since), instant_text(until)),
    )
    if not rows:
        return None
    first = instant_of(rows[0]["hour"])
    at = {text: (instant_of(text) - first) // HOUR for text in {row["hour"] for row in rows}}
    count = max(at.values()) + 1
    values = {name: np.full(count, np.nan) for name in HOURLY}
    for row in rows:
        if row["quantity"] in values:
            values[row["quantity"]][at[row["hour"]]] = row["value"]
    stated = np.any([np.isfinite(column) for column in values.values()], axis=0)
    return Hours(first, span_hours=stated.astype(np.int8), **values)


def forget_old(database: Database, now: datetime) -> None:
    """Drop hours and forecasts that are past their time."""
    with database.transaction(Step.WEATHER_KEPT):
        database.rows("DELETE FROM hours WHERE hour < ?", (instant_text(now - KEPT_HOURS),))
        database.rows("DELETE FROM forecasts WHERE issued < ?", (instant_text(now - KEPT_ISSUES),))
