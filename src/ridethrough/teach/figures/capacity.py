"""What is printed on several boxes, and what may be used of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ...estimate import Estimate
from ...units import show
from .account import name_rows
from .base import GREY, INK, PALE, start

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_STYLES: dict[str, dict[str, Any]] = {
    "kept back": {"facecolor": PALE, "hatch": "///", "edgecolor": "white", "linewidth": 0},
    "not full": {"facecolor": "#E4E4E4", "linewidth": 0},
    "lost to age": {"facecolor": "white", "edgecolor": GREY, "linewidth": 1},
}


@dataclass(frozen=True)
class Box:
    """What is printed on one box, in its parts.

    Parameters
    ----------
    name, chemistry : str
        What the kit calls the unit, and what its battery is made of.
    usable : Estimate
        What may be used [Wh].
    missing : mapping from str to float
        The rest of what is printed, by its reason: "kept back", "not full", "lost to age" [Wh].
    """

    name: str
    chemistry: str
    usable: Estimate
    missing: Mapping[str, float]

    @property
    def usable_wh(self) -> float:
        """What may be used [Wh]."""
        return float(self.usable.value.magnitude)

    @property
    def printed_wh(self) -> float:
        """What is printed [Wh]."""
        return self.usable_wh + sum(self.missing.values())


def capacity_figure(headline: str, boxes: Sequence[Box], *, note: str = "", figure: Figure | None = None) -> Figure:
    """Return a bar for each box, as long as what is printed: usable in grey, then what is missing.

    Parameters
    ----------
    headline : str
        The conclusion.
    boxes : sequence of Box
        The first on top.
    note, figure
        As in `ledger_figure`.
    """
    looks = ("grey: usable", "hatched: kept back", "pale: not full", "outlined: lost to age")
    figure, axes = start(figure, headline, (*looks, "thin lines: 95 % interval", note))
    figure.subplots_adjust(left=0.275, right=0.87, top=0.84, bottom=0.15)
    for row, box in enumerate(boxes):
        _draw(axes, row, box)
    axes.axvline(0, color=INK, linewidth=0.9)
    name_rows(axes, [f"{box.name}\n{box.chemistry}" for box in boxes])
    axes.set_xlim(0, 1.005 * max(box.printed_wh for box in boxes))
    axes.set_xlabel("energy at the battery (Wh)", fontsize=13, color=INK)
    return figure


def _draw(axes: Axes, row: int, box: Box) -> None:
    """Draw one box: usable, then each part that is missing, then the interval and the numbers beside it."""
    level, half = box.usable_wh, float(box.usable.expanded().magnitude)
    axes.barh(row, level, height=0.6, color=GREY, linewidth=0)
    for reason, energy in box.missing.items():
        if energy > 0:
            axes.barh(row, energy, left=level, height=0.6, **_STYLES[reason])
        level += energy
    for colour, width in (("white", 4.5), (INK, 1.8)):
        axes.plot([box.usable_wh - half, box.usable_wh + half], [row, row], color=colour, linewidth=width)
    beside = axes.get_yaxis_transform()
    axes.text(1.02, row - 0.11, show(box.usable.value, 0), transform=beside, va="center", fontsize=15, color=INK,
              fontweight="bold")  # fmt: skip
    axes.text(1.02, row + 0.15, f"of {box.printed_wh:,.0f} Wh", transform=beside, va="center", fontsize=12.5, color=INK)
