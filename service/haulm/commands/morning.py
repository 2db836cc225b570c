"""Words of the commands that write letters: morning, evening, schedule."""

import argparse
import os
import sys
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from haulm.commands.at_work import at_work
from haulm.commands.many import evening_of_many, morning_of_many, with_many
from haulm.commands.words import Commands, add, day_of, settings_file, with_settings, with_state
from haulm.errors import Exit

if TYPE_CHECKING:
    from haulm.jobs.state_folder import StateFolder
    from haulm.jobs.unsent import UnsentError
    from haulm.settings.load import Settings


def add_morning(commands: Commands) -> None:
    """The words of `haulm morning`."""
    parser = add(commands, "morning", _morning, "Write and send this morning's letter, once.")
    with_settings(parser)
    with_state(parser)
    parser.add_argument("--today", type=day_of, metavar="DATE", help="write the letter of this local day instead")
    parser.add_argument("--dry-run", action="store_true", help="work it out afresh, store and send nothing")
    parser.add_argument("--json", action="store_true", help="print the letter as JSON, version 1")
    with_many(parser)


def add_evening(commands: Commands) -> None:
    """The words of `haulm evening`."""
    parser = add(commands, "evening", _evening, "Look at the coming night; write only where it endangers something.")
    with_settings(parser)
    with_state(parser)
    parser.add_argument("--today", type=day_of, metavar="DATE", help="look at the night after this local day instead")
    parser.add_argument("--dry-run", action="store_true", help="work it out afresh, store and send nothing")
    parser.add_argument("--json", action="store_true", help="print what is known of the night as JSON, version 1")
    with_many(parser)


def add_schedule(commands: Commands) -> None:
    """The words of `haulm schedule`."""
    parser = add(
        commands, "schedule", _schedule, "Stay, and run each morning and evening at its hour until told to end."
    )
    parser.add_argument("--once", action="store_true", help="for a timer: run this morning if still wanted, then end")
    parser.add_argument("--evening", action="store_true", help="with --once: the evening's look, if one is due")
    with_settings(parser)
    with_state(parser)


def _morning(arguments: argparse.Namespace) -> int:
    if arguments.gardens is not None:
        return morning_of_many(arguments)
    from haulm.jobs.morning import as_of_morning, morning, rehearse  # noqa: PLC0415  --help must stay light
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.jobs.system_log import open_log  # noqa: PLC0415
    from haulm.jobs.unsent import UnsentError  # noqa: PLC0415
    from haulm.settings.gardens import settings_of  # noqa: PLC0415

    open_log(os.environ)
    settings = settings_of(settings_file(arguments), os.environ)
    state, now = state_folder(arguments.state, os.environ), datetime.now(UTC)
    as_of = as_of_morning(settings, arguments.today) if arguments.today else None
    try:
        with at_work("Thinking the morning through"):
            if arguments.dry_run:
                done = rehearse(settings, state, now, as_of or now)
            else:
                done = morning(settings, state, now, as_of)
    except UnsentError as fault:
        return _show(fault, as_json=arguments.json)
    print(done.letter.json if arguments.json else done.letter.text, end="\n" if arguments.json else "")
    shown = Exit.DONE if arguments.dry_run else _pages(settings, state, now)
    return done.exit_code or shown


def _evening(arguments: argparse.Namespace) -> int:
    if arguments.gardens is not None:
        return evening_of_many(arguments)
    from haulm.jobs.evening import as_json, as_of_evening, evening, rehearse_evening  # noqa: PLC0415
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.jobs.system_log import open_log  # noqa: PLC0415
    from haulm.jobs.unsent import UnsentError  # noqa: PLC0415
    from haulm.settings.gardens import settings_of  # noqa: PLC0415

    open_log(os.environ)
    settings = settings_of(settings_file(arguments), os.environ)
    state, now = state_folder(arguments.state, os.environ), datetime.now(UTC)
    as_of = as_of_evening(settings, arguments.today) if arguments.today else None
    try:
        with at_work("Looking at the coming night"):
            if arguments.dry_run:
                done = rehearse_evening(settings, state, now, as_of or now)
            else:
                done = evening(settings, state, now, as_of)
    except UnsentError as fault:
        return _show(fault, as_json=arguments.json)
    if arguments.json:
        print(as_json(done))
    else:
        print(done.letter.text.rstrip() if done.letter else done.told)
    written = done.letter is not None and not arguments.dry_run
    return done.exit_code or (_pages(settings, state, now) if written else Exit.DONE)


def _pages(settings: "Settings", state: "StateFolder", now: datetime) -> Exit:
    """After a letter: the folder of pages, where the settings name one."""
    if settings.post.pages is None:
        return Exit.DONE
    from haulm.jobs.page import refresh_pages  # noqa: PLC0415  40 ms that only who has pages should pay

    with at_work("Bringing the pages up to date"):
        return refresh_pages(settings, state, now)


def _show(fault: "UnsentError", *, as_json: bool) -> int:
    """A letter that could not be stored: here, and in the log, which is read where nobody sees this."""
    from haulm.jobs.unsent import tell_unsent  # noqa: PLC0415  --help must stay light

    if not sys.stdout.isatty():
        tell_unsent(fault)
    print(fault.letter.json if as_json else fault.letter.text, end="\n" if as_json else "", flush=True)
    print(f"haulm: {fault}", file=sys.stderr)
    return fault.exit_code


def _schedule(arguments: argparse.Namespace) -> int:
    import logging  # noqa: PLC0415  --help must stay light

    from haulm.jobs.schedule import keep_watch, once  # noqa: PLC0415
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.jobs.system_log import open_log  # noqa: PLC0415

    settings, state = settings_file(arguments), state_folder(arguments.state, os.environ)
    if arguments.once:
        open_log(os.environ)
        return once(settings, state, os.environ, datetime.now(UTC), evening=arguments.evening)
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s")
    return keep_watch(settings, state, os.environ)
