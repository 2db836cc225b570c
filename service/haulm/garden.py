"""The grower's side of the vocabulary: place, beds, plantings, and the journal of what was done and seen."""

from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

from haulm.units import Display


@dataclass(frozen=True, slots=True)
class Place:
    """Where the beds lie.

    `clear_night_offset_c` is how much colder the garden is than the station on clear, calm nights (°C, ≥ 0).
    """

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    zone: str
    display: Display
    clear_night_offset_c: float

    def day_of(self, instant: datetime) -> date:
        """The place's own local day at an instant."""
        return instant.astimezone(ZoneInfo(self.zone)).date()


@dataclass(frozen=True, slots=True)
class Straw:
    """A depth of straw on a bed from one local day on."""

    since: date
    depth_m: float


class Light(StrEnum):
    """How much of the open sky's sun a bed gets."""

    OPEN = "open"
    HALF_SHADE = "half shade"
    SHADE = "shade"


@dataclass(frozen=True, slots=True)
class Bed:
    """One bed.

    `texture` is a soil class of FAO-56 Table 19, or "compost mix"; `raised_m` is how high its sides stand above the
    ground outside.
    """

    key: str
    name: str
    length_m: float
    width_m: float
    texture: str
    soil_depth_m: float
    straw: tuple[Straw, ...] = ()
    raised_m: float = 0.0
    light: Light = Light.OPEN

    @property
    def area_m2(self) -> float:
        """Area of the bed."""
        return self.length_m * self.width_m


class Maturity(StrEnum):
    """How soon a variety ripens."""

    EARLY = "early"
    MID = "mid"
    LATE = "late"


class Habit(StrEnum):
    """Whether the tops stop growing of themselves (determinate) or go on (indeterminate)."""

    DETERMINATE = "determinate"
    INDETERMINATE = "indeterminate"


class Season(StrEnum):
    """Which way the soil is moving in the window: warming, or cooling."""

    SPRING = "spring"
    AUTUMN = "autumn"


@dataclass(frozen=True, slots=True)
class Planting:
    """One crop in one bed. Its dates come from the journal; the window is only what is intended.

    `depth_m` is how deep the seed lies in the soil; 0 is laid on the soil, under the straw.
    """

    key: str
    bed: str
    name: str
    maturity: Maturity
    habit: Habit
    season: Season
    spacing_m: float
    depth_m: float
    window_first: date
    window_last: date


@dataclass(frozen=True, slots=True)
class Recipient:
    """Someone who gets the letter."""

    key: str
    name: str
    address: str


class StoreKind(StrEnum):
    """What sort of room the potatoes are kept in."""

    COOL_ROOM = "cool room"
    CELLAR = "cellar"
    GARAGE = "garage"
    SHED = "shed"
    HOUSE = "house"


@dataclass(frozen=True, slots=True)
class Garden:
    """One place with its beds, plantings, recipients and store room; `key` names it in the store."""

    key: str
    place: Place
    beds: tuple[Bed, ...]
    plantings: tuple[Planting, ...]
    recipients: tuple[Recipient, ...] = ()
    store: StoreKind = StoreKind.COOL_ROOM

    def bed(self, key: str) -> Bed:
        """The bed of that key."""
        return next(bed for bed in self.beds if bed.key == key)


class Stage(StrEnum):
    """How far a planting has come. A planting never goes back a stage."""

    SEED = "seed"
    CHITTING = "chitting"
    PLANTED = "planted"
    EMERGED = "emerged"
    DYING_BACK = "dying back"
    SKINS_SETTING = "skins setting"
    LIFTED = "lifted"
    STORED = "stored"
    FINISHED = "finished"

    @property
    def order(self) -> int:
        """Place in the season, from 0."""
        return _ORDER[self]


_ORDER = {stage: place for place, stage in enumerate(Stage)}


class What(StrEnum):
    """What a journal entry notes: something done, or something seen."""

    SEED_BOUGHT = "seed bought"
    CHITTING_BEGUN = "chitting begun"
    SEED_CUT = "seed cut"
    PLANTED = "planted"
    NO_SHOOTS = "no shoots yet"
    SHOOTS_OUT = "shoots out"
    STRAW_LAID = "straw laid"
    STRAW_RAKED = "straw raked off"
    WATERED = "watered"
    SOIL_READ = "soil temperature"
    STORE_READ = "store temperature"
    NIGHT_READ = "night minimum"
    RAIN_READ = "rain"
    DYING_BACK = "dying back"
    TOPS_DEAD = "tops dead"
    TOPS_CUT = "tops cut"
    STANDING_WATER = "standing water"
    LIFTED = "lifted"
    INTO_STORE = "into store"
    SPROUTING = "sprouting"
    FINISHED = "finished"


class Cause(StrEnum):
    """Why the tops are going down."""

    AGE = "age"
    FROST = "frost"
    THIRST = "thirst"
    BLIGHT = "blight"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the journal.

    Attributes
    ----------
    id
        Unique for ever; from mail it is the Message-ID and line, so that reading twice adds nothing.
    instant
        When it was written down (UTC).
    day
        The local day it is about.
    bed, planting
        Keys; `planting` is empty for what concerns the bed alone.
    what
        What was done or seen; None for an entry that only withdraws another.
    written
        The amount as the grower wrote it.
    value
        The amount in the house unit: °C, mm of water, metres of straw (the whole depth that then lies), kg.
    cause
        For tops dying back.
    origin
        Where it came from: "command", "mail", "settings".
    withdraws
        Id of the entry that this one takes back; empty if none.
    """

    id: str
    instant: datetime
    day: date
    bed: str
    planting: str
    what: What | None
    written: str = ""
    value: float | None = None
    cause: Cause | None = None
    origin: str = "command"
    withdraws: str = ""


@dataclass(frozen=True, slots=True)
class Journal:
    """All entries of one garden, in the order they were written."""

    entries: tuple[Entry, ...] = ()
    # Found once and kept, for a morning asks each bed a dozen times, and most mornings find nothing new.
    _by_bed: dict[str, tuple[Entry, ...]] = field(default_factory=dict, init=False, repr=False, compare=False)
    _whole: list[tuple[datetime, date, "Journal"]] = field(default_factory=list, init=False, repr=False, compare=False)

    def __reduce__(self) -> tuple[type["Journal"], tuple[tuple[Entry, ...]]]:
        """The entries alone: what was found in them does not travel to a worker."""
        return Journal, (self.entries,)

    def known(self, as_of: datetime, today: date) -> "Journal":
        """What stood in the journal at an instant: later entries and later days left out, the withdrawn too.

        Once no entry and no day of it is still to come, it is the same journal each time.
        """
        for last_instant, last_day, known in self._whole:
            if last_instant <= as_of and last_day <= today:
                return known
        written = [entry for entry in self.entries if entry.instant <= as_of]
        withdrawn = {entry.withdraws for entry in written if entry.withdraws}
        kept = (e for e in written if e.what is not None and e.id not in withdrawn and e.day <= today)
        found = Journal(tuple(sorted(kept, key=lambda entry: (entry.day, entry.instant, entry.id))))
        if written and len(written) == len(self.entries):
            last_day = max(entry.day for entry in written)
            if last_day <= today:
                self._whole.append((max(entry.instant for entry in written), last_day, found))
        return found

    def of(self, bed: str, planting: str = "", *whats: What) -> tuple[Entry, ...]:
        """Entries of a bed, of one planting where named (with those of the bed alone), of some kinds where named."""
        if self.entries and not self._by_bed:
            beds: dict[str, list[Entry]] = {}
            for entry in self.entries:
                beds.setdefault(entry.bed, []).append(entry)
            self._by_bed.update({key: tuple(some) for key, some in beds.items()})
        return tuple(
            entry
            for entry in self._by_bed.get(bed, ())
            if (not planting or entry.planting in {"", planting}) and (not whats or entry.what in whats)
        )
