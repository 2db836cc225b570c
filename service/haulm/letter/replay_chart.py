"""The picture of a replay: planting days, water and frost calls by year, each variant beside the others."""

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from haulm.letter.drawing import DOTS_PER_INCH, INK, RAIN, SOIL, TYPE_POINTS, WIDTH_IN, png, quiet_axes
from haulm.units import Display, gallons_from_litres

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HEIGHT_IN = 9.0
ROOM_DAYS = 8  # above and below the marks, so that a named day is among them
COLOURS = (INK, SOIL, RAIN, "#6b7f2a")
MARKS = ("o", "s", "^", "D")
HATCHES = ("", "///", "...", "xxx")


@dataclass(frozen=True, slots=True)
class Told:
    """One variant: the day it was first told to plant (year, day), and by year the water [l] and the nights.

    `nights` are hit, missed and false.
    """

    name: str
    ready: tuple[tuple[int, date], ...]
    years: tuple[int, ...]
    litres: tuple[float, ...]
    nights: tuple[tuple[int, int, int], ...]


@dataclass(frozen=True, slots=True)
class Shown:
    """All that is drawn."""

    place: str
    display: Display
    variants: tuple[Told, ...]


def replay_chart(shown: Shown) -> bytes:
    """The picture as PNG."""
    from matplotlib.figure import Figure  # noqa: PLC0415  late: only a picture pays for it

    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), dpi=DOTS_PER_INCH, facecolor="white")
    ready, water, nights = figure.subplots(3, 1, sharex=True)
    for axes in (ready, water, nights):
        quiet_axes(axes)
    _draw_ready(ready, shown)
    _draw_water(water, shown)
    _draw_nights(nights, shown)
    years = shown.variants[0].years
    nights.set_xticks(years[:: max(len(years) // 8, 1)])
    nights.set_xlim(years[0] - 0.6, years[-1] + 0.6)
    marks, labels = ready.get_legend_handles_labels()
    figure.legend(marks, labels, frameon=False, fontsize=TYPE_POINTS - 1, ncols=4, loc="upper left")
    figure.subplots_adjust(left=0.03, right=0.86, top=0.9, bottom=0.05, hspace=0.28)
    return png(figure)


def _titled(axes: "Axes", title: str) -> None:
    axes.set_title(title, loc="left", fontsize=TYPE_POINTS, color=INK)


def _draw_ready(axes: "Axes", shown: Shown) -> None:
    """Days of the year, later upwards; each variant with its own mark, beside the others."""
    _titled(axes, f"First told to plant at {shown.place}")
    for at, (told, colour, mark) in enumerate(zip(shown.variants, COLOURS, MARKS, strict=False)):
        where = _beside(tuple(year for year, _ in told.ready), at, shown)
        days = [day.timetuple().tm_yday for _, day in told.ready]
        axes.plot(where, days, mark, color=colour, label=told.name, markersize=8, fillstyle="none", markeredgewidth=2)
    low, high = axes.get_ylim()
    axes.set_ylim(low - ROOM_DAYS, high + ROOM_DAYS)
    firsts = [date(2023, month, day) for month in range(1, 13) for day in (1, 15)]
    ticks = [(day.timetuple().tm_yday, f"{day.day} {day:%b}") for day in firsts]
    inside = [tick for tick in ticks if low - ROOM_DAYS <= tick[0] <= high + ROOM_DAYS]
    axes.set_yticks([at for at, _ in inside], [name for _, name in inside])


def _draw_water(axes: "Axes", shown: Shown) -> None:
    metric = shown.display != "us"
    _titled(axes, f"Water in a year, {'litres' if metric else 'gallons'}")
    for at, told in enumerate(shown.variants):
        amounts = told.litres if metric else [gallons_from_litres(litres) for litres in told.litres]
        face = "white" if HATCHES[at] else COLOURS[at]
        where, width = _beside(told.years, at, shown), _width(shown)
        axes.bar(where, amounts, width, facecolor=face, edgecolor=COLOURS[at], hatch=HATCHES[at])


def _draw_nights(axes: "Axes", shown: Shown) -> None:
    """Upwards what was called: hit solid, false hollow; downwards what was missed."""
    _titled(axes, "Calls to cover: hit solid, false open, missed below")
    for at, told in enumerate(shown.variants):
        where, width = _beside(told.years, at, shown), _width(shown)
        hit, missed, false = ([night[kind] for night in told.nights] for kind in range(3))
        axes.bar(where, hit, width, color=COLOURS[at])
        axes.bar(where, false, width, bottom=hit, facecolor="white", edgecolor=COLOURS[at])
        axes.bar(where, [-count for count in missed], width, color=COLOURS[at], alpha=0.45)
    axes.axhline(0.0, color=INK, linewidth=1.0)
    ticks = axes.get_yticks()
    whole = sorted({int(tick) for tick in ticks})
    axes.set_yticks(whole, [str(abs(tick)) for tick in whole])


def _width(shown: Shown) -> float:
    return 0.8 / len(shown.variants)


def _beside(years: tuple[int, ...], at: int, shown: Shown) -> list[float]:
    off = (at - (len(shown.variants) - 1) / 2.0) * _width(shown)
    return [year + off for year in years]
