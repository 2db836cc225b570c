"""Words of the commands for setting up: demo, init, check."""

import argparse
import os
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from haulm.commands.at_work import at_work
from haulm.commands.many import check_of_many
from haulm.commands.words import (
    DEFAULT_SETTINGS,
    Commands,
    add,
    day_of,
    folded,
    settings_file,
    with_settings,
    with_state,
)
from haulm.errors import Exit

if TYPE_CHECKING:
    from haulm.settings.load import Settings


def add_demo(commands: Commands) -> None:
    """The words of `haulm demo`."""
    parser = add(commands, "demo", _demo, "A morning of two invented gardens on invented weather; needs nothing.")
    parser.add_argument("--on", type=day_of, metavar="DATE", help="another day of the invented year")
    parser.add_argument("--into", type=Path, metavar="FOLDER", help="where the letters go (default: ./haulm-demo)")


def add_init(commands: Commands) -> None:
    """The words of `haulm init`."""
    parser = add(commands, "init", _init, "Write a settings file: asks on a terminal for what is not given here.")
    parser.add_argument("--into", type=Path, metavar="FILE", help=f"the file to write (default: ./{DEFAULT_SETTINGS})")
    parser.add_argument("--overwrite", action="store_true", help="write it even if it stands already")
    parser.add_argument("--name", default="", help="what the place is called")
    parser.add_argument("--latitude", default="", metavar="DEGREES", help="south is negative")
    parser.add_argument("--longitude", default="", metavar="DEGREES", help="west is negative")
    parser.add_argument("--elevation", default="", metavar="HEIGHT", help='like "280 m" or "900 ft"')
    parser.add_argument("--zone", default="", help="time zone by its international name (default: the machine's)")
    parser.add_argument("--units", default="", choices=["", "us", "metric"], help="of the letter (default: metric)")
    parser.add_argument("--bed", action="append", default=[], help='"gatebed: 8 ft x 4 ft, loam"; more than once')
    parser.add_argument("--station", action="append", default=[], metavar="SOURCE:KEY", help="else one is looked up")
    parser.add_argument("--within", type=float, default=50.0, metavar="KM", help="how far to look (default: 50 km)")
    parser.add_argument("--forecast", action="append", default=[], help="met-norway or us-weather-service")
    parser.add_argument("--contact", default="", help="an address at which the weather services can reach you")
    parser.add_argument("--mail-host", default="", help="your mail server; no mail without it")
    parser.add_argument("--mail-user", default="", help="the name to log in with")
    parser.add_argument(
        "--mail-password-file", default="", metavar="FILE", help="a file with its password; asked for on a terminal"
    )
    parser.add_argument("--mail-security", default="", choices=["", "tls", "starttls", "none"], help="(default: tls)")
    parser.add_argument("--mail-port", default="", metavar="NUMBER", help="if another than is usual for that")
    parser.add_argument("--sender", default="", help="the address letters come from (default: the contact)")
    parser.add_argument("--mailbox-host", default="", help="the server where answers arrive; no answers without it")
    parser.add_argument("--mailbox-address", default="", help="where answers are sent (default: the sender)")
    parser.add_argument("--mailbox-user", default="", help="the name to log in with (default: that address)")
    parser.add_argument(
        "--mailbox-password-file", default="", metavar="FILE", help="a file with its password; asked for on a terminal"
    )
    parser.add_argument("--mailbox-security", default="", choices=["", "tls", "starttls"], help="(default: tls)")
    parser.add_argument("--mailbox-port", default="", metavar="NUMBER", help="if another than is usual for that")
    parser.add_argument("--to", action="append", default=[], metavar="ADDRESS", help="who gets the letter")
    with_state(parser)


def add_check(commands: Commands) -> None:
    """The words of `haulm check`."""
    parser = add(
        commands,
        "check",
        _check,
        "Say what a settings file will do, or every fault in it; whether your weather files and the memory are sound.",
    )
    parser.add_argument("file", type=Path, nargs="?", help="the settings file (default: as for morning)")
    parser.add_argument("--live", action="store_true", help="try every source and the mail server now")
    parser.add_argument("--json", action="store_true", help="with --live: print as JSON, version 1")
    parser.add_argument("--gardens", type=Path, metavar="FOLDER", help="every fault in the settings of many gardens")
    with_settings(parser)
    with_state(parser)


def _demo(arguments: argparse.Namespace) -> int:
    from haulm.jobs.demo import DEFAULT_DAY, demo  # noqa: PLC0415  --help must stay light

    with at_work("Thinking two invented mornings through"):
        lines = list(demo(arguments.into or Path("haulm-demo"), arguments.on or DEFAULT_DAY))
    print("\n".join(lines))
    return Exit.DONE


def _init(arguments: argparse.Namespace) -> int:
    from haulm.jobs.init import NOBODY, Answers, Person, init, on_a_terminal, terminal_ask, terminal_secret  # noqa: PLC0415  --help must stay light
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415

    given = Answers(
        name=arguments.name,
        latitude=arguments.latitude,
        longitude=arguments.longitude,
        elevation=arguments.elevation,
        zone=arguments.zone,
        units=arguments.units,
        contact=arguments.contact,
        beds=tuple(arguments.bed),
        stations=tuple(arguments.station),
        within_km=arguments.within,
        forecasts=tuple(arguments.forecast),
        mail_host=arguments.mail_host,
        mail_user=arguments.mail_user,
        mail_security=arguments.mail_security,
        mail_port=arguments.mail_port,
        mail_password_file=arguments.mail_password_file,
        sender=arguments.sender,
        to=tuple(arguments.to),
        mailbox_host=arguments.mailbox_host,
        mailbox_user=arguments.mailbox_user,
        mailbox_address=arguments.mailbox_address,
        mailbox_security=arguments.mailbox_security,
        mailbox_port=arguments.mailbox_port,
        mailbox_password_file=arguments.mailbox_password_file,
    )
    said = init(
        arguments.into or Path(DEFAULT_SETTINGS),
        given,
        state_folder(arguments.state, os.environ).spool,
        os.environ,
        datetime.now(UTC),
        overwrite=arguments.overwrite,
        person=Person(terminal_ask, terminal_secret, at_work) if on_a_terminal() else NOBODY,
    )
    for line in said:
        print(line)
    return Exit.DONE


def _check(arguments: argparse.Namespace) -> int:
    from haulm.jobs.check_live import as_lines, check_files  # noqa: PLC0415  --help must stay light
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.jobs.store_look import check_store, told_open  # noqa: PLC0415
    from haulm.settings.describe import describe  # noqa: PLC0415
    from haulm.settings.gardens import settings_of  # noqa: PLC0415

    if arguments.gardens is not None:
        return check_of_many(arguments)
    settings = settings_of(arguments.file or settings_file(arguments), os.environ)
    if arguments.live:
        return _check_live(arguments, settings)
    with at_work("Reading the weather files"):
        files, found = check_files(settings, datetime.now(UTC))
    with at_work("Checking what haulm remembers"):
        state = state_folder(arguments.state, os.environ)
        lines, code = check_store(state)
    print(folded([*describe(settings), *as_lines(files), *lines, *told_open(state)]))
    return code or found


def _check_live(arguments: argparse.Namespace, settings: "Settings") -> int:
    from haulm.jobs.check_live import as_json, as_lines, check_live  # noqa: PLC0415  --help must stay light
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415

    spool = state_folder(arguments.state, os.environ).spool
    with at_work("Trying every source and every way out"):
        tried, code = check_live(settings, spool, datetime.now(UTC))
    failed = sum(not one.works for one in tried)
    lines = [*as_lines(tried), *([f"{failed} of {len(tried)} did not work."] if failed else [])]
    print(as_json(tried) if arguments.json else folded(lines))
    return code
