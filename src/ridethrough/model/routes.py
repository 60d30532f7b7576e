"""How a unit is known: from print, or from its own run-downs. The two are never mixed.

A route stands on one side, and says in plain numbers what there is, what the unit itself takes, and what a fast
discharge and the cold make lost. Every relation stands here or in `battery` and `inverter` once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, ClassVar, NamedTuple

import numpy as np
import pint

from ..estimate import Estimate
from ..sources import lookup
from ..units import Refusal, number
from .battery import Battery, Rate, percent
from .inverter import Inverter
from .rundowns import RundownLine
from .temperature import TemperatureCurve

# Makes plain numbers of an Estimate in its own unit, within physical limits: one, or a row for each draw.
Read = Callable[..., Any]


class Share(NamedTuple):
    """One share of the printed capacity on its way to what is usable: label, share [-], and whether it was measured."""

    label: str
    share: Any
    measured: bool


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
    """The printed route: capacity from the box, every loss on the battery side.

    ``known`` names what was measured all the same: "capacity", "depth_of_discharge", "health", "standby", "efficiency".
    """

    battery: Battery
    inverter: Inverter
    heater: Heater | None = None
    known: frozenset[str] = frozenset()

    side = "battery"

    @property
    def printed(self) -> pint.Quantity:
        """Capacity printed on the box [Wh]."""
        return self.battery.printed

    @property
    def curve(self) -> TemperatureCurve:
        """What the cold leaves."""
        return self.battery.curve

    @property
    def standby(self) -> Estimate:
        """Power with nothing plugged in, from the battery [W]."""
        return self.inverter.standby

    def measured(self, *names: str) -> bool:
        """Return whether all of these were measured."""
        return self.known >= {*names}

    heated_in_tests = False
    warnings: ClassVar[tuple[str, ...]] = ()

    def shares(self, read: Read, printed_wh: Any) -> list[Share]:
        """Return what of the printed capacity a full unit gives [-]; depth of discharge comes last."""
        battery = self.battery
        return [
            Share(f"cells hold {percent(battery.holds)} of the print", read(battery.holds, 0),
                  self.measured("capacity")),
            Share(f"{percent(battery.health)} health", read(battery.health, 0), self.measured("health")),
            Share(f"depth of discharge {percent(battery.depth_of_discharge)}", read(battery.depth_of_discharge, 0, 1),
                  self.measured("depth_of_discharge")),
        ]  # fmt: skip

    def takes(self, read: Read) -> tuple[Any, Any, Any]:
        """Return a, b and c of `inverter.asked_w` [W, -, 1/W]."""
        standby, b, c = self.inverter.takes
        return read(standby, 0), read(b, 1), read(c, 0)

    def rate(self, read: Read, printed_wh: Any) -> Rate:
        """Return what a discharge faster than the rating costs."""
        return Rate(printed_wh / self.battery.rating_hours.m_as("h"), read(self.battery.rate_exponent, 1), 1.0)

    def cold(self, read: Read, cells: Any) -> Any:
        """Return the capacity at a temperature of the cells over that of the shares [-]."""
        return read(self.curve.at(cells, "unit_at"), 0)

    def inflow(self, read: Read) -> Any:
        """Return what recharge at the battery is worth on this side [-]."""
        return 1.0

    def keeps(self, read: Read) -> Any:
        """Return what of a charge counts, at the rate that its energy holds for [-]."""
        return 1.0

    def changed(self, *, measured: bool = False, **other: Any) -> Printed:
        """Return the route with another standby [W] or inverter, or other numbers of its battery, measured or not."""
        inverter = other.pop("inverter", self.inverter)
        names = {*other} if inverter is self.inverter else {*other, "standby", "efficiency"}
        if "standby" in other:
            inverter = replace(inverter, standby=other.pop("standby"))
        known = self.known | names if measured else self.known - names
        return replace(self, battery=replace(self.battery, **other), inverter=inverter, known=known)

    def with_packs(self, count: int, pack: pint.Quantity, standby: Estimate | None) -> Printed:
        """Return the route with more packs: each with its printed capacity [Wh] and what it takes [W], if known."""
        found = self.changed(printed=self.printed + count * pack)
        if standby is None:
            return found
        return found.changed(standby=self.standby + count * standby, measured=self.measured("standby"))

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
    line: RundownLine
    tested: pint.Quantity
    standby: Estimate
    health: Estimate
    heater: Heater | None = None
    k1: Estimate | None = None

    side = "outlet"

    @property
    def curve(self) -> TemperatureCurve:
        """What the cold leaves."""
        return self.line.curve

    @property
    def warnings(self) -> tuple[str, ...]:
        """What limits what the run-downs say."""
        return self.line.warnings

    def measured(self, *names: str) -> bool:
        """Return that whatever stands in its run-downs was measured."""
        return True

    @property
    def heated_in_tests(self) -> bool:
        """Whether the run-downs have the heater in their standby already."""
        return self.heater is not None and self.heater.on(self.line.room)

    def _energy(self, read: Read, printed_wh: Any) -> Any:
        """Return E of the line, for as much printed capacity [Wh]."""
        return read(self.line.energy, 0) * (printed_wh / self.tested.m_as("Wh"))

    def shares(self, read: Read, printed_wh: Any) -> list[Share]:
        """Return what of the printed capacity a full unit gives at its outlet [-]."""
        energy = self._energy(read, printed_wh) * read(self.line.next_run, 0)
        return [
            Share("printed to measured at the outlet", energy / printed_wh, True),
            Share(f"{percent(self.health)} health since the tests", read(self.health, 0), False),
        ]

    def takes(self, read: Read) -> tuple[Any, Any, Any]:
        """Return a, b and c of `inverter.asked_w`: what is asked at the outlet [W, -, 1/W]."""
        return read(self.standby, 0), 1.0, read(self.line.bend)

    def rate(self, read: Read, printed_wh: Any) -> Rate:
        """Return what a discharge faster than the run-downs costs, and a slower one gives."""
        reference_w = self._energy(read, printed_wh) / self.line.reference.m_as("h")
        return Rate(reference_w, read(self.line.rate_exponent, 1), 0.0)

    def cold(self, read: Read, cells: Any) -> Any:
        """Return the capacity at a temperature of the cells over that in the tests [-]."""
        if self.line.room is None:
            raise Refusal("unit_at for run-downs that state no temperature", "the room's temperature in the tests",
                          'Write fit_rundowns(..., room="20 degC"), or leave unit_at out.')  # fmt: skip
        then = cells_at(self.heater, self.line.room)
        return read(self.curve.at(cells, "unit_at"), 0) / read(self.curve.at(then, "room"), 0)

    def inflow(self, read: Read) -> Any:
        """Return what recharge at the battery is worth on this side, 1 / (1 + k1) [-]."""
        if self.k1 is None:
            needed = "the proportional loss of its inverter: what flows into the battery is less at the outlet"
            remedy = 'Write BackupUnit.from_rundowns(..., k1="8 %"), by its sheet or Inverter.from_efficiency(...).k1.'
            raise Refusal("recharge of a unit that was measured at its outlet", needed, remedy)
        return 1 / (1 + read(self.k1, 0))

    def keeps(self, read: Read) -> Any:
        """Return what of a charge counts, at the rate of the run-downs [-].

        (P_r / P_H)^(k - 1), at most 1,   P_r = C / (H (1 + k1))                              (1)

        What was charged is there in full at the rating, C in H hours, as on the printed route; P_H, the power of the
        run-downs, gets less of it.
        """
        tested_wh, hours = self.tested.m_as("Wh"), lookup(f"rating hours, {self.curve.chemistry}").value
        reference_w, exponent, _ = self.rate(read, tested_wh)
        return np.minimum(tested_wh / hours * self.inflow(read) / reference_w, 1) ** (exponent - 1)  # (1)

    def with_packs(self, count: int, pack: pint.Quantity, standby: Estimate | None) -> Measured:
        """Return the route with more packs, as run-downs with and without them told, or else as alike as printed."""
        more, told = count * pack, self.line.pack
        own = self.standby if standby is None else self.standby + count * standby
        found = self.changed(printed=self.printed + more, standby=own)
        if told is None:
            return found
        line = replace(self.line, energy=self.line.energy + count * told.energy)
        return replace(found, line=line, tested=self.tested + more)

    def changed(self, *, measured: bool = True, **other: Any) -> Measured:
        """Return the route with another printed capacity [Wh], another standby [W] or another health [-]."""
        if "depth_of_discharge" in other:
            raise Refusal("a depth of discharge for a unit that was measured by run-downs", "a unit from print",
                          "Its run-downs went down to its own cut-off.")  # fmt: skip
        return replace(self, **other)

    def fixed(self) -> list[str]:
        """Return the table's coefficients without a band that this route rests on."""
        return [f"coldest charging, {self.curve.chemistry}"]


def cells_at(heater: Heater | None, unit_at: Any) -> Any:
    """Return the temperature of the cells in a unit that stands at ``unit_at`` [degC]."""
    return heater.below if heater is not None and heater.on(unit_at) else unit_at
