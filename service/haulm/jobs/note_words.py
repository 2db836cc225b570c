"""The words of a note: which bed is meant, what was done or seen, and how much of it, in the house's units."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from difflib import get_close_matches

from haulm.errors import JournalError, UnitError
from haulm.garden import Bed, Cause, Garden, Planting, What
from haulm.letter import amounts
from haulm.units import Display, Kind, feet_from_metres, mm_from_litres, read_quantity

# What people write for each kind of note, beside its own name.
_SPELLINGS: dict[What, tuple[str, ...]] = {
    What.SEED_BOUGHT: ("bought seed", "seed"),
    What.CHITTING_BEGUN: ("chitting", "chitting started", "began chitting", "started chitting"),
    What.SEED_CUT: ("cut seed",),
    What.PLANTED: ("planting", "plant"),
    What.NO_SHOOTS: ("no shoots", "not yet"),
    What.SHOOTS_OUT: ("shoots", "emerged", "emergence"),
    What.STRAW_LAID: ("straw", "straw on", "laid straw"),
    What.STRAW_RAKED: ("straw off", "straw raked", "raked off", "raked", "raked straw off"),
    What.WATERED: ("water", "watering"),
    What.SOIL_READ: ("soil", "soil temp"),
    What.STORE_READ: ("store", "store temp"),
    What.NIGHT_READ: ("night", "night min", "minimum"),
    What.RAIN_READ: ("rained", "rain gauge"),
    What.DYING_BACK: ("tops dying", "tops dying back", "tops down"),
    What.TOPS_DEAD: ("dead tops",),
    What.TOPS_CUT: ("cut tops",),
    What.STANDING_WATER: ("water standing", "under water"),
    What.LIFTED: ("lift", "lifting"),
    What.INTO_STORE: ("stored", "in store"),
    What.SPROUTING: ("sprouts", "seed sprouting", "sprouting seed", "sprouting seen"),
    What.FINISHED: ("done", "over"),
}
_WHAT_OF: dict[str, What] = {what.value: what for what in What} | {
    words: what for what, spelt in _SPELLINGS.items() for words in spelt
}
_MOST_WORDS = max(len(words.split()) for words in _WHAT_OF)
_BETWEEN = {"to", "at", "of", "about", "now", ":", "="}  # what may stand between the words and the amount
_LONGEST_AMOUNT = 40


@dataclass(frozen=True, slots=True)
class Spot:
    """What the first words of a note name: a bed, and a planting in it where one was named."""

    bed: Bed
    planting: Planting | None = None


@dataclass(frozen=True, slots=True)
class Wanted:
    """What amount a kind of note takes; bounds in the house unit, or in that unit a m² of bed."""

    kinds: tuple[Kind, ...]
    unit: str
    low: float
    high: float
    is_needed: bool = True
    per_m2: bool = False


# All bounds are judgement: wide enough for what can be true in a garden, narrow enough to catch a slip of the unit.
WANTED: dict[What, Wanted] = {
    What.WATERED: Wanted((Kind.WATER, Kind.VOLUME), "mm", 0.05, 100.0),
    What.RAIN_READ: Wanted((Kind.WATER,), "mm", 0.0, 400.0),
    What.STRAW_LAID: Wanted((Kind.LENGTH,), "m", 0.005, 1.0),
    What.STRAW_RAKED: Wanted((Kind.LENGTH,), "m", 0.0, 1.0, is_needed=False),
    What.SOIL_READ: Wanted((Kind.TEMPERATURE,), "°C", -20.0, 50.0),
    What.STORE_READ: Wanted((Kind.TEMPERATURE,), "°C", -20.0, 45.0),
    What.NIGHT_READ: Wanted((Kind.TEMPERATURE,), "°C", -50.0, 40.0),
    What.LIFTED: Wanted((Kind.WEIGHT,), "kg", 0.0, 20.0, is_needed=False, per_m2=True),
}
_TELLERS: dict[str, Callable[[float, Display], str]] = {
    "mm": amounts.water_noted,
    "m": amounts.straw,
    "°C": amounts.temperature,
    "kg": amounts.weight,
}
_EXAMPLES = {"mm": "0.5in, 12 mm", "m": "4 in, 10 cm", "°C": "48F, 9 C", "kg": "12 lb, 5 kg"}


@dataclass(frozen=True, slots=True)
class Amount:
    """An amount as written and in the house unit; None where there is none."""

    written: str = ""
    value: float | None = None
    is_volume: bool = False


def find_spot(garden: Garden, words: str) -> Spot:
    """The bed or planting that words name, by key or name, in full or by an unambiguous beginning.

    Where words fit a bed and else only plantings of that bed, the bed is meant; the day then tells the planting.

    Raises
    ------
    JournalError
        Nothing is called so, or several things are.
    """
    sought = same_words(words)
    spots = [Spot(bed) for bed in garden.beds]
    spots += [Spot(garden.bed(planting.bed), planting) for planting in garden.plantings]
    exact = [spot for spot in spots if sought in _names(spot)]
    found = exact or [spot for spot in spots if sought and any(name.startswith(sought) for name in _names(spot))]
    if not found:
        known = [name for spot in spots for name in _names(spot)]
        remedy = f"{_did_you_mean(sought, known)}There is: {_listed(spots)}."
        raise JournalError(f'no bed or planting is called "{words}"', remedy=remedy)
    if len(found) > 1:
        beds = [spot for spot in found if spot.planting is None]
        if len(beds) == 1 and {spot.bed.key for spot in found} == {beds[0].bed.key}:
            return beds[0]
        raise JournalError(f'"{words}" can mean several', remedy=f"Name one of: {_listed(found)}.")
    return found[0]


def named_in_full(spot: Spot, words: str) -> bool:
    """Whether words are a whole key or name of what they were taken for, not only the beginning of it."""
    sought = same_words(words)
    return sought in _names(spot) or sought in _names(Spot(spot.bed))


def read_what(text: str) -> tuple[What, str]:
    """What was done or seen, and the rest of the words, which should be its amount.

    Raises
    ------
    JournalError
        The words do not begin with anything that can be noted.
    """
    words = re.sub(r"(?<=[^\W\d])[-_](?=[^\W\d])", " ", text).split()
    for count in range(min(_MOST_WORDS, len(words)), 0, -1):
        what = _WHAT_OF.get(" ".join(words[:count]).casefold().rstrip(",:;."))
        if what is not None:
            rest = words[count:]
            return what, " ".join(rest[1:] if rest and rest[0].casefold() in _BETWEEN else rest)
    said = " ".join(words)
    bare = re.split(r"\s[-+−.,]?\d", said)[0]  # an amount behind the words is no help in guessing them
    remedy = f"{_did_you_mean(bare.casefold(), _WHAT_OF)}What can be noted: {', '.join(What)}."
    raise JournalError(f'"{said}" is not clear' if said else "it does not say what to note", remedy=remedy)


def read_cause(what: What, text: str | None) -> Cause | None:
    """Why the tops go down; unknown where that is not said, None for any other kind of note.

    Raises
    ------
    JournalError
        No such cause, or a cause for something else than tops dying back.
    """
    if what is not What.DYING_BACK:
        if text:
            raise JournalError(f'"{what}" takes no cause', remedy='A cause belongs to "dying back".')
        return None
    if not text:
        return Cause.UNKNOWN
    try:
        return Cause(text.strip().casefold())
    except ValueError as fault:
        remedy = f"{_did_you_mean(text.strip().casefold(), Cause)}The causes: {', '.join(Cause)}."
        raise JournalError(f'"{text}" is not a cause known here', remedy=remedy) from fault


def read_amount(what: What, written: str, bed: Bed, display: Display) -> Amount:
    """The amount of a note: straw as the whole depth that then lies, a volume of water as its depth on the bed.

    Raises
    ------
    JournalError
        An amount is missing, or stands where none belongs, or cannot be true.
    UnitError
        It cannot be read.
    """
    wanted = WANTED.get(what)
    if not written:
        return _without_amount(what, wanted)
    if wanted is None:
        told = "Say why the tops go down with --cause." if what is What.DYING_BACK else "Leave it out."
        raise JournalError(f'"{what}" takes no amount, but "{shortened(written)}" stands behind it', remedy=told)
    if len(written) > _LONGEST_AMOUNT:
        raise UnitError(f'"{shortened(written)}" is not an amount', where=what)
    try:
        quantity = read_quantity(written, *wanted.kinds)
    except UnitError as fault:
        raise UnitError(fault.what, where=what, remedy=fault.remedy) from fault
    is_volume = quantity.kind is Kind.VOLUME
    value = mm_from_litres(quantity.value, bed.area_m2) if is_volume else quantity.value
    _within(what, written, value, bed, display)
    return Amount(written, value, is_volume)


def tell_value(what: What | None, value: float | None, display: Display) -> str:
    """A noted amount in the reader's units, near enough to check what was read; empty where there is none."""
    wanted = WANTED.get(what) if what else None
    if value is None or wanted is None:
        return ""
    return _TELLERS[wanted.unit](value, display)


def tell_area(bed: Bed, display: Display) -> str:
    """The area of a bed in the reader's units."""
    if display is Display.US:
        return f"{amounts.plain(feet_from_metres(feet_from_metres(bed.area_m2)))} sq ft"
    return f"{amounts.plain(bed.area_m2, 1)} m²"


def _without_amount(what: What, wanted: Wanted | None) -> Amount:
    if wanted is not None and wanted.is_needed:
        examples = _EXAMPLES[wanted.unit] + (", 3 gal, 2 x 10 l" if Kind.VOLUME in wanted.kinds else "")
        raise JournalError(f'"{what}" needs an amount', remedy=f"Write it behind, like {examples}.")
    return Amount(value=0.0) if what is What.STRAW_RAKED else Amount()


def _within(what: What, written: str, value: float, bed: Bed, display: Display) -> None:
    wanted = WANTED[what]
    low, high = wanted.low, wanted.high * (bed.area_m2 if wanted.per_m2 else 1.0)
    if low <= value <= high:
        return
    again = "Look at the number and its unit once more."
    if wanted.unit != "°C" and value < low:
        too_small = "less than nothing" if value < 0.0 else "next to nothing"
        bare = f"For bare soil: haulm note {bed.key} straw off" if what is What.STRAW_LAID else again
        raise JournalError(f'"{written}" is {too_small}', where=what, remedy=bare)
    read = f'"{written}" reads as {tell_value(what, value, display)} on {bed.name}'
    if what is What.WATERED:
        limit = amounts.water(high, display)
        remedy = "If it is meant, write it in two entries or more."
        raise JournalError(f"{read}; more than {limit} in one go is questioned", where=what, remedy=remedy)
    limits = f"between {tell_value(what, low, display)} and {tell_value(what, high, display)}"
    raise JournalError(f"{read}; what lies {limits} is taken", where=what, remedy=again)


def _names(spot: Spot) -> tuple[str, str]:
    named = spot.planting or spot.bed
    return same_words(named.key), same_words(named.name)


def same_words(words: str) -> str:
    """Words as they are compared: without case, and with blanks for hyphens."""
    return " ".join(re.sub(r"[-_]", " ", words).casefold().split())


def _listed(spots: Iterable[Spot]) -> str:
    named = [spot.planting or spot.bed for spot in spots]
    return ", ".join(one.key if one.key == one.name else f"{one.key} ({one.name})" for one in named)


def _did_you_mean(said: str, known: Iterable[str]) -> str:
    nearest = get_close_matches(said, [str(name) for name in known], n=1, cutoff=0.5)
    return f'Did you mean "{nearest[0]}"? ' if nearest else ""


def shortened(text: str) -> str:
    """Words as an error repeats them: not endlessly."""
    return text if len(text) <= _LONGEST_AMOUNT else f"{text[:_LONGEST_AMOUNT]}…"
