"""The hours of many gardens, kept from one run to the next, so that a run with nothing to do costs next to nothing.

An office is asked each quarter of an hour, and reading the settings of all its gardens costs a millisecond each. A run
that has read them all without a fault therefore notes their hours beside the store, under a mark of all that they were
read from: the folder's tables and settings files to the byte, the environment, haulm's version. While that mark is the
same, the next run asks the store who of them still wants a letter, and reads the settings of those alone. No letter
depends on it: without the note, or where it cannot be read, all settings are read.

Nothing is imported here that takes long: a run that has nothing to do ends before pydantic and numpy are loaded.
"""

import hashlib
import json
import logging
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, time
from pathlib import Path

from haulm import __version__
from haulm.errors import HaulmError
from haulm.files import explain, write_whole
from haulm.jobs.due import Standing, due, local_day
from haulm.jobs.gardens_report import Report
from haulm.jobs.state_folder import StateFolder
from haulm.settings.folder import BEDS, GROWERS, PLACES
from haulm.steps import Step
from haulm.store.database import Database, open_database
from haulm.store.letters import gardens_that_wait, has_letter
from haulm.store.upkeep import is_checked, last_copied

VERSION = 1
FILE = "gardens-hours.json"
TABLES = frozenset({PLACES, GROWERS, BEDS})
KIND = "morning"

_LOG = logging.getLogger("haulm")


@dataclass(frozen=True, slots=True)
class Hours:
    """When a garden's letter is written: from and up to which hour on the clocks of its zone."""

    zone: str
    at: time
    until: time


@dataclass(frozen=True, slots=True)
class Timetable:
    """The hours of all gardens of a folder, by their keys, and gardens whose heartbeats are to be asked, one each."""

    mark: str
    hours: Mapping[str, Hours]
    hearts: tuple[str, ...]


@dataclass(slots=True)
class Seen:
    """What a look at the timetable found: how many gardens there are, who is to be seen to, where the others stand."""

    gardens: int
    asked: set[str] = field(default_factory=set)
    early: set[str] = field(default_factory=set)
    had: set[str] = field(default_factory=set)
    late: set[str] = field(default_factory=set)

    def report(self) -> Report:
        """How a run went that had nobody to see to."""
        found = Report(self.gardens)
        self.count_in(found)
        return found

    def count_in(self, report: Report) -> None:
        """Count those that nothing is done for."""
        report.early += len(self.early - self.asked)
        report.had += len(self.had - self.asked)
        report.late += len(self.late - self.asked)


@dataclass(frozen=True, slots=True)
class Known:
    """What a run knows before it reads the settings: their mark, and what the timetable told, if it did."""

    mark: str = ""
    seen: Seen | None = None


NOTHING_KNOWN = Known()


def mark_of(folder: Path, environ: Mapping[str, str]) -> str:
    """What changes with anything that the settings of a folder's gardens are read from; empty if it cannot be read."""
    told = hashlib.blake2b(digest_size=16)
    try:
        files = sorted(path for path in folder.iterdir() if path.suffix == ".toml" or path.name in TABLES)
        parts = [(path.name, path.read_bytes()) for path in files]
    except OSError:
        return ""
    values = (
        (name, environ[name].encode(errors="surrogateescape")) for name in sorted(environ) if name[:6] == "HAULM_"
    )
    for name, held in [("version", __version__.encode()), *values, *parts]:
        told.update(f"{name} {len(held)} ".encode(errors="surrogateescape"))
        told.update(held)
    return told.hexdigest()


def look(folder: Path, environ: Mapping[str, str], state: StateFolder, now: datetime) -> Known:
    """Who of a folder's gardens is to be seen to now; not told where there is no note, or the store is in trouble."""
    mark = mark_of(folder, environ)
    timetable = _read(state.path / FILE, mark)
    if timetable is None or not state.store.exists():
        return Known(mark)
    try:
        with open_database(state.store) as database:
            return Known(mark, _look(timetable, database, now))
    except HaulmError:  # whoever uses the store in earnest mends it, or tells of it
        return Known(mark)


def keep(state: StateFolder, timetable: Timetable) -> None:
    """Note the hours for the next run; what fails is logged, and the next run reads all settings."""
    groups: dict[Hours, list[str]] = {}
    for key, hours in timetable.hours.items():
        groups.setdefault(hours, []).append(key)
    told = [
        {"zone": hours.zone, "at": hours.at.isoformat(), "until": hours.until.isoformat(), "gardens": keys}
        for hours, keys in groups.items()
    ]
    whole = {"version": VERSION, "mark": timetable.mark, "hours": told, "hearts": timetable.hearts}
    try:
        write_whole(state.path / FILE, json.dumps(whole).encode(), Step.TIMETABLE_NOTED)
    except OSError as fault:
        _LOG.warning("%s: %s, so the next run reads all settings.", state.path / FILE, explain(fault)[0])


def _read(path: Path, mark: str) -> Timetable | None:
    try:
        told = json.loads(path.read_bytes())
        if not mark or (told["version"], told["mark"]) != (VERSION, mark):
            return None
        return Timetable(mark, dict(_hours(told["hours"])), tuple(told["hearts"]))
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def _hours(groups: Iterable[Mapping[str, str]]) -> Iterator[tuple[str, Hours]]:
    for group in groups:
        hours = Hours(group["zone"], time.fromisoformat(group["at"]), time.fromisoformat(group["until"]))
        yield from ((key, hours) for key in group["gardens"])


def _look(timetable: Timetable, database: Database, now: datetime) -> Seen:
    seen, waits = Seen(len(timetable.hours), set(timetable.hearts)), gardens_that_wait(database)
    standing: dict[Hours, tuple[Standing, str]] = {}
    for key, hours in timetable.hours.items():
        if hours not in standing:
            standing[hours] = due(now, (), hours.at, hours.zone, hours.until), hours.zone
        stands, zone = standing[hours]
        if stands is Standing.EARLY:
            seen.early.add(key)
        elif has_letter(database, key, KIND, local_day(now, zone)):
            (seen.asked if key in waits else seen.had).add(key)
        else:
            (seen.late if stands is Standing.LATE else seen.asked).add(key)
    seen.asked |= _for_the_store(seen, timetable, database, now)
    return seen


def _for_the_store(seen: Seen, timetable: Timetable, database: Database, now: datetime) -> set[str]:
    """A garden in whose name the store is checked, or copied after the day's letters, where that is still to do."""
    one = next(iter(seen.had), None) or next(iter(timetable.hours), None)
    if one is None:
        return set()
    copied, zone = last_copied(database), timetable.hours[one].zone
    is_copied = not seen.had or (copied is not None and local_day(copied, zone) == local_day(now, zone))
    return set() if is_copied and is_checked(database, now) else {one}
