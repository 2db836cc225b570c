"""Where a note belongs in a season: which planting a bed and a day mean, and what other note stands in its way.

What lies or falls on a bed (straw, water, rain, readings in it) goes with the planting that grows there on that day,
whichever was named, and with the bed alone where none or more than one grows. All else belongs to one planting.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from math import isclose

from haulm.errors import JournalError
from haulm.garden import Bed, Entry, Garden, Journal, Planting, What
from haulm.jobs.note_words import Spot
from haulm.letter import amounts

BED_MATTERS = frozenset(
    {
        *(What.STRAW_LAID, What.STRAW_RAKED, What.WATERED, What.RAIN_READ),
        *(What.SOIL_READ, What.NIGHT_READ, What.STANDING_WATER),
    }
)
# The order of a season; what shares a rank may come in either order.
RANKS: Mapping[What | None, int] = {
    What.SEED_BOUGHT: 0,
    What.CHITTING_BEGUN: 1,
    What.SEED_CUT: 1,
    What.PLANTED: 2,
    What.SHOOTS_OUT: 3,
    What.DYING_BACK: 4,
    What.TOPS_DEAD: 5,
    What.TOPS_CUT: 5,
    What.LIFTED: 6,
    What.INTO_STORE: 7,
    What.FINISHED: 8,
}
# Lifting goes on in parts, tops grow again and are cut again, and why they go down may look different later; all else
# happens once.
ONCE = frozenset(RANKS) - {What.DYING_BACK, What.TOPS_CUT, What.LIFTED}
_ANOTHER_SEASON_DAYS = 180  # judgement: longer than the 150-180 days of late kinds (FAO crop page)
_ENDS = (What.LIFTED, What.INTO_STORE, What.FINISHED)


@dataclass(frozen=True, slots=True)
class Course:
    """One planting with the standing notes that belong to it, oldest first."""

    planting: Planting
    entries: tuple[Entry, ...]

    def first(self, *whats: What) -> Entry | None:
        """The first note of some kinds."""
        return next((entry for entry in self.entries if entry.what in whats), None)

    def has(self, day: date, *whats: What | None) -> bool:
        """Whether one of some kinds is noted for that day or before it."""
        return any(entry.day <= day and entry.what in whats for entry in self.entries)

    def has_begun(self, day: date) -> bool:
        """Whether anything of its season has happened by a day, and the season is not over."""
        return self.has(day, *RANKS) and not self.has(day, What.FINISHED)

    def is_to_come(self, day: date) -> bool:
        """Whether it is still to be planted on a day."""
        return not self.has(day, What.PLANTED, *_ENDS)

    def grows(self, day: date) -> bool:
        """Whether it is in the ground on a day."""
        return self.has(day, What.PLANTED) and not self.has(day, *_ENDS)

    def is_kept(self, day: date) -> bool:
        """Whether it is lifted on a day and not yet eaten up."""
        return self.has(day, What.LIFTED, What.INTO_STORE) and not self.has(day, What.FINISHED)


def standing(journal: Journal) -> Journal:
    """All notes that are not withdrawn, by day."""
    return journal.known(datetime.max.replace(tzinfo=UTC), date.max)


def short_ids(entries: Iterable[Entry]) -> dict[str, str]:
    """For each id the shortest ending, of six characters or more, that no other id has."""
    ids = {entry.id for entry in entries}
    return {one: _ending(one, ids) for one in ids}


def planting_of(garden: Garden, spot: Spot, what: What, day: date, journal: Journal) -> Planting | None:
    """The planting that a note belongs to; None for what concerns the bed alone.

    Parameters
    ----------
    spot
        What the grower named; a planting named there is taken, except for matters of the bed.
    journal
        Its standing notes.

    Raises
    ------
    JournalError
        None fits, or several do.
    """
    courses = courses_of(garden, spot.bed, journal)
    if what in BED_MATTERS:
        growing = [course.planting for course in courses if course.grows(day)]
        return growing[0] if len(growing) == 1 else None
    if spot.planting is not None:
        return spot.planting
    fitting = [course.planting for course in _fitting(what, day, courses)]
    if what is What.STORE_READ:  # one store can hold several crops: then it is noted for all of the bed
        return fitting[0] if len(fitting) == 1 else None
    if not fitting:
        raise _none_fits(spot.bed, what, day, courses)
    if len(fitting) > 1:
        raise JournalError(
            f"{what} can mean several plantings of {spot.bed.name}: {amounts.listing([one.name for one in fitting])}",
            remedy=_name_one(fitting, what),
        )
    return fitting[0]


def courses_of(garden: Garden, bed: Bed, journal: Journal) -> list[Course]:
    """Every planting of a bed, with its notes."""
    return [
        Course(planting, tuple(entry for entry in journal.entries if entry.planting == planting.key))
        for planting in garden.plantings
        if planting.bed == bed.key
    ]


def _fitting(what: What, day: date, courses: Sequence[Course]) -> Sequence[Course]:
    begun = [course for course in courses if course.has_begun(day)]
    growing = [course for course in begun if course.grows(day)]
    kept = [course for course in begun if course.is_kept(day)]
    seed = [course for course in begun if course.is_to_come(day)]
    if what is What.NO_SHOOTS:
        return growing
    unstored = [course for course in kept if not course.has(day, What.INTO_STORE)]
    if what is What.STORE_READ:
        return kept or seed
    if what is What.FINISHED:
        return begun
    if what is What.SPROUTING:
        return kept + seed or _nearest(day, [course for course in courses if course.is_to_come(day)])
    if what is What.INTO_STORE:
        return unstored or growing or _last_planted(day, courses)
    if what is What.LIFTED:
        return growing or unstored or _last_planted(day, courses)
    if RANKS[what] > RANKS[What.PLANTED]:
        return growing or _last_planted(day, courses)
    return _about_to_begin(what, day, courses) or _last_planted(day, courses)


def _about_to_begin(what: What, day: date, courses: Sequence[Course]) -> Sequence[Course]:
    """Those begun and not planted, and the one whose window is nearest; not those that have the note already."""
    coming = [course for course in courses if course.is_to_come(day)]
    nearest = _nearest(day, coming)
    fitting = [course for course in coming if course.has_begun(day) or course in nearest]
    return [course for course in fitting if course.first(what) is None] or fitting


def _nearest(day: date, courses: Sequence[Course]) -> Sequence[Course]:
    least = min((days_from_window(course.planting, day) for course in courses), default=0)
    return [course for course in courses if days_from_window(course.planting, day) == least]


def days_from_window(planting: Planting, day: date) -> int:
    """Days from a day to the planting's window; 0 while it is open."""
    return max((planting.window_first - day).days, (day - planting.window_last).days, 0)


def _last_planted(day: date, courses: Sequence[Course]) -> Sequence[Course]:
    """The planting last planted by a day, else the one planted first after it: the next check says what is wrong."""
    planted = [(entry.day, course) for course in courses if (entry := course.first(What.PLANTED))]
    before = [pair for pair in planted if pair[0] <= day]
    if before:
        return [max(before, key=lambda pair: pair[0])[1]]
    return [min(planted, key=lambda pair: pair[0])[1]] if planted else []


def refuse_contradiction(garden: Garden, entry: Entry, journal: Journal, today: date) -> None:
    """Let a note pass that goes with all others.

    Raises
    ------
    JournalError
        It is noted already, or another note stands in its way; named, with how to take that one back.
    """
    bed = garden.bed(entry.bed)
    courses = courses_of(garden, bed, journal)
    own = next((course for course in courses if course.planting.key == entry.planting), None)
    others = [course for course in courses if course is not own]
    ids = short_ids(journal.entries)
    _refuse_twice(entry, journal, own, others, today, ids)
    if own is not None and entry.what is What.NO_SHOOTS:
        _refuse_late_look(entry, own, today, ids)
    if own is None or entry.what not in RANKS:
        return
    _refuse_unplanted(entry, own)
    _refuse_disorder(entry, own, today, ids)
    if entry.what is What.PLANTED:
        _refuse_two_at_once(entry, others, bed, today, ids)


def _refuse_twice(
    entry: Entry, journal: Journal, own: Course | None, others: Sequence[Course], today: date, ids: dict[str, str]
) -> None:
    held = _noted_already(entry, journal)
    if held is None:
        return
    whose = own.planting.name if own else "this bed"
    cause = f", cause {entry.cause}," if entry.cause else ""
    remedy = _mend(held, entry, ids)
    if entry.what in ONCE and others:
        remedy += f". {_name_one([course.planting for course in others], entry.what)}"
    raise JournalError(
        f"{entry.what}{cause} is already noted for {whose} on {amounts.day(held.day, today)}", remedy=remedy
    )


def _noted_already(entry: Entry, journal: Journal) -> Entry | None:
    is_bed_matter = entry.what in BED_MATTERS
    alike = [
        held
        for held in journal.entries
        if held.what is entry.what and held.bed == entry.bed and (is_bed_matter or held.planting == entry.planting)
    ]
    if entry.what is What.WATERED:  # two waterings on a day are real
        return None
    if entry.what is What.DYING_BACK:
        return alike[-1] if alike and alike[-1].cause is entry.cause else None
    if entry.what in ONCE:
        return alike[0] if alike else None
    return next((held for held in alike if held.day == entry.day and _is_same(held.value, entry.value)), None)


def _is_same(one: float | None, other: float | None) -> bool:
    return one is other or (one is not None and other is not None and isclose(one, other, abs_tol=1e-9))


def _refuse_unplanted(entry: Entry, own: Course) -> None:
    from_shoots_on = RANKS[What.SHOOTS_OUT] <= RANKS[entry.what] < RANKS[What.FINISHED]
    if from_shoots_on and own.first(What.PLANTED) is None:
        raise JournalError(
            f"{entry.what}: {own.planting.name} is not noted as planted",
            remedy=f"Note that first: haulm note {own.planting.key} planted --on YYYY-MM-DD",
        )


def _refuse_disorder(entry: Entry, own: Course, today: date, ids: dict[str, str]) -> None:
    for held in own.entries:
        if held.what not in RANKS:
            continue
        too_early = RANKS[held.what] < RANKS[entry.what] and held.day > entry.day
        too_late = RANKS[held.what] > RANKS[entry.what] and held.day < entry.day
        if too_early or too_late:
            order = "before" if too_early else "after"
            told = f"{entry.what} on {amounts.day(entry.day, today)} would come {order} {held.what}"
            raise JournalError(
                f"{told}, which is noted for {own.planting.name} on {amounts.day(held.day, today)}",
                remedy=f"Give the right day with --on. {_mend(held, entry, ids)}",
            )


def _refuse_late_look(entry: Entry, own: Course, today: date, ids: dict[str, str]) -> None:
    out = own.first(What.SHOOTS_OUT)
    if out is not None and out.day <= entry.day:
        raise JournalError(
            f"{entry.what}: shoots are noted as out for {own.planting.name} since {amounts.day(out.day, today)}",
            remedy=_mend(out, entry, ids),
        )


def _refuse_two_at_once(entry: Entry, others: Sequence[Course], bed: Bed, today: date, ids: dict[str, str]) -> None:
    for other in others:
        planted = other.first(What.PLANTED)
        if planted is not None and other.grows(entry.day):
            raise JournalError(
                f"{other.planting.name} grows in {bed.name}, noted as planted on {amounts.day(planted.day, today)}",
                remedy=f"Note first that it is over: haulm note {other.planting.key} lifted. "
                f"{_take_back(ids[planted.id])}",
            )


def _mend(held: Entry, entry: Entry, ids: dict[str, str]) -> str:
    """What to do about a note in the way; one of half a year ago is most likely last season's, rightly noted."""
    if (entry.day - held.day).days > _ANOTHER_SEASON_DAYS:
        return f"A new season needs a planting of its own in the settings. {_take_back(ids[held.id])}"
    return _take_back(ids[held.id])


def _take_back(short_id: str) -> str:
    return f"If that note is wrong, take it back: haulm notes --withdraw {short_id}"


def _none_fits(bed: Bed, what: What, day: date, courses: Sequence[Course]) -> JournalError:
    if not courses:
        return JournalError(
            f"{bed.name} has no planting in the settings, so {what} belongs to none",
            remedy="Add the planting to the settings file and run haulm check.",
        )
    if what is What.FINISHED or RANKS.get(what, 0) <= RANKS[What.PLANTED]:
        return JournalError(
            f"{what}: no planting of {bed.name} is at that point on {day.isoformat()}",
            remedy=_name_one([course.planting for course in courses], what),
        )
    key = _nearest(day, courses)[0].planting.key
    return JournalError(
        f"{what}: nothing is noted as planted in {bed.name}",
        remedy=f"Note that first: haulm note {key} planted --on YYYY-MM-DD",
    )


def _name_one(plantings: Sequence[Planting], what: What | None) -> str:
    quoted = f'"{what}"' if " " in str(what) else str(what)
    ways = [f"haulm note {planting.key} {quoted}" for planting in plantings]
    return f"Name the planting that is meant: {', or '.join(ways)}"


def _ending(one: str, ids: set[str]) -> str:
    for length in range(6, len(one)):
        if sum(other.endswith(one[-length:]) for other in ids) == 1:
            return one[-length:]
    return one
