"""What takes an earlier answer back: "no, that was the other bed", "no, the watering was yesterday"."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from haulm.garden import Bed, What
from haulm.jobs.answer_beds import Named
from haulm.jobs.answer_days import read_days
from haulm.units import Display

_NO = r"(?:no|sorry|oops|wrong|correction)\b"
_WAS = r"(?:was|were|is|should (?:be|have been))"
# Strict on purpose: "no watering was needed yesterday" denies nothing that was said before.
_ABOUT_THAT = rf"\W*{_NO}\W*(?:sorry\W+)?(?:that|it|this)\s+{_WAS}\s+(?P<rest>.+)"
_ABOUT_A_THING = rf"\W*{_NO}\s*[,:;–-]\s*(?:the )?(?P<thing>[^,]+?)\s+{_WAS}\s+(?P<rest>.+)"
_WRONG_BED = rf"\W*(?:{_NO}\W*)?(?:(?:that|it|this) {_WAS}\s+)?(?:the )?(?P<rest>(?:other|wrong) bed)\W*"
_OTHER = r"\b(?:the )?(?:other|wrong) bed\b"
_OF_DAY = r"\bof (\d{4}-\d\d-\d\d)\b"
_FILLERS = r"\b(?:in|on|at|for|the|bed|and|actually|really|instead|not today)\b|[\W_]"

_NOUNS = {What.WATERED: "watering", What.PLANTED: "planting", What.LIFTED: "lifting"}

Things = Callable[[str], list[What]]


@dataclass(frozen=True, slots=True)
class Correction:
    """What is to be put right, of a note taken before.

    Attributes
    ----------
    bed, day
        Where and when it was instead; None where that stays. `other_bed`: the bed is the one that was not noted.
    thing, of_day
        Which note is meant; None is the last.
    """

    bed: Bed | None = None
    other_bed: bool = False
    day: date | None = None
    thing: What | None = None
    of_day: date | None = None


def read_correction(
    words: str, named: Named, things: Things, today: date, display: Display
) -> Correction | None:  # fmt: skip
    """What a sentence puts right; None where it does not, or not clearly.

    Parameters
    ----------
    things
        Tells what can be noted among some words.
    """
    found = next(
        (m for p in (_ABOUT_THAT, _ABOUT_A_THING, _WRONG_BED) if (m := re.fullmatch(p, words, re.IGNORECASE))), None
    )
    if found is None:
        return None
    subject = named.shown(found.groupdict().get("thing") or "")  # no bed is put right: "the straw" is straw
    thing, of_day = things(subject), _day(subject)
    if subject and len(thing) != 1:
        return None
    other = re.search(_OTHER, found["rest"], re.IGNORECASE) is not None
    days = read_days(re.sub(_OTHER, " ", found["rest"], flags=re.IGNORECASE), today, display)
    beds = named.beds(days.rest)
    left = re.sub(_FILLERS, "", re.sub("[\ua000-\ua48c]", " ", days.rest), flags=re.IGNORECASE)
    clear = len(beds) <= 1 and (not days.named or (days.sure and len(days.days) == 1)) and not left
    if not clear or not (other or beds or days.named):
        return None
    day = days.days[0] if days.named else None
    return Correction(beds[0] if beds else None, other and not beds, day, thing[0] if thing else None, of_day)


def denial(thing: What, of_day: date, bed: Bed | None = None, day: date | None = None) -> str:
    """Words that are understood as just this correction, on whatever day they are read."""
    where = [bed.name] if bed else []
    when = [f"on {day.isoformat()}"] if day else []
    return " ".join([f"no, the {_NOUNS.get(thing, thing)} of {of_day.isoformat()} was", *where, *when])


def _day(subject: str) -> date | None:
    found = re.search(_OF_DAY, subject)
    try:
        return date.fromisoformat(found[1]) if found else None
    except ValueError:
        return None
