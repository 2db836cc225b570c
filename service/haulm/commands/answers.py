"""Words of the command that reads answers to letters."""

import argparse
import os
from datetime import UTC, datetime

from haulm.commands.at_work import at_work
from haulm.commands.words import Commands, add, settings_file, with_settings, with_state
from haulm.errors import Exit


def add_answers(commands: Commands) -> None:
    """The words of `haulm answers`."""
    parser = add(commands, "answers", _answers, "Read the answers that came by mail, and note what they say.")
    parser.add_argument("--json", action="store_true", help="print as JSON, version 1")
    with_settings(parser)
    with_state(parser)


def _answers(arguments: argparse.Namespace) -> int:
    from haulm.jobs.answers import answers, as_json, as_lines  # noqa: PLC0415  --help must stay light
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.settings.gardens import settings_of  # noqa: PLC0415

    settings = settings_of(settings_file(arguments), os.environ)
    state = state_folder(arguments.state, os.environ)
    with at_work("Reading the mailbox"):
        found = answers(settings, state, datetime.now(UTC))
    print(as_json(found) if arguments.json else "\n".join(as_lines(found)))
    return Exit.TRY_LATER if found.fault else Exit.DONE
