"""States: exact to the last bit, named by their parameters, the newest days only."""

from datetime import date, timedelta

import numpy as np

from haulm.store.database import Database
from haulm.store.states import KEPT_DAYS, BedState, keep_states, read_state

DAY = date(2027, 4, 12)


def state(through: date, number: float = 0.1, fingerprint: str = "p1", bed: str = "gatebed") -> BedState:
    return BedState("brackenford", bed, through, fingerprint, np.array([number, np.nan, -0.0, 1e-300]))


def through(database: Database, day: date, fingerprint: str = "p1") -> date | None:
    found = read_state(database, "brackenford", "gatebed", fingerprint, day)
    return None if found is None else found.through_day


def test_numbers_come_back_bit_for_bit_and_may_be_changed(database: Database) -> None:
    numbers = np.random.default_rng(5).normal(size=(3, 1, 4))
    keep_states(database, [BedState("brackenford", "gatebed", DAY, "p1", numbers[:, :, ::-1])])
    found = read_state(database, "brackenford", "gatebed", "p1", DAY)
    assert found is not None
    assert found.numbers.tobytes() == np.ascontiguousarray(numbers[:, :, ::-1]).tobytes()
    assert found.numbers.shape == (3, 1, 4)
    found.numbers[0] = 1.0


def test_the_newest_that_reaches_no_further_is_read(database: Database) -> None:
    keep_states(database, [state(DAY - timedelta(days=n)) for n in (0, 1, 5)])
    assert through(database, DAY - timedelta(days=1)) == DAY - timedelta(days=1)
    assert through(database, DAY - timedelta(days=2)) == DAY - timedelta(days=5)
    assert through(database, DAY - timedelta(days=6)) is None


def test_other_parameters_mean_another_state(database: Database) -> None:
    keep_states(database, [state(DAY)])
    assert through(database, DAY, "p2") is None
    keep_states(database, [state(DAY, fingerprint="p2"), state(DAY, bed="otherbed")])
    assert through(database, DAY, "p2") == DAY
    assert through(database, DAY) is None  # the old ones are gone


def test_only_the_newest_days_stay(database: Database) -> None:
    for n in range(KEPT_DAYS + 5):
        keep_states(database, [state(DAY + timedelta(days=n))])
    assert len(database.rows("SELECT * FROM states")) == KEPT_DAYS
    assert through(database, DAY + timedelta(days=4)) is None
    assert through(database, DAY + timedelta(days=5)) == DAY + timedelta(days=5)
