"""One alert in words: the template of its rule, read block by block.

A template `templates/alerts/<rule>.txt` has the blocks `sentence` and `reasons`, and where they are wanted `caution`,
`subject` (short, for the subject of the mail), `name` (the matter in a few words: "frost on the shoots"),
`still` (what is left to say of it under Still so), `ended` and `not_known` (the one line when an episode is over, or
cannot be judged).
An alert that is over or cannot be judged has no facts: a sentence may ask for `unknown` before it uses any. A template
sees the alert's facts by their names, and the names in `_standing`; a name that is neither is an error.
"""

import math
import re
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template, UndefinedError, pass_context
from jinja2.runtime import Context

from haulm.advice import Alert, Decision, Item, Section
from haulm.letter import amounts

TEMPLATES = Path(__file__).with_name("templates")
IN_READERS_UNITS: dict[str, Callable[..., str]] = {
    "temperature": amounts.temperature,
    "temperature_range": amounts.temperature_range,
    "expected_temperature": amounts.expected_temperature,
    "warmth": amounts.warmth,
    "change": amounts.change,
    "water": amounts.water,
    "volume": amounts.volume,
    "straw": amounts.straw,
    "length": amounts.length,
    "distance": amounts.distance,
    "speed": amounts.speed,
    "weight": amounts.weight,
    "weight_of_area": amounts.weight_of_area,
}
SEEN_FROM_TODAY: dict[str, Callable[..., str]] = {
    "day": amounts.day,
    "expected_day": amounts.expected_day,
    "soon": amounts.soon,
    "night_to": amounts.night_to,
}
SPOKEN_ALIKE: dict[str, Callable[..., str]] = {
    "days": amounts.days,
    "minutes": amounts.minutes,
    "years": amounts.years,
    "chance": amounts.chance,
    "share": amounts.share,
    "listing": amounts.listing,
}


def item(alert: Alert, decision: Decision) -> Item:
    """The words of one alert, as they stand in its part of the letter."""
    told = _Words(alert, decision)
    short = alert.ended or bool(alert.unknown) or alert.section is Section.STILL_SO
    return Item(
        rule=alert.rule,
        bed=told.bed,
        planting=told.planting,
        sentence=_sentence(told),
        reasons="" if short else _reasons(told),
        caution="" if short or _read_before(alert) else told.block("caution"),
        first_on=alert.first_on,
        fresh=alert.fresh,
    )


def subject(alert: Alert, decision: Decision) -> str:
    """The alert in the fewest words, with its bed named, for the subject of the mail."""
    told = _Words(alert, decision)
    said = "" if alert.ended or alert.unknown else told.block("subject")
    said = (said or _sentence(told)).rstrip(".")
    if not told.bed or told.bed in said or (told.planting and told.planting in said):
        return said
    return f"{told.bed}: {said}"


@lru_cache(maxsize=1)
def text_environment() -> Environment:
    """Templates of plain text; a misspelt name is an error, a value that is not known says so."""
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES, encoding="utf-8"),
        undefined=StrictUndefined,
        autoescape=False,  # noqa: S701  plain text; the HTML environment of render.py escapes
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=_not_known_is_said,
    )
    environment.filters.update({name: _with("display", speak) for name, speak in IN_READERS_UNITS.items()})
    environment.filters.update({name: _with("today", speak) for name, speak in SEEN_FROM_TODAY.items()})
    environment.filters.update(SPOKEN_ALIKE)
    environment.tests["known"] = amounts.is_known
    return environment


class _Words:
    """One alert with its template open, for as long as its words are looked up."""

    def __init__(self, alert: Alert, decision: Decision) -> None:
        garden = decision.garden
        self.alert, self.today = alert, decision.today
        self.bed = next((bed.name for bed in garden.beds if bed.key == alert.bed), "")
        self.planting = next((one.name for one in garden.plantings if one.key == alert.planting), "")
        self._template: Template = text_environment().get_template(f"alerts/{alert.rule}.txt")
        self._names = {**alert.facts, **self._standing(decision)}

    def block(self, name: str) -> str:
        """What a block says, in one line; empty if the template has no such block."""
        block = self._template.blocks.get(name)
        if block is None:
            return ""
        return re.sub(r"\s+", " ", "".join(block(self._template.new_context(self._names)))).strip()

    def matter(self) -> str:
        """What the alert is about, with its bed."""
        name = self.block("name") or self.alert.rule.replace("-", " ")
        return f"{name} ({self.bed})" if self.bed else name

    def _standing(self, decision: Decision) -> dict[str, object]:
        alert, place = self.alert, decision.garden.place
        return {
            "bed": self.bed,
            "planting": self.planting,
            "place": place.name,
            "display": place.display,
            "today": decision.today,
            "stage": alert.stage.value if alert.stage else "",
            "first_on": alert.first_on,
            "chance": alert.chance,
            "verdict": alert.verdict,
            "level": alert.level,
            "fresh": alert.fresh,
            "unknown": alert.unknown,
        }


def _read_before(alert: Alert) -> bool:
    """A caution is repeated each morning only where something is to be done: elsewhere it was read on the first."""
    return not alert.fresh and alert.section in {Section.LEAVE_ALONE, Section.KEEP_AN_EYE}


def _sentence(told: _Words) -> str:
    alert = told.alert
    if alert.ended:
        return told.block("ended") or _capital(f"{told.matter()}: over.")
    if alert.unknown:
        return told.block("not_known") or _sentence_without_facts(told)
    if alert.section is not Section.STILL_SO:
        return told.block("sentence")
    # The numbers in it may be today's: only that it was said is as old as that day.
    sentence = told.block("still") or told.block("sentence")
    return f"{sentence.rstrip('.')} (first said {amounts.day(alert.first_on, told.today)})."


def _sentence_without_facts(told: _Words) -> str:
    """The rule's own sentence where it has one for this case; a plain one where it needs facts that are not there."""
    try:
        return told.block("sentence")
    except UndefinedError:
        return _capital(f"{told.matter()}: cannot be judged today; what is lacking: {told.alert.unknown}.")


def _reasons(told: _Words) -> str:
    reasons = told.block("reasons")
    # What is left alone was left alone for other reasons the day before: its first day tells nothing.
    if told.alert.first_on >= told.today or told.alert.section is Section.LEAVE_ALONE:
        return reasons
    return f"{reasons} First said on {amounts.day(told.alert.first_on, told.today)}.".strip()


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _with(name: str, speak: Callable[..., str]) -> Callable[..., str]:
    """A filter that takes one more argument from among the names the template sees."""

    @pass_context
    def spoken(context: Context, value: object, *more: object) -> str:
        return speak(value, context[name], *more)

    return spoken


def _not_known_is_said(value: object) -> object:
    return amounts.NOT_KNOWN if value is None or (isinstance(value, float) and math.isnan(value)) else value
