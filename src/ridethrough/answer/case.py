"""One case: a load on a unit through an outage, checked once, put on its side, and drawn many times.

Everything here is plain arrays in named units; the last axis is one row for each draw, row 0 the best estimate.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from ..known import apart
from ..model.battery import Rate, takes_charge
from ..model.load import Load
from ..model.pattern import DAY_H, LEAST
from ..model.recharge import Recharge
from ..model.routes import Share
from ..model.unit import BackupUnit
from ..sampling import Drawn, Sampler
from ..sources import coefficient
from ..units import Q_, Refusal, show
from .headroom import trips
from .outage import Outage
from .power import Power, power_of

ROUNDING_WH = 1e-9  # an energy smaller than this is none


class Own(NamedTuple):
    """What the unit is and takes for itself while its cells are as warm as now.

    Parameters
    ----------
    own_w : array of shape (rows,)
        What it takes whatever hangs on it: standby, and a heater [W].
    heater_w : array of shape (rows,)
        What of that is its heater's, beyond what the standby has of it [W].
    cold, floor_wh, lift : arrays of shape (rows,)
        Capacity at this temperature over that of the shares [-]; charge that the cold keeps back [Wh]; by how much
        heat makes a charge last longer [-].
    charges, heats : bool
        Whether its cells may be charged, and whether a heater keeps them from freezing.
    on : bool
        Whether it is switched on.
    """

    own_w: np.ndarray
    heater_w: np.ndarray
    cold: np.ndarray
    floor_wh: np.ndarray
    lift: np.ndarray
    charges: bool
    heats: bool
    on: bool = True


class Inflow(NamedTuple):
    """What flows in from one side, drawn.

    Parameters
    ----------
    edges_h, power_w : arrays of shape (n + 1,), (n,)
        Moments, and the power between them [h], [W].
    comes : array of shape (days or 1, rows)
        What of it comes on each day of the clock, on the side of the route [-].
    begins_h : float
        Time of day when the outage begins [h].
    efficiency : array of shape (rows,)
        What of a surplus is stored [-].
    recharge : Recharge
        What it is of.
    """

    edges_h: np.ndarray
    power_w: np.ndarray
    comes: np.ndarray
    begins_h: float
    efficiency: np.ndarray
    recharge: Recharge

    def pattern_w(self, middles: np.ndarray) -> np.ndarray:
        """Return the power before any doubt at moments of the outage [W]."""
        return np.asarray(self.power_w[np.searchsorted(self.edges_h[1:-1], middles)])

    def at(self, middles: np.ndarray) -> np.ndarray:
        """Return what comes at moments of the outage, of shape (moments, rows) [W]."""
        day = ((self.begins_h + middles) // DAY_H).astype(int)
        return np.asarray(self.pattern_w(middles)[:, np.newaxis] * self.comes[np.minimum(day, len(self.comes) - 1)])


@dataclass(frozen=True)
class Case:
    """A load on a unit through an outage, with the draws of all that goes into it; make it with `case_of`."""

    load: Load
    unit: BackupUnit
    outage: Outage
    sampler: Sampler
    told_h: np.ndarray = field(repr=False)  # moments at which the charge shall be told
    printed_wh: Any = field(repr=False)  # printed capacity: one for all rows, or what each row would have

    # -- what there is -------------------------------------------------------------------------------

    @cached_property
    def shares(self) -> list[Share]:
        """What of the printed capacity is usable when full, share by share [-]."""
        return self.unit.route.shares(self.sampler.of)

    @cached_property
    def start(self) -> np.ndarray:
        """State of charge at the beginning [-]."""
        return self.sampler.of(self.outage.start, 0, 1)

    @cached_property
    def full_wh(self) -> np.ndarray:
        """Charge of a full unit [Wh]."""
        return np.prod([np.broadcast_to(each.share, self.rows) for each in self.shares], axis=0) * self.printed_wh

    @property
    def rows(self) -> int:
        """How many rows there are [-]."""
        return self.sampler.draws + 1

    @cached_property
    def takes(self) -> tuple[Any, Any, Any]:
        """a, b and c of `asked_w` [W, -, 1/W]."""
        return self.unit.route.takes(self.sampler.of)

    @cached_property
    def rate(self) -> Rate:
        """What a fast discharge costs."""
        reference_w, exponent, least = self.unit.route.rate(self.sampler.of, self.printed_wh)
        return Rate(reference_w * np.ones(self.rows), exponent * np.ones(self.rows), least)

    @cached_property
    def moment(self) -> np.ndarray:
        """Share by which the power of the moment decides the rate, and not the load's mean [-]."""
        return self.sampler.of(coefficient("rate of the moment"), 0, 1)

    @cached_property
    def mean_w(self) -> np.ndarray:
        """The load's mean power [W]."""
        return np.sum([power.mean_w for power in self.powers], axis=0)

    @cached_property
    def inflow(self) -> Any:
        """What recharge at the battery is worth on the side of the route [-]."""
        return self.unit.route.inflow(self.sampler.of) if self.outage.recharge else 1.0

    @cached_property
    def limit_w(self) -> np.ndarray:
        """The most that flows in before charge loss, on the side of the route [W]."""
        return self.sampler.of(self.unit.charge_power, 0) * self.inflow

    @cached_property
    def slack_h(self) -> np.ndarray:
        """How far below full its charger begins to take less, over what it takes there [h]."""
        tapers_wh = self.full_wh * (1 - self.sampler.of(self.unit.taper_from, 0, 1))
        return tapers_wh / np.maximum(self.limit_w, LEAST)

    @cached_property
    def warming_h(self) -> np.ndarray:
        """How long its heater warms cells that took the cold of the room, until they may be charged [h]."""
        return self.sampler.of(coefficient("hours to warm frozen cells"), 0)

    def energy(self, rows_wh: np.ndarray | float) -> Drawn:
        """Return an energy of each row, without what is left over from adding up [Wh]."""
        rows_wh = np.broadcast_to(rows_wh, self.rows)
        return self.sampler.result(np.where(np.abs(rows_wh) > ROUNDING_WH, rows_wh, 0.0), "Wh")

    def with_printed(self, printed_wh: np.ndarray) -> Case:
        """Return the case with another printed capacity in each row [Wh]."""
        return self._like({"full_wh", "rate", "slack_h", "_owns"}, printed_wh=printed_wh)

    def further(self) -> Case:
        """Return the case for what comes after the outage, whose draws are no inputs of what comes in it."""
        return self._like({"powers"}, sampler=self.sampler.further(), told_h=np.zeros(0))

    def _like(self, anew: set[str], **changed: Any) -> Case:
        """Return the case with something changed, and only what hangs on it reckoned anew."""
        other = replace(self, **changed)
        vars(other).update({name: value for name, value in vars(self).items() if name not in vars(other).keys() | anew})
        return other

    # -- through time --------------------------------------------------------------------------------

    @cached_property
    def powers(self) -> tuple[Power, ...]:
        """The appliances, drawn."""
        names = apart(appliance.name for appliance in self.load.appliances)
        return tuple(power_of(appliance, name, self.outage, self.sampler)
                     for appliance, name in zip(self.load.appliances, names, strict=True))  # fmt: skip

    @cached_property
    def sources(self) -> tuple[Inflow, ...]:
        """What flows in."""
        of, hours, begins_h = self.sampler.of, self.outage.hours, self.outage.begins_h
        keeps, found = self.unit.route.keeps(of) if self.outage.recharge else 1.0, []
        for each in self.outage.recharge:
            comes = (of(each.factor, 0) * self.inflow)[np.newaxis]
            if each.days is not None:
                comes = comes * each.days.drawn(self.sampler, int(((begins_h or 0) + hours) // DAY_H) + 1)
            edges_h, power_w = each.window(hours, begins_h)
            found.append(Inflow(edges_h, power_w * (not trips(self.load, each)), comes, begins_h or 0.0,
                                of(each.efficiency, 0, 1) * keeps, each))  # fmt: skip
        return tuple(found)

    @cached_property
    def _owns(self) -> dict[tuple[float | None, bool], Own]:
        return {}

    def own_at(self, time_h: float) -> Own:
        """Return what the unit is and takes for itself at a moment."""
        celsius = None if self.outage.unit_at is None else float(self.outage.unit_at.at(time_h))
        key = celsius, bool(self.outage.powered(time_h))
        if key not in self._owns:
            own, none = self._own(None if celsius is None else Q_(celsius, "degC")), np.zeros(self.rows)
            off = own._replace(own_w=none, heater_w=none, charges=False, heats=False, on=False)
            self._owns[key] = own if key[1] else off
        return self._owns[key]

    def _own(self, unit_at: Any) -> Own:
        route, of, ones = self.unit.route, self.sampler.of, np.ones(self.rows)
        heater, cells = route.heater, route.cells_at(unit_at)
        heats = heater is not None and heater.on(unit_at)
        heater_w = of(heater.power, 0) * (int(heats) - int(route.heated_in_tests)) if heater else 0.0
        cold = ones if cells is None else route.cold(of, cells) * ones
        charges = cells is None or takes_charge(route.curve.chemistry, cells)
        return Own((self.takes[0] + heater_w) * ones, heater_w * ones, cold, self.full_wh * np.maximum(1 - cold, 0),
                   np.maximum(cold, 1.0), charges, heats)  # fmt: skip

    def cells_at(self, time_h: float) -> Any:
        """Return the temperature of the cells at a moment [degC]; None where none is given."""
        place = self.outage.unit_at
        return self.unit.route.cells_at(None if place is None else Q_(float(place.at(time_h)), "degC"))


def case_of(load: Any, unit: Any, outage: Any, *, draws: int, seed: int, times: int = 0) -> Case:
    """Return the case, or refuse what is no load, no unit, or asks for a room that nothing was measured in."""
    load, unit, when = Load.of(load), BackupUnit.of(unit), Outage.of(outage)
    if when.room is not None and all(appliance.room is None for appliance in load.appliances):
        raise Refusal(f"room={show(when.room.mean, 0)}, and no appliance with the room it was measured in",
                      "the temperature in which each cold appliance was measured",
                      'Write load.in_a_room_of("20 degC"), or leave room out.')  # fmt: skip
    told_h = np.linspace(0, when.hours, times + 1) if times else np.zeros(0)
    return Case(load, unit, when, Sampler(draws, seed), told_h, unit.printed.m_as("Wh"))
