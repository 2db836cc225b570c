"""`haulm soil`: the soil of one bed, as it has been and is expected to be, and what the thermometer taught."""

import json
import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from textwrap import wrap

from haulm.advice import Decision
from haulm.beds.readings import READ_AT_M
from haulm.condition import Condition, DayRange
from haulm.errors import JournalError
from haulm.garden import Season, Stage, What
from haulm.jobs.morning import think
from haulm.jobs.note_words import find_spot
from haulm.jobs.state_folder import StateFolder
from haulm.letter import amounts, chart
from haulm.settings.load import Settings
from haulm.settings.thresholds import Thresholds
from haulm.store.journal_file import read_journal
from haulm.taught import SoilReading, SoilTaught
from haulm.units import Display
from haulm.weather import DAY

VERSION = 1
WIDTH = 80
HARD = "\u00a0"  # a space at which no line is broken
LOOKED_BACK_DAYS, LOOKED_AHEAD_DAYS = 14, 8


@dataclass(frozen=True, slots=True, eq=False)
class SoilReport:
    """One bed's soil on one morning; `forgotten` counts readings older than the days that are worked out."""

    condition: Condition
    decision: Decision
    thresholds: Thresholds
    forgotten: int

    @property
    def readings(self) -> tuple[SoilReading, ...]:
        """Every reading that is set against the estimate, from the oldest."""
        taught = self.condition.soil.taught
        return tuple(sorted(taught.readings, key=lambda one: one.day)) if taught else ()

    @property
    def display(self) -> Display:
        """The reader's units."""
        return self.condition.garden.place.display


def soil_report(settings: Settings, state: StateFolder, bed: str, now: datetime) -> SoilReport:
    """Work the soil of a bed out afresh.

    Raises
    ------
    JournalError
        No bed or planting is called so, or nothing is planned there now.
    """
    spot = find_spot(settings.garden, bed)
    _, decision = think(settings, state, now, now)
    condition = _of(decision, spot.bed.key, spot.planting.key if spot.planting else "")
    journal = read_journal(state.journal(settings.garden))[0]
    noted = journal.known(now, decision.today).of(spot.bed.key, "", What.SOIL_READ)
    used = len(condition.soil.taught.readings) if condition.soil.taught else 0
    return SoilReport(condition, decision, settings.thresholds, len(noted) - used)


def _of(decision: Decision, bed: str, planting: str) -> Condition:
    in_bed = (one for one in decision.conditions if one.bed.key == bed and planting in {"", one.planting.key})
    found = [one for one in in_bed if one.stage.stage.order < Stage.LIFTED.order]  # what is stored lies in no soil
    if not found:
        raise JournalError(
            "nothing grows or is planned there now, so there is no depth to tell the soil of",
            where=bed,
            remedy="Write a planting for that bed in the settings.",
        )
    return found[0]


def as_lines(report: SoilReport) -> Iterator[str]:
    """The tables and what is to be said of them, for a terminal of 80 columns."""
    condition = report.condition
    depth = condition.planting.depth_m
    lies = f"{amounts.straw(depth, report.display)} deep" if depth else "at the surface, under any straw"
    yield f"{condition.bed.name}, soil {lies}: means of the day"
    yield ""
    yield from _table(report)
    for told in (_ready(report), _readings(report), _taught(report)):
        lines = list(told)
        if lines:
            yield ""
            yield from lines


# --- the days


def _days(condition: Condition) -> Iterator[date]:
    first = condition.today - timedelta(days=LOOKED_BACK_DAYS)
    known_to = condition.sky.outlook.last if condition.sky.has_forecast else condition.today - DAY
    for ahead in range(LOOKED_BACK_DAYS + LOOKED_AHEAD_DAYS):
        if first + ahead * DAY <= known_to:
            yield first + ahead * DAY


def _table(report: SoilReport) -> Iterator[str]:
    condition, display = report.condition, report.display
    waits = _waits(condition)
    yield f"{'day':18}{'soil':>9}   {'four in five lie in':22}{_wanted(report) if waits else ''}".rstrip()
    for day in _days(condition):
        soil_c, spread_c = condition.soil.as_it_lies_c.at(day), amounts.FOUR_IN_FIVE * condition.soil.spread_c.at(day)
        span = amounts.temperatures(soil_c - spread_c, soil_c + spread_c, display)
        told = f"{amounts.day(day, condition.today):18}{amounts.temperature(soil_c, display):>9}   {span:22}"
        told += f"{_odds(condition, day) if waits else '':18}"
        yield f"{told}{'today' if day == condition.today else ''}".rstrip()


def _waits(condition: Condition) -> bool:
    return condition.soil.fit_chance is not None and condition.stage.stage.order <= Stage.CHITTING.order


def _wanted(report: SoilReport) -> str:
    """What planting waits for: "10 °C or more"."""
    limits, spring = report.thresholds.planting, report.condition.planting.season is Season.SPRING
    limit_c = limits.soil_ready_spring_c if spring else limits.soil_ready_autumn_c
    return f"{amounts.temperature(limit_c, report.display)} or {'more' if spring else 'less'}"


def _odds(condition: Condition, day: date) -> str:
    chance = condition.soil.fit_chance.at(day) if condition.soil.fit_chance else math.nan
    return amounts.odds(chance).told if amounts.is_known(chance) else amounts.NOT_KNOWN


# --- the day it is ready


def _ready(report: SoilReport) -> Iterator[str]:
    condition, ready = report.condition, report.condition.soil.ready
    if not _waits(condition) or ready is None:
        return
    asked = f"Fit to plant, {_wanted(report)} on {amounts.days(report.thresholds.planting.ready_days)} running"
    raked, told = condition.soil.ready_if_raked, _when(ready, condition)
    if raked is not None and raked.likely != ready.likely:
        asked, told = f"{asked}, raked bare", f"{_when(raked, condition)}; under its straw: {told}"
    yield from wrap(f"{asked}: {told}.", WIDTH)
    if ready.likely is None:
        return
    by_year = sorted((one.day, one.year) for one in condition.soil.ready_by_year if one.day is not None)
    if by_year and ready.likely > condition.today:
        listed = ", ".join(f"{day.day}{HARD}{amounts.MONTHS[day.month - 1]}{HARD}{year}" for day, year in by_year)
        told = f"With the weather of each year here, by the estimate as it is: {listed}."
        yield from (line.replace(HARD, " ") for line in wrap(told, WIDTH))


def _when(ready: DayRange, condition: Condition) -> str:
    today = condition.today
    if ready.likely is None:
        return f"no likely day up to {amounts.day(condition.soil.as_it_lies_c.last, today)}"
    if ready.likely <= today:
        later = ready.late is not None and ready.late > today
        return f"now, by the estimate{f'; by {amounts.day(ready.late, today)} in nine cases of ten' if later else ''}"
    return amounts.expected_day(ready.likely, today, ready.early, ready.late)


# --- what the thermometer says


def _readings(report: SoilReport) -> Iterator[str]:
    """Every reading of the days worked out beside the estimate, from the oldest."""
    display = report.display
    if report.readings:
        read = f"read {amounts.straw(READ_AT_M, display)} deep"
        yield f"{read:22}{'as read':>9}{'day mean':>10}{'estimate alone':>17}{'with readings':>16}"
    for one in report.readings:
        numbers = (one.read_c, one.day_mean_c, one.untaught_c, one.taught_c)
        told = [amounts.temperature(value, display) for value in numbers]
        line = f"{amounts.day(one.day, report.condition.today):22}{told[0]:>9}{told[1]:>10}{told[2]:>17}{told[3]:>16}"
        yield line if one.believed else f"{line} ?"
    if report.forgotten:
        count = amounts.count(report.forgotten, "older reading is", "older readings are")
        yield f"{count.capitalize()} from before the days worked out."


def _taught(report: SoilReport) -> Iterator[str]:
    condition, display, taught = report.condition, report.display, report.condition.soil.taught
    if taught is None:
        yield "No readings yet. A few, on different days, teach haulm your bed:"
        yield f"haulm note {condition.bed.key} soil {'52F' if display is Display.US else '11C'}"
        return
    yield from wrap(_warmer(condition, taught, display), WIDTH)
    if any(one.believed for one in taught.readings):
        yield from wrap(_sunnier(taught, display), WIDTH)
    for one in report.readings:
        if not one.believed:
            told = f"{amounts.temperature(one.read_c, display)} on {amounts.day(one.day, condition.today)}"
            yield from wrap(f"The reading of {told} is far from all else and is not used (?).", WIDTH)


def _warmer(condition: Condition, taught: SoilTaught, display: Display) -> str:
    used = sum(one.believed for one in taught.readings)
    if not used:
        return "No reading is used, so the estimate is that of the air alone."
    yesterday = condition.today - DAY
    moved = amounts.change(taught.moved_c.at(yesterday), display)
    before, after = taught.untaught_spread_c.at(yesterday), condition.soil.spread_c.at(yesterday)
    count = amounts.count(used, "reading makes", "readings make").capitalize()
    return f"{count} yesterday's figure {moved} than the air alone would; {_sure(after, before, display)}."


def _sure(after_c: float, before_c: float, display: Display) -> str:
    """How sure a figure is with readings and without: "four cases in five within 1.5 °C, where it was 2 °C without"."""
    after, before = (amounts.warmth(amounts.FOUR_IN_FIVE * spread_c, display) for spread_c in (after_c, before_c))
    without = "hardly less than" if after == before else f"where it was {before}"
    return f"four cases in five within {after}, {without} without"


def _sunnier(taught: SoilTaught, display: Display) -> str:
    """What they say of the sun on the bed: a swing of the year wider or narrower than most have."""
    after, before = taught.swing_spread_c, taught.untaught_swing_spread_c
    known = _sure(after, before, display)
    if abs(taught.swing_c) < after:
        return f"Whether the bed is sunnier or shadier than most they do not tell yet (summer against winter, {known})."
    swing = amounts.warmth(abs(taught.swing_c), display)
    more, kind = ("more", "sunnier") if taught.swing_c > 0.0 else ("less", "shadier")
    return f"Its summer stands {swing} {more} above its winter than most have, as in a {kind} bed ({known})."


# --- its other forms


def as_json(report: SoilReport) -> str:
    """Version 1.

    bed, planting, depth_m, today; days [{day, soil_c, spread_c, fit_chance}]; ready {early, likely, late, share, years,
    by_year [{year, day}]} or null; readings [{day, read_c, day_mean_c, untaught_c, taught_c, believed}] and questioned
    [{day, read_c}]; taught {moved_c, spread_c, untaught_spread_c (of yesterday), swing_c, swing_spread_c,
    untaught_swing_spread_c} or null.
    """
    condition, soil = report.condition, report.condition.soil
    days = [
        {
            "day": day,
            "soil_c": soil.as_it_lies_c.at(day),
            "spread_c": soil.spread_c.at(day),
            "fit_chance": soil.fit_chance.at(day) if soil.fit_chance and _waits(condition) else None,
        }
        for day in _days(condition)
    ]
    ready = asdict(soil.ready) | {"by_year": [asdict(one) for one in soil.ready_by_year]} if soil.ready else None
    whole = {
        "version": VERSION,
        "bed": condition.bed.key,
        "planting": condition.planting.key,
        "depth_m": condition.planting.depth_m,
        "today": condition.today,
        "days": days,
        "ready": ready if _waits(condition) else None,
        "readings": [asdict(one) for one in report.readings],
        "questioned": [{"day": one.day, "read_c": one.read_c} for one in report.readings if not one.believed],
        "taught": _taught_plain(condition, soil.taught) if soil.taught else None,
    }
    return json.dumps(_plain(whole), indent=1, allow_nan=False)


def _taught_plain(condition: Condition, taught: SoilTaught) -> dict[str, float]:
    yesterday = condition.today - DAY
    return {
        "moved_c": taught.moved_c.at(yesterday),
        "spread_c": condition.soil.spread_c.at(yesterday),
        "untaught_spread_c": taught.untaught_spread_c.at(yesterday),
        "swing_c": taught.swing_c,
        "swing_spread_c": taught.swing_spread_c,
        "untaught_swing_spread_c": taught.untaught_swing_spread_c,
    }


def _plain(value: object) -> object:
    """As JSON has it: days as text, numbers to the thousandth, what is not known as null."""
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_plain(inner) for inner in value]
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return None if math.isnan(value) else round(value, 3)
    return value


def picture(report: SoilReport, settings: Settings) -> bytes:
    """The letter's own picture of this bed, as PNG."""
    return chart.soil_chart(report.condition, report.decision.timeline, settings.thresholds)
