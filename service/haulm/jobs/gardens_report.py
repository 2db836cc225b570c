"""How a run for many gardens went: for whoever started it, and one line for programs that read logs.

    haulm-gardens version=1 gardens=N written=N had=N early=N late=N busy=N stale=N undelivered=N failed=N exit=CODE
    seconds=S

`written` letters are new; `had` had theirs; `early` wait for their hour; the hour of `late` ones has passed; `busy`
are in the hands of another run; `failed` have none; `stale` were written without fresh weather; of `undelivered` ones
something waits to be handed over. Of an evening:

    haulm-gardens-evening version=1 gardens=N looked=N written=N had=N early=N late=N off=N busy=N stale=N unknown=N
    undelivered=N failed=N exit=CODE seconds=S

`looked` at were these gardens' nights, of which `written` were worth a letter, and of `unknown` ones nothing could be
told for want of weather that can be had; `had` were looked at before; `off` want no looks.
"""

import logging
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from typing import ClassVar

from haulm.errors import Exit, HaulmError, own_fault
from haulm.jobs.told_once import Told, told_once

MOST_TOLD = 10

_LOG = logging.getLogger("haulm")


@dataclass(slots=True)
class Tally:
    """Counts of gardens, and what was wrong with single ones.

    `rows` are faults that no garden could be made of, `own_faults` what of haulm's own was raised, `worst` all exit
    codes that gardens ended with.
    """

    gardens: int
    rows: list[str] = field(default_factory=list)
    had: int = 0
    early: int = 0
    late: int = 0
    busy: int = 0
    stale: int = 0
    undelivered: int = 0
    put_off: int = 0  # ended with "try later"
    failed: dict[str, HaulmError] = field(default_factory=dict)
    own_faults: dict[str, Exception] = field(default_factory=dict)
    worst: set[int] = field(default_factory=set)

    word: ClassVar[str]
    counted: ClassVar[tuple[str, ...]]

    def begin_again(self) -> None:
        """Forget all counts: the store was mended, and the run begins anew."""
        fresh = type(self)(self.gardens, self.rows)
        for one in fields(self):
            setattr(self, one.name, getattr(fresh, one.name))

    def fail(self, key: str, fault: Exception, code: int = Exit.PARTLY) -> HaulmError:
        """A garden gets nothing from this run; the fault as a person is told it."""
        told = fault if isinstance(fault, HaulmError) else HaulmError(own_fault(fault))
        if told is not fault:
            self.own_faults[key] = fault
        self.failed[key] = told
        self.worst.add(int(code))
        return told

    def sent_again(self, sent: Exit) -> None:
        """A garden that had its letter was handed what waited."""
        self.had += 1
        self.ended(sent, sent)

    def ended(self, code: Exit, sent: Exit) -> None:
        """A garden's run ended, and what it had to hand over went as far as `sent` tells."""
        self.undelivered += sent is not Exit.DONE
        self.put_off += code is Exit.TRY_LATER
        self.worst.add(int(code))

    @property
    def tried(self) -> int:
        """How many gardens were seen to."""
        return len(self.failed)

    @property
    def exit_code(self) -> Exit:
        """The one verdict: 75 only where nothing at all got through that should have."""
        if self.failed and len(self.failed) == self.gardens and self.worst == {int(Exit.SETTINGS)}:
            return Exit.SETTINGS
        if self.tried and self.put_off == self.tried:
            return Exit.TRY_LATER
        troubled = self.worst - {int(Exit.DONE)} or self.rows or self.busy
        return Exit.PARTLY if troubled else Exit.DONE

    def told(self) -> Iterator[str]:
        """What a person reads of the counts."""
        yield f"Gardens: {self.gardens}."

    def lines(self) -> list[str]:
        """For a person."""
        told, listed = list(self.told()), [*self.rows, *(one.words for one in self.faults())]
        told += [f"Could not be done: {len(self.rows) + len(self.failed)}."] if listed else []
        told += listed[:MOST_TOLD]
        more = len(listed) - MOST_TOLD
        return [*told, f"{more} more like these; the log has them."] if more > 0 else told

    def faults(self) -> Iterator[Told]:
        """What was wrong with gardens, each fault once."""
        yield from told_once(self.failed, self.gardens)

    def to_log(self, seconds: float) -> None:
        """Each fault, and the line for programs."""
        for row in self.rows:
            _LOG.warning("%s", row)
        for one in self.faults():
            _LOG.warning("%s", one.words, exc_info=self.own_faults.get(one.gardens[0]))
        _LOG.log(logging.INFO if self.exit_code is Exit.DONE else logging.WARNING, "%s", self.line(seconds))

    def line(self, seconds: float) -> str:
        """For programs; see above."""
        counts = " ".join(f"{name}={getattr(self, name)}" for name in self.counted)
        failed = len(self.failed) + len(self.rows)
        return f"{self.word} version=1 {counts} failed={failed} exit={int(self.exit_code)} seconds={seconds:.2f}"


@dataclass(slots=True)
class Report(Tally):
    """How a morning went."""

    written: int = 0

    word: ClassVar[str] = "haulm-gardens"
    counted: ClassVar[tuple[str, ...]] = (
        *("gardens", "written", "had", "early", "late", "busy", "stale", "undelivered"),
    )

    def wrote(self, code: Exit, sent: Exit) -> None:
        """A garden's letter was written, and handed over as far as `sent` tells."""
        self.written += 1
        self.stale += code is Exit.PARTLY and sent is Exit.DONE
        self.ended(code, sent)

    @property
    def tried(self) -> int:
        """How many gardens were seen to."""
        return self.written + len(self.failed)

    def told(self) -> Iterator[str]:
        """What a person reads of the counts."""
        yield f"Gardens: {self.gardens}. Letters written: {self.written}; had theirs: {self.had}."
        yield from _counts({
            "Wait for their hour": self.early,
            "Too late for today, which the next letter tells": self.late,
            BUSY: self.busy,
            "Written without fresh weather, as the letters say": self.stale,
            UNDELIVERED: self.undelivered,
        })  # fmt: skip


@dataclass(slots=True)
class EveningReport(Tally):
    """How the looks at a coming night went."""

    looked: int = 0
    written: int = 0
    off: int = 0
    unknown: int = 0

    word: ClassVar[str] = "haulm-gardens-evening"
    counted: ClassVar[tuple[str, ...]] = (
        *("gardens", "looked", "written", "had", "early", "late", "off", "busy", "stale", "unknown", "undelivered"),
    )

    def saw(self, look: Exit, sent: Exit, code: Exit, *, wrote: bool) -> None:
        """A garden's night was looked at, which ended with `code` once what it had was handed over."""
        self.looked += 1
        self.written += wrote
        self.stale += look is Exit.PARTLY
        self.unknown += look is Exit.TRY_LATER
        self.ended(code, sent)

    @property
    def tried(self) -> int:
        """How many gardens were seen to."""
        return self.looked + len(self.failed)

    def told(self) -> Iterator[str]:
        """What a person reads of the counts."""
        yield f"Gardens: {self.gardens}. Looked at: {self.looked}; letters written: {self.written}."
        yield from _counts({
            "Looked at before": self.had,
            "Wait for their hour": self.early,
            "Too late for tonight": self.late,
            "Want no look in the evening": self.off,
            BUSY: self.busy,
            "Looked at without fresh weather": self.stale,
            "Tonight is not known, which the next run tries again": self.unknown,
            UNDELIVERED: self.undelivered,
        })  # fmt: skip


BUSY = "In the hands of another run"
UNDELIVERED = "Something waits to be handed over, which the next run tries again"


def _counts(told: Mapping[str, int]) -> Iterator[str]:
    yield from (f"{what}: {count}." for what, count in told.items() if count)
