"""A replay in words for a terminal of 80 columns, as a table for other programs, and in the form for programs."""

import csv
import io
import json
import textwrap
from collections.abc import Callable, Iterator, Sequence
from datetime import date

from haulm.jobs.replay import Replay, Variant
from haulm.jobs.replay_trace import ISSUES_LOOKED_BACK, SeasonSeen, YearSeen
from haulm.letter import amounts
from haulm.letter.replay_chart import Shown, Told, replay_chart
from haulm.units import Display, gallons_from_litres

VERSION = 1
WIDTH = 79
FIRST_COLUMN, COLUMN = 24, 13
AS_SET = "as set"


def names(replay: Replay) -> list[str]:
    """What each variant is called in the tables: as set, A, B, C."""
    return [AS_SET, *(chr(ord("A") + at) for at in range(len(replay.variants) - 1))]


def as_lines(replay: Replay, *, said: bool) -> Iterator[str]:
    """What would have been said, where it is asked for; then each variant beside the others."""
    if said:
        yield from _said(replay)
        yield ""
    yield from _basis(replay)
    for name, variant in zip(names(replay)[1:], replay.variants[1:], strict=True):
        told = ", ".join(f"{key} = {value}" for key, value in variant.changes.items())
        if _sentences(variant) == _sentences(replay.variants[0]):
            told += ": no letter would have said anything else"
        yield from textwrap.wrap(f"{name}: {told}", WIDTH, initial_indent="  ", subsequent_indent="     ")
    yield ""
    yield from _seasons(replay)
    yield ""
    yield from _water(replay)
    yield ""
    yield from _frost(replay)


def _wrapped(text: str) -> Iterator[str]:
    yield from textwrap.wrap(text, WIDTH)


def _said(replay: Replay) -> Iterator[str]:
    """The letters' fresh sentences as set, by day."""
    yield "What would have been said anew, with the settings as they are"
    last = None
    for line in replay.variants[0].lines:
        if line.day != last:
            yield ""
            yield f"  {amounts.full_day(line.day)}"
            last = line.day
        yield from textwrap.wrap(line.sentence, WIDTH, initial_indent="    ", subsequent_indent="      ")


def _basis(replay: Replay) -> Iterator[str]:
    span = f"{amounts.full_day(replay.first)} to {amounts.full_day(replay.last)}"
    yield from _wrapped(f"{replay.garden.place.name}, {span}, by {replay.station}.")
    if replay.simulated:
        yield from _wrapped(
            "Simulated: a grower who does each evening what the letter asked for, and whose plants keep to the likely "
            "days. No crop was grown so; your journal is left out."
        )
    else:
        yield from _wrapped(
            "With the notes of your journal. For seasons without notes, --follow lets a simulated grower do what each "
            "letter asks."
        )
    if replay.drawn:
        mornings = amounts.count(replay.drawn, "morning has", "mornings have")
        yield from _wrapped(
            f"{mornings.capitalize()} no forecast that was kept; hindcasts stand in: the days that came, with the "
            "errors of a forecast drawn on them, the same each time."
        )
    if replay.kept:
        mornings = amounts.count(replay.kept, "morning has", "mornings have")
        yield from _wrapped(f"{mornings.capitalize()} a forecast that was kept.")
    yield from _wrapped(
        f"How far forecasts err is learned here from those of the last {ISSUES_LOOKED_BACK.days} days; a letter learns "
        "from a year of them, where they were kept, and its chances of frost may differ."
    )


def _sentences(variant: Variant) -> list[tuple[date, str]]:
    return [(line.day, line.sentence) for line in variant.lines]


def _table(title: str, replay: Replay, rows: Sequence[tuple[str, list[str]]]) -> Iterator[str]:
    heads = names(replay)
    columns = "".join(f"{name:>{COLUMN}}" for name in heads)
    yield from textwrap.wrap(title, WIDTH)
    yield f"{'':{FIRST_COLUMN}}{columns}"
    for name, cells in rows:
        yield f"{name[: FIRST_COLUMN - 1]:{FIRST_COLUMN}}" + "".join(f"{cell:>{COLUMN}}" for cell in cells)


def _seasons(replay: Replay) -> Iterator[str]:
    """When the soil was first told ready, season by season."""
    rows = []
    for key, name in _all_seasons(replay):
        found = [_season_of(variant, key) for variant in replay.variants]
        if any(found):
            rows.append((name, [_told_day(one) for one in found]))
    if not rows:
        yield "No planting's window lies in these days."
        return
    yield from _table("First told to plant", replay, rows)


def _all_seasons(replay: Replay) -> list[tuple[tuple[str, int], str]]:
    """Each planting and year that any variant saw within its window, by the window."""
    seen: dict[tuple[str, int], tuple[date, str]] = {}
    for variant in replay.variants:
        for one in variant.seasons:
            if one.planting.window_first <= replay.last and one.planting.window_last >= replay.first:
                seen.setdefault(_place(one), (one.planting.window_first, f"{one.planting.name} {one.year}"))
    return [(key, name) for key, (_, name) in sorted(seen.items(), key=lambda pair: pair[1])]


def _place(season: SeasonSeen) -> tuple[str, int]:
    return (season.planting.key, season.year)


def _season_of(variant: Variant, place: tuple[str, int]) -> SeasonSeen | None:
    return next((one for one in variant.seasons if _place(one) == place), None)


def _told_day(season: SeasonSeen | None) -> str:
    if season is None:
        return "-"
    return f"{season.ready.day} {season.ready:%b}" if season.ready else "never"


def _water(replay: Replay) -> Iterator[str]:
    display = replay.garden.place.display
    how = "given by the simulated grower" if replay.simulated else "asked for anew"
    unit = "gallons" if display is Display.US else "litres"
    rows = _years(replay, lambda year: _turns(year, display))
    yield from _table(f"Water {how}: how often, and {unit} in all", replay, rows)


def _turns(year: YearSeen, display: Display) -> str:
    whole = gallons_from_litres(year.litres) if display is Display.US else year.litres
    return f"{year.waterings} x, {whole:.0f}" if year.waterings else "none"


def _frost(replay: Replay) -> Iterator[str]:
    limit = amounts.temperature(replay.harm_c, replay.garden.place.display)
    rows = _years(replay, lambda year: _calls([year]))
    if len(rows) > 1:
        rows.append(("all years", [_calls(variant.years) for variant in replay.variants]))
    title = "Calls to cover tonight, while shoots could be out: hit / missed / false"
    yield from _table(title, replay, rows)
    unknown = sum(year.unknown for year in replay.variants[0].years)
    left_out = amounts.count(unknown, "night is left out", "nights are left out").capitalize()
    yield from _wrapped(
        f"Hit: called, and leaves fell to {limit} or below. Missed: they did, uncalled. False: called, and they did "
        "not. What leaves fell to is an estimate: the station's minimum, less what the garden is taken to be colder by "
        "on clear, calm nights."
    )
    if unknown:
        yield f"{left_out}: no minimum is known."


def _calls(years: Sequence[YearSeen]) -> str:
    return " / ".join(str(sum(getattr(year, name) for year in years)) for name in ("hit", "missed", "false"))


def _years(replay: Replay, cell: Callable[[YearSeen], str]) -> list[tuple[str, list[str]]]:
    listed = [[cell(year) for year in variant.years] for variant in replay.variants]
    first = replay.variants[0].years
    return [(str(year.year), [cells[at] for cells in listed]) for at, year in enumerate(first)]


def as_csv(replay: Replay) -> str:
    """One row for each thing that a morning would have said anew, of every variant."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["variant", "changes", "day", "bed", "planting", "rule", "verdict", "part", "sentence"])
    for name, variant in zip(names(replay), replay.variants, strict=True):
        changes = "; ".join(f"{key}={value}" for key, value in variant.changes.items())
        for line in variant.lines:
            alert = line.alert
            where = (alert.bed, alert.planting, alert.rule, alert.verdict, alert.section.value)
            table.writerow([name, changes, line.day.isoformat(), *where, line.sentence])
    return out.getvalue()


def as_json(replay: Replay) -> str:
    """Version 1: garden, first, last, station, grower, forecasts, harm_c, and variants with seasons, years and said."""
    whole = {
        "version": VERSION,
        "garden": replay.garden.key,
        "first": replay.first.isoformat(),
        "last": replay.last.isoformat(),
        "station": replay.station,
        "grower": "simulated" if replay.simulated else "journal",
        "forecasts": {"kept": replay.kept, "hindcast": replay.drawn},
        "harm_c": replay.harm_c,
        "variants": [
            {"name": name, **_plain(variant)} for name, variant in zip(names(replay), replay.variants, strict=True)
        ],
    }
    return json.dumps(whole, indent=1)


def _plain(variant: Variant) -> dict[str, object]:
    return {
        "changes": dict(variant.changes),
        "seasons": [
            {"planting": one.planting.key, "year": one.year}
            | {name: _iso(getattr(one, name)) for name in ("ready", "planted", "shoots", "lifted")}
            for one in variant.seasons
        ],
        "years": [
            {name: getattr(year, name) for name in YearSeen.__slots__ if name != "litres"}
            | {"litres": round(year.litres, 1)}
            for year in variant.years
        ],
        "said": [
            {
                "day": line.day.isoformat(),
                "bed": line.alert.bed,
                "planting": line.alert.planting,
                "rule": line.alert.rule,
                "verdict": line.alert.verdict,
                "sentence": line.sentence,
            }
            for line in variant.lines
        ],
    }


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None


def picture(replay: Replay) -> bytes:
    """Planting days, water and frost calls by year, each variant beside the others, as PNG."""
    told = []
    for name, variant in zip(names(replay), replay.variants, strict=True):
        ready = tuple((one.year, one.ready) for one in variant.seasons if one.ready is not None)
        years = tuple(year.year for year in variant.years)
        nights = tuple((year.hit, year.missed, year.false) for year in variant.years)
        told.append(Told(name, ready, years, tuple(year.litres for year in variant.years), nights))
    return replay_chart(Shown(replay.garden.place.name, replay.garden.place.display, tuple(told)))
