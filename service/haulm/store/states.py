"""The state of each bed after a day, so that the next morning need not begin with the first. It may be lost."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

import numpy as np

from haulm.steps import Step
from haulm.store.database import Database
from haulm.weather import FloatArray

# A morning resumes from yesterday or from the day before the first that changed; stations seldom revise further back.
KEPT_DAYS = 40


@dataclass(frozen=True, slots=True, eq=False)
class BedState:
    """A bed's state at the end of a local day.

    `fingerprint` names the parameters it was worked out with: under others it means nothing.
    """

    garden: str
    bed: str
    through_day: date
    fingerprint: str
    numbers: FloatArray


def keep_states(database: Database, states: Iterable[BedState]) -> None:
    """Store states; of each bed the newest `KEPT_DAYS` days of the same fingerprint stay, all else goes."""
    with database.transaction(Step.LETTER_STORED):
        for state in states:
            key = (state.garden, state.bed, state.fingerprint)
            database.rows(
                """INSERT OR REPLACE INTO states (garden, bed, fingerprint, through_day, shape, numbers)
                   VALUES (?, ?, ?, ?, ?, ?)""",
                (*key, state.through_day.isoformat(), json.dumps(state.numbers.shape), _bytes_of(state.numbers)),
            )
            database.rows(
                """DELETE FROM states WHERE garden = ? AND bed = ? AND (fingerprint <> ? OR through_day NOT IN (
                       SELECT through_day FROM states WHERE garden = ? AND bed = ? AND fingerprint = ?
                       ORDER BY through_day DESC LIMIT ?))""",
                (*key, *key, KEPT_DAYS),
            )


def read_state(database: Database, garden: str, bed: str, fingerprint: str, through: date) -> BedState | None:
    """The newest state of a bed that reaches no further than a local day; None if there is none."""
    row = database.row(
        """SELECT through_day, shape, numbers FROM states
           WHERE garden = ? AND bed = ? AND fingerprint = ? AND through_day <= ? ORDER BY through_day DESC LIMIT 1""",
        (garden, bed, fingerprint, through.isoformat()),
    )
    if row is None:
        return None
    numbers = np.frombuffer(row["numbers"], dtype="<f8").astype(np.float64).reshape(json.loads(row["shape"]))
    return BedState(garden, bed, date.fromisoformat(row["through_day"]), fingerprint, numbers)


def _bytes_of(numbers: FloatArray) -> bytes:
    return np.ascontiguousarray(numbers, dtype="<f8").tobytes()
