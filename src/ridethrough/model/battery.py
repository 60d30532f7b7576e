"""From the capacity printed on the box to what may be used tonight."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pint

from ..estimate import Estimate, estimate
from ..sources import coefficient
from ..units import Q_, Refusal, positive, show

CHEMISTRIES = ("iron phosphate", "nickel-manganese-cobalt", "sealed lead-acid", "flooded lead-acid")


@dataclass(frozen=True)
class Battery:
    """A battery as its box describes it.

    Parameters
    ----------
    printed : pint.Quantity
        Capacity printed on the box, packs included [Wh].
    chemistry : str
        One of `CHEMISTRIES`.
    depth_of_discharge : Estimate
        Share of the printed capacity that the unit gives up before it cuts off [-].
    """

    printed: pint.Quantity
    chemistry: str
    depth_of_discharge: Estimate

    @classmethod
    def from_print(cls, capacity: Any, chemistry: str, depth_of_discharge: Any = None) -> Battery:
        """Return the battery with this printed capacity.

        Parameters
        ----------
        capacity : str or pint.Quantity
            As printed [Wh].
        chemistry : str
            One of `CHEMISTRIES`.
        depth_of_discharge : Estimate, str or float, optional
            Usable share [-]; else the table's value and band for the chemistry.

        Raises
        ------
        Refusal
            If the capacity is not an energy above zero or the chemistry is unknown.
        """
        printed = positive(capacity, "Wh", "capacity")
        if chemistry not in CHEMISTRIES:
            raise Refusal(f"chemistry={chemistry!r}", f"one of {', '.join(CHEMISTRIES)}", "Write it as in the list.")
        if depth_of_discharge is None:
            depth = coefficient(f"depth of discharge, {chemistry}")
        else:
            depth = estimate(depth_of_discharge, "1", "depth_of_discharge")
        return cls(printed, chemistry, depth)

    def with_more(self, capacity: pint.Quantity) -> Battery:
        """Return the battery with ``capacity`` [Wh] added to what is printed."""
        return Battery(self.printed + capacity, self.chemistry, self.depth_of_discharge)

    def steps(self, start: Any) -> list[tuple[str, Estimate]]:
        """Return what the capacity loses on its way to the inverter: a label and an energy [Wh] each.

        usable = printed * start * depth of discharge                                         (1)

        Parameters
        ----------
        start : Estimate, str or float
            State of charge when the outage begins [-].

        Notes
        -----
        The first entry is the printed capacity; the losses after it are negative; all sum to what is
        usable, on the battery side.
        """
        charge = estimate(start, "1", "start")
        printed = Estimate.exact(self.printed)
        full, usable = printed * charge, printed * charge * self.depth_of_discharge  # (1)
        return [
            ("printed on the box", printed),
            (f"{_percent(charge)} full at the start", full - printed),
            (f"depth of discharge {_percent(self.depth_of_discharge)}", usable - full),
        ]

    def __repr__(self) -> str:
        return f"<Battery: {show(self.printed)} printed, {self.chemistry}>"


def _percent(share: Estimate) -> str:
    return show(Q_(100 * share.value.magnitude, "%"), 0)
