"""What no single table can tell: beds that plantings name, two crops at once in one bed, hours that do not fit.

Each check looks at the tables that stand on their own, so that a fault elsewhere hides none of these.
"""

from collections.abc import Iterator, Mapping
from datetime import timedelta
from difflib import get_close_matches
from itertools import pairwise
from typing import Any, TypeVar

from pydantic import ValidationError

from haulm.settings.faults import Found
from haulm.settings.file_form import LetterTable, PlantingTable
from haulm.settings.names import Tree
from haulm.settings.table import Table
from haulm.settings.thresholds import DataThresholds

# The shortest time from planting to an empty bed that is believed, "judgement": early kinds take 90-120 days
# (FAO crop page for potato), and a bed may be lifted young.
LEAST_CROP = timedelta(days=70)

_T = TypeVar("_T", bound=Table)


def findings_across(tree: Tree) -> Iterator[Found]:
    """Everything wrong between the tables."""
    plantings = _tables(tree.get("plantings"))
    yield from _beds_named(plantings, list(_tables(tree.get("beds"))))
    yield from _two_at_once({key: crop for key, raw in plantings.items() if (crop := _alone(PlantingTable, raw))})
    yield from _caught_up_before_written(tree)
    yield from _mail_to_nobody(tree)


def _tables(raw: object) -> dict[str, Mapping[str, Any]]:
    return {key: below for key, below in raw.items() if isinstance(below, Mapping)} if isinstance(raw, Mapping) else {}


def _alone(table: type[_T], raw: object) -> _T | None:
    try:
        return table.model_validate(raw)
    except ValidationError:
        return None  # told already, where the whole file is read


def _beds_named(plantings: Mapping[str, Mapping[str, Any]], beds: list[str]) -> Iterator[Found]:
    for key, raw in plantings.items():
        bed = raw.get("bed")
        if isinstance(bed, str) and bed.strip() not in beds:
            nearest = get_close_matches(bed.casefold(), beds, n=1, cutoff=0.5)
            yield Found(("plantings", key, "bed"), "no bed has this key", nearest="".join(nearest))


def _two_at_once(crops: Mapping[str, PlantingTable]) -> Iterator[Found]:
    for bed in sorted({crop.bed for crop in crops.values()}):
        inside = sorted(
            ((key, crop) for key, crop in crops.items() if crop.bed == bed), key=lambda named: named[1].window_first
        )
        for (earlier_key, earlier), (key, crop) in pairwise(inside):
            apart = crop.window_first - earlier.window_first
            told = f'two crops at once in bed "{bed}": '
            if crop.window_first <= earlier.window_last:
                told += f"this window opens while that of {earlier_key} is still open (until {earlier.window_last})"
            elif apart < LEAST_CROP:
                told += f"this window opens {apart.days} days after that of {earlier_key}; leave {LEAST_CROP.days}"
            else:
                continue
            yield Found(("plantings", key, "window_first"), told)


def _caught_up_before_written(tree: Tree) -> Iterator[Found]:
    thresholds = tree.get("thresholds")
    letter = _alone(LetterTable, tree.get("letter", {}))
    data = _alone(DataThresholds, thresholds.get("data", {})) if isinstance(thresholds, Mapping) else DataThresholds()
    if letter and data and data.letter_catch_up_until < letter.at:
        what = f"must not be earlier than letter.at, which is {letter.at:%H:%M}"
        yield Found(("thresholds", "data", "letter_catch_up_until"), what, beside=("letter", "at"))


def _mail_to_nobody(tree: Tree) -> Iterator[Found]:
    if "mail" in _tables(tree.get("post")) and not tree.get("recipients"):
        what = "nobody gets the mail; name someone in a table like [recipients.me], with name and address"
        yield Found(("post", "mail"), what, show=False)
