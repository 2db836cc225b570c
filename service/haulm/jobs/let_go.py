"""After the letters are out: old ones are let go, but for what a look back still asks of them.

Who reads old letters, and how far back: the status and the answers a month, the page of a planting ten months (what was
said anew), `haulm review` all years (the calls of frost). So these stay of a letter; its words and picture go.
"""

import json
import logging
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from itertools import islice
from time import monotonic

from haulm.errors import HaulmError
from haulm.letter import amounts
from haulm.settings.load import Settings
from haulm.store.database import Database
from haulm.store.let_go import Rest, let_go, past_letters
from haulm.weather import DAY

# Judgement. A clock that is years ahead for a day must not cost all letters; what a new setting or a new haulm has to
# let go is gone within weeks.
MOST_A_RUN = 50  # letters of a garden
AT_ONCE = 200  # letters in a transaction: a tenth of a second
LONGEST_S = 60.0  # and no run of many gardens is kept by it for longer

FROST = "frost"  # the rule's key
HEAD = ("version", "garden", "kind", "day", "written", "subject")

_LOG = logging.getLogger("haulm")


@dataclass(frozen=True, slots=True)
class Kept:
    """A garden whose letters before a day may be let go."""

    garden: str
    since: date


def kept(settings: Settings, now: datetime) -> Kept:
    """From which day on a garden's letters are kept in full."""
    garden = settings.garden
    return Kept(garden.key, garden.place.day_of(now) - settings.letter.kept_days * DAY)


def let_go_of_old(database: Database, gardens: Iterable[Kept]) -> None:
    """Let go of old letters of some gardens, a few hundred at a time; what fails is logged, and tried again tomorrow.

    Ended at any moment, each letter is whole or let go.
    """
    until = monotonic() + LONGEST_S
    letters = (one for each in gardens for one in past_letters(database, each.garden, each.since, MOST_A_RUN))
    try:
        while monotonic() < until and (some := tuple(islice(letters, AT_ONCE))):
            let_go(database, some, rest)
    except HaulmError as fault:
        _LOG.warning("Old letters were not let go: %s", fault)


def rest(day: date, subject: str, whole: str) -> Rest | None:
    """What stays of a letter; None for one whose form for programs cannot be read, which is kept as it is.

    Its form for programs keeps its head, ``parts`` with the items that were said anew (bed, planting, sentence,
    fresh), ``alerts`` of frost, and has ``"let_go": true``.
    """
    try:
        told = json.loads(whole)
        parts = [{"title": part["title"], "items": list(_anew(part["items"]))} for part in told["parts"]]
        gist = {name: told[name] for name in HEAD} | {
            "let_go": True,
            "parts": [part for part in parts if part["items"]],
            "alerts": [alert for alert in told["alerts"] if alert["rule"] == FROST],
        }
    except (ValueError, KeyError, TypeError):
        return None
    words = f"haulm keeps a letter's words for a time; those of {amounts.full_day(day)} have been let go."
    return Rest(f"{subject}\n\n{words}\n", json.dumps(gist, ensure_ascii=False, separators=(",", ":")))


def _anew(items: Iterable[dict[str, object]]) -> Iterator[dict[str, object]]:
    names = ("bed", "planting", "sentence", "fresh")
    yield from ({name: item[name] for name in names} for item in items if item["fresh"])
