"""The demo: one morning of two invented gardens, on invented weather, with what their growers would have noted."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from haulm.advice import Decision, Said
from haulm.beds.memo import Memo
from haulm.garden import (
    Bed,
    Cause,
    Entry,
    Garden,
    Habit,
    Journal,
    Maturity,
    Place,
    Planting,
    Season,
    Straw,
    What,
)
from haulm.jobs.decide import decide
from haulm.jobs.letter_forms import Forms, files_of, write_out
from haulm.post.folder import letter_stem, put_in_folder
from haulm.settings.thresholds import Thresholds
from haulm.sources.invented import INVENTED_PLACES, invented_forecasts, invented_record
from haulm.sources.invented_hours import invented_hours
from haulm.units import Display
from haulm.weather import DAY, Forecast, Record

DEFAULT_DAY = date(2027, 5, 11)
YEARS_OF_RECORD = 10
HOURS_BEFORE = timedelta(days=40)  # blight weather is looked for in the hours of the last weeks
MORNINGS_BEFORE = 14  # so that the letter knows what it said in the last two weeks
KIND = "morning"
SEED = 2027  # one invented world


@dataclass(frozen=True, slots=True)
class Scene:
    """One invented garden and what its grower notes through the year: month, day, planting, what, amount."""

    garden: Garden
    notes: tuple[tuple[int, int, str, What, float | None], ...]


def _brackenford(year: int) -> Scene:
    place = _place("brackenford", Display.METRIC, 1.5)
    bed = Bed("gatebed", "Gatebed", 2.4, 1.2, "loam", 0.30, (Straw(date(year - 1, 10, 20), 0.10),))
    crop = _earlies(bed, "gate-early", "Gatebed earlies", Season.SPRING, date(year, 3, 20), date(year, 5, 31), 0.0)
    notes = (
        (2, 20, "gate-early", What.SEED_BOUGHT, None),
        (3, 6, "gate-early", What.CHITTING_BEGUN, None),
        (3, 22, "", What.STRAW_RAKED, 0.0),
        (4, 16, "gate-early", What.PLANTED, None),
        (4, 16, "", What.STRAW_LAID, 0.06),
        (5, 10, "gate-early", What.SHOOTS_OUT, None),
        (5, 26, "", What.STRAW_LAID, 0.20),
        *_waterings(date(year, 5, 27), date(year, 8, 1), every_days=4, mm=14.0),
        (8, 2, "gate-early", What.DYING_BACK, None),
        (8, 16, "gate-early", What.TOPS_DEAD, None),
        (9, 3, "gate-early", What.LIFTED, 14.0),
        (9, 16, "gate-early", What.INTO_STORE, None),
    )
    return Scene(Garden("brackenford", place, (bed,), (crop,)), notes)


def _sallow_wells(year: int) -> Scene:
    place = _place("sallow-wells", Display.US, 1.0)
    bed = Bed("southbed", "Southbed", 2.4384, 1.2192, "sandy loam", 0.30, (Straw(date(year - 1, 12, 1), 0.08),))
    crops = (
        _earlies(bed, "south-spring", "Southbed spring crop", Season.SPRING, date(year, 1, 20), date(year, 3, 5), 0.05),
        _earlies(
            bed, "south-autumn", "Southbed autumn crop", Season.AUTUMN, date(year, 8, 20), date(year, 10, 5), 0.05
        ),
    )
    notes = (
        (1, 4, "south-spring", What.CHITTING_BEGUN, None),
        (2, 8, "south-spring", What.PLANTED, None),
        (3, 4, "south-spring", What.SHOOTS_OUT, None),
        (3, 24, "", What.STRAW_LAID, 0.20),
        *_waterings(date(year, 3, 12), date(year, 4, 8), every_days=4, mm=12.0),
        *_waterings(date(year, 4, 10), date(year, 5, 17), every_days=2, mm=13.0),
        (5, 18, "south-spring", What.DYING_BACK, None),
        (5, 30, "south-spring", What.TOPS_DEAD, None),
        (6, 10, "south-spring", What.LIFTED, 9.0),
        (6, 12, "south-spring", What.INTO_STORE, None),
        (8, 10, "south-spring", What.FINISHED, None),
        (7, 8, "south-autumn", What.SEED_BOUGHT, None),
        (8, 14, "south-autumn", What.CHITTING_BEGUN, None),
        (9, 12, "south-autumn", What.PLANTED, None),
        (9, 28, "south-autumn", What.SHOOTS_OUT, None),
        *_waterings(date(year, 9, 14), date(year, 12, 6), every_days=3, mm=12.0),
        (12, 8, "south-autumn", What.TOPS_CUT, None),
        (12, 24, "south-autumn", What.LIFTED, 7.0),
    )
    return Scene(Garden("sallow-wells", place, (bed,), crops), notes)


def _waterings(first: date, last: date, *, every_days: int, mm: float) -> list[tuple[int, int, str, What, float]]:
    """What a steady hand gives the bed through the growing weeks."""
    turns = range(0, (last - first).days + 1, every_days)
    days = [first + timedelta(days=turn) for turn in turns]
    return [(day.month, day.day, "", What.WATERED, mm) for day in days]


def scenes(year: int) -> tuple[Scene, ...]:
    """Both invented gardens, as they are in a year."""
    return _brackenford(year), _sallow_wells(year)


def _earlies(
    bed: Bed, key: str, name: str, season: Season, window_first: date, window_last: date, depth_m: float
) -> Planting:
    return Planting(
        key=key,
        bed=bed.key,
        name=name,
        maturity=Maturity.EARLY,
        habit=Habit.DETERMINATE,
        season=season,
        spacing_m=0.30,
        depth_m=depth_m,
        window_first=window_first,
        window_last=window_last,
    )


def _place(key: str, display: Display, offset_c: float) -> Place:
    there = INVENTED_PLACES[key]
    return Place(
        name=there.name,
        latitude_deg=there.latitude_deg,
        longitude_deg=there.longitude_deg,
        elevation_m=there.elevation_m,
        zone=there.zone,
        display=display,
        clear_night_offset_c=offset_c,
    )


def demo(folder: Path, day: date) -> Iterator[str]:
    """The letters of both gardens, line by line for the terminal; their files go into a folder, which is named last."""
    yield "haulm demo: two invented gardens. Their weather is invented too; no station measured it."
    for scene in scenes(day.year):
        forms = _letter(scene, day)
        garden = scene.garden.key
        put_in_folder(folder, garden, KIND, day, files_of(forms), mode=0o644)
        yield from ("", "=" * 72, f"Subject: {forms.subject}", "=" * 72, "", forms.text.rstrip())
    yield ""
    yield f"The letters, with their pictures, are in {folder.resolve()}; open the .html files in a browser."


def _letter(scene: Scene, day: date) -> Forms:
    decision = decided(scene, day)
    return write_out(decision, Thresholds(), f"{letter_stem(scene.garden.key, KIND, day)}.png")


def decided(scene: Scene, day: date) -> Decision:
    """What the morning of a day thinks, with the memory of the mornings before it."""
    record, forecasts = _weather(scene.garden, day)
    journal = journal_of(scene, day.year)
    memory: tuple[Said, ...] = ()
    memo = Memo()
    for back in range(MORNINGS_BEFORE, -1, -1):
        as_of = _at_half_past_six(scene.garden.place, day - back * DAY)
        decision = decide(scene.garden, Thresholds(), as_of, record, forecasts, journal, memory, memo=memo)
        memory = decision.memory
    return decision


def _weather(garden: Garden, day: date) -> tuple[Record, tuple[Forecast, ...]]:
    record = invented_record(garden.key, date(day.year - YEARS_OF_RECORD, 1, 1), day + timedelta(days=20), SEED)
    mornings = [day - back * DAY for back in range(MORNINGS_BEFORE + 1)]
    zone = garden.place.zone
    seen = replace(record, hours=invented_hours(record.days.cut(day - HOURS_BEFORE, record.days.last), zone))
    issues = invented_forecasts(garden.key, record.days, mornings, SEED)
    return seen, tuple(replace(issue, hours=invented_hours(issue.days, zone)) for issue in issues)


def journal_of(scene: Scene, year: int) -> Journal:
    """What the grower of a scene notes through the year."""
    bed = scene.garden.beds[0].key
    entries = []
    for number, (month, day_of_month, planting, what, value) in enumerate(scene.notes):
        day = date(year, month, day_of_month)
        cause = Cause.AGE if what is What.DYING_BACK else None
        instant = datetime.combine(day, time(18), ZoneInfo(scene.garden.place.zone)).astimezone(UTC)
        entries.append(Entry(f"demo-{number}", instant, day, bed, planting, what, "", value, cause))
    return Journal(tuple(entries))


def _at_half_past_six(place: Place, day: date) -> datetime:
    return datetime.combine(day, time(6, 30), ZoneInfo(place.zone))
