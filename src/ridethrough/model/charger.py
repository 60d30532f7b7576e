"""What takes recharge in: how much at most, and less near full."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pint

from ..estimate import Estimate
from ..propagation import estimate
from ..sources import coefficient
from ..units import positive


@dataclass(frozen=True)
class Charger:
    """What takes recharge in.

    Parameters
    ----------
    power : Estimate
        The most it takes, before charge loss [W].
    taper_from : Estimate
        Charge from which it takes less and less, in proportion to what is missing to full [-].
    """

    power: Estimate
    taper_from: Estimate

    @classmethod
    def of(cls, power: Any, taper_from: Any, printed: pint.Quantity) -> Charger:
        """Return the charger as given, or with the table's bands for a unit of this printed capacity [Wh]."""
        if power is None:
            limit = (coefficient("charge power over printed capacity") * printed).to("W")
        else:
            limit = estimate(power, "W", "charge_power")
            positive(limit.value, "W", "charge_power")
        taper = coefficient("taper from") if taper_from is None else estimate(taper_from, "1", "taper_from")
        return cls(limit, taper)
