"""The charge through time against a differential equation solver and a published formula."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import Ride, ride
from ridethrough.estimate import Estimate
from ridethrough.model.inverter import Inverter
from ridethrough.model.load import Load
from ridethrough.model.pattern import Pattern
from ridethrough.model.recharge import Recharge
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_

NO_LOSS = Inverter.fit([("0 W", "0 W"), ("500 W", "500 W"), ("900 W", "900 W")], "900 W")
RATED_H, EXPONENT = 20.0, 1.12  # of sealed lead-acid in the table of coefficients


def exact(value: float, unit: str) -> Estimate:
    return Estimate.exact(Q_(value, unit))


@dataclass(frozen=True)
class World:
    """One battery and what it meets, in plain numbers; its inverter loses nothing."""

    load_w: np.ndarray  # by the hour
    sources_w: tuple[np.ndarray, ...]  # by the hour, each with its own efficiency
    etas: tuple[float, ...]
    full_wh: float
    start: float
    limit_w: float
    taper_from: float
    reserve_wh: float = 0.0
    restart: float = 0.0
    kept: float = 1.0  # what the cold leaves of the capacity
    rate: bool = False
    frost: bool = False  # cells too cold to take anything in

    @classmethod
    def drawn(cls, rng: np.random.Generator, **more: Any) -> World:
        hours, sources = 24, 2
        full = rng.uniform(300, 700)
        return cls(
            rng.uniform(10, 120, hours),
            tuple((rng.random(hours) < 0.35) * rng.uniform(0, 210, hours) for _ in range(sources)),
            tuple(rng.uniform(0.7, 1, sources)), full, rng.uniform(0.1, 1), rng.uniform(0.15, 0.6) * full,
            rng.uniform(0.6, 0.98), **more,
        )  # fmt: skip

    @property
    def floor_wh(self) -> float:
        """Charge that can't be used: below the floor of the cold, or kept in reserve."""
        return self.full_wh * (1 - self.kept) + self.reserve_wh

    def ridden(self, at: float, **how: Any) -> Ride:
        """Return the kit's ride; the cold comes from the table, at ``at`` [degC]."""
        hours = self.load_w.size
        pattern = Pattern(np.ones(hours), self.load_w, begins_h=0.0)
        load = Load.steady(exact(pattern.mean_w, "W"))._with(pattern=pattern)
        unit = BackupUnit.from_print(
            "mine", capacity=exact(self.full_wh, "Wh"), inverter=NO_LOSS, rated="900 W", depth_of_discharge="100 %",
            chemistry="sealed lead-acid" if self.rate else "iron phosphate", charge_power=exact(self.limit_w, "W"),
            taper_from=self.taper_from, rating_hours=None if self.rate else "6 min",
        )  # fmt: skip
        flows = [Recharge.series(power, efficiency=eta) for power, eta in zip(self.sources_w, self.etas, strict=True)]
        outage = Outage(Q_(hours, "h"), start=self.start, reserve=Q_(self.reserve_wh, "Wh"), begins="0:00",
                        unit_at=Q_(at, "degC"), recharge=flows)  # fmt: skip
        return ride(load, unit, outage, restart=self.restart, draws=2, **how)


def motion(world: World, on: bool, empty: bool, asks: float, inflow: float, offered: float, eta: float) -> Any:
    """Return the rates of the charge, and of what stays unserved, is spilled and is stored [W]."""
    served, taper_wh = asks if on else 0.0, world.full_wh * (1 - world.taper_from)
    surplus, gives = max(0.0, inflow - served), max(0.0, served - inflow)
    over = max(gives * RATED_H / world.full_wh, 1) if world.rate else 1.0
    falls = gives * over ** (EXPONENT - 1)

    def rates(t: float, y: Any) -> list[float]:
        if empty and gives > 0:
            return [0, gives, offered - inflow, 0]
        takes = min(surplus, world.limit_w, world.limit_w * max(world.full_wh - y[0], 0) / taper_wh)
        return [eta * takes - falls, asks - served, surplus - takes + offered - inflow, eta * takes]

    return rates


def solved(world: World) -> dict[str, Any]:
    """Return what SciPy's `solve_ivp` finds (scipy.integrate, RK45, terminal events, dense output).

    The state is the charge, what stays unserved, what is spilled and what is stored. The unit is on or off; an event
    ends each stretch of an hour where the charge meets its floor or the restart. Near full the charger takes no more
    than its limit times what is missing over what is missing where the taper begins.
    """
    floor, full, threshold = world.floor_wh, world.full_wh, world.floor_wh + world.restart * world.full_wh
    state, on, found = np.array([full * world.start, 0.0, 0.0, 0.0]), True, {"first": np.inf, "soc": [], "middle": []}
    for hour, asks in enumerate(world.load_w):
        offered = sum(power[hour] for power in world.sources_w)
        inflow = 0.0 if world.frost else offered
        stored = sum(power[hour] * eta for power, eta in zip(world.sources_w, world.etas, strict=True))
        eta, now, middle = stored / inflow if inflow else 1.0, float(hour), hour + 0.5
        while now < hour + 1 - 1e-12:
            empty = state[0] <= floor + 1e-7
            if on and empty and inflow < asks:
                found["first"], on = min(found["first"], now), not world.restart

            rates = motion(world, on, empty, asks, inflow, offered, eta)

            def meets_floor(t: float, y: Any) -> float:
                return float(y[0] - floor)

            def meets_restart(t: float, y: Any) -> float:
                return float(y[0] - threshold)

            meets_floor.terminal = meets_restart.terminal = True  # type: ignore[attr-defined]
            meets_floor.direction, meets_restart.direction = -1, 1  # type: ignore[attr-defined]
            event = (None if empty else meets_floor) if on else meets_restart
            piece = solve_ivp(
                rates, (now, hour + 1), state, events=event, dense_output=True, max_step=0.05, rtol=1e-9, atol=1e-9
            )
            if now <= middle <= piece.t[-1]:
                found["middle"].append(piece.sol(middle)[0])
            now, state = float(piece.t[-1]), piece.y[:, -1]
            if piece.status == 1:
                state[0] = max(state[0], floor) if on else state[0]
                on = True
        found["soc"].append(state[0])
    return {**found, "unserved": state[1], "spilled": state[2], "stored": state[3]}


KINDS: dict[str, tuple[float, dict[str, Any]]] = {
    "plain": (25, {}),
    "reserve": (25, {"reserve_wh": 60.0}),
    "restart": (25, {"restart": 0.3}),
    "restart and reserve": (25, {"restart": 0.2, "reserve_wh": 40.0}),
    "cold": (5, {"kept": 0.936}),  # straight between the table's 92 % at 0 degC and 100 % at 25 degC
    "frost": (-5, {"kept": 0.88, "frost": True}),
    "rate": (25, {"rate": True}),
}


@pytest.mark.parametrize("kind", KINDS)
def test_a_differential_equation_solver_agrees(kind: str) -> None:
    """12 random days of each kind: two sources with their own efficiencies, a charger's limit and taper, a start below
    full, running after empty. Charge at the end of every hour, sums, and the moment it is first empty."""
    rng, (at, more) = np.random.default_rng(21), KINDS[kind]
    emptied, spilled = 0, 0
    for _ in range(12):
        world = World.drawn(rng, **more)
        other, seen = solved(world), world.ridden(at, times=24)
        above = np.maximum(np.array(other["soc"]) - world.floor_wh, 0)
        np.testing.assert_allclose(seen.walk.told[1:, 0], above, atol=1e-4)
        sums = seen.walk.state
        ours = seen.walk.state.empty_h[0], sums.unserved[0], sums.spilled[0], sums.stored[0]
        theirs = other["first"], other["unserved"], other["spilled"], other["stored"]
        np.testing.assert_allclose(ours, theirs, atol=1e-3)
        emptied, spilled = emptied + np.isfinite(other["first"]), spilled + (other["spilled"] > 0)
    assert emptied >= 4
    assert spilled >= 4


def test_between_the_ends_of_its_steps_it_agrees_too() -> None:
    """12 random days: the charge in the middle of every hour, where it bends as it meets taper or floor."""
    rng = np.random.default_rng(22)
    for _ in range(12):
        world = World.drawn(rng)
        told = world.ridden(25, times=48).walk.told[1::2, 0]
        np.testing.assert_allclose(told, np.maximum(np.array(solved(world)["middle"]) - world.floor_wh, 0), atol=1e-4)


def test_the_published_formula_of_a_two_sided_reflection_agrees() -> None:
    """The Skorokhod map on [0, a] in closed form: L. Kruk, J. Lehoczky, K. Ramanan, S. Shreve, "An explicit formula for
    the Skorokhod map on [0, a]", Annals of Probability 35 (2007), p. 1740-1768 (from memory).

    phi = psi - min(0, running min psi),
    charge(t) = phi(t) - max over s <= t of min(max(0, phi(s) - a), min of phi on [s, t]).
    """
    rng, n = np.random.default_rng(22), 24
    emptied = 0
    for _ in range(50):
        load, sun, a, eta = rng.uniform(10, 120, n), rng.uniform(0, 140, n), 250.0, 0.9
        world = World(load, (sun,), (eta,), a, 0.64, 10_000, 1.0)
        psi = 160 + np.cumsum(np.where(sun > load, eta, 1) * (sun - load))
        phi = np.append(160, psi - np.minimum(0, np.minimum.accumulate(psi)))
        charge = [
            phi[t] - max(min(max(phi[s] - a, 0), phi[s : t + 1].min()) for s in range(t + 1)) for t in range(n + 1)
        ]
        seen = world.ridden(25, times=n)
        np.testing.assert_allclose(seen.walk.told[:, 0], charge, atol=1e-9)
        emptied += seen.unserved.magnitude > 0 and seen.wasted.magnitude > 0
    assert emptied > 15
