"""Words of the command that tells the planting windows of a place."""

import argparse
import os
from datetime import UTC, datetime
from pathlib import Path

from haulm.commands.at_work import at_work
from haulm.commands.words import Commands, add, day_of, settings_file, with_settings, with_state
from haulm.errors import Exit


def add_season(commands: Commands) -> None:
    """The words of `haulm season`."""
    parser = add(commands, "season", _season, "When to plant, by the place's own years; and when its frosts come.")
    parser.add_argument("--bed", default="", help="a bed, or a planting, by its key or name (default: the first)")
    parser.add_argument("--on", type=day_of, metavar="DATE", help="tell the chance of frost after or by this day")
    parser.add_argument("--picture", type=Path, metavar="FILE", help="write the picture of the year too, as PNG")
    parser.add_argument("--json", action="store_true", help="print as JSON, version 1")
    with_settings(parser)
    with_state(parser)


def _season(arguments: argparse.Namespace) -> int:
    from haulm.files import write_whole  # noqa: PLC0415  --help must stay light
    from haulm.jobs.season import as_json, as_lines, picture, season_told  # noqa: PLC0415
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.settings.gardens import settings_of  # noqa: PLC0415
    from haulm.steps import Step  # noqa: PLC0415

    settings = settings_of(settings_file(arguments), os.environ)
    state = state_folder(arguments.state, os.environ)
    with at_work("Planting on each day of each year"):
        told = season_told(settings, state, datetime.now(UTC), arguments.bed, arguments.on)
    print(as_json(told) if arguments.json else "\n".join(as_lines(told)))
    if arguments.picture:
        write_whole(arguments.picture, picture(told), Step.PICTURE_WRITTEN)
    return Exit.DONE
