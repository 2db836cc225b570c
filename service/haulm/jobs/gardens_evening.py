"""Looks at the coming night for many gardens."""

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import date, datetime
from time import monotonic

from haulm.errors import Exit
from haulm.garden import Place
from haulm.jobs.arrears import tell_cut_off
from haulm.jobs.due import Standing
from haulm.jobs.ending import sign_of_life
from haulm.jobs.engine import Engine
from haulm.jobs.errands import EVENING, Errand, evening_errands
from haulm.jobs.evening import as_of_evening, look_wanted, outcome_of, record_look, too_early
from haulm.jobs.gardens import LOCK
from haulm.jobs.gardens_report import EveningReport
from haulm.jobs.kept_store import keep_copy, use_store
from haulm.jobs.look import WORSE, Look, LookWanted
from haulm.jobs.office import Attended, Chunk, Office, Wishes
from haulm.jobs.read_back import read_back
from haulm.jobs.standing import begun, known_in, own, standing
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.write_chunk import Alike, Unwritten, look_chunk
from haulm.jobs.writing import gravest
from haulm.settings.file_form import LetterTable
from haulm.settings.gardens import Many
from haulm.settings.load import Settings
from haulm.store.database import Database
from haulm.store.letters import has_letter
from haulm.store.lock import lock
from haulm.store.runs import end_run

HOLDER = "haulm evening --gardens"

_Chunk = Chunk[LookWanted, Look]
_Attended = Attended[LookWanted, Look]


def evening_of_gardens(many: Many, state: StateFolder, now: datetime, engine: Engine, wishes: Wishes) -> EveningReport:
    """Look at the coming night of all gardens whose hour for it has come; write and deliver where it is worth a letter.

    Raises
    ------
    BusyError
        Another run for many gardens is under way.
    StoreError
        The store cannot be used. What was written and not stored is worked out by the next run.
    """
    report = EveningReport(len(many), list(many.faults))

    def work(database: Database) -> None:
        report.begin_again()
        with ExitStack() as stack:
            office = _Evenings(state, database, now, engine, wishes, report, stack)
            office.work_through(many)
            for settings in office.hearts:
                sign_of_life(settings, database, now, report.exit_code)
        if office.last is not None and report.written:
            keep_copy(office.last, database, now, anew=True)

    since = monotonic()
    with lock(state.path / LOCK, now, holder=HOLDER):
        try:
            use_store(state.store, now, work)
        finally:
            report.to_log(monotonic() - since)
    return report


@dataclass(slots=True)
class _Evenings(Office[LookWanted, Look]):
    """The looks of an evening; `hours` are those of each place and wish, which many gardens share."""

    report: EveningReport
    hours: dict[tuple[Place, LetterTable, date], tuple[Errand, ...]] = field(default_factory=dict)

    @property
    def holder(self) -> str:
        return HOLDER

    @property
    def work(self) -> Callable[[Sequence[Alike[LookWanted]]], list[list[Look | Unwritten]]]:
        return look_chunk

    def kind(self, one: _Attended) -> str:
        return one.wanted.kind if one.wanted is not None else WORSE

    def _moment(self, settings: Settings) -> datetime:
        return as_of_evening(settings, self.wishes.day) if self.wishes.day else self.now

    def stands(self, chunk: _Chunk, settings: Settings) -> bool:  # noqa: ARG002
        if not settings.letter.evening:
            self.report.off += 1
            return False
        if too_early(settings, self._moment(settings)):
            self.report.early += 1
            return False
        return not self.wishes.by_hour or self._is_due(settings)

    def _is_due(self, settings: Settings) -> bool:
        """Whether one of the evening's looks is still to be taken, or what an earlier one wrote to be handed over."""
        garden, day = settings.garden, settings.garden.place.day_of(self.now)
        known = known_in(self.database, garden.key, day, EVENING)
        stands = [standing(settings, one, own(one, known), self.now) for one in self._begun_errands(settings, day)]
        if {Standing.DUE, Standing.WAITING} & set(stands):
            return True
        self.report.early += not stands
        self.report.had += bool(stands) and stands[-1] is not Standing.LATE
        self.report.late += bool(stands) and stands[-1] is Standing.LATE
        return False

    def _begun_errands(self, settings: Settings, day: date) -> list[Errand]:
        alike = (settings.garden.place, settings.letter, day)
        if alike not in self.hours:
            self.hours[alike] = evening_errands(settings, day)
        return begun(settings, self.hours[alike], self.now)

    def attend(self, chunk: _Chunk, settings: Settings) -> _Attended | None:
        moment, garden = self._moment(settings), settings.garden.key
        tell_cut_off(self.database, garden, self.now)
        read_back(settings, self.database, self.now)
        if has_letter(self.database, garden, WORSE, settings.garden.place.day_of(moment)):
            chunk.only.append(settings)  # this evening's last letter is written
            return None
        return self.begun(settings, moment, EVENING)

    def bring_all(self, chunk: _Chunk) -> None:
        for one in chunk.attended:
            with self.apart(one):
                one.wanted = look_wanted(one.settings, self.state, self.database, one.moment)

    def record(self, one: _Attended, done: Look) -> None:
        record_look(one.settings, self.database, one.run, done)

    def end(self, one: _Attended, done: Look, sent: Exit) -> None:
        code = gravest(done.exit_code, sent)
        end_run(self.database, one.run, self.now, outcome_of(done, code), code, done.told)
        self.report.saw(done.exit_code, sent, code, wrote=done.letter is not None)
