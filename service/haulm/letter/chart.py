"""The letter's one picture: the soil's temperature and the rain, as they were and as they are expected.

Set to be read on a narrow screen and in black and white: what was is drawn solid, what is expected is dashed and
hatched, and every line carries its own name.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from haulm.condition import Condition
from haulm.garden import Season, Stage
from haulm.letter import amounts
from haulm.letter.drawing import (
    DOTS_PER_INCH,
    INK,
    SOIL,
    TYPE_POINTS,
    WIDTH_IN,
    in_the_way,
    label_on_line,
    name_days,
    png,
    quiet_axes,
)  # fmt: skip
from haulm.letter.numbers import seed_place
from haulm.letter.water_chart import LABEL_DAYS, DayWater, day_water, draw_day_water
from haulm.settings.thresholds import Thresholds
from haulm.units import Display, fahrenheit_from_celsius
from haulm.weather import DAY, FloatArray, Timeline

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PAST_DAYS = 21
HEIGHT_IN = 7.3
NAME_LENGTH = 22
LAST_LETTER = 0x52F  # DejaVu, which comes with matplotlib, has Latin, Greek and Cyrillic up to here


@dataclass(frozen=True, slots=True, eq=False)
class _Shown:
    """What is drawn, in the reader's units; days count from today."""

    days: FloatArray
    soil: FloatArray
    spread: FloatArray
    read: FloatArray
    water: DayWater
    limit: float | None
    limit_name: str
    today: date
    where: str
    degrees: str


def choose(conditions: Iterable[Condition]) -> Condition | None:
    """The planting that the picture is about: the first that waits to be planted, else the first in the ground."""
    listed = list(conditions)
    waiting = [one for one in listed if one.stage.stage.order < Stage.PLANTED.order]
    in_ground = [one for one in listed if one.stage.stage.order < Stage.LIFTED.order]
    return next(iter(waiting + in_ground), None)


def planting_limit_c(condition: Condition, thresholds: Thresholds) -> float | None:
    """The soil temperature that planting waits for; None once it has been done."""
    if condition.stage.stage.order >= Stage.PLANTED.order:
        return None
    spring = condition.planting.season is Season.SPRING
    return thresholds.planting.soil_ready_spring_c if spring else thresholds.planting.soil_ready_autumn_c


def soil_chart(condition: Condition, timeline: Timeline, thresholds: Thresholds) -> bytes:
    """The picture as PNG, with a palette of few colours."""
    from matplotlib.figure import Figure  # noqa: PLC0415  300 ms that only a letter with a picture should pay

    shown = _shown(condition, timeline, thresholds)
    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), dpi=DOTS_PER_INCH, facecolor="white")
    soil, rain = figure.subplots(2, 1, sharex=True, height_ratios=(1.55, 1.0))
    for axes in (soil, rain):
        _quiet(axes, shown)
    _draw_soil(soil, shown)
    draw_day_water(rain, shown.water)
    _say_not_known(rain, shown, shown.water.rain)
    name_days(rain, shown.today, shown.days)
    figure.subplots_adjust(left=0.02, right=0.89, top=0.945, bottom=0.055, hspace=0.22)
    return png(figure)


def alt_text(condition: Condition, timeline: Timeline, thresholds: Thresholds) -> str:
    """What the picture shows, in numbers."""
    display = condition.garden.place.display
    today = condition.today
    soil_c = _known_soil_c(condition, timeline, thresholds)
    past, ahead = soil_c[:PAST_DAYS], soil_c[PAST_DAYS:]
    told = [f"Soil temperature in {condition.bed.name}, {seed_place(condition)}: {_past_in_words(past, display)}."]
    if np.isfinite(ahead).any():
        told.append(f"Expected to {amounts.day(timeline.days.last, today)}: between {_ends(ahead, display)}.")
    limit_c = planting_limit_c(condition, thresholds)
    if limit_c is not None:
        told.append(f"Planting waits for {amounts.temperature(limit_c, display)}.")
    told.append(_rain_in_words(condition, timeline, thresholds))
    return " ".join(told)


def _past_in_words(past_c: FloatArray, display: Display) -> str:
    if not np.isfinite(past_c).any():
        return f"{amounts.NOT_KNOWN} for the last {amounts.days(PAST_DAYS)}"
    yesterday = amounts.temperature(float(past_c[-1]), display)
    return f"{yesterday} yesterday; over the last {amounts.days(PAST_DAYS)} between {_ends(past_c, display)}"


def _ends(values_c: FloatArray, display: Display) -> str:
    low, high = float(np.nanmin(values_c)), float(np.nanmax(values_c))
    return f"{amounts.temperature(low, display)} and {amounts.temperature(high, display)}"


def _rain_in_words(condition: Condition, timeline: Timeline, thresholds: Thresholds) -> str:
    display = condition.garden.place.display
    first, yesterday = timeline.today - PAST_DAYS * DAY, timeline.today - DAY
    rain = timeline.days.of("rain_mm")
    past, ahead = rain.between(first, yesterday), rain.between(timeline.today, timeline.days.last)
    unknown = int(np.isnan(past).sum())
    gap = f" ({amounts.days(unknown)} {amounts.NOT_KNOWN})" if unknown else ""
    come = amounts.water(float(np.nansum(ahead)), display) if np.isfinite(ahead).any() else amounts.NOT_KNOWN
    lately = condition.water.lately if condition.water else None
    if lately is None:
        told = f"Rain: {amounts.water(float(np.nansum(past)), display)}"
    else:
        came, given = (float(np.nansum(one.between(first, yesterday))) for one in (lately.rain_mm, lately.watered_mm))
        told = f"Rain to the soil: {amounts.water(came, display)}, and {amounts.water(given, display)} watered,"
    told = f"{told} in the last {amounts.days(PAST_DAYS)}{gap}; forecast: {come}."
    if condition.stage.stage is Stage.EMERGED:
        told += f" The weekly target is {amounts.water(thresholds.water.weekly_target_mm, display)}."
    return told


def _shown(condition: Condition, timeline: Timeline, thresholds: Thresholds) -> _Shown:
    us, today = condition.garden.place.display is Display.US, condition.today
    first, last = today - PAST_DAYS * DAY, max(timeline.days.last, today)
    temper, size = (fahrenheit_from_celsius, 1.8) if us else (float, 1.0)
    limit_c = planting_limit_c(condition, thresholds)
    soil_c = _known_soil_c(condition, timeline, thresholds)
    display = condition.garden.place.display
    return _Shown(
        days=np.arange(len(soil_c), dtype=float) - PAST_DAYS,
        soil=soil_c * size + (temper(0.0) if us else 0.0),
        spread=amounts.FOUR_IN_FIVE * condition.soil.spread_c.between(first, last) * size,
        read=_read_c(condition, first, last) * size + (temper(0.0) if us else 0.0),
        water=day_water(condition, timeline, thresholds, PAST_DAYS),
        limit=None if limit_c is None else temper(limit_c),
        limit_name="" if limit_c is None else f"{amounts.temperature(limit_c, display)}, planting",
        today=today,
        where=f"Soil{_in_bed(condition.bed.name)}, {seed_place(condition)}",
        degrees="°F" if us else "°C",
    )


def _read_c(condition: Condition, first: date, last: date) -> FloatArray:
    """What the grower's thermometer read, as means of the day; one that is not believed is not shown."""
    taught = condition.soil.taught
    read_c = np.full((last - first).days + 1, np.nan)
    for one in taught.readings if taught else ():
        if one.believed and first <= one.day <= last:
            read_c[(one.day - first).days] = one.day_mean_c
    return read_c


def _in_bed(name: str) -> str:
    """The bed's name, short enough for the line over the picture; none where the picture's type lacks its letters."""
    if any(ord(letter) > LAST_LETTER for letter in name):
        return ""
    return f" in {name}" if len(name) <= NAME_LENGTH else f" in {name[: NAME_LENGTH - 1].rstrip()}…"


def _known_soil_c(condition: Condition, timeline: Timeline, thresholds: Thresholds) -> FloatArray:
    """The soil from three weeks back to the outlook's end, without what counts as not known."""
    soil, today = condition.soil, condition.today
    first, last = today - PAST_DAYS * DAY, max(timeline.days.last, today)
    soil_c, spread_c = soil.as_it_lies_c.between(first, last), soil.spread_c.between(first, last)
    doubtful = spread_c > thresholds.data.soil_spread_limit_c
    doubtful[PAST_DAYS:] = not soil.known  # ahead, a known soil may grow less sure: the band shows it
    if not soil.known:
        doubtful[PAST_DAYS - 1] = True
    return np.where(doubtful, np.nan, soil_c)


def _quiet(axes: "Axes", shown: _Shown) -> None:
    """A quiet frame, with a fine line for today."""
    quiet_axes(axes)
    axes.axvline(-0.5, color=INK, linewidth=1.2)
    axes.set_xlim(shown.days[0] - 0.7, shown.days[-1] + 0.7)


def _draw_soil(axes: "Axes", shown: _Shown) -> None:
    past, ahead = shown.days < 0, shown.days >= -1
    low, high = shown.soil - shown.spread, shown.soil + shown.spread
    axes.fill_between(shown.days[past], low[past], high[past], color=SOIL, alpha=0.22, linewidth=0)
    axes.fill_between(
        shown.days[ahead], low[ahead], high[ahead], facecolor="none", edgecolor=SOIL, alpha=0.45, hatch="///",
        linewidth=0.8,
    )  # fmt: skip
    axes.plot(shown.days[past], shown.soil[past], color=SOIL, linewidth=3.0)
    axes.plot(shown.days[ahead], shown.soil[ahead], color=SOIL, linewidth=2.6, linestyle=(0, (4, 2)))
    axes.plot(
        shown.days, shown.read, "o", markersize=9, markerfacecolor="white", markeredgecolor=INK, markeredgewidth=1.8
    )  # fmt: skip
    title = f"{shown.where}, {shown.degrees}{' (○ as read)' if np.isfinite(shown.read).any() else ''}"
    axes.set_title(title, fontsize=TYPE_POINTS, color=SOIL, loc="left", y=1.0, pad=10, parse_math=False)
    _limits_of_soil(axes, shown, low, high)
    if shown.limit is not None:
        axes.axhline(shown.limit, color=INK, linewidth=1.6, linestyle=(0, (1, 1.5)))
    _name_lines(axes, shown, high)
    _say_not_known(axes, shown, shown.soil)
    top = axes.get_ylim()[1]
    axes.text(-0.2, top, "today", fontsize=TYPE_POINTS - 1, color=INK, va="top")


def _name_lines(axes: "Axes", shown: _Shown, high: FloatArray) -> None:
    """The limit's name where less is drawn, and at the other end what the shade means."""
    at_end = True
    if shown.limit is not None:
        busy = in_the_way(axes, shown.soil, shown.limit)
        at_end = bool(busy[-LABEL_DAYS:].sum() < busy[:LABEL_DAYS].sum())
        x, side = (shown.days[-1] + 0.4, "right") if at_end else (shown.days[0] - 0.4, "left")
        label_on_line(axes, x, shown.limit, shown.limit_name, side)
    known = np.flatnonzero(np.isfinite(high))
    ends = known[:LABEL_DAYS] if at_end else known[-LABEL_DAYS:]
    if ends.size:
        x, side = (shown.days[ends[0]] - 0.4, "left") if at_end else (shown.days[ends[-1]] + 0.4, "right")
        label_on_line(axes, x, float(high[ends].max()), "shade: 4 cases in 5", side)


def _limits_of_soil(axes: "Axes", shown: _Shown, low: FloatArray, high: FloatArray) -> None:
    limits = [] if shown.limit is None else [shown.limit]
    values = np.concatenate([low, high, shown.soil, shown.read])
    seen = [*values[np.isfinite(values)], *limits]
    if seen:
        room = max(0.12 * (max(seen) - min(seen)), 1.0)
        axes.set_ylim(min(seen) - room, max(seen) + 2.0 * room)
    axes.locator_params(axis="y", nbins=5)


def _say_not_known(axes: "Axes", shown: _Shown, values: FloatArray) -> None:
    """What is blank because it is not known says so, before today and after."""
    for side, middle in ((shown.days < 0, -PAST_DAYS / 2.0), (shown.days >= 0, float(shown.days[-1]) / 2.0)):
        if not np.isfinite(values[side]).any() and np.count_nonzero(side) >= LABEL_DAYS // 2:
            low, high = axes.get_ylim()
            height = low + 0.25 * (high - low)
            axes.text(middle, height, amounts.NOT_KNOWN, fontsize=TYPE_POINTS - 1, color=INK, ha="center")
