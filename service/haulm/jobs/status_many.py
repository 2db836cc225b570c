"""`haulm status --gardens`: whether all is well with many gardens, and what is amiss with which of them."""

import json
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from datetime import datetime
from textwrap import wrap

from haulm.errors import Exit, HaulmError, SettingsError
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.status import WIDTH, Line, journal_line, memory, of_garden, recent_runs
from haulm.jobs.told_once import name_all, shared_by, told_once
from haulm.letter import amounts
from haulm.settings.gardens import Many
from haulm.settings.load import Settings
from haulm.store.database import Database, open_database
from haulm.store.runs import has_run

VERSION = 1


@dataclass(frozen=True, slots=True)
class Amiss:
    """Something that is not well, and the gardens that it is not well with."""

    line: Line
    gardens: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StatusOfMany:
    """All that was looked at. `unusable` are the settings that cannot be used, and rows of no garden, in words."""

    now: datetime
    gardens: int
    well_gardens: int
    memory: Line
    amiss: tuple[Amiss, ...]
    unusable: tuple[str, ...]
    none_usable: bool

    @property
    def well(self) -> bool:
        """Whether nothing needs a hand."""
        return self.memory.well and not self.amiss and not self.unusable

    @property
    def exit_code(self) -> Exit:
        """0 for well; 2 where no garden has settings that can be used."""
        if self.none_usable:
            return Exit.SETTINGS
        return Exit.DONE if self.well else Exit.PARTLY


def status_of_many(many: Many, state: StateFolder, now: datetime) -> StatusOfMany:
    """Look at everything of all gardens, changing nothing; a store that cannot be read is one of the things found."""
    keys = [key for group in many.groups() for key in group]
    failed: dict[str, HaulmError] = {}
    found: list[tuple[str, Line]] = []
    store = memory(state)
    with ExitStack() as stack:
        database = None
        if store.well and state.store.exists():
            try:
                database = stack.enter_context(open_database(state.store))
            except HaulmError as fault:
                store = Line("Memory", fault.what, well=False, remedy=fault.remedy)
        for key, settings in many.settings(keys):
            if isinstance(settings, SettingsError):
                failed[key] = settings
            else:
                found += [(key, line) for line in _lines(settings, state, database, now) if not line.well]
    amiss = tuple(Amiss(line, gardens) for line, gardens in shared_by(found))
    unusable = (*many.faults, *(one.words for one in told_once(failed, len(keys))))
    well = len(keys) - len({*failed, *(key for key, _ in found)})
    return StatusOfMany(now, len(keys), well, store, amiss, unusable, len(failed) == len(keys))


def _lines(settings: Settings, state: StateFolder, database: Database | None, now: datetime) -> Iterator[Line]:
    # Who has joined since the last morning has no run, and nothing is amiss with that.
    if database is not None and has_run(database, settings.garden.key):
        yield from of_garden(settings, database, recent_runs(settings, database, now), now)
    yield journal_line(settings, state)


def as_lines(status: StatusOfMany) -> Iterator[str]:
    """For the terminal: what most have in common first."""
    yield from wrap(f"Memory:    {status.memory.told}", WIDTH, subsequent_indent=" " * 11)
    yield from wrap(status.memory.remedy, WIDTH, initial_indent=" " * 11, subsequent_indent=" " * 11)
    yield f"Gardens:   {status.gardens}, of which {status.well_gardens} are well"
    for text in status.unusable:
        for number, line in enumerate(text.splitlines()):
            yield from wrap(line, WIDTH, subsequent_indent="  " if number == 0 else "    ")
    for one in status.amiss:
        whose = name_all(one.gardens, status.gardens)
        yield from wrap(f"{whose}: {one.line.about}: {one.line.told}", WIDTH, subsequent_indent="  ")
        yield from wrap(one.line.remedy, WIDTH, initial_indent="  ", subsequent_indent="  ")
    amiss = len(status.amiss) + len(status.unusable) + (not status.memory.well)
    told = amounts.count(amiss, "thing needs", "things need")
    yield ""
    yield "All is well." if status.well else f"{told[0].upper()}{told[1:]} a hand."


def as_json(status: StatusOfMany) -> str:
    """For programs, version 1.

    {"version": 1, now, gardens, well_gardens, well, memory: {about, told, well, remedy}, amiss: [{about, told, remedy,
    gardens: [key]}], unusable: [text]}; `now` an ISO instant.
    """
    amiss = [
        {"about": one.line.about, "told": one.line.told, "remedy": one.line.remedy, "gardens": one.gardens}
        for one in status.amiss
    ]
    whole = {
        "version": VERSION,
        "now": status.now.isoformat(),
        "gardens": status.gardens,
        "well_gardens": status.well_gardens,
        "well": status.well,
        "memory": asdict(status.memory),
        "amiss": amiss,
        "unusable": status.unusable,
    }
    return json.dumps(whole, ensure_ascii=False, indent=1)
