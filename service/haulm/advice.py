"""The speaking side of the vocabulary: what rules find, what was said before, and the letter."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum

from haulm.condition import Condition
from haulm.garden import Garden, Stage
from haulm.weather import Timeline

# A fact is named with its unit (soil_c, rain_mm, chance): the letter turns it into the reader's units.
Fact = float | int | str | bool | date | tuple[float, ...] | tuple[date, ...] | None
Facts = Mapping[str, Fact]


class Section(StrEnum):
    """The parts of the letter that advice falls into, in their order."""

    DO_TODAY = "Do today"
    GET_READY = "Get ready"
    LEAVE_ALONE = "Leave alone"
    KEEP_AN_EYE = "Keep an eye on"
    STILL_SO = "Still so"


class Speaks(StrEnum):
    """How often a rule speaks while it holds.

    What speaks on one morning says its line and no more: it neither stands under Still so nor is called over.
    """

    ONE_MORNING = "one morning"
    ONCE = "once"
    EACH_DAY = "each day"


@dataclass(frozen=True, slots=True)
class Finding:
    """A rule's answer that its condition holds.

    Attributes
    ----------
    verdict
        Which of the rule's sentences applies ("ready", "not-yet", "skip").
    section
        Where a fresh one goes.
    urgency
        Orders the letter and picks its subject: 0 (a note) to 100 (tonight, plants die).
    facts
        The numbers and days behind it, named with their units.
    level
        How grave, where a rule has grades; a graver level speaks anew.
    chance
        How sure it is, 0 to 1; None where that is no question of chance.
    """

    verdict: str
    section: Section
    urgency: int
    facts: Facts
    level: int = 0
    chance: float | None = None


@dataclass(frozen=True, slots=True)
class NotKnown:
    """A rule's answer that it cannot tell, and what it lacks.

    `worth_saying`: the grower was waiting for an answer. `once`: said on the first morning only, not kept under Still
    so. `facts` are the numbers of what is missing, where there are any.
    """

    lacks: str
    worth_saying: bool = False
    once: bool = False
    facts: Facts = field(default_factory=dict)


Answer = Finding | NotKnown | None


@dataclass(frozen=True, slots=True)
class Said:
    """A fact of the past, never worked out again: a rule spoke, in one unbroken episode.

    `planting` is empty for what concerns the garden. `episode` is the ISO day on which it spoke anew, `first_on` the
    day the matter first came up; they differ where it grew graver. `ended_on` is None while the episode goes on.
    """

    rule: str
    bed: str
    planting: str
    episode: str
    verdict: str
    level: int
    first_on: date
    last_on: date
    ended_on: date | None = None


@dataclass(frozen=True, slots=True)
class Alert:
    """A finding placed in one morning.

    Attributes
    ----------
    section
        Where it stands today: its own, or Still so.
    first_on
        The day this episode first came up.
    fresh
        True if it was not said before in this episode, or is graver now.
    ended
        True for the one line that says an episode is over.
    unknown
        What is lacking, for an open episode that cannot be judged today; empty otherwise.
    """

    rule: str
    bed: str
    planting: str
    stage: Stage | None
    section: Section
    verdict: str
    urgency: int
    facts: Facts
    level: int
    chance: float | None
    first_on: date
    episode: str
    fresh: bool
    ended: bool = False
    unknown: str = ""


@dataclass(frozen=True, slots=True)
class AskedBack:
    """A sentence of an answer that was not clear, the bed it was about, and phrases that it may have meant."""

    sentence: str
    bed: str
    choices: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Decision:
    """All that one morning thinks.

    Attributes
    ----------
    conditions
        One for each planting that is not finished.
    alerts
        In the letter's order.
    memory
        Every episode after this morning: what was said before, brought up to date.
    notices
        Plain facts to be told in the letter's last part: complaints about data, late mornings, waiting letters.
    heard
        What the grower's answers were understood to say, and what is asked back.
    asked
        What is asked back with a choice.
    faults
        Plantings that a fault of haulm's own kept from being worked out, in a sentence each.
    """

    garden: Garden
    as_of: datetime
    today: date
    timeline: Timeline
    conditions: tuple[Condition, ...]
    alerts: tuple[Alert, ...]
    memory: tuple[Said, ...]
    notices: tuple[str, ...] = ()
    heard: tuple[str, ...] = ()
    asked: tuple[AskedBack, ...] = ()
    faults: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Item:
    """One alert in words: a sentence, a line of reasons, a caution where one is due."""

    rule: str
    bed: str
    planting: str
    sentence: str
    reasons: str
    caution: str
    first_on: date
    fresh: bool


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the letter that is not empty."""

    title: str
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of The numbers: what, and its value in the reader's units."""

    what: str
    value: str


@dataclass(frozen=True, slots=True)
class Letter:
    """One letter, in words and in the reader's units, ready to be set as text, HTML or JSON."""

    garden: str
    kind: str
    day: date
    written: datetime
    subject: str
    greeting: str
    parts: tuple[Part, ...]
    numbers: tuple[tuple[str, tuple[Row, ...]], ...]
    basis: tuple[str, ...]
    heard: tuple[str, ...] = ()
