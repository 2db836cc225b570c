"""What can go wrong, as facts: what, where, and what to do about it. Each error knows its exit code."""

import re
from dataclasses import dataclass, field
from enum import IntEnum
from pathlib import Path

LONGEST_TOLD = 300
# What moves a cursor, begins a line, turns the reading direction round, or cannot be written as UTF-8 at all.
_UNTELLABLE = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]")


def in_one_line(text: str, most: int = LONGEST_TOLD) -> str:
    """What a stranger wrote, fit for log, terminal and letter: one line, nothing that cannot be seen, not too long."""
    if len(text) <= most and text.isprintable():
        return text
    begun = text[: 4 * most]
    seen = " ".join("".join(sign if sign.isprintable() else " " for sign in begun).split())
    return seen if len(seen) <= most and len(begun) == len(text) else f"{seen[: most - 1]}…"


def tellable(text: str) -> str:
    """Words of a fault, their lines kept, without what a stranger could move a cursor by."""
    return _UNTELLABLE.sub("\N{REPLACEMENT CHARACTER}", text)


class Exit(IntEnum):
    """The exit codes of the command, which are an interface."""

    DONE = 0
    PARTLY = 1
    SETTINGS = 2
    TRY_LATER = 75


class HaulmError(Exception):
    """Any fault that a person can do something about.

    Parameters
    ----------
    what
        What went wrong, in one sentence.
    where
        The file, line, key, station or server it went wrong at; empty where there is none.
    remedy
        What to do now; empty where nothing can be done.
    """

    exit_code = Exit.PARTLY

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        super().__init__(tellable(what))
        self.what = tellable(what)
        self.where = tellable(where)
        self.remedy = remedy

    def __str__(self) -> str:
        told = f"{self.where}: {self.what}" if self.where else self.what
        return f"{told}\n  {self.remedy}" if self.remedy else told


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault in a file that a person writes.

    `key` is a dotted path, `given` what stands there (never a secret), `nearest` the known key
    that an unknown one most resembles; each is empty where it does not apply.
    """

    what: str
    key: str = ""
    line: int | None = None
    given: str = ""
    nearest: str = ""

    def __str__(self) -> str:
        line = f"line {self.line}, " if self.line else ""
        told = f"{line}{self.key}: {self.what}" if self.key else f"{line}{self.what}"
        given = f" (given: {self.given})" if self.given else ""
        nearest = f' Did you mean "{self.nearest}"?' if self.nearest else ""
        return f"{told}{given}.{nearest}"


class SettingsError(HaulmError):
    """A settings file that cannot be used, with every fault found in it.

    Parameters
    ----------
    placed
        Each fault names its own file, as those of a garden in tables do: the same fault is then one, whoever has it.
    """

    exit_code = Exit.SETTINGS

    def __init__(self, where: str, faults: tuple[Fault, ...], *, remedy: str = "", placed: bool = False) -> None:
        count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        listed = "".join(f"\n  - {fault}" for fault in faults)
        super().__init__(f"{count} in the settings{listed}", where=where, remedy=remedy)
        self.faults = faults
        self.placed = placed


class UsageError(HaulmError):
    """A command whose words cannot be understood."""

    exit_code = Exit.SETTINGS


class UnitError(HaulmError):
    """A quantity that cannot be read, or is in a unit that does not fit."""

    exit_code = Exit.SETTINGS


class JournalError(HaulmError):
    """A note that cannot be taken, or a journal file that cannot be read."""

    exit_code = Exit.SETTINGS


class SourceError(HaulmError):
    """Weather that could not be had or could not be trusted."""


class StoreError(HaulmError):
    """The store cannot be read or written."""


class DamagedError(StoreError):
    """The store is damaged or gone, and can be had again from its copies."""


class BusyError(HaulmError):
    """Another run holds the lock."""

    exit_code = Exit.TRY_LATER


class DeliveryError(HaulmError):
    """A letter that could not be handed over.

    `later` tells a refusal for good (False) from one that trying again may mend (True).
    """

    exit_code = Exit.TRY_LATER

    def __init__(self, what: str, *, where: str = "", remedy: str = "", later: bool = True) -> None:
        super().__init__(what, where=where, remedy=remedy)
        self.later = later


@dataclass(frozen=True, slots=True)
class Complaint:
    """Something wrong with a piece of data that the rest can do without: told, never raised."""

    what: str
    where: str = ""
    line: int | None = None
    given: str = field(default="")

    def __post_init__(self) -> None:
        for name in ("what", "where", "given"):
            object.__setattr__(self, name, in_one_line(getattr(self, name)))

    def __str__(self) -> str:
        place = f"{self.where}, line {self.line}" if self.line else self.where
        given = f" ({self.given})" if self.given else ""
        return f"{place}: {self.what}{given}" if place else f"{self.what}{given}"


def causes_of(fault: BaseException) -> list[BaseException]:
    """A fault and those inside it, outermost first: HTTP libraries wrap the true reason several times over."""
    found: list[BaseException] = []
    waiting: list[object] = [fault]
    while waiting:
        one = waiting.pop()
        if isinstance(one, BaseException) and one not in found:
            found.append(one)
            waiting += [one.__cause__, one.__context__, getattr(one, "reason", None), *one.args]
    return found


def own_fault(fault: Exception) -> str:
    """A fault of haulm's own in a few words: enough to report it, and nothing that was in the data."""
    import traceback  # noqa: PLC0415  --help must stay light

    at = traceback.extract_tb(fault.__traceback__)[-1]
    return f"a fault of haulm's own ({type(fault).__name__}, {Path(at.filename).name} line {at.lineno})"
