"""What several loads ask of a unit at the same time: power against its rating, energy against what it holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from .base import INK, OWN, SHORT, add_axes, apart, beside, clock, level

SPAN_H = 30.0  # the part of an outage that is shown
_LEFT, _WIDTH = 0.09, 0.66


@dataclass(frozen=True)
class Taken:
    """What several things take while a unit carries them, through time.

    Parameters
    ----------
    names, colours : sequence of str
        One for each thing plugged in.
    edges_h : array of shape (n + 1,)
        Moments between which the powers stand still, counted from the beginning [h].
    power_w : array of shape (things, n)
        Their powers [W].
    times_h : array of shape (m,)
        Moments, the last one when the unit is empty [h].
    energy_wh : array of shape (things + 1, m)
        What each has taken by then, and last what the unit took for itself [Wh].
    """

    names: Sequence[str]
    colours: Sequence[str]
    edges_h: np.ndarray
    power_w: np.ndarray
    times_h: np.ndarray
    energy_wh: np.ndarray


def household_figure(axes: Axes, taken: Taken, *, rated_w: float, peaks_w: float, begins: int) -> Sequence[str]:
    """Draw power under the inverter's rating, and below it energy up to what the unit holds.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    taken : Taken
        What is shown.
    rated_w, peaks_w : float
        What the inverter may carry, and all peaks together [W].
    begins : int
        The clock's hour at the beginning [h].
    """
    figure: Any = axes.figure
    below = figure.axes[1] if len(figure.axes) > 1 else add_axes(figure)
    axes.set_position((_LEFT, 0.60, _WIDTH, 0.24))
    below.set_position((_LEFT, 0.13, _WIDTH, 0.41))
    _powers(axes, taken, rated_w, peaks_w)
    _energies(below, taken)
    for each in (axes, below):
        each.set_xlim(0, SPAN_H)
        each.axvline(taken.times_h[-1], linestyle=":")
    axes.set_xticks([])
    axes.locator_params(axis="y", nbins=3)
    clock(below, begins, SPAN_H + 1, -begins % 6, 6)
    return "above: how fast", "below: how much, until the unit is empty", "dotted: empty"


def _powers(axes: Axes, taken: Taken, rated_w: float, peaks_w: float) -> None:
    """Draw the powers, one on top of the other, and the two levels to compare: the rating and all peaks at once."""
    shown = np.searchsorted(taken.edges_h, SPAN_H)
    edges = np.repeat(taken.edges_h[: shown + 1], 2)[1:-1]
    axes.stackplot(edges, np.repeat(taken.power_w[:, :shown], 2, axis=1), colors=taken.colours)
    rating_at, peaks_at = apart([rated_w, peaks_w], 0.20 * rated_w)
    level(axes, rated_w, f"rating {rated_w:,.0f} W", label_at=rating_at)
    level(axes, peaks_w, f"all peaks {peaks_w:,.0f} W", label_at=peaks_at, linestyle="--",
          color=SHORT if peaks_w > rated_w else INK)  # fmt: skip
    axes.set(ylim=(0, 1.2 * rated_w), ylabel="power (W)")


def _energies(axes: Axes, taken: Taken) -> None:
    """Draw the energies, one on top of the other, up to what the unit holds, each named beside its end."""
    names, colours, ends = [*taken.names, "the unit itself"], [*taken.colours, OWN], taken.energy_wh[:, -1]
    holds = float(ends.sum())
    axes.stackplot(taken.times_h, taken.energy_wh, colors=colours)
    places = apart(list(np.cumsum(ends) - ends / 2), 0.115 * holds)
    axes.scatter([1.03] * len(places), places, s=90, c=colours, marker="s", transform=axes.get_yaxis_transform(),
                 clip_on=False)  # fmt: skip
    for y, name, energy in zip(places, names, ends, strict=True):
        beside(axes, y, f"{name} {energy:,.0f} Wh", 1.055, fontsize=12.5)
    axes.axhline(holds)
    axes.text(0.3, 1.03 * holds, f"the unit holds {holds:,.0f} Wh", fontsize=12.5)
    axes.set(ylim=(0, 1.18 * holds), ylabel="energy (Wh)")
