"""Words of the command that shows the soil of a bed."""

import argparse
import os
from datetime import UTC, datetime
from pathlib import Path

from haulm.commands.at_work import at_work
from haulm.commands.words import Commands, add, settings_file, with_settings, with_state
from haulm.errors import Exit


def add_soil(commands: Commands) -> None:
    """The words of `haulm soil`."""
    parser = add(commands, "soil", _soil, "The soil of a bed: as it was, what is coming, what readings taught.")
    parser.add_argument("bed", help="a bed, or a planting, by its key or name")
    parser.add_argument("--picture", type=Path, metavar="FILE", help="write the picture too, as PNG")
    parser.add_argument("--json", action="store_true", help="print as JSON, version 1")
    with_settings(parser)
    with_state(parser)


def _soil(arguments: argparse.Namespace) -> int:
    from haulm.files import write_whole  # noqa: PLC0415  --help must stay light
    from haulm.jobs.soil import as_json, as_lines, picture, soil_report  # noqa: PLC0415
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.settings.gardens import settings_of  # noqa: PLC0415
    from haulm.steps import Step  # noqa: PLC0415

    settings = settings_of(settings_file(arguments), os.environ)
    state = state_folder(arguments.state, os.environ)
    with at_work("Working the soil out"):
        report = soil_report(settings, state, arguments.bed, datetime.now(UTC))
    print(as_json(report) if arguments.json else "\n".join(as_lines(report)))
    if arguments.picture:
        write_whole(arguments.picture, picture(report, settings), Step.PICTURE_WRITTEN)
    return Exit.DONE
