"""`haulm mend`: look at all that haulm keeps, and put right what can be put right.

What is newer than the copy comes from elsewhere: notes from the journal's file, which alone can rebuild the index;
weather from its sources; answers from the mailbox; letters from the dated folder and the post book. Nothing is sent.
"""

from dataclasses import dataclass, field
from datetime import datetime

from haulm.errors import Exit, HaulmError
from haulm.garden import Journal
from haulm.jobs.answers import collect
from haulm.jobs.kept_store import as_lines
from haulm.jobs.observe import observe
from haulm.jobs.observe_stations import access_to
from haulm.jobs.read_back import read_back
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.store_look import store_lines
from haulm.jobs.writing import keep_weather
from haulm.letter import amounts
from haulm.settings.load import Settings
from haulm.sources.spool import damaged_files
from haulm.store.copies import newest_sound
from haulm.store.database import Database, copies_of, open_database
from haulm.store.health import Health, Looked, look
from haulm.store.journal_file import append_entry, read_journal
from haulm.store.lock import lock
from haulm.store.mend import restore
from haulm.store.notes import lost_notes, reindex
from haulm.store.readable import check_copy_whole, runs_begun


@dataclass(slots=True)
class Report:
    """What was found and done, a line each; `is_whole` is False where something is wrong and stays so."""

    lines: list[str] = field(default_factory=list)
    is_whole: bool = True

    def tell(self, line: str, *, is_well: bool = True) -> None:
        """Add a line."""
        self.lines.append(line)
        self.is_whole = self.is_whole and is_well

    @property
    def exit_code(self) -> Exit:
        """How it went."""
        return Exit.DONE if self.is_whole else Exit.PARTLY


def mend(settings: Settings, state: StateFolder, now: datetime, *, dry_run: bool = False) -> Report:
    """Check the store, the journal and what was fetched; restore and rebuild what is damaged, or only say so.

    Raises
    ------
    BusyError
        Another run is at work on this garden, or has the store open.
    StoreError
        The store was written by a newer haulm, is not one of haulm's, or cannot be written.
    JournalError
        The journal's file cannot be read at all.
    """
    report = Report()
    with lock(state.lock(settings.garden), now, holder="haulm mend"):
        found = look(state.store)
        for line in store_lines(state.store, found):
            report.tell(line, is_well=found.is_well or not dry_run)
        if not found.is_well:
            _restore(state, now, report, dry_run=dry_run)
        journal = _journal(settings, state, report)
        _spool(state, report)
        if dry_run:
            _tell_lost(settings, state, found, journal, report)
        elif found.health is not Health.NONE_YET or journal.entries:
            with open_database(state.store) as database:
                _replay(settings, state, database, now, report, restored=not found.is_well)
    report.tell(_last_word(report, dry_run=dry_run))
    return report


def _restore(state: StateFolder, now: datetime, report: Report, *, dry_run: bool) -> None:
    if dry_run:
        copy, unsound = newest_sound(copies_of(state.store), check_copy_whole, runs_begun)
        for bad, why in unsound:
            report.tell(f"The copy {bad.path.name} is not sound: {why}.", is_well=False)
        told = f"The copy {copy.path.name} would take its place" if copy else "No copy is sound: it would begin anew"
        report.tell(f"{told}; what is there now would be set aside.")
        return
    restored = restore(state.store, now)
    if restored is not None:
        for line in as_lines(restored):
            report.tell(line)
        report.is_whole = restored.copy is not None


def _journal(settings: Settings, state: StateFolder, report: Report) -> Journal:
    path = state.journal(settings.garden)
    journal, complaints = read_journal(path)
    report.tell(f"Journal: {path}: {amounts.count(len(journal.entries), 'note', 'notes')}.")
    for complaint in complaints:
        report.tell(f"  {complaint}.", is_well=False)
    return journal


def _spool(state: StateFolder, report: Report) -> None:
    count, damaged = damaged_files(state.spool)
    told = f"Fetched files: {state.spool}: {count}"
    report.tell(
        f"{told}, {len(damaged)} of them damaged: those are fetched anew." if damaged else f"{told}, all whole."
    )


def _tell_lost(settings: Settings, state: StateFolder, found: Looked, journal: Journal, report: Report) -> None:
    if found.health is Health.SOUND:
        with open_database(state.store) as database:
            lost = lost_notes(database, settings.garden.key, journal)
        if lost:
            many = amounts.count(len(lost), "note", "notes")
            report.tell(f"{many} that the journal's file has lost would be written back.", is_well=False)


def _replay(
    settings: Settings, state: StateFolder, database: Database, now: datetime, report: Report, *, restored: bool
) -> None:
    """What the copy does not know, from elsewhere."""
    _write_back(settings, state, database, report)
    if not restored:
        return
    letters = read_back(settings, database, now)
    if letters:
        report.tell(f"{amounts.count(letters, 'letter was', 'letters were')} read back from {settings.post.folder}.")
    try:
        with access_to(settings, state.spool, now) as access:
            observed = observe(settings, access, database, now)
            keep_weather(database, settings, access, observed)
    except HaulmError as fault:
        report.tell(f"The weather was not fetched: {fault}", is_well=False)
    else:
        told = "Weather: fetched anew." if observed.fresh else "Weather: not all could be had; the morning tries again."
        report.tell(told, is_well=observed.fresh)
    collected = collect(settings, state, database, now)
    if collected.heard:
        report.tell(f"{amounts.count(len(collected.heard), 'answer was', 'answers were')} read from the mailbox.")
    if collected.fault:
        report.tell(f"Answers: {collected.fault}", is_well=False)


def _write_back(settings: Settings, state: StateFolder, database: Database, report: Report) -> None:
    garden, path = settings.garden.key, state.journal(settings.garden)
    lost = lost_notes(database, garden, read_journal(path)[0])
    for note in lost:
        append_entry(path, note)
    if lost:
        many = amounts.count(len(lost), "note was", "notes were")
        report.tell(f"{many} missing from the journal's file, and written back from the index.")
    journal = read_journal(path)[0]
    reindex(database, garden, journal)
    report.tell(f"The journal's index holds {amounts.count(len(journal.entries), 'note', 'notes')}.")


def _last_word(report: Report, *, dry_run: bool) -> str:
    if dry_run:
        return "Nothing was changed." if report.is_whole else "Nothing was changed; haulm mend would put it right."
    return "All is well." if report.is_whole else "Done as far as it can be; what is still wrong is told above."
