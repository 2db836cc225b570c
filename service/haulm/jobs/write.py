"""Letters from all that was brought to a morning: no file, no network, no store. A worker elsewhere can do it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from haulm.advice import Decision, Said
from haulm.beds.in_step import Course, finished
from haulm.errors import Exit
from haulm.garden import Garden
from haulm.jobs.bring import Brought
from haulm.jobs.decide import Asking, decide_all
from haulm.jobs.letter_forms import write_out
from haulm.jobs.observe import Observed
from haulm.jobs.writing import stored_letter
from haulm.post.folder import letter_stem
from haulm.settings.load import Settings
from haulm.settings.thresholds import Thresholds
from haulm.store.letters import StoredLetter

KIND = "morning"


@dataclass(frozen=True, slots=True)
class Wanted:
    """A letter to be written: whose, by which thresholds, with a picture or without, and what was brought to it."""

    garden: Garden
    thresholds: Thresholds
    pictured: bool
    brought: Brought


@dataclass(frozen=True, slots=True)
class Written:
    """A letter that is finished and not yet stored, with what it said, and how the morning went."""

    letter: StoredLetter
    said: tuple[Said, ...]
    exit_code: Exit


def wanted(settings: Settings, brought: Brought) -> Wanted:
    """The letter that a garden's settings want."""
    return Wanted(settings.garden, settings.thresholds, settings.letter.picture, brought)


def write_all(letters: Sequence[Wanted], observed: Observed, moment: datetime) -> list[Written]:
    """The letters of gardens that lie at one place and see the same weather."""
    return written(finished(think_all(letters, observed, moment)), letters, observed)


def think_all(letters: Sequence[Wanted], observed: Observed, moment: datetime) -> Course[list[Decision]]:
    """What those letters will tell: a course, so that other places may go beside it."""
    asking = [Asking(one.garden, one.thresholds, one.brought.journal, one.brought.memory) for one in letters]
    decisions = yield from decide_all(asking, moment, observed.record, observed.forecasts, observed.told)
    return [
        replace(
            decision,
            notices=decision.faults + observed.notices + one.brought.told,
            heard=one.brought.heard,
            asked=one.brought.asked,
        )
        for decision, one in zip(decisions, letters, strict=True)
    ]


def written(decisions: Sequence[Decision], letters: Sequence[Wanted], observed: Observed) -> list[Written]:
    """The letters of what was decided, each for whom it was."""
    return [_written(decision, observed, one) for decision, one in zip(decisions, letters, strict=True)]


def _written(decision: Decision, observed: Observed, one: Wanted) -> Written:
    picture = picture_name(one.garden.key, decision.today)
    forms = write_out(decision, one.thresholds, picture, with_picture=one.pictured)
    return Written(stored_letter(decision, forms, KIND), decision.memory, exit_of(observed, decision))


def picture_name(garden: str, day: date) -> str:
    """How the letter names its picture, which lies beside it."""
    return f"{letter_stem(garden, KIND, day)}.png"


def exit_of(observed: Observed, decision: Decision) -> Exit:
    """A letter written without fresh data is only partly a success."""
    silent = any(alert.rule == "station-silent" and not alert.ended for alert in decision.alerts)
    return Exit.DONE if observed.fresh and not silent and not decision.faults else Exit.PARTLY
