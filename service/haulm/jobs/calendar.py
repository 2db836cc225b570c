"""`haulm calendar`: the coming dates as a file that any calendar can read."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from haulm.errors import Exit, SourceError, UsageError
from haulm.files import explain, write_whole
from haulm.jobs.morning import think
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.write import exit_of
from haulm.letter.dates import Coming, coming_dates
from haulm.settings.load import Settings
from haulm.steps import Step


@dataclass(frozen=True, slots=True)
class Written:
    """What is in the file, what was wrong with the weather behind it, and how it went."""

    coming: tuple[Coming, ...]
    notices: tuple[str, ...]
    exit_code: Exit


def calendar(
    settings: Settings, state: StateFolder, file: Path, now: datetime, as_of: datetime | None = None
) -> Written:
    """Write the calendar file, or bring the one that stands up to date; thought from `as_of` where that is another day.

    Raises
    ------
    UsageError
        The library for calendar files is not installed, or the file cannot be written there.
    SourceError
        There is no weather at all to reckon dates from; a file that stands is left as it is.
    """
    try:
        from haulm.letter.calendar_file import calendar_file  # noqa: PLC0415  an extra: the rest works without it
    except ImportError as fault:
        raise UsageError(
            "the library for calendar files is not installed", remedy="Install it: pip install 'haulm[calendar]'."
        ) from fault
    observed, decision = think(settings, state, now, as_of or now)
    if observed.record is None:
        raise SourceError("there is no weather to reckon dates from", remedy=" ".join(observed.notices))
    coming = coming_dates(decision)
    name = f"haulm at {settings.garden.place.name}"
    try:
        before = file.read_bytes() if file.exists() else b""
        write_whole(file, calendar_file(coming, settings.garden.key, name, now, before), Step.CALENDAR_WRITTEN)
    except OSError as fault:
        what, remedy = explain(fault)
        raise UsageError(f"the calendar cannot be written: {what}", where=str(file), remedy=remedy) from fault
    code = exit_of(observed, decision)
    if code is Exit.DONE:
        return Written(coming, (), code)
    newest = f"These dates rest on days up to {observed.record.days.last:%-d %B %Y}, and not on all that is asked for."
    return Written(coming, (newest, *decision.faults, *observed.notices), code)
