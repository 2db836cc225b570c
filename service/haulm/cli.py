"""The command `haulm`: its words, and nothing else. Each command imports what it needs when it is called."""

import argparse
import os
import re
import sys
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from haulm import __version__
from haulm.errors import Exit, HaulmError

if TYPE_CHECKING:
    from haulm.settings.load import Settings

Command = Callable[[argparse.Namespace], int]
DEFAULT_SETTINGS = "haulm.toml"


def main(words: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; every fault a person can mend is told on standard error."""
    arguments = _parser().parse_args(words)
    command: Command = arguments.command
    try:
        return command(arguments)
    except HaulmError as fault:
        print(f"haulm: {fault}", file=sys.stderr)
        return fault.exit_code
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return Exit.DONE
    except KeyboardInterrupt:
        print("haulm: stopped.", file=sys.stderr)
        return Exit.TRY_LATER


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="haulm",
        description="A morning letter, written by the weather, for people who grow potatoes under straw.",
        epilog="Exit codes: 0 done; 1 partly failed, or sent without fresh data; 2 the command or the settings; "
        "75 nothing delivered, try later. haulm is no warning service for life and property.",
    )
    parser.add_argument("--version", action="version", version=f"haulm {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for add in (_add_demo, _add_init, _add_check, _add_morning, _add_soil, _add_note, _add_notes, _add_schedule):
        add(commands)
    return parser


def _add(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]", name: str, run: Command, told: str
) -> argparse.ArgumentParser:
    parser = commands.add_parser(name, help=told, description=told)
    parser.set_defaults(command=run)
    return parser


def _add_demo(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = _add(commands, "demo", _demo, "A morning of two invented gardens on invented weather; needs nothing.")
    parser.add_argument("--on", type=_day, metavar="DATE", help="another day of the invented year")
    parser.add_argument("--into", type=Path, metavar="FOLDER", help="where the letters go (default: ./haulm-demo)")


def _add_init(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = _add(commands, "init", _init, "Write a settings file: asks on a terminal for what is not given here.")
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
    parser.add_argument("--to", action="append", default=[], metavar="ADDRESS", help="who gets the letter")
    _with_state(parser)


def _add_check(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = _add(commands, "check", _check, "Say what a settings file will do, or every fault in it.")
    parser.add_argument("file", type=Path, nargs="?", help="the settings file (default: as for morning)")
    parser.add_argument("--live", action="store_true", help="try every source and the mail server now")
    parser.add_argument("--json", action="store_true", help="with --live: print as JSON, version 1")
    _with_settings(parser)
    _with_state(parser)


def _add_morning(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = _add(commands, "morning", _morning, "Write and send this morning's letter, once.")
    _with_settings(parser)
    _with_state(parser)
    parser.add_argument("--today", type=_day, metavar="DATE", help="write the letter of this local day instead")
    parser.add_argument("--dry-run", action="store_true", help="work it out afresh, store and send nothing")
    parser.add_argument("--json", action="store_true", help="print the letter as JSON, version 1")


def _add_soil(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = _add(commands, "soil", _soil, "The soil of a bed: as it was, what is coming, what readings taught.")
    parser.add_argument("bed", help="a bed, or a planting, by its key or name")
    parser.add_argument("--picture", type=Path, metavar="FILE", help="write the picture too, as PNG")
    parser.add_argument("--json", action="store_true", help="print as JSON, version 1")
    _with_settings(parser)
    _with_state(parser)


def _add_note(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = _add(commands, "note", _note, "Note in the journal what you did or saw.")
    parser.add_argument("bed", help="a bed, or a planting, by its key or name")
    parser.add_argument("what", help='what it was: "planted", "shoots out", "watered", "soil temperature" …')
    parser.add_argument("amount", nargs="*", help="how much, with its unit: 0.5in, 12 mm, 3 gal, 48F, 2 x 10 l")
    parser.add_argument("--on", type=_day, metavar="DATE", help="the local day it is about (default: today)")
    parser.add_argument("--cause", help="why the tops go down: age, frost, thirst, blight, unknown")
    # Else "-2C" would be taken for an option; argparse has no other door to this, and a test watches that it stays.
    parser._negative_number_matcher = re.compile(r"-[.,]?\d")
    _with_settings(parser)
    _with_state(parser)


def _add_notes(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = _add(commands, "notes", _notes, "List the journal, or withdraw an entry.")
    parser.add_argument("bed", nargs="?", default="", help="only of this bed")
    parser.add_argument("--withdraw", metavar="ID", default="", help="take one entry back; it stays in the file")
    parser.add_argument("--json", action="store_true", help="print as JSON, version 1")
    _with_settings(parser)
    _with_state(parser)


def _add_schedule(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = _add(commands, "schedule", _schedule, "Stay, and run each morning at its hour until told to end.")
    parser.add_argument("--once", action="store_true", help="for a timer: run this morning if still wanted, then end")
    _with_settings(parser)
    _with_state(parser)


def _with_settings(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--settings", type=Path, metavar="FILE", help="the settings file (default: $HAULM_SETTINGS, or ./haulm.toml)"
    )


def _with_state(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--state", type=Path, metavar="FOLDER", help="where haulm remembers (default: $HAULM_STATE, or your home)"
    )


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as fault:
        raise argparse.ArgumentTypeError(f'"{text}" is not a day; write it like 2027-04-12') from fault


def _settings_file(arguments: argparse.Namespace) -> Path:
    named = arguments.settings or os.environ.get("HAULM_SETTINGS") or DEFAULT_SETTINGS
    return Path(named)


def _demo(arguments: argparse.Namespace) -> int:
    from haulm.jobs.demo import DEFAULT_DAY, demo  # noqa: PLC0415  --help must stay light

    for line in demo(arguments.into or Path("haulm-demo"), arguments.on or DEFAULT_DAY):
        print(line)
    return Exit.DONE


def _check(arguments: argparse.Namespace) -> int:
    from haulm.settings.describe import describe  # noqa: PLC0415  --help must stay light
    from haulm.settings.load import load  # noqa: PLC0415

    settings = load(arguments.file or _settings_file(arguments), os.environ)
    if arguments.live:
        return _check_live(arguments, settings)
    print("\n".join(describe(settings)))
    return Exit.DONE


def _check_live(arguments: argparse.Namespace, settings: "Settings") -> int:
    from haulm.jobs.check_live import as_json, as_lines, check_live  # noqa: PLC0415  --help must stay light
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415

    spool = state_folder(arguments.state, os.environ).spool
    tried, code = check_live(settings, spool, datetime.now(UTC))
    print(as_json(tried) if arguments.json else "\n".join(as_lines(tried)))
    return code


def _init(arguments: argparse.Namespace) -> int:
    from haulm.jobs.init import Answers, init, on_a_terminal, terminal_ask, terminal_secret  # noqa: PLC0415  --help must stay light
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
    )
    said = init(
        arguments.into or Path(DEFAULT_SETTINGS),
        given,
        state_folder(arguments.state, os.environ).spool,
        os.environ,
        datetime.now(UTC),
        overwrite=arguments.overwrite,
        ask=terminal_ask if on_a_terminal() else None,
        ask_secret=terminal_secret if on_a_terminal() else None,
    )
    for line in said:
        print(line)
    return Exit.DONE


def _morning(arguments: argparse.Namespace) -> int:
    from haulm.jobs.morning import as_of_morning, morning, rehearse  # noqa: PLC0415  --help must stay light
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.jobs.system_log import open_log  # noqa: PLC0415
    from haulm.settings.load import load  # noqa: PLC0415

    open_log(os.environ)
    settings = load(_settings_file(arguments), os.environ)
    state, now = state_folder(arguments.state, os.environ), datetime.now(UTC)
    as_of = as_of_morning(settings, arguments.today) if arguments.today else None
    done = rehearse(settings, state, now, as_of or now) if arguments.dry_run else morning(settings, state, now, as_of)
    print(done.letter.json if arguments.json else done.letter.text, end="\n" if arguments.json else "")
    return done.exit_code


def _soil(arguments: argparse.Namespace) -> int:
    from haulm.files import write_whole  # noqa: PLC0415  --help must stay light
    from haulm.jobs.soil import as_json, as_lines, picture, soil_report  # noqa: PLC0415
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.settings.load import load  # noqa: PLC0415

    settings = load(_settings_file(arguments), os.environ)
    report = soil_report(settings, state_folder(arguments.state, os.environ), arguments.bed, datetime.now(UTC))
    print(as_json(report) if arguments.json else "\n".join(as_lines(report)))
    if arguments.picture:
        write_whole(arguments.picture, picture(report, settings))
    return Exit.DONE


def _note(arguments: argparse.Namespace) -> int:
    from haulm.jobs.notes import note  # noqa: PLC0415  --help must stay light
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415
    from haulm.settings.load import load  # noqa: PLC0415

    settings = load(_settings_file(arguments), os.environ)
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
    from haulm.settings.load import load  # noqa: PLC0415

    settings = load(_settings_file(arguments), os.environ)
    state = state_folder(arguments.state, os.environ)
    if arguments.withdraw:
        print(withdraw(settings.garden, state, arguments.withdraw, datetime.now(UTC)))
    else:
        print(list_notes(settings.garden, state, arguments.bed, as_json=arguments.json))
    return Exit.DONE


def _schedule(arguments: argparse.Namespace) -> int:
    import logging  # noqa: PLC0415  --help must stay light

    from haulm.jobs.schedule import keep_watch, once  # noqa: PLC0415
    from haulm.jobs.state_folder import state_folder  # noqa: PLC0415

    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s")
    settings, state = _settings_file(arguments), state_folder(arguments.state, os.environ)
    if arguments.once:
        return once(settings, state, os.environ, datetime.now(UTC))
    return keep_watch(settings, state, os.environ)
