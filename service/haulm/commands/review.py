"""Words of the command that looks back on a season."""

import argparse
import os
from datetime import UTC, datetime

from haulm.commands.at_work import at_work
from haulm.commands.words import Commands, add, settings_file, with_settings, with_state
from haulm.errors import Exit


def add_review(commands: Commands) -> None:
    """The words of `haulm review`."""
    parser = add(commands, "review", _review, "Look back on a season: what was expected, and what came.")
    parser.add_argument("spot", nargs="?", default="", metavar="BED", help="only of this bed or planting")
    parser.add_argument("--json", action="store_true", help="print as JSON, version 1")
    with_settings(parser)
    with_state(parser)


def _review(arguments: argparse.Namespace) -> int:
    from haulm.jobs.review import as_json, as_lines, review  # noqa: PLC0415  --help must stay light
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.settings.gardens import settings_of  # noqa: PLC0415

    settings = settings_of(settings_file(arguments), os.environ)
    state = state_folder(arguments.state, os.environ)
    with at_work("Looking back"):
        found = review(settings, state, datetime.now(UTC), arguments.spot)
    print(as_json(found) if arguments.json else "\n".join(as_lines(found)))
    return Exit.DONE
