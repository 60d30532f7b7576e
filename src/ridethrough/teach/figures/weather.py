"""A battery that empties while the level at which it is empty moves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...estimate import Estimate
from ...units import show
from .base import BLUE, GREEN, GREY, INK, PALE, SKY, VERMILION, start

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def emptying_figure(
    headline: str, charge_wh: np.ndarray, limit_wh: np.ndarray, ends: tuple[Estimate, Estimate], *, begins: int = 0,
    note: str = "", figure: Figure | None = None,
) -> Figure:  # fmt: skip
    """Return what a battery holds hour by hour, and below it the part that the cold keeps back.

    Parameters
    ----------
    headline : str
        The conclusion.
    charge_wh : array of shape (n + 1,)
        What is in it at the full hours, falling [Wh].
    limit_wh : array of shape (n,)
        What can't be taken out during each hour [Wh].
    ends : (Estimate, Estimate)
        When the charge meets the limit, and when it would meet zero [h].
    begins : int
        The clock's hour at the beginning [h].
    note, figure
        As in `ledger_figure`.
    """
    figure, axes = start(figure, headline, ("hatched: out of reach in the cold", "flat lines: 95 % interval", note))
    figure.subplots_adjust(left=0.09, right=0.97, top=0.84, bottom=0.13)
    hours, limit = np.arange(charge_wh.size), np.append(limit_wh, limit_wh[-1])
    end, zero = (float(each.value.magnitude) for each in ends)
    before = np.append(hours[hours < end], end)
    charge, floor = np.interp(before, hours, charge_wh), limit[before.astype(int)]
    axes.fill_between(before, floor, charge, color=SKY, alpha=0.5, linewidth=0)
    axes.fill_between(hours, 0, limit, step="post", facecolor="white", edgecolor=PALE, hatch="///", linewidth=0)
    axes.plot(hours, limit, color=INK, linewidth=2, drawstyle="steps-post")
    axes.plot(before, charge, color=BLUE, linewidth=3)
    axes.plot([end, zero], [np.interp(end, hours, charge_wh), 0], color=GREY, linewidth=2, linestyle="--")
    marks = ((end, charge[-1], VERMILION, "empty in the cold", ends[0]), (zero, 0.0, GREEN, "in the warm", ends[1]))
    for at, level, colour, words, each in marks:
        half = float(each.expanded().magnitude)
        axes.plot([at - half, at + half], [level, level], color=colour, linewidth=3, clip_on=False)
        axes.plot(at, level, "o", color=colour, markersize=11, clip_on=False)
        axes.text(at + 0.5, level + 0.05 * charge_wh[0], f"{words}: {show(each.value)}", fontsize=13,
                  fontweight="bold", color=colour)  # fmt: skip
    axes.set(xlim=(0, limit_wh.size), ylim=(0, 1.1 * charge_wh[0]))
    ticks = np.arange(0, limit_wh.size, 3)
    axes.set_xticks(ticks, [f"{(begins + int(hour)) % 24}:00" for hour in ticks])
    axes.set_xlabel("clock", fontsize=13, color=INK)
    axes.set_ylabel("in the battery (Wh)", fontsize=13, color=INK)
    return figure
