"""How a morning of many gardens went: for whoever started it, and one line for programs that read logs.

    haulm-gardens version=1 gardens=N written=N had=N early=N late=N busy=N stale=N undelivered=N failed=N exit=CODE
    seconds=S

`written` letters are new; `had` had theirs; `early` wait for their hour; the hour of `late` ones has passed; `busy`
are in the hands of another run; `failed` have none; `stale` were written without fresh weather; of `undelivered` ones
something waits to be handed over.
"""

import logging
from collections.abc import Iterator
from dataclasses import dataclass, field

from haulm.errors import Exit, HaulmError, own_fault
from haulm.jobs.told_once import Told, told_once

MOST_TOLD = 10

_LOG = logging.getLogger("haulm")


@dataclass(slots=True)
class Report:
    """Counts of gardens, and what was wrong with single ones.

    `rows` are faults that no garden could be made of, `own_faults` what of haulm's own was raised.
    """

    gardens: int
    rows: list[str] = field(default_factory=list)
    written: int = 0
    had: int = 0
    early: int = 0
    late: int = 0
    busy: int = 0
    stale: int = 0
    undelivered: int = 0
    nothing_sent: int = 0
    failed: dict[str, HaulmError] = field(default_factory=dict)
    own_faults: dict[str, Exception] = field(default_factory=dict)
    worst: set[int] = field(default_factory=set)

    def begin_again(self) -> None:
        """Forget all counts: the store was mended, and the run begins anew."""
        self.written = self.had = self.early = self.late = self.busy = self.stale = 0
        self.undelivered = self.nothing_sent = 0
        self.failed.clear()
        self.own_faults.clear()
        self.worst.clear()

    def fail(self, key: str, fault: Exception, code: int = Exit.PARTLY) -> HaulmError:
        """A garden gets no letter from this run; the fault as a person is told it."""
        told = fault if isinstance(fault, HaulmError) else HaulmError(own_fault(fault))
        if told is not fault:
            self.own_faults[key] = fault
        self.failed[key] = told
        self.worst.add(int(code))
        return told

    def wrote(self, code: Exit, sent: Exit) -> None:
        """A garden's letter was written, and handed over as far as `sent` tells."""
        self.written += 1
        self.stale += code is Exit.PARTLY and sent is Exit.DONE
        self._sent(sent)
        self.worst.add(int(code))

    def sent_again(self, sent: Exit) -> None:
        """A garden that had its letter was handed what waited."""
        self.had += 1
        self._sent(sent)
        self.worst.add(int(sent))

    def _sent(self, sent: Exit) -> None:
        self.undelivered += sent is not Exit.DONE
        self.nothing_sent += sent is Exit.TRY_LATER

    @property
    def exit_code(self) -> Exit:
        """The one verdict: 75 only where nothing at all got through that should have."""
        tried = self.written + len(self.failed)
        if self.failed and len(self.failed) == self.gardens and self.worst == {int(Exit.SETTINGS)}:
            return Exit.SETTINGS
        if tried and self.nothing_sent == tried:
            return Exit.TRY_LATER
        troubled = self.worst - {int(Exit.DONE)} or self.rows or self.busy
        return Exit.PARTLY if troubled else Exit.DONE

    def lines(self) -> list[str]:
        """For a person."""
        told = [f"Gardens: {self.gardens}. Letters written: {self.written}; had theirs: {self.had}."]
        for count, what in (
            (self.early, "Wait for their hour"),
            (self.late, "Too late for today, which the next letter tells"),
            (self.busy, "In the hands of another run"),
            (self.stale, "Written without fresh weather, as the letters say"),
            (self.undelivered, "Something waits to be handed over, which the next run tries again"),
        ):
            told += [f"{what}: {count}."] if count else []
        listed = [*self.rows, *(one.words for one in self.faults())]
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
        names = ("gardens", "written", "had", "early", "late", "busy", "stale", "undelivered")
        counts = " ".join(f"{name}={getattr(self, name)}" for name in names)
        failed = len(self.failed) + len(self.rows)
        return f"haulm-gardens version=1 {counts} failed={failed} exit={int(self.exit_code)} seconds={seconds:.2f}"
