"""What is known of a station at one instant: what was fetched by then, else what the store held by then."""

from dataclasses import replace
from datetime import date, datetime

import numpy as np

from haulm.weather import QUANTITIES, FloatArray, Record, unknown_days


def known_by(fetched: Record | None, held: Record | None, as_of: datetime) -> Record | None:
    """One station's record out of its files and the store; None if neither has anything.

    A file is the newer truth, so its values stand; the store gives what a file no longer gives, because it could not
    be fetched now, or because the value in it came (or was changed) only after `as_of`.

    Parameters
    ----------
    fetched
        From the files.
    held
        From the store, as it was known at `as_of`.
    as_of
        The instant; rows of the files noted as received later are left out.
    """
    files = _until(fetched, as_of) if fetched is not None else None
    if files is None or held is None:
        return files if held is None else held
    first, last = min(files.days.first, held.days.first), max(files.days.last, held.days.last)
    ours, theirs = files.days.cut(first, last), held.days.cut(first, last)
    values, lent, own = {}, np.zeros(len(ours), dtype=bool), np.zeros(len(ours), dtype=bool)
    for name in QUANTITIES:
        mine, other = getattr(ours, name), getattr(theirs, name)
        values[name] = np.where(np.isfinite(mine), mine, other)
        own |= np.isfinite(mine)
        lent |= np.isnan(mine) & np.isfinite(other)
    noted, stored = (_received(one, first, len(ours)) for one in (files, held))
    received = np.where(own & lent, np.fmax(noted, stored), np.where(own, noted, stored))
    return replace(files, days=unknown_days(first, len(ours), **values), received=received)


def _until(record: Record, as_of: datetime) -> Record:
    late = record.received > as_of.timestamp()  # a row whose arrival was not noted is left to whoever reads it
    if not late.any():
        return record
    values = {name: np.where(late, np.nan, getattr(record.days, name)) for name in QUANTITIES}
    days = unknown_days(record.days.first, len(record.days), **values)
    return replace(record, days=days, received=np.where(late, np.nan, record.received))


def _received(record: Record, first: date, count: int) -> FloatArray:
    whole = np.full(count, np.nan)
    offset = (record.days.first - first).days
    whole[offset : offset + len(record.days)] = record.received
    return whole
