"""A morning of many gardens."""

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import datetime
from time import monotonic

from haulm.errors import Exit
from haulm.jobs.answers import Collected, collect
from haulm.jobs.arrears import tell_cut_off
from haulm.jobs.bring import bring
from haulm.jobs.due import Standing, due
from haulm.jobs.ending import sign_of_life
from haulm.jobs.engine import Engine
from haulm.jobs.gardens_report import Report
from haulm.jobs.kept_store import keep_copy, use_store
from haulm.jobs.let_go import Kept, kept, let_go_of_old
from haulm.jobs.morning import as_of_morning, record
from haulm.jobs.office import Attended, Chunk, Office, Wishes
from haulm.jobs.read_back import read_back
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.timetable import NOTHING_KNOWN, Hours, Known, Timetable, keep, mark_of
from haulm.jobs.write import KIND, Wanted, Written, wanted
from haulm.jobs.write_chunk import Alike, Unwritten, write_chunk
from haulm.jobs.writing import gravest
from haulm.post.mailbox import Mailboxes
from haulm.settings.gardens import Many
from haulm.settings.load import Settings
from haulm.steps import Step
from haulm.store.database import Database
from haulm.store.letters import has_letter, left_sending, waiting
from haulm.store.lock import lock
from haulm.store.runs import Outcome, end_run

LOCK, HOLDER = "gardens.lock", "haulm morning --gardens"

_Chunk = Chunk[Wanted, Written]
_Attended = Attended[Wanted, Written]


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
            office = _Mornings(state, database, now, engine, wishes, report, stack)
            office.work_through(many, known.seen.asked if known.seen is not None else None)
            for settings in office.hearts:
                sign_of_life(settings, database, now, report.exit_code)
        let_go_of_old(database, office.kept)
        if office.last is not None and report.written + report.had:  # once there are letters of the day
            keep_copy(office.last, database, now)
        _note_hours(many, state, office, known)

    begun = monotonic()
    with lock(state.path / LOCK, now, holder=HOLDER):
        try:
            use_store(state.store, now, work)
        finally:
            report.to_log(monotonic() - begun)
    return report


def _note_hours(many: Many, state: StateFolder, office: "_Mornings", known: Known) -> None:
    """For the next run, where all gardens were read without a fault, and nothing was changed meanwhile."""
    whole = known.seen is None and not many.faults and len(office.hours) == len(many)
    if whole and known.mark and mark_of(many.folder, many.environ) == known.mark:
        keep(state, Timetable(known.mark, office.hours, tuple(one.garden.key for one in office.hearts)))


@dataclass(slots=True)
class _Mornings(Office[Wanted, Written]):
    """The letters of a morning."""

    report: Report
    boxes: Mailboxes = field(init=False)
    heard: dict[str, Collected] = field(default_factory=dict)
    kept: list[Kept] = field(default_factory=list)
    hours: dict[str, Hours] = field(default_factory=dict)

    def __post_init__(self) -> None:
        Office.__post_init__(self)
        self.boxes = self.stack.enter_context(Mailboxes())

    @property
    def holder(self) -> str:
        return HOLDER

    @property
    def work(self) -> Callable[[Sequence[Alike[Wanted]]], list[list[Written | Unwritten]]]:
        return write_chunk

    def kind(self, one: _Attended) -> str:  # noqa: ARG002
        return KIND

    def read(self, settings: Settings) -> None:
        Office.read(self, settings)
        self.hours[settings.garden.key] = _hours(settings)

    def _moment(self, settings: Settings) -> datetime:
        return as_of_morning(settings, self.wishes.day) if self.wishes.day else self.now

    def stands(self, chunk: _Chunk, settings: Settings) -> bool:
        garden, place, hours = settings.garden.key, settings.garden.place, _hours(settings)
        stands = Standing.DUE
        if self.wishes.by_hour:
            stands = due(self.now, (), hours.at, hours.zone, hours.until)
        if stands is Standing.EARLY:
            self.report.early += 1
            return False
        if has_letter(self.database, garden, KIND, place.day_of(self._moment(settings))):
            if waiting(self.database, garden) or left_sending(self.database, garden):
                chunk.only.append(settings)
            else:
                self.report.had += 1
            return False
        if stands is Standing.LATE:
            self.report.late += 1
            return False
        return True

    def attend(self, chunk: _Chunk, settings: Settings) -> _Attended | None:  # noqa: ARG002
        moment, garden = self._moment(settings), settings.garden.key
        tell_cut_off(self.database, garden, self.now)
        read_back(settings, self.database, self.now)
        if has_letter(self.database, garden, KIND, settings.garden.place.day_of(moment)):  # read back only now
            self.report.had += 1
            return None
        return self.begun(settings, moment, KIND)

    def prepare(self, chunk: _Chunk) -> None:
        answers = (collect(one.settings, self.state, self.database, self.now, self.boxes) for one in chunk.attended)
        self.heard = {one.key: heard for one, heard in zip(chunk.attended, answers, strict=True)}

    def bring_all(self, chunk: _Chunk) -> None:
        with self.database.transaction(Step.NOTES_INDEXED):
            for one in chunk.attended:
                with self.apart(one):
                    heard = self.heard[one.key]
                    brought = bring(one.settings, self.state, self.database, one.moment, self.now, heard)
                    one.wanted = wanted(one.settings, brought)

    def record(self, one: _Attended, done: Written) -> None:
        record(one.settings, self.database, one.run, done)

    def end(self, one: _Attended, done: Written, sent: Exit) -> None:
        code = gravest(done.exit_code, sent)
        end_run(self.database, one.run, self.now, Outcome.DONE if code is Exit.DONE else Outcome.PARTLY, code)
        self.report.wrote(code, sent)
        self.kept.append(kept(one.settings, self.now))


def _hours(settings: Settings) -> Hours:
    until = settings.thresholds.data.letter_catch_up_until
    return Hours(settings.garden.place.zone, settings.letter.at, until)
