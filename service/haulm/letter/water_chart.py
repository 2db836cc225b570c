"""The picture of a bed's water: what came each day, the week's sum against its target, and the root zone."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from haulm.bed_water import WaterNow
from haulm.condition import Condition
from haulm.garden import Stage
from haulm.letter import amounts
from haulm.letter.drawing import (
    DOTS_PER_INCH,
    INK,
    RAIN,
    TYPE_POINTS,
    WIDTH_IN,
    in_the_way,
    label_on_line,
    name_days,
    png,
    quiet_axes,
)  # fmt: skip
from haulm.settings.thresholds import Thresholds
from haulm.units import Display, inches_from_mm
from haulm.weather import DAY, FloatArray, Timeline

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HEIGHT_IN = 6.6
WEEK = 7
PAST_DAYS = 28
LABEL_DAYS = 9  # about the width of a line's name
DRINKING = frozenset({Stage.PLANTED, Stage.EMERGED, Stage.DYING_BACK})
AIMED_AT = frozenset({Stage.EMERGED})


@dataclass(frozen=True, slots=True, eq=False)
class DayWater:
    """Water a day in the reader's unit; days count from today.

    `rain` is what passed the straw where a crop's water is known, else what fell; what is still to come falls as it is
    forecast. `week` is the sum of the seven days up to each past day; `target` is None where no week is aimed at.
    """

    days: FloatArray
    rain: FloatArray
    watered: FloatArray
    week: FloatArray
    target: float | None
    unit: str
    through_straw: bool

    @property
    def title(self) -> str:
        """What the bars and the line are, in a line."""
        if self.target is None and not self.watered.any():
            return f"{'Rain to the soil' if self.through_straw else 'Rain'} each day, {self.unit}: forecast hatched"
        line = "" if self.target is None else ", line 7 days"
        return f"Water, {self.unit}: rain full, watered open{line}"


def day_water(condition: Condition, timeline: Timeline, thresholds: Thresholds, past_days: int) -> DayWater:
    """What a picture shows of the water of some weeks, and of what is forecast."""
    today, last = condition.today, max(timeline.days.last, condition.today)
    us = condition.garden.place.display is Display.US
    unit = inches_from_mm(1.0) if us else 1.0
    days = np.arange((last - today).days + 1 + past_days, dtype=float) - past_days
    fell = timeline.days.of("rain_mm").between(today - past_days * DAY, last)
    lately = condition.water.lately if condition.water else None
    rain, watered, week = fell.copy(), np.zeros(len(days)), np.full(len(days), np.nan)
    if lately is not None:
        first = today - (past_days + WEEK - 1) * DAY
        came = lately.rain_mm.between(first, today - DAY)
        given = np.nan_to_num(lately.watered_mm.between(first, today - DAY))
        known = np.isfinite(fell[:past_days])
        rain[:past_days] = np.where(known, came[WEEK - 1 :], np.nan)
        watered[:past_days] = given[WEEK - 1 :]
        week[:past_days] = np.lib.stride_tricks.sliding_window_view(came + given, WEEK).sum(axis=1)
    aimed = lately is not None and condition.stage.stage in AIMED_AT
    target = thresholds.water.weekly_target_mm * unit if aimed else None
    return DayWater(
        days, rain * unit, watered * unit, week * unit, target, "in" if us else "mm", lately is not None
    )  # fmt: skip


def draw_day_water(axes: "Axes", shown: DayWater) -> None:
    """Bars of each day, and where a week is aimed at, its sum and its target as lines that carry their names."""
    past, ahead = shown.days < 0, shown.days >= 0
    # Only what came: a bar of no height would draw its edge, and a bar that is not there still takes its time.
    fell, given, coming = past & (shown.rain > 0.0), past & (shown.watered > 0.0), ahead & (shown.rain > 0.0)
    axes.bar(shown.days[fell], shown.rain[fell], width=0.75, color=RAIN)
    axes.bar(
        shown.days[given], shown.watered[given], bottom=np.nan_to_num(shown.rain[given]), width=0.75, facecolor="white",
        edgecolor=RAIN, linewidth=1.6,
    )  # fmt: skip
    axes.bar(
        shown.days[coming], shown.rain[coming], width=0.75, facecolor="white", edgecolor=RAIN, hatch="////",
        linewidth=1.2,
    )  # fmt: skip
    both = np.nan_to_num(shown.rain) + shown.watered
    tallest = max(float(both.max(initial=0.0)), shown.target or 0.0)
    if shown.target is not None:
        axes.plot(shown.days[past], shown.week[past], color=INK, linewidth=1.8)
        axes.axhline(shown.target, color=INK, linewidth=1.6, linestyle=(0, (1, 1.5)))
        tallest = max(tallest, float(np.nan_to_num(shown.week).max()))
    axes.set_ylim(0.0, (tallest or 1.0) * 1.22)
    axes.locator_params(axis="y", nbins=4)
    axes.set_title(shown.title, fontsize=TYPE_POINTS, color=RAIN, loc="left", y=1.0, pad=8)
    if shown.target is not None:
        _name_target(axes, shown, both)
    if np.isfinite(shown.rain[past]).any():
        for day in shown.days[past & np.isnan(shown.rain)]:
            axes.text(day, 0.0, "?", fontsize=TYPE_POINTS - 3, color=RAIN, ha="center", va="bottom")


def _name_target(axes: "Axes", shown: DayWater, both: FloatArray) -> None:
    target = shown.target or 0.0
    busy = in_the_way(axes, shown.week, target) | (both > target)
    at_end = busy[-LABEL_DAYS:].sum() < busy[:LABEL_DAYS].sum()
    x, side = (shown.days[-1] + 0.4, "right") if at_end else (shown.days[0] - 0.4, "left")
    label_on_line(axes, x, target, f"{amounts.plain(target, 1)} {shown.unit}, target for 7 days", side)


def water_chart(condition: Condition, timeline: Timeline, thresholds: Thresholds) -> bytes | None:
    """The water of four weeks as PNG; None where no crop stands in the bed, or nothing is known of its water."""
    from matplotlib.figure import Figure  # noqa: PLC0415  300 ms that only a page with a picture should pay

    water = condition.water
    if water is None or water.lately is None or condition.stage.stage not in DRINKING:
        return None
    shown = day_water(condition, timeline, thresholds, PAST_DAYS)
    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), dpi=DOTS_PER_INCH, facecolor="white")
    came, zone = figure.subplots(2, 1, sharex=True, height_ratios=(1.0, 1.0))
    for axes in (came, zone):
        quiet_axes(axes)
        axes.axvline(-0.5, color=INK, linewidth=1.2)
        axes.set_xlim(shown.days[0] - 0.7, shown.days[-1] + 0.7)
    draw_day_water(came, shown)
    _draw_root_zone(zone, water, condition, shown)
    name_days(zone, condition.today, shown.days)
    figure.subplots_adjust(left=0.02, right=0.89, top=0.94, bottom=0.06, hspace=0.25)
    return png(figure)


def _draw_root_zone(axes: "Axes", water: WaterNow, condition: Condition, shown: DayWater) -> None:
    """How far the root zone stands below full, full at the top, and from where on the plants feel it."""
    if water.lately is None:
        return
    today, us = condition.today, condition.garden.place.display is Display.US
    unit = inches_from_mm(1.0) if us else 1.0
    first, last = today - PAST_DAYS * DAY, today + int(shown.days[-1]) * DAY
    past = water.lately.depletion_mm.between(first, today - DAY) * unit
    ready = water.lately.ready_mm.between(first, today - DAY) * unit
    ahead = water.outlook_depletion_mm.between(today, min(last, today + (WEEK - 1) * DAY)) * unit
    behind = shown.days[: len(past)]
    axes.plot(behind, past, color=RAIN, linewidth=2.6)
    axes.plot(
        np.arange(-1, len(ahead), dtype=float), [past[-1], *ahead], color=RAIN, linewidth=2.4, linestyle=(0, (4, 2))
    )
    axes.plot(behind, ready, color=INK, linewidth=1.6, linestyle=(0, (1, 1.5)))
    axes.plot([-0.5, shown.days[-1]], [ready[-1]] * 2, color=INK, linewidth=1.6, linestyle=(0, (1, 1.5)))
    deepest = float(np.nanmax([*past, *ahead, *ready]))
    axes.set_ylim(1.15 * deepest, -0.06 * deepest)
    axes.locator_params(axis="y", nbins=4)
    title = f"Root zone, {shown.unit} short of full; dashed: unwatered"
    axes.set_title(title, fontsize=TYPE_POINTS - 1, color=RAIN, loc="left", pad=8)
    label_on_line(axes, shown.days[-1] + 0.4, float(ready[-1]), "plants feel it", "right")


def water_alt_text(condition: Condition, timeline: Timeline, thresholds: Thresholds) -> str:
    """What the picture shows, in numbers."""
    water, display, today = condition.water, condition.garden.place.display, condition.today
    if water is None or water.lately is None:
        return ""
    first, yesterday = today - PAST_DAYS * DAY, today - DAY
    rain = float(np.nansum(water.lately.rain_mm.between(first, yesterday)))
    given = float(np.nansum(water.lately.watered_mm.between(first, yesterday)))
    had = amounts.water(water.week_effective_mm + water.week_watered_mm, display)
    aimed = condition.stage.stage in AIMED_AT
    target = f" of the {amounts.water(thresholds.water.weekly_target_mm, display)} aimed at" if aimed else ""
    ahead = timeline.days.of("rain_mm").between(today, timeline.days.last)
    coming = amounts.water(float(np.nansum(ahead)), display) if np.isfinite(ahead).any() else amounts.NOT_KNOWN
    return (
        f"Water of {condition.bed.name} in the last {amounts.days(PAST_DAYS)}: {amounts.water(rain, display)} of rain "
        f"reached the soil, {amounts.water(given, display)} watered; in the last 7 days {had}{target}; forecast: "
        f"{coming}. The root zone is {amounts.water(water.depletion_low_mm, display)} short of full; plants feel it "
        f"from {amounts.water(water.ready_mm, display)}."
    )
