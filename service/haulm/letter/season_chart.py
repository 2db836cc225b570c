"""The picture of a bed's season so far: soil by day, and rain and waterings by week."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from haulm.condition import Condition
from haulm.letter import amounts
from haulm.letter.drawing import DOTS_PER_INCH, INK, RAIN, SOIL, TYPE_POINTS, WIDTH_IN, name_places, png, quiet_axes
from haulm.units import Display, fahrenheit_from_celsius, inches_from_mm
from haulm.weather import DAY, Daily, FloatArray, Timeline

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HEIGHT_IN = 7.3
WEEK = 7
LABEL_ROWS = 3  # names of noted days are set in so many rows, so that near ones do not cover each other


@dataclass(frozen=True, slots=True)
class Mark:
    """A noted day that the picture names."""

    day: date
    name: str


@dataclass(frozen=True, slots=True, eq=False)
class Season:
    """What is drawn: days from `first` to yesterday; `watered_mm` runs over the same days."""

    condition: Condition
    timeline: Timeline
    first: date
    watered_mm: Daily
    marks: tuple[Mark, ...]


def season_chart(season: Season) -> bytes:
    """The picture as PNG."""
    from matplotlib.figure import Figure  # noqa: PLC0415  300 ms that only a page with a picture should pay

    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), dpi=DOTS_PER_INCH, facecolor="white")
    soil, water = figure.subplots(2, 1, sharex=True, height_ratios=(1.5, 1.0))
    days = np.arange((season.condition.today - season.first).days, dtype=np.float64)
    for axes in (soil, water):
        quiet_axes(axes)
        axes.set_xlim(-0.7, max(len(days), 14) - 0.3)
    _draw_soil(soil, season, days)
    _draw_water(water, season, days)
    _name_months(water, season, len(days))
    figure.subplots_adjust(left=0.02, right=0.89, top=0.945, bottom=0.055, hspace=0.22)
    return png(figure)


def season_alt_text(season: Season) -> str:
    """What the picture shows, in numbers."""
    display, last = season.condition.garden.place.display, season.condition.today - DAY
    soil_c = season.condition.soil.as_it_lies_c.between(season.first, last)
    rain_mm, watered_mm = _daily(season, last)
    since = amounts.day(season.first, season.condition.today)
    known = np.isfinite(soil_c).any()
    ends = amounts.temperatures(float(np.nanmin(soil_c)), float(np.nanmax(soil_c)), display) if known else "not known"
    return (
        f"{season.condition.bed.name} since {since}: soil from day to day {ends}; "
        f"{amounts.water(float(np.nansum(rain_mm)), display)} of rain, "
        f"{amounts.water(float(watered_mm.sum()), display)} watered."
    )


def _daily(season: Season, last: date) -> tuple[FloatArray, FloatArray]:
    rain_mm = season.timeline.days.of("rain_mm").between(season.first, last)
    return rain_mm, np.nan_to_num(season.watered_mm.between(season.first, last))


def _draw_soil(axes: "Axes", season: Season, days: FloatArray) -> None:
    condition, last = season.condition, season.condition.today - DAY
    us = condition.garden.place.display is Display.US
    size, zero = (1.8, fahrenheit_from_celsius(0.0)) if us else (1.0, 0.0)
    soil = condition.soil.as_it_lies_c.between(season.first, last) * size + zero
    spread = amounts.FOUR_IN_FIVE * condition.soil.spread_c.between(season.first, last) * size
    axes.fill_between(days, soil - spread, soil + spread, color=SOIL, alpha=0.22, linewidth=0)
    axes.plot(days, soil, color=SOIL, linewidth=2.6)
    low, high = np.nanmin([*(soil - spread), zero + 20.0]), np.nanmax([*(soil + spread), zero])
    axes.set_ylim(low - 0.05 * (high - low), high + 0.35 * (high - low))
    axes.locator_params(axis="y", nbins=5)
    title = f"Soil where the seed lies, {'°F' if us else '°C'}; shade: 4 cases in 5"
    axes.set_title(title, fontsize=TYPE_POINTS, color=SOIL, loc="left", pad=10)
    _name_marks(axes, season)


def _name_marks(axes: "Axes", season: Season) -> None:
    """Each noted day is a fine line with its name beside the top of it; near ones one below the other."""
    low, top = axes.get_ylim()
    step = 0.075 * (top - low)
    for place, mark in enumerate(mark for mark in season.marks if mark.day >= season.first):
        at = (mark.day - season.first).days
        axes.axvline(at, color=INK, linewidth=1.0)
        right = at > 0.7 * axes.get_xlim()[1]
        axes.text(
            at + (-0.6 if right else 0.6), top - step * (place % LABEL_ROWS), mark.name, fontsize=TYPE_POINTS - 2,
            color=INK, va="top", ha="right" if right else "left",
        )  # fmt: skip


def _draw_water(axes: "Axes", season: Season, days: FloatArray) -> None:
    """Whole weeks up to yesterday: rain below, waterings on top of it."""
    us = season.condition.garden.place.display is Display.US
    unit = inches_from_mm(1.0) if us else 1.0
    rain_mm, watered_mm = _daily(season, season.condition.today - DAY)
    ends = np.arange(len(days), 0, -WEEK)[::-1]
    starts = np.maximum(ends - WEEK, 0)
    rain = np.array([np.nansum(rain_mm[a:b]) for a, b in zip(starts, ends, strict=True)]) * unit
    given = np.array([watered_mm[a:b].sum() for a, b in zip(starts, ends, strict=True)]) * unit
    middles = (starts + ends - 1) / 2.0
    axes.bar(middles, rain, width=WEEK * 0.8, color=RAIN)
    axes.bar(middles, given, bottom=rain, width=WEEK * 0.8, facecolor="white", edgecolor=RAIN, linewidth=1.6)
    axes.set_ylim(0.0, max(float((rain + given).max(initial=0.0)), unit) * 1.25)
    axes.locator_params(axis="y", nbins=4)
    title = f"Each week, {'in' if us else 'mm'}: rain that fell full, watered open"
    axes.set_title(title, fontsize=TYPE_POINTS, color=RAIN, loc="left", pad=8)
    for at in np.flatnonzero([np.isnan(rain_mm[a:b]).any() for a, b in zip(starts, ends, strict=True)]):
        axes.text(middles[at], 0.0, "?", fontsize=TYPE_POINTS - 3, color=INK, ha="center", va="bottom")


def _name_months(axes: "Axes", season: Season, count: int) -> None:
    every = 1 if count > 2 * 31 else 2 if count > 31 else 4  # a name for each month, or for more days of a short season
    named = [season.first + timedelta(days=ahead) for ahead in range(count)]
    wanted = {1} if every == 1 else {1, 15} if every == 2 else {1, 8, 15, 22}
    shown = [(place, day) for place, day in enumerate(named) if day.day in wanted]
    name_places(axes, [place for place, _ in shown], [day for _, day in shown])
