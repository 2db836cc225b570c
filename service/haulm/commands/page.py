"""Words of the command that writes the pages."""

import argparse
import os
from datetime import UTC, datetime
from pathlib import Path

from haulm.commands.at_work import at_work
from haulm.commands.words import Commands, add, settings_file, with_settings, with_state
from haulm.errors import Exit


def add_page(commands: Commands) -> None:
    """The words of `haulm page`."""
    parser = add(commands, "page", _page, "Write a folder of plain pages: today, each bed's season, the letters.")
    parser.add_argument("folder", type=Path, nargs="?", help="(default: post.pages of the settings, or ./haulm-pages)")
    with_settings(parser)
    with_state(parser)


def _page(arguments: argparse.Namespace) -> int:
    from haulm.jobs.page import write_pages  # noqa: PLC0415  --help must stay light
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.settings.gardens import settings_of  # noqa: PLC0415

    settings = settings_of(settings_file(arguments), os.environ)
    folder = arguments.folder or settings.post.pages or Path("haulm-pages")
    state = state_folder(arguments.state, os.environ)
    with at_work("Working the pages out and drawing them"):
        count = write_pages(settings, state, folder, datetime.now(UTC))
    print(f"{count} {'file' if count == 1 else 'files'} written; open {folder / 'index.html'} in a browser.")
    return Exit.DONE
