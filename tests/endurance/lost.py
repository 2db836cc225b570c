"""Weather that went with a damaged store: each row is to be there again once its station was asked for it anew."""

import sqlite3
from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from services import SOURCES
from sky import NCEI_LATE, NEIGHBOUR, STATION

Row = tuple[str, str, str, float]
COLUMNS = "station, quantity, day, value"
# When each station tells a day, counted from that day, and by what name its faults begin.
_TELLS = {
    STATION: (timedelta(days=1), SOURCES["daily"]),
    NEIGHBOUR: (NCEI_LATE, SOURCES["ncei"]),
}


def station_of(key: str) -> str:
    """The station itself out of the name under which the store has it."""
    return key.rpartition(":")[2].rpartition("/")[2]


def due(row: Row, on: date, faults: Sequence[str], *, restored: bool, asked: bool) -> bool:
    """Whether a lost row has to be there again at the end of a day.

    A mending asks every station at once, and so does each letter that a healthy morning writes. What a station had told
    before its time (a fault of its own) it cannot tell again until then.

    Parameters
    ----------
    on, faults
        The day, and the kinds of faults that were met on it.
    restored, asked
        Whether the store was mended on it; whether a healthy morning wrote that day's letter on it.
    """
    tells_after, named = _TELLS[station_of(row[0])]
    if date.fromisoformat(row[2]) + tells_after > on:
        return False
    if restored:
        return all(one.startswith("store") for one in faults)
    return asked and not any(one.startswith((named, "clock")) for one in faults)


def still_lost(database: sqlite3.Connection, rows: Sequence[Row]) -> list[Row]:
    """Those rows of the weather that the store does not hold now."""
    found = []
    for row in rows:
        held: Any = database.execute(
            "SELECT 1 FROM main.weather WHERE station = ? AND quantity = ? AND day = ? AND value = ?", row
        ).fetchone()
        if held is None:
            found.append(row)
    return found
