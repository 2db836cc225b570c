"""`haulm status`: whether all is well, in a few lines, and what to do where it is not.

With `--tell`, for the unit that runs after a failure: the same by another road than the mail, which may be what fails.
"""

import json
import logging
import os
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from textwrap import wrap
from zoneinfo import ZoneInfo

from haulm.errors import BusyError, DeliveryError, Exit, HaulmError
from haulm.files import explain, make_folder
from haulm.jobs.due import WROTE, Standing, due
from haulm.jobs.ending import BEAT, NO_BEAT
from haulm.jobs.errands import EVENING, MORNING, errands
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.store_look import RESTORES_ITSELF
from haulm.letter import amounts
from haulm.post.webhook import post_letter
from haulm.settings.load import Settings
from haulm.store.database import Database, open_database
from haulm.store.health import Health, look
from haulm.store.journal_file import read_journal
from haulm.store.letters import last_letter_between, refused_since, waiting
from haulm.store.runs import Outcome, Run, events, read_runs
from haulm.weather import DAY

VERSION = 1
WIDTH = 80
LOOKED_BACK = timedelta(days=30)
REFUSED_FOR = timedelta(days=7)  # judgement: an older refusal has been told by letters enough
NOT_RUN = "Is the timer, cron or haulm schedule running?"
TOLD_EVERY = timedelta(hours=20)
CHECK_S = 20.0  # judgement: so long may the store's own check take here
_LOG = logging.getLogger("haulm")


@dataclass(frozen=True, slots=True)
class Line:
    """One thing looked at: what was found, whether it is well, and what to do where it is not."""

    about: str
    told: str
    well: bool = True
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class Status:
    """All that was looked at; `failed_runs` are the newest mornings and evenings in a row that did not end well."""

    garden: str
    now: datetime
    lines: tuple[Line, ...]
    failed_runs: int

    @property
    def well(self) -> bool:
        """Whether nothing needs a hand."""
        return all(line.well for line in self.lines)

    @property
    def exit_code(self) -> Exit:
        """0 for well."""
        return Exit.DONE if self.well else Exit.PARTLY


def status_of(settings: Settings, state: StateFolder, now: datetime) -> Status:
    """Look at everything, changing nothing; a store that cannot be read is one of the things found."""
    lines: list[Line] = []
    failed = 0
    store = memory(state)
    if store.well and state.store.exists():
        try:
            with open_database(state.store) as database:
                runs = recent_runs(settings, database, now)
                lines += of_garden(settings, database, runs, now)
                failed = _failed(runs)
        except HaulmError as fault:
            busy = isinstance(fault, BusyError)
            store = Line("Memory", str(fault.what), well=busy, remedy=fault.remedy)
    elif store.well:
        lines.append(Line("Runs", "none yet; the first morning makes the memory"))
    lines += [store, journal_line(settings, state), *_coming(settings, now)]
    return Status(settings.garden.key, now, tuple(lines), failed)


def recent_runs(settings: Settings, database: Database, now: datetime) -> tuple[Run, ...]:
    """The runs of a garden as far as is looked back."""
    return read_runs(database, settings.garden.key, settings.garden.place.day_of(now) - LOOKED_BACK)


def of_garden(settings: Settings, database: Database, runs: Sequence[Run], now: datetime) -> Iterator[Line]:
    """What the store tells of a garden: its runs, its weather, its post, and the sign of life."""
    yield from _runs(settings, runs, now)
    yield from _weather(settings, database, now)
    yield from _post(settings, database, now)
    yield from _heartbeat(settings, database, now)


def memory(state: StateFolder) -> Line:
    """How the store is."""
    try:
        found = look(state.store, patience_s=CHECK_S)
    except BusyError as fault:
        return Line("Memory", fault.what)
    except HaulmError as fault:
        return Line("Memory", fault.what, well=False, remedy=fault.remedy)
    newest = f"; newest copy {found.copies[0].made:%Y-%m-%d}" if found.copies else "; no copy yet"
    size = f", {found.size_bytes / 1e6:.1f} MB" if found.size_bytes else ""
    beside = f" ({found.told})" if found.told else ""
    told = f"{found.health}{beside}{size}{newest if found.health is not Health.NONE_YET else ''}"
    remedy = "" if found.is_well else RESTORES_ITSELF
    return Line("Memory", told, found.is_well, remedy)


def _runs(settings: Settings, runs: Sequence[Run], now: datetime) -> Iterator[Line]:
    mornings = [run for run in runs if run.kind == MORNING]
    yield from _morning(settings, mornings, now)
    evenings = [run for run in runs if run.kind == EVENING]
    if settings.letter.evening and evenings:
        yield Line("Evening", _run_told(evenings[-1], settings), *_run_well(evenings[-1]))


def _morning(settings: Settings, mornings: Sequence[Run], now: datetime) -> Iterator[Line]:
    if not mornings:  # the store is there, so there were some
        yield Line("Morning", f"no run in the last {LOOKED_BACK.days} days", well=False, remedy=NOT_RUN)
        return
    last = mornings[-1]
    well, remedy = _run_well(last)
    if well:
        well, remedy = _missing(settings, mornings, now)
    yield Line("Morning", _run_told(last, settings), well, remedy)


def _missing(settings: Settings, mornings: Sequence[Run], now: datetime) -> tuple[bool, str]:
    """Whether today's letter, or where its hour has not come yesterday's, is there."""
    place = settings.garden.place
    today, until = place.day_of(now), settings.thresholds.data.letter_catch_up_until
    stands = due(now, mornings, settings.letter.at, place.zone, until)
    wanted = today - DAY if stands is Standing.EARLY else today
    wrote = {run.day for run in mornings if run.outcome in WROTE}
    young = now - _at(wanted, settings.letter.at, place.zone) < timedelta(hours=1)
    if wrote & {wanted, today} or mornings[0].day > wanted or young:
        return True, ""
    return False, f"There is no letter of {wanted}. {NOT_RUN}"


def _run_told(run: Run, settings: Settings) -> str:
    zone = ZoneInfo(settings.garden.place.zone)
    ended = f", exit {run.exit_code}" if run.exit_code is not None else ""
    return f"{run.day}, begun {run.started.astimezone(zone):%H:%M}: {run.outcome}{ended}"


def _run_well(run: Run) -> tuple[bool, str]:
    if run.outcome is Outcome.DONE and run.exit_code == Exit.DONE:
        return True, ""
    if run.outcome is Outcome.RUNNING:
        return True, ""  # at work, or cut off; the next run tells which
    return False, "The last part of the letter, or the log, tells what was missing."


def _weather(settings: Settings, database: Database, now: datetime) -> Iterator[Line]:
    """The ages of the newest day and forecast that a letter went by."""
    today = settings.garden.place.day_of(now)
    newest_letter = last_letter_between(database, settings.garden.key, MORNING, today - LOOKED_BACK, today)
    if newest_letter is None:
        return
    letter, data = json.loads(newest_letter), settings.thresholds.data
    told = letter["weather"]
    newest = told.get("newest_observed")
    remedy = "haulm check --live tries each source."
    if newest is None:
        yield Line("Observed", "no day at all", well=False, remedy=remedy)
    else:
        silent = any(alert["rule"] == "station-silent" for alert in letter["alerts"])
        days = (today - date.fromisoformat(newest)).days
        yield Line("Observed", f"to {newest}, {amounts.days(days)} ago", not silent, remedy if silent else "")
    issued = told.get("forecast_issued")
    if issued is None:
        wanted = bool(settings.weather.forecasts or settings.weather.forecast_file)
        yield Line("Forecast", "none", well=not wanted, remedy=remedy if wanted else "")
    else:
        hours = (now - datetime.fromisoformat(issued)).total_seconds() / 3600.0
        old = hours > data.forecast_max_age_hours
        yield Line("Forecast", f"issued {hours:.0f} h ago", not old, remedy if old else "")


def _post(settings: Settings, database: Database, now: datetime) -> Iterator[Line]:
    garden = settings.garden.key
    late = [one for one in waiting(database, garden) if one.attempts]
    refused = refused_since(database, garden, now - REFUSED_FOR)
    if not late and not refused:
        yield Line("Post", "nothing waits")
    for many, how, remedy in (
        (late, "waits", "The next run tries again."),
        (refused, "was refused", "haulm check --live tries the mail server."),
    ):
        if many:
            last = many[-1]
            note = last.note.splitlines()[0] if last.note else "no reason given"
            told = (
                f"{amounts.count(len(many), 'letter', 'letters')} {how}; {last.day} to {last.address.recipient}: {note}"
            )
            yield Line("Post", told, well=False, remedy=remedy)


def _heartbeat(settings: Settings, database: Database, now: datetime) -> Iterator[Line]:
    if settings.post.heartbeat is None:
        return
    came, failed = events(database, BEAT), events(database, NO_BEAT)
    last = came[-1].started if came else None
    told = f"last {(now - last).total_seconds() / 3600.0:.0f} h ago" if last else "none yet"
    lost = bool(failed) and (last is None or failed[-1].started > last)
    if lost:
        told += f"; then it failed ({failed[-1].note})"
    yield Line("Heartbeat", told, not lost, "Check post.heartbeat.url." if lost else "")


def journal_line(settings: Settings, state: StateFolder) -> Line:
    """How the journal is."""
    try:
        journal, complaints = read_journal(state.journal(settings.garden))
    except HaulmError as fault:
        return Line("Journal", fault.what, well=False, remedy=fault.remedy)
    told = amounts.count(len(journal.entries), "note", "notes")
    if not complaints:
        return Line("Journal", told)
    return Line("Journal", f"{told}; {complaints[0]}", well=False, remedy="Mend that line of the file, or delete it.")


def _coming(settings: Settings, now: datetime) -> Iterator[Line]:
    """When each errand comes next, as far as today and tomorrow."""
    place = settings.garden.place
    found: dict[str, datetime] = {}
    today = place.day_of(now)
    for day in (today, today + DAY):
        for one in errands(settings, day):
            at = _at(day, one.at, place.zone)
            if at > now:
                found.setdefault(one.name, at)
    told = ", ".join(f"{name} {at:%a %H:%M}" for name, at in sorted(found.items(), key=lambda pair: pair[1]))
    yield Line("Next", told)


def _at(day: date, hour: time, zone: str) -> datetime:
    return datetime.combine(day, hour, ZoneInfo(zone))


def _failed(runs: Sequence[Run]) -> int:
    """How many of the newest runs in a row did not end well; one that is still at work is not counted."""
    count = 0
    for run in reversed(runs):
        if run.outcome is Outcome.RUNNING:
            continue
        if run.outcome is Outcome.DONE and run.exit_code == Exit.DONE:
            break
        count += 1
    return count


def as_lines(status: Status) -> Iterator[str]:
    """For the terminal: what is well, then what is not, with what to do."""
    for line in status.lines:
        yield from wrap(f"{line.about + ':':11}{line.told}", WIDTH, subsequent_indent=" " * 11)
        if line.remedy:
            yield from wrap(line.remedy, WIDTH, initial_indent=" " * 11, subsequent_indent=" " * 11)
    amiss = amounts.count(sum(not line.well for line in status.lines), "thing needs", "things need")
    yield ""
    yield "All is well." if status.well else f"{amiss[0].upper()}{amiss[1:]} a hand."


def as_json(status: Status) -> str:
    """{"version": 1, garden, now, well, failed_runs, lines: [{about, told, well, remedy}]}; `now` an ISO instant."""
    whole = {
        "version": VERSION,
        "garden": status.garden,
        "now": status.now.isoformat(),
        "well": status.well,
        "failed_runs": status.failed_runs,
        "lines": [asdict(line) for line in status.lines],
    }
    return json.dumps(whole, ensure_ascii=False, indent=1)


def tell(settings: Settings, state: StateFolder, status: Status) -> None:
    """After a run that failed: the log each time, and after `tell_failed_runs` in a row the webhook, once a day.

    A store that cannot be read counts as failed often enough: it cannot count.
    """
    for line in status.lines:
        if not line.well:
            _LOG.error("%s: %s. %s", line.about, line.told, line.remedy)
    lost = any(line.about == "Memory" and not line.well for line in status.lines)
    if settings.post.webhook is None or not (lost or status.failed_runs >= settings.post.tell_failed_runs):
        return
    mark = state.trouble(settings.garden)
    if _told_lately(mark, status.now):
        return
    body = json.dumps({**json.loads(as_json(status)), "kind": "trouble"}, ensure_ascii=False)
    try:
        post_letter(settings.post.webhook, body, f"trouble-{status.garden}-{status.now:%Y%m%d%H%M}", status.now)
    except DeliveryError as fault:
        _LOG.error("The webhook could not be told either: %s", fault)
        return
    _note_told(mark, status.now)


def _told_lately(mark: Path, now: datetime) -> bool:
    try:
        told = datetime.fromtimestamp(mark.stat().st_mtime, UTC)
    except OSError:
        return False
    return timedelta(0) <= now - told < TOLD_EVERY


def _note_told(mark: Path, now: datetime) -> None:
    """In a file of its own, which holds nothing: the store may be what is amiss, and a full disk still takes a name."""
    try:
        make_folder(mark.parent)
        mark.touch(mode=0o600)
        os.utime(mark, (now.timestamp(), now.timestamp()))
    except OSError as fault:
        what, _ = explain(fault)
        _LOG.warning("%s: %s, so the next run that fails tells the webhook again.", mark, what)
