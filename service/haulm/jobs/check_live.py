"""`haulm check --live`: try every source and every way out now, and say of each what was found or what to try."""

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from haulm.errors import DeliveryError, Exit, HaulmError, SourceError
from haulm.jobs.observe_file import forecasts_of_file, hours_of_file, record_of_file
from haulm.jobs.observe_stations import FORECASTERS, access_to, read_station
from haulm.letter import amounts
from haulm.post.mail import probe
from haulm.post.mailbox import probe_mailbox
from haulm.settings.load import Settings
from haulm.sources.spool import Access

VERSION = 1
STOPPED_DAYS = 60  # judgement: no source is usually so late


@dataclass(frozen=True, slots=True)
class Tried:
    """One thing that was tried: what it was, whether it works, and what is to be said of it."""

    what: str
    works: bool
    found: str
    attribution: str = ""


def check_live(settings: Settings, spool: Path, now: datetime) -> tuple[tuple[Tried, ...], Exit]:
    """Each source and the mail server as it answers now; nothing is stored and no letter is sent."""
    tried = (*_weather(settings, spool, now), *_mail(settings), *_mailbox(settings), *_webhook(settings))
    return tried, _verdict(tried)


def check_files(settings: Settings, now: datetime) -> tuple[tuple[Tried, ...], Exit]:
    """The grower's own weather files, where the settings name such: whether they are there and can be read."""
    tried = tuple(_files(settings, now)) if settings.weather.source == "file" else ()
    return tried, _verdict(tried)


def _verdict(tried: tuple[Tried, ...]) -> Exit:
    return Exit.DONE if all(one.works for one in tried) else Exit.PARTLY


def as_lines(tried: tuple[Tried, ...]) -> Iterator[str]:
    """What was found, for a person to read."""
    for one in tried:
        yield f"{one.what}: {one.found}"
        if one.attribution:
            yield f"  Its licence asks to be named: {one.attribution}"


def as_json(tried: tuple[Tried, ...]) -> str:
    """{"version": 1, "tried": [{what, works, found, attribution}]}."""
    return json.dumps({"version": VERSION, "tried": [asdict(one) for one in tried]}, ensure_ascii=False, indent=1)


def _weather(settings: Settings, spool: Path, now: datetime) -> Iterator[Tried]:
    if settings.weather.source == "file":
        yield from _files(settings, now)
        return
    with access_to(settings, spool, now) as access:
        for name in settings.weather.stations:
            yield _station(access, settings, name, now)
        for name in settings.weather.forecasts:
            yield _forecast(access, settings, name, now)
    if not settings.weather.forecasts:
        yield Tried("Forecast", works=True, found="none is asked for, so no frost and no rain can be foretold.")


def _files(settings: Settings, now: datetime) -> Iterator[Tried]:
    today = settings.garden.place.day_of(now)
    record, complaints = record_of_file(settings, today)
    what = f"Weather file {settings.weather.file}"
    if record is None:
        yield Tried(what, works=False, found=f"{complaints[0]}.")
    else:
        many = amounts.count(len(complaints), "thing", "things")
        told = f"; {many} to mend in it, the first: {complaints[0]}" if complaints else ""
        yield Tried(what, works=True, found=f"{len(record.days)} days, the newest {record.days.last}{told}.")
    if settings.weather.forecast_file is not None:
        issues, doubts = forecasts_of_file(settings, now)
        many = amounts.count(len(issues), "issue", "issues")
        newest = f"{many}, the newest of {issues[-1].issued:%Y-%m-%d %H:%M} UTC." if issues else ""
        what = f"Forecast file {settings.weather.forecast_file}"
        yield Tried(what, works=bool(issues), found=newest or f"{doubts[0]}.")
    if settings.weather.hours_file is not None:
        hours, doubts = hours_of_file(settings, now)
        newest = f"hours up to {hours.end:%Y-%m-%d %H:%M} UTC." if hours is not None else ""
        yield Tried(f"File of hours {settings.weather.hours_file}", hours is not None, newest or f"{doubts[0]}.")


def _station(access: Access, settings: Settings, name: str, now: datetime) -> Tried:
    place = settings.garden.place
    today = place.day_of(now)
    what, asked = f"Station {name}", access.http.asked
    try:
        reading = read_station(access, name, place, range(today.year - 1, today.year + 1), today)
    except SourceError as fault:
        return Tried(what, works=False, found=_told(fault))
    origin, newest = reading.record.origin, reading.record.days.last
    away = f", {origin.distance_km:.0f} km away" if origin.distance_km is not None else ""
    age = (today - newest).days
    ago = f"{age} {'day' if age == 1 else 'days'} ago"
    found = f"{_reached(access, asked)}{away}; its newest day is {newest}, {ago}."
    if age > STOPPED_DAYS:
        found += " It seems to have stopped: choose another with haulm init."
        return Tried(f"{what} ({origin.name})", works=False, found=found, attribution=origin.attribution)
    if reading.complaints and not reading.stale:
        found += f" {reading.complaints[0].what[0].upper()}{reading.complaints[0].what[1:]}."
    if reading.stale:
        found = f"not reached now ({reading.complaints[0].what}); the last files hold days to {newest}."
    return Tried(f"{what} ({origin.name})", not reading.stale, found, origin.attribution)


def _reached(access: Access, asked_before: int) -> str:
    """Whether it was asked just now, or what it gave is so fresh that its terms forbid asking again."""
    return "reached" if access.http.asked > asked_before else "reached a short while ago, not to be asked again yet"


def _forecast(access: Access, settings: Settings, name: str, now: datetime) -> Tried:
    source, fetch = FORECASTERS[name]
    asked = access.http.asked
    try:
        issue = fetch(access, settings.garden.place)
    except SourceError as fault:
        return Tried(source.name, works=False, found=_told(fault))
    hours = (now - issue.forecast.issued).total_seconds() / 3600.0
    found = f"{_reached(access, asked)}; issued {hours:.0f} hours ago, reaching to {issue.forecast.days.last}."
    return Tried(source.name, works=True, found=found, attribution=source.attribution)


def _mail(settings: Settings) -> Iterator[Tried]:
    server = settings.post.mail
    if server is None:
        return
    try:
        yield Tried("Mail", works=True, found=probe(server))
    except DeliveryError as fault:
        yield Tried("Mail", works=False, found=_told(fault))


def _mailbox(settings: Settings) -> Iterator[Tried]:
    if settings.post.mailbox is None:
        return
    try:
        yield Tried("Mailbox", works=True, found=probe_mailbox(settings.post.mailbox))
    except DeliveryError as fault:
        yield Tried("Mailbox", works=False, found=_told(fault))


def _webhook(settings: Settings) -> Iterator[Tried]:
    if settings.post.webhook is not None:
        found = f"{settings.post.webhook.where} was not asked: only a letter is ever sent there."
        yield Tried("Webhook", works=True, found=found)


def _told(fault: HaulmError) -> str:
    where = f"{fault.where}: " if fault.where else ""
    return f"{where}{fault.what}. {fault.remedy}".strip()
