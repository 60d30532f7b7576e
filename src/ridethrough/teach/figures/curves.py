"""Curves over one number, an estimate that narrows, the line through run-downs, and what is cheapest for how long."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from ...model.rundowns import RundownLine
from ...units import Q_, show
from .base import About, Curve, apart, plain
from .palette import APPLIANCE, HELD, INK, OWN, SHORT, of_units

_HOURS = {1: "1 h", 4: "4 h", 12: "12 h", 24: "1 day", 72: "3 days", 168: "7 days", 336: "14 days", 720: "30 days"}
_PRICES = [float(f"{first}e{zeros}") for zeros in range(7) for first in (1, 2, 5)]


def curves_figure(
    axes: Axes, x: np.ndarray, curves: Sequence[Curve], at: float, *, labels: tuple[str, str],
    colours: Sequence[str] = (), reach: tuple[float, float] | None = None,
    stated: Sequence[tuple[float, float]] = (), about: Sequence[str] = (),
) -> About:  # fmt: skip
    """Draw one number against another for several things, each with its band, and a place marked.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    x : array of shape (n,)
        What is varied, rising.
    curves : sequence of Curve, four at most
        Their values at ``x``.
    at : float
        The place to mark.
    labels : (str, str)
        What the axes show, with units.
    colours : sequence of str, optional
        One for each curve; else those of units.
    reach : (float, float), optional
        The two ends of the upright axis; a panel fixes them so that nothing jumps.
    stated : sequence of (float, float)
        For each curve a point of it that somebody states.
    about : sequence of str
        More for the grey line.
    """
    axes.figure.subplots_adjust(right=0.84)
    here, colours = int(np.argmin(np.abs(x - at))), colours or of_units([curve.name for curve in curves])
    low, high = reach or (0.0, 1.08 * max(float(curve.high.max()) for curve in curves))
    ends = [float(np.clip(curve.value[-1], low, high)) for curve in curves]
    for curve, colour, style, y in zip(curves, colours, ("-", "--", "-.", ":"), apart(ends, 0.06 * (high - low)),
                                       strict=False):  # fmt: skip
        axes.fill_between(x, curve.low, curve.high, color=colour, alpha=0.2)
        axes.plot(x, curve.value, color=colour, linestyle=style, linewidth=2.8)
        axes.plot(x[here], curve.value[here], "o", color=colour, markersize=9, clip_on=False)
        axes.text(x[-1] + 0.015 * (x[-1] - x[0]), y, curve.name, fontweight="bold", color=colour, va="center")
    for point, colour in zip(stated, colours, strict=False):
        axes.plot(*point, "s", markersize=11, markerfacecolor="white", markeredgecolor=colour, markeredgewidth=2.5)
    axes.axvline(at, linestyle=":", linewidth=1.5)
    axes.set(xlim=(x[0], x[-1]), ylim=(low, high), xlabel=labels[0], ylabel=labels[1])
    return "bands: 95 % interval", "dotted: the place chosen", *about


def band_figure(axes: Axes, x: np.ndarray, curve: Curve, floor: np.ndarray, at: float) -> About:
    """Draw a mean power that narrows while it is logged, its band, and inside it the band that stays.

    Parameters
    ----------
    axes, x, at
        As in `curves_figure`; ``x`` counts the hours logged [h].
    curve : Curve
        The mean power at ``x`` [W].
    floor : array of shape (n,)
        The half width that no more readings cure [W].
    """
    here = int(np.argmin(np.abs(x - at)))
    axes.fill_between(x, curve.low, curve.high, color=APPLIANCE, alpha=0.25)
    axes.fill_between(x, curve.value - floor, curve.value + floor, color=APPLIANCE, alpha=0.6)
    axes.plot(x, curve.value)
    axes.plot([x[here]] * 2, [curve.low[here], curve.high[here]], linewidth=3, clip_on=False)
    axes.plot(x[here], curve.value[here], "o", clip_on=False)
    axes.set(xlim=(0, x[-1]), ylim=(0, 2 * curve.value[-1]), xlabel="hours logged (h)",
             ylabel="mean power at the outlet (W)")  # fmt: skip
    return "light band: 95 % interval", "dark band: the meter alone"


def rundown_figure(axes: Axes, line: RundownLine) -> About:
    """Draw the run-down line: one over run time against load, where standby is read off the axis.

    1/t = (S + P) / E                                                                         (1)

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    line : RundownLine
        E and S with the runs that they come from.
    """
    power_w, hours = line.points["load (W)"].to_numpy(), line.points["hours (h)"].to_numpy()
    crossing, right = -plain(line.standby), 1.08 * float(power_w.max())
    load = np.linspace(1.6 * crossing, right, 40)
    rates = Curve.of("", [((line.standby + Q_(p, "W")) / line.energy).to("1/h") for p in load])  # (1)
    axes.fill_between(load, rates.low, rates.high, color=HELD, alpha=0.25)
    axes.plot(load, rates.value, color=HELD, linewidth=2.5)
    axes.plot(power_w, 1 / hours, "o")
    axes.plot(crossing, 0, "s", color=OWN, markersize=11)
    axes.axhline(0, linewidth=0.8)
    axes.axvline(0, linewidth=0.8)
    for p, t in zip(power_w, hours, strict=True):
        left = not p or p > right / 2
        place = (-12, 10) if left else (14, -7) if p < right / 10 else (12, -18)  # clear of the line and of both axes
        axes.annotate(f"{p:.0f} W ran {t:.1f} h", (p, 1 / t), xytext=place, textcoords="offset points",
                      ha="right" if left else "left")  # fmt: skip
    axes.annotate(f"standby {show(line.standby)}", (crossing, 0), xytext=(4, -20), textcoords="offset points",
                  fontweight="bold", ha="right")  # fmt: skip
    fastest = 1 / hours.min()
    axes.set(xlim=(min(2.6 * crossing, -0.45 * right), right), ylim=(-0.15 * fastest, 1.2 * fastest),
             xlabel="load at the outlet (W)", ylabel="1 / run time (1/h)")  # fmt: skip
    return "slope gives the energy, the left crossing the standby", "band: 95 %"


def steps_figure(axes: Axes, table: pd.DataFrame, at: float | None = None) -> About:
    """Draw price against length of the outage, a step for each choice, its name where it begins.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    table : pandas.DataFrame
        From `frontier`.
    at : float, optional
        A length of the outage to mark, up to its step [h].
    """
    axes.figure.subplots_adjust(right=0.95)
    steps, reach = table[table["price"] > 0], float(table["to (h)"].max())
    lowest, highest = 0.45 * float(steps["price"].min()), 1.5 * float(steps["price"].max())
    begin = min(1.0, float(table["to (h)"].min()) / 2)
    heights = apart(list(np.log(steps["price"])), 0.055 * np.log(highest / lowest))
    for height, (choice, start, end, price) in zip(heights, steps.iloc[:, :4].itertuples(index=False), strict=True):
        axes.plot([max(start, begin), end], [price] * 2, color=HELD, linewidth=3.5, solid_capstyle="butt")
        axes.plot([end] * 2, [lowest, price], color=HELD, linewidth=0.8, alpha=0.5)
        if start > begin:
            axes.text(0.97 * start, np.exp(height), choice, ha="right", va="center")
        else:
            axes.text(1.03 * begin, 0.95 * price, choice, ha="left", va="top")
    unpriced = table[~(table["price"] > 0)].dropna(subset="to (h)")
    for choice, start, end, price in unpriced.iloc[:, :4].itertuples(index=False):
        middle = (max(start, begin) * end) ** 0.5
        axes.axvspan(max(start, begin), end, color=INK if price == 0 else SHORT, alpha=0.12, linewidth=0)
        axes.text(middle, 1.1 * lowest, choice, rotation=90, ha="center", va="bottom")
    if at is not None:
        here = steps.loc[(steps["from (h)"] < at) & (at <= steps["to (h)"]), "price"]
        axes.plot([at] * 2, [lowest, here.max() if len(here) else highest], color=INK, linewidth=1.6, linestyle=":")
    hours = {each: name for each, name in _HOURS.items() if begin <= each <= reach}
    prices = {each: f"{each:,.0f}" for each in _PRICES if lowest <= each <= highest}
    axes.set(xscale="log", yscale="log", xlim=(begin, reach), ylim=(lowest, highest), xlabel="length of the outage",
             ylabel=f"price ({steps['terms'].iloc[0]})")  # fmt: skip
    axes.set_xticks(list(hours), list(hours.values()))
    axes.set_yticks(list(prices), list(prices.values()))
    axes.minorticks_off()
    return ("a step for each choice, the cheapest that passes so far",)
