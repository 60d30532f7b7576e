"""The kit's figures: one style, and each figure an ordinary function of what it shows.

Every function takes the `Figure` to draw on, so that a panel can keep one alive; without it, a new one is
made. Colours are of the Okabe-Ito palette and always come with a second cue. The background is opaque, so
the pictures read in a dark theme too.
"""

from __future__ import annotations

import base64
import html
import io
from typing import TYPE_CHECKING, Any

import numpy as np

from ..answer.ledger import Ledger
from ..units import show

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BLUE, SKY, GREEN, ORANGE, VERMILION = "#0072B2", "#56B4E9", "#009E73", "#E69F00", "#C44E00"
INK, GREY, PALE = "#222222", "#6E6E6E", "#C9C9C9"
SIZE_IN, DPI = (9.6, 5.4), 100  # 16:9: fits a slide or a video

_COLOURS = {"total": BLUE, "battery": SKY, "load": VERMILION, "loss": ORANGE}


def canvas() -> Figure:
    """Return an empty figure with one axes, in the kit's style."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=SIZE_IN, dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    figure.add_subplot()
    return figure


def _start(figure: Figure | None, headline: str, subtitle: str) -> tuple[Figure, Axes]:
    """Return the figure, emptied, with its two lines of text."""
    figure = canvas() if figure is None else figure
    axes = figure.axes[0]
    for artist in (*figure.texts, *axes.patches, *axes.lines, *axes.texts, *axes.collections):
        artist.remove()
    figure.text(0.03, 0.945, headline, fontsize=16, fontweight="bold", color=INK)
    figure.text(0.03, 0.885, subtitle, fontsize=11.5, color=GREY)
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(labelsize=12.5, colors=INK)
    return figure, axes


def ledger_figure(account: Ledger, *, reach: tuple[float, float] | None = None, figure: Figure | None = None) -> Figure:
    """Return the energy ledger as a picture: from the printed capacity down to what is left.

    Parameters
    ----------
    account : Ledger
        What to show.
    reach : (float, float), optional
        The two ends of the energy axis [Wh]; a panel fixes them so that nothing jumps.
    figure : Figure, optional
        A figure from `canvas` to draw on.

    Notes
    -----
    Lines that are only assumed are grey and hatched, measured ones have colour. Thin lines are 95 %
    intervals. A line too short to see is still labelled.
    """
    subtitle = (
        f"{account.unit.label} · {account.load.name} · thin lines: 95 % interval · hatched: assumed · invented data"
    )
    figure, axes = _start(figure, account.headline, subtitle)
    figure.subplots_adjust(left=0.30, right=0.84, top=0.84, bottom=0.13)
    level, rows = 0.0, len(account.lines)
    lowest, highest = 0.0, float(account.unit.battery.printed.magnitude)
    for row, line in enumerate(account.lines):
        value, half = float(line.energy.value.magnitude), float(line.energy.expanded().magnitude)
        left, width, end = (0.0, value, value) if line.kind == "total" else (level, value, level + value)
        if row and not (line.kind == "total" and row < rows - 1):
            axes.plot([level, level], [row - 0.66, row - 0.34], color=INK, linewidth=0.8)
        _bar(axes, row, left, width, line.kind, line.measured, last=row == rows - 1)
        if half > 0:
            axes.plot([end - half, end + half], [row, row], color=INK, linewidth=1.6)
        weight = "bold" if line.kind == "total" else "normal"
        axes.text(1.02, row, show(line.energy.value, 0), transform=axes.get_yaxis_transform(), va="center",
                  fontsize=13, color=INK, fontweight=weight)  # fmt: skip
        level, lowest, highest = end, min(lowest, end - half), max(highest, end + half)
    axes.axvline(0, color=INK, linewidth=0.9)
    axes.set_yticks(np.arange(rows), [line.label for line in account.lines])
    axes.set_ylim(rows - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    low, high = reach or (lowest, highest)
    axes.set_xlim(low - 0.02 * (high - low), high + 0.02 * (high - low))
    axes.set_xlabel("energy on the battery side (Wh)", fontsize=13, color=INK)
    return figure


def _bar(axes: Axes, row: int, left: float, width: float, kind: str, measured: bool, *, last: bool) -> None:
    """Draw one line of the ledger; the last one tells covered from missing by colour and by side."""
    if last:
        face, hatch = (GREEN if width >= 0 else VERMILION), None
    elif measured:
        face, hatch = _COLOURS[kind], None
    else:
        face, hatch = (GREY if kind == "total" else PALE), (None if kind == "total" else "///")
    axes.barh(row, width, left=left, height=0.62, color=face, hatch=hatch, edgecolor="white", linewidth=0)


def png(figure: Figure, colours: int | None = None) -> bytes:
    """Return the figure as a PNG file.

    Parameters
    ----------
    figure : Figure
        From one of this module's functions.
    colours : int, optional
        Reduce to so many colours: a smaller file for storing, a little slower [-].
    """
    from PIL import Image

    agg: Any = figure.canvas
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
