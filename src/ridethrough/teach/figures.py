"""The kit's figures: one style, and each figure an ordinary function of what it shows.

Every function takes the `Figure` to draw on, so that a panel can keep one alive; without it, a new one is
made. Colours are of the Okabe-Ito palette and always come with a second cue. The background is opaque, so
the pictures read in a dark theme too.
"""

from __future__ import annotations

import base64
import html
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from ..answer.ledger import Ledger
from ..estimate import Estimate
from ..units import quantity, show

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from ..measure.log import MeterLog

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


def _start(figure: Figure | None, headline: str, about: Sequence[str]) -> tuple[Figure, Axes]:
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


def ledger_figure(
    account: Ledger, *, note: str = "", reach: tuple[float, float] | None = None, figure: Figure | None = None
) -> Figure:
    """Return the energy ledger as a picture: from the printed capacity down to what is left.

    Parameters
    ----------
    account : Ledger
        What to show.
    note : str
        Said in the grey line, such as "invented data".
    reach : (float, float), optional
        The two ends of the energy axis [Wh]; a panel fixes them so that nothing jumps.
    figure : Figure, optional
        A figure from `canvas` to draw on.

    Notes
    -----
    Lines that are only assumed are grey and hatched, measured ones have colour. Thin lines are 95 %
    intervals. A line too short to see is still labelled.
    """
    about = (account.unit.label, account.load.name, "thin lines: 95 % interval", "hatched: assumed", note)
    figure, axes = _start(figure, account.headline, about)
    figure.subplots_adjust(left=0.30, right=0.84, top=0.84, bottom=0.13)
    level, rows = 0.0, len(account.lines)
    lowest, highest = 0.0, float(account.unit.printed.magnitude)
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
    _name_rows(axes, [line.label for line in account.lines])
    low, high = reach or (lowest, highest)
    axes.set_xlim(low - 0.02 * (high - low), high + 0.02 * (high - low))
    axes.set_xlabel(f"energy at the {account.unit.route.side} (Wh)", fontsize=13, color=INK)
    return figure


def _name_rows(axes: Axes, labels: Sequence[str]) -> None:
    """Label horizontal bars, the first on top. Plain text: an axis with its ticks takes twice the time to draw."""
    axes.yaxis.set_visible(False)
    axes.spines["left"].set_visible(False)
    for row, label in enumerate(labels):
        axes.text(-0.02, row, label, transform=axes.get_yaxis_transform(), va="center", ha="right", fontsize=13,
                  color=INK)  # fmt: skip
    axes.set_ylim(len(labels) - 0.4, -0.6)


def _bar(axes: Axes, row: int, left: float, width: float, kind: str, measured: bool, *, last: bool) -> None:
    """Draw one line of the ledger; the last one tells covered from missing by colour and by side."""
    if last:
        face, hatch = (GREEN if width >= 0 else VERMILION), None
    elif measured:
        face, hatch = _COLOURS[kind], None
    else:
        face, hatch = (GREY if kind == "total" else PALE), (None if kind == "total" else "///")
    axes.barh(row, width, left=left, height=0.62, color=face, hatch=hatch, edgecolor="white", linewidth=0)


def trace_figure(
    log: MeterLog, mean: Estimate, *, sticker: Any = None, hours: tuple[float, float] = (0, 24),
    marks: Sequence[tuple[float, float, str]] = (), note: str = "", figure: Figure | None = None,
) -> Figure:  # fmt: skip
    """Return the power that a meter logged, with its mean and what the sticker says.

    Parameters
    ----------
    log : MeterLog
        What the meter wrote.
    mean : Estimate
        The measured mean power [W].
    sticker : str or pint.Quantity, optional
        The power on the appliance's sticker [W].
    hours : (float, float)
        The part of the log to show, counted from its beginning [h].
    marks : sequence of (float, float, str)
        What to name in the picture: when [h], at which power [W], and its name.
    note, figure
        As in `ledger_figure`.
    """
    headline = f"On average {show(mean.value)}"
    if sticker is not None:
        headline += f"; the sticker says {show(quantity(sticker, 'W', 'sticker'))}"
    figure, axes = _start(figure, headline, (log.name, "shaded: energy that flowed", note))
    figure.subplots_adjust(left=0.09, right=0.80, top=0.84, bottom=0.13)
    x, y = _outline(log, *hours)
    axes.fill_between(x, 0, y, color=SKY, alpha=0.5, linewidth=0)
    axes.plot(x, y, color=BLUE, linewidth=0.8)
    top = float(np.nanmax(y))
    lines = [(float(mean.value.magnitude), f"mean {show(mean.value)}", VERMILION, "-")]
    if sticker is not None:
        says = quantity(sticker, "W", "sticker")
        lines.append((float(says.magnitude), f"sticker {show(says)}", INK, "--"))
        top = max(top, float(says.magnitude))
    for level, label, colour, style in lines:
        axes.axhline(level, color=colour, linewidth=2, linestyle=style)
        axes.text(1.01, level, label, transform=axes.get_yaxis_transform(), va="center", fontsize=13,
                  color=colour, fontweight="bold")  # fmt: skip
    for when, power, name in marks:
        axes.text(when, power + 0.03 * top, name, fontsize=13, color=INK, ha="center")
    axes.set(xlim=hours, ylim=(0, 1.15 * top))
    axes.set_xlabel("hours since the log began (h)", fontsize=13, color=INK)
    axes.set_ylabel("power at the outlet (W)", fontsize=13, color=INK)
    return figure


def _outline(log: MeterLog, begin: float, end: float) -> tuple[np.ndarray, np.ndarray]:
    """Return hours and powers of a log as a line of steps, lifted where nothing was logged."""
    starts, ends = log.start_s / 3600, (log.start_s + log.duration_s) / 3600
    shown = (ends > begin) & (starts < end)
    x, y = np.column_stack([starts, ends])[shown].ravel(), np.repeat(log.power_w[shown], 2)
    gaps = 2 * (np.flatnonzero(starts[shown][1:] - ends[shown][:-1] > 1e-6) + 1)
    return np.insert(x, gaps, np.nan), np.insert(y, gaps, np.nan)


def _apart(levels: list[float], least: float) -> list[float]:
    """Return the heights of labels, moved up where they would lie on each other."""
    placed: dict[int, float] = {}
    for at in sorted(range(len(levels)), key=lambda n: levels[n]):
        placed[at] = max(levels[at], max(placed.values(), default=-np.inf) + least)
    return [placed[at] for at in range(len(levels))]


def parting_figure(
    headline: str, lines: Sequence[tuple[str, np.ndarray, np.ndarray, bool]], *, note: str = "",
    figure: Figure | None = None,
) -> Figure:  # fmt: skip
    """Return energies counted from the same moment, labelled where they end.

    Parameters
    ----------
    headline : str
        The conclusion.
    lines : sequence of (str, array, array, bool)
        Label, hours [h], energy so far [Wh], and whether it was measured.
    note, figure
        As in `ledger_figure`.
    """
    figure, axes = _start(figure, headline, ("broken lines: not measured", note))
    figure.subplots_adjust(left=0.11, right=0.78, top=0.84, bottom=0.13)
    top = max(float(energy_wh[-1]) for _, _, energy_wh, _ in lines)
    places = _apart([float(energy_wh[-1]) for _, _, energy_wh, _ in lines], 0.07 * top)
    assumed = iter(((INK, "--"), (ORANGE, ":"), (GREY, "-.")))
    for (label, hours, energy_wh, measured), place in zip(lines, places, strict=True):
        colour, style = (BLUE, "-") if measured else next(assumed)
        axes.plot(hours, energy_wh, color=colour, linewidth=3, linestyle=style)
        axes.text(1.01, place, f"{label} {energy_wh[-1]:,.0f} Wh", fontsize=13, color=colour,
                  transform=axes.get_yaxis_transform(), va="center", fontweight="bold")  # fmt: skip
    axes.set_xlim(0, max(float(hours[-1]) for _, hours, _, _ in lines))
    axes.set_ylim(0, 1.05 * top)
    axes.set_xlabel("hours since the log began (h)", fontsize=13, color=INK)
    axes.set_ylabel("energy so far, at the outlet (Wh)", fontsize=13, color=INK)
    return figure


def band_figure(
    headline: str, x: np.ndarray, middle: np.ndarray, half: np.ndarray, floor: np.ndarray, at: float, *,
    labels: tuple[str, str], note: str = "", figure: Figure | None = None,
) -> Figure:  # fmt: skip
    """Return an estimate that narrows, its band, and inside it the band that stays.

    Parameters
    ----------
    headline : str
        The conclusion.
    x, middle, half, floor : arrays of shape (n,)
        Where, the estimate there, the half width of its band, and the half width that no more readings cure.
    at : float
        The position to mark.
    labels : (str, str)
        The axes' labels with their units.
    note, figure
        As in `ledger_figure`.
    """
    figure, axes = _start(figure, headline, ("light band: 95 % interval", "dark band: the meter alone", note))
    figure.subplots_adjust(left=0.09, right=0.97, top=0.84, bottom=0.13)
    axes.fill_between(x, middle - half, middle + half, color=SKY, alpha=0.45, linewidth=0)
    axes.fill_between(x, middle - floor, middle + floor, color=BLUE, alpha=0.55, linewidth=0)
    axes.plot(x, middle, color=INK, linewidth=1.8)
    here = int(np.argmin(np.abs(x - at)))
    axes.plot([x[here]] * 2, [middle[here] - half[here], middle[here] + half[here]], color=VERMILION, linewidth=3)
    axes.plot(x[here], middle[here], color=VERMILION, marker="o", markersize=10)
    axes.set(xlim=(0, float(x[-1])), ylim=(0, 2 * float(middle[-1])))
    axes.set_xlabel(labels[0], fontsize=13, color=INK)
    axes.set_ylabel(labels[1], fontsize=13, color=INK)
    return figure


def bars_figure(
    headline: str, bars: Sequence[tuple[str, Estimate, bool]], axis: str, *, reach: float | None = None, note: str = "",
    figure: Figure | None = None,
) -> Figure:  # fmt: skip
    """Return labelled quantities side by side, measured ones in colour, the others grey and hatched.

    Parameters
    ----------
    headline : str
        The conclusion.
    bars : sequence of (str, Estimate, bool)
        Label, value, and whether it was measured.
    axis : str
        The axis label with its unit; values are drawn in the unit they are given in.
    reach : float, optional
        Where the axis ends, in that unit.
    note, figure
        As in `ledger_figure`.
    """
    figure, axes = _start(figure, headline, ("thin lines: 95 % interval", "hatched: not measured", note))
    figure.subplots_adjust(left=0.33, right=0.84, top=0.84, bottom=0.15)
    for row, (_, estimate, measured) in enumerate(bars):
        value, half = float(estimate.value.magnitude), float(estimate.expanded().magnitude)
        axes.barh(row, value, height=0.6, color=BLUE if measured else PALE, hatch=None if measured else "///",
                  edgecolor="white", linewidth=0)  # fmt: skip
        if half > 0:
            axes.plot([value - half, value + half], [row, row], color=INK, linewidth=1.8)
        axes.text(1.02, row, show(estimate.value), transform=axes.get_yaxis_transform(), va="center", fontsize=14,
                  color=INK, fontweight="bold" if measured else "normal")  # fmt: skip
    axes.axvline(0, color=INK, linewidth=0.9)
    _name_rows(axes, [label for label, _, _ in bars])
    axes.set_xlim(0, reach or 1.05 * max(float(estimate.value.magnitude) for _, estimate, _ in bars))
    axes.set_xlabel(axis, fontsize=13, color=INK)
    return figure


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
