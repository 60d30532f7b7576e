"""Bars: the energy ledger, quantities side by side, what boxes hold, and past outages."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from ...answer.ledger import Ledger, Line
from ...model.unit import packs_in_words
from ...units import show
from .base import About, Known, beside, plain
from .palette import APPLIANCE, ASSUMED, BEFORE, HELD, INK, KEPT, LEFT, MAINS, OWN, SHORT, SUM_ASSUMED

_LONGEST = 33  # characters that fit beside the bars
_COLOURS = {"total": HELD, "battery": KEPT, "load": APPLIANCE, "loss": OWN, "recharge": MAINS}
_MISSING: dict[str, dict[str, Any]] = {
    "kept back (Wh)": {"color": KEPT},
    "not full (Wh)": {"color": KEPT, "alpha": 0.35},
    "lost to age (Wh)": {"facecolor": "white", "edgecolor": INK, "linewidth": 1},
}


def ledger_figure(axes: Axes, account: Ledger, *, before: Ledger | None = None,
                  reach: tuple[float, float] | None = None) -> About:  # fmt: skip
    """Draw the energy ledger, from the printed capacity down to what is left; return what the grey line explains.

    Parameters
    ----------
    axes : Axes
        Of a `canvas`, in the kit's style.
    account : Ledger
        What to show.
    before : Ledger, optional
        The same account with less known: what is new stands out, and its intervals lie in grey below.
    reach : (float, float), optional
        The two ends of the energy axis [Wh]; a panel fixes them so that nothing jumps.

    Notes
    -----
    Lines that are only assumed are grey and hatched, measured ones have colour. Thin lines are 95 %
    intervals. A line too short to see is still labelled.
    """
    _rows(axes, [line.label for line in account.lines], f"energy at the {account.unit.route.side} (Wh)", left=0.335)
    level, (*_, last) = 0.0, account.lines
    then = {line.topic: line for line in before.lines} if before else {}
    new = [line for line, _ in account.new_since(before)] if before else account.lines
    same_side = before is not None and before.unit.route.side == account.unit.route.side
    lowest, highest = 0.0, plain(account.unit.printed)
    for row, line in enumerate(account.lines):
        value, total = plain(line.energy), line.kind == "total"
        if row and (not total or line is last):
            axes.plot([level, level], [row - 0.66, row - 0.34], linewidth=0.8)
        begin = 0.0 if total else level
        axes.barh(row, value, left=begin, height=0.62, **_look(line, last=line is last, new=line in new))
        level = begin + value
        ends = _interval(axes, row, level - value, line.energy)
        if line.topic in then and (line in new or (total and same_side)):
            ends += _interval(axes, row + 0.2, level - value, then[line.topic].energy, **BEFORE)
        beside(axes, row, show(line.energy.value, 0), fontweight="bold" if total else "normal")
        lowest, highest = min(lowest, level, *ends), max(highest, level, *ends)
    low, high = reach or (lowest, highest)
    axes.set_xlim(low - 0.02 * (high - low), high + 0.02 * (high - low))
    lines = "thin lines: 95 % interval" + (", grey: before" if before else "")
    return account.unit.label, account.load.name, lines, "hatched: assumed"


def _look(line: Line, *, last: bool, new: bool) -> Mapping[str, Any]:
    """Return how a ledger's line looks; the last one tells covered from missing by colour and by side."""
    if last:
        return {"color": LEFT if line.energy.value.magnitude >= 0 else SHORT}
    if line.measured:
        return {"color": _COLOURS[line.kind], "alpha": 1 if new or line.kind == "total" else 0.45}
    return SUM_ASSUMED if line.kind == "total" else ASSUMED


def bars_figure(axes: Axes, bars: Sequence[tuple[str, Known, bool]], axis: str, *, reach: float | None = None) -> About:
    """Draw what appliances take side by side, in the appliance's colour or, not measured, grey and hatched.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    bars : sequence of (str, Known, bool)
        Label, value, and whether it was measured.
    axis : str
        The axis label with its unit; values are drawn in the unit they are given in.
    reach : float, optional
        Where the axis ends, in that unit.
    """
    _rows(axes, [label for label, _, _ in bars], axis, left=0.33)
    ends = []
    for row, (_, estimate, measured) in enumerate(bars):
        axes.barh(row, plain(estimate), height=0.6, **({"color": APPLIANCE} if measured else ASSUMED))
        ends += _interval(axes, row, 0, estimate)
        beside(axes, row, show(estimate.value), fontsize=14, fontweight="bold" if measured else "normal")
    axes.set_xlim(min(0, *ends), reach or 1.05 * max(ends))
    return "thin lines: 95 % interval", "hatched: not measured"


def capacity_figure(axes: Axes, accounts: Sequence[Ledger], table: pd.DataFrame) -> About:
    """Draw a bar for each unit, the first on top, as long as what is printed: usable in blue, then what is missing.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    accounts : sequence of Ledger
        Of units known from print.
    table : pandas.DataFrame
        A row for each: what of it may not be used, by the reason [Wh].
    """
    units = [account.unit for account in accounts]
    _rows(axes, [f"{unit.name}\n{unit.chemistry}" for unit in units], "energy at the battery (Wh)", left=0.275,
          right=0.85)  # fmt: skip
    for row, account in enumerate(accounts):
        usable = account.available
        axes.barh(row, plain(usable), height=0.6, color=HELD)
        level = plain(usable)
        for reason, look in _MISSING.items():
            energy = table[reason].iloc[row]
            if energy > 0:
                axes.barh(row, energy, left=level, height=0.6, **look)
            level += energy
        _interval(axes, row, 0, usable)
        beside(axes, row - 0.11, show(usable, 0), fontsize=15, fontweight="bold")
        beside(axes, row + 0.15, f"of {show(account.unit.printed, 0)}", fontsize=12.5)
    axes.set_xlim(0, 1.005 * max(plain(unit.printed) for unit in units))
    return "dark: usable", "light: kept back", "pale: not full", "outlined: lost to age", "thin lines: 95 % interval"


def outages_figure(axes: Axes, hours: Sequence[float], packs: Sequence[int | None], name: str) -> About:
    """Draw past outages as bars, their mean as a line, and beside each what would have covered it.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    hours : sequence of float
        Lengths of the outages [h].
    packs : sequence of int or None
        The fewest packs that cover each; None where even all of them do not [-].
    name : str
        The unit's name.
    """
    _rows(axes, [f"{length:g} h" for length in hours], "length of the outage (h)", left=0.12, right=0.76)
    for row, (length, needed) in enumerate(zip(hours, packs, strict=True)):
        packed = KEPT, f"{name} + {packs_in_words(needed)}"
        colour, by = {None: (SHORT, "not covered"), 0: (HELD, name)}.get(needed, packed)
        axes.barh(row, length, height=0.64, color=colour)
        beside(axes, row, by, fontweight="normal" if needed == 0 else "bold")
    mean = sum(hours) / len(hours)
    axes.axvline(mean, linestyle="--")
    axes.text(mean, 0, f"  mean {mean:.1f} h", fontweight="bold", va="center")
    axes.set_xlim(0, 1.05 * max(hours))
    return "a bar for each outage", "broken line: their mean"


def _rows(axes: Axes, labels: Sequence[str], axis: str, *, left: float, right: float = 0.84) -> None:
    """Label horizontal bars, the first on top. Plain text: an axis with its ticks takes twice the time to draw."""
    axes.figure.subplots_adjust(left=left, right=right)
    axes.yaxis.set_visible(False)
    axes.spines["left"].set_visible(False)
    axes.axvline(0, linewidth=0.9)
    for row, label in enumerate(labels):
        beside(axes, row, label, -0.02, ha="right", fontsize=13 * min(1, _LONGEST / len(label)))
    axes.set(ylim=(len(labels) - 0.4, -0.6), xlabel=axis)


def _interval(axes: Axes, row: float, begin: float, estimate: Known, **look: Any) -> list[float]:
    """Draw the 95 % interval of a bar that begins somewhere, and return where it ends."""
    ends = [begin + plain(end) for end in estimate.interval()]
    if ends[1] > ends[0]:
        axes.plot(ends, [row, row], **({"linewidth": 1.7} | look))
    return ends
