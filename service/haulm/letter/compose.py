"""From a decision to a letter: which words stand where."""

from collections.abc import Iterable

from haulm.advice import Alert, Decision, Letter, Part, Section
from haulm.garden import Stage
from haulm.letter import amounts, evening, words
from haulm.letter.basis import basis, basis_between_letters
from haulm.letter.numbers import numbers
from haulm.settings.thresholds import Thresholds
from haulm.weather import Gap

MORNING, EVENING, WORSE = "morning", "evening", "evening-worse"
SUBJECT_LENGTH = 78  # RFC 5322, 2.1.1: lines should be no longer; the date always stays whole
NOT_ALL_KNOWN = frozenset({Gap.NO_FORECAST, Gap.NO_OBSERVATIONS})
CLAUSE_ENDS = ("; ", " – ", " (", ", ")  # not a colon: before it stands only the bed


def compose(decision: Decision, thresholds: Thresholds, kind: str = MORNING) -> Letter:
    """The letter of a decision, in the reader's units.

    Parameters
    ----------
    decision
        What the morning thinks.
    thresholds
        Those it thought with: the letter measures the week's water against them.
    kind
        "morning", or "evening" (and "evening-worse") for a word between letters: the one thing to do, and the night.
    """
    if kind != MORNING:
        return _between_letters(decision, kind)
    return Letter(
        garden=decision.garden.key,
        kind=kind,
        day=decision.today,
        written=decision.as_of,
        subject=_subject(decision),
        greeting=_greeting(decision),
        parts=tuple(_parts(decision)),
        numbers=numbers(decision, thresholds),
        basis=basis(decision),
        heard=decision.heard,
    )


def _between_letters(decision: Decision, kind: str) -> Letter:
    return Letter(
        garden=decision.garden.key,
        kind=kind,
        day=decision.today,
        written=decision.as_of,
        subject=_subject(decision),
        greeting=evening.greeting(decision),
        parts=tuple(_parts(decision)),
        numbers=evening.numbers(decision),
        basis=basis_between_letters(decision),
    )


def _parts(decision: Decision) -> Iterable[Part]:
    for section in Section:
        alerts = [alert for alert in decision.alerts if _section(alert) is section]
        if alerts:
            alerts.sort(key=lambda alert: -alert.urgency)
            yield Part(section.value, tuple(words.item(alert, decision) for alert in alerts))


def _section(alert: Alert) -> Section:
    return Section.KEEP_AN_EYE if alert.ended else alert.section


def _greeting(decision: Decision) -> str:
    name = decision.garden.place.name
    to_do = _in(decision, Section.DO_TODAY)
    if to_do:
        return f"{amounts.count(to_do, 'thing', 'things').capitalize()} to do today at {name}."
    to_ready = _in(decision, Section.GET_READY)
    then = f", but {amounts.count(to_ready, 'thing', 'things')} to get ready for" if to_ready else ""
    if _all_known(decision):
        return f"{_nothing(decision)} to do today at {name}{then}."
    return f"{_nothing(decision)} to do today at {name}, as far as is known{then}."


def _nothing(decision: Decision) -> str:
    """What was asked for on an earlier day may still be waiting to be done."""
    return "Nothing new" if _in(decision, Section.STILL_SO) else "Nothing"


def _in(decision: Decision, section: Section) -> int:
    return sum(_section(alert) is section for alert in decision.alerts)


def _all_known(decision: Decision) -> bool:
    """A gap of some months ago is no lack today; a soil that is not known after it is."""
    soil_known = all(one.soil.known for one in decision.conditions if one.stage.stage.order < Stage.LIFTED.order)
    missing = not soil_known or bool(decision.faults) or any(alert.unknown for alert in decision.alerts)
    return not missing and NOT_ALL_KNOWN.isdisjoint(decision.timeline.gaps)


def _subject(decision: Decision) -> str:
    day = amounts.day(decision.today, decision.today)
    alert = _most_urgent(decision)
    if alert is not None:
        said = words.subject(alert, decision)
    elif decision.heard:
        said = decision.heard[0].rstrip(".")
    elif _all_known(decision):
        said = f"{_nothing(decision)} to do today"
    else:
        said = "Nothing to do today as far as is known"
    return f"{_shortened(said, SUBJECT_LENGTH - len(day) - 3)} – {day}"


def _most_urgent(decision: Decision) -> Alert | None:
    """Something to do today; else what to get ready for, and other news; else a remark: an end, or a thing to watch.

    What merely still stands, or is left alone as it was the day before, is no news.
    """
    standing = [alert for alert in decision.alerts if not alert.ended]
    to_do = [alert for alert in standing if alert.section is Section.DO_TODAY]
    news = [alert for alert in standing if alert.fresh or alert.section is Section.GET_READY]
    ends = [alert for alert in decision.alerts if alert.ended]
    watched = [alert for alert in standing if alert.section is Section.KEEP_AN_EYE]
    return max(to_do or news or ends or watched, key=lambda alert: alert.urgency, default=None)


def _shortened(said: str, longest: int) -> str:
    """Cut at the last clause that fits, else after a word."""
    if len(said) <= longest:
        return said
    clause = max(said.rfind(end, longest // 2, longest) for end in CLAUSE_ENDS)
    if clause > 0:
        return said[:clause]
    word = said.rfind(" ", 0, longest)
    return f"{said[: word if word > 0 else longest - 1]}…"
