"""`haulm season`: when to plant a bed, by the place's own years, and when frost comes there."""

import json
from collections.abc import Iterator
from datetime import date, datetime, timedelta

import numpy as np

from haulm.beds.chances import FrostYears, frost_has_come, frost_still_comes, frost_years, frosts_at
from haulm.beds.forcing import climate_of
from haulm.beds.windows import Sown, limits_of, windows_of, year_fates
from haulm.errors import SourceError
from haulm.garden import Garden, What
from haulm.jobs.morning import Thought, think
from haulm.jobs.note_words import find_spot
from haulm.jobs.state_folder import StateFolder
from haulm.letter import season, year_chart
from haulm.letter.season import FrostRow, SeasonTold, WindowFrost, ring_date
from haulm.science.climatology import FROST_LIMITS_C, bounded_chance
from haulm.science.crop_fates import FloatArray
from haulm.science.windows import CLASSES, RING_DAYS, Window, YearFates, closest, shares
from haulm.settings.load import Settings
from haulm.store.journal_file import read_journal
from haulm.weather import Timeline

VERSION = 1


def season_told(
    settings: Settings,
    state: StateFolder,
    now: datetime,
    bed: str,
    asked: date | None,
    thought: Thought | None = None,
) -> SeasonTold:
    """Work out the year of a bed; the first one where none is named.

    `thought` is what `think` found at `now`, where that is known already.

    Raises
    ------
    JournalError
        No bed or planting is called so.
    SourceError
        No weather of the place can be had.
    """
    garden, thresholds = settings.garden, settings.thresholds
    observed, decision = thought or think(settings, state, now, now)
    if observed.record is None:
        raise SourceError("there is no weather to go by", remedy=" ".join(observed.notices))
    timeline = decision.timeline
    sown = _sown(garden, bed)
    climate = climate_of(timeline, observed.told, garden.place.latitude_deg)
    journal = read_journal(state.journal(garden))[0].known(now, decision.today)
    found = year_fates(timeline, climate, garden.place, sown, thresholds, journal)
    listed = windows_of(found, thresholds)
    killing = frost_years(timeline, garden.place, thresholds)
    return SeasonTold(
        place=garden.place,
        bed=sown.bed,
        depth_m=sown.depth_m,
        readings=len(journal.of(sown.bed.key, "", What.SOIL_READ)) if sown.planting else 0,
        station=timeline.origin.name,
        thresholds=thresholds,
        found=found,
        shares=shares(found),
        windows=listed,
        frosts_of=tuple(_frost_of(window, killing, decision.today) for window in listed),
        closest=None if listed else closest(found, limits_of(thresholds)),
        frosts=_frosts(timeline, garden, asked),
        frost_after_shoots=_frost_after_shoots(found, killing, decision.today.year),
        asked=asked,
    )


def _sown(garden: Garden, named: str) -> Sown:
    """A bed, and the first of what is planned in it."""
    planned = {planting.bed: planting for planting in reversed(garden.plantings)}
    spot = find_spot(garden, named) if named else None
    if spot is None:
        bed = next((one for one in garden.beds if one.key in planned), garden.beds[0])
        planting = planned.get(bed.key)
    else:
        bed, planting = spot.bed, spot.planting or planned.get(spot.bed.key)
    return Sown(bed, planting)


def _frosts(timeline: Timeline, garden: Garden, asked: date | None) -> tuple[FrostRow, ...]:
    place, rows = garden.place, []
    for limit_c in FROST_LIMITS_C:
        frosts = frosts_at(timeline, place, limit_c + place.clear_night_offset_c)
        still = frost_still_comes(frosts, asked) if asked else None
        come = frost_has_come(frosts, asked) if asked else None
        rows.append(FrostRow(limit_c, frosts.last, frosts.first, come if still is None else still, still is not None))
    return tuple(rows)


def _frost_after_shoots(found: YearFates, killing: FrostYears, year: int) -> tuple[float | None, ...]:
    """By the fitted dates, for each planting day with the early shoots of its middle year; None outside the spring."""
    if not found.years.size:
        return (None,) * RING_DAYS
    early_days = np.median(found.early_days, axis=0)
    shoots = (date(year, 1, 1) + timedelta(days=at + round(float(early))) for at, early in enumerate(early_days))
    return tuple(frost_still_comes(killing, day) for day in shoots)


def _frost_of(window: Window, killing: FrostYears, today: date) -> WindowFrost:
    """By the fitted dates, for the best day of the window: after the shoots, and between them and a young crop."""
    planted = date(today.year, 1, 1) + timedelta(days=window.best)
    shoots = planted + timedelta(days=window.shoots_days[0])
    grown = planted + timedelta(days=window.young_day)
    by_grown = frost_has_come(killing, grown) if window.young_day else None
    if by_grown is not None:
        between = by_grown - (frost_has_come(killing, shoots) or 0.0)
        by_grown = float(bounded_chance(between, killing.first.years))
    return WindowFrost(frost_still_comes(killing, shoots), by_grown)


def as_lines(told: SeasonTold) -> Iterator[str]:
    """The windows, the table of planting days and the frosts, for a terminal of 80 columns."""
    return season.as_lines(told)


def picture(told: SeasonTold) -> bytes:
    """The picture of the year, as PNG."""
    return year_chart.year_chart(told)


def as_json(told: SeasonTold) -> str:
    """Version 1: years, windows, frosts, and for each planting day of the year the shares of years; months-days."""
    each = told.shares
    columns = {
        "soil": each.soil,
        "shoots": each.shoots,
        "nights": each.nights,
        "warmth": each.warmth,
        **{f"young_{name}": each.young[row] for row, name in enumerate(CLASSES)},
        **{f"ripe_{name}": each.ripe[row] for row, name in enumerate(CLASSES)},
    }
    whole = {
        "version": VERSION,
        "place": told.place.name,
        "bed": told.bed.key,
        "depth_m": told.depth_m,
        "years": [int(year) for year in told.found.years],
        "windows": [_window(*both) for both in zip(told.windows, told.frosts_of, strict=True)],
        "frosts": [_frost(row) for row in told.frosts],
        "days": {
            "planted": [_month_day(day) for day in range(RING_DAYS)],
            "years": [int(count) for count in each.years],
            **{f"{name}_share": _plain(column) for name, column in columns.items()},
            "frost_after_shoots": [_rounded(chance) for chance in told.frost_after_shoots],
        },
    }
    return json.dumps(whole, indent=1)


def _window(window: Window, frost: WindowFrost) -> dict[str, object]:
    return {
        "good": window.good,
        "whole_year": window.whole_year,
        "first": _month_day(window.first),
        "best": _month_day(window.best),
        "last": _month_day(window.last),
        "about": [_month_day(day) for day in window.about],
        "share": round(window.share, 3),
        "class": window.maturity,
        "ripens": window.ripens,
        "ripe_share": dict(zip(CLASSES, (round(share, 3) for share in window.ripe_shares), strict=True)),
        "years": window.years,
        "failed": {str(year): why.name.lower().replace("_", " ") for year, why in window.failed},
        "left_out": list(window.left_out),
        "shoots_days": list(window.shoots_days),
        "young_days": window.young_day or None,
        "lift_days": list(window.lift_days) if window.young_day else None,
        "frost_after_shoots": _rounded(frost.after_shoots),
        "frost_before_grown": _rounded(frost.before_grown),
    }


def _frost(row: FrostRow) -> dict[str, object]:
    last, first = (
        {
            "share": _rounded(dates.share),
            "mean_day": _rounded(dates.mean_day),
            "spread_days": _rounded(dates.spread_days),
            "years": dates.years,
        }
        for dates in (row.last, row.first)
    )
    return {"garden_c": round(row.limit_c, 3), "last": last, "first": first}


def _month_day(position: int) -> str:
    return f"{ring_date(position):%m-%d}"


def _plain(shares_of_years: FloatArray) -> list[float | None]:
    return [_rounded(float(share)) for share in shares_of_years]


def _rounded(value: float | None) -> float | None:
    return None if value is None or np.isnan(value) else round(value, 3)
