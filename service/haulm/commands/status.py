"""Words of the command that says whether all is well."""

import argparse
import os
from datetime import UTC, datetime
from pathlib import Path

from haulm.commands.at_work import at_work
from haulm.commands.many import status_of_many
from haulm.commands.words import Commands, add, settings_file, with_settings, with_state
from haulm.errors import SettingsError


def add_status(commands: Commands) -> None:
    """The words of `haulm status`."""
    parser = add(commands, "status", _status, "Say whether all is well: runs, weather, post, memory, what comes next.")
    with_settings(parser)
    with_state(parser)
    parser.add_argument("--json", action="store_true", help="print it as JSON, version 1")
    parser.add_argument("--tell", action="store_true", help="after a failure: tell the log, and after some the webhook")
    parser.add_argument("--gardens", type=Path, metavar="FOLDER", help="of many gardens, with one verdict")


def _status(arguments: argparse.Namespace) -> int:
    if arguments.gardens is not None:
        return status_of_many(arguments)
    import logging  # noqa: PLC0415  --help must stay light

    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.jobs.status import as_json, as_lines, status_of, tell  # noqa: PLC0415
    from haulm.jobs.system_log import open_log  # noqa: PLC0415
    from haulm.settings.gardens import settings_of  # noqa: PLC0415

    if arguments.tell:
        open_log(os.environ)
    try:
        settings = settings_of(settings_file(arguments), os.environ)
    except SettingsError as fault:
        if arguments.tell:
            logging.getLogger("haulm").error("No letter can go out: %s", fault)
        raise
    state = state_folder(arguments.state, os.environ)
    with at_work("Looking at all that is kept"):
        found = status_of(settings, state, datetime.now(UTC))
        if arguments.tell:
            tell(settings, state, found)
    print(as_json(found) if arguments.json else "\n".join(as_lines(found)))
    return found.exit_code
