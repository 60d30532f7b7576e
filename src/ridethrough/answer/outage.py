"""The outage: how long, and how full the unit is when it begins."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pint

from ..estimate import Estimate, estimate
from ..units import positive, show


@dataclass(frozen=True, init=False)
class Outage:
    """A power outage to be ridden through.

    Parameters
    ----------
    duration : str or pint.Quantity
        Its length, above zero [h].
    start : Estimate, str or float
        State of charge when it begins [-].
    reserve : str or pint.Quantity
        Energy that shall be left at its end, on the side of the unit's route [Wh].

    Example
    -------
    >>> Outage("3 days", start="97 %")
    <Outage of 72 h, unit 97 % full at its start>
    """

    duration: pint.Quantity
    start: Estimate
    reserve: pint.Quantity

    def __init__(self, duration: Any, *, start: Any = "100 %", reserve: Any = "0 Wh") -> None:
        object.__setattr__(self, "duration", positive(duration, "h", "duration"))
        object.__setattr__(self, "start", estimate(start, "1", "start"))
        object.__setattr__(self, "reserve", positive(reserve, "Wh", "reserve", zero=True))

    @classmethod
    def of(cls, outage: Outage | Any) -> Outage:
        """Return ``outage`` itself, or the outage of that length."""
        return outage if isinstance(outage, Outage) else cls(outage)

    def __repr__(self) -> str:
        return f"<Outage of {show(self.duration)}, unit {100 * self.start.value.magnitude:.0f} % full at its start>"
