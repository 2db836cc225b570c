"""Letters that a mended store has forgotten, and what they said, read back from the folder that they were put into."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta

from haulm.advice import Said
from haulm.alerts.select import Open, open_episodes
from haulm.jobs.deliver import addresses
from haulm.jobs.errands import EVENING, MORNING
from haulm.post.folder import take_from_folder
from haulm.settings.load import Settings
from haulm.steps import Step
from haulm.store.database import Database
from haulm.store.instants import instant_of
from haulm.store.letters import Address, StoredLetter, keep_letter, letter_of
from haulm.store.mend import MENDED
from haulm.store.post_book import Posted, read_book
from haulm.store.runs import Outcome, begin_run, end_run, events, keep_event, read_runs
from haulm.store.said import keep_said, read_said
from haulm.weather import DAY

HELD_BACK = "held back"
# Each kind of letter, and the kind of run that writes it.
KINDS = {"morning": MORNING, "evening": EVENING, "evening-worse": EVENING}
FARTHEST = timedelta(days=400)  # as far as the next letter looks back for what was left undone


def read_back(settings: Settings, database: Database, now: datetime) -> int:
    """After a mending, at the garden's first run: take the letters since the copy from its folder; how many they were.

    They are stored as they were written, with what the post book knows of their delivery, so nothing of them is sent
    that was sent. The folder gets a letter before the mail does, seconds apart: where there is no book, today's is
    taken for sent, and the next letter tells of that.
    """
    garden, folder, today = settings.garden.key, settings.post.folder, settings.garden.place.day_of(now)
    runs = read_runs(database, garden, today - FARTHEST)
    mended = events(database, MENDED)
    # By their numbers, since a clock may have been wrong.
    if folder is None or not mended or any(run.id > max(one.id for one in mended) for run in runs):
        return 0
    since = max([run.day for run in runs if run.day <= today], default=today - FARTHEST)
    book, found = read_book(database.path, garden), 0
    ahead = {one.day for one in book if one.day > today}  # a clock that was ahead wrote letters of days to come
    for day in [*(since + n * DAY for n in range((today - since).days + 1)), *sorted(ahead)]:
        for kind in KINDS:
            letter = _letter(take_from_folder(folder, garden, kind, day), garden, kind, day)
            if letter is not None and letter_of(database, garden, letter.kind, letter.day) is None:
                _keep(settings, database, letter, book, now)
                found += 1
    return found


def _keep(
    settings: Settings, database: Database, letter: StoredLetter, book: tuple[Posted, ...], now: datetime
) -> None:
    known = [one for one in book if (one.kind, one.day) == (letter.kind, letter.day)]
    to = {(one.channel, one.recipient): Address(one.channel, one.recipient, one.message_id) for one in known}
    if known and letter.day == settings.garden.place.day_of(now):
        to = {(one.channel, one.recipient): one for one in addresses(settings)} | to
    with database.transaction(Step.LETTER_STORED):
        keep_letter(database, letter, to.values())
        keep_said(database, letter.garden, letter.day, _said(database, letter))
        run = begin_run(database, letter.garden, KINDS[letter.kind], letter.day, letter.written)
        end_run(database, run, letter.written, Outcome.DONE, 0, "read back from its folder")
        if not known:
            keep_event(database, HELD_BACK, now, _told(letter))


def _said(database: Database, letter: StoredLetter) -> tuple[Said, ...]:
    """What a morning's letter said anew, held on to, or ended: no later one says it again as if it were new.

    What it held without a word is not in it, and stands as the copy has it. An evening speaks of one night only.
    """
    if letter.kind != "morning":
        return ()
    held = open_episodes(read_said(database, letter.garden, before=letter.day))
    return tuple(said for alert in json.loads(letter.json)["alerts"] for said in _of_alert(alert, letter.day, held))


def _of_alert(alert: Mapping[str, str], day: date, open_said: Open) -> Iterator[Said]:
    rule, bed, planting, episode = (alert[name] for name in ("rule", "bed", "planting", "episode"))
    held = open_said.get((rule, bed, planting))
    if held is not None and (alert["ended"] or held.episode != episode):
        yield replace(held, ended_on=day)
    if not alert["ended"]:
        first_on = date.fromisoformat(alert["first_on"])
        yield Said(rule, bed, planting, episode, alert["verdict"], int(alert["level"]), first_on, day)


def _told(letter: StoredLetter) -> str:
    return f"Whether the {letter.kind} letter of {letter.day:%A %-d %B} reached everybody is not known any more."


def _letter(forms: Mapping[str, bytes], garden: str, kind: str, day: date) -> StoredLetter | None:
    """The letter of some files; None where one that it needs is missing or not what it should be."""
    try:
        text, html, whole = (forms[form].decode() for form in ("txt", "html", "json"))
        told = json.loads(whole)
        if (told["garden"], told["kind"], told["day"]) != (garden, kind, day.isoformat()):
            return None
        written, subject = instant_of(told["written"]), str(told["subject"])
        return StoredLetter(garden, kind, day, written, subject, text, html, whole, forms.get("png"))
    except (KeyError, ValueError, TypeError, RecursionError):
        return None
