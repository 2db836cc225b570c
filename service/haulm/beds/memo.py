"""What one morning may leave to the next, so that it need not work out again what has not changed.

No answer depends on it: a result is taken over only where all that it was made from is equal, and a march through days
goes on from the last day up to which its weather, straw and notes are the same as they were, as the science resumes.
Whoever runs many mornings in a row makes one and lets it go with them; a morning by itself begins with an empty one.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any, ClassVar, Protocol, TypeVar, cast

import numpy as np

from haulm.beds.in_step import Course
from haulm.weather import FloatArray

# How many of the newest days are thought likely to change by the next morning (a forecast there gives way to what was
# observed), before it is known how many do; and how many days a march may go on from. Both decide how long it takes,
# never what comes out.
OPEN_DAYS = 5
STOPS = 10

T = TypeVar("T")
State = TypeVar("State")


class Days(Protocol):
    """Results of a march: a dataclass of arrays whose last axis is days."""

    __dataclass_fields__: ClassVar[dict[str, Any]]


Found = TypeVar("Found", bound=Days)


@dataclass(frozen=True, slots=True, eq=False)
class _Kept:
    given: tuple[object, ...]
    result: object


@dataclass(frozen=True, slots=True, eq=False)
class _Marched:
    """A march as it stood: `stops` are days with the state before them, oldest first."""

    given: tuple[object, ...]
    inputs: FloatArray
    found: object
    stops: tuple[tuple[int, object], ...]


class Memo:
    """Results of earlier mornings, each under a name.

    With `goes_on` False it is of one morning that leaves nothing to another: its marches make no stops on the way.
    """

    def __init__(self, *, goes_on: bool = True) -> None:
        self._goes_on = goes_on
        self._kept: dict[str, _Kept] = {}
        self._marched: dict[str, _Marched] = {}
        self._under: dict[str, Memo] = {}

    def under(self, key: str) -> "Memo":
        """That of one part alone: the same names there are other results."""
        return self._under.setdefault(key, Memo(goes_on=self._goes_on))

    def kept(self, name: str, given: tuple[object, ...], work: Callable[[], T]) -> T:
        """What `work` gives, taken over while everything that it is made from (`given`) stays equal."""
        held = self._kept.get(name)
        if held is None or not _equal(held.given, given):
            held = self._kept[name] = _Kept(given, work())
        return cast("T", held.result)

    def march(
        self,
        name: str,
        given: tuple[object, ...],
        inputs: FloatArray,
        start: Callable[[], State],
        run: Callable[[State, slice], Course[tuple[State, Found]]],
    ) -> Course[tuple[State, Found]]:
        """A state carried through days, from the first or from where nothing has changed before.

        Parameters
        ----------
        given
            All that does not change from day to day.
        inputs
            All that does, (…, days). What `run` makes of a day may depend on that day's, on the state before it, on
            `given`, and on nothing else.
        start
            Makes the state before the first day, from `given` alone.
        run
            Carries a state through some of the days, and tells them.
        """
        days = inputs.shape[-1]
        held = self._marched.get(name)
        agree = _agree(held, given, inputs)
        stops = tuple(stop for stop in held.stops if stop[0] <= agree) if held is not None else ()
        if held is None or not stops:
            stops, found, changed = ((0, start()),), None, OPEN_DAYS
        else:
            found = _days_of(cast("Found", held.found), slice(0, stops[-1][0]))
            changed = held.inputs.shape[-1] - agree
        for stop in (days - changed, days) if self._goes_on else (days,):
            at, state = stops[-1]
            if at < stop:
                state, more = yield from run(cast("State", state), slice(at, stop))
                found = more if found is None else _joined(found, more)
                stops = (*stops, (stop, state))
        self._marched[name] = _Marched(given, inputs, found, stops[-STOPS:])
        return cast("State", stops[-1][1]), cast("Found", found)


def _agree(held: _Marched | None, given: tuple[object, ...], inputs: FloatArray) -> int:
    """Up to which day nothing has changed; -1 where all is different."""
    if held is None or held.inputs.shape[:-1] != inputs.shape[:-1] or not _equal(held.given, given):
        return -1
    common = min(held.inputs.shape[-1], inputs.shape[-1])
    before, now = held.inputs[..., :common], inputs[..., :common]
    same = ((before == now) | (np.isnan(before) & np.isnan(now))).reshape(-1, common).all(axis=0)
    return common if same.all() else int(np.argmin(same))


def _equal(one: tuple[object, ...], other: tuple[object, ...]) -> bool:
    return len(one) == len(other) and all(map(_same, one, other))


def _same(one: object, other: object) -> bool:
    if one is other:
        return True
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        alike = one.shape == other.shape and one.dtype == other.dtype
        return (alike and one.tobytes() == other.tobytes()) or np.array_equal(one, other, equal_nan=True)
    return type(one) is type(other) and bool(one == other)


def _days_of(found: Found, days: slice) -> Found:
    return type(found)(**{field.name: getattr(found, field.name)[..., days] for field in fields(found)})


def _joined(before: Found, after: Found) -> Found:
    both = {f.name: (getattr(before, f.name), getattr(after, f.name)) for f in fields(before)}
    return type(before)(**{name: np.concatenate(parts, axis=-1) for name, parts in both.items()})
