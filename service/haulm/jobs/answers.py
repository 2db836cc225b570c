"""Answers to letters: fetched from the mailbox, understood, noted in the journal, and told of in the next letter."""

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from datetime import UTC, date, datetime, timedelta

from haulm.errors import DeliveryError, HaulmError, UsageError
from haulm.garden import Entry, Garden, Journal, What
from haulm.jobs import note_answers
from haulm.jobs.answer_corrections import From, correct
from haulm.jobs.answer_words import About, Outcome, Reading, Sentence, phrase, understand
from haulm.jobs.kept_store import use_store
from haulm.jobs.note_season import planting_of, refuse_contradiction, standing
from haulm.jobs.note_words import Spot
from haulm.jobs.state_folder import StateFolder
from haulm.letter import amounts
from haulm.post.answer_links import HOW, Whose, has_mark, whose
from haulm.post.mailbox import Answer, Header, Looked, Mailboxes, Place, read_mailbox
from haulm.settings.load import Settings
from haulm.store.answers import Heard, held_messages, keep_heard, keep_place, mailbox_place, messages_from, signing_key
from haulm.store.database import Database
from haulm.store.journal_file import append_entry, read_journal
from haulm.store.letters import letter_of
from haulm.store.lock import lock

VERSION = 1
LONGEST_QUOTED = 60
MOST_SENTENCES = 20  # of one message; a person writes fewer, and the letter stays short
HEAD = 24  # letters by which the beginning of a quoted letter is known
LETTER_HEADINGS = frozenset({"Tell haulm", "From your answers", "The numbers", "What this is based on"})


@dataclass(frozen=True, slots=True)
class Collected:
    """What a reading of the mailbox brought: sentences, messages left alone, and what went wrong if anything did."""

    heard: tuple[Heard, ...] = ()
    left_alone: int = 0
    fault: str = ""


@dataclass(frozen=True, slots=True)
class _Desk:
    """Where answers are worked through."""

    garden: Garden
    state: StateFolder
    database: Database
    now: datetime

    def greetings(self, day: date) -> tuple[str, ...]:
        """The first words of the letters of a day."""
        letters = (letter_of(self.database, self.garden.key, kind, day) for kind in ("morning", "evening"))
        return tuple(" ".join(letter.text.split()) for letter in letters if letter is not None)


def collect(
    settings: Settings, state: StateFolder, database: Database, now: datetime, boxes: Mailboxes | None = None
) -> Collected:
    """Read the mailbox, write what is clear into the journal, keep the rest to be asked back.

    A mailbox that cannot be read stops nothing: the next run reads on from the same place. An answer from a day that
    has not come by our clock waits for it. `boxes` are those of a run that reads for other gardens too.
    """
    server = settings.post.mailbox
    if server is None:
        return Collected()
    try:
        from haulm.post.own_words import own_lines  # noqa: PLC0415  an extra: only where there is a mailbox
    except ImportError:
        return Collected(fault="answers cannot be read without their libraries: pip install 'haulm[answers]'")
    garden = settings.garden
    key, today = signing_key(database, now), garden.place.day_of(now)
    # A mailbox moved elsewhere may bear the old one's validity: some servers give 1 to all. Read twice adds nothing.
    where = f"{garden.key} {server.user} {server.where} {server.folder}"
    good_for, held = timedelta(days=server.good_for_days), held_messages(database, garden.key)

    beds, people = [bed.key for bed in garden.beds], [one.address for one in garden.recipients]

    def told_by(header: Header) -> Whose | None:
        found = whose(key, header.subject, garden.key, beds, people, today, good_for)
        return found if found is not None and found.recipient.casefold() == header.sender.casefold() else None

    early: list[Header] = []

    def wanted(header: Header) -> bool:
        told = told_by(header)
        if told is None or header.message_id in held:
            return False
        if told.day > today and garden.place.day_of(header.written) >= told.day:
            early.append(header)  # our clock is behind that of the letter and of who answered
            return False
        return True

    try:
        found = (read_mailbox if boxes is None else boxes.read)(
            server,
            Place(*mailbox_place(database, where)),
            Looked(today - good_for, tuple(people)),
            wanted,
            own_lines,
        )
    except DeliveryError as fault:
        return Collected(fault=str(fault))
    each = {answer.header.message_id: answer for answer in found.answers}  # a copy of a message adds nothing
    heard: list[Heard] = []
    desk = _Desk(garden, state, database, now)
    for answer in each.values():  # each is kept before the next is read, for that may correct it
        sentences = tuple(_heard(desk, answer, told_by(answer.header)))
        keep_heard(database, garden.key, sentences)
        heard += sentences
    if not early:  # else all since the last place is looked at again; what was read is held and adds nothing
        keep_place(database, where, found.place.validity, found.place.last_uid)
    return Collected(tuple(heard), found.left_alone - len(early))


def answers(settings: Settings, state: StateFolder, now: datetime) -> Collected:
    """`haulm answers`: read the mailbox now.

    Raises
    ------
    UsageError
        The settings name no mailbox.
    BusyError
        Another run holds the lock.
    """
    if settings.post.mailbox is None:
        raise UsageError(
            "no mailbox is named, so there is nowhere to look for answers",
            where="[post.mailbox]",
            remedy="Name one in the settings; haulm check --live then tries it.",
        )
    with lock(state.lock(settings.garden), now):
        return use_store(state.store, now, lambda database: collect(settings, state, database, now))


def as_lines(found: Collected) -> Iterator[str]:
    """What was understood, for a person to read."""
    for one in found.heard:
        yield f"From {one.sender}: {one.told}"
    if not found.heard and not found.fault:
        yield "No new answers."
    if found.left_alone:
        yield f"{amounts.count(found.left_alone, 'other message was', 'other messages were').capitalize()} left alone."
    if found.fault:
        yield found.fault


def as_json(found: Collected) -> str:
    """Version 1: heard [{message, place, received, sender, bed, sentence, outcome, told, choices}], left_alone,
    fault."""
    heard = [{**asdict(one), "received": one.received.isoformat()} for one in found.heard]
    whole = {"version": VERSION, "heard": heard, "left_alone": found.left_alone, "fault": found.fault or None}
    return json.dumps(whole, ensure_ascii=False, indent=1)


def _heard(desk: _Desk, answer: Answer, told: Whose | None) -> Iterator[Heard]:
    if told is None:
        return
    garden, header = desk.garden, answer.header
    today, written = garden.place.day_of(desk.now), garden.place.day_of(min(header.written.astimezone(UTC), desk.now))
    # Nobody answers a letter before it is there, unless a clock that was wrong has dated it ahead.
    day = max(written, told.day) if told.day <= today else written
    about = About(garden, garden.bed(told.bed), day)
    text = _before_the_letter(answer.text, desk.greetings(told.day))
    sentences = understand(text, about) or (Sentence("", Outcome.ASK, why="what was done or seen"),)
    if len(sentences) > MOST_SENTENCES:
        rest = Sentence("", Outcome.ASK, why=f"more than {MOST_SENTENCES} sentences, the rest is not read")
        sentences = (*sentences[:MOST_SENTENCES], rest)
    earlier = messages_from(desk.database, garden.key, header.sender)
    for place, sentence in enumerate(sentences):
        short = _short(sentence.text)
        outcome, words, choices = _settled(desk, From(header.message_id, place, earlier), replace(sentence, text=short))
        yield Heard(header.message_id, place, desk.now, header.sender, about.bed.key, short, outcome, words, choices)


def _short(text: str) -> str:
    """Words out of a mail, as they may stand in a letter and on a terminal."""
    shown = note_answers.printable(text)
    return shown if len(shown) <= LONGEST_QUOTED else f"{shown[:LONGEST_QUOTED]}…"


def _before_the_letter(text: str, greetings: tuple[str, ...]) -> str:
    """What stands above the letter where a program quotes it in a way of its own: its words are no answer."""
    kept = []
    for line in text.splitlines():
        words = " ".join(line.split()).lstrip("> ")
        if len(words) > HEAD and any(greeting.startswith(words[:HEAD]) for greeting in greetings):
            break
        if has_mark(line) or words in LETTER_HEADINGS or words.startswith(HOW[:HEAD]):
            break
        kept.append(line)
    return "\n".join(kept)


def _settled(desk: _Desk, whose_sentence: From, sentence: Sentence) -> tuple[str, str, tuple[str, ...]]:
    """The outcome of a sentence, what is told of it, and the phrases it may have meant."""
    quoted = f"“{sentence.text}”"
    if sentence.outcome is Outcome.NOTHING:
        return sentence.outcome, f"{quoted}: {sentence.why}, so nothing is noted.", ()
    if sentence.outcome is Outcome.ASK:
        phrases = tuple(phrase(reading) for reading in sentence.readings)
        meant = f" It may have meant: {amounts.listing(phrases)}." if phrases else ""
        return sentence.outcome, f"{quoted} is not clear ({sentence.why}); nothing is noted.{meant}", phrases
    if sentence.correction is not None:
        done = correct(desk.garden, desk.state, whose_sentence, sentence.correction, desk.now)
        joint = ". " if done.outcome == Outcome.NOTE else " "
        return done.outcome, f"{quoted}{joint}{done.told.rstrip('.')}.", done.choices
    return _note(desk, whose_sentence, sentence, quoted)


def _note(desk: _Desk, whose_sentence: From, sentence: Sentence, quoted: str) -> tuple[str, str, tuple[str, ...]]:
    garden, today = desk.garden, desk.garden.place.day_of(desk.now)
    told: list[str] = []
    for number, reading in enumerate(sentence.readings):
        identity = f"{whose_sentence.message}/{whose_sentence.place}/{number}"
        try:
            entry, journal = _entry(garden, desk.state, identity, reading, desk.now)
            append_entry(desk.state.journal(garden), entry)
        except HaulmError as fault:
            if not told:
                return "refused", f"{quoted} could not be noted: {fault.what}.", ()
            return "refused", f"{quoted}. {' '.join(told)} The rest could not be noted: {fault.what}.", ()
        told += [note_answers.noted(garden, entry, reading.amount, today)]
        told += note_answers.remarks(garden, entry, journal, today) if entry.what is What.WATERED else []
    return sentence.outcome, f"{quoted}. {' '.join(told)}", ()


def _entry(garden: Garden, state: StateFolder, identity: str, reading: Reading, now: datetime) -> tuple[Entry, Journal]:
    """The entry of a reading, and what stood in the journal before it."""
    journal = standing(read_journal(state.journal(garden))[0])
    # A run that was killed may have noted it already.
    journal = Journal(tuple(held for held in journal.entries if held.id != identity))
    planting = planting_of(garden, Spot(reading.bed), reading.what, reading.day, journal)
    entry = Entry(
        identity, now, reading.day, reading.bed.key, planting.key if planting else "", reading.what,
        reading.amount.written, reading.amount.value, reading.cause, origin="mail",
    )  # fmt: skip
    refuse_contradiction(garden, entry, journal, garden.place.day_of(now))
    return entry, journal
