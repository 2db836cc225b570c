"""`haulm page`: a folder of plain pages that a browser opens, from what is stored and what this morning knows."""

import json
import logging
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from haulm.advice import Decision
from haulm.beds.noted import watered_mm
from haulm.condition import Condition
from haulm.errors import DeliveryError, Exit, HaulmError
from haulm.files import explain, make_folder, write_together
from haulm.garden import Entry, Journal, What
from haulm.jobs import note_answers
from haulm.jobs.morning import Thought, think
from haulm.jobs.review import review
from haulm.jobs.season import picture as year_picture
from haulm.jobs.season import season_told
from haulm.jobs.state_folder import StateFolder
from haulm.letter import page
from haulm.letter.dates import coming_dates
from haulm.letter.page import ARCHIVE, REVIEW, TODAY, BedWindows, Link, Listed, Row
from haulm.letter.render import Picture
from haulm.letter.review_words import as_parts
from haulm.letter.season import as_parts as as_season_parts
from haulm.letter.season import year_alt_text
from haulm.letter.season_chart import Mark, Season, season_alt_text, season_chart
from haulm.letter.stages import stages_of
from haulm.letter.water_chart import water_alt_text, water_chart
from haulm.post.folder import letter_stem, safe_name
from haulm.settings.explain import explained
from haulm.settings.load import Settings
from haulm.steps import Step
from haulm.store.database import Database, open_database
from haulm.store.journal_file import read_journal
from haulm.store.letters import Heading, headings, letter_of, letters_between
from haulm.weather import Daily

_LOG = logging.getLogger("haulm")
LONGEST_SEASON = timedelta(days=300)
BEFORE_THE_FIRST_NOTE = timedelta(days=21)
# Noted days that the picture of a season names, in a word.
NAMED = {
    What.PLANTED: "planted",
    What.SHOOTS_OUT: "shoots",
    What.DYING_BACK: "going down",
    What.TOPS_DEAD: "tops dead",
    What.TOPS_CUT: "tops cut",
    What.LIFTED: "lifted",
}


@dataclass(frozen=True, slots=True, eq=False)
class _Held:
    """What all pages are made from; `letters` are oldest first, `said` their form for programs, of this season."""

    settings: Settings
    decision: Decision
    journal: Journal
    database: Database | None
    letters: tuple[Heading, ...]
    said: tuple[tuple[date, str], ...]
    links: tuple[Link, ...]


def write_pages(settings: Settings, state: StateFolder, folder: Path, now: datetime) -> int:
    """Write the pages, or bring those that stand up to date; returns how many files were written.

    Raises
    ------
    DeliveryError
        They cannot be written; nothing half written is left.
    """
    thought = think(settings, state, now, now)
    looked_back = as_parts(review(settings, state, now, thought=thought))
    with ExitStack() as stack:
        database = stack.enter_context(open_database(state.store)) if state.store.exists() else None
        held = _hold(settings, state, database, now, thought)
        files = {TODAY: _today(held), ARCHIVE: _text(page.archive_page(map(_listed, held.letters), held.links))}
        files |= _letters(held, folder)
        for condition in held.decision.conditions:
            files |= _bed(held, condition)
        files |= _windows(settings, state, held, now, thought)
        for name, told in page.help_pages(held.links, explained(settings.thresholds)).items():
            files[name] = _text(told)
        files[REVIEW] = _text(page.lines_page(_REVIEW, held.links, looked_back))
    return _write(folder, files)


def refresh_pages(settings: Settings, state: StateFolder, now: datetime) -> Exit:
    """After a letter: bring the pages up to date where the settings name a folder; what fails is logged."""
    if settings.post.pages is None:
        return Exit.DONE
    try:
        write_pages(settings, state, settings.post.pages, now)
    except HaulmError as fault:
        _LOG.warning("the pages were not brought up to date: %s", fault)
        return Exit.PARTLY
    return Exit.DONE


_REVIEW, _WINDOWS = Link(REVIEW, "Looking back"), Link("windows.html", "When to plant")


def _hold(settings: Settings, state: StateFolder, database: Database | None, now: datetime, thought: Thought) -> _Held:
    decision = thought[1]
    journal = read_journal(state.journal(settings.garden))[0].known(now, decision.today)
    letters: tuple[Heading, ...] = ()
    said: tuple[tuple[date, str], ...] = ()
    if database is not None:
        garden, today = settings.garden.key, decision.today
        letters = headings(database, garden)
        said = letters_between(database, garden, "morning", today - LONGEST_SEASON, today)
    beds = (_link(condition) for condition in decision.conditions)
    links = (Link(TODAY, "Today"), *beds, Link(ARCHIVE, "The letters"), _WINDOWS, _REVIEW)
    return _Held(settings, decision, journal, database, letters, said, links)


def _link(condition: Condition) -> Link:
    return Link(f"planting-{safe_name(condition.planting.key)}.html", condition.planting.name)


def _listed(letter: Heading) -> Listed:
    stem = f"letters/{letter_stem(letter.garden, letter.kind, letter.day)}"
    return Listed(letter.day, letter.subject, f"{stem}.html", f"{stem}.png" if letter.has_picture else None)


def _today(held: _Held) -> bytes:
    if not held.letters:
        return _text(page.nothing_page(held.settings.garden.place.name, held.links))
    newest = held.letters[-1]
    return _text(page.letter_page(_listed(newest), _stored(held, newest)[0], held.links, TODAY))


def _letters(held: _Held, folder: Path) -> dict[str, bytes]:
    """Pages of letters, each with its picture. Those that stand are left alone: a letter never changes."""
    found: dict[str, bytes] = {}
    links = [Link(TODAY, "Today"), Link(ARCHIVE, "The letters")]
    for letter in held.letters:
        listed = _listed(letter)
        if (folder / listed.file).exists():
            continue
        html, picture = _stored(held, letter)
        found[listed.file] = _text(page.letter_page(listed, html, links, listed.file))
        if listed.picture is not None and picture is not None:
            found[listed.picture] = picture
    return found


def _stored(held: _Held, letter: Heading) -> tuple[str, bytes | None]:
    whole = None if held.database is None else letter_of(held.database, letter.garden, letter.kind, letter.day)
    return ("", None) if whole is None else (whole.html or page.plain_html(whole.text), whole.picture)


def _bed(held: _Held, condition: Condition) -> dict[str, bytes]:
    link, thresholds = _link(condition), held.settings.thresholds
    notes = held.journal.of(condition.bed.key, condition.planting.key)
    first = _first(notes, condition)
    seen = _seen_from(notes, first)
    watered = Daily(seen, watered_mm(condition.bed, held.journal, seen, (condition.today - seen).days))
    season = Season(condition, held.decision.timeline, seen, watered, tuple(_marks(notes, seen)))
    drawn = link.file.replace(".html", ".png")
    rows = [*_said(held, condition, first), *_noted(held, notes, first)]
    coming = [one for one in coming_dates(held.decision) if one.planting == condition.planting.key]
    files = {drawn: season_chart(season)}
    pictures = [Picture(drawn, season_alt_text(season))]
    water = water_chart(condition, held.decision.timeline, thresholds)
    if water is not None:
        name = link.file.replace(".html", "-water.png")
        files[name] = water
        pictures.insert(0, Picture(name, water_alt_text(condition, held.decision.timeline, thresholds)))
    stages = stages_of(condition, notes, first)
    return {link.file: _text(page.bed_page(link, held.links, stages, pictures, coming, rows)), **files}


def _windows(settings: Settings, state: StateFolder, held: _Held, now: datetime, thought: Thought) -> dict[str, bytes]:
    """The planting windows of each bed, with a picture of its year."""
    files: dict[str, bytes] = {}
    beds = []
    for bed in settings.garden.beds:
        told = season_told(settings, state, now, bed.key, None, thought)
        intro, found = as_season_parts(told)
        drawn = f"windows-{safe_name(bed.key)}.png" if told.years else ""
        if drawn:
            files[drawn] = year_picture(told)
        beds.append(BedWindows(bed.name, intro, found, Picture(drawn, year_alt_text(told)) if drawn else None))
    return {_WINDOWS.file: _text(page.windows_page(_WINDOWS, held.links, beds)), **files}


def _first(notes: Sequence[Entry], condition: Condition) -> date:
    """Where the season begins: some weeks before the first note of it, or before today."""
    earliest = condition.today - LONGEST_SEASON
    days = [entry.day for entry in notes if entry.day >= earliest and entry.planting]
    return max(min([*days, condition.today]) - BEFORE_THE_FIRST_NOTE, earliest)


def _seen_from(notes: Sequence[Entry], first: date) -> date:
    """The picture begins some weeks before planting: seed is bought in winter, and the months between show nothing."""
    planted = [entry.day for entry in notes if entry.what is What.PLANTED and entry.day >= first]
    return max(min(planted) - BEFORE_THE_FIRST_NOTE, first) if planted else first


def _marks(notes: Sequence[Entry], first: date) -> Iterator[Mark]:
    for entry in notes:
        if entry.what in NAMED and entry.day >= first:
            yield Mark(entry.day, NAMED[entry.what])


def _said(held: _Held, condition: Condition, first: date) -> Iterator[Row]:
    """What letters said anew of this planting."""
    for day, text in held.said:
        if day >= first:
            items = (item for part in json.loads(text)["parts"] for item in part["items"])
            for item in items:
                of_it = item["bed"] == condition.bed.name and item["planting"] in {"", condition.planting.name}
                if item["fresh"] and of_it:
                    yield Row(day, item["sentence"], noted=False)


def _noted(held: _Held, notes: Sequence[Entry], first: date) -> Iterator[Row]:
    display = held.settings.garden.place.display
    for entry in notes:
        if entry.day >= first:
            yield Row(entry.day, note_answers.said(entry, display), noted=True)


def _text(html: str) -> bytes:
    return html.encode("utf-8")


def _write(folder: Path, files: dict[str, bytes]) -> int:
    """Only what has changed, so that a copy to a web server has little to carry."""
    changed = {folder / name: data for name, data in files.items() if not _stands(folder / name, data)}
    try:
        for place in {path.parent for path in changed}:
            make_folder(place)
        write_together(changed, Step.PAGES_WRITTEN, 0o644)
    except OSError as fault:
        what, remedy = explain(fault)
        raise DeliveryError(f"the pages could not be put there: {what}", where=str(folder), remedy=remedy) from fault
    return len(changed)


def _stands(path: Path, data: bytes) -> bool:
    return path.exists() and path.read_bytes() == data
