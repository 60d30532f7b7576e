"""What a unit delivers of its battery's power, and the starts that a meter caught."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from .base import BLUE, INK, SKY, VERMILION, start
from .curves import STYLES, curves_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def efficiency_figure(
    headline: str, load_w: np.ndarray, curves: Sequence[tuple[str, np.ndarray, np.ndarray]],
    stated: Sequence[tuple[float, float]], at: float, *, note: str = "", figure: Figure | None = None,
) -> Figure:  # fmt: skip
    """Return efficiency against load for several units, and where each unit's sheet states it.

    Parameters
    ----------
    headline : str
        The conclusion.
    load_w : array of shape (n,)
        Loads at the outlet, rising [W].
    curves : sequence of (str, array, array), four at most
        A unit's name, its efficiency and half the width of its 95 % interval [%].
    stated : sequence of (float, float)
        For each curve the load of the sheet and the efficiency there [W], [%].
    at : float
        The load to mark [W].
    note, figure
        As in `ledger_figure`.
    """
    figure = curves_figure(
        headline, load_w, curves, at, labels=("load at the outlet (W)", "efficiency: outlet over battery (%)"),
        reach=(0, 100), about=("squares: what the box says",), note=note, figure=figure,
    )  # fmt: skip
    for (load, percent), (colour, _) in zip(stated, STYLES, strict=False):
        figure.axes[0].plot(load, percent, "s", markersize=11, markerfacecolor="white", markeredgecolor=colour,
                            markeredgewidth=2.5)  # fmt: skip
    return figure


def starts_figure(
    headline: str, hours: np.ndarray, power_w: np.ndarray, running_w: float, times: tuple[float, float], *,
    note: str = "", figure: Figure | None = None,
) -> Figure:  # fmt: skip
    """Return what a meter showed at each start of a compressor, beside the band where starts lie.

    Parameters
    ----------
    headline : str
        The conclusion.
    hours, power_w : arrays of shape (n,)
        When each start was, and the highest reading in it [h], [W].
    running_w : float
        Power of the settled compressor [W].
    times : (float, float)
        Ends of the band, as multiples of ``running_w`` [-].
    note, figure
        As in `ledger_figure`.
    """
    about = ("a dot: the highest reading in a start's first minute", "large: a start was caught", note)
    figure, axes = start(figure, headline, about)
    figure.subplots_adjust(left=0.09, right=0.80, top=0.84, bottom=0.13)
    low, high = (running_w * factor for factor in times)
    axes.axhspan(low, high, color=SKY, alpha=0.35, linewidth=0)
    axes.axhline(running_w, color=INK, linewidth=1.5, linestyle="--")
    axes.plot(hours, power_w, "o", color=BLUE, markersize=5)
    caught = power_w >= low
    axes.plot(hours[caught], power_w[caught], "o", color=VERMILION, markersize=10)
    for level, label in (((low + high) / 2, f"a start asks\n{times[0]:g} to {times[1]:g} times\nas much"),
                         (running_w, f"running {running_w:.0f} W")):  # fmt: skip
        axes.text(1.01, level, label, transform=axes.get_yaxis_transform(), va="center", fontsize=13, color=INK)
    axes.set(xlim=(0, 1.02 * float(hours[-1])), ylim=(0, 1.08 * high))
    axes.set_xlabel("hours since the log began (h)", fontsize=13, color=INK)
    axes.set_ylabel("power at the outlet (W)", fontsize=13, color=INK)
    return figure
