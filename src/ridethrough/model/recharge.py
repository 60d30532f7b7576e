"""What flows back in during an outage: the mains for some hours, or a given series."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..estimate import Estimate, estimate
from ..sources import coefficient
from ..units import Refusal, number, positive
from .pattern import Pattern


@dataclass(frozen=True)
class Recharge:
    """Power into the unit through an outage; make it with `Recharge.mains` or `Recharge.series`.

    Parameters
    ----------
    pattern : Pattern
        Power before charge loss, from the beginning of the outage on [W]; nothing after its end.
    efficiency : Estimate
        Share of what is stored that comes back, on the side of the unit's route [-].
    carries : bool
        Whether load and unit hang on it while it lasts, as on the mains.
    """

    pattern: Pattern = field(repr=False)
    efficiency: Estimate
    carries: bool

    @classmethod
    def mains(cls, windows: Sequence[tuple[Any, Any]], *, power: Any, efficiency: Any = None) -> Recharge:
        """Return the mains coming back for some hours: it carries everything, and charges besides.

        Parameters
        ----------
        windows : sequence of (str or pint.Quantity, str or pint.Quantity)
            From and to, counted from the beginning of the outage [h].
        power : str or pint.Quantity
            What the charger takes for the battery [W].
        efficiency : Estimate, str or float, optional
            Into the battery over from the wall; else the table's charger [-].
        """
        remedy = 'Write [("20 h", "23 h"), ("40 h", "43 h")].'
        for window in windows:
            if not isinstance(window, (tuple, list)) or len(window) != 2:
                raise Refusal(f"the window {window!r}", "from and to", remedy)
        edges = [(number(begin, "h", "from"), number(end, "h", "to")) for begin, end in windows]
        flat = [0.0, *(edge for window in edges for edge in window)]
        lengths = np.diff(flat[1:])
        if not edges or (lengths[::2] <= 0).any() or (lengths[1::2] < 0).any() or flat[1] < 0:
            raise Refusal(f"the windows {windows!r}", "one after the other, each with an end after its beginning",
                          remedy)  # fmt: skip
        watts = number(positive(power, "W", "power"), "W", "power")
        steps = np.diff(flat)
        on = np.arange(steps.size) % 2 * watts
        return cls(Pattern(steps[steps > 0], on[steps > 0]), _efficiency(efficiency), carries=True)

    @classmethod
    def series(cls, power: Sequence[Any], *, step: Any = "1 h", efficiency: Any = None) -> Recharge:
        """Return recharge as a series of powers, such as a sun's or a generator's.

        Parameters
        ----------
        power : sequence of str, pint.Quantity or float
            Mean power in each step [W]; plain numbers are watts here.
        step : str or pint.Quantity
            Length of each step [h].
        efficiency : Estimate, str or float, optional
            As in `mains` [-].
        """
        if isinstance(power, str) or not isinstance(power, Iterable):
            raise Refusal(f"power={power!r}", "a list of powers", 'Write Recharge.series([0, 120, 180], step="1 h").')
        plain = [float(p) if isinstance(p, (int, float, np.number)) else number(p, "W", "power") for p in power]
        length = float(positive(step, "h", "step").magnitude)
        return cls(Pattern(np.full(len(plain), length), np.array(plain)), _efficiency(efficiency), carries=False)


def _efficiency(given: Any) -> Estimate:
    """Return the charge efficiency as given, or the table's [-]."""
    found = coefficient("charger efficiency") if given is None else estimate(given, "1", "efficiency")
    positive(found.value, "1", "efficiency")
    return found
