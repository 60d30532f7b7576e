"""Through the outage, hour by hour: the state of charge, when it is empty, and how sure that is."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal

import numpy as np
import pandas as pd
import pint

from ..estimate import estimate
from ..known import COVERAGE, Listed, ends_of, notes
from ..model.battery import asked_w
from ..model.recharge import Generator
from ..sampling import DRAWS, Drawn, enough
from ..sources import lookup
from ..units import Refusal, show, whole
from .case import Case, case_of
from .headroom import cautions_of, overloads, worst_of
from .stretches import stretches
from .walk import Walk

TIMES = 240  # moments at which the charge is told
TOO_SMALL: Literal["inverter too small"] = "inverter too small"
Verdict = Literal["covered", "tight", "short", "inverter too small"]


@dataclass(frozen=True)
class Ride(Listed):
    """Many rides through one outage, the best estimate and draws of all that is uncertain; make it with `ride`.

    Parameters
    ----------
    case : Case
        What rode through what.
    walk : Walk
        How the charge went.
    """

    case: Case = field(repr=False)
    walk: Walk = field(repr=False)

    @property
    def load(self) -> Any:
        """What is plugged in."""
        return self.case.load

    @property
    def unit(self) -> Any:
        """The unit, packs included."""
        return self.case.unit

    @property
    def outage(self) -> Any:
        """The outage."""
        return self.case.outage

    @cached_property
    def lasts(self) -> Drawn:
        """How long the unit runs until it is first empty, or down to its reserve [h].

        Where nothing flows in and no temperatures are given by the hour it does not depend on how long an outage was
        asked; else it reads "at least" the outage where that is survived.
        """
        walk, horizon = self.walk, self.outage.hours
        if self.outage.goes_on and not np.isfinite(walk.state.empty_h).all():
            walk, horizon = walk.further(), 24 * lookup("longest ride").value
            for stretch in stretches(walk.case, self.outage.hours, horizon):
                walk.move(stretch)
                if np.isfinite(walk.state.empty_h).all():
                    break
        return walk.case.sampler.result(walk.state.empty_h, "h", horizon)

    @property
    def survives(self) -> bool:
        """Whether the best estimate never runs empty in the outage."""
        return not np.isfinite(self.walk.state.empty_h[0])

    @cached_property
    def left(self) -> Drawn:
        """What is left at the end beyond the reserve, less what did not come before [Wh]."""
        return self.case.energy(self.walk.end_wh - self.walk.state.unserved)

    @cached_property
    def chance(self) -> float:
        """The share of draws that last the outage and keep the reserve [-]."""
        return float(np.mean(np.isinf(self.walk.state.empty_h[self.case.sampler.within][1:])))

    @property
    def verdict(self) -> Verdict:
        """Covered, tight or short by the chance to last, or that the inverter is too small; the one rule."""
        if worst_of(self.load, self.unit) == "does not carry it":
            return TOO_SMALL
        if self.chance >= lookup("covered from").value:
            return "covered"
        return "tight" if self.chance >= lookup("tight from").value else "short"

    def passes(self, aim: float) -> bool:
        """Return whether it lasts with chance ``aim`` [-], on an inverter that carries the load."""
        return self.chance >= aim and self.verdict != TOO_SMALL

    def interval(self, coverage: float = COVERAGE) -> tuple[pint.Quantity, pint.Quantity]:
        """Return the two ends of the run time's interval [h]."""
        return self.lasts.interval(coverage)

    @property
    def shares(self) -> pd.DataFrame:
        """What makes it uncertain: columns influence and share [-], the squared rank correlation with what is left."""
        return self.left.shares()

    def band(self, coverage: float = COVERAGE) -> pd.DataFrame:
        """Return the charge that can be used through time: columns time (h), low, middle and high (Wh)."""
        below, above = ends_of(coverage)
        low, middle, high = np.quantile(self.charges_wh, [below, 0.5, above], axis=1)
        return pd.DataFrame({"time (h)": self.case.told_h, "low (Wh)": low, "middle (Wh)": middle, "high (Wh)": high})

    @property
    def charges_wh(self) -> np.ndarray:
        """Charge that can be used, of all draws, shape (times, draws) [Wh]."""
        return self.walk.told[:, self.case.sampler.within][:, 1:]

    @property
    def state_of_charge(self) -> pd.DataFrame:
        """The best estimate: columns time (h), charge (Wh) that can be used, kept back (Wh) by cold, charge (%)."""
        usable, kept_back = self.walk.told[:, 0], self.walk.kept_back
        share = 100 * (usable + kept_back) / (float(self.case.full_wh[0]) or math.nan)
        return pd.DataFrame({"time (h)": self.case.told_h, "charge (Wh)": usable, "kept back (Wh)": kept_back,
                             "charge (%)": share})  # fmt: skip

    @property
    def mean_power(self) -> Drawn:
        """What the load draws on average over the outage, in its room and by its clock [W]."""
        hours = self.outage.hours
        return self.case.sampler.result(self.walk.state.loads.sum(axis=0) / hours, "W")

    @property
    def served(self) -> Drawn:
        """What was asked of the unit and came [Wh]: load, losses and standby."""
        return self.case.energy(self.walk.state.asked - self.walk.state.unserved)

    @property
    def unserved(self) -> Drawn:
        """What was asked and did not come [Wh]."""
        return self.case.energy(self.walk.state.unserved)

    @property
    def wasted(self) -> Drawn:
        """Recharge that came and found no room [Wh]; what the mains did not have to give is none."""
        return self.case.energy(self.walk.state.spilled)

    @property
    def fuel(self) -> Drawn:
        """What its generator burns in the outage [L]."""
        engine, of, state = self._generator, self.case.sampler.of, self.walk.state
        return self.case.sampler.result(of(engine.idle, 0) * state.ran + of(engine.burns, 0) * state.made / 1000, "L")

    @property
    def generator_hours(self) -> Drawn:
        """How long its generator runs in the outage [h]."""
        return self.case.sampler.result(self.walk.state.ran, "h")

    @property
    def break_even(self) -> Drawn:
        """How long its generator has to run each day for the charge to come back to where it was [h].

        24 h * asked / (asked + stored),  asked and stored powers of the mean load, far from full
        """
        case, engine = self.case, self._generator
        source = case.sources[self.outage.recharge.index(engine)]
        asked = asked_w(case.mean_w, case.load.variance_w2, case.own_at(0).own_w, *case.takes[1:])
        room = np.maximum(engine.ratings.rated.m_as("W") - case.mean_w, 0) * case.inflow
        offered = np.minimum(source.power_w.max() * source.comes[0], room)
        return case.sampler.result(24 * asked / (asked + np.minimum(offered, case.limit_w) * source.efficiency), "h")

    @property
    def _generator(self) -> Generator:
        found = self.outage.generator
        if found is None:
            raise Refusal("the fuel of an outage without a generator", "one",
                          'Write Outage(..., recharge=Generator("1800 W", hours="18:00-19:00")).')  # fmt: skip
        return found

    @property
    def residual(self) -> Drawn:
        """What the energy account is off by [Wh]: rounding, or a mistake."""
        return self.case.sampler.result(self.walk.residual, "Wh")

    @property
    def cautions(self) -> tuple[str, ...]:
        """What the numbers leave out and may hurt."""
        own = dict.fromkeys(said for power in self.case.powers for said in power.cautions)
        return (*cautions_of(self.unit, self.outage), *overloads(self.load, self.outage), *own)

    def __repr__(self) -> str:
        return (f"<Ride of {self.unit.label} through {show(self.outage.duration)}: lasts {self.lasts}, chance "
                f"{100 * self.chance:.0f} %: {self.verdict}; {show(self.unserved.value)} unserved, "
                f"{show(self.wasted.value)} wasted{notes('caution', self.cautions)}>")  # fmt: skip


def ride(
    load: Any, unit: Any, outage: Any, *, restart: Any = "0 %", draws: int = DRAWS, seed: int = 1, times: int = TIMES
) -> Ride:
    """Return how the unit's charge goes through an outage, at the best estimates and with everything drawn at once.

    Parameters
    ----------
    load : Load
        What is plugged in; each appliance follows its pattern, scaled to the energy it takes [W].
    unit : BackupUnit
        The battery unit, packs included.
    outage : Outage, str or pint.Quantity
        The outage, its rooms and recharge included, or its length [h].
    restart : str or float
        Charge that a unit which ran empty waits for before it turns on again, of a full one [-].
    draws, seed : int
        How many draws beside the best estimate, two or more [-]; the same seed gives the same draws.
    times : int
        How many moments of the charge are kept, one or more [-].

    Notes
    -----
    Power is constant in each step, and within them all is exact. What rests on the same influence is drawn together:
    one meter's gain in all that it measured, energy and standby of one run-down line. Draws in which something lies
    beyond its physical limits (a charge above full, a power below zero) count nowhere. Of a load whose phase nobody
    knows the best estimate takes the mean, each draw a phase of its own. Lesson 07.

    Example
    -------
    >>> from ..estimate import Estimate
    >>> from ..model.load import Load
    >>> from ..model.unit import BackupUnit
    >>> exact = Estimate.exact
    >>> unit = BackupUnit.from_print("mine", capacity=exact("1 kWh"), chemistry="iron phosphate",
    ...                              standby=exact("10 W"), rated="500 W", efficiency=exact("80 %"), at="100 W",
    ...                              depth_of_discharge="100 %")
    >>> found = ride(Load.steady("100 W"), unit, "12 h")
    >>> found.lasts.value, round(found.unserved.magnitude, 9)
    (<Quantity(8.0, 'hour')>, 500.0)
    """
    rows, kept = enough(draws), whole(times, "times", 1, TIMES)
    return through(case_of(load, unit, outage, draws=rows, seed=seed, times=kept), restart=restart)


spread = ride  # every ride knows how sure it is


def through(case: Case, *, restart: Any = "0 %") -> Ride:
    """Return a case's ride through its outage."""
    walk = Walk(case, estimate(restart, "1", "restart").magnitude * case.full_wh)
    for stretch in stretches(case, 0.0, case.outage.hours, walk.stopped):
        walk.move(stretch)
    if case.sampler.draws and case.sampler.within[1:].mean() < lookup("least share of draws within limits").value:
        raise Refusal("inputs that lie beyond their physical limits more often than not",
                      "inputs that are known better", "Look at load.mean_power and unit.standby.")  # fmt: skip
    return Ride(case, walk)
