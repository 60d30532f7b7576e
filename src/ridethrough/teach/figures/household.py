"""What several loads ask of a unit at the same time: power against its rating, energy against what it holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .base import BLUE, GREEN, GREY, INK, ORANGE, PALE, SKY, VERMILION, apart, start

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SPAN_H = 30.0  # the part of an outage that is shown
_COLOURS = (BLUE, SKY, VERMILION, GREEN, ORANGE, INK, "#CC79A7")
_LEFT, _WIDTH = 0.09, 0.66


@dataclass(frozen=True)
class Taken:
    """What several things take while a unit carries them, through time.

    Parameters
    ----------
    names : sequence of str
        One for each thing plugged in.
    places : sequence of int
        For each its place among all that can be plugged in, seven at most: so it keeps its colour [-].
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
    places: Sequence[int]
    edges_h: np.ndarray
    power_w: np.ndarray
    times_h: np.ndarray
    energy_wh: np.ndarray

    @property
    def colours(self) -> list[str]:
        """The colour of each."""
        return [_COLOURS[place] for place in self.places]


def household_figure(
    headline: str, taken: Taken, *, rated_w: float, peaks_w: float, begins: int, note: str = "",
    figure: Figure | None = None,
) -> Figure:  # fmt: skip
    """Return power under the inverter's rating, and below it energy up to what the unit holds.

    Parameters
    ----------
    headline : str
        The conclusion.
    taken : Taken
        What is shown.
    rated_w, peaks_w : float
        What the inverter may carry, and all peaks together [W].
    begins : int
        The clock's hour at the beginning [h].
    note, figure
        As in `ledger_figure`.
    """
    about = ("above: how fast", "below: how much, until the unit is empty", "dotted: empty", note)
    figure, above = start(figure, headline, about)
    below = _second(figure)
    above.set_position((_LEFT, 0.60, _WIDTH, 0.24))
    below.set_position((_LEFT, 0.13, _WIDTH, 0.41))
    _powers(above, taken, rated_w, peaks_w)
    _energies(below, taken)
    ticks = np.arange(-begins % 6, SPAN_H + 1, 6)
    for axes in (above, below):
        axes.set_xlim(0, SPAN_H)
        axes.axvline(taken.times_h[-1], color=INK, linestyle=":", linewidth=2)
    above.set_xticks([])
    above.locator_params(axis="y", nbins=3)
    below.set_xticks(ticks, [f"{(begins + int(hour)) % 24}:00" for hour in ticks])
    below.set_xlabel("clock", fontsize=13, color=INK)
    return figure


def _second(figure: Figure) -> Axes:
    """Return the figure's lower axes, emptied; made where there are none yet."""
    if len(figure.axes) == 1:
        axes = figure.add_axes((0, 0, 1, 1))
        axes.spines[["top", "right"]].set_visible(False)
        axes.tick_params(labelsize=12.5, colors=INK)
        axes.yaxis.set_major_formatter("{x:,.4g}")
        axes.locator_params(axis="y", nbins=5)
    axes = figure.axes[1]
    for artist in (*axes.lines, *axes.texts, *axes.collections):
        artist.remove()
    return axes


def _powers(axes: Axes, taken: Taken, rated_w: float, peaks_w: float) -> None:
    """Draw the powers, one on top of the other, and the two levels to compare: the rating and all peaks at once."""
    shown = np.searchsorted(taken.edges_h, SPAN_H)
    edges, level = np.repeat(taken.edges_h[: shown + 1], 2)[1:-1], np.zeros(2 * shown)
    for power, colour in zip(taken.power_w[:, :shown], taken.colours, strict=True):
        top = level + np.repeat(power, 2)
        axes.fill_between(edges, level, top, color=colour, linewidth=0)
        level = top
    over = peaks_w > rated_w
    levels = ((rated_w, "rating", INK, "-"),
              (peaks_w, "all peaks", VERMILION if over else GREY, "--"))  # fmt: skip
    for (watts, words, colour, style), y in zip(levels, apart([rated_w, peaks_w], 0.17 * rated_w), strict=True):
        axes.axhline(watts, color=colour, linewidth=2, linestyle=style)
        _beside(axes, y, f"{words} {watts:,.0f} W", colour, 1.015)
    axes.set_ylim(0, 1.2 * rated_w)
    axes.set_ylabel("power (W)", fontsize=13, color=INK)


def _energies(axes: Axes, taken: Taken) -> None:
    """Draw the energies, one on top of the other, up to what the unit holds, each named beside its end."""
    holds = float(taken.energy_wh[:, -1].sum())
    names, colours = [*taken.names, "the unit itself"], [*taken.colours, PALE]
    tops = np.cumsum(taken.energy_wh, axis=0)
    for top, energy, colour in zip(tops, taken.energy_wh, colours, strict=True):
        axes.fill_between(taken.times_h, top - energy, top, facecolor=colour, edgecolor="white", linewidth=0,
                          hatch="///" if colour == PALE else None)  # fmt: skip
    places = apart([float(middle) for middle in tops[:, -1] - taken.energy_wh[:, -1] / 2], 0.115 * holds)
    beside = axes.get_yaxis_transform()
    axes.scatter([1.03] * len(places), places, s=90, c=colours, marker="s", transform=beside, clip_on=False)
    for y, name, energy in zip(places, names, taken.energy_wh[:, -1], strict=True):
        _beside(axes, y, f"{name} {energy:,.0f} Wh", INK, 1.055)
    axes.axhline(holds, color=INK, linewidth=2)
    axes.text(0.3, 1.03 * holds, f"the unit holds {holds:,.0f} Wh", fontsize=12.5, color=INK)
    axes.set_ylim(0, 1.18 * holds)
    axes.set_ylabel("energy (Wh)", fontsize=13, color=INK)


def _beside(axes: Axes, y: float, words: str, colour: str, x: float) -> None:
    """Write to the right of the axes."""
    axes.text(x, y, words, transform=axes.get_yaxis_transform(), va="center", fontsize=12.5, color=colour)
