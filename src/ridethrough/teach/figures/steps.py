"""Steps: what the cheapest choice costs as the outage grows."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from .base import About, apart
from .palette import HELD, INK, SHORT

_HOURS = {1: "1 h", 4: "4 h", 12: "12 h", 24: "1 day", 72: "3 days", 168: "7 days", 336: "14 days", 720: "30 days"}
_PRICES = [float(f"{first}e{zeros}") for zeros in range(7) for first in (1, 2, 5)]


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
    for choice, start, end, price in (
        table[~(table["price"] > 0)].dropna(subset="to (h)").iloc[:, :4].itertuples(index=False)
    ):
        middle = (max(start, begin) * end) ** 0.5
        axes.axvspan(max(start, begin), end, color=INK if price == 0 else SHORT, alpha=0.12, linewidth=0)
        axes.text(middle, 1.1 * lowest, choice, rotation=90, ha="center", va="bottom")
    if at is not None:
        here = steps.loc[(steps["from (h)"] < at) & (at <= steps["to (h)"]), "price"]
        axes.plot([at] * 2, [lowest, here.max() if len(here) else highest], color=INK, linewidth=1.6, linestyle=":")
    hours = {each: name for each, name in _HOURS.items() if begin <= each <= reach}
    axes.set(xscale="log", yscale="log", xlim=(begin, reach), ylim=(lowest, highest), xlabel="length of the outage")
    axes.set_xticks(list(hours), list(hours.values()))
    axes.set_yticks(
        prices := [each for each in _PRICES if lowest <= each <= highest], [f"{each:,.0f}" for each in prices]
    )
    axes.set_ylabel(f"price ({steps['terms'].iloc[0]})")
    axes.minorticks_off()
    return ("a step for each choice, the cheapest that passes so far",)
