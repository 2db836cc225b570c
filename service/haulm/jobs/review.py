"""`haulm review`: what was expected of a season beside what came of it, from the journal and the record."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from haulm.beds.earlier import crops_noted, earlier_crops
from haulm.beds.noted import Noted, noted
from haulm.condition import Condition, EarlierCrops
from haulm.garden import Bed, Cause, Entry, Journal, Planting, What
from haulm.jobs.decide import decide
from haulm.jobs.morning import Thought, as_of_morning, think
from haulm.jobs.note_words import find_spot
from haulm.jobs.observe import Observed
from haulm.jobs.review_chances import chances_seen
from haulm.jobs.state_folder import StateFolder
from haulm.letter import review_json, review_words
from haulm.letter.review import DaysNoted, NightSeen, PlantingReview, Review, Water
from haulm.settings.load import Settings
from haulm.store.database import open_database
from haulm.store.journal_file import read_journal
from haulm.store.letters import letters_between
from haulm.weather import DAY, Record

LONGEST_IN_LEAF = timedelta(days=200)  # judgement: tops that nobody noted as gone are gone by then


@dataclass(frozen=True, slots=True, eq=False)
class _Held:
    """What all plantings are reviewed from; `letters` are those of mornings, by day, in their form for programs."""

    settings: Settings
    observed: Observed
    journal: Journal
    now: datetime
    today: date
    letters: Mapping[date, str]


def review(
    settings: Settings, state: StateFolder, now: datetime, spot: str = "", thought: Thought | None = None
) -> Review:
    """Look back on the plantings of a garden, or of one bed or planting named by `spot`.

    `thought` is what `think` found at `now`, where that is known already.

    Raises
    ------
    JournalError
        No bed or planting is called so.
    """
    found = find_spot(settings.garden, spot) if spot else None
    observed, decision = thought or think(settings, state, now, now)
    journal = read_journal(state.journal(settings.garden))[0]
    letters: dict[date, str] = {}
    if state.store.exists():
        with open_database(state.store) as database:
            letters = dict(letters_between(database, settings.garden.key, "morning", date.min, decision.today))
    held = _Held(settings, observed, journal, now, decision.today, letters)
    asked = [
        planting
        for planting in settings.garden.plantings
        if found is None or (planting.bed == found.bed.key and found.planting in {None, planting})
    ]
    place = settings.garden.place
    chances = chances_seen(observed, decision.timeline, place, now)
    return Review(place, decision.today, tuple(_reviews(held, asked)), chances)


def as_lines(found: Review) -> Iterator[str]:
    """The look back in words, for a terminal of 80 columns."""
    return review_words.as_lines(found)


def as_json(found: Review) -> str:
    """The look back in the form for programs, version 1: `letter/review_json.py` says what is in it."""
    return review_json.as_json(found)


def _reviews(held: _Held, plantings: Sequence[Planting]) -> Iterator[PlantingReview]:
    known = held.journal.known(held.now, held.today)
    for planting in plantings:
        days = noted(known, planting)
        if days.planted is not None:
            yield _review(held, known, planting, days, days.planted)


def _review(held: _Held, known: Journal, planting: Planting, days: Noted, planted: date) -> PlantingReview:
    bed, place = held.settings.garden.bed(planting.bed), held.settings.garden.place
    entries = known.of(bed.key, planting.key)
    written = next(place.day_of(e.instant) for e in entries if e.what is What.PLANTED and e.day == planted)
    expected = _on(held, max(written, planted) + DAY, planting)
    of_age = days.dying if days.dying_cause in {Cause.AGE, Cause.UNKNOWN} else None
    ripe = _on(held, of_age + DAY, planting) if of_age is not None else None
    weights = [entry.value for entry in entries if entry.what is What.LIFTED and entry.value is not None]
    shoots = days.shoots or (expected.crop.shoots.early if expected and expected.crop.shoots else None)
    letters = _letters_in_leaf(held, shoots, days)
    return PlantingReview(
        planting=planting,
        bed=bed,
        days=DaysNoted(planted, days.shoots, days.dying, days.dying_cause, days.tops_gone, days.lifted),
        shoots_expected=expected.crop.shoots if expected is not None else None,
        leaf_days=(of_age - days.shoots).days if of_age and days.shoots else None,
        p_days=ripe.crop.p_days if ripe is not None else float("nan"),
        p_days_needed=ripe.crop.p_days_needed if ripe is not None else float("nan"),
        water=_water(held, bed, entries, planted, days.lifted or held.today),
        weight_kg=float(sum(weights)) if weights else float("nan"),
        nights=tuple(_nights(held, planting, letters, known)),
        letters=len(letters),
        next_time=_next_time(held, known, planting, days),
    )


def _next_time(held: _Held, known: Journal, planting: Planting, days: Noted) -> EarlierCrops:
    """What is taught by the soil that lay about the seed, as it was known once the shoots were out."""
    seen = _on(held, days.shoots + DAY, planting) if days.shoots is not None else None
    record = held.observed.record
    if seen is None or record is None:
        return EarlierCrops()
    crops, soil_c = crops_noted(known), seen.soil.as_it_lies_c
    return earlier_crops(crops, held.settings.garden, planting, None, soil_c, record.days)


def _on(held: _Held, day: date, planting: Planting) -> Condition | None:
    """The planting as the morning of a day knew it: later weather and notes left out; None for a day to come."""
    if day > held.today:
        return None
    settings, seen = held.settings, held.observed
    as_of = as_of_morning(settings, day)
    found = decide(
        settings.garden, settings.thresholds, as_of, seen.record, seen.forecasts, held.journal, (), seen.told
    )
    return next((one for one in found.conditions if one.planting.key == planting.key), None)


def _water(held: _Held, bed: Bed, entries: Sequence[Entry], first: date, last: date) -> Water | None:
    record = held.observed.record
    if record is None:
        return None
    rain = record.days.of("rain_mm").between(first, min(last, held.today - DAY))
    turns = [e.value for e in entries if e.what is What.WATERED and e.value is not None and first <= e.day <= last]
    total_mm = float(sum(turns))
    unknown = int(np.isnan(rain).sum())
    return Water(float(np.nansum(rain)), unknown, total_mm, total_mm * bed.area_m2, len(turns))


def _letters_in_leaf(held: _Held, shoots: date | None, days: Noted) -> dict[date, str]:
    """The letters that spoke of nights on which the tops stood."""
    if shoots is None:
        return {}
    ends = [day for day in (days.tops_gone, days.lifted) if day is not None]
    last = min([*ends, held.today, shoots + LONGEST_IN_LEAF])
    return {day: text for day, text in held.letters.items() if shoots - DAY <= day < last}


def _nights(held: _Held, planting: Planting, letters: Mapping[date, str], known: Journal) -> Iterator[NightSeen]:
    """Nights that were called, and nights that froze without a call; quiet nights are left out."""
    own = {e.day: e.value for e in known.of(planting.bed, "", What.NIGHT_READ) if e.value is not None}
    for day, text in sorted(letters.items()):
        morning = day + DAY
        verdict, level, chance = _call(text, planting, morning)
        night = NightSeen(
            morning, verdict, level, chance, _air_min_c(held.observed.record, morning), own.get(morning, float("nan"))
        )
        if level or night.froze:
            yield night


def _air_min_c(record: Record | None, day: date) -> float:
    return float("nan") if record is None else record.days.of("air_min_c").at(day)


def _call(letter: str, planting: Planting, morning: date) -> tuple[str, int, float]:
    """What a letter said of the frost of the very next night."""
    for alert in json.loads(letter)["alerts"]:
        about = alert["rule"] == "frost" and alert["planting"] == planting.key and not alert["ended"]
        if about and alert["facts"].get("morning") == morning.isoformat():
            chance = alert["chance"]
            return alert["verdict"], int(alert["level"]), float("nan") if chance is None else float(chance)
    return "", 0, float("nan")
