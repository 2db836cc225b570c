"""`haulm soil`: the soil of one bed, as it has been and is expected to be, and what the thermometer taught."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from haulm.advice import Decision
from haulm.condition import Condition
from haulm.errors import JournalError
from haulm.garden import Journal, Stage, What
from haulm.jobs.decide import decide
from haulm.jobs.morning import think
from haulm.jobs.note_words import find_spot
from haulm.jobs.observe import Observed
from haulm.jobs.state_folder import StateFolder
from haulm.letter import amounts, chart
from haulm.settings.load import Settings
from haulm.store.journal_file import read_journal
from haulm.weather import DAY

VERSION = 1
LOOKED_BACK_DAYS, LOOKED_AHEAD_DAYS = 14, 8
FOUR_IN_FIVE = 1.2816  # half the width of the central 80 % of a normal, in standard deviations


@dataclass(frozen=True, slots=True, eq=False)
class SoilReport:
    """One bed's soil on one morning; `untaught` is the same without the thermometer's readings."""

    condition: Condition
    decision: Decision
    untaught: Condition
    readings: tuple[tuple[date, float], ...]


def soil_report(settings: Settings, state: StateFolder, bed: str, now: datetime) -> SoilReport:
    """Work the soil of a bed out afresh.

    Raises
    ------
    JournalError
        No bed or planting is called so, or nothing is planned there now.
    """
    spot = find_spot(settings.garden, bed)
    observed, decision = think(settings, state, now, now)
    condition = _of(decision, spot.bed.key, spot.planting.key if spot.planting else "")
    journal = read_journal(state.journal(settings.garden))[0]
    read = journal.known(now, decision.today).of(spot.bed.key, "", What.SOIL_READ)
    without = Journal(tuple(entry for entry in journal.entries if entry.what is not What.SOIL_READ))
    untaught = _of(_without_readings(settings, observed, without, now), spot.bed.key, condition.planting.key)
    readings = tuple((entry.day, entry.value) for entry in read if entry.value is not None)
    return SoilReport(condition, decision, untaught, readings)


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


def _without_readings(settings: Settings, observed: Observed, journal: Journal, now: datetime) -> Decision:
    return decide(
        settings.garden,
        settings.thresholds,
        now,
        observed.record,
        observed.forecasts,
        journal,
        (),
        observed.told,
    )


def as_lines(report: SoilReport) -> Iterator[str]:
    """The table, for a terminal of 80 columns."""
    condition, display = report.condition, report.condition.garden.place.display
    depth = condition.planting.depth_m
    lies = f"{amounts.straw(depth, display)} deep" if depth else "at the surface, under any straw"
    yield f"{condition.bed.name}, soil {lies}: means of the day"
    yield ""
    yield f"{'day':14}{'soil':>9}   {'four in five lie in':22}{'read':>9}"
    for day, soil_c, spread_c in _days(condition):
        read = ", ".join(amounts.temperature(value, display) for at, value in report.readings if at == day)
        span = amounts.temperatures(soil_c - FOUR_IN_FIVE * spread_c, soil_c + FOUR_IN_FIVE * spread_c, display)
        told = f"{amounts.day(day, condition.today):14}{amounts.temperature(soil_c, display):>9}   {span:22}{read:>9}"
        yield f"{told}   today" if day == condition.today else told.rstrip()
    yield ""
    yield from _taught(report)


def _days(condition: Condition) -> Iterator[tuple[date, float, float]]:
    first = condition.today - timedelta(days=LOOKED_BACK_DAYS)
    known_to = condition.sky.outlook.last if condition.sky.has_forecast else condition.today - DAY
    for ahead in range(LOOKED_BACK_DAYS + LOOKED_AHEAD_DAYS):
        day = first + ahead * DAY
        if day <= known_to:
            yield day, condition.soil.as_it_lies_c.at(day), condition.soil.spread_c.at(day)


def _taught(report: SoilReport) -> Iterator[str]:
    condition, display = report.condition, report.condition.garden.place.display
    wild = dict(condition.soil.questioned_c)
    used = [one for one in report.readings if one not in condition.soil.questioned_c]
    if not used:
        yield "No readings yet. A few, on different days, teach haulm your bed:"
        yield f"haulm note {condition.bed.key} soil {'52F' if display == 'us' else '11C'}"
    else:
        yesterday = condition.today - DAY
        moved = condition.soil.as_it_lies_c.at(yesterday) - report.untaught.soil.as_it_lies_c.at(yesterday)
        before, after = (one.soil.spread_c.at(yesterday) for one in (report.untaught, condition))
        count = amounts.count(len(used), "reading makes", "readings make")
        yield f"{count.capitalize()} yesterday's figure {amounts.change(moved, display)} than the air alone would;"
        yield f"give or take {amounts.warmth(after, display)}, where it was {amounts.warmth(before, display)} without."
    for day, value in wild.items():
        told = amounts.temperature(value, display)
        yield f"The reading of {told} on {amounts.day(day, condition.today)} is far from all else and is not used."


def as_json(report: SoilReport) -> str:
    """Version 1: bed, planting, depth_m, days [{day, soil_c, spread_c}], readings and questioned [{day, read_c}]."""
    condition = report.condition
    days = [
        {"day": day.isoformat(), "soil_c": _plain(soil_c), "spread_c": _plain(spread_c)}
        for day, soil_c, spread_c in _days(condition)
    ]
    listed = [
        [{"day": day.isoformat(), "read_c": value} for day, value in readings]
        for readings in (report.readings, condition.soil.questioned_c)
    ]
    whole = {
        "version": VERSION,
        "bed": condition.bed.key,
        "planting": condition.planting.key,
        "depth_m": condition.planting.depth_m,
        "today": condition.today.isoformat(),
        "days": days,
        "readings": listed[0],
        "questioned": listed[1],
    }
    return json.dumps(whole, indent=1)


def _plain(value: float) -> float | None:
    return None if np.isnan(value) else round(value, 3)


def picture(report: SoilReport, settings: Settings) -> bytes:
    """The letter's own picture of this bed, as PNG."""
    return chart.soil_chart(report.condition, report.decision.timeline, settings.thresholds)
