"""Words of the commands about the journal: note, notes."""

import argparse
import os
import re
from datetime import UTC, datetime

from haulm.commands.words import Commands, add, day_of, settings_file, with_settings, with_state
from haulm.errors import Exit


def add_note(commands: Commands) -> None:
    """The words of `haulm note`."""
    parser = add(commands, "note", _note, "Note in the journal what you did or saw.")
    parser.add_argument("bed", help="a bed, or a planting, by its key or name")
    parser.add_argument("what", help='what it was: "planted", "shoots out", "watered", "soil temperature" …')
    parser.add_argument("amount", nargs="*", help="how much, with its unit: 0.5in, 12 mm, 3 gal, 48F, 2 x 10 l")
    parser.add_argument("--on", type=day_of, metavar="DATE", help="the local day it is about (default: today)")
    parser.add_argument("--cause", help="why the tops go down: age, frost, thirst, blight, unknown")
    # Else "-2C" would be taken for an option; argparse has no other door to this, and a test watches that it stays.
    parser._negative_number_matcher = re.compile(r"-[.,]?\d")
    with_settings(parser)
    with_state(parser)


def add_notes(commands: Commands) -> None:
    """The words of `haulm notes`."""
    parser = add(commands, "notes", _notes, "List the journal, or withdraw an entry.")
    parser.add_argument("bed", nargs="?", default="", help="only of this bed")
    parser.add_argument("--withdraw", metavar="ID", default="", help="take one entry back; it stays in the file")
    parser.add_argument("--json", action="store_true", help="print as JSON, version 1")
    with_settings(parser)
    with_state(parser)


def _note(arguments: argparse.Namespace) -> int:
    from haulm.jobs.notes import note  # noqa: PLC0415  --help must stay light
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.settings.gardens import settings_of  # noqa: PLC0415

    settings = settings_of(settings_file(arguments), os.environ)
    taken = note(
        settings.garden,
        state_folder(arguments.state, os.environ),
        arguments.bed,
        f"{arguments.what} {' '.join(arguments.amount)}".strip(),
        now=datetime.now(UTC),
        day=arguments.on,
        cause=arguments.cause,
    )
    print(taken)
    return Exit.DONE


def _notes(arguments: argparse.Namespace) -> int:
    from haulm.jobs.notes import list_notes, withdraw  # noqa: PLC0415  --help must stay light
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.settings.gardens import settings_of  # noqa: PLC0415

    settings = settings_of(settings_file(arguments), os.environ)
    state = state_folder(arguments.state, os.environ)
    if arguments.withdraw:
        print(withdraw(settings.garden, state, arguments.withdraw, datetime.now(UTC)))
    else:
        print(list_notes(settings.garden, state, arguments.bed, as_json=arguments.json))
    return Exit.DONE
