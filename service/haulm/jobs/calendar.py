"""`haulm calendar`: the coming dates as a file that any calendar can read."""

from datetime import datetime
from pathlib import Path

from haulm.errors import UsageError
from haulm.files import write_whole
from haulm.jobs.morning import think
from haulm.jobs.state_folder import StateFolder
from haulm.letter.dates import Coming, coming_dates
from haulm.settings.load import Settings
from haulm.steps import Step


def calendar(settings: Settings, state: StateFolder, file: Path, now: datetime) -> tuple[Coming, ...]:
    """Write the calendar file, or bring the one that stands up to date; returns what is in it.

    Raises
    ------
    UsageError
        The library for calendar files is not installed.
    """
    try:
        from haulm.letter.calendar_file import calendar_file  # noqa: PLC0415  an extra: the rest works without it
    except ImportError as fault:
        raise UsageError(
            "the library for calendar files is not installed", remedy="Install it: pip install 'haulm[calendar]'."
        ) from fault
    _, decision = think(settings, state, now, now)
    coming = coming_dates(decision)
    before = file.read_bytes() if file.exists() else b""
    name = f"haulm, {settings.garden.place.name}"
    write_whole(file, calendar_file(coming, settings.garden.key, name, now, before), Step.CALENDAR_WRITTEN)
    return coming
