"""Letters that a mended store has forgotten, read back from the dated folder that they were put into."""

import json
from collections.abc import Mapping
from datetime import date, datetime, timedelta

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
from haulm.weather import DAY

HELD_BACK = "held back"
# Each kind of letter, and the kind of run that writes it.
KINDS = {"morning": MORNING, "evening": EVENING, "evening-worse": EVENING}
FARTHEST = timedelta(days=400)  # as far as the next letter looks back for what was left undone


def read_back(settings: Settings, database: Database, now: datetime) -> int:
    """After a mending, at the garden's first run: take the letters since then from its folder; how many they were.

    They are stored as they were written, with what the post book knows of their delivery, so nothing of them is sent
    that was sent. The folder gets a letter before the mail does, seconds apart: where there is no book, today's is
    taken for sent, and the next letter tells of that.
    """
    garden, folder, today = settings.garden.key, settings.post.folder, settings.garden.place.day_of(now)
    runs = read_runs(database, garden, today - FARTHEST)
    mended = events(database, MENDED)
    if folder is None or not mended or any(run.started > mended[-1].started for run in runs):
        return 0
    since = max([run.day for run in runs], default=today - FARTHEST)
    book, found = read_book(database.path, garden), 0
    for back in range((today - since).days, -1, -1):
        for kind in KINDS:
            day = today - back * DAY
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
        run = begin_run(database, letter.garden, KINDS[letter.kind], letter.day, letter.written)
        end_run(database, run, letter.written, Outcome.DONE, 0, "read back from its folder")
        if not known:
            keep_event(database, HELD_BACK, now, _told(letter))


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
    except (KeyError, ValueError, TypeError):
        return None
