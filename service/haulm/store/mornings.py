"""The one transaction that makes a letter a fact."""

from collections.abc import Sequence

from haulm.advice import Said
from haulm.steps import Step
from haulm.store.database import Database
from haulm.store.letters import Address, StoredLetter, keep_letter
from haulm.store.runs import mark_written
from haulm.store.said import keep_said


def record_morning(
    database: Database,
    run: int,
    letter: StoredLetter,
    *,
    addresses: Sequence[Address] = (),
    said: Sequence[Said] = (),
    note: str = "",
) -> None:
    """Store a finished letter, its deliveries, what it said, and the run's outcome: all or nothing.

    Raises
    ------
    StoreError
        A letter of that garden, kind and day stands already, or the disk gave out; nothing was stored.
    """
    with database.transaction(Step.LETTER_STORED):
        keep_letter(database, letter, addresses)
        keep_said(database, letter.garden, letter.day, said)
        mark_written(database, run, note)
