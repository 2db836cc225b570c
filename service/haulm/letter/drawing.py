"""What all pictures share: a width to be read on a phone, few colours, a quiet frame, a small file."""

import io
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_IN, DOTS_PER_INCH = 7.2, 100
LARGEST_BYTES = 20_000
COLOURS = (32, 16, 8)  # fewer only where restless weather would make the file large
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


def png(figure: "Figure") -> bytes:
    """The figure as PNG, with a palette of as few colours as keep the file small."""
    from PIL import Image  # noqa: PLC0415  late, as matplotlib itself

    drawn = io.BytesIO()
    figure.savefig(drawn, format="png", metadata={"Software": None})
    with Image.open(drawn) as image:
        full = image.convert("RGB")
    packed = b""
    for colours in COLOURS:
        few = io.BytesIO()
        full.quantize(colours, method=Image.Quantize.FASTOCTREE).save(few, format="PNG", optimize=True)
        packed = few.getvalue()
        if len(packed) < LARGEST_BYTES:
            break
    return packed
