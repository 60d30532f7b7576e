"""Curves over one number, and the line through run-downs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ...estimate import Estimate
from ...units import Q_, show
from .base import BLUE, GREEN, INK, SKY, VERMILION, apart, start

if TYPE_CHECKING:
    from matplotlib.figure import Figure

STYLES = ((BLUE, "-"), (VERMILION, "--"), (GREEN, "-."), (INK, ":"))


def curves_figure(
    headline: str, x: np.ndarray, curves: Sequence[tuple[str, np.ndarray, np.ndarray]], at: float, *,
    labels: tuple[str, str], reach: tuple[float, float] | None = None, about: Sequence[str] = (), note: str = "",
    figure: Figure | None = None,
) -> Figure:  # fmt: skip
    """Return one number against another for several things, each with its band, and a place marked.

    Parameters
    ----------
    headline : str
        The conclusion.
    x : array of shape (n,)
        What is varied, rising.
    curves : sequence of (str, array, array), four at most
        A name, its values and half the width of its 95 % interval, both of shape (n,).
    at : float
        The place to mark.
    labels : (str, str)
        What the axes show, with units.
    reach : (float, float), optional
        The two ends of the upright axis; a panel fixes them so that nothing jumps.
    about : sequence of str
        More for the grey line.
    note, figure
        As in `ledger_figure`.
    """
    figure, axes = start(figure, headline, ("bands: 95 % interval", "dotted: the place chosen", *about, note))
    figure.subplots_adjust(left=0.09, right=0.84, top=0.84, bottom=0.13)
    here = int(np.argmin(np.abs(x - at)))
    low, high = reach or (0.0, 1.08 * max(float((value + half).max()) for _, value, half in curves))
    ends = [float(np.clip(value[-1], low, high)) for _, value, _ in curves]
    for (name, value, half), (colour, style), y in zip(curves, STYLES, apart(ends, 0.06 * (high - low)), strict=False):
        axes.fill_between(x, value - half, value + half, color=colour, alpha=0.2, linewidth=0)
        axes.plot(x, value, color=colour, linestyle=style, linewidth=2.8)
        axes.plot(x[here], value[here], marker="o", markersize=9, color=colour)
        axes.text(x[-1] + 0.015 * (x[-1] - x[0]), y, name, fontsize=13, fontweight="bold", color=colour, va="center")
    axes.axvline(at, color=INK, linestyle=":", linewidth=1.5)
    axes.set(xlim=(float(x[0]), float(x[-1])), ylim=(low, high))
    axes.set_xlabel(labels[0], fontsize=13, color=INK)
    axes.set_ylabel(labels[1], fontsize=13, color=INK)
    return figure


def rundown_figure(
    power_w: np.ndarray, hours: np.ndarray, energy: Estimate, standby: Estimate, *, note: str = "",
    figure: Figure | None = None,
) -> Figure:  # fmt: skip
    """Return the run-down line: one over run time against load, where standby is read off the axis.

    1/t = (S + P) / E                                                                         (1)

    Parameters
    ----------
    power_w, hours : arrays of shape (n,)
        The loads and run times of the tests [W], [h].
    energy, standby : Estimate
        E and S, with their correlation [Wh], [W].
    note, figure
        As in `ledger_figure`.
    """
    headline = f"{len(hours)} run-downs: {show(energy.value)} to share, {show(standby.value)} of standby"
    about = ("slope gives the energy, the left crossing the standby", "band: 95 %", note)
    figure, axes = start(figure, headline, about)
    figure.subplots_adjust(left=0.10, right=0.97, top=0.84, bottom=0.13)
    crossing, right = -float(standby.value.magnitude), 1.08 * float(power_w.max())
    load = np.linspace(1.6 * crossing, right, 40)
    line = [(standby + Q_(float(p), "W")) / energy for p in load]  # (1)
    middle = np.array([float(e.value.to("1/h").magnitude) for e in line])
    half = np.array([float(e.to("1/h").expanded().magnitude) for e in line])
    axes.fill_between(load, middle - half, middle + half, color=SKY, alpha=0.4, linewidth=0)
    axes.plot(load, middle, color=BLUE, linewidth=2.5)
    axes.plot(power_w, 1 / hours, "o", color=VERMILION, markersize=10)
    axes.plot(crossing, 0, "s", color=GREEN, markersize=11)
    axes.axhline(0, color=INK, linewidth=0.8)
    axes.axvline(0, color=INK, linewidth=0.8)
    for p, t in zip(power_w, hours, strict=True):
        left = p > right / 2
        place = (-12, 10) if left else (12, 6) if p == 0 else (10, -18)
        axes.annotate(f"{p:.0f} W ran {t:.1f} h", (p, 1 / t), xytext=place, fontsize=13, textcoords="offset points",
                      color=INK, ha="right" if left else "left")  # fmt: skip
    axes.annotate(f"standby {show(standby.value)}", (crossing, 0), xytext=(4, 14), textcoords="offset points",
                  fontsize=13, color=GREEN, fontweight="bold", ha="right")  # fmt: skip
    axes.set_xlim(min(2.6 * crossing, -0.3 * right), right)
    axes.set_xlabel("load at the outlet (W)", fontsize=13, color=INK)
    axes.set_ylabel("1 / run time (1/h)", fontsize=13, color=INK)
    return figure
