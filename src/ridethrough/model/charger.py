"""What takes recharge in: how much at most, and less near full."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pint

from ..estimate import Estimate, estimate
from ..sources import coefficient
from ..units import positive

LEAST = 1e-200  # keeps a division by nothing from being one


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


def gap_after(gap: np.ndarray, hours: np.ndarray, wanted: np.ndarray, bend: np.ndarray) -> np.ndarray:
    """Return what is missing to full after charging for some hours [Wh].

    gap - r t             while more than gap* is missing
    gap* exp(-t r / gap*) from there                                                          (1)

    Parameters
    ----------
    gap : array
        What is missing to full [Wh].
    hours : array
        t [h].
    wanted : array
        r, what is stored of a surplus that the charger takes whole [W].
    bend : array
        gap*, where a charger whose limit falls in proportion to the gap takes just that surplus [Wh].
    """
    needed = np.where(wanted > 0, np.maximum(gap - bend, 0) / np.maximum(wanted, LEAST), np.inf)
    tail = np.exp(-np.maximum(hours - needed, 0) * wanted / np.maximum(bend, LEAST))
    return np.where(hours <= needed, gap - wanted * hours, np.minimum(gap, bend) * tail)  # (1)


def hours_to(gap: np.ndarray, aim: np.ndarray, wanted: np.ndarray, bend: np.ndarray) -> np.ndarray:
    """Return how long charging takes from one gap to a smaller one, of the arrays of `gap_after` [h]."""
    straight = np.maximum(gap - np.maximum(aim, bend), 0) / np.maximum(wanted, LEAST)
    tail = np.log(np.maximum(np.minimum(gap, bend), LEAST) / np.maximum(aim, LEAST)) * bend / np.maximum(wanted, LEAST)
    return np.where(gap <= aim, 0.0, straight + np.where(aim < bend, tail, 0.0))
