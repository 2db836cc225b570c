"""Words of the commands that see to many gardens at once: each shows how it went, and no letter."""

import argparse
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING

from haulm.commands.at_work import at_work
from haulm.commands.words import folded
from haulm.errors import Exit, UsageError

if TYPE_CHECKING:
    from haulm.jobs.engine import Engine
    from haulm.jobs.gardens_report import Report
    from haulm.jobs.office import Wishes
    from haulm.jobs.state_folder import StateFolder
    from haulm.jobs.timetable import Known


def with_many(parser: argparse.ArgumentParser) -> None:
    """The options of a run for many gardens."""
    many = parser.add_argument_group("many gardens at once")
    many.add_argument("--gardens", type=Path, metavar="FOLDER", help="settings files, or tables of places and growers")
    many.add_argument("--workers", type=int, metavar="N", help="write letters in N processes; 0 in this one alone")
    many.add_argument("--engine", metavar="ADDRESS", help="or on an engine of other machines, like tcp://HOST:8786")
    many.add_argument("--at-once", action="store_true", help="do not wait for each garden's own hour")


def morning_of_many(arguments: argparse.Namespace) -> int:
    """The letters of many gardens; where nobody is to get one now, it ends before what takes long is loaded."""
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415  --help must stay light
    from haulm.jobs.system_log import open_log  # noqa: PLC0415
    from haulm.jobs.timetable import NOTHING_KNOWN, look  # noqa: PLC0415

    _refuse_one_letter(arguments)
    open_log(os.environ)
    state, now, begun = state_folder(arguments.state, os.environ), datetime.now(UTC), monotonic()
    by_hour = arguments.today is None and not arguments.at_once
    known = look(arguments.gardens, os.environ, state, now) if by_hour else NOTHING_KNOWN
    if known.seen is not None and not known.seen.asked:
        report = known.seen.report()
        report.to_log(monotonic() - begun)
    else:
        report = _morning_of_many(arguments, state, now, known)
    print(folded(report.lines()))
    return report.exit_code


def _morning_of_many(arguments: argparse.Namespace, state: "StateFolder", now: datetime, known: "Known") -> "Report":
    from haulm.jobs.gardens import morning_of_gardens  # noqa: PLC0415
    from haulm.settings.gardens import gardens_in  # noqa: PLC0415

    many = gardens_in(arguments.gardens, os.environ)
    with _at_work(arguments, len(many) if known.seen is None else len(known.seen.asked)) as (engine, wishes):
        return morning_of_gardens(many, state, now, engine, wishes, known)


def evening_of_many(arguments: argparse.Namespace) -> int:
    """The looks at the coming night of many gardens."""
    from haulm.jobs.gardens_evening import evening_of_gardens  # noqa: PLC0415  --help must stay light
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.jobs.system_log import open_log  # noqa: PLC0415
    from haulm.settings.gardens import gardens_in  # noqa: PLC0415

    _refuse_one_letter(arguments)
    open_log(os.environ)
    many, state = gardens_in(arguments.gardens, os.environ), state_folder(arguments.state, os.environ)
    with _at_work(arguments, len(many)) as (engine, wishes):
        report = evening_of_gardens(many, state, datetime.now(UTC), engine, wishes)
    print(folded(report.lines()))
    return report.exit_code


@contextmanager
def _at_work(arguments: argparse.Namespace, gardens: int) -> Iterator[tuple["Engine", "Wishes"]]:
    """The engine that a run asks for, and its wishes, with a bar on a terminal that shows how far it has come."""
    from tqdm import tqdm  # noqa: PLC0415  --help must stay light

    from haulm.jobs.engine import engine_for, usual_workers  # noqa: PLC0415
    from haulm.jobs.office import Wishes  # noqa: PLC0415

    workers = usual_workers(gardens) if arguments.workers is None else arguments.workers
    shown = sys.stderr.isatty()
    with (
        engine_for(workers, arguments.engine) as engine,
        tqdm(total=gardens, unit=" gardens", leave=False, disable=not shown) as bar,
    ):
        yield engine, Wishes(arguments.today, at_once=arguments.at_once, done=bar.update)


def _refuse_one_letter(arguments: argparse.Namespace) -> None:
    if arguments.dry_run or arguments.json:
        raise UsageError("--dry-run and --json show one letter; leave out --gardens and name one garden's settings")


def status_of_many(arguments: argparse.Namespace) -> int:
    """Whether all is well with many gardens."""
    from haulm.jobs import status_many  # noqa: PLC0415  --help must stay light
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.settings.gardens import gardens_in  # noqa: PLC0415

    if arguments.tell:
        raise UsageError("--tell speaks of one garden; a run for many tells the log itself")
    state = state_folder(arguments.state, os.environ)
    with at_work("Looking at all that is kept"):
        many = gardens_in(arguments.gardens, os.environ)
        found = status_many.status_of_many(many, state, datetime.now(UTC))
    print(status_many.as_json(found) if arguments.json else "\n".join(status_many.as_lines(found)))
    return found.exit_code


def check_of_many(arguments: argparse.Namespace) -> int:
    """Every fault in the settings of many gardens, and whether what is kept for them stands open to others."""
    from haulm.errors import SettingsError  # noqa: PLC0415  --help must stay light
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.jobs.store_look import told_open  # noqa: PLC0415
    from haulm.jobs.told_once import told_once  # noqa: PLC0415
    from haulm.settings.gardens import gardens_in  # noqa: PLC0415

    with at_work("Reading the settings of all gardens"):
        many = gardens_in(arguments.gardens, os.environ)
        every = {key: found for group in many.groups() for key, found in many.settings(group)}
    failed = {key: found for key, found in every.items() if isinstance(found, SettingsError)}
    good = [found for found in every.values() if not isinstance(found, SettingsError)]
    faults = [*many.faults, *(one.words for one in told_once(failed, len(every), named=len(every)))]
    beds, places = sum(len(one.garden.beds) for one in good), len({one.garden.place for one in good})
    unusable = [f"Rows or files that cannot be used: {len(many.faults) + len(failed)}."] if faults else []
    ready = f"Ready: gardens {len(good)}, beds {beds}, places {places}."
    print(folded([*faults, *unusable, ready, *told_open(state_folder(arguments.state, os.environ))]))
    return Exit.SETTINGS if faults else Exit.DONE
