"""The look back on a season in words for a terminal of 80 columns and for a page."""

import textwrap
from collections.abc import Iterator, Sequence
from datetime import date

from haulm.garden import Cause
from haulm.letter import amounts
from haulm.letter.review import ChanceSeen, NightSeen, PlantingReview, Review, Water
from haulm.units import MM_PER_INCH, Display

WIDTH = 78
AS_USUAL_SHARE = 0.02  # judgement: a smaller correction is none
CHANCES = "How chances turned out"
COVER = 2  # the level of a call that asks for a cover tonight


def as_lines(found: Review) -> Iterator[str]:
    """A paragraph a planting; each line says what was expected, then what came."""
    if not found.plantings:
        yield "Nothing has been planted yet, so there is no season to look back on."
        yield "Note it when it is: haulm note BED planted --on DATE"
    for place, one in enumerate(found.plantings):
        if place:
            yield ""
        yield f"{one.planting.name} in {one.bed.name}"
        yield ""
        for told in _of(one, found):
            yield from textwrap.wrap(told, WIDTH, initial_indent="  ", subsequent_indent="    ")
    if found.chances:
        yield from ("", CHANCES, "")
        for told in _chances(found.chances):
            yield from textwrap.wrap(told, WIDTH, initial_indent="  ", subsequent_indent="    ")


def as_parts(found: Review) -> list[tuple[str, list[str]]]:
    """The same as headings with whole paragraphs, for a page."""
    nothing = [("", ["Nothing has been planted yet, so there is no season to look back on."])]
    parts = (
        nothing
        if not found.plantings
        else [(f"{one.planting.name} in {one.bed.name}", list(_of(one, found))) for one in found.plantings]
    )
    return [*parts, (CHANCES, list(_chances(found.chances)))] if found.chances else parts


def _chances(seen: Sequence[ChanceSeen]) -> Iterator[str]:
    nights = amounts.count(sum(one.nights for one in seen), "night", "nights")
    yield (
        f"Frost at the station in the night after each forecast, {nights}: what chance of it was given, from what was "
        "known that morning, and how often it froze."
    )
    for one in seen:
        row = amounts.odds(one.chance)
        given = amounts.count(one.nights, "night", "nights")
        froze = amounts.count(one.froze, "", "").strip() if one.froze else "none"
        yield f"· {row.word}, {row.told}: {given}, {froze} of them froze."


def _of(one: PlantingReview, found: Review) -> Iterator[str]:
    display, today = found.place.display, found.today
    yield _shoots(one, today)
    yield _ripening(one, today)
    if one.water is not None:
        yield _water(one.water, display)
    yield from _frost(one, display, today)
    yield _lifted(one, display, today)
    yield from _next_time(one)


def _shoots(one: PlantingReview, today: date) -> str:
    planted, came = one.days.planted, one.days.shoots
    begun = f"Planted {amounts.day(planted, today)}."
    due = one.shoots_expected
    if due is None or due.early is None:
        return f"{begun} When the shoots were expected is not known."
    span = amounts.day_span(due.early, due.late, today)
    if came is None:
        return f"{begun} Shoots were expected {span}; none were noted, so there is nothing to set beside it."
    return f"{begun} Shoots expected {span}, seen {amounts.day(came, today)}: {_against(came, due.early, due.late)}."


def _against(came: date, early: date, late: date | None) -> str:
    if came < early:
        return f"{amounts.days((early - came).days)} earlier than the range"
    if late is not None and came > late:
        return f"{amounts.days((came - late).days)} later than the range"
    return "within the range"


def _ripening(one: PlantingReview, today: date) -> str:
    dying = one.days.dying
    if dying is None:
        return "The tops were not noted as dying back."
    noted = f"Tops going down {amounts.day(dying, today)}"
    if one.days.dying_cause not in {Cause.AGE, Cause.UNKNOWN}:
        return f"{noted}, of {one.days.dying_cause}: that says nothing of how soon the variety ripens."
    if not amounts.is_known(one.p_days):
        return f"{noted}; how much warmth they had had is not known."
    after = f", {amounts.days(one.leaf_days)} after the shoots" if one.leaf_days is not None else ""
    had, need = amounts.plain(one.p_days), amounts.plain(one.p_days_needed)
    return f"{noted}{after}, with {had} P-days; its class, {one.planting.maturity}, was taken to need {need}."


def _next_time(one: PlantingReview) -> Iterator[str]:
    """What the next crop takes from this season and the garden's others; damped, so that no one season decides."""
    taught = one.next_time
    if taught.shoots_crops:
        crops, moved = amounts.count(taught.shoots_crops, "crop", "crops"), taught.shoots_later_share
        how = "later" if moved > 0 else "sooner"
        by = f"{how} than usual by {amounts.share(abs(moved))} of the range that warmth gives"
        yield f"Next time, by {crops} here: shoots {by if abs(moved) >= AS_USUAL_SHARE else 'as usual'}."
    if taught.ripe_crops:
        crops = amounts.count(taught.ripe_crops, "crop", "crops")
        share = amounts.share(taught.ripe_warmth_share)
        yield f"Next time, by {crops} here: tops going down at {share} of the warmth that is usual for their class."


def _water(water: Water, display: Display) -> str:
    rain = f"{amounts.water(water.rain_mm, display)} of rain"
    if water.rain_unknown_days:
        rain += f" ({amounts.days(water.rain_unknown_days)} not known)"
    if not water.turns:
        return f"Water from planting on: {rain}; no waterings noted."
    given = f"{_given(water.watered_mm, display)} ({amounts.volume(water.watered_l, display)})"
    return f"Water from planting on: {rain}; {given} in {amounts.count(water.turns, 'watering', 'waterings')}."


def _given(mm: float, display: Display) -> str:
    """What was poured is known as well as it was noted: little of it is told as the note told it."""
    return amounts.water_noted(mm, display) if mm < MM_PER_INCH else amounts.water(mm, display)


def _frost(one: PlantingReview, display: Display, today: date) -> Iterator[str]:
    if not one.letters:
        yield "No letters are kept of its time in leaf, so nothing is known of frost calls."
        return
    covered = [night for night in one.nights if night.level >= COVER]
    hit, false = (sum(night.froze is froze for night in covered) for froze in (True, False))
    missed = sum(night.froze is True and night.level < COVER for night in one.nights)
    if not covered and not missed:
        read = amounts.count(one.letters, "letter", "letters")
        yield f"Frost: {read} while it stood in leaf, no call to cover, no frost."
        return
    calls = amounts.count(len(covered), "call to cover", "calls to cover")
    alarms = amounts.count(false, "false alarm", "false alarms")
    uncalled = amounts.count(missed, "frost", "frosts").capitalize()
    yield f"Frost: {calls}: {amounts.count(hit, '', '').strip()} came, {alarms}. {uncalled} came uncalled."
    for night in one.nights:
        if night.level >= COVER or night.froze:
            yield _night(night, display, today)


def _night(night: NightSeen, display: Display, today: date) -> str:
    said = f"called {night.called.replace('-', ' ')}" if night.level else "not called"
    if amounts.is_known(night.chance):
        said += f", {amounts.odds(night.chance).told}"
    own = (
        f", in the garden {amounts.temperature(night.own_min_c, display)}" if amounts.is_known(night.own_min_c) else ""
    )
    station = amounts.temperature(night.air_min_c, display) if amounts.is_known(night.air_min_c) else "not known"
    return f"· {amounts.day(night.morning, today)}: {said}; at the station {station}{own}"


def _lifted(one: PlantingReview, display: Display, today: date) -> str:
    if one.days.lifted is None:
        return "Not noted as lifted yet."
    lifted = f"Lifted {amounts.day(one.days.lifted, today)}"
    if not amounts.is_known(one.weight_kg):
        return f"{lifted}; no weight noted (haulm note {one.bed.key} lifted 12 kg --on {one.days.lifted})."
    each = one.weight_kg / one.bed.area_m2
    whole, bed = amounts.weight(one.weight_kg, display), amounts.weight_of_area(each, display)
    return f"{lifted}: {whole}, {bed}."
