"""A charge through an outage with all that it may be, and the outages that a place has had."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from .base import BLUE, GREEN, GREY, INK, PALE, SKY, VERMILION, start

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_BY_PACKS = (BLUE, GREEN, VERMILION)
_STEPS_H = (1, 3, 6, 12, 24)  # between the marks of an axis of hours


def charge_figure(
    headline: str, times_h: np.ndarray, half: tuple[np.ndarray, np.ndarray], most: tuple[np.ndarray, np.ndarray],
    middle: np.ndarray, empty_h: tuple[float, float], *, full_wh: float,
    mains_h: Sequence[tuple[float, float]] = (), note: str = "", figure: Figure | None = None,
) -> Figure:  # fmt: skip
    """Return the charge through an outage as a fan: the middle of many rides, half of them, 19 of 20.

    Parameters
    ----------
    headline : str
        The conclusion.
    times_h : array of shape (n,)
        Moments, from the outage's beginning to its end [h].
    half, most : (array, array)
        Lower and upper ends of the two bands, each of shape (n,) [Wh].
    middle : array of shape (n,)
        Median charge [Wh].
    empty_h : (float, float)
        When the first and the last of 19 in 20 rides run empty; the outage's end where they do not [h].
    full_wh : float
        Where the upright axis ends [Wh].
    mains_h : sequence of (float, float)
        When the mains are back: from and to [h].
    note, figure
        As in `ledger_figure`.
    """
    from matplotlib.ticker import MultipleLocator

    about = ("line: middle ride", "dark: half of the rides", "light: 19 of 20", note)
    figure, axes = start(figure, headline, about)
    figure.subplots_adjust(left=0.10, right=0.97, top=0.84, bottom=0.13)
    end = float(times_h[-1])
    axes.fill_between(times_h, *most, color=SKY, alpha=0.35, linewidth=0)
    axes.fill_between(times_h, *half, color=BLUE, alpha=0.35, linewidth=0)
    axes.plot(times_h, middle, color=BLUE, linewidth=3)
    axes.axhline(0, color=INK, linewidth=0.9)
    for begin, until in mains_h:
        axes.axvspan(begin, until, color=GREEN, alpha=0.18, linewidth=0)
        axes.text((begin + until) / 2, 0.99 * full_wh, "mains", fontsize=13, color=GREEN, ha="center", va="top")
    if empty_h[0] < end:
        _mark_empty(axes, empty_h, end)
    axes.set(xlim=(0, end), ylim=(0, full_wh))
    axes.xaxis.set_major_locator(MultipleLocator(next((step for step in _STEPS_H if end <= 8 * step), _STEPS_H[-1])))
    axes.set_xlabel("hours since the power failed (h)", fontsize=13, color=INK)
    axes.set_ylabel("charge that can be used (Wh)", fontsize=13, color=INK)
    return figure


def _mark_empty(axes: Axes, empty_h: tuple[float, float], end_h: float) -> None:
    """Mark on the zero line when rides run empty, with the words on the side where there is room."""
    axes.plot(empty_h, [0, 0], color=VERMILION, linewidth=7, solid_capstyle="butt", clip_on=False)
    until = f"to {empty_h[1]:.1f} h" if empty_h[1] < end_h else "or later"
    at, shift, side = (empty_h[1], 8, "left") if empty_h[1] < end_h / 2 else (empty_h[0], -8, "right")
    axes.annotate(f"empty after {empty_h[0]:.1f} h {until}", (at, 0), xytext=(shift, 12), ha=side,
                  textcoords="offset points", fontsize=13, fontweight="bold", color=VERMILION)  # fmt: skip


def outages_figure(
    headline: str, hours: Sequence[float], packs: Sequence[int | None], name: str, *, note: str = "",
    figure: Figure | None = None,
) -> Figure:  # fmt: skip
    """Return past outages as bars, their mean as a line, and beside each what would have covered it.

    Parameters
    ----------
    headline : str
        The conclusion.
    hours : sequence of float
        Lengths of the outages [h].
    packs : sequence of int or None
        The fewest packs that cover each; None where even all of them do not [-].
    name : str
        The unit's name.
    note, figure
        As in `ledger_figure`.
    """
    figure, axes = start(figure, headline, ("a bar for each outage", "broken line: their mean", note))
    figure.subplots_adjust(left=0.05, right=0.70, top=0.84, bottom=0.13)
    mean = sum(hours) / len(hours)
    for row, (length, needed) in enumerate(zip(hours, packs, strict=True)):
        colour = GREY if needed is None else _BY_PACKS[min(needed, len(_BY_PACKS) - 1)]
        axes.barh(row, length, height=0.64, color=colour, edgecolor=PALE, linewidth=0.5)
        with_packs = f"{name} + {needed} pack{'s' if needed and needed > 1 else ''}"
        by = "not covered" if needed is None else with_packs if needed else name
        axes.text(1.02, row, f"{length:g} h: {by}", transform=axes.get_yaxis_transform(), va="center",
                  fontsize=13, color=colour, fontweight="bold" if needed != 0 else "normal")  # fmt: skip
    axes.axvline(mean, color=INK, linestyle="--", linewidth=2)
    axes.text(mean, 0, f"  mean {mean:.1f} h", fontsize=13, color=INK, fontweight="bold", va="center")
    axes.yaxis.set_visible(False)
    axes.set(xlim=(0, 1.05 * max(hours)), ylim=(len(hours) - 0.4, -0.6))
    axes.set_xlabel("length of the outage (h)", fontsize=13, color=INK)
    return figure
