"""Answers that a letter offers: what an unclear answer may have meant, and what each bed's stage makes likely next."""

from collections.abc import Iterator
from dataclasses import dataclass

from haulm.advice import Decision
from haulm.condition import Condition
from haulm.garden import Stage
from haulm.letter import amounts
from haulm.units import Display


@dataclass(frozen=True, slots=True)
class Offer:
    """One answer: what the link is called, the bed it is about (key and name), the words it is filled with.

    `asked` is the sentence that it makes clear, where it does.
    """

    label: str
    bed: str
    bed_name: str
    phrase: str
    asked: str = ""


def offers(decision: Decision) -> tuple[Offer, ...]:
    """What was asked back, then the answers of all plantings in their order, each once."""
    names = {bed.key: bed.name for bed in decision.garden.beds}  # a bed may have left the settings since
    found = [
        Offer(choice, one.bed, names[one.bed], choice, one.sentence)
        for one in decision.asked
        for choice in one.choices
        if one.bed in names
    ]
    found += [
        Offer(label, condition.bed.key, condition.bed.name, phrase)
        for condition in decision.conditions
        for label, phrase in _of(condition, decision)
    ]
    return tuple(dict.fromkeys(found))


def _of(condition: Condition, decision: Decision) -> Iterator[tuple[str, str]]:
    stage = condition.stage.stage
    yield from _STEPS.get(stage, ())
    if Stage.PLANTED.order <= stage.order <= Stage.DYING_BACK.order:
        yield "watered", f"watered {_turn(condition, decision)}"
    if Stage.CHITTING.order <= stage.order <= Stage.PLANTED.order:
        yield "took the soil's temperature", "soil temperature "
    if stage is Stage.SKINS_SETTING:
        yield "lifted", "lifted "


_STEPS = {
    Stage.SEED: (("bought the seed", "seed bought"), ("began chitting", "chitting begun")),
    Stage.CHITTING: (("planted", "planted"),),
    Stage.PLANTED: (("shoots are out", "shoots out"), ("not yet, ask next week", "no shoots yet, ask next week")),
    Stage.EMERGED: (("laid straw", "straw laid "), ("tops going down", "tops dying back of age")),
    Stage.DYING_BACK: (("tops are dead", "tops dead"), ("cut the tops", "tops cut")),
    Stage.LIFTED: (("put into store", "into store"),),
    Stage.STORED: (("took the store's temperature", "store temperature "),),
}


def _turn(condition: Condition, decision: Decision) -> str:
    """The water that the letter asks for, in the reader's units; else the unit alone, for the grower to fill."""
    us = condition.garden.place.display is Display.US
    for alert in decision.alerts:
        litres = alert.facts.get("turn_l") if alert.rule == "water" and alert.bed == condition.bed.key else None
        if isinstance(litres, float) and amounts.is_known(litres) and litres > 0.0:
            return amounts.volume(litres, condition.garden.place.display)
    return "3 gallons" if us else "10 l"
