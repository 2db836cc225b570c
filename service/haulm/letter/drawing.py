"""What all pictures share: a width to be read on a phone, few colours, a quiet frame, a small file."""

import io
from collections.abc import Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from haulm.letter import amounts
from haulm.weather import FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from PIL.Image import Image

WIDTH_IN, DOTS_PER_INCH = 7.2, 100
LARGEST_BYTES = 20_000
MOST_COLOURS, FEWER_COLOURS = 32, (16, 8)  # fewer only where restless weather would make the file large
APART = 40  # of 765: colours nearer than this look alike in a line
NAME_REACH_SHARE = 0.04  # a date as wide as this, to each side of its place, still ends within the picture
TYPE_POINTS = 16.5  # about 10 px where a screen of 360 px shrinks the picture by half
INK, SOIL, RAIN = "#24221e", "#7a3b12", "#1f4e79"


def quiet_axes(axes: "Axes") -> None:
    """Few ticks, on the right where the eye ends, and no frame."""
    axes.spines[["top", "left", "right"]].set_visible(False)
    axes.spines["bottom"].set_color("#9a958a")
    axes.yaxis.tick_right()
    axes.tick_params(labelsize=TYPE_POINTS - 1.5, length=0, colors=INK, pad=4)
    axes.grid(axis="y", color="#e4e0d6", linewidth=1.0)
    axes.set_axisbelow(True)


def label_on_line(axes: "Axes", x: float, height: float, text: str, side: str) -> None:
    """A line's name on the line itself; a white edge keeps it legible."""
    from matplotlib.patheffects import withStroke  # noqa: PLC0415  late, as matplotlib itself

    label = axes.text(x, height, text, fontsize=TYPE_POINTS - 1, color=INK, va="bottom", ha=side)
    label.set_path_effects([withStroke(linewidth=4, foreground="white")])


def in_the_way(axes: "Axes", values: FloatArray, height: float) -> NDArray[np.bool_]:
    """The days on which a curve runs where a name would stand on a level line."""
    low, high = axes.get_ylim()
    above = (values - height) / (high - low)
    return np.asarray((above > -0.02) & (above < 0.14))


def name_days(axes: "Axes", today: date, days: FloatArray) -> None:
    """Every Monday by its date, in weeks enough apart to be read; days count from today."""
    mondays = [int(day) for day in days if (today + timedelta(days=int(day))).weekday() == 0]
    shown = mondays[:: 1 if len(mondays) <= 5 else 2]
    named = [today + timedelta(days=day) for day in shown]
    name_places(axes, shown, named)


def name_places(axes: "Axes", places: Sequence[float], named: Sequence[date]) -> None:
    """Days by their dates below the picture; the limits of its days stand already."""
    axes.set_xticks(places, [f"{day.day} {amounts.MONTHS[day.month - 1][:3]}" for day in named])
    first, last = axes.get_xlim()
    for place, label in zip(places, axes.get_xticklabels(), strict=True):
        if place - first < NAME_REACH_SHARE * (last - first):  # its name would run out of the picture
            label.set_horizontalalignment("left")


def png(figure: "Figure") -> bytes:
    """The figure as PNG, with a palette of as few colours as keep the file small."""
    from PIL import Image  # noqa: PLC0415  late, as matplotlib itself

    drawn = io.BytesIO()
    figure.savefig(drawn, format="rgba")  # bare: a PNG of all colours would only be read again
    full = Image.frombytes("RGBA", figure.canvas.get_width_height(), drawn.getvalue()).convert("RGB")
    packed = _packed(full.quantize(MOST_COLOURS, method=Image.Quantize.FASTOCTREE))
    for count in FEWER_COLOURS:
        if len(packed) < LARGEST_BYTES:
            break
        palette = Image.new("P", (1, 1))
        palette.putpalette(_main_colours(full, count).ravel().tolist())
        packed = _packed(full.quantize(palette=palette, dither=Image.Dither.NONE))
    return packed


def _packed(image: "Image") -> bytes:
    few = io.BytesIO()
    image.save(few, format="PNG", optimize=True)
    return few.getvalue()


def _main_colours(full: "Image", count: int) -> NDArray[np.int64]:
    """The colours that most of a picture is drawn in, no two alike: a pale shade is not merged into the white."""
    drawn = np.asarray(full, dtype=np.int64).reshape(-1, 3) @ np.array([65536, 256, 1])
    codes, times = np.unique(drawn, return_counts=True)
    often = codes[np.argsort(-times)]
    listed = np.stack([often // 65536, often // 256 % 256, often % 256], axis=1)
    found = listed[:1]
    for colour in listed[1:]:
        if len(found) < count and (np.abs(found - colour).sum(axis=1) >= APART).all():
            found = np.vstack([found, colour])
    return found
