"""The energy ledger: an account from the printed capacity down to what is left.

Every line stands on one side: the battery's for a unit known from print, the outlet's for a unit measured by
run-downs. The lines are read off the rides, and sum to what is left, draw by draw, to rounding error.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
import pandas as pd

from ..known import COVERAGE
from ..sampling import DRAWS, Drawn, enough
from ..sources import table_of
from ..units import Q_, show
from .case import case_of
from .headroom import headroom
from .passage import ROUNDING
from .ride import Ride, through

SLIGHT = 0.005  # of what is asked: less has no line of its own
Kind = Literal["total", "battery", "load", "loss", "recharge"]


@dataclass(frozen=True)
class Line:
    """One line of the ledger.

    Parameters
    ----------
    label : str
        What a reader sees.
    kind : {"total", "battery", "load", "loss", "recharge"}
        Totals are sums of the lines above them; the others add up.
    energy : Drawn
        Gains positive, losses negative [Wh].
    measured : bool
        Measured, or only assumed from print and table.
    """

    label: str
    kind: Kind
    energy: Drawn
    measured: bool = False

    @property
    def topic(self) -> str:
        """What it is about, whatever its numbers: by it the line of one account is found in another."""
        return re.sub(r"-?\d[\d,.]*(?= (?:h|W|%|°C|°F)\b| %)", "…", self.label)

    @property
    def basis(self) -> str:
        """What it rests on; a total rests on the lines above it."""
        return "total" if self.kind == "total" else "measured" if self.measured else "assumed"


@dataclass(frozen=True)
class Ledger(Ride):
    """The account of one load on one unit through one outage, a ride with its lines; make it with `ledger`."""

    @cached_property
    def lines(self) -> tuple[Line, ...]:
        """In order, the printed capacity first and what is left last."""
        walk = self.walk
        energy = self.case.energy
        supply = [Line(label, kind, energy(rows), known) for label, kind, rows, known in self._supply()]
        rest = [Line(label, kind, energy(rows), known) for label, kind, rows, known in self._asked()]
        usable = Line("usable", "total", energy(walk.start_wh), all(line.measured for line in supply[1:]))
        short = bool(self.outage.recharge) and bool(np.any(walk.state.unserved))
        if short:
            rest.append(Line("asked and did not come", "recharge", self.unserved))
        label = "left over" if self.left.magnitude >= 0 or short else "missing"
        known = all(line.measured for line in (*supply[1:], *rest))
        left = energy(walk.end_wh) if short else self.left
        return (*supply, usable, *rest, Line(label, "total", left, known))

    def new_since(self, before: Ledger) -> list[tuple[Line, Line | None]]:
        """Return the measured lines that were not so in another account, or half as sure in variance; with those."""
        then = {line.topic: line for line in before.lines}
        found = [(line, then.get(line.topic)) for line in self.lines if line.basis == "measured"]
        return [(line, was) for line, was in found
                if was is None or not was.measured or was.energy.u**2 > 2 * line.energy.u**2]  # fmt: skip

    def _supply(self) -> Iterator[tuple[str, Kind, Any, bool]]:
        """Yield the printed capacity, and what is lost on the way to what is usable at the beginning [Wh]."""
        case, walk = self.case, self.walk
        *cells, last = case.shares
        there = case.printed_wh * np.ones(case.rows)
        yield "printed on the box", "total", there, False
        start = (f"{show(case.outage.start.to('%'), 0)} full at the start", case.start, case.outage.start.u > 0)
        shares = (*cells, start, last) if case.unit.route.side == "battery" else (*cells, last, start)
        for label, share, known in shares:
            if np.any(share != 1):
                yield label, "battery", there * (share - 1), known
            there = there * share
        own = case.own_at(0)
        warm = (there - np.minimum(there, own.floor_wh)) * own.lift
        if np.any(own.cold != 1):
            label = f"cells at {show(case.cells_at(0), 0)}: {100 * own.cold[0]:.0f} %"
            yield label, "battery", warm - there, case.unit.route.curve.measured_at(case.cells_at(0))
        if case.outage.reserve.magnitude:
            yield "reserve kept back", "battery", walk.start_wh - warm, False

    def _asked(self) -> Iterator[tuple[str, Kind, Any, bool]]:
        """Yield what load and unit ask and what flows in [Wh], losses negative."""
        case, sums, hours = self.case, self.walk.state, show(self.outage.duration)
        for power, rows in zip(case.powers, sums.loads, strict=True):
            yield f"{power.appliance.name}, {hours}", "load", -rows, power.appliance.measured and not power.moved
        route, loads = case.unit.route, sums.loads.sum(axis=0)
        conversion, standby = sums.asked - loads - sums.own, sums.own - sums.heater
        small = SLIGHT * sums.asked[0]
        fast = np.quantile(np.abs(sums.rate), COVERAGE) > small
        if route.side == "battery":
            known = route.measured("standby", "efficiency")  # the loss is what an efficiency leaves beside the standby
            yield "conversion loss", "loss", -conversion - (0 if fast else sums.rate), known
        elif not fast and np.quantile(np.abs(conversion), COVERAGE) <= small:
            standby = standby + conversion + sums.rate
        else:
            yield "rate of the discharge, bend of the loss", "loss", -conversion - sums.rate, False
        on = show(Q_(case.outage.on_hours, "h"))
        yield f"standby, {on} x {show(case.unit.standby.value)}", "loss", -standby, route.measured("standby")
        if np.any(sums.heater):
            label = "battery heater" if sums.heater[0] > 0 else "no battery heater"
            yield f"{label}, {hours}", "loss", -sums.heater, False
        if fast and route.side == "battery":
            yield "rate of the discharge", "loss", -sums.rate, False
        if np.any(np.abs(sums.kept_back) > ROUNDING * sums.asked):
            yield "kept back by cold or reserve", "loss", sums.kept_back, False
        if self.outage.recharge:
            yield "recharge that came", "recharge", sums.direct + sums.stored + sums.charge_loss + sums.spilled, False
            yield "without room", "recharge", -sums.spilled, False
            yield "charge loss", "recharge", -sums.charge_loss, False

    @property
    def available(self) -> Drawn:
        """Energy that can be used at the beginning [Wh]."""
        return self.case.energy(self.walk.start_wh)

    @property
    def needed(self) -> Drawn:
        """Energy that load and unit ask in the whole outage [Wh]."""
        return self.case.energy(self.walk.state.asked)

    @property
    def headline(self) -> str:
        """The conclusion in one line of words and numbers."""
        missing, hours = self.left.magnitude < 0, show(self.outage.duration)
        short = self.unserved if self.outage.recharge else -self.left
        amount, doubt = (short if missing else self.left).spoken()
        what = "left" if not missing else "asked in vain" if self.outage.recharge else "missing"
        return f"{self.verdict.capitalize()}: {amount} {what} after {hours}, {doubt}"

    def sources(self) -> pd.DataFrame:
        """Return the table's coefficients that the account rests on, with band and source."""
        return table_of([*self.case.sampler.rests_on(), *self.unit.route.fixed()])

    @property
    def inverter(self) -> str:
        """What the inverter was checked for, in a line."""
        checks = headroom(self.load, self.unit)
        if all(check.finding == "not checked" for check in checks):
            return f"inverter not checked: {checks[0].why}"
        return "inverter: " + "; ".join(map(str, checks))

    @property
    def rows(self) -> pd.DataFrame:
        """The lines as a table.

        Returns
        -------
        pandas.DataFrame
            Columns: line, energy (Wh), low (Wh) and high (Wh) of the 95 % interval, side, basis.
        """
        table = [(line.label, line.energy.magnitude + 0.0, *(end.magnitude for end in line.energy.interval()),
                  self.unit.route.side, line.basis) for line in self.lines]  # fmt: skip
        return pd.DataFrame(table, columns=["line", "energy (Wh)", "low (Wh)", "high (Wh)", "side", "basis"])

    def __str__(self) -> str:
        """Return headline and lines as plain text."""
        width = max(len(line.label) for line in self.lines)
        rows = [f"{line.label:<{width}}  {show(line.energy.value, 0):>10}" for line in self.lines]
        return "\n".join([self.headline, *rows, self.inverter, *(f"caution: {each}" for each in self.cautions)])

    __repr__ = __str__

    def _repr_html_(self) -> str:
        body = "".join(
            f"<tr><th scope='row' style='text-align:left;font-weight:{'bold' if line.kind == 'total' else 'normal'}'>"
            f"{line.label}</th><td>{show(line.energy.value, 0)}</td>"
            f"<td>{line.basis}</td></tr>"
            for line in self.lines
        )
        return f"<table><caption>{self.headline}</caption>{body}</table>"


def ledger(load: Any, unit: Any, outage: Any, *, draws: int = DRAWS, seed: int = 1) -> Ledger:
    """Return the energy account of a load on a unit through an outage, by the route the unit is known by.

    printed:   usable = printed * health * depth of discharge * (start - (1 - cold))
               asked  = t (mean P + k1 mean P + k2 mean P^2 / P_rated + P_0)
    measured:  usable = E * health * (start - (1 - cold)),  asked = t (mean P + S)
    both:      left   = usable - asked - what a fast discharge loses + what recharge brings

    cold is the capacity where the unit stands over that at 25 degC (printed) or that in its run-downs (measured).

    Parameters
    ----------
    load : Load
        What is plugged in, powers at the outlet [W].
    unit : BackupUnit
        The battery unit, packs included.
    outage : Outage, str or pint.Quantity
        The outage, or its length [h].
    draws, seed
        As in `ride` [-].

    Returns
    -------
    Ledger
        Every line on one side [Wh]: the battery's by the printed route, the outlet's by the measured one.
        Conversion loss and standby are separate lines, and neither is part of the other.

    Example
    -------
    >>> from ..model.load import Load
    >>> from ..model.unit import BackupUnit
    >>> unit = BackupUnit.from_print("mine", capacity="1 kWh", chemistry="iron phosphate", standby="10 W",
    ...                              rated="500 W", efficiency="80 %", at="100 W", depth_of_discharge="100 %")
    >>> ledger(Load.steady("100 W"), unit, "4 h").left.value
    <Quantity(500.0, 'watt_hour')>
    """
    rode = through(case_of(load, unit, outage, draws=enough(draws), seed=seed))
    return Ledger(rode.case, rode.walk)
