"""A note from mail put right by a later answer: one more entry takes the place of the old one; nothing is erased."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from haulm.errors import HaulmError
from haulm.garden import Bed, Entry, Garden, Journal
from haulm.jobs import note_answers
from haulm.jobs.answer_denials import Correction, denial
from haulm.jobs.note_season import planting_of, refuse_contradiction, standing
from haulm.jobs.note_words import Amount, Spot, read_amount
from haulm.jobs.state_folder import StateFolder
from haulm.letter import amounts
from haulm.store.journal_file import append_entry, read_journal

PUT_RIGHT_WITHIN = timedelta(days=14)
MOST_CHOICES = 3


@dataclass(frozen=True, slots=True)
class From:
    """Whose sentence it is: its message and place in it, and all messages of the same person that were read before."""

    message: str
    place: int
    earlier: frozenset[str]

    def is_own(self, entry: Entry) -> bool:
        """Whether a run that was killed has made this entry from the same sentence already."""
        return entry.id.startswith(f"{self.message}/{self.place}/")


@dataclass(frozen=True, slots=True)
class Corrected:
    """What became of a correction: "note", "ask", "nothing" or "refused", what is told, and phrases to choose from."""

    outcome: str
    told: str
    choices: tuple[str, ...] = ()


def correct(garden: Garden, state: StateFolder, sentence: From, wanted: Correction, now: datetime) -> Corrected:
    """Put the note right that a correction means: the last one from that person's mail, or that of the thing named."""
    whole, _ = read_journal(state.journal(garden))
    before = standing(Journal(tuple(entry for entry in whole.entries if not sentence.is_own(entry))))
    order = {entry.id: place for place, entry in enumerate(whole.entries)}
    meant = _meant(garden, sorted(before.entries, key=lambda entry: order[entry.id]), sentence, wanted, now)
    if not meant:
        return Corrected("ask", "is not clear: your mail of the last 14 days brought no note that it could be about")
    if len({_sentence_of(entry) for entry in meant}) > 1 or len({entry.bed for entry in meant}) > 1:
        return _asked("which of these", meant, [_bed(garden, entry, wanted) for entry in meant], wanted)
    beds = [_bed(garden, entry, wanted) for entry in meant]
    if None in beds:
        others = [bed for bed in garden.beds if bed.key != meant[0].bed]
        return _asked("which bed", [meant[0]] * len(others), others, wanted)
    new = [_anew(entry, bed, wanted) for entry, bed in zip(meant, beds, strict=True) if bed is not None]
    if all((old.bed, old.day) == (entry.bed, entry.day) for old, entry in zip(meant, new, strict=True)):
        return Corrected("nothing", "is how it is noted already, so nothing is changed")
    return _put_right(garden, state, sentence, before, meant, new, now)


def _meant(garden: Garden, entries: Sequence[Entry], sentence: From, wanted: Correction, now: datetime) -> list[Entry]:
    """The notes of the last message that can be meant."""
    own, beds = sentence.earlier | {sentence.message}, {bed.key for bed in garden.beds}
    can = [
        entry
        for entry in entries
        if entry.origin == "mail"
        and entry.bed in beds  # a bed may have gone from the settings since
        and entry.id.count("/") >= 2
        and _message_of(entry) in own
        and now - entry.instant <= PUT_RIGHT_WITHIN
        and wanted.thing in {None, entry.what}
        and wanted.of_day in {None, entry.day}
    ]
    return [entry for entry in can if _message_of(entry) == _message_of(can[-1])]


def _message_of(entry: Entry) -> str:
    return entry.id.rsplit("/", 2)[0]


def _sentence_of(entry: Entry) -> str:
    return entry.id.rsplit("/", 1)[0]


def _bed(garden: Garden, entry: Entry, wanted: Correction) -> Bed | None:
    """The bed that it was; None where that may be several."""
    if not wanted.other_bed:
        return wanted.bed or garden.bed(entry.bed)
    others = [bed for bed in garden.beds if bed.key != entry.bed]
    return others[0] if len(others) == 1 else None


def _asked(why: str, entries: Sequence[Entry], beds: Sequence[Bed | None], wanted: Correction) -> Corrected:
    choices = [
        denial(entry.what, entry.day, bed if wanted.day is None or wanted.bed else None, wanted.day)
        for entry, bed in zip(entries, beds, strict=True)
        if bed is not None and entry.what is not None
    ]
    phrases = tuple(dict.fromkeys(choices))[:MOST_CHOICES]
    meant = f". It may have meant: {amounts.listing(phrases)}" if phrases else ""
    return Corrected("ask", f"is not clear ({why}); nothing is changed{meant}", phrases)


def _anew(entry: Entry, bed: Bed, wanted: Correction) -> Entry:
    return replace(entry, bed=bed.key, day=wanted.day or entry.day, withdraws=entry.id, origin="mail")


def _put_right(
    garden: Garden, state: StateFolder, sentence: From, before: Journal, old: Sequence[Entry], new: Sequence[Entry],
    now: datetime,
) -> Corrected:  # fmt: skip
    """Write the entries, each of which takes an old one back and notes it anew, and tell of both."""
    today, display = garden.place.day_of(now), garden.place.display
    journal = Journal(tuple(entry for entry in before.entries if entry not in old))
    told, written = [], []
    try:
        for number, (was, entry) in enumerate(zip(old, new, strict=True)):
            bed, what = garden.bed(entry.bed), was.what
            if what is None:
                continue
            amount = read_amount(what, was.written, bed, display) if was.written else Amount("", was.value)
            planting = planting_of(garden, Spot(bed), what, entry.day, journal)
            identity = f"{sentence.message}/{sentence.place}/{number}"
            whose = planting.key if planting else ""
            anew = replace(entry, id=identity, instant=now, value=amount.value, planting=whose)
            refuse_contradiction(garden, anew, journal, today)
            written.append(anew)
            told += [_taken_back(garden, was, now), note_answers.noted(garden, anew, amount, today)]
            told.append(note_answers.left_hanging(was, journal).strip())
        for entry in written:
            append_entry(state.journal(garden), entry)
    except HaulmError as fault:
        return Corrected("refused", f"could not be done: {fault.what}. Nothing is changed")
    return Corrected("note", " ".join(line for line in told if line))


def _taken_back(garden: Garden, entry: Entry, now: datetime) -> str:
    when = amounts.day(entry.day, garden.place.day_of(now))
    return f"Taken back for {garden.bed(entry.bed).name} on {when}: {note_answers.said(entry, garden.place.display)}."
