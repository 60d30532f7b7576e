"""One style for all figures: colours, canvas, the two lines of text, and pictures as bytes."""

from __future__ import annotations

import base64
import html
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BLUE, SKY, GREEN, ORANGE, VERMILION = "#0072B2", "#56B4E9", "#009E73", "#E69F00", "#C44E00"
INK, GREY, PALE = "#222222", "#6E6E6E", "#C9C9C9"
SIZE_IN, DPI = (9.6, 5.4), 100  # 16:9: fits a slide or a video


def canvas() -> Figure:
    """Return an empty figure with one axes, in the kit's style."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=SIZE_IN, dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    figure.add_subplot()
    return figure


def start(figure: Figure | None, headline: str, about: Sequence[str]) -> tuple[Figure, Axes]:
    """Return the figure, emptied, with its two lines of text."""
    from matplotlib.ticker import MaxNLocator

    figure = canvas() if figure is None else figure
    axes = figure.axes[0]
    for artist in (*figure.texts, *axes.patches, *axes.lines, *axes.texts, *axes.collections):
        artist.remove()
    axes.containers.clear()
    figure.text(0.03, 0.945, headline, fontsize=16, fontweight="bold", color=INK)
    figure.text(0.03, 0.885, " · ".join(filter(None, about)), fontsize=11.5, color=GREY)
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(labelsize=12.5, colors=INK)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MaxNLocator(5))
        axis.set_major_formatter("{x:,.4g}")
    return figure, axes


def apart(levels: list[float], least: float) -> list[float]:
    """Return the heights of labels, moved up where they would lie on each other."""
    placed: dict[int, float] = {}
    for at in sorted(range(len(levels)), key=lambda n: levels[n]):
        placed[at] = max(levels[at], max(placed.values(), default=-np.inf) + least)
    return [placed[at] for at in range(len(levels))]


def png(figure: Figure, colours: int | None = None) -> bytes:
    """Return the figure as a PNG file.

    Parameters
    ----------
    figure : Figure
        From one of this module's functions.
    colours : int, optional
        Reduce to so many colours: a smaller file for storing, a little slower [-].
    """
    from matplotlib import rc_context
    from PIL import Image

    agg: Any = figure.canvas
    with rc_context({"text.hinting": "none"}):  # text is most of the time
        agg.draw()
    picture = Image.frombuffer("RGBA", agg.get_width_height(), agg.buffer_rgba(), "raw", "RGBA", 0, 1).convert("RGB")
    if colours is not None:
        picture = picture.quantize(colours, dither=Image.Dither.NONE)
    file = io.BytesIO()
    picture.save(file, "PNG", compress_level=1 if colours is None else 9)
    return file.getvalue()


def img(figure: Figure, alt: str, colours: int | None = None) -> str:
    """Return the figure as an HTML image with its text alternative."""
    data = base64.b64encode(png(figure, colours)).decode("ascii")
    width, height = (round(side * DPI) for side in SIZE_IN)
    return (
        f'<img alt="{html.escape(alt, quote=True)}" width="{width}" height="{height}" '
        f'style="max-width:100%;height:auto" src="data:image/png;base64,{data}">'
    )
