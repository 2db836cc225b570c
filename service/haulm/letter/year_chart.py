"""The picture of a place's year: on which planting days a crop comes of it, and what stands in the way on the others.

One curve fills the upper half, the share of years; under it each need by itself, named where it is drawn. Height tells
everything, so that it reads in black and white, and at the width of a telephone.
"""

from typing import TYPE_CHECKING

import numpy as np

from haulm.letter import amounts
from haulm.letter.drawing import DOTS_PER_INCH, INK, SOIL, TYPE_POINTS, WIDTH_IN, png
from haulm.letter.season import A_COMMON_YEAR, SeasonTold, ring_date
from haulm.science.crop_fates import FloatArray
from haulm.science.windows import RING_DAYS, Window

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HEIGHT_IN = 8.4
LABEL_DAYS = 130  # about the width of a name
PALE, WORDS_POINTS = "#d9cfc2", TYPE_POINTS - 1.5
MONTH_STARTS = np.array([(A_COMMON_YEAR.replace(month=month) - A_COMMON_YEAR).days for month in range(1, 13)])


def year_chart(told: SeasonTold) -> bytes:
    """The picture as PNG, with a palette of few colours."""
    from matplotlib.figure import Figure  # noqa: PLC0415  300 ms that only a picture should pay

    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), dpi=DOTS_PER_INCH, facecolor="white")
    rows = figure.subplots(5, 1, sharex=True, height_ratios=(4.2, 1.0, 1.0, 1.0, 1.0))
    begin = _begins(told)
    each = told.shares
    _draw_whole(rows[0], told, begin)
    needs = (
        ("soil neither too cold nor too hot", each.soil),
        ("shoots safe from killing frost", each.shoots),
        ("nights cool enough for tubers", each.nights),
        ("warmth in time, before frost or heat", each.warmth),
    )
    for axes, (name, share) in zip(rows[1:], needs, strict=True):
        _draw_need(axes, name, np.roll(share, -begin))
    _name_months(rows[-1], begin)
    figure.subplots_adjust(left=0.025, right=0.905, top=0.945, bottom=0.05, hspace=0.62)
    return png(figure)


def _begins(told: SeasonTold) -> int:
    """The day the picture begins on: New Year, or amid the days without a window where one crosses New Year."""
    crossing = next((one for one in told.windows if one.last < one.first and not one.whole_year), None)
    if crossing is None:
        return 0
    opens = min(((other.first - crossing.last) % RING_DAYS or RING_DAYS) for other in told.windows)
    return (crossing.last + (opens + 1) // 2) % RING_DAYS


def _draw_whole(axes: "Axes", told: SeasonTold, begin: int) -> None:
    share, days = np.roll(told.shares.young[0], -begin), np.arange(RING_DAYS)
    _frame(axes)
    axes.fill_between(days, 0.0, share, color=PALE, linewidth=0)
    for window in told.windows:
        held = np.array([window.holds((day + begin) % RING_DAYS) for day in range(RING_DAYS)])
        axes.fill_between(
            days, 0.0, np.where(held, share, np.nan), color=SOIL, alpha=1.0 if window.good else 0.55, lw=0
        )
    axes.plot(days, share, color=INK, linewidth=1.2)
    axes.set_ylim(0.0, 1.42)
    axes.set_yticks([0.0, 0.5, 1.0], ["0 %", "50 %", "100 %"])
    good = told.thresholds.windows.good_share
    axes.axhline(good, color=INK, linewidth=1.4, linestyle=(0, (1, 1.5)))
    _name_limit(axes, share, good, f"a window from {amounts.share(good)}")
    axes.set_title(
        f"Share of {amounts.years(told.years)} that bring a crop, by planting day",
        fontsize=TYPE_POINTS - 1.0, color=INK, loc="left", pad=8,
    )  # fmt: skip
    _name_windows(axes, told, begin)


def _name_limit(axes: "Axes", share: FloatArray, good: float, name: str) -> None:
    """The line's name on it, where least is drawn behind."""
    from matplotlib.patheffects import withStroke  # noqa: PLC0415  late, as matplotlib itself

    level = np.nan_to_num(share)
    room = np.array([level[start : start + LABEL_DAYS].max() for start in range(RING_DAYS - LABEL_DAYS)])
    label = axes.text(int(room.argmin()) + 2, good + 0.02, name, fontsize=WORDS_POINTS, color=INK, va="bottom")
    label.set_path_effects([withStroke(linewidth=4, foreground="white")])


def _name_windows(axes: "Axes", told: SeasonTold, begin: int) -> None:
    """Each window's days over it, in two heights so that neighbours do not meet."""
    named = sorted(told.windows, key=lambda window: (window.best - begin) % RING_DAYS)
    for at, window in enumerate(named):
        middle = (
            0.5 * (RING_DAYS - 1) if window.whole_year else (window.first - begin) % RING_DAYS + window.length / 2.0
        )
        axes.text(
            min(max(middle, 62.0), RING_DAYS - 62.0), 1.07 if at % 2 == 0 else 1.24, _span(window),
            fontsize=WORDS_POINTS, color=SOIL if window.good else INK, ha="center", va="bottom",
            fontweight="bold" if window.good else "normal",
        )  # fmt: skip
    if not named:
        axes.text(0.5 * RING_DAYS, 0.55, "no window", fontsize=TYPE_POINTS, color=INK, ha="center")


def _span(window: Window) -> str:
    if window.whole_year:
        return "any day of the year"
    return f"{_short(window.first)} to {_short(window.last)}{'' if window.good else ', chancy'}"


def _short(position: int) -> str:
    day = ring_date(position)
    return f"{day.day} {amounts.MONTHS[day.month - 1][:3]}"


def _draw_need(axes: "Axes", name: str, share: FloatArray) -> None:
    _frame(axes)
    axes.fill_between(np.arange(RING_DAYS), 0.0, share, color="#6f6a60", linewidth=0)
    axes.set_ylim(0.0, 1.0)
    axes.set_yticks([0.0, 1.0], ["0", "100 %"])
    axes.set_title(name, fontsize=WORDS_POINTS, color=INK, loc="left", pad=4)


def _frame(axes: "Axes") -> None:
    axes.spines[["top", "left", "right"]].set_visible(False)
    axes.spines["bottom"].set_color("#9a958a")
    axes.yaxis.tick_right()
    axes.tick_params(labelsize=TYPE_POINTS - 3.0, length=0, colors=INK, pad=4)
    axes.set_xlim(0.0, RING_DAYS - 1.0)


def _name_months(axes: "Axes", begin: int) -> None:
    middles = (MONTH_STARTS + 15 - begin) % RING_DAYS
    axes.set_xticks(middles, [name[0] for name in amounts.MONTHS])
    axes.tick_params(axis="x", labelsize=TYPE_POINTS - 1.0)
