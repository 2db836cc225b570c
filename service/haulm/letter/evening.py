"""What an evening's letter says beside its one thing to do: how the night was put together, and what that rests on."""

from collections.abc import Iterable

from haulm.advice import Decision, Facts, Row, Section
from haulm.letter import amounts
from haulm.units import Display

RULE = "evening-frost"
UNUSED = {
    "no hours": "not asked, the station tells no hours",
    "old hours": "not asked, the station's newest hour is too old",
    "few nights": "not asked, only {nights} clear, calm nights of this place are known",
    "not clear": "not asked, it holds for clear, calm nights alone",
    "sky unknown": "not asked, cloud and wind of the night are not known",
    "no sunset": "not asked, the sun does not set",
}


def greeting(decision: Decision) -> str:
    """The first line: why there is a word between letters."""
    name = decision.garden.place.name
    if any(alert.section is Section.DO_TODAY for alert in decision.alerts):
        return f"A word between letters for {name}: the coming night looks dangerous."
    return f"A word between letters for {name}: the coming night looks better than this day's letter said."


def numbers(decision: Decision) -> tuple[tuple[str, tuple[Row, ...]], ...]:
    """The night in figures; it is the same for all beds of a place."""
    facts = next((alert.facts for alert in decision.alerts if alert.rule == RULE), None)
    if facts is None:
        return ()
    return (("Tonight", tuple(_rows(facts, decision.garden.place.display))),)


def _rows(facts: Facts, display: Display) -> Iterable[Row]:
    spoken = {name: value for name, value in facts.items() if isinstance(value, float)}
    yield Row("Lowest forecast at the station", amounts.temperature(spoken.get("forecast_c"), display))
    yield Row("From this evening's own air", _by_the_evening(facts, display))
    yield Row("To be expected there, all told", amounts.temperature(spoken.get("air_c"), display))
    if facts["newest_at"]:
        newest = amounts.temperature(spoken.get("newest_c"), display)
        yield Row("Newest hour observed", f"{newest} at {facts['newest_at']}")
    yield Row("Dark", _dark(facts))


def _by_the_evening(facts: Facts, display: Display) -> str:
    nights = facts["evening_nights"]
    if facts["unused"]:
        return UNUSED[str(facts["unused"])].format(nights=nights)
    lowest = facts["evening_c"]
    told = amounts.temperature(lowest if isinstance(lowest, float) else None, display)
    return f"{told}, by {nights} clear, calm nights of this place"


def _dark(facts: Facts) -> str:
    if facts["dark_by"] == "clock":
        return f"the sun does not set on this day; {facts['dark_at']} stands in"
    return f"about {facts['dark_at']}" + (", at sunset: no dusk on this day" if facts["dark_by"] == "sunset" else "")
