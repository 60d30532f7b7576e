"""How a unit is known: from print, or from its own run-downs. The two are never mixed.

A route stands on one side and gives the ledger its entries: what there is, and what the unit itself takes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Protocol

import pint

from ..estimate import Estimate, Formula, Read, estimate
from ..units import Refusal, number, show
from .battery import CELLS, Battery, above_floor, percent, raised_floor, telling
from .inverter import Inverter
from .load import Load
from .temperature import TemperatureCurve

Entry = tuple[str, Estimate, bool]  # a label, an energy [Wh], and whether it was measured


class Rundowns(Protocol):
    """What a fit of run-downs brings, at the outlet."""

    @property
    def energy(self) -> Estimate: ...
    @property
    def standby(self) -> Estimate: ...
    @property
    def next_run(self) -> Estimate: ...
    @property
    def rate_exponent(self) -> Estimate: ...
    @property
    def bend(self) -> Estimate: ...
    @property
    def curve(self) -> TemperatureCurve: ...
    @property
    def room(self) -> pint.Quantity | None: ...
    @property
    def warnings(self) -> tuple[str, ...]: ...
    def delivers(self, load: Load, *, times: float = 1.0) -> Estimate: ...
    def sharing(self, load: Load, *, times: float = 1.0) -> tuple[Formula, list[Estimate]]: ...


@dataclass(frozen=True)
class Heater:
    """What keeps the cells from freezing, from the unit's own battery.

    Parameters
    ----------
    power : Estimate
        Mean power while it is on, on the side of the route [W].
    below : pint.Quantity
        It is on where the unit stands colder than this, and keeps the cells at it [degC].
    """

    power: Estimate
    below: pint.Quantity

    def on(self, unit_at: Any) -> bool:
        """Return whether it is on at a temperature of the room [degC]."""
        return unit_at is not None and number(unit_at, "degC", "unit_at") < number(self.below, "degC", "below")


@dataclass(frozen=True)
class Printed:
    """The printed route: capacity from the box, every loss on the battery side."""

    battery: Battery
    inverter: Inverter
    heater: Heater | None = None

    side = "battery"

    @property
    def printed(self) -> pint.Quantity:
        """Capacity printed on the box [Wh]."""
        return self.battery.printed

    @property
    def chemistry(self) -> str:
        """What the battery is made of."""
        return self.battery.chemistry

    @property
    def standby(self) -> Estimate:
        """Power with nothing plugged in, from the battery [W]."""
        return self.inverter.standby

    def steps(self, load: Load, start: Any, unit_at: Any = None) -> list[Entry]:
        """Return the printed capacity and what is lost on the way to what is usable [Wh]."""
        drain = self.inverter.battery_power(load)
        if self.heater is not None and self.heater.on(unit_at):
            drain = drain + self.heater.power
        cells = cells_at(self.heater, unit_at)
        known = _cold_is_measured(self.battery.curve, cells)
        entries = self.battery.steps(start, drain, cells)
        return [(label, energy, known and label.startswith(CELLS)) for label, energy in entries]

    def losses(self, load: Load, hours: pint.Quantity, unit_at: Any = None) -> list[Entry]:
        """Return what the unit itself takes while it carries the load [Wh], negative."""
        over_mean = load.energy_over(hours) - (load.mean_power * hours).to("Wh")
        conversion = (self.inverter.conversion_loss(load) * hours).to("Wh") + self.inverter.k1 * over_mean
        return [
            ("conversion loss", -conversion, self.inverter.measured),
            (*_standby(self.standby, hours), self.inverter.measured),
            *_heating(self.heater, hours, unit_at),
        ]

    def takes(self, read: Read, unit_at: Any = None) -> tuple[Any, Any, Any]:
        """Return a, b and c of the power from the battery, a + b P + c P^2, of plain numbers [W, -, 1/W]."""
        always, rated_w = _always(self.standby, self.heater, read, unit_at), float(self.inverter.rated.m_as("W"))
        return always, 1 + read(self.inverter.k1, 0), read(self.inverter.k2, 0) / rated_w

    def store(self, read: Read, load: Load, start: Any, unit_at: Any = None) -> tuple[Any, Any]:
        """Return usable capacity and what is in it at the start, of plain numbers or arrays [Wh], [Wh]."""
        a, b, c = self.takes(read, unit_at)
        mean_w = read(load.mean_power, 0)
        drain_w = a + b * mean_w + c * (mean_w**2 + load.variance_w2)
        return self.battery.store(read, start, drain_w, cells_at(self.heater, unit_at))

    def inflow(self, read: Read) -> Any:
        """Return what recharge at the battery is worth on this side, of plain numbers [-]."""
        return 1.0

    def with_more(self, capacity: pint.Quantity) -> Printed:
        """Return the route with more printed capacity [Wh]."""
        return replace(self, battery=self.battery.with_more(capacity))

    def with_standby(self, standby: Estimate) -> Printed:
        """Return the route with another standby [W] and the same conversion loss."""
        return replace(self, inverter=replace(self.inverter, standby=standby, measured=False))

    def with_health(self, health: Estimate) -> Printed:
        """Return the route with another capacity over that printed [-]."""
        return replace(self, battery=replace(self.battery, health=health))

    def rests_on(self) -> list[str]:
        """Return the table's coefficients that this route can rest on."""
        battery, inverter = self.battery, self.inverter
        inputs = [battery.depth_of_discharge, battery.health, battery.rate_exponent, inverter.standby, inverter.k1,
                  inverter.k2, battery.curve.doubt]  # fmt: skip
        return [*(name for each in inputs for name in each.rests_on()), *battery.fixed()]

    def fixed(self) -> list[str]:
        """Return the table's coefficients without a band that this route rests on."""
        return self.battery.fixed()


@dataclass(frozen=True)
class Measured:
    """The measured route: energy and standby of the run-down line, every number at the outlet.

    Depth of discharge and conversion loss are in the energy already; charging them again is what this route
    leaves no room for. What differs from the tests is a ratio to them: temperature, rate, age.

    Parameters
    ----------
    printed : pint.Quantity
        Printed capacity, packs included [Wh].
    line : RundownLine
        From `fit_rundowns`.
    tested : pint.Quantity
        Printed capacity of what was run down [Wh].
    standby : Estimate
        As the outlet sees it [W].
    health : Estimate
        Capacity today over that in the tests [-].
    heater : Heater, optional
        Its power at the outlet's side.
    k1 : Estimate, optional
        Proportional loss of its inverter, which recharge needs to be counted at the outlet [-].
    """

    printed: pint.Quantity
    line: Rundowns
    tested: pint.Quantity
    standby: Estimate
    health: Estimate
    heater: Heater | None = None
    k1: Estimate | None = None

    side = "outlet"

    @property
    def chemistry(self) -> str:
        """What the battery is made of."""
        return self.line.curve.chemistry

    def steps(self, load: Load, start: Any, unit_at: Any = None) -> list[Entry]:
        """Return the printed capacity and what leads to what is usable at the outlet [Wh].

        usable = E * health * max(0, start - (1 - cold))                                      (1)
        cold   = capacity at ``unit_at`` over that at the temperature of the tests            (2)

        E is what the line gives for this load, with its rate, its bend and the spread of one run.
        """
        charge, printed = estimate(start, "1", "start"), Estimate.exact(self.printed)
        energy = self.line.delivers(load, times=float((self.printed / self.tested).to("1").magnitude))
        cells = cells_at(self.heater, unit_at)
        healthy = energy * self.health
        usable = healthy * charge
        one, known = Estimate.exact("100 %").to("1"), _cold_is_measured(self.line.curve, cells)
        cold = one if cells is None else self._cold(cells)
        found = [
            (self.health, f"{percent(self.health)} health since the tests", healthy - energy),
            (charge, f"{percent(charge)} full at the start", usable - healthy),
            *raised_floor(charge, healthy, cold, one, cells, self.standby),
        ]  # (1)
        return [
            ("printed on the box", printed, False),
            ("printed to measured at the outlet", energy - printed, True),
            *((label, part, known and label.startswith(CELLS)) for label, part in telling(found)),
        ]

    def _cold(self, cells: Any) -> Estimate:
        """Return (2) of `steps` [-]."""
        if self.line.room is None:
            raise Refusal(
                "unit_at for a unit whose run-downs state no temperature",
                "the room's temperature in the tests",
                'Write fit_rundowns(..., room="20 degC"), or leave unit_at out.',
            )
        then = cells_at(self.heater, self.line.room)
        return self.line.curve.at(cells, "unit_at") / self.line.curve.at(then, "room")  # (2)

    @property
    def extra_heater(self) -> Heater | None:
        """The heater, where the run-downs do not have it in their standby already."""
        return None if self.heater is None or self.heater.on(self.line.room) else self.heater

    def losses(self, load: Load, hours: pint.Quantity, unit_at: Any = None) -> list[Entry]:
        """Return what the unit itself takes [Wh], negative; it does not depend on the load."""
        return [(*_standby(self.standby, hours), True), *_heating(self.extra_heater, hours, unit_at),
                *self._heater_off(hours, unit_at)]  # fmt: skip

    def _spared(self, unit_at: Any) -> Estimate | None:
        """Return the power of a heater that ran in the tests, and so is in the standby, and does not run now [W]."""
        heater = self.heater
        return heater.power if heater and heater.on(self.line.room) and not heater.on(unit_at) else None

    def _heater_off(self, hours: pint.Quantity, unit_at: Any) -> Iterator[Entry]:
        """Yield what the standby holds of a heater that does not run now [Wh]."""
        spared = self._spared(unit_at)
        if spared is not None:
            yield f"no battery heater, {show(hours)} x {show(spared.value)}", (spared * hours).to("Wh"), False

    def takes(self, read: Read, unit_at: Any = None) -> tuple[Any, Any, Any]:
        """Return a, b and c of the power that the account counts at the outlet, a + b P + c P^2 [W, -, 1/W]."""
        spared = self._spared(unit_at)
        less = 0.0 if spared is None else read(spared, 0)
        return _always(self.standby, self.extra_heater, read, unit_at) - less, 1.0, 0.0

    def store(self, read: Read, load: Load, start: Any, unit_at: Any = None) -> tuple[Any, Any]:
        """Return energy at the outlet from full, and from the start, of plain numbers or arrays [Wh], [Wh]."""
        formula, inputs = self.line.sharing(load, times=float((self.printed / self.tested).to("1").magnitude))
        limited = [read(each, 0) for each in inputs[:2]]  # energy and standby; the rest may lie on either side
        full = formula([*limited, *(read(each) for each in inputs[2:])])[0] * read(self.health, 0)
        cells = cells_at(self.heater, unit_at)
        cold = 1.0 if cells is None else read(self._cold(cells), 0)
        return full * cold, full * above_floor(read(estimate(start, "1", "start"), 0, 1), cold)

    def inflow(self, read: Read) -> Any:
        """Return what recharge at the battery is worth on this side, 1 / (1 + k1), of plain numbers [-]."""
        if self.k1 is None:
            raise Refusal(
                "recharge of a unit that was measured at its outlet",
                "the proportional loss of its inverter: what flows into the battery is less at the outlet",
                'Write BackupUnit.from_rundowns(..., k1="8 %"), by its sheet or Inverter.from_efficiency(...).k1.',
            )
        return 1 / (1 + read(self.k1, 0))

    def with_more(self, capacity: pint.Quantity) -> Measured:
        """Return the route with more printed capacity [Wh], taken to deliver the share that was measured."""
        return replace(self, printed=self.printed + capacity)

    def with_standby(self, standby: Estimate) -> Measured:
        """Return the route with another standby at the outlet [W]."""
        return replace(self, standby=standby)

    def with_health(self, health: Estimate) -> Measured:
        """Return the route with another capacity over that of the tests [-]."""
        return replace(self, health=health)

    def rests_on(self) -> list[str]:
        """Return the table's coefficients that this route can rest on."""
        line, own = self.line, (self.standby, self.health)
        inputs = [line.energy, line.next_run, line.rate_exponent, line.bend, line.curve.doubt, *own]
        return [*(name for each in inputs for name in each.rests_on()), *self.fixed()]

    def fixed(self) -> list[str]:
        """Return the table's coefficients without a band that this route rests on."""
        return [f"coldest charging, {self.chemistry}"]


def _standby(standby: Estimate, hours: pint.Quantity) -> tuple[str, Estimate]:
    return f"standby, {show(hours)} x {show(standby.value)}", -(standby * hours).to("Wh")


def _cold_is_measured(curve: TemperatureCurve, cells: Any) -> bool:
    return cells is not None and curve.measured_at(cells)


def cells_at(heater: Heater | None, unit_at: Any) -> Any:
    """Return the temperature of the cells in a unit that stands at ``unit_at`` [degC]."""
    return heater.below if heater is not None and heater.on(unit_at) else unit_at


def _always(standby: Estimate, heater: Heater | None, read: Read, unit_at: Any) -> Any:
    """Return what the unit takes whatever hangs on it, of plain numbers [W]."""
    base = read(standby, 0)
    return base + read(heater.power, 0) if heater is not None and heater.on(unit_at) else base


def _heating(heater: Heater | None, hours: pint.Quantity, unit_at: Any) -> Iterator[Entry]:
    """Yield what the cells' heater takes [Wh], negative, where it is on."""
    if heater is not None and heater.on(unit_at):
        label = f"battery heater, {show(hours)} x {show(heater.power.value)}"
        yield label, -(heater.power * hours).to("Wh"), False
