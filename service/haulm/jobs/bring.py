"""What a garden brings to its morning besides the weather: what was noted, said before, and heard by mail."""

from dataclasses import dataclass
from datetime import date, datetime, time
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from haulm.advice import AskedBack, Said
from haulm.garden import Journal
from haulm.jobs.arrears import arrears
from haulm.jobs.ending import heartbeat_told
from haulm.jobs.kept_store import copies_told
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import Settings
from haulm.store.answers import to_be_told
from haulm.store.database import Database
from haulm.store.journal_file import read_journal
from haulm.store.notes import reindex
from haulm.store.said import read_said
from haulm.weather import DAY

if TYPE_CHECKING:
    from haulm.jobs.answers import Collected


@dataclass(frozen=True, slots=True)
class Brought:
    """What was found. `told` are sentences about what went wrong since the last letter, for its last part."""

    journal: Journal
    memory: tuple[Said, ...]
    told: tuple[str, ...]
    heard: tuple[str, ...] = ()
    asked: tuple[AskedBack, ...] = ()


def bring(
    settings: Settings, state: StateFolder, database: Database, moment: datetime, now: datetime,
    collected: "Collected | None" = None,
) -> Brought:  # fmt: skip
    """Read a garden's answers (unless they were `collected` before), its journal, and what was said before."""
    garden, day = settings.garden.key, settings.garden.place.day_of(moment)
    fault = _read_mailbox(settings, state, database, now) if collected is None else collected.fault
    journal, complaints = read_journal(state.journal(settings.garden))
    told = _lost(reindex(database, garden, journal))
    told += (*arrears(database, garden, day, now), *copies_told(settings, database, now))
    told += heartbeat_told(settings, database, now)
    told += tuple(str(complaint) for complaint in complaints)
    told += (f"Answers: {fault}",) if fault else ()
    heard = to_be_told(database, garden, day, end_of(settings, day))
    beds = {bed.key for bed in settings.garden.beds}
    asked = tuple(AskedBack(one.sentence, one.bed, one.choices) for one in heard if one.choices and one.bed in beds)
    return Brought(journal, read_said(database, garden, before=day), told, tuple(one.told for one in heard), asked)


def _read_mailbox(settings: Settings, state: StateFolder, database: Database, now: datetime) -> str:
    """Take in the answers of a garden that has a mailbox; what went wrong with that, if anything did."""
    if settings.post.mailbox is None:
        return ""
    from haulm.jobs.answers import collect  # noqa: PLC0415  20 ms that only who has a mailbox should pay

    return collect(settings, state, database, now).fault


def end_of(settings: Settings, day: date) -> datetime:
    """What came after a day is told by a later letter, also where the day's own is only written now."""
    return datetime.combine(day + DAY, time(0), ZoneInfo(settings.garden.place.zone))


def _lost(notes: int) -> tuple[str, ...]:
    """The journal's file is only ever added to: notes that it no longer holds are a fault."""
    if not notes:
        return ()
    which = "A note is" if notes == 1 else f"{notes} notes are"
    return (f"{which} missing from the journal's file, and not counted; haulm mend writes back what was lost.",)
