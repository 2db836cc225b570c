"""What runs for many gardens have in common: chunk by chunk, each garden apart, one store, one verdict.

keys → settings → observations and forecast of each place → what each garden brings → letters (by an engine's workers)
→ store → post → record

This process alone reads and writes the store; workers get arrays and give back letters. A chunk is begun, stored and
ended in one transaction each, so a run that is killed loses at most what was thought, and the next goes on with the
gardens that have no letter yet.
"""

from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import islice
from logging import getLogger
from typing import Generic, TypeVar

from haulm.errors import BusyError, Exit, HaulmError, SettingsError, StoreError
from haulm.jobs.deliver import Doors, deliver
from haulm.jobs.engine import Engine, WorkerLostError
from haulm.jobs.gardens_report import Tally
from haulm.jobs.kept_store import thin_book
from haulm.jobs.observe import Observed, observe
from haulm.jobs.observe_stations import access_to
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.write_chunk import Alike, Unwritten
from haulm.jobs.writing import keep_weather
from haulm.settings.gardens import Many
from haulm.settings.load import Settings
from haulm.sources.spool import Access
from haulm.steps import Step
from haulm.store.database import Database
from haulm.store.letters import has_letter
from haulm.store.lock import lock
from haulm.store.runs import Outcome, begin_run, end_run

CHUNK = 400  # gardens: far more than an engine's cost for a task, far fewer than a process may have files open

_LOG = getLogger("haulm")
_W = TypeVar("_W")  # what a worker is given of a garden
_D = TypeVar("_D")  # and gives back


@dataclass(frozen=True, slots=True)
class Wishes:
    """What whoever starts a run may wish: the letters of another day; not to wait for each garden's hour; progress."""

    day: date | None = None
    at_once: bool = False
    done: Callable[[int], object] = lambda _count: None

    @property
    def by_hour(self) -> bool:
        """Whether each garden's own hour counts."""
        return self.day is None and not self.at_once


@dataclass(slots=True)
class Attended(Generic[_W, _D]):
    """A garden that this run sees to: the run's number in the store, what is wanted, and what came of it."""

    settings: Settings
    moment: datetime
    run: int
    wanted: _W | None = None
    done: _D | None = None

    @property
    def key(self) -> str:
        """The garden's key."""
        return self.settings.garden.key

    @property
    def day(self) -> date:
        """The letter's day."""
        return self.settings.garden.place.day_of(self.moment)


@dataclass(slots=True)
class Group(Generic[_W, _D]):
    """Gardens of a chunk that see the same weather."""

    observed: Observed
    moment: datetime
    gardens: list[Attended[_W, _D]] = field(default_factory=list)

    def task(self) -> Alike[_W]:
        """What a worker gets."""
        wanted = tuple(one.wanted for one in self.gardens if one.wanted is not None)
        return Alike(self.observed, self.moment, wanted)


@dataclass(slots=True)
class Chunk(Generic[_W, _D]):
    """Gardens on their way through the run together; `only` have their letter, which waits to be handed over."""

    size: int
    attended: list[Attended[_W, _D]] = field(default_factory=list)
    only: list[Settings] = field(default_factory=list)
    groups: list[Group[_W, _D]] = field(default_factory=list)
    result: Callable[[], list[list[_D | Unwritten]]] | None = None


@dataclass(slots=True)
class Office(ABC, Generic[_W, _D]):
    """One run: what it works with, and how far it has come. What it is about is told by those that go on from here."""

    state: StateFolder
    database: Database
    now: datetime
    engine: Engine
    wishes: Wishes
    report: Tally
    stack: ExitStack
    doors: Doors = field(init=False)
    sessions: list[tuple[object, Access]] = field(default_factory=list)
    hearts: list[Settings] = field(default_factory=list)
    last: Settings | None = None

    def __post_init__(self) -> None:
        self.doors = self.stack.enter_context(Doors())

    # What the errand says.

    @property
    @abstractmethod
    def holder(self) -> str:
        """Who holds a garden's lock, for those who find it held."""

    @property
    @abstractmethod
    def work(self) -> Callable[[Sequence[Alike[_W]]], list[list[_D | Unwritten]]]:
        """What a worker does with a chunk."""

    @abstractmethod
    def stands(self, chunk: Chunk[_W, _D], settings: Settings) -> bool:
        """Whether a garden is to be seen to now; if not, it is counted."""

    @abstractmethod
    def attend(self, chunk: Chunk[_W, _D], settings: Settings) -> Attended[_W, _D] | None:
        """Begin a garden's run, its lock held and within a transaction; None where nothing is left to do."""

    @abstractmethod
    def bring_all(self, chunk: Chunk[_W, _D]) -> None:
        """Read what each garden brings, by `bring_apart`."""

    @abstractmethod
    def kind(self, one: Attended[_W, _D]) -> str:
        """The kind of letter that it is about."""

    @abstractmethod
    def record(self, one: Attended[_W, _D], done: _D) -> None:
        """Make what was written a fact, within a transaction."""

    @abstractmethod
    def end(self, one: Attended[_W, _D], done: _D, sent: Exit) -> None:
        """End a garden's run once what it wrote is handed over, within a transaction; and count it."""

    # What is alike for all.

    def work_through(self, many: Many, asked: Collection[str] | None = None) -> None:
        """All chunks, some of them written by the engine while others are begun or sent; `asked` where not all are."""
        keys = (key for group in many.groups() for key in group if asked is None or key in asked)
        under_way: deque[Chunk[_W, _D]] = deque()
        while some := list(islice(keys, CHUNK)):
            under_way.append(self._begun(many, some))
            if len(under_way) > self.engine.ahead:
                self._finish(under_way.popleft())
        while under_way:
            self._finish(under_way.popleft())

    # Before the letters are written.

    def _begun(self, many: Many, keys: Sequence[str]) -> Chunk[_W, _D]:
        chunk: Chunk[_W, _D] = Chunk(len(keys))
        with ExitStack() as locks:
            wanted = [one for one in self._settings(many, keys) if self.stands(chunk, one) and self._held(one, locks)]
            with self.database.transaction(Step.RUN_BEGUN):
                chunk.attended = [found for one in wanted if (found := self.attend(chunk, one)) is not None]
            self.prepare(chunk)
            for one in chunk.attended:
                self._observe(chunk, one)
            self.bring_all(chunk)
        for group in chunk.groups:
            group.gardens = [one for one in group.gardens if one.wanted is not None]
        chunk.groups = [group for group in chunk.groups if group.gardens]
        if chunk.groups:
            chunk.result = self.engine.submit(self.work, [group.task() for group in chunk.groups])
        return chunk

    def read(self, settings: Settings) -> None:
        """Called once for each garden whose settings were read."""
        self.last, heart = settings, settings.post.heartbeat
        if heart is not None and all(heart != one.post.heartbeat for one in self.hearts):
            self.hearts.append(settings)

    def prepare(self, chunk: Chunk[_W, _D]) -> None:
        """What is done for a chunk before the weather is asked for."""

    def _settings(self, many: Many, keys: Sequence[str]) -> Iterator[Settings]:
        for key, found in many.settings(keys):
            if isinstance(found, SettingsError):
                self.report.fail(key, found, found.exit_code)
            else:
                self.read(found)
                yield found

    def _held(self, settings: Settings, locks: ExitStack) -> bool:
        try:
            locks.enter_context(lock(self.state.lock(settings.garden), self.now, holder=self.holder))
        except BusyError:
            self.report.busy += 1
            return False
        return True

    def begun(self, settings: Settings, moment: datetime, kind: str) -> Attended[_W, _D]:
        """A garden whose run of a kind is noted to have begun."""
        day = settings.garden.place.day_of(moment)
        return Attended(settings, moment, begin_run(self.database, settings.garden.key, kind, day, self.now))

    def _observe(self, chunk: Chunk[_W, _D], one: Attended[_W, _D]) -> None:
        """Put a garden to the group whose weather it sees; the first of a group has it fetched and kept."""
        for group in chunk.groups:
            first = group.gardens[0]
            if group.moment == one.moment and _sees_the_same(first.settings, one.settings):
                group.gardens.append(one)
                return
        with self.apart(one):  # one place's weather stops no other's letters
            access = self._access(one.settings)
            observed = observe(one.settings, access, self.database, one.moment)
            keep_weather(self.database, one.settings, access, observed)
            chunk.groups.append(Group(observed, one.moment, [one]))

    def _access(self, settings: Settings) -> Access:
        """One session to the services for all gardens that name the same ones."""
        wanted = (settings.weather.network, settings.weather.contact)
        for known, access in self.sessions:
            if known == wanted:
                return access
        access = self.stack.enter_context(access_to(settings, self.state.spool, self.now))
        self.sessions.append((wanted, access))
        return access

    @contextmanager
    def apart(self, one: Attended[_W, _D]) -> Iterator[None]:
        """What goes wrong inside is this garden's alone; a store that fails is everybody's."""
        try:
            yield
        except StoreError:
            raise
        except Exception as fault:  # noqa: BLE001  one garden's fault stops no other's letter
            self.fail(one, fault)

    def fail(self, one: Attended[_W, _D], fault: Exception) -> None:
        """End a garden's run that has come to nothing, and count it."""
        told = self.report.fail(one.key, fault)
        end_run(self.database, one.run, self.now, Outcome.FAILED, Exit.PARTLY, str(told).splitlines()[0])

    # After they are written.

    def _finish(self, chunk: Chunk[_W, _D]) -> None:
        self._take(chunk, self._result(chunk))
        with ExitStack() as locks:
            done = [(one, one.done) for one in chunk.attended if one.done is not None and self._still_ours(one, locks)]
            with self.database.transaction(Step.LETTER_STORED):
                for one, what in done:
                    self.record(one, what)
            sent = [self._hand_over(one.settings) for one, _ in done]
            with self.database.transaction(Step.RUN_ENDED):
                for (one, what), code in zip(done, sent, strict=True):
                    self.end(one, what, code)
            for settings in [settings for settings in chunk.only if self._held(settings, locks)]:
                self.report.sent_again(self._hand_over(settings))
        self.wishes.done(chunk.size)

    def _result(self, chunk: Chunk[_W, _D]) -> list[list[_D | Unwritten]]:
        """The letters of a chunk. Where the process that wrote them was lost, once more; then each garden by itself."""
        if chunk.result is None:
            return []
        try:
            return chunk.result()
        except WorkerLostError:
            _LOG.warning("A process that was writing letters has ended early; they are written once more.")
        try:
            return self.engine.submit(self.work, [group.task() for group in chunk.groups])()
        except WorkerLostError:
            return [[self._alone(group, one) for one in group.gardens] for group in chunk.groups]

    def _alone(self, group: Group[_W, _D], one: Attended[_W, _D]) -> _D | Unwritten:
        task = Group(group.observed, group.moment, [one]).task()
        try:
            return self.engine.submit(self.work, [task])()[0][0]
        except WorkerLostError:
            return Unwritten("the process that writes it is ended by it each time")

    def _take(self, chunk: Chunk[_W, _D], result: list[list[_D | Unwritten]]) -> None:
        for group, letters in zip(chunk.groups, result, strict=True):
            for one, letter in zip(group.gardens, letters, strict=True):
                if isinstance(letter, Unwritten):
                    self.fail(one, HaulmError(letter.why))
                else:
                    one.done = letter

    def _still_ours(self, one: Attended[_W, _D], locks: ExitStack) -> bool:
        """Whether nobody else has written the letter while its garden was not held."""
        if not self._held(one.settings, locks):
            return False
        if has_letter(self.database, one.key, self.kind(one), one.day):
            end_run(self.database, one.run, self.now, Outcome.DONE, 0, "another run had written the letter")
            self.report.had += 1
            return False
        return True

    def _hand_over(self, settings: Settings) -> Exit:
        code = deliver(settings, self.database, self.now, self.doors)
        thin_book(settings, self.database, self.now)
        return code


def _sees_the_same(one: Settings, other: Settings) -> bool:
    return (one.garden.place, one.weather, one.thresholds.data) == (
        other.garden.place,
        other.weather,
        other.thresholds.data,
    )
