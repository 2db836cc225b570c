"""What went wrong with many gardens: each fault once, with the gardens that it stops."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from haulm.errors import Fault, HaulmError, SettingsError

NAMED = 10


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
    sharers: dict[Fault | str, list[str]] = {}
    for key, error in failed.items():
        for part in _parts(error):
            sharers.setdefault(part, []).append(key)
    together: dict[tuple[str, ...], list[Fault | str]] = {}
    for part, keys in sharers.items():
        together.setdefault(tuple(keys), []).append(part)
    for stopped, parts in sorted(together.items(), key=lambda item: -len(item[0])):
        first, shared = failed[stopped[0]], len(stopped) > 1
        whose = _sharing(stopped, gardens, named) if shared else stopped[0]
        yield Told(_words(first, parts, whose, shared=shared), stopped)


def _parts(error: HaulmError) -> Collection[Fault | str]:
    """What others may have too: of tables each fault by itself, since it names its own file; else the whole."""
    return dict.fromkeys(error.faults) if isinstance(error, SettingsError) and error.placed else (str(error),)


def _words(first: HaulmError, parts: Sequence[Fault | str], whose: str, *, shared: bool) -> str:
    if not isinstance(first, SettingsError):
        return f"{whose}: {first}"
    where = whose if shared else first.where
    faults = tuple(part for part in parts if isinstance(part, Fault)) or first.faults
    return str(SettingsError(where, faults, remedy=first.remedy))


def _sharing(keys: Sequence[str], gardens: int, named: int) -> str:
    if len(keys) == gardens:
        return f"All {gardens} gardens"
    more = len(keys) - named
    return f"{len(keys)} gardens ({', '.join(keys[:named])}{f' and {more} more' if more > 0 else ''})"
