"""An outage cut into steps of constant power: what is asked of the unit, and what flows back."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from ..estimate import Read
from ..model.battery import takes_charge
from ..model.load import MOST_STRETCHES, Appliance, Load
from ..model.pattern import DAY_H
from ..model.routes import cells_at
from ..model.unit import BackupUnit
from .charge import Charge, Powers, charge_through
from .ledger import as_seen_by
from .outage import Outage

TIMES = 240  # moments at which the charge is told


@dataclass(frozen=True)
class Course:
    """The steps of an outage; make it with `course_of`.

    Parameters
    ----------
    load : Load
        What is plugged in, in the outage's room.
    outage : Outage
        The outage.
    duration_h : array of shape (steps,)
        Length of each step [h].
    shapes_w : array of shape (appliances, steps)
        Power of each appliance by its pattern, before it is scaled to the energy that it takes [W].
    carried : array of shape (steps,)
        1 where the unit carries the load, 0 where the mains does [-].
    recharge_w : array of shape (steps,)
        What flows back in [W].
    stretch : array of shape (steps,)
        Which stretch of days each step belongs to [-]; one for all where only best estimates count.
    repeats : int
        How many times the steps follow each other: days, where every day is alike [-].
    varies : bool
        Whether each stretch takes its own draw of how days differ.
    """

    load: Load
    outage: Outage
    duration_h: np.ndarray = field(repr=False)
    shapes_w: np.ndarray = field(repr=False)
    carried: np.ndarray = field(repr=False)
    recharge_w: np.ndarray = field(repr=False)
    stretch: np.ndarray = field(repr=False)
    repeats: int
    varies: bool = False

    def through(self, unit: BackupUnit, read: Read) -> Passage:
        """Return what a unit holds and what is asked of it, of plain numbers, on the side of its route.

        a + b P + c P^2,   P = sum of f_i p_i                                                 (1)
        f_i = mean power in the stretch / mean of the pattern                                 (2)

        Parameters
        ----------
        unit : BackupUnit
            Its a, b and c, capacity and start.
        read : callable
            Makes an array of numbers of an Estimate, one for each draw.
        """
        outage, route = self.outage, unit.route
        a, b, c = route.takes(read, outage.unit_at)
        profiles, factors = [np.ones_like(self.duration_h)], [a]
        for number in range(int(self.stretch[-1]) + 1):
            within = self.stretch == number
            hours = self.repeats * float(self.duration_h[within].sum())
            scales = [self._scale(n, number, hours, read) for n in range(len(self.shapes_w))]
            for i, one in enumerate(self.shapes_w * within):
                profiles.append(one)
                factors.append(b * scales[i])
                for j in range(i, len(self.shapes_w)) if np.any(c) else ():
                    profiles.append(one * self.shapes_w[j])
                    factors.append((1 if i == j else 2) * c * scales[i] * scales[j])
        capacity, start = route.store(read, self.load, outage.start, outage.unit_at)
        efficiency = read(outage.recharge[0].efficiency, 0, 1) if outage.recharge else 1.0
        inflow = route.inflow(read) if outage.recharge else 1.0
        kept = float(outage.reserve.magnitude)
        capacity, start = np.maximum(capacity - kept, 0), np.maximum(np.minimum(start, capacity) - kept, 0)
        rows = np.broadcast_arrays(capacity, start, efficiency, inflow, *factors)
        capacity, start, efficiency, inflow, *factors = (np.atleast_1d(row) for row in rows)
        cells = cells_at(route.heater, outage.unit_at)
        stored = self.recharge_w * (cells is None or takes_charge(route.chemistry, cells))
        asked = np.array(profiles) * self.carried  # (1), with the factors
        return Passage(asked, np.array(factors).T, capacity, start, efficiency, stored, inflow)

    def follow(self, passage: Passage, *, restart: float = 0.0, at_h: np.ndarray | None = None) -> Charge:
        """Return what the battery does, draw by draw; see `charge_through`."""
        back = Powers(passage.recharge_w[np.newaxis], passage.inflow[:, np.newaxis])
        return charge_through(
            self.duration_h, Powers(passage.profiles, passage.factors), back,
            capacity_wh=passage.capacity_wh, start_wh=passage.start_wh, charge_efficiency=passage.efficiency,
            restart_wh=restart * passage.capacity_wh if restart else 0.0, repeats=self.repeats, at_h=at_h,
        )  # fmt: skip

    def _scale(self, n: int, stretch: int, hours: float, read: Read) -> Any:
        """Return (2) of `through` for one appliance [-]."""
        appliance = self.load.appliances[n]
        varies = self.varies and appliance.day_spread.magnitude
        power_w = read(appliance.power_in(stretch, hours) if varies else appliance.mean_power, 0)
        mean_w = appliance.through_time.mean_w
        return power_w / mean_w if mean_w else 0 * power_w


def course_of(load: Load, outage: Outage, *, varies: bool = False) -> Course:
    """Return the steps of an outage: one day and how often it repeats, where every day is alike.

    Parameters
    ----------
    load, outage : Load, Outage
        What is plugged in, through what.
    varies : bool
        Whether days shall differ from each other, as they do in draws.
    """
    given, load = load, as_seen_by(load, outage)
    hours, begins_h = float(outage.duration.magnitude), outage.begins_h
    patterns = [appliance.through_time for appliance in load.appliances]
    days = round(hours / DAY_H)
    varies = varies and any(appliance.day_spread.magnitude for appliance in load.appliances)
    changes = varies or outage.recharge or outage.room_c is not None
    alike = not changes and all(pattern.divides_a_day for pattern in patterns)
    repeats = days if alike and days and np.isclose(days * DAY_H, hours) else 1
    span = hours / repeats
    cuts = [pattern.cuts_h(span, begins_h) for pattern in patterns]
    ends = [np.cumsum(recharge.pattern.duration_h) for recharge in outage.recharge]
    stretches = np.linspace(0, span, min(MOST_STRETCHES, math.ceil(span / DAY_H)) + 1 if varies else 2)
    edges = np.unique(np.concatenate([stretches, *cuts, *(end[end < span] for end in ends), _hours(outage)]))
    edges = edges[np.append(np.diff(edges) > span * np.finfo(float).eps, True)]
    middles = (edges[:-1] + edges[1:]) / 2
    shapes = np.array([pattern.at(middles, begins_h) for pattern in patterns])
    for n, appliance in enumerate(given.appliances):
        shapes[n] *= _by_the_hour(appliance, outage, middles, shapes[n] * np.diff(edges))
    recharge_w, carried = np.zeros(middles.size), np.ones(middles.size)
    for recharge, end in zip(outage.recharge, ends, strict=True):
        flow = np.where(middles < end[-1], recharge.pattern.at(middles, 0), 0)
        recharge_w += flow
        carried[recharge.carries & (flow > 0)] = 0
    stretch = np.searchsorted(stretches, middles) - 1
    return Course(load, outage, np.diff(edges), shapes, carried, recharge_w, stretch, repeats, varies)


def _hours(outage: Outage) -> np.ndarray:
    """Return the full hours within an outage at which its room changes [h]."""
    return np.arange(1.0, 1.0 if outage.room_c is None else outage.room_c.size)


def _by_the_hour(appliance: Appliance, outage: Outage, time_h: np.ndarray, energy_wh: np.ndarray) -> Any:
    """Return how much more than its mean a cold appliance draws at moments of a room that changes [-].

    1 + s (T - T_1), over its mean                                                            (1)
    """
    if outage.room_c is None or appliance.room is None:
        return 1.0
    warmer = outage.room_c[time_h.astype(int)] - float(appliance.room.m_as("degC"))
    more = np.maximum(1 + float(appliance.room_slope.value.magnitude) * warmer, 0)
    return more * energy_wh.sum() / (energy_wh @ more or 1)  # (1)


@dataclass(frozen=True)
class Passage:
    """A unit on its course, in plain numbers: one row for each draw.

    Parameters
    ----------
    profiles : array of shape (profiles, steps)
        Shared profiles of what is asked [W], products of them [W2].
    factors : array of shape (draws, profiles)
        How much each draw takes of each.
    capacity_wh, start_wh, efficiency : arrays of shape (draws,)
        Energy beyond the reserve when full and at the start [Wh]; charge efficiency [-].
    recharge_w : array of shape (steps,)
        What may flow in: nothing where the cells are too cold to be charged [W].
    inflow : array of shape (draws,)
        What of it counts on the side of the unit's route [-].
    """

    profiles: np.ndarray = field(repr=False)
    factors: np.ndarray = field(repr=False)
    capacity_wh: np.ndarray = field(repr=False)
    start_wh: np.ndarray = field(repr=False)
    efficiency: np.ndarray = field(repr=False)
    recharge_w: np.ndarray = field(repr=False)
    inflow: np.ndarray = field(repr=False)

    @property
    def finite(self) -> np.ndarray:
        """Which draws are numbers at all."""
        rows = (self.factors.T, self.capacity_wh, self.start_wh, self.efficiency, self.inflow)
        return np.all([np.isfinite(row).reshape(-1, row.shape[-1]).all(axis=0) for row in rows], axis=0)

    def only(self, draws: np.ndarray) -> Passage:
        """Return the draws of these numbers."""
        rows = ("factors", "capacity_wh", "start_wh", "efficiency", "inflow")
        return replace(self, **{name: getattr(self, name)[draws] for name in rows})
