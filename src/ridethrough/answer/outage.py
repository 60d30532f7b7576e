"""The outage: how long, and how full the unit is when it begins."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pint

from ..estimate import Estimate, estimate
from ..model.pattern import clock
from ..model.recharge import Recharge
from ..units import Q_, Refusal, number, positive, quantity, show


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
    room : str or pint.Quantity, or a sequence of them, optional
        Where cold appliances stand [degC]; as when they were measured where left out. Several are the means of
        successive hours: the ledger takes their mean, a ride each hour's.
    unit_at : str or pint.Quantity, optional
        Where the unit stands, its cells as warm as the room [degC]; 25 degC, or as in its run-downs, where left
        out.
    begins : str
        Time of day at which it begins, for loads with a schedule, as "18:30".
    recharge : sequence of Recharge
        What flows back in meanwhile; `ride` and `spread` take it, the ledger refuses it.

    Example
    -------
    >>> Outage("3 days", start="97 %")
    <Outage of 72 h, unit 97 % full at its start>
    """

    duration: pint.Quantity
    start: Estimate
    reserve: pint.Quantity
    room: pint.Quantity | None
    room_c: np.ndarray | None
    unit_at: pint.Quantity | None
    begins_h: float
    recharge: tuple[Recharge, ...]

    def __init__(
        self, duration: Any, *, start: Any = "100 %", reserve: Any = "0 Wh", room: Any = None, unit_at: Any = None,
        begins: str = "0:00", recharge: Sequence[Recharge] | Recharge = (),
    ) -> None:  # fmt: skip
        object.__setattr__(self, "duration", positive(duration, "h", "duration"))
        object.__setattr__(self, "start", estimate(start, "1", "start"))
        object.__setattr__(self, "reserve", positive(reserve, "Wh", "reserve", zero=True))
        mean, hourly = _room(room, float(self.duration.magnitude))
        object.__setattr__(self, "room", mean)
        object.__setattr__(self, "room_c", hourly)
        given = (recharge,) if isinstance(recharge, Recharge) else tuple(recharge or ())
        if recharge is None or not all(isinstance(each, Recharge) for each in given):
            raise Refusal(f"recharge={recharge!r}", "one or more of Recharge",
                          'Write recharge=Recharge.mains([("20 h", "23 h")], power="400 W").')  # fmt: skip
        if len({each.efficiency.value.magnitude for each in given}) > 1:
            raise Refusal("recharges with different efficiencies", "one charger", "Give all the same efficiency.")
        object.__setattr__(self, "begins_h", clock(begins))
        object.__setattr__(self, "recharge", given)
        object.__setattr__(self, "unit_at", None if unit_at is None else quantity(unit_at, "degC", "unit_at"))

    @classmethod
    def of(cls, outage: Outage | Any) -> Outage:
        """Return ``outage`` itself, or the outage of that length."""
        return outage if isinstance(outage, Outage) else cls(outage)

    def __repr__(self) -> str:
        where = "" if self.room is None else f", room at {show(self.room, 0)}"
        where += "" if self.unit_at is None else f", unit at {show(self.unit_at, 0)}"
        full = f"{100 * self.start.value.magnitude:.0f} % full at its start"
        return f"<Outage of {show(self.duration)}, unit {full}{where}>"


def _room(given: Any, hours: float) -> tuple[pint.Quantity | None, np.ndarray | None]:
    """Return the mean temperature of the room over an outage, and its hourly means where those were given [degC]."""
    if given is None:
        return None, None
    if isinstance(given, str) or np.ndim(getattr(given, "magnitude", given)) == 0:
        return quantity(given, "degC", "room"), None
    hourly = np.array([number(each, "degC", "room") for each in given])
    count = math.ceil(hours)
    if hourly.size < count:
        raise Refusal(f"{hourly.size} hours of room temperatures for an outage of {show(Q_(hours, 'h'))}",
                      "the mean of every hour", "Give more hours, or one temperature.")  # fmt: skip
    lengths = np.minimum(1, hours - np.arange(count))
    return Q_(float(np.average(hourly[:count], weights=lengths)), "degC"), hourly[:count]
