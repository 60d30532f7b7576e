"""Through the outage, hour by hour: the state of charge, and when it is empty."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
import pint

from ..estimate import Estimate, estimate
from ..model.load import Load
from ..model.unit import BackupUnit
from ..units import Q_, show
from .charge import Charge
from .course import TIMES, course_of
from .ledger import cautions_of, plugged
from .outage import Outage


@dataclass(frozen=True)
class Ride:
    """One ride through an outage, at the best estimates of all that goes into it; make it with `ride`.

    Parameters
    ----------
    unit, outage
        What rode through what.
    times_h : array of shape (n,)
        Moments of the outage [h].
    charge_wh : array of shape (n,)
        Energy that can still be taken then, beyond the reserve, on the side of the unit's route [Wh].
    capacity : pint.Quantity
        The same when full [Wh].
    account : Charge
        What was asked, served, stored and wasted.
    """

    unit: BackupUnit
    outage: Outage
    times_h: np.ndarray = field(repr=False)
    charge_wh: np.ndarray = field(repr=False)
    capacity: pint.Quantity
    account: Charge = field(repr=False)

    @property
    def survives(self) -> bool:
        """Whether it never runs empty."""
        return not np.isfinite(self.account.first_empty_h[0])

    @property
    def lasts(self) -> pint.Quantity:
        """When it first runs empty [h]; the whole outage where it never does."""
        return self.outage.duration if self.survives else Q_(float(self.account.first_empty_h[0]), "h")

    @property
    def state_of_charge(self) -> pd.DataFrame:
        """Columns: time (h), charge (Wh), charge (%) of a full unit."""
        share = 100 * self.charge_wh / (float(self.capacity.magnitude) or math.nan)
        return pd.DataFrame({"time (h)": self.times_h, "charge (Wh)": self.charge_wh, "charge (%)": share})

    @property
    def left(self) -> pint.Quantity:
        """What can still be taken at the end [Wh]."""
        return Q_(float(self.account.end_wh[0]), "Wh")

    @property
    def served(self) -> pint.Quantity:
        """What was asked and came [Wh]: load, losses and standby."""
        return Q_(float(self.account.served_wh[0]), "Wh")

    @property
    def unserved(self) -> pint.Quantity:
        """What was asked and did not come [Wh]."""
        return Q_(float(self.account.unserved_wh[0]), "Wh")

    @property
    def wasted(self) -> pint.Quantity:
        """Recharge that found no room [Wh]."""
        return Q_(float(self.account.wasted_wh[0]), "Wh")

    @property
    def residual(self) -> pint.Quantity:
        """What the energy account is off by [Wh]: rounding."""
        return Q_(float(self.account.residual_wh[0]), "Wh")

    @property
    def cautions(self) -> tuple[str, ...]:
        """What the numbers leave out and may hurt."""
        return cautions_of(self.unit, self.outage)

    def __repr__(self) -> str:
        lasts = f"at least {show(self.lasts)}" if self.survives else show(self.lasts)
        said = "".join(f"\n  caution: {each}" for each in self.cautions)
        return (
            f"<Ride of {self.unit.label} through {show(self.outage.duration)}: lasts {lasts}, "
            f"{show(self.unserved)} unserved, {show(self.wasted)} wasted{said}>"
        )


def ride(load: Load, unit: BackupUnit, outage: Any, *, restart: Any = "0 %") -> Ride:
    """Return how the unit's charge goes through an outage, at the best estimates.

    Parameters
    ----------
    load : Load
        What is plugged in; each appliance follows its pattern, scaled to the energy it takes [W].
    unit : BackupUnit
        The battery unit, packs included.
    outage : Outage, str or pint.Quantity
        The outage, its room and recharge included, or its length [h].
    restart : str or float
        Charge that a unit which ran empty waits for before it turns on again, of a full one [-].

    Notes
    -----
    Power is constant in each step, and within them all is exact: no time step to choose. Without recharge it
    agrees with the ledger, for steady loads exactly, else within a cycle. Lesson 07.

    Example
    -------
    >>> unit = BackupUnit.from_print("mine", capacity="1 kWh", chemistry="iron phosphate", standby="10 W",
    ...                              rated="500 W", efficiency="80 %", at="100 W", depth_of_discharge="100 %")
    >>> ride(Load.steady("100 W"), unit, "12 h")
    <Ride of mine through 12 h: lasts 8 h, 500 Wh unserved, 0 Wh wasted>
    """
    when = Outage.of(outage)
    plugged(load, unit)
    course = course_of(load, when)
    passage = course.through(unit, _best)
    times = np.linspace(0, float(when.duration.magnitude), TIMES + 1)
    threshold = float(estimate(restart, "1", "restart").value.magnitude)
    account = course.follow(passage, restart=threshold, at_h=times)
    assert account.soc_wh is not None
    return Ride(unit, when, times, account.soc_wh[0], Q_(float(passage.capacity_wh[0]), "Wh"), account)


def _best(estimate: Estimate, low: float = -math.inf, high: float = math.inf) -> np.ndarray:
    """Return the best estimate within its limits, as an array of one."""
    return np.clip(np.array([float(estimate.value.magnitude)]), low, high)
