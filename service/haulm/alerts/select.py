"""From a rule's answers to alerts: what is new, what still holds, what is over, and what was said.

Memory goes in as it stood before the morning and comes out brought up to date; nothing is changed in place.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date

from haulm.advice import Alert, Answer, Finding, NotKnown, Said, Section, Speaks
from haulm.garden import Stage

UNKNOWN = "unknown"
UNKNOWN_LEVEL = -1  # below every real level, so that the answer speaks anew once it is known
UNKNOWN_URGENCY = 30
NOTE_URGENCY = 10  # what is less urgent than this and said on one morning only is a note
WANTS_HANDS = frozenset({Section.DO_TODAY, Section.GET_READY})


@dataclass(frozen=True, slots=True)
class Judged:
    """One rule's answer for one planting (or, with both keys empty, for the place).

    `in_stage` is False when the planting has left the stages of the rule, or the rule's end needs no word: an open
    episode then ends without one.
    """

    rule: str
    speaks: Speaks
    bed: str
    planting: str
    stage: Stage | None
    in_stage: bool
    answer: Answer


def before(memory: Iterable[Said], today: date) -> tuple[Said, ...]:
    """Memory as it stood before a morning, so that working a day out again says the same."""
    kept = (said for said in memory if said.episode < today.isoformat())
    return one_open(replace(s, ended_on=None) if s.ended_on and s.ended_on >= today else s for s in kept)


def one_open(memory: Iterable[Said]) -> tuple[Said, ...]:
    """Memory in which the newest episode of a matter alone may be open: one before it ended when that began.

    A letter that a clock which was ahead dated to a day to come knows nothing of what is said until then: once that
    day has passed there are two, and without this each change of a verdict would be said twice from then on.
    """
    listed = tuple(memory)
    newest: dict[tuple[str, str, str], str] = {}
    for said in listed:
        if said.ended_on is None:
            matter = (said.rule, said.bed, said.planting)
            newest[matter] = max(newest.get(matter, ""), said.episode)
    return tuple(
        replace(said, ended_on=date.fromisoformat(began))
        if said.ended_on is None and (began := newest[said.rule, said.bed, said.planting]) != said.episode
        else said
        for said in listed
    )


Open = Mapping[tuple[str, str, str], Said]


def open_episodes(memory: Iterable[Said]) -> Open:
    """The open episode of each rule, bed and planting that has one: the first."""
    found: dict[tuple[str, str, str], Said] = {}
    for said in memory:
        if said.ended_on is None:
            found.setdefault((said.rule, said.bed, said.planting), said)
    return found


def select(
    judged: Iterable[Judged], memory: tuple[Said, ...], today: date
) -> tuple[tuple[Alert, ...], tuple[Said, ...]]:
    """Alerts of the morning in the letter's order, and the memory after it."""
    news: list[Judged] = []
    notes: list[Judged] = []
    open_said = open_episodes(memory)
    for one in judged:
        (notes if _is_new_note(one, open_said) else news).append(one)
    alerts, changed = _each(news, open_said, today)
    if notes and not any(alert.fresh and alert.section in WANTS_HANDS for alert in alerts):
        told, said = _each(notes[:1], open_said, today)
        alerts, changed = [*alerts, *told], [*changed, *said]
    return in_order(alerts), tuple({_key(said): said for said in (*memory, *changed)}.values())


def _is_new_note(one: Judged, open_said: Open) -> bool:
    """A line that can wait for a quiet morning: one a morning, none beside fresh work: the letter stays short."""
    note = one.speaks is Speaks.ONE_MORNING and isinstance(one.answer, Finding) and one.answer.urgency < NOTE_URGENCY
    return note and (one.rule, one.bed, one.planting) not in open_said


def _each(judged: list[Judged], open_said: Open, today: date) -> tuple[list[Alert], list[Said]]:
    alerts: list[Alert] = []
    changed: list[Said] = []
    for one in judged:
        alert, said = _one(one, open_said.get((one.rule, one.bed, one.planting)), today)
        alerts.extend(alert)
        changed.extend(said)
    return alerts, changed


def let_go(memory: Iterable[Said], plantings: Collection[str], today: date) -> tuple[Said, ...]:
    """End without a word what was open about plantings that are no longer looked at: finished, or forgotten."""
    return tuple(
        replace(said, ended_on=today) if said.planting and said.ended_on is None and said.planting not in plantings
        else said
        for said in memory
    )  # fmt: skip


def in_order(alerts: Iterable[Alert]) -> tuple[Alert, ...]:
    """Alerts in the letter's order."""
    order = list(Section)
    return tuple(sorted(alerts, key=lambda a: (order.index(a.section), -a.urgency, a.bed, a.planting, a.rule)))


def _key(said: Said) -> tuple[str, str, str, str]:
    return (said.rule, said.bed, said.planting, said.episode)


def _one(one: Judged, open_said: Said | None, today: date) -> tuple[list[Alert], list[Said]]:
    answer = one.answer
    if isinstance(answer, NotKnown):
        return _not_known(one, answer, open_said, today)
    if answer is None:
        return _over(one, open_said, today)
    if open_said is None or answer.verdict != open_said.verdict or answer.level > open_said.level:
        return _fresh(one, answer, open_said, today)
    section = Section.STILL_SO if one.speaks is Speaks.ONCE else answer.section
    said = replace(open_said, last_on=today)
    if one.speaks is Speaks.ONE_MORNING:
        return [], [said]
    return [_alert(one, answer, section, open_said.first_on, open_said.episode, fresh=False)], [said]


def _fresh(one: Judged, answer: Finding, open_said: Said | None, today: date) -> tuple[list[Alert], list[Said]]:
    first_on = open_said.first_on if open_said and _same_matter(one, answer, open_said) else today
    episode = today.isoformat()
    said = Said(one.rule, one.bed, one.planting, episode, answer.verdict, answer.level, first_on, today)
    closed = [replace(open_said, ended_on=today)] if open_said else []
    return [_alert(one, answer, answer.section, first_on, episode, fresh=True)], [*closed, said]


def _same_matter(one: Judged, answer: Finding, open_said: Said) -> bool:
    """A danger of each day that changes its grade came up when it began; any other new sentence is first said today."""
    return one.speaks is Speaks.EACH_DAY and UNKNOWN_LEVEL < open_said.level != answer.level


def _not_known(one: Judged, answer: NotKnown, open_said: Said | None, today: date) -> tuple[list[Alert], list[Said]]:
    if not answer.worth_saying:
        if open_said is None:
            return [], []
        if open_said.verdict == UNKNOWN:  # nobody waits for the answer any more
            return [], [replace(open_said, ended_on=today)]
    if open_said is not None and one.speaks is Speaks.ONE_MORNING:
        return [], [replace(open_said, last_on=today)]
    if answer.once and open_said is not None and open_said.verdict == UNKNOWN:
        return [], [replace(open_said, last_on=today)]
    blank = Finding(UNKNOWN, Section.KEEP_AN_EYE, UNKNOWN_URGENCY, answer.facts, UNKNOWN_LEVEL)
    if open_said is None:
        alerts, said = _fresh(one, blank, None, today)
        return [replace(alert, unknown=answer.lacks) for alert in alerts], said
    section = Section.STILL_SO if one.speaks is Speaks.ONCE else Section.KEEP_AN_EYE
    held = _alert(one, blank, section, open_said.first_on, open_said.episode, fresh=False)
    kept = replace(held, verdict=open_said.verdict, level=open_said.level, unknown=answer.lacks)
    return [kept], [replace(open_said, last_on=today)]


def _over(one: Judged, open_said: Said | None, today: date) -> tuple[list[Alert], list[Said]]:
    if open_said is None:
        return [], []
    closed = [replace(open_said, ended_on=today)]
    if not one.in_stage or open_said.verdict == UNKNOWN or one.speaks is Speaks.ONE_MORNING:
        return [], closed
    blank = Finding(open_said.verdict, Section.KEEP_AN_EYE, 5, {}, open_said.level)
    alert = _alert(one, blank, Section.KEEP_AN_EYE, open_said.first_on, open_said.episode, fresh=True)
    return [replace(alert, ended=True)], closed


def _alert(one: Judged, answer: Finding, section: Section, first_on: date, episode: str, *, fresh: bool) -> Alert:
    return Alert(
        rule=one.rule,
        bed=one.bed,
        planting=one.planting,
        stage=one.stage,
        section=section,
        verdict=answer.verdict,
        urgency=answer.urgency,
        facts=answer.facts,
        level=answer.level,
        chance=answer.chance,
        first_on=first_on,
        episode=episode,
        fresh=fresh,
    )
