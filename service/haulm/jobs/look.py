"""Looks at the coming night, from all that was brought to them: no file, no network, no store; a worker can do it.

The letters of an evening are "evening" and, where a later look finds the night a class graver, "evening-worse".
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from haulm.advice import Said
from haulm.beds.evening import Tonight
from haulm.errors import Exit
from haulm.garden import Garden, Journal
from haulm.jobs.decide import Asking
from haulm.jobs.decide_evening import Evening, Outlook, SaidToday, decide_evening_all
from haulm.jobs.letter_forms import write_out
from haulm.jobs.observe import Observed
from haulm.jobs.writing import stored_letter
from haulm.letter import amounts
from haulm.settings.thresholds import Thresholds
from haulm.store.letters import StoredLetter

KIND, WORSE = "evening", "evening-worse"


@dataclass(frozen=True, slots=True)
class LookWanted:
    """A look to be taken: whose, and what was noted, said before, and said today; of which kind its letter would be.

    `told` are complaints about the journal, for the letter's last part.
    """

    garden: Garden
    thresholds: Thresholds
    journal: Journal
    memory: tuple[Said, ...]
    said: SaidToday
    told: tuple[str, ...] = ()
    kind: str = KIND


@dataclass(frozen=True, slots=True)
class Look:
    """What a look has to show: the letter if there is one, what the night looks like in a line, and how it went.

    `said` is all that was said, up to and with the letter; `lost` tells that the night could not be judged for want of
    something that can be had, so that it is worth another try.
    """

    letter: StoredLetter | None
    told: str
    exit_code: Exit
    tonight: Tonight | None = None
    said: tuple[Said, ...] = ()
    lost: bool = False


def look_all(wanted: Sequence[LookWanted], observed: Observed, moment: datetime) -> list[Look]:
    """The looks of gardens that lie at one place and see the same weather."""
    asking = [Asking(one.garden, one.thresholds, one.journal, one.memory) for one in wanted]
    said = [one.said for one in wanted]
    seen = decide_evening_all(asking, said, moment, observed.record, observed.forecasts, observed.told)
    return [_look(one, evening, observed) for one, evening in zip(wanted, seen, strict=True)]


def _look(one: LookWanted, seen: Evening, observed: Observed) -> Look:
    notices = (*seen.decision.faults, *observed.notices, *one.told)
    decision, letter = replace(seen.decision, notices=notices), None
    if decision.alerts:
        forms = write_out(decision, one.thresholds, "", with_picture=False, kind=one.kind)
        letter = stored_letter(decision, forms, one.kind)
    code = Exit.DONE if observed.fresh and not decision.faults else Exit.PARTLY
    lost = seen.outlook is Outlook.UNKNOWN and not observed.fresh
    if lost:
        code = Exit.TRY_LATER
    return Look(letter, _in_a_line(one.garden, seen), code, seen.tonight, decision.memory, lost)


def _in_a_line(garden: Garden, seen: Evening) -> str:
    night, display = seen.tonight.night, garden.place.display
    leaf = f"about {amounts.temperature(night.leaf_c, display)}" if amounts.is_known(night.leaf_c) else "not known"
    return f"Lowest at leaf height tonight: {leaf}. {seen.outlook.value.capitalize()}."
