"""A morning of many gardens, chunk by chunk.

keys → settings → observations and forecast of each place → what each garden brings → letters (by an engine's workers)
→ store → post → record

This process alone reads and writes the store; workers get arrays and give back letters. A chunk is begun, stored and
ended in one transaction each, so a run that is killed loses at most what was thought, and the next goes on with the
gardens that have no letter yet.
"""

import logging
from collections import deque
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import islice
from time import monotonic

from haulm.errors import BusyError, Exit, HaulmError, SettingsError, StoreError
from haulm.jobs.answers import Collected, collect
from haulm.jobs.arrears import tell_cut_off
from haulm.jobs.bring import Brought, bring
from haulm.jobs.deliver import Doors, deliver
from haulm.jobs.due import Standing, due
from haulm.jobs.ending import sign_of_life
from haulm.jobs.engine import Engine, WorkerLostError
from haulm.jobs.gardens_report import Report
from haulm.jobs.kept_store import keep_copy, thin_book, use_store
from haulm.jobs.let_go import Kept, kept, let_go_of_old
from haulm.jobs.morning import as_of_morning, record
from haulm.jobs.observe import Observed, observe
from haulm.jobs.observe_stations import access_to
from haulm.jobs.read_back import read_back
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.timetable import NOTHING_KNOWN, Hours, Known, Timetable, keep, mark_of
from haulm.jobs.write import KIND, Written, wanted
from haulm.jobs.write_chunk import Alike, Result, Unwritten, write_chunk
from haulm.jobs.writing import gravest, keep_weather
from haulm.post.mailbox import Mailboxes
from haulm.settings.gardens import Many
from haulm.settings.load import Settings
from haulm.sources.spool import Access
from haulm.steps import Step
from haulm.store.database import Database
from haulm.store.letters import has_letter, left_sending, waiting
from haulm.store.lock import lock
from haulm.store.runs import Outcome, begin_run, end_run

CHUNK = 400  # gardens: far more than an engine's cost for a task, far fewer than a process may have files open
HOLDER = "haulm morning --gardens"

_LOG = logging.getLogger("haulm")


@dataclass(slots=True)
class _Attended:
    """A garden whose morning this run does: the run's number in the store, and what it brought."""

    settings: Settings
    moment: datetime
    run: int
    brought: Brought | None = None
    written: Written | None = None

    @property
    def key(self) -> str:
        """The garden's key."""
        return self.settings.garden.key

    @property
    def day(self) -> date:
        """The letter's day."""
        return self.settings.garden.place.day_of(self.moment)


@dataclass(slots=True)
class _Group:
    """Gardens of a chunk that see the same weather."""

    observed: Observed
    moment: datetime
    gardens: list[_Attended] = field(default_factory=list)

    def task(self) -> Alike:
        """What a worker gets."""
        letters = tuple(wanted(one.settings, one.brought) for one in self.gardens if one.brought is not None)
        return Alike(self.observed, self.moment, letters)


@dataclass(slots=True)
class _Chunk:
    """Gardens on their way through the run together; `only` have their letter, which waits to be handed over."""

    size: int
    attended: list[_Attended] = field(default_factory=list)
    only: list[Settings] = field(default_factory=list)
    groups: list[_Group] = field(default_factory=list)
    result: Callable[[], Result] | None = None


@dataclass(frozen=True, slots=True)
class Wishes:
    """What whoever starts a run may wish: the letters of another day; not to wait for each garden's hour; progress."""

    day: date | None = None
    at_once: bool = False
    done: Callable[[int], object] = lambda _count: None


def morning_of_gardens(
    many: Many, state: StateFolder, now: datetime, engine: Engine, wishes: Wishes, known: Known = NOTHING_KNOWN
) -> Report:
    """Write, store and deliver the letters of all gardens whose hour has come and who have none yet today.

    Parameters
    ----------
    known
        What an earlier run noted of the gardens' hours; those that it tells to be done are not looked at.

    Raises
    ------
    BusyError
        Another such run is under way.
    StoreError
        The store cannot be used. What was written and not stored is worked out by the next run.
    """
    report = Report(len(many), list(many.faults))

    def work(database: Database) -> None:
        report.begin_again()
        if known.seen is not None:
            known.seen.count_in(report)
        with ExitStack() as stack:
            office = _Office(state, database, now, engine, wishes, report, stack)
            office.work_through(many, known.seen.asked if known.seen is not None else None)
            for settings in office.hearts:
                sign_of_life(settings, database, now, report.exit_code)
        let_go_of_old(database, office.kept)
        if office.last is not None and report.written + report.had:  # once there are letters of the day
            keep_copy(office.last, database, now)
        _note_hours(many, state, office, known)

    begun = monotonic()
    with lock(state.path / "gardens.lock", now, holder=HOLDER):
        try:
            use_store(state.store, now, work)
        finally:
            report.to_log(monotonic() - begun)
    return report


def _note_hours(many: Many, state: StateFolder, office: "_Office", known: Known) -> None:
    """For the next run, where all gardens were read without a fault, and nothing was changed meanwhile."""
    whole = known.seen is None and not many.faults and len(office.hours) == len(many)
    if whole and known.mark and mark_of(many.folder, many.environ) == known.mark:
        keep(state, Timetable(known.mark, office.hours, tuple(one.garden.key for one in office.hearts)))


def _chunks(many: Many, asked: Collection[str] | None) -> Iterator[list[str]]:
    """Keys of gardens, of all or of some, those of a place together as far as a chunk goes."""
    keys = (key for group in many.groups() for key in group if asked is None or key in asked)
    while chunk := list(islice(keys, CHUNK)):
        yield chunk


@dataclass(slots=True)
class _Office:
    """One run: what it works with, and how far it has come."""

    state: StateFolder
    database: Database
    now: datetime
    engine: Engine
    wishes: Wishes
    report: Report
    stack: ExitStack
    doors: Doors = field(init=False)
    boxes: Mailboxes = field(init=False)
    sessions: list[tuple[object, Access]] = field(default_factory=list)
    hearts: list[Settings] = field(default_factory=list)
    kept: list[Kept] = field(default_factory=list)
    hours: dict[str, Hours] = field(default_factory=dict)
    last: Settings | None = None

    def __post_init__(self) -> None:
        self.doors, self.boxes = self.stack.enter_context(Doors()), self.stack.enter_context(Mailboxes())

    def work_through(self, many: Many, asked: Collection[str] | None) -> None:
        """All chunks, some of them written by the engine while others are begun or sent."""
        under_way: deque[_Chunk] = deque()
        for keys in _chunks(many, asked):
            under_way.append(self._begun(many, keys))
            if len(under_way) > self.engine.ahead:
                self._finish(under_way.popleft())
        while under_way:
            self._finish(under_way.popleft())

    # Before the letters are written.

    def _begun(self, many: Many, keys: Sequence[str]) -> _Chunk:
        chunk = _Chunk(len(keys))
        with ExitStack() as locks:
            standing = [one for one in self._settings(many, keys) if self._stands(chunk, one, locks)]
            with self.database.transaction(Step.RUN_BEGUN):
                chunk.attended = [found for one in standing if (found := self._attend(one)) is not None]
            heard = {one.key: self._heard(one) for one in chunk.attended}
            for one in chunk.attended:
                self._observe(chunk, one)
            with self.database.transaction(Step.NOTES_INDEXED):
                for one in chunk.attended:
                    self._bring(one, heard[one.key])
        for group in chunk.groups:
            group.gardens = [one for one in group.gardens if one.brought is not None]
        chunk.groups = [group for group in chunk.groups if group.gardens]
        if chunk.groups:
            chunk.result = self.engine.submit(write_chunk, [group.task() for group in chunk.groups])
        return chunk

    def _settings(self, many: Many, keys: Sequence[str]) -> Iterator[Settings]:
        for key, found in many.settings(keys):
            if isinstance(found, SettingsError):
                self.report.fail(key, found, found.exit_code)
            else:
                self.last = found
                self.hours[key] = _hours(found)
                heart = found.post.heartbeat
                if heart is not None and all(heart != one.post.heartbeat for one in self.hearts):
                    self.hearts.append(found)
                yield found

    def _moment(self, settings: Settings) -> datetime:
        return as_of_morning(settings, self.wishes.day) if self.wishes.day else self.now

    def _stands(self, chunk: _Chunk, settings: Settings, locks: ExitStack) -> bool:
        """Whether a garden's letter is to be written now; its lock is then held."""
        garden, place = settings.garden.key, settings.garden.place
        day = place.day_of(self._moment(settings))
        stands, hours = Standing.DUE, _hours(settings)
        if self.wishes.day is None and not self.wishes.at_once:
            stands = due(self.now, (), hours.at, hours.zone, hours.until)
        if stands is Standing.EARLY:
            self.report.early += 1
            return False
        if has_letter(self.database, garden, KIND, day):
            if waiting(self.database, garden) or left_sending(self.database, garden):
                chunk.only.append(settings)
            else:
                self.report.had += 1
            return False
        if stands is Standing.LATE:
            self.report.late += 1
            return False
        return self._locked(settings, locks)

    def _locked(self, settings: Settings, locks: ExitStack) -> bool:
        try:
            locks.enter_context(lock(self.state.lock(settings.garden), self.now, holder=HOLDER))
        except BusyError:
            self.report.busy += 1
            return False
        return True

    def _attend(self, settings: Settings) -> _Attended | None:
        moment, garden = self._moment(settings), settings.garden.key
        tell_cut_off(self.database, garden, self.now)
        read_back(settings, self.database, self.now)
        day = settings.garden.place.day_of(moment)
        if has_letter(self.database, garden, KIND, day):  # read back only now
            self.report.had += 1
            return None
        return _Attended(settings, moment, begin_run(self.database, garden, KIND, day, self.now))

    def _heard(self, one: _Attended) -> Collected:
        return collect(one.settings, self.state, self.database, self.now, self.boxes)

    def _observe(self, chunk: _Chunk, one: _Attended) -> None:
        """Put a garden to the group whose weather it sees; the first of a group has it fetched and kept."""
        for group in chunk.groups:
            first = group.gardens[0]
            if group.moment == one.moment and _sees_the_same(first.settings, one.settings):
                group.gardens.append(one)
                return
        try:
            access = self._access(one.settings)
            observed = observe(one.settings, access, self.database, one.moment)
            keep_weather(self.database, one.settings, access, observed)
        except StoreError:
            raise
        except Exception as fault:  # noqa: BLE001  one place's weather stops no other's letters
            self._fail(one, fault)
        else:
            chunk.groups.append(_Group(observed, one.moment, [one]))

    def _access(self, settings: Settings) -> Access:
        """One session to the services for all gardens that name the same ones."""
        wanted = (settings.weather.network, settings.weather.contact)
        for known, access in self.sessions:
            if known == wanted:
                return access
        access = self.stack.enter_context(access_to(settings, self.state.spool, self.now))
        self.sessions.append((wanted, access))
        return access

    def _bring(self, one: _Attended, heard: Collected) -> None:
        try:
            one.brought = bring(one.settings, self.state, self.database, one.moment, self.now, heard)
        except StoreError:
            raise
        except Exception as fault:  # noqa: BLE001  one grower's journal stops nobody else's letter
            self._fail(one, fault)

    def _fail(self, one: _Attended, fault: Exception) -> None:
        told = self.report.fail(one.key, fault)
        end_run(self.database, one.run, self.now, Outcome.FAILED, Exit.PARTLY, str(told).splitlines()[0])

    # After they are written.

    def _finish(self, chunk: _Chunk) -> None:
        self._take(chunk, self._result(chunk))
        with ExitStack() as locks:
            written = [one for one in chunk.attended if one.written is not None and self._still_ours(one, locks)]
            with self.database.transaction(Step.LETTER_STORED):
                for one in written:
                    if one.written is not None:
                        record(one.settings, self.database, one.run, one.written)
            codes = [self._hand_over(one.settings) for one in written]
            with self.database.transaction(Step.RUN_ENDED):
                for one, sent in zip(written, codes, strict=True):
                    self._end(one, sent)
            self.kept += [kept(one.settings, self.now) for one in written]
            only = [settings for settings in chunk.only if self._locked(settings, locks)]
            for settings in only:
                self.report.sent_again(self._hand_over(settings))
        self.wishes.done(chunk.size)

    def _result(self, chunk: _Chunk) -> Result:
        """The letters of a chunk. Where the process that wrote them was lost, once more; then each garden by itself."""
        if chunk.result is None:
            return []
        try:
            return chunk.result()
        except WorkerLostError:
            _LOG.warning("A process that was writing letters has ended early; they are written once more.")
        try:
            return self.engine.submit(write_chunk, [group.task() for group in chunk.groups])()
        except WorkerLostError:
            return [[self._alone(group, one) for one in group.gardens] for group in chunk.groups]

    def _alone(self, group: _Group, one: _Attended) -> Written | Unwritten:
        task = _Group(group.observed, group.moment, [one]).task()
        try:
            return self.engine.submit(write_chunk, [task])()[0][0]
        except WorkerLostError:
            return Unwritten("the process that writes it is ended by it each time")

    def _take(self, chunk: _Chunk, result: Result) -> None:
        for group, letters in zip(chunk.groups, result, strict=True):
            for one, letter in zip(group.gardens, letters, strict=True):
                if isinstance(letter, Written):
                    one.written = letter
                else:
                    self._fail(one, HaulmError(letter.why))

    def _still_ours(self, one: _Attended, locks: ExitStack) -> bool:
        """Whether nobody else has written the letter while its garden was not held."""
        if not self._locked(one.settings, locks):
            return False
        if has_letter(self.database, one.key, KIND, one.day):
            end_run(self.database, one.run, self.now, Outcome.DONE, 0, "another run had written the letter")
            self.report.had += 1
            return False
        return True

    def _hand_over(self, settings: Settings) -> Exit:
        code = deliver(settings, self.database, self.now, self.doors)
        thin_book(settings, self.database, self.now)
        return code

    def _end(self, one: _Attended, sent: Exit) -> None:
        code = gravest(one.written.exit_code if one.written else Exit.PARTLY, sent)
        end_run(self.database, one.run, self.now, Outcome.DONE if code is Exit.DONE else Outcome.PARTLY, code)
        self.report.wrote(code, sent)


def _hours(settings: Settings) -> Hours:
    until = settings.thresholds.data.letter_catch_up_until
    return Hours(settings.garden.place.zone, settings.letter.at, until)


def _sees_the_same(one: Settings, other: Settings) -> bool:
    return (one.garden.place, one.weather, one.thresholds.data) == (
        other.garden.place,
        other.weather,
        other.thresholds.data,
    )
