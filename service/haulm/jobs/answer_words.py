"""What an answer says, in plain words: notes that can be taken, what is not clear, and what is nothing to note.

A sentence never becomes a guess. What may mean two things, or is only supposed, is asked back with the readings it can
have; what was not done, or is still to come, is no note.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum

from haulm.errors import HaulmError
from haulm.garden import Bed, Cause, Garden, What
from haulm.jobs.answer_beds import Named, name_beds
from haulm.jobs.answer_days import read_days
from haulm.jobs.answer_denials import Correction, read_correction
from haulm.jobs.note_words import WANTED, Amount, read_amount
from haulm.units import Display, Kind, read_quantity

MOST_CHOICES = 3
IMPOSSIBLE, WHICH = "more or less than can be true", "which of these"
_NO_SHOOTS = r"\bno (?:\w+ )?shoots\b|\bshoots? (?:are |is )?not (?:yet )?(?:out|up|there)\b"
# In the order in which they are looked for: what is more particular comes first, and takes its words away.
_SAID: tuple[tuple[What, str], ...] = (
    (What.STANDING_WATER, r"water (?:is |was |still )*standing|standing water|under water|flooded"),
    (What.RAIN_READ, r"rain gauge|\brain(?:ed|fall)?\b"),
    (What.INTO_STORE, r"\b(?:put|moved|brought)\b[\w ]*\bstore\b|\binto (?:the )?store\b|\bstored\b"),
    (What.STORE_READ, r"\bstore(?:room)?\b(?: temperature| temp)?"),
    (What.NIGHT_READ, r"\bnight(?:'s)? (?:minimum|min|low)\b|\bminimum\b|\blowest\b"),
    (What.SEED_BOUGHT, r"\bbought\b[\w ]*\bseed\b|\bseed (?:was |is )?bought\b"),
    (What.SEED_CUT, r"\bcut\b[\w ]*\bseed\b|\bseed (?:was |is )?cut\b"),
    (What.TOPS_CUT, r"\bcut\b[\w ]*\btops\b|\btops (?:were |are )?cut\b"),
    (What.TOPS_DEAD, r"\btops? (?:are |is |were )?(?:all |wholly |quite |now )*dead\b|\bdead tops\b"),
    (What.DYING_BACK, r"\btops?\b[\w ]*\b(?:dying(?: back)?|going down|yellow(?:ing)?)\b|\bdying back\b"),
    (What.SPROUTING, r"\bsprouting\b"),
    (What.NO_SHOOTS, rf"{_NO_SHOOTS}(?: yet)?"),
    (What.SHOOTS_OUT, r"\bshoots?\b|\bemerged\b|\bsprouts? (?:are )?(?:out|up)\b"),
    (
        What.STRAW_RAKED,
        r"\bstraw (?:was |is )?raked(?: off)?\b|\braked?\b[\w ]*\bstraw\b(?: off)?|\bstraw off\b|\braked off\b",
    ),
    (What.STRAW_LAID, r"\b(?:laid )?straw\b"),
    (What.CHITTING_BEGUN, r"\bchit\w*\b"),
    (What.PLANTED, r"\bplant(?:ed|ing)\b|\bplant\b"),
    (What.LIFTED, r"\blift(?:ed|ing)?\b|\bdug up\b|\bharvest(?:ed)?\b"),
    (What.SOIL_READ, r"\bsoil\b(?: temperature| temp)?"),
    (What.WATERED, r"\bwater(?:ed|ing)?\b|\bgave (?:it|them|the bed)\b|\bpoured\b"),
    (What.FINISHED, r"\bfinished\b|\ball eaten\b"),
)
_NOT_YET = r"\bnot yet\b|\bno shoots\b|\bnothing yet\b|\bask (?:me )?(?:again )?(?:next|in a)\b"
_NOT = r"\b(?:not|no|never|nothing|without)\b|n['’]t\b"
_OTHER_BED = r"\bother bed\b|\bwrong bed\b"
_TO_COME = r"\b(?:will|shall|tomorrow|going to|plan(?:ning)? to|want to|next week)\b|\bi['’]ll\b"
_SUPPOSED = r"\b(?:maybe|perhaps|probably|possibly|might|think|guess|not sure|or so)\b"
_CHAT = r"\W*(?:hi|hello|dear|thanks|thank you|cheers|best|kind|regards|greetings|lovely|good morning|yours)\b"
_WORDS_OF_CHAT = 3  # a line as short as a name, without a word that can be noted, is none
_NUMBER_WORDS = {
    "half": "0.5", "a": "1", "an": "1", "one": "1", "two": "2", "three": "3", "four": "4", "five": "5", "six": "6",
    "seven": "7", "eight": "8", "nine": "9", "ten": "10", "twelve": "12", "twenty": "20",
}  # fmt: skip
_UNITS = (
    r"mm|millimet(?:er|re)s?|cm|centimet(?:er|re)s?|inch(?:es)?|in|litres?|liters?|ltr|l|ml|gallons?|gals?|gal|"
    r"kg|kilos?|kilograms?|grams?|g|pounds?|lbs?|°\s*[CF]|deg(?:rees)?\s*[CF]|[CF]|celsius|fahrenheit"
)
_FIGURE = r"\d+(?:[.,]\d+)?|\d+/\d+|[.,]\d+"
_QUANTITY = re.compile(
    rf"(?<![\w/.,])(?:(?P<count>\d{{1,3}})\s*(?:[x×]|(?:\w+ )?(?:cans?|buckets?|bottles?|jugs?) of)\s*)?"
    rf"(?P<number>[-−+]?\s?(?:{_FIGURE}))\s*(?P<unit>{_UNITS})?(?![\w/])",
    re.IGNORECASE,
)
_BARE_UNITS: dict[Display, dict[str, tuple[str, ...]]] = {
    Display.METRIC: {"mm": ("l", "mm"), "m": ("cm",), "kg": ("kg",)},
    Display.US: {"mm": ("gal", "in"), "m": ("in",), "kg": ("lb",)},
}
_USUAL_C = {What.SOIL_READ: (0.0, 35.0), What.STORE_READ: (0.0, 30.0), What.NIGHT_READ: (-15.0, 25.0)}


class Outcome(StrEnum):
    """What becomes of a sentence."""

    NOTE = "note"
    CORRECT = "correct"
    ASK = "ask"
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class Reading:
    """One note that a sentence may mean: what, on which bed and day, how much; not sure of water without a unit."""

    what: What
    bed: Bed
    day: date
    amount: Amount
    cause: Cause | None = None
    is_sure: bool = True


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence as it was understood.

    Attributes
    ----------
    readings
        The notes it makes; where it is asked back, what it may mean.
    why
        Why it is asked back, or is nothing to note.
    correction
        What it puts right of a note taken before, where it does.
    """

    text: str
    outcome: Outcome
    readings: tuple[Reading, ...] = ()
    why: str = ""
    correction: Correction | None = None


@dataclass(frozen=True, slots=True)
class About:
    """What an answer is about where it does not say: the bed of the letter's link, the day it was written."""

    garden: Garden
    bed: Bed
    today: date


def understand(text: str, about: About) -> tuple[Sentence, ...]:
    """Every sentence of an answer, greetings and names left out.

    Parameters
    ----------
    text
        The grower's own lines: quoted letters and signatures have been taken away.
    """
    named = name_beds(text, about.garden)
    found = [_understood(line, about, named) for line in _lines(named.text)]
    return tuple(sentence for sentence in found if sentence is not None)


def phrase(reading: Reading) -> str:
    """Words that are understood as just this reading, on whatever day they are read."""
    told = [str(reading.what), reading.amount.written, "" if reading.cause in {None, Cause.UNKNOWN} else reading.cause]
    return f"{reading.bed.name}: {' '.join(word for word in told if word)} on {reading.day.isoformat()}"


def _lines(text: str) -> Iterator[str]:
    for line in text.splitlines():
        for part in re.split(r"(?<=[a-z!?])[.!;](?:\s+|$)|(?<=[?])\s+", line.strip()):
            if part.strip(" .,;!"):
                yield part.strip(" .,;")


def _understood(line: str, about: About, named: Named) -> Sentence | None:
    shown, (words, about) = named.shown(line), _of_bed(line, about, named)
    said = _whats(words)
    correction = read_correction(line, named, _things, about.today, about.garden.place.display)
    if correction is not None:
        return Sentence(shown, Outcome.CORRECT, correction=correction)
    waits = _put_off(words, said)
    if waits and not words.endswith("?"):
        return replace(_with_amounts(waits, about, named), text=shown)
    short = len(words.split()) <= _WORDS_OF_CHAT and not re.search(r"\d", words)
    told = re.search(f"{_NOT_YET}|{_OTHER_BED}", words, re.IGNORECASE)
    if not said and not told and (short or re.match(_CHAT, words, re.IGNORECASE)):
        return None
    for pattern, outcome, why in (
        (_OTHER_BED, Outcome.ASK, "which bed, and what was it"),
        (_NOT_YET, Outcome.NOTHING, "not yet"),
        (_NOT, Outcome.NOTHING, "not done"),
        (_TO_COME, Outcome.NOTHING, "still to come"),
    ):
        if re.search(pattern, words, re.IGNORECASE) and (said or pattern in {_OTHER_BED, _NOT_YET}):
            return Sentence(shown, outcome, why=why)
    if not said:
        return Sentence(shown, Outcome.ASK, why="what was done or seen")
    if _begins_with_a_stranger(words, about):
        return Sentence(shown, Outcome.ASK, why="which bed")
    if words.endswith("?"):
        return Sentence(shown, Outcome.ASK, why="whether it is so")
    return replace(_with_amounts(words, about, named), text=shown)


def _put_off(words: str, said: Sequence[tuple[int, int, What]]) -> str:
    """Words that say just that no shoots are out yet, in the house's own; empty where they do not.

    "Not yet" alone answers the question that is asked next week again: it is about the shoots.
    """
    if any(what not in {What.NO_SHOOTS, What.SHOOTS_OUT} for _, _, what in said):
        return ""
    if not re.search(_NO_SHOOTS, words, re.IGNORECASE) and not re.search(_NOT_YET, words, re.IGNORECASE):
        return ""
    rest = re.sub(rf"{_NO_SHOOTS}|{_NOT_YET}|\byet\b", " ", words, flags=re.IGNORECASE)
    rest = re.sub(r"\b(?:next week|in a week)\b", " ", rest, flags=re.IGNORECASE)
    return f"{What.NO_SHOOTS} {rest}"


def _of_bed(line: str, about: About, named: Named) -> tuple[str, About]:
    """The words behind "Gatebed:" with that bed for what they are about; any other line as it is.

    Behind it a word that can be noted is that word, even where a bed is called so ("Straw: straw laid 10 cm").
    """
    found = named.before_colon(line)
    if found is None:
        return line, about
    words = named.shown(found[1], lambda name: bool(_whats(name)))
    return (line, about) if named.beds(words) else (words, replace(about, bed=found[0]))


def _begins_with_a_stranger(words: str, about: About) -> bool:
    """Whether words before a colon may be meant for a bed, and are the name of none."""
    found = re.match(r"\s*([^\W\d][^:\d]*):\s", words)
    return found is not None and not _whats(found[1]) and not _names_day(found[1], about)


def _names_day(words: str, about: About) -> bool:
    return read_days(words, about.today, about.garden.place.display).named


def _whats(line: str) -> list[tuple[int, int, What]]:
    """What can be noted among the words, with where it stands, in the order of the line."""
    rest, found = line, []
    for what, pattern in _SAID:
        for match in re.finditer(pattern, rest, re.IGNORECASE):
            found.append((match.start(), match.end(), what))
            rest = rest[: match.start()] + "\0" * (match.end() - match.start()) + rest[match.end() :]
    return sorted(found, key=lambda one: one[0])


def _things(words: str) -> list[What]:
    return [what for _, _, what in _whats(words)]


def _with_amounts(line: str, about: About, named: Named) -> Sentence:
    days = read_days(_in_figures(line), about.today, about.garden.place.display)
    if not days.days:
        return Sentence(line, Outcome.NOTHING, why="a day that is to come, or is none")
    readings: list[Reading] = []
    for what, words in _parts(days.rest):
        found = _readings(what, words, days.days, about, named)
        if isinstance(found, str):
            return Sentence(line, Outcome.NOTHING if found == IMPOSSIBLE else Outcome.ASK, why=found)
        readings += found
    why = _doubt(line, readings) or ("" if days.sure else "which day")
    if why:
        return Sentence(line, Outcome.ASK, tuple(readings[:MOST_CHOICES]), why)
    return Sentence(line, Outcome.NOTE, tuple(readings))


def _doubt(line: str, readings: Sequence[Reading]) -> str:
    """Why readings are asked back; empty where they are all meant."""
    if re.search(r"\bor\b", line, re.IGNORECASE):
        return WHICH
    if re.search(_SUPPOSED, line, re.IGNORECASE):
        return "whether it is so"
    alike = {(one.what, one.bed.key) for one in readings}
    if len(alike) < len(readings):
        return WHICH
    return "" if all(one.is_sure for one in readings) else "of what unit"


def _parts(words: str) -> Iterator[tuple[What, str]]:
    """Each thing said, with the words about it: a line is cut at the joint before the next thing."""
    said = _whats(words)
    start = 0
    for place, (_, end, what) in enumerate(said):
        if place + 1 == len(said):
            yield what, words[start:]
            return
        following = said[place + 1][0]
        joints = list(re.finditer(r",|;|\band\b|\bthen\b|\bor\b", words[end:following], re.IGNORECASE))
        cut = end + joints[-1].start() if joints else following
        yield what, words[start:cut]
        start = cut


def _readings(what: What, words: str, days: Sequence[date], about: About, named: Named) -> list[Reading] | str:
    """The notes that one thing said may be, or why there is none."""
    beds, quantities = named.beds(words), [] if what not in WANTED else list(_QUANTITY.finditer(words))
    cause = _cause(words) if what is What.DYING_BACK else None
    if len(beds) > 1 and len(beds) == len(quantities) and len(days) == 1:
        pairs = zip(beds, quantities, strict=True)
        each = [_amounts(what, match, bed, about.garden.place.display) for bed, match in pairs]
        if any(len(found) != 1 for found in each):
            return WHICH
        return [Reading(what, bed, days[0], found[0]) for bed, found in zip(beds, each, strict=True)]
    if len(beds) > 1:
        return "which bed"
    bed = beds[0] if beds else about.bed
    if not quantities:
        needed = what in WANTED and WANTED[what].is_needed
        return "how much" if needed else [Reading(what, bed, day, _nothing(what), cause) for day in days]
    found = [amount for match in quantities for amount in _amounts(what, match, bed, about.garden.place.display)]
    sure = what is not What.WATERED or all(match["unit"] for match in quantities)
    return [Reading(what, bed, day, amount, is_sure=sure) for day in days for amount in found] or IMPOSSIBLE


def _nothing(what: What) -> Amount:
    return Amount(value=0.0) if what is What.STRAW_RAKED else Amount()


def _amounts(what: What, match: re.Match[str], bed: Bed, display: Display) -> list[Amount]:
    """The amounts that a figure may be, each of which can be true; a figure without a unit may be two."""
    count, number, unit = match["count"], match["number"].replace(" ", ""), match["unit"]
    written = [f"{count} x {number}" if count else number]
    written = [f"{written[0]} {each}" for each in ([unit] if unit else _bare_units(what, number, display))]
    found = []
    for each in written:
        try:
            found.append(read_amount(what, each, bed, display))
        except HaulmError:
            continue
    return found


def _bare_units(what: What, number: str, display: Display) -> tuple[str, ...]:
    """The units that a bare figure may have: the reader's own, where the other reading would be no usual one."""
    if what not in _USUAL_C:
        return _BARE_UNITS[display][WANTED[what].unit]
    low, high = _USUAL_C[what]
    own, other = ("F", "C") if display is Display.US else ("C", "F")
    usual = [unit for unit in (own, other) if low <= _degrees_c(number, unit) <= high]
    return (own,) if usual == [own] else (*usual, *(unit for unit in (own, other) if unit not in usual))


def _degrees_c(number: str, unit: str) -> float:
    """NaN for what looks like a figure and is none: 1/0."""
    try:
        return read_quantity(f"{number} {unit}", Kind.TEMPERATURE).value
    except HaulmError:
        return float("nan")


def _cause(words: str) -> Cause:
    return next((cause for cause in Cause if re.search(rf"\b{cause}\b", words, re.IGNORECASE)), Cause.UNKNOWN)


def _in_figures(line: str) -> str:
    """Number words before a unit or a can, as figures: "half an inch" is "0.5 inch"."""
    numbers = "|".join(sorted(_NUMBER_WORDS, key=len, reverse=True))
    pattern = rf"\b(?P<number>{numbers})(?: an?)? (?=(?:{_UNITS}|cans?|buckets?|bottles?|jugs?)\b)"
    return re.sub(pattern, lambda match: f"{_NUMBER_WORDS[match['number'].casefold()]} ", line, flags=re.IGNORECASE)
