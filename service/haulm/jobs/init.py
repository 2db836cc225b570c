"""`haulm init`: from a spot on the map to a settings file that `haulm check` has nothing against."""

import getpass
import os
import re
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from haulm.errors import SettingsError, SourceError, UsageError
from haulm.files import explain, passing_folder, write_together
from haulm.garden import Place
from haulm.jobs.observe_stations import access_to
from haulm.settings.describe import describe
from haulm.settings.fill import Values, filled, text_value
from haulm.settings.load import Settings, load
from haulm.sources.meteostat_places import Candidate, nearby
from haulm.steps import Step
from haulm.units import Display, feet_from_metres

USUAL_RADIUS_KM = 50.0  # judgement: a station farther away says little of a garden's rain
GOOD_SHARE = 0.8  # judgement: a station that tells less than this of its days is not proposed
GOOD_AGE_DAYS = 14  # judgement: nor one whose newest day is older
_PLACEHOLDER = "meteostat:00000"
_BED = re.compile(
    r"\s*(?P<key>[A-Za-z][\w-]*)\s*[:=]\s*(?P<length>[^x×,]+?)\s*[x×]\s*(?P<width>[^x×,]+?)\s*(?:,\s*(?P<texture>.+?))?\s*"
)

# The files beside the settings that take a password typed on the terminal, and the variables they are tried with.
BESIDE, MAILBOX_BESIDE = "mail-password", "mailbox-password"
VARIABLE, MAILBOX_VARIABLE = "HAULM_POST__MAIL__PASSWORD", "HAULM_POST__MAILBOX__PASSWORD"

Ask = Callable[[str, str], str]
AskSecret = Callable[[str], str]
TellWork = Callable[[str], AbstractContextManager[None]]


@dataclass(frozen=True, slots=True)
class Answers:
    """What was given as options; empty where it is still to be asked. A password is never an option: it is asked."""

    name: str = ""
    latitude: str = ""
    longitude: str = ""
    elevation: str = ""
    zone: str = ""
    units: str = ""
    contact: str = ""
    beds: tuple[str, ...] = ()
    stations: tuple[str, ...] = ()
    within_km: float = USUAL_RADIUS_KM
    forecasts: tuple[str, ...] = ()
    mail_host: str = ""
    mail_user: str = ""
    mail_security: str = ""
    mail_port: str = ""
    mail_password_file: str = ""
    mail_password: str = field(default="", repr=False)
    sender: str = ""
    to: tuple[str, ...] = ()
    mailbox_host: str = ""
    mailbox_user: str = ""
    mailbox_address: str = ""
    mailbox_security: str = ""
    mailbox_port: str = ""
    mailbox_password_file: str = ""
    mailbox_password: str = field(default="", repr=False)


@dataclass(frozen=True, slots=True)
class Person:
    """Whoever sits at the terminal, or nobody.

    Attributes
    ----------
    ask
        Asks a question with a default; None where nobody can be asked.
    ask_secret
        Asks for a password without showing it.
    at_work
        Tells what is being done, for as long as it takes.
    """

    ask: Ask | None = None
    ask_secret: AskSecret | None = None
    at_work: TellWork = lambda _doing: nullcontext()


NOBODY = Person()
QUESTIONS = {
    "name": ("What is the place called?", ""),
    "latitude": ("Latitude in degrees (south is negative)?", ""),
    "longitude": ("Longitude in degrees (west is negative)?", ""),
    "elevation": ("How high does it lie (like 280 m or 900 ft)?", ""),
    "units": ("Units of the letter, us or metric?", "metric"),
    "contact": ("An address at which the weather services can reach you (they ask for one)?", ""),
}


def init(
    path: Path,
    given: Answers,
    spool: Path,
    environ: Mapping[str, str],
    now: datetime,
    *,
    overwrite: bool,
    person: Person = NOBODY,
) -> Iterator[str]:
    """Write a settings file and say what it will do.

    Raises
    ------
    UsageError
        The file stands already, or something is lacking and nobody can be asked.
    SettingsError
        What was answered makes no settings; nothing was written.
    """
    if path.exists() and not overwrite:
        raise UsageError("it stands already", where=str(path), remedy="Name another file, or say --overwrite.")
    answers = _complete(given, person.ask, person.ask_secret)
    values = _values(answers)
    secrets = {VARIABLE: answers.mail_password, MAILBOX_VARIABLE: answers.mailbox_password}
    environ = {**environ, **{name: secret for name, secret in secrets.items() if secret}}
    draft = _checked({**values, "weather": _weather(answers, (_PLACEHOLDER,))}, path, environ)
    stations = answers.stations
    if not stations:
        with person.at_work("Looking for weather stations near by"):
            candidates = _look_up(draft, answers.within_km, spool, now)
        yield from _table(candidates, draft.garden.place)
        stations = (_choose(candidates, draft.garden.place, now, person.ask),)
    text = filled({**values, "weather": _weather(answers, stations)})
    _checked({**values, "weather": _weather(answers, stations)}, path, environ)
    typed = {BESIDE: answers.mail_password, MAILBOX_BESIDE: answers.mailbox_password}
    _write(path, text, {name: secret for name, secret in typed.items() if secret}, overwrite=overwrite)
    yield from ("", f"Written: {path}, to be read by you alone.", "", *describe(load(path, environ)), "")
    yield "Next: write what you mean to plant under [plantings] in it, then: haulm check --live"


def terminal_ask(question: str, usual: str) -> str:
    """Ask on the terminal; the bare return key takes the default."""
    shown = f"{question} [{usual}] " if usual else f"{question} "
    return input(shown).strip() or usual


def terminal_secret(question: str) -> str:
    """Ask on the terminal for what must not be shown."""
    return getpass.getpass(f"{question} ")


def _complete(given: Answers, ask: Ask | None, ask_secret: AskSecret | None) -> Answers:
    answered = {name: getattr(given, name) for name in Answers.__dataclass_fields__}
    usual = {"zone": machine_zone()}
    questions = {**QUESTIONS, "zone": ("Time zone?", usual["zone"])}
    lacking = [name for name in questions if not answered[name]]
    if ask is None:
        lacking = [name for name in lacking if not questions[name][1]] + ([] if answered["beds"] else ["bed"])
        if lacking:
            options = ", ".join(f"--{name}" for name in lacking)
            raise UsageError(f"not all is told: {options}", remedy="Give these, or run it on a terminal to be asked.")
    for name, (question, default) in questions.items():
        if not answered[name]:
            answered[name] = ask(question, default) if ask else default
    if not answered["beds"] and ask:
        answered["beds"] = (ask('A bed (like "gatebed: 8 ft x 4 ft, loam")?', ""),)
    if not answered["mail_host"] and ask:
        answered["mail_host"] = ask("Your mail server, if letters are to be mailed (else just return)?", "")
        if answered["mail_host"]:
            answered["sender"] = answered["sender"] or ask("The address letters come from?", answered["contact"])
            answered["mail_user"] = answered["mail_user"] or ask("The name to log in with?", answered["sender"])
    if answered["mail_user"] and not answered["mail_password_file"] and ask_secret:
        answered["mail_password"] = ask_secret(f"Its password (kept in a file of its own, {BESIDE})?")
    return Answers(**_with_mailbox(answered, ask, ask_secret))


def _with_mailbox(answered: dict[str, Any], ask: Ask | None, ask_secret: AskSecret | None) -> dict[str, Any]:
    """The answers with what is said of the mailbox: asked for where letters are mailed, and skipped by a return."""
    asked = dict(answered)
    if not asked["mailbox_host"] and asked["mail_host"] and ask:
        asked["mailbox_host"] = ask("The server (IMAP) where answers arrive, if you want to answer (else return)?", "")
        if asked["mailbox_host"]:
            usual = asked["sender"] or asked["contact"]
            asked["mailbox_address"] = asked["mailbox_address"] or ask("The address answers are sent to?", usual)
            login = asked["mail_user"] or asked["mailbox_address"]
            asked["mailbox_user"] = asked["mailbox_user"] or ask("The name to log in with there?", login)
    if asked["mailbox_host"] and not asked["mailbox_password_file"] and ask_secret:
        asked["mailbox_password"] = ask_secret(f"Its password (kept in a file of its own, {MAILBOX_BESIDE})?")
    return asked


def machine_zone() -> str:
    """The zone that this machine keeps, by its international name; empty if it does not say."""
    try:
        linked = str(Path("/etc/localtime").readlink())
    except OSError:
        return os.environ.get("TZ", "")
    return linked.rpartition("zoneinfo/")[2] if "zoneinfo/" in linked else ""


def _values(answers: Answers) -> dict[str, dict[str, str]]:
    place = {
        "name": text_value(answers.name),
        "latitude": _number(answers.latitude, "latitude"),
        "longitude": _number(answers.longitude, "longitude"),
        "elevation": text_value(answers.elevation),
        "zone": text_value(answers.zone),
        "units": text_value(answers.units),
    }
    values = {"place": place, "post": {"folder": text_value("letters")}}
    values |= dict(_bed(written) for written in answers.beds)
    for number, address in enumerate(answers.to or ((answers.contact,) if answers.mail_host else ())):
        key = "me" if number == 0 else f"reader-{number + 1}"
        values[f"recipients.{key}"] = {"name": text_value(address.split("@")[0]), "address": text_value(address)}
    if answers.mail_host:
        values["post.mail"] = _mail(answers)
    if answers.mailbox_host:
        values["post.mailbox"] = _mailbox(answers)
    return values


def _mail(answers: Answers) -> dict[str, str]:
    mail = {"host": answers.mail_host, "sender": answers.sender or answers.contact}
    optional = {"security": answers.mail_security, "user": answers.mail_user}
    optional["password_file"] = _password_file(answers.mail_password_file, answers.mail_password, BESIDE)
    written = {key: text_value(value) for key, value in (mail | optional).items() if value}
    return written | ({"port": str(_whole(answers.mail_port))} if answers.mail_port else {})


def _mailbox(answers: Answers) -> dict[str, str]:
    address = answers.mailbox_address or answers.sender or answers.contact
    mailbox = {
        "address": address,
        "host": answers.mailbox_host,
        "security": answers.mailbox_security,
        "user": answers.mailbox_user or address,
        "password_file": _password_file(answers.mailbox_password_file, answers.mailbox_password, MAILBOX_BESIDE),
    }
    written = {key: text_value(value) for key, value in mailbox.items() if value}
    return written | ({"port": str(_whole(answers.mailbox_port))} if answers.mailbox_port else {})


def _password_file(named: str, typed: str, beside: str) -> str:
    return str(Path(named).absolute()) if named else beside if typed else ""


def _whole(written: str) -> int:
    try:
        return int(written)
    except ValueError as fault:
        raise UsageError(f'the port "{written}" is not a whole number', remedy="Like 465 or 587.") from fault


def _number(written: str, what: str) -> str:
    try:
        return str(float(written.replace(",", ".")))
    except ValueError as fault:
        raise UsageError(
            f'the {what} "{written}" is not a number', remedy="Degrees with a decimal point, like 47.25."
        ) from fault


def _bed(written: str) -> tuple[str, dict[str, str]]:
    match = _BED.fullmatch(written)
    if match is None:
        raise UsageError(
            f'"{written}" does not describe a bed',
            remedy='Write a key, two sides and the soil: "gatebed: 8 ft x 4 ft, loam"',
        )
    key = match["key"].casefold()
    bed = {"name": text_value(match["key"]), "length": text_value(match["length"]), "width": text_value(match["width"])}
    return f"beds.{key}", bed | ({"texture": text_value(match["texture"])} if match["texture"] else {})


def _weather(answers: Answers, stations: tuple[str, ...]) -> dict[str, str]:
    return {
        "source": text_value("stations"),
        "stations": text_value(stations),
        "forecasts": text_value(answers.forecasts or ("met-norway",)),
        "contact": text_value(answers.contact),
    }


def _checked(values: Values, path: Path, environ: Mapping[str, str]) -> Settings:
    """The settings that a text makes, read from a file of its own before anything stands at `path`."""
    with passing_folder() as folder:
        draft = folder / path.name
        draft.write_text(filled(values), encoding="utf-8")
        try:
            return load(draft, environ)
        except SettingsError as fault:
            faults = tuple(replace(each, line=None) for each in fault.faults)
            raise SettingsError("haulm init", faults, remedy=f"{path} was not written.") from fault


def _look_up(draft: Settings, within_km: float, spool: Path, now: datetime) -> tuple[Candidate, ...]:
    with access_to(draft, spool, now) as access:
        return nearby(access, draft.garden.place, within_km)


def _table(candidates: tuple[Candidate, ...], place: Place) -> Iterator[str]:
    yield "Stations near you, the nearest first:"
    yield ""
    yield f"{'':3}{'station':28}{'away':>9}{'height':>10}{'newest day':>13}{'air':>6}{'rain':>6}"
    for number, one in enumerate(candidates, start=1):
        newest = one.last_day.isoformat() if one.last_day else "none"
        name = f"{one.station.key} {one.station.name}"[:27]
        yield (
            f"{number:<3}{name:28}{_far(one, place):>9}{_high(one, place):>10}{newest:>13}"
            f"{one.air_share:6.0%}{one.rain_share:6.0%}"
        )
    yield "   (air and rain: the share of the last 365 days that it told them)"


def _far(one: Candidate, place: Place) -> str:
    away = one.station.distance_km
    if away is None:
        return "?"
    return f"{away / 1.609344:.0f} miles" if place.display is Display.US else f"{away:.0f} km"


def _high(one: Candidate, place: Place) -> str:
    up = one.station.height_difference_m
    if up is None:
        return "?"
    return f"{feet_from_metres(up):+.0f} ft" if place.display is Display.US else f"{up:+.0f} m"


def _choose(candidates: tuple[Candidate, ...], place: Place, now: datetime, ask: Ask | None) -> str:
    today = place.day_of(now)
    good = [
        one
        for one in candidates
        if one.last_day and (today - one.last_day).days <= GOOD_AGE_DAYS and one.air_share >= GOOD_SHARE
    ]
    if not good and ask is None:
        raise SourceError(
            "none of the stations near by reports well enough to be chosen for you",
            where=place.name,
            remedy="Name one with --station, or your own file in the settings.",
        )
    usual = str(candidates.index(good[0]) + 1) if good else ""
    while ask is not None:
        chosen = ask("Which of them?", usual)
        if chosen.isdigit() and 1 <= int(chosen) <= len(candidates):
            return f"meteostat:{candidates[int(chosen) - 1].station.key}"
    return f"meteostat:{good[0].station.key}"


def _write(path: Path, text: str, secrets: Mapping[str, str], *, overwrite: bool) -> None:
    files = {path.absolute().parent / name: f"{secret}\n".encode() for name, secret in secrets.items()}
    for secret in files:
        if secret.exists() and not overwrite:
            raise UsageError("it stands already", where=str(secret), remedy="Move it away, or say --overwrite.")
    try:
        write_together({**files, path: text.encode()}, Step.SETTINGS_WRITTEN)
    except OSError as fault:
        what, remedy = explain(fault)
        raise UsageError(f"the settings cannot be written: {what}", where=str(path), remedy=remedy) from fault


def on_a_terminal() -> bool:
    """Whether there is somebody to ask."""
    return sys.stdin.isatty() and sys.stdout.isatty()
