"""A chunk of letters, or of looks at the night, by whoever an engine gives it to: arrays go in, letters come out."""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Generic, TypeVar

from haulm.advice import Decision
from haulm.beds.in_step import finished, side_by_side
from haulm.errors import own_fault
from haulm.jobs.look import Look, LookWanted, look_all
from haulm.jobs.observe import Observed
from haulm.jobs.write import Wanted, Written, think_all, write_all, written

_LOG = logging.getLogger("haulm")
_W = TypeVar("_W")
_D = TypeVar("_D")


@dataclass(frozen=True, slots=True, eq=False)
class Alike(Generic[_W]):
    """What gardens of one place want that see the same weather at the same instant."""

    observed: Observed
    moment: datetime
    letters: tuple[_W, ...]


@dataclass(frozen=True, slots=True)
class Unwritten:
    """A letter that could not be written, and why, in a sentence without what was in the data."""

    why: str


Task = Sequence[Alike[Wanted]]
Result = list[list[Written | Unwritten]]


def write_chunk(task: Task) -> Result:
    """The letters of each group, in its order. One that cannot be written spoils no other."""
    try:
        thought = zip(task, think_side_by_side(task), strict=True)
        return [list(written(decisions, alike.letters, alike.observed)) for alike, decisions in thought]
    except Exception as fault:  # noqa: BLE001  whose fault it was is found out group by group
        _LOG.warning("A chunk could not be written as one; its places are written one by one.", exc_info=fault)
        return [_of_group(write_all, alike) for alike in task]


def think_side_by_side(task: Task) -> list[list[Decision]]:
    """What the letters of each group will tell; the groups march through their days as one."""
    courses = [think_all(alike.letters, alike.observed, alike.moment) for alike in task]
    return finished(side_by_side(courses))


def look_chunk(task: Sequence[Alike[LookWanted]]) -> list[list[Look | Unwritten]]:
    """The looks of each group at the coming night, in the same way."""
    return [_of_group(look_all, alike) for alike in task]


def _of_group(work: Callable[[Sequence[_W], Observed, datetime], list[_D]], alike: Alike[_W]) -> list[_D | Unwritten]:
    try:
        return list(work(alike.letters, alike.observed, alike.moment))
    except Exception as fault:  # noqa: BLE001  which garden it was, and what, is found out one by one
        if len(alike.letters) == 1:
            _LOG.warning("A letter could not be written.", exc_info=fault)
            return [Unwritten(own_fault(fault))]
    return [found for one in alike.letters for found in _of_group(work, Alike(alike.observed, alike.moment, (one,)))]
