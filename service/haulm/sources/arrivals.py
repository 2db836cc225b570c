"""When each observed day first reached us, remembered from one fetch to the next."""

import io
import zipfile
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from haulm.sources.spool import save_beside
from haulm.weather import FloatArray

DAY_S = 86400.0


def arrivals(path: Path, first: date, values: FloatArray, fetched: FloatArray, usual_delay: timedelta) -> FloatArray:
    """When each day's row came as it now stands, seconds since 1970 UTC; NaN where that was never noted.

    A row that the last fetch had too keeps its instant, a new or changed one gets that of its file. Days that were old
    already when they were first seen (a station just chosen, a year just added) are NaN: they had been there before.

    Parameters
    ----------
    path
        Where this is remembered; written when something changed.
    values
        The rows, of shape (days, quantities).
    fetched
        When the file of each row came, seconds since 1970 UTC; NaN where there is none.
    """
    before = _remembered(path, values.shape[1])
    numbers = first.toordinal() + np.arange(len(values))
    old = (numbers - date(1970, 1, 1).toordinal() + 1) * DAY_S + usual_delay.total_seconds() < fetched
    received = np.where(old, np.nan, fetched)
    if before is not None:
        known_first, known_values, known_received = before
        received = np.where(numbers < known_first, received, fetched)
        same = _same_rows(numbers, values, known_first, known_values)
        received[same] = known_received[numbers[same] - known_first]
    received[np.isnan(values).all(axis=1)] = np.nan
    _remember(path, first, values, received, before)
    return received


_Memory = tuple[int, FloatArray, FloatArray]


def _same_rows(
    numbers: NDArray[np.int64], values: FloatArray, known_first: int, known: FloatArray
) -> NDArray[np.bool_]:
    same = np.zeros(len(values), dtype=bool)
    at = numbers - known_first
    held = (at >= 0) & (at < len(known))
    ours, theirs = values[held], known[at[held]]
    same[held] = ((ours == theirs) | (np.isnan(ours) & np.isnan(theirs))).all(axis=1)
    return same


def _remembered(path: Path, width: int) -> _Memory | None:
    try:
        with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as held:
            memory = int(held["first"]), held["values"], held["received"]
            return memory if memory[1].shape == (len(memory[2]), width) else None
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None  # as if seen for the first time


def _remember(path: Path, first: date, values: FloatArray, received: FloatArray, before: _Memory | None) -> None:
    now = (first.toordinal(), values, received)
    if (
        before
        and before[0] == now[0]
        and all(np.array_equal(old, new, equal_nan=True) for old, new in zip(before[1:], now[1:], strict=True))
    ):
        return
    packed = io.BytesIO()
    np.savez_compressed(packed, first=now[0], values=values, received=received)
    save_beside(path, packed.getvalue())
