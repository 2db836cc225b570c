"""All that an evening thinks, pure as `decide` is: does the coming night endanger what grows, by more than was said?

The evening asks only about the night before it. It speaks where a bed is to be covered that no letter of this day has
named as gravely, and where the frost that a letter called is unlikely after all; else it says nothing.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

import numpy as np

from haulm.advice import Alert, Answer, Decision, Fact, Finding, NotKnown, Said, Section
from haulm.alerts.frost import ACT, VERDICTS, night_chance
from haulm.alerts.rules import RULES
from haulm.alerts.select import one_open, open_episodes
from haulm.beds.dusk import evening_of
from haulm.beds.evening import Tonight, tonight_of
from haulm.beds.forcing import PlaceMean
from haulm.beds.in_step import finished
from haulm.condition import Condition, Night
from haulm.garden import Garden, Journal, Place
from haulm.jobs.decide import Asking, decide_all
from haulm.settings.thresholds import Thresholds
from haulm.weather import Forecast, Record

RULE, TAKEN_BACK = "evening-frost", "taken-back"
FROST = next(rule for rule in RULES if rule.key == "frost")


class Outlook(StrEnum):
    """What the evening makes of the night, whether or not it is worth a letter."""

    QUIET = "no frost to speak of"
    SAID = "nothing that this day's letters have not said"
    NEWS = "worth a letter"
    UNKNOWN = "not known: neither forecast nor hours"
    NOT_IN_LEAF = "nothing stands in leaf that it could strike"
    NO_CROP = "not known, and nothing stands in leaf"


@dataclass(frozen=True, slots=True)
class Called:
    """What this day's letters, the last of them counting, said of the coming night on one planting.

    `level` is 0 where frost was not called for this night, or was taken back; `leaf_c` is NaN where not told.
    """

    bed: str
    planting: str
    level: int
    leaf_c: float = float("nan")


@dataclass(frozen=True, slots=True)
class SaidToday:
    """What this day's letters said of its night; `evening` tells that one between the letters is out already."""

    called: tuple[Called, ...] = ()
    evening: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Evening:
    """What an evening thinks: a decision whose alerts are about this night alone; none where nothing is to be said."""

    decision: Decision
    tonight: Tonight
    outlook: Outlook


def decide_evening(  # noqa: PLR0913  as many as `decide`, and what was said
    garden: Garden,
    thresholds: Thresholds,
    as_of: datetime,
    record: Record | None,
    forecasts: Sequence[Forecast],
    journal: Journal,
    memory: Iterable[Said],
    said: SaidToday,
    *,
    told: PlaceMean | None = None,
) -> Evening:
    """What to say on the evening of `as_of`, between the letters.

    Parameters
    ----------
    garden, thresholds, as_of, record, forecasts, journal, told
        As for `decide`.
    memory
        All episodes, with those of this morning's letter; later ones are left out here.
    said
        What the letters of this local day have said of this night. Once one between them is out, only what grew graver
        is news.
    """
    asking = Asking(garden, thresholds, journal, tuple(memory))
    return decide_evening_all([asking], [said], as_of, record, forecasts, told)[0]


def decide_evening_all(
    asking: Sequence[Asking],
    said: Sequence[SaidToday],
    as_of: datetime,
    record: Record | None,
    forecasts: Sequence[Forecast],
    told: PlaceMean | None = None,
) -> list[Evening]:
    """The same for gardens of one place, of each what was said to it: each answer is what `decide_evening` gives."""
    days = finished(decide_all(asking, as_of, record, forecasts, told))
    return [_evening(*each, as_of, forecasts) for each in zip(asking, said, days, strict=True)]


def _evening(asked: Asking, said: SaidToday, day: Decision, as_of: datetime, forecasts: Sequence[Forecast]) -> Evening:
    garden, thresholds = asked.garden, asked.thresholds
    noted = asked.journal.known(as_of, day.today)
    tonight = tonight_of(day.timeline, garden.place, thresholds, as_of, noted, forecasts)
    look = _Look(as_of, tonight, {(one.bed, one.planting): one for one in said.called}, said.evening)
    answers = [(one, _answer(one, tonight.night, look, thresholds)) for one in day.conditions]
    alerts = tuple(alert for one, answer in answers for alert in _alerts(one, answer, look, thresholds))
    known = _until(asked.memory, day.today)
    decision = replace(day, alerts=alerts, memory=_after(known, alerts, day.today))
    return Evening(decision, tonight, _outlook([answer for _, answer in answers], alerts, tonight, thresholds))


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """What one look at the night shares between the beds."""

    as_of: datetime
    tonight: Tonight
    called: Mapping[tuple[str, str], Called]
    again: bool

    def before(self, condition: Condition) -> Called:
        """What was called for a planting."""
        key = (condition.bed.key, condition.planting.key)
        return self.called.get(key, Called(*key, 0))


def _answer(condition: Condition, night: Night, look: _Look, thresholds: Thresholds) -> Answer:
    """The frost rule's own answer for this night alone; what was called ends only below the lower chance."""
    if condition.stage.stage not in FROST.stages:
        return None
    only = thresholds.model_copy(update={"frost": thresholds.frost.model_copy(update={"nights_ahead": 1})})
    called, on, said = look.before(condition), condition.today, None
    if called.level >= ACT:
        verdict = VERDICTS[called.level]
        said = Said(FROST.key, called.bed, called.planting, on.isoformat(), verdict, called.level, on, on)
    return FROST.judge(replace(condition, sky=replace(condition.sky, nights=(night,))), only, said)


def _alerts(condition: Condition, answer: Answer, look: _Look, thresholds: Thresholds) -> Iterator[Alert]:
    level = look.before(condition).level
    gone = condition.stage.stage not in FROST.stages or condition.crop.tops_gone is not None
    if isinstance(answer, Finding):
        if answer.section is Section.DO_TODAY and answer.level >= ACT and answer.level > level:
            yield _alert(condition, answer, look)
    elif answer is None and level >= ACT and not (gone or look.again) and _agrees(condition, look, thresholds):
        yield _alert(condition, _taken_back(look.tonight), look)


def _agrees(condition: Condition, look: _Look, thresholds: Thresholds) -> bool:
    """Whether the night as a letter reckons it, by the day's own minimum, is no danger either."""
    return all(_answer(condition, night, look, thresholds) is None for night in condition.sky.nights[:1])


def _taken_back(tonight: Tonight) -> Finding:
    night = tonight.night
    facts: dict[str, Fact] = {"morning": night.morning, "air_c": night.air_c, "leaf_c": night.leaf_c}
    facts["chance_of_zero"] = night_chance(night, 0.0)
    return Finding(TAKEN_BACK, Section.LEAVE_ALONE, 50, facts)


def _alert(condition: Condition, answer: Finding, look: _Look) -> Alert:
    place, today, tonight = condition.garden.place, condition.today, look.tonight
    evening, called = evening_of(place, today), look.before(condition)
    more: dict[str, Fact] = {
        "dark_at": _clock(evening.dark, place),
        "dark_by": evening.by.value,
        "before_dark": look.as_of < evening.dark,
        "forecast_c": tonight.forecast_c,
        "evening_c": tonight.evening_c,
        "evening_nights": tonight.nights,
        "unused": tonight.unused.value if tonight.unused else "",
        "newest_c": tonight.newest_c,
        "newest_at": _clock(tonight.newest_at, place),
        "zero_at": _clock(tonight.leaf_zero_at, place),
        "called": called.level,
        "called_leaf_c": called.leaf_c,
    }
    return Alert(
        rule=RULE,
        bed=condition.bed.key,
        planting=condition.planting.key,
        stage=condition.stage.stage,
        section=answer.section,
        verdict=answer.verdict,
        urgency=answer.urgency,
        facts={**answer.facts, **more},
        level=answer.level,
        chance=answer.chance,
        first_on=today,
        episode=today.isoformat(),
        fresh=True,
    )


def _clock(instant: datetime | None, place: Place) -> str:
    return f"{instant.astimezone(ZoneInfo(place.zone)):%H:%M}" if instant is not None else ""


def _until(memory: Iterable[Said], today: date) -> tuple[Said, ...]:
    """Memory with this day's letters and nothing later."""
    kept = (said for said in memory if said.episode <= today.isoformat())
    return one_open(replace(s, ended_on=None) if s.ended_on and s.ended_on > today else s for s in kept)


def _after(memory: tuple[Said, ...], alerts: Iterable[Alert], today: date) -> tuple[Said, ...]:
    """What the evening says is said of frost: the next morning goes on from it."""
    open_said = open_episodes(memory)
    after = {(one.rule, one.bed, one.planting, one.episode): one for one in memory}
    for alert in alerts:
        held = open_said.get((FROST.key, alert.bed, alert.planting))
        fresh = Said(FROST.key, alert.bed, alert.planting, alert.episode, alert.verdict, alert.level, today, today)
        if alert.verdict == TAKEN_BACK:
            changed = replace(held, ended_on=today) if held is not None else None
        else:
            changed = fresh if held is None else replace(held, verdict=alert.verdict, level=alert.level, last_on=today)
        if changed is not None:
            after[changed.rule, changed.bed, changed.planting, changed.episode] = changed
    return tuple(after.values())


def _outlook(answers: Iterable[Answer], alerts: Sequence[Alert], tonight: Tonight, thresholds: Thresholds) -> Outlook:
    listed = list(answers)
    if alerts:
        return Outlook.NEWS
    known = bool(np.isfinite(tonight.night.leaf_c))
    found = any(isinstance(answer, Finding) for answer in listed)
    if any(isinstance(answer, NotKnown) for answer in listed) or (found and not known):
        return Outlook.UNKNOWN
    if found:
        return Outlook.SAID
    if not known:
        return Outlook.NO_CROP
    limits, night = thresholds.frost, tonight.night
    # Worth a heads-up, and no bed got one: then there is no leaf.
    cold = night_chance(night, limits.heads_up_c) >= limits.heads_up_chance
    return Outlook.NOT_IN_LEAF if cold else Outlook.QUIET
