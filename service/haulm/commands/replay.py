"""Words of the command that thinks past mornings again, with values changed."""

import argparse
import os
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from haulm.commands.words import Commands, add, day_of, settings_file, with_settings, with_state
from haulm.errors import Exit, UsageError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from haulm.settings.load import Settings

MOST_VARIANTS = 3  # as many as the table has room for
SAID_WITHIN_DAYS = 400  # longer replays print what was said only when asked to


def add_replay(commands: Commands) -> None:
    """The words of `haulm replay`."""
    parser = add(commands, "replay", _replay, "Past mornings again, with thresholds changed; nothing is sent.")
    parser.add_argument("--from", dest="first", type=day_of, required=True, metavar="DATE", help="the first morning")
    parser.add_argument("--to", dest="last", type=day_of, required=True, metavar="DATE", help="the last morning")
    parser.add_argument(
        "--with",
        dest="changes",
        action="append",
        nargs="+",
        default=[],
        metavar="KEY=VALUE",
        help="also with these values changed, by dotted path; give it up to three times for as many columns",
    )
    parser.add_argument(
        "--follow", action="store_true", help="a simulated grower does what each letter asks; the journal is left out"
    )
    parser.add_argument("--said", action="store_true", help="print what was said, also of more than a year")
    parser.add_argument("--picture", type=Path, metavar="FILE", help="write the picture too, as PNG")
    parser.add_argument("--csv", type=Path, metavar="FILE", help="write what was said, of every column, as CSV")
    parser.add_argument("--json", action="store_true", help="print as JSON, version 1")
    with_settings(parser)
    with_state(parser)


def _replay(arguments: argparse.Namespace) -> int:
    from tqdm import tqdm  # noqa: PLC0415  --help must stay light

    from haulm.files import write_whole  # noqa: PLC0415
    from haulm.jobs.replay import replay  # noqa: PLC0415
    from haulm.jobs.replay_lines import as_csv, as_json, as_lines, picture  # noqa: PLC0415
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.steps import Step  # noqa: PLC0415

    variants = _variants(settings_file(arguments), arguments.changes)
    state, days = state_folder(arguments.state, os.environ), (arguments.first, arguments.last)
    count = max((arguments.last - arguments.first).days + 1, 0) * len(variants)
    with tqdm(total=count, unit=" mornings", leave=False, disable=not sys.stderr.isatty()) as bar:
        found = replay(variants, state, days, datetime.now(UTC), simulated=arguments.follow, step=bar.update)
    said = arguments.said or (arguments.last - arguments.first).days <= SAID_WITHIN_DAYS
    print(as_json(found) if arguments.json else "\n".join(as_lines(found, said=said)))
    if arguments.csv:
        write_whole(arguments.csv, as_csv(found).encode(), Step.TABLE_WRITTEN)
    if arguments.picture:
        write_whole(arguments.picture, picture(found), Step.PICTURE_WRITTEN)
    return Exit.DONE


def _variants(path: Path, given: "Sequence[Sequence[str]]") -> "list[tuple[Mapping[str, str], Settings]]":
    """The settings as they are, then with each set of changes; every fault is told as in the file itself."""
    from haulm.settings.gardens import settings_of  # noqa: PLC0415

    if len(given) > MOST_VARIANTS:
        raise UsageError(f"--with was given {len(given)} times; {MOST_VARIANTS} columns have room beside as set")
    changes = [{}, *(dict(map(_pair, some)) for some in given)]
    return [(some, settings_of(path, os.environ, some)) for some in changes]


def _pair(text: str) -> tuple[str, str]:
    key, equals, value = text.partition("=")
    if not (key and equals):
        raise UsageError(
            f'"{text}" changes nothing', remedy='Write it like thresholds.planting.soil_ready_spring="9 C".'
        )
    return key.strip(), value.strip()
