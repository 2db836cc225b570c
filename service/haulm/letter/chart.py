"""The letter's one picture: the soil's temperature and the rain, as they were and as they are expected.

Set to be read on a narrow screen and in black and white: what was is drawn solid, what is expected is dashed and
hatched, and every line carries its own name.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from haulm.condition import Condition
from haulm.garden import Season, Stage
from haulm.letter import amounts
from haulm.letter.drawing import DOTS_PER_INCH, INK, RAIN, SOIL, TYPE_POINTS, WIDTH_IN, png, quiet_axes
from haulm.letter.numbers import seed_place
from haulm.settings.thresholds import Thresholds
from haulm.units import Display, fahrenheit_from_celsius, inches_from_mm
from haulm.weather import DAY, FloatArray, Timeline

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PAST_DAYS = 21
WEEK = 7
HEIGHT_IN = 7.3
NAME_LENGTH = 22
LAST_LETTER = 0x52F  # DejaVu, which comes with matplotlib, has Latin, Greek and Cyrillic up to here
LABEL_DAYS = 9  # about the width of a line's name


@dataclass(frozen=True, slots=True, eq=False)
class _Shown:
    """What is drawn, in the reader's units; days count from today."""

    days: FloatArray
    soil: FloatArray
    spread: FloatArray
    read: FloatArray
    rain: FloatArray
    week_rain: FloatArray
    target: float
    limit: float | None
    limit_name: str
    today: date
    where: str
    degrees: str
    depth: str


def choose(conditions: Iterable[Condition]) -> Condition | None:
    """The planting that the picture is about: the first that waits to be planted, else the first in the ground."""
    listed = list(conditions)
    waiting = [one for one in listed if one.stage.stage.order < Stage.PLANTED.order]
    in_ground = [one for one in listed if one.stage.stage.order < Stage.LIFTED.order]
    return next(iter(waiting + in_ground), None)


def planting_limit_c(condition: Condition, thresholds: Thresholds) -> float | None:
    """The soil temperature that planting waits for; None once the shoots are out."""
    if condition.stage.stage.order > Stage.PLANTED.order:
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
    _draw_rain(rain, shown)
    _name_days(rain, shown)
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
    told.append(_rain_in_words(timeline, thresholds, display))
    return " ".join(told)


def _past_in_words(past_c: FloatArray, display: Display) -> str:
    if not np.isfinite(past_c).any():
        return f"{amounts.NOT_KNOWN} for the last {amounts.days(PAST_DAYS)}"
    yesterday = amounts.temperature(float(past_c[-1]), display)
    return f"{yesterday} yesterday; over the last {amounts.days(PAST_DAYS)} between {_ends(past_c, display)}"


def _ends(values_c: FloatArray, display: Display) -> str:
    low, high = float(np.nanmin(values_c)), float(np.nanmax(values_c))
    return f"{amounts.temperature(low, display)} and {amounts.temperature(high, display)}"


def _rain_in_words(timeline: Timeline, thresholds: Thresholds, display: Display) -> str:
    rain = timeline.days.of("rain_mm")
    past = rain.between(timeline.today - PAST_DAYS * DAY, timeline.today - DAY)
    ahead = rain.between(timeline.today, timeline.days.last)
    unknown = int(np.isnan(past).sum())
    gap = f" ({amounts.days(unknown)} {amounts.NOT_KNOWN})" if unknown else ""
    come = amounts.water(float(np.nansum(ahead)), display) if np.isfinite(ahead).any() else amounts.NOT_KNOWN
    target = amounts.water(thresholds.water.weekly_target_mm, display)
    return (
        f"Rain: {amounts.water(float(np.nansum(past)), display)} in the last {amounts.days(PAST_DAYS)}{gap}; "
        f"forecast: {come}. The weekly target is {target}."
    )


def _shown(condition: Condition, timeline: Timeline, thresholds: Thresholds) -> _Shown:
    us, today = condition.garden.place.display is Display.US, condition.today
    first, last = today - PAST_DAYS * DAY, max(timeline.days.last, today)
    temper, size, depth = (fahrenheit_from_celsius, 1.8, inches_from_mm) if us else (float, 1.0, float)
    limit_c = planting_limit_c(condition, thresholds)
    rain_mm = timeline.days.of("rain_mm").between(first - (WEEK - 1) * DAY, last)
    week_mm = np.lib.stride_tricks.sliding_window_view(rain_mm, WEEK).sum(axis=1)
    soil_c = _known_soil_c(condition, timeline, thresholds)
    display = condition.garden.place.display
    return _Shown(
        days=np.arange(len(soil_c), dtype=float) - PAST_DAYS,
        soil=soil_c * size + (temper(0.0) if us else 0.0),
        spread=condition.soil.spread_c.between(first, last) * size,
        read=_read_c(condition, first, last) * size + (temper(0.0) if us else 0.0),
        rain=rain_mm[WEEK - 1 :] * depth(1.0),
        week_rain=week_mm * depth(1.0),
        target=depth(thresholds.water.weekly_target_mm),
        limit=None if limit_c is None else temper(limit_c),
        limit_name="" if limit_c is None else f"{amounts.temperature(limit_c, display)}, planting",
        today=today,
        where=f"Soil{_in_bed(condition.bed.name)}, {seed_place(condition)}",
        degrees="°F" if us else "°C",
        depth="in" if us else "mm",
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
    axes.set_title(title, fontsize=TYPE_POINTS, color=SOIL, loc="left", pad=10, parse_math=False)
    _limits_of_soil(axes, shown, low, high)
    if shown.limit is not None:
        axes.axhline(shown.limit, color=INK, linewidth=1.6, linestyle=(0, (1, 1.5)))
        _label(axes, shown, shown.limit, shown.limit_name, _in_the_way(axes, shown.soil, shown.limit))
    _say_not_known(axes, shown, shown.soil)
    top = axes.get_ylim()[1]
    axes.text(-0.2, top, "today", fontsize=TYPE_POINTS - 1, color=INK, va="top")


def _limits_of_soil(axes: "Axes", shown: _Shown, low: FloatArray, high: FloatArray) -> None:
    limits = [] if shown.limit is None else [shown.limit]
    values = np.concatenate([low, high, shown.soil, shown.read])
    seen = [*values[np.isfinite(values)], *limits]
    if seen:
        room = max(0.12 * (max(seen) - min(seen)), 1.0)
        axes.set_ylim(min(seen) - room, max(seen) + 2.0 * room)
    axes.locator_params(axis="y", nbins=5)


def _draw_rain(axes: "Axes", shown: _Shown) -> None:
    past, ahead = shown.days < 0, shown.days >= 0
    bars = np.where(shown.rain > 0.0, shown.rain, np.nan)  # a bar of no height would draw its edge
    axes.bar(shown.days[past], bars[past], width=0.75, color=RAIN)
    axes.bar(shown.days[ahead], bars[ahead], width=0.75, facecolor="white", edgecolor=RAIN, hatch="////", linewidth=1.2)
    joined = shown.days >= -1
    axes.plot(shown.days[past], shown.week_rain[past], color=INK, linewidth=1.8)
    axes.plot(shown.days[joined], shown.week_rain[joined], color=INK, linewidth=1.8, linestyle=(0, (4, 2)))
    axes.axhline(shown.target, color=INK, linewidth=1.6, linestyle=(0, (1, 1.5)))
    tallest = np.nanmax(np.concatenate([shown.rain, shown.week_rain, [shown.target]]))
    axes.set_ylim(0.0, float(tallest) * 1.22)
    axes.locator_params(axis="y", nbins=4)
    axes.set_title(
        f"Rain, {shown.depth}: bars each day, line 7 days together", fontsize=TYPE_POINTS, color=RAIN, loc="left", pad=8
    )
    target = f"{amounts.plain(shown.target, 1)} {shown.depth}, target for 7 days"
    _label(axes, shown, shown.target, target, _in_the_way(axes, shown.week_rain, shown.target) | (bars > shown.target))
    _say_not_known(axes, shown, shown.rain)
    if np.isfinite(shown.rain[past]).any():
        for day in shown.days[past & np.isnan(shown.rain)]:
            axes.text(day, 0.0, "?", fontsize=TYPE_POINTS - 3, color=RAIN, ha="center", va="bottom")


def _label(axes: "Axes", shown: _Shown, height: float, text: str, in_the_way: NDArray[np.bool_]) -> None:
    """A line's name on the line, at the end where less is drawn; a white edge keeps it legible."""
    from matplotlib.patheffects import withStroke  # noqa: PLC0415  late, as matplotlib itself

    at_end = in_the_way[-LABEL_DAYS:].sum() < in_the_way[:LABEL_DAYS].sum()
    x, side = (shown.days[-1] + 0.4, "right") if at_end else (shown.days[0] - 0.4, "left")
    label = axes.text(x, height, text, fontsize=TYPE_POINTS - 1, color=INK, va="bottom", ha=side)
    label.set_path_effects([withStroke(linewidth=4, foreground="white")])


def _in_the_way(axes: "Axes", values: FloatArray, height: float) -> NDArray[np.bool_]:
    """The days on which a curve runs where a name would stand on a level line."""
    low, high = axes.get_ylim()
    above = (values - height) / (high - low)
    return (above > -0.02) & (above < 0.14)


def _say_not_known(axes: "Axes", shown: _Shown, values: FloatArray) -> None:
    """What is blank because it is not known says so, before today and after."""
    for side, middle in ((shown.days < 0, -PAST_DAYS / 2.0), (shown.days >= 0, float(shown.days[-1]) / 2.0)):
        if not np.isfinite(values[side]).any() and np.count_nonzero(side) >= LABEL_DAYS // 2:
            low, high = axes.get_ylim()
            height = low + 0.25 * (high - low)
            axes.text(middle, height, amounts.NOT_KNOWN, fontsize=TYPE_POINTS - 1, color=INK, ha="center")


def _name_days(axes: "Axes", shown: _Shown) -> None:
    mondays = [day for day in shown.days if (shown.today + timedelta(days=int(day))).weekday() == 0]
    named = [shown.today + timedelta(days=int(day)) for day in mondays]
    axes.set_xticks(mondays, [f"{day.day} {amounts.MONTHS[day.month - 1][:3]}" for day in named])
