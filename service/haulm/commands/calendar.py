"""Words of the command that writes the calendar file."""

import argparse
import os
import sys
from datetime import UTC, datetime
from pathlib import Path

from haulm.commands.at_work import at_work
from haulm.commands.words import Commands, add, day_of, folded, settings_file, with_settings, with_state


def add_calendar(commands: Commands) -> None:
    """The words of `haulm calendar`."""
    parser = add(commands, "calendar", _calendar, "Write the coming dates as a calendar file (RFC 5545).")
    parser.add_argument("file", type=Path, nargs="?", default=Path("haulm.ics"), help="(default: ./haulm.ics)")
    parser.add_argument("--today", type=day_of, metavar="DATE", help="as this local day's morning would have it")
    with_settings(parser)
    with_state(parser)


def _calendar(arguments: argparse.Namespace) -> int:
    from haulm.jobs.calendar import calendar  # noqa: PLC0415  --help must stay light
    from haulm.jobs.morning import as_of_morning  # noqa: PLC0415
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.settings.gardens import settings_of  # noqa: PLC0415

    settings = settings_of(settings_file(arguments), os.environ)
    state = state_folder(arguments.state, os.environ)
    as_of = as_of_morning(settings, arguments.today) if arguments.today else None
    with at_work("Working the dates out"):
        written = calendar(settings, state, arguments.file, datetime.now(UTC), as_of)
    coming = written.coming
    for one in coming:
        print(f"{one.day}  {one.title}")
    if not coming:
        print("Nothing is near: a planting has dates from 100 days before its window on.")
    print(f"{len(coming)} coming {'date' if len(coming) == 1 else 'dates'} in {arguments.file}.")
    for notice in written.notices:
        print(folded([f"haulm: {notice}"]), file=sys.stderr)
    return written.exit_code
