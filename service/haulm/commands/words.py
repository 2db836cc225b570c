"""What the words of all commands share: how one is added, where its settings and its memory are, what a day is."""

import argparse
import os
from collections.abc import Callable, Iterable
from datetime import date
from pathlib import Path
from textwrap import wrap
from typing import TypeAlias

Command = Callable[[argparse.Namespace], int]
Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"
DEFAULT_SETTINGS = "haulm.toml"
WIDTH = 80
FIRST_YEAR, LAST_YEAR = 1800, 2150  # wider than any record; a slip in the year would have millions of days run


def add(commands: Commands, name: str, run: Command, told: str) -> argparse.ArgumentParser:
    """One command with its own parser: `told` is its help, `run` gets what was given and returns the exit code."""
    parser = commands.add_parser(name, help=told, description=told)
    parser.set_defaults(command=run)
    return parser


def with_settings(parser: argparse.ArgumentParser) -> None:
    """The option that names the settings file."""
    parser.add_argument(
        "--settings", type=Path, metavar="FILE", help="the settings file (default: $HAULM_SETTINGS, or ./haulm.toml)"
    )


def with_state(parser: argparse.ArgumentParser) -> None:
    """The option that names the folder where haulm remembers."""
    parser.add_argument(
        "--state", type=Path, metavar="FOLDER", help="where haulm remembers (default: $HAULM_STATE, or your home)"
    )


def day_of(text: str) -> date:
    """A day as it is written on the command line."""
    try:
        day = date.fromisoformat(text)
    except ValueError as fault:
        raise argparse.ArgumentTypeError(f'"{text}" is not a day; write it like 2027-04-12') from fault
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise argparse.ArgumentTypeError(f'"{text}" is too far off; days of {FIRST_YEAR} to {LAST_YEAR} are understood')
    return day


def settings_file(arguments: argparse.Namespace) -> Path:
    """The settings file of a command: as named, from the environment, or here."""
    named = arguments.settings or os.environ.get("HAULM_SETTINGS") or DEFAULT_SETTINGS
    return Path(named)


def folded(lines: Iterable[str]) -> str:
    """Lines as a terminal of 80 columns shows them whole; what follows the first of each stands in by two."""
    shown: list[str] = []
    for line in (part for whole in lines for part in whole.splitlines() or [""]):
        begin = line[: len(line) - len(line.lstrip())]
        following = begin + ("  " if not begin else "")
        shown += wrap(line, WIDTH, subsequent_indent=following, break_long_words=False, break_on_hyphens=False) or [""]
    return "\n".join(shown)
