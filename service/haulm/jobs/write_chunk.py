"""A chunk of letters, written by whoever an engine gives it to: arrays and settings go in, letters come out."""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from haulm.errors import own_fault
from haulm.jobs.observe import Observed
from haulm.jobs.write import Wanted, Written, write_all

_LOG = logging.getLogger("haulm")


@dataclass(frozen=True, slots=True, eq=False)
class Alike:
    """Letters of gardens of one place that see the same weather at the same instant."""

    observed: Observed
    moment: datetime
    letters: tuple[Wanted, ...]


@dataclass(frozen=True, slots=True)
class Unwritten:
    """A letter that could not be written, and why, in a sentence without what was in the data."""

    why: str


Task = Sequence[Alike]
Result = list[list[Written | Unwritten]]


def write_chunk(task: Task) -> Result:
    """The letters of each group, in its order. One that cannot be written spoils no other."""
    return [_of_group(alike) for alike in task]


def _of_group(alike: Alike) -> list[Written | Unwritten]:
    try:
        return list(write_all(alike.letters, alike.observed, alike.moment))
    except Exception as fault:  # noqa: BLE001  which garden it was, and what, is found out one by one
        if len(alike.letters) == 1:
            _LOG.warning("A letter could not be written.", exc_info=fault)
            return [Unwritten(own_fault(fault))]
    return [found for one in alike.letters for found in _of_group(Alike(alike.observed, alike.moment, (one,)))]
