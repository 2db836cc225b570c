"""Weather in the store: observed days with every revision, and forecasts as they were issued."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import groupby

import numpy as np

from haulm.steps import Step
from haulm.store.database import Database, Value
from haulm.store.instants import instant_of, instant_text
from haulm.weather import DAY, QUANTITIES, Days, FloatArray, Forecast, Origin, Record, unknown_days

# Longest time by which a local day can end after the same day does in UTC.
_ZONES = timedelta(hours=12)

_NOT_NOTED = ""


@dataclass(frozen=True, slots=True)
class _Held:
    """What the store holds of one station already: newest values, and the first day of each quantity."""

    values: dict[tuple[str, str], float]
    first: dict[str, str]


def keep_record(database: Database, record: Record, now: datetime) -> date | None:
    """Store what is new or changed in a record; a changed value is added, and the older one stays beside it.

    A value counts as received when the record notes it, else now. History, that is days before the first one held that
    were long due by now, stays without a note where the record has none: it was there before anybody looked.
    A value that is not known says nothing: it never takes back one that is held.

    Returns
    -------
    date or None
        The first local day that is new or changed, from which states have to be worked out again.
    """
    station, arrived, long_due = record.origin.key, instant_text(now), _long_due(now, record.usual_delay)
    with database.transaction(Step.WEATHER_KEPT):
        held = _held(database, station)
        new = [
            (station, quantity, day, _received(record, held, (quantity, day), arrived, long_due), value)
            for quantity, day, value in _cells(record.days)
            if held.values.get((quantity, day)) != value
        ]
        database.run_many(
            """INSERT INTO weather (station, quantity, day, received, value) VALUES (?, ?, ?, ?, ?)
               ON CONFLICT DO UPDATE SET value = excluded.value""",
            new,
        )
    return date.fromisoformat(min(day for _, _, day, _, _ in new)) if new else None


def read_record(database: Database, origin: Origin, usual_delay: timedelta, as_of: datetime) -> Record | None:
    """A station's days as they were known at an instant; None if nothing of it was.

    `received` of a day is that of its newest value. A day held without a note is given whatever the instant, with NaN
    there: the rule of `Record` for such days is left to whoever reads it.
    """
    # SQLite gives the other columns from the row that holds the maximum.
    rows = database.rows(
        """SELECT quantity, day, value, MAX(received) AS received FROM weather
           WHERE station = ? AND received <= ? GROUP BY quantity, day""",
        (origin.key, instant_text(as_of)),
    )
    if not rows:
        return None
    days = _days_from([(row["quantity"], row["day"], row["value"]) for row in rows])
    received = np.full(len(days), np.nan)
    seconds = {text: _seconds(text) for text in {row["received"] for row in rows}}
    for row in rows:
        place = (date.fromisoformat(row["day"]) - days.first).days
        received[place] = np.fmax(received[place], seconds[row["received"]])
    return Record(origin, days, received, usual_delay)


def keep_forecast(database: Database, cell: str, forecast: Forecast, now: datetime) -> bool:
    """Store one issue of a forecast for a cell (a place as its source names it); True if it was new.

    An issue that is held already with the same values is left alone. One that came again with others is kept beside
    the first and, where its arrival was not noted, counts from now.
    """
    source, issued = forecast.origin.key, instant_text(forecast.issued)
    values = {(quantity, day): value for quantity, day, value in _cells(forecast.days)}
    with database.transaction(Step.WEATHER_KEPT):
        newest = database.row(
            "SELECT id FROM forecasts WHERE source = ? AND cell = ? AND issued = ? ORDER BY known DESC LIMIT 1",
            (source, cell, issued),
        )
        if newest is not None and _forecast_values(database, newest["id"]) == values:
            return False
        received = forecast.received or (None if newest is None else now)
        noted = None if received is None else instant_text(received)
        added = database.rows(
            """INSERT INTO forecasts (source, cell, issued, received, known) VALUES (?, ?, ?, ?, ?)
               ON CONFLICT DO UPDATE SET received = excluded.received RETURNING id""",
            (source, cell, issued, noted, noted or issued),
        )
        _write_forecast(database, added[0]["id"], values)
    return True


def read_forecast(database: Database, origin: Origin, cell: str, as_of: datetime) -> Forecast | None:
    """The newest issue that was known at an instant; None if there was none."""
    row = database.row(
        """SELECT id, issued, received FROM forecasts WHERE source = ? AND cell = ? AND known <= ?
           ORDER BY issued DESC, known DESC LIMIT 1""",
        (origin.key, cell, instant_text(as_of)),
    )
    return None if row is None else _forecast(database, origin, row["id"], row["issued"], row["received"])


def read_issues(
    database: Database, origin: Origin, cell: str, since: datetime, until: datetime
) -> tuple[Forecast, ...]:
    """All issues of a span of time, both ends included, oldest first."""
    rows = database.rows(
        """SELECT id, issued, received FROM forecasts WHERE source = ? AND cell = ? AND issued BETWEEN ? AND ?
           ORDER BY issued, known""",
        (origin.key, cell, instant_text(since), instant_text(until)),
    )
    return tuple(_forecast(database, origin, row["id"], row["issued"], row["received"]) for row in rows)


def read_brief_issues(
    database: Database, origin: Origin, cell: str, since: datetime, until: datetime, quantities: Sequence[str]
) -> tuple[Forecast, ...]:
    """The last issue of each UTC day of a span of time, some quantities only, oldest first: two years in one look."""
    # SQLite gives the other columns from the row that holds the maximum.
    rows = database.rows(
        f"""SELECT one.id, one.issued, one.received, v.quantity, v.day, v.value FROM (
                SELECT id, received, MAX(issued || known) AS newest, issued FROM forecasts
                WHERE source = ? AND cell = ? AND issued BETWEEN ? AND ? GROUP BY substr(issued, 1, 10)) AS one
            JOIN forecast_values AS v ON v.forecast = one.id
            WHERE v.quantity IN ({", ".join("?" * len(quantities))}) ORDER BY one.issued""",  # noqa: S608 -- only marks
        (origin.key, cell, instant_text(since), instant_text(until), *quantities),
    )
    issues = []
    for (issued, received), cells in groupby(rows, key=lambda row: (row["issued"], row["received"])):
        days = _days_from([(row["quantity"], row["day"], row["value"]) for row in cells])
        issues.append(Forecast(origin, instant_of(issued), days, instant_of(received) if received else None))
    return tuple(issues)


def _held(database: Database, station: str) -> _Held:
    newest = database.rows(
        "SELECT quantity, day, value, MAX(received) FROM weather WHERE station = ? GROUP BY quantity, day", (station,)
    )
    first = database.rows(
        "SELECT quantity, MIN(day) AS day FROM weather WHERE station = ? GROUP BY quantity", (station,)
    )
    return _Held(
        {(row["quantity"], row["day"]): row["value"] for row in newest}, {row["quantity"]: row["day"] for row in first}
    )


def _received(record: Record, held: _Held, cell: tuple[str, str], arrived: str, long_due: str) -> str:
    quantity, day = cell
    if cell in held.values:
        return arrived
    noted = float(record.received[(date.fromisoformat(day) - record.days.first).days])
    if math.isfinite(noted):
        return instant_text(datetime.fromtimestamp(noted, UTC))
    is_history = day < long_due and day < held.first.get(quantity, "9999")
    return _NOT_NOTED if is_history else arrived


def _long_due(now: datetime, usual_delay: timedelta) -> str:
    """Days before this one should have been here for a day at least: one that is slower counts from when it came."""
    return (now.astimezone(UTC) - usual_delay - _ZONES - 2 * DAY).date().isoformat()


def _cells(days: Days) -> list[tuple[str, str, float]]:
    """Each known value as (quantity, day, value)."""
    names = [(days.first + timedelta(days=place)).isoformat() for place in range(len(days))]
    cells: list[tuple[str, str, float]] = []
    for quantity in QUANTITIES:
        values: FloatArray = getattr(days, quantity)
        cells += [(quantity, names[place], float(values[place])) for place in np.flatnonzero(np.isfinite(values))]
    return cells


def _days_from(cells: Sequence[tuple[str, str, float]]) -> Days:
    first = date.fromisoformat(min(day for _, day, _ in cells))
    last = date.fromisoformat(max(day for _, day, _ in cells))
    days = unknown_days(first, (last - first).days + 1)
    for quantity, day, value in cells:
        getattr(days, quantity)[(date.fromisoformat(day) - first).days] = value
    return days


def _seconds(received: str) -> float:
    return math.nan if received == _NOT_NOTED else instant_of(received).timestamp()


def _write_forecast(database: Database, number: int, values: dict[tuple[str, str], float]) -> None:
    database.rows("DELETE FROM forecast_values WHERE forecast = ?", (number,))
    rows: list[tuple[Value, ...]] = [(number, quantity, day, value) for (quantity, day), value in values.items()]
    database.run_many("INSERT INTO forecast_values (forecast, quantity, day, value) VALUES (?, ?, ?, ?)", rows)


def _forecast_values(database: Database, number: int) -> dict[tuple[str, str], float]:
    rows = database.rows("SELECT quantity, day, value FROM forecast_values WHERE forecast = ?", (number,))
    return {(row["quantity"], row["day"]): row["value"] for row in rows}


def _forecast(database: Database, origin: Origin, number: int, issued: str, received: str | None) -> Forecast:
    values = _forecast_values(database, number)
    cells = [(quantity, day, value) for (quantity, day), value in values.items()]
    days = _days_from(cells) if cells else unknown_days(instant_of(issued).date(), 0)
    return Forecast(origin, instant_of(issued), days, instant_of(received) if received else None)
