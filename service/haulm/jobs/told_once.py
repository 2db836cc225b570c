"""What went wrong with many gardens: each fault once, with the gardens that it stops."""

from collections.abc import Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from haulm.errors import Fault, HaulmError, SettingsError

NAMED = 10
_T = TypeVar("_T", bound=Hashable)


@dataclass(frozen=True, slots=True)
class Told:
    """A fault in words, or all those that stop the same gardens."""

    words: str
    gardens: tuple[str, ...]


def told_once(failed: Mapping[str, HaulmError], gardens: int, named: int = NAMED) -> Iterator[Told]:
    """The faults of gardens, by their keys; those that stop the most come first.

    The same fault in the same place is one, and is told with the first few, `named`, of the keys that share it, unless
    all `gardens` of the run do.
    """
    together: dict[tuple[str, ...], list[Fault | str]] = {}
    for part, keys in shared_by((key, part) for key, error in failed.items() for part in _parts(error)):
        together.setdefault(keys, []).append(part)
    for stopped, parts in together.items():
        first, shared = failed[stopped[0]], len(stopped) > 1
        whose = name_all(stopped, gardens, named)
        yield Told(_words(first, parts, whose, shared=shared), stopped)


def shared_by(found: Iterable[tuple[str, _T]]) -> list[tuple[_T, tuple[str, ...]]]:
    """Each thing found, with the keys of all gardens it was found with; what most have comes first."""
    sharers: dict[_T, list[str]] = {}
    for key, what in found:
        sharers.setdefault(what, []).append(key)
    return sorted(((what, tuple(keys)) for what, keys in sharers.items()), key=lambda pair: -len(pair[1]))


def name_all(keys: Sequence[str], gardens: int, named: int = NAMED) -> str:
    """Some of so many gardens, as the beginning of a line: the first few by their keys, unless it is all of them."""
    if len(keys) == 1:
        return keys[0]
    if len(keys) == gardens:
        return f"All {gardens} gardens"
    more = len(keys) - named
    return f"{len(keys)} gardens ({', '.join(keys[:named])}{f' and {more} more' if more > 0 else ''})"


def _parts(error: HaulmError) -> Collection[Fault | str]:
    """What others may have too: of tables each fault by itself, since it names its own file; else the whole."""
    return dict.fromkeys(error.faults) if isinstance(error, SettingsError) and error.placed else (str(error),)


def _words(first: HaulmError, parts: Sequence[Fault | str], whose: str, *, shared: bool) -> str:
    if not isinstance(first, SettingsError):
        return f"{whose}: {first}"
    where = whose if shared else first.where
    faults = tuple(part for part in parts if isinstance(part, Fault)) or first.faults
    return str(SettingsError(where, faults, remedy=first.remedy))
