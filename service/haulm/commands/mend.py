"""Words of the command that mends what haulm keeps."""

import argparse
import os
from datetime import UTC, datetime

from haulm.commands.at_work import at_work
from haulm.commands.words import Commands, add, folded, settings_file, with_settings, with_state


def add_mend(commands: Commands) -> None:
    """The words of `haulm mend`."""
    parser = add(commands, "mend", _mend, "Check all that haulm remembers, and restore what is damaged.")
    parser.add_argument("--dry-run", action="store_true", help="only say what is wrong and what would be done")
    with_settings(parser)
    with_state(parser)


def _mend(arguments: argparse.Namespace) -> int:
    from haulm.jobs.mend import mend  # noqa: PLC0415  --help must stay light
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.settings.gardens import settings_of  # noqa: PLC0415

    settings = settings_of(settings_file(arguments), os.environ)
    state = state_folder(arguments.state, os.environ)
    with at_work("Checking and mending" if not arguments.dry_run else "Checking"):
        report = mend(settings, state, datetime.now(UTC), dry_run=arguments.dry_run)
    print(folded(report.lines))
    return report.exit_code
