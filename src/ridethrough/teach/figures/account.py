"""The energy ledger as a picture, and bars to compare energies."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ...answer.ledger import Ledger
from ...estimate import Estimate
from ...units import show
from .base import BLUE, GREEN, GREY, INK, ORANGE, PALE, SKY, VERMILION, start

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


_LONGEST = 29  # characters that fit beside the bars
_COLOURS = {"total": BLUE, "battery": SKY, "load": VERMILION, "loss": ORANGE}


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
    figure, axes = start(figure, account.headline, about)
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
    name_rows(axes, [line.label for line in account.lines])
    low, high = reach or (lowest, highest)
    axes.set_xlim(low - 0.02 * (high - low), high + 0.02 * (high - low))
    axes.set_xlabel(f"energy at the {account.unit.route.side} (Wh)", fontsize=13, color=INK)
    return figure


def name_rows(axes: Axes, labels: Sequence[str]) -> None:
    """Label horizontal bars, the first on top. Plain text: an axis with its ticks takes twice the time to draw."""
    axes.yaxis.set_visible(False)
    axes.spines["left"].set_visible(False)
    for row, label in enumerate(labels):
        size = 13 * min(1, _LONGEST / len(label))
        axes.text(-0.02, row, label, transform=axes.get_yaxis_transform(), va="center", ha="right", fontsize=size,
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
    figure, axes = start(figure, headline, ("thin lines: 95 % interval", "hatched: not measured", note))
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
    name_rows(axes, [label for label, _, _ in bars])
    axes.set_xlim(0, reach or 1.05 * max(float(estimate.value.magnitude) for _, estimate, _ in bars))
    axes.set_xlabel(axis, fontsize=13, color=INK)
    return figure
