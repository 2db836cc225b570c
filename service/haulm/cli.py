"""The command `haulm`: which commands there are, and how a fault is told. Their words are in `commands/`."""

import argparse
import atexit
import gc
import os
import sys
from collections.abc import Sequence

from haulm import __version__
from haulm.commands.answers import add_answers
from haulm.commands.calendar import add_calendar
from haulm.commands.completion import add_completion
from haulm.commands.journal import add_note, add_notes
from haulm.commands.mend import add_mend
from haulm.commands.morning import add_evening, add_morning, add_schedule
from haulm.commands.page import add_page
from haulm.commands.replay import add_replay
from haulm.commands.review import add_review
from haulm.commands.season import add_season
from haulm.commands.set_up import add_check, add_demo, add_init
from haulm.commands.soil import add_soil
from haulm.commands.status import add_status
from haulm.commands.words import Command
from haulm.errors import Exit, HaulmError, own_fault

# Python looks for garbage at each 700 new things; a start makes 100,000 that stay, which took a tenth of a morning.
GARBAGE_EACH = 50_000
# In the order in which a newcomer meets them.
COMMANDS = (
    *(add_demo, add_init, add_check, add_season, add_morning, add_evening, add_soil, add_page, add_calendar),
    *(add_review, add_note, add_notes, add_answers, add_replay, add_schedule, add_status, add_mend),
)


def main(words: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; every fault a person can mend is told on standard error."""
    gc.set_threshold(GARBAGE_EACH)
    atexit.register(gc.freeze)  # nor is what is left at the end looked through: that took a seventh
    arguments = _parser().parse_args(words)
    command: Command = arguments.command
    try:
        return command(arguments)
    except HaulmError as fault:
        print(f"haulm: {fault}", file=sys.stderr)
        _to_the_log(fault)
        return fault.exit_code
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return Exit.DONE
    except KeyboardInterrupt:
        print("haulm: stopped.", file=sys.stderr)
        return Exit.TRY_LATER
    except Exception as fault:  # noqa: BLE001  the outermost: whatever it is, a person reads what to do about it
        return _own_fault(fault)


def _to_the_log(fault: HaulmError) -> None:
    """Under cron, standard error may go nowhere: what ended a run by itself stands in the system's log too."""
    if "logging.handlers" in sys.modules:
        import logging.handlers  # noqa: PLC0415  --help must stay light

        if any(isinstance(one, logging.handlers.SysLogHandler) for one in logging.getLogger().handlers):
            logging.getLogger("haulm").error("%s", fault)


def _own_fault(fault: Exception) -> Exit:
    """Tell a fault of haulm's own in a sentence; its trace goes to the log, or is shown where `HAULM_TRACE` is set."""
    import logging  # noqa: PLC0415  --help must stay light
    import traceback  # noqa: PLC0415

    print(
        f"haulm: this is {own_fault(fault)}, not of yours. What was stored before still is.\n"
        "  Run it again; if it stays, set HAULM_TRACE=1, run it once more, and send what it prints to whoever "
        "looks after the program.",
        file=sys.stderr,
    )
    trace = "".join(traceback.format_exception(fault))
    if os.environ.get("HAULM_TRACE"):
        print(trace, file=sys.stderr)
    elif logging.getLogger().handlers:
        logging.getLogger("haulm").error("%s", trace)
    return Exit.PARTLY


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="haulm",
        description="A morning letter, written by the weather, for people who grow potatoes under straw.",
        epilog="Exit codes: 0 done; 1 partly failed, or sent without fresh data; 2 the command or the settings; "
        "75 nothing delivered, try later. haulm is no warning service for life and property.",
    )
    parser.add_argument("--version", action="version", version=f"haulm {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for add_command in COMMANDS:
        add_command(commands)
    add_completion(commands, _parser)
    return parser
