"""What an appliance draws: its power through a day, what three readings made of it, what a longer log cures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from ...estimate import Estimate
from ...units import quantity, show
from .base import BLUE, GREY, INK, ORANGE, SKY, VERMILION, apart, start

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ...measure.log import MeterLog


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
    figure, axes = start(figure, headline, (log.name, "shaded: energy that flowed", note))
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
    figure, axes = start(figure, headline, ("broken lines: not measured", note))
    figure.subplots_adjust(left=0.11, right=0.78, top=0.84, bottom=0.13)
    top = max(float(energy_wh[-1]) for _, _, energy_wh, _ in lines)
    places = apart([float(energy_wh[-1]) for _, _, energy_wh, _ in lines], 0.07 * top)
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
    figure, axes = start(figure, headline, ("light band: 95 % interval", "dark band: the meter alone", note))
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
