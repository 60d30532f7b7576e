"""One case: a load on a unit through an outage, put on its side, into its rooms and on its clock, drawn many times.

Everything here is plain arrays in named units; the last axis is one row for each draw, row 0 the best estimate.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from ..model.battery import takes_charge
from ..model.inverter import asked_w
from ..model.load import Appliance, Load
from ..model.pattern import DAY_H
from ..model.room import warmer, within
from ..model.routes import Rate, Share, cells_at
from ..model.unit import BackupUnit
from ..sampling import Sampler
from ..sources import coefficient, lookup
from ..units import Q_, Refusal, show
from .outage import Outage

TENTHS = 10  # of a step, to which the phase of a pattern is drawn
SCHEDULE = 48  # steps of a day up to which each is followed by itself
AT_ONCE = 100_000  # numbers handled by one NumPy call: few enough to stay in a processor's cache
SECOND_H = 1 / 3600  # moments closer than this are one


class Flow(NamedTuple):
    """What flows back in, on the side of the route.

    Parameters
    ----------
    power_w, efficiency : arrays of shape (steps, rows)
        All sources together [W], and what of a surplus is stored [-].
    idle : array of shape (steps, rows)
        Share that comes whether it is taken or not, as the sun's does and the mains' does not [-].
    carries : array of shape (steps,)
        Whether the load hangs on it.
    """

    power_w: np.ndarray
    efficiency: np.ndarray
    idle: np.ndarray
    carries: np.ndarray


class Stretch(NamedTuple):
    """Some steps of constant power in which nothing else changes.

    Parameters
    ----------
    begin_h, duration_h : float, array of shape (steps,)
        When it begins, and how long its steps are [h].
    powers_w : array of shape (appliances, steps, rows)
        What each appliance draws [W].
    asked_w, running_w : arrays of shape (steps, rows)
        What load and unit ask together, on average and while the load runs [W].
    own_w : array of shape (rows,)
        What of it the unit takes whatever hangs on it: standby, and a heater [W].
    heater_w : array of shape (rows,)
        What of that is its heater's, beyond what the standby has of it [W].
    cold, floor_wh, lift : arrays of shape (rows,)
        Capacity at this temperature over that of the shares [-]; charge that the cold keeps back [Wh]; by how much
        heat makes a charge last longer [-].
    charges, heats : bool
        Whether its cells may be charged, and whether a heater keeps them from freezing.
    flow : Flow or None
        What flows back in.
    """

    begin_h: float
    duration_h: np.ndarray
    powers_w: np.ndarray
    asked_w: np.ndarray
    running_w: np.ndarray
    own_w: np.ndarray
    heater_w: np.ndarray
    cold: np.ndarray
    floor_wh: np.ndarray
    lift: np.ndarray
    charges: bool
    heats: bool
    flow: Flow | None


class Power(NamedTuple):
    """One appliance, drawn: how it goes through time.

    Parameters
    ----------
    appliance : Appliance
        Whose power.
    mean_w : array of shape (rows,)
        Its mean power, in the outage's room where that does not change [W].
    slope : array of shape (rows,), or None
        Change for each kelvin of a room that changes by the hour [1/K].
    since_h : float
        Time since its pattern began, where that is known when the outage begins [h].
    offset : array of shape (rows,), or None
        Tenth of a step of its pattern at which the outage begins, where that is drawn [-].
    cells_w : array of shape (tenths,)
        Mean in the step that begins with each tenth, over the pattern's mean [-].
    within_w2 : float
        Variance within such a step, on average, over the square of the pattern's mean [-].
    """

    appliance: Appliance
    mean_w: np.ndarray
    slope: np.ndarray | None
    since_h: float
    offset: np.ndarray | None
    cells_w: np.ndarray
    within_w2: float

    @property
    def block_h(self) -> float:
        """How long it lies above or below its mean all along: a day, where its pattern tells what days are like [h]."""
        return max(lookup("time that varies by itself").value, min(DAY_H, self.appliance.pattern.period_h))


@dataclass(frozen=True)
class Case:
    """A load on a unit through an outage, with the draws of all that goes into it; make it with `case_of`."""

    load: Load
    unit: BackupUnit
    outage: Outage
    sampler: Sampler
    told_h: np.ndarray = field(repr=False)  # moments at which the charge shall be told
    printed_wh: Any = field(default=None, repr=False)  # one for all rows, or what each row would have printed

    # -- what there is -------------------------------------------------------------------------------

    @property
    def printed(self) -> Any:
        """Printed capacity [Wh]."""
        return self.unit.printed.m_as("Wh") if self.printed_wh is None else self.printed_wh

    @cached_property
    def shares(self) -> list[Share]:
        """What of the printed capacity is usable when full, share by share [-]."""
        return self.unit.route.shares(self.sampler.of, self.printed)

    @cached_property
    def start(self) -> np.ndarray:
        """State of charge at the beginning [-]."""
        return self.sampler.of(self.outage.start, 0, 1)

    @cached_property
    def full_wh(self) -> np.ndarray:
        """Charge of a full unit [Wh]."""
        return np.prod([np.broadcast_to(each.share, self.rows) for each in self.shares], axis=0) * self.printed

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
        return self.unit.route.rate(self.sampler.of, self.printed)

    @cached_property
    def limit_w(self) -> np.ndarray:
        """The most that flows in before charge loss, on the side of the route [W]."""
        return self.sampler.of(self.unit.charger.power, 0) * self.unit.route.inflow(self.sampler.of)

    @cached_property
    def tapers_wh(self) -> np.ndarray:
        """How far below full its charger begins to take less [Wh]."""
        return self.full_wh * (1 - self.sampler.of(self.unit.charger.taper_from, 0, 1))

    @cached_property
    def warming_h(self) -> np.ndarray:
        """How long its heater warms cells that took the cold of the room, until they may be charged [h]."""
        return self.sampler.of(coefficient("hours to warm frozen cells"), 0)

    # -- through time --------------------------------------------------------------------------------

    @cached_property
    def powers(self) -> tuple[Power, ...]:
        """The appliances, drawn."""
        return tuple(self._power(number) for number in range(len(self.load.appliances)))

    @property
    def goes_on(self) -> bool:
        """Whether the outage could last longer and nothing would be missing: no recharge, nothing by the hour."""
        places = (self.outage.room, self.outage.unit_at)
        return not self.outage.recharge and not any(place is not None and place.changes for place in places)

    def _power(self, number: int) -> Power:
        appliance, of, outage = self.load.appliances[number], self.sampler.of, self.outage
        mean_w, slope = of(appliance.mean_power, 0), None
        if outage.room is not None and appliance.room is not None and appliance.room_slope is not None:
            for celsius in (outage.room.celsius.min(), outage.room.celsius.max()):
                within(appliance, Q_(float(celsius), "degC"), "room")
            slope = of(appliance.room_slope)
            if not outage.room.changes:
                mean_w = self._in_room(appliance, mean_w, slope, outage.room.celsius)
                slope = None
        pattern = appliance.pattern
        mean = pattern.windows(lookup("step of a ride").value / 60, TENTHS)
        over = pattern.mean_w or 1.0
        since_h, offset = self._phase(number, mean.size)
        within_w2 = max(pattern.variance_w2 - float(mean.var()), 0.0)
        return Power(appliance, mean_w, slope, since_h, offset, mean / over, within_w2 / over / over)

    def _in_room(self, appliance: Appliance, mean_w: Any, slope: Any, celsius: Any) -> Any:
        """Return what it draws where it stands [W], at most what its motor takes all the time."""
        assert appliance.room is not None
        there_w = mean_w * warmer(slope, celsius - appliance.room.m_as("degC"))
        if appliance.motor is None:
            return there_w
        return np.minimum(there_w, np.maximum(appliance.motor.m_as("W"), mean_w))

    def _phase(self, number: int, cells: int) -> tuple[float, np.ndarray | None]:
        """Return how long ago its pattern began [h], and the cell that it is in where that is drawn."""
        appliance, begins_h = self.load.appliances[number], self.outage.begins_h
        pattern = appliance.pattern
        if pattern.power_w.size == 1 or not np.ptp(pattern.power_w):
            return 0.0, None
        twins = sum(other.name == appliance.name for other in self.load.appliances[:number])
        name = f"{appliance.name}{f' ({twins + 1})' if twins else ''}"
        if pattern.begins_h is None:
            since_h = pattern.period_h * self.sampler.evenly(f"moment in the cycle of the {name}")
        else:
            days = round(pattern.period_h / DAY_H)
            if begins_h is not None and days == 1 and pattern.power_w.size <= SCHEDULE:
                return (begins_h - pattern.begins_h) % DAY_H, None
            hour_h = begins_h * np.ones(self.rows) if begins_h is not None else (
                DAY_H * self.sampler.evenly("hour at which it begins"))  # fmt: skip
            day = np.floor(days * self.sampler.evenly(f"which of its days the {name} has")) if days > 1 else 0
            since_h = (hour_h - pattern.begins_h) % DAY_H + DAY_H * day
        return 0.0, np.floor(since_h / pattern.period_h * cells + 1e-9).astype(int) % cells

    def stretches(self, begin_h: float, end_h: float) -> Iterator[Stretch]:
        """Yield what happens from one moment to another, both counted from the beginning of the outage [h]."""
        for day in range(int(begin_h // DAY_H), int(np.ceil(end_h / DAY_H))):
            low, high = max(begin_h, day * DAY_H), min(end_h, (day + 1) * DAY_H)
            edges = self._edges(low, high)
            breaks = np.zeros(edges.size, bool)
            for block_h in self._blocks_h:
                breaks |= np.isclose(np.round(edges / block_h), edges / block_h)
            for moments, *_ in self._sources:
                breaks |= np.isin(edges, moments)
            if self.outage.unit_at is not None and self.outage.unit_at.changes:
                breaks |= np.isclose(edges % 1, 0)
            at = 0
            while at < edges.size - 1:
                after = np.flatnonzero(breaks[at + 1 :])
                until = min(at + 1 + (int(after[0]) if after.size else edges.size), at + max(1, AT_ONCE // self.rows),
                            edges.size - 1)  # fmt: skip
                yield self._stretch(edges[at : until + 1])
                at = until

    @cached_property
    def _blocks_h(self) -> set[float]:
        """How long what varies from day to day stays as it is [h]."""
        return {power.block_h for power in self.powers if power.appliance.next_days is not None}

    def _edges(self, low: float, high: float) -> np.ndarray:
        """Return the moments of a day at which something changes, its ends included [h]."""
        cuts = [np.array([low, high])]
        grids = list(self._blocks_h)
        grids += [lookup("step of a ride").value / 60] if any(p.offset is not None for p in self.powers) else []
        grids += (
            [1.0]
            if any(place is not None and place.changes for place in (self.outage.room, self.outage.unit_at))
            else []
        )
        cuts += [step * np.arange(np.floor(low / step) + 1, np.ceil(high / step)) for step in grids]
        for power in self.powers:
            if power.offset is None and power.cells_w.size > 1:
                cuts.append(low + power.appliance.pattern.cuts_h(power.since_h + low, high - low))
        cuts += [np.concatenate([edges, self.told_h]) for edges, *_ in self._sources]
        edges = np.unique(np.concatenate(cuts))
        edges = edges[(edges >= low) & (edges <= high)]
        keep = np.append(np.diff(edges) > SECOND_H / 60, True)
        keep[0] = True
        return edges[keep]

    def _stretch(self, edges: np.ndarray) -> Stretch:
        """Return the steps between these moments."""
        middles, begin = (edges[:-1] + edges[1:]) / 2, float(edges[0])
        drawn = [self._drawn(power, middles) for power in self.powers]
        powers_w = np.stack([mean for mean, _ in drawn])
        total_w, variance_w2 = powers_w.sum(axis=0), sum(variance for _, variance in drawn)
        route, cells = self.unit.route, self.cells_at(middles[0])
        standby, b, c = self.takes
        heater = route.heater
        heats = heater is not None and heater.on(self._unit_at(middles[0]))
        heater_w = self.sampler.of(heater.power, 0) * (int(heats) - int(route.heated_in_tests)) if heater else 0.0
        own_w = standby + heater_w
        asked = asked_w(total_w, variance_w2, own_w, b, c)
        running = asked.copy()  # a draw's load runs in some of its steps, the best estimate's a little in each
        running[:, 0] += (b * variance_w2 / np.maximum(total_w, 1e-300) * np.ones_like(asked))[:, 0]
        cold = np.ones(self.rows) if cells is None else route.cold(self.sampler.of, cells) * np.ones(self.rows)
        return Stretch(
            begin, np.diff(edges), powers_w, asked, running, own_w * np.ones(self.rows), heater_w * np.ones(self.rows),
            cold, self.full_wh * np.maximum(1 - cold, 0), np.maximum(cold, 1.0),
            cells is None or takes_charge(route.chemistry, cells), heats, self._flow(middles),
        )  # fmt: skip

    def _unit_at(self, time_h: float) -> Any:
        place = self.outage.unit_at
        return None if place is None else Q_(float(place.at(time_h)), "degC")

    def cells_at(self, time_h: float) -> Any:
        """Return the temperature of the cells at a moment [degC]; None where none is given."""
        return cells_at(self.unit.route.heater, self._unit_at(time_h))

    def _drawn(self, power: Power, middles: np.ndarray) -> tuple[np.ndarray, Any]:
        """Return an appliance's power in steps, and its variance within them: shape (steps, rows) [W], [W2]."""
        appliance, scale_w = power.appliance, power.mean_w
        if appliance.next_days is not None:
            (variable,) = appliance.next_days.slopes()
            z = self.sampler.standard(variable, int(middles[0] // power.block_h))
            day_w = appliance.day_spread.m_as("Wh") / DAY_H * np.sqrt(DAY_H / power.block_h)
            scale_w = np.maximum(scale_w + z * day_w, 0)
        if power.slope is not None and self.outage.room is not None:
            scale_w = self._in_room(appliance, scale_w, power.slope, self.outage.room.at(middles)[:, np.newaxis])
        if power.offset is None:
            over = appliance.pattern.mean_w or 1.0
            shape = (
                appliance.pattern.at(power.since_h + middles) / over
                if power.cells_w.size > 1
                else np.ones(middles.size)
            )
            return shape[:, np.newaxis] * scale_w, 0.0
        shifts = TENTHS * (middles / (lookup("step of a ride").value / 60)).astype(int) % power.cells_w.size
        twice = np.append(power.cells_w, power.cells_w)
        shape = np.stack([twice[shift:].take(power.offset) for shift in shifts])
        variance = np.full(self.rows, power.within_w2)
        shape[:, 0], variance[0] = 1.0, appliance.pattern.variance_w2 / appliance.pattern.mean_w**2
        return shape * scale_w, variance * scale_w**2

    # -- what flows back -----------------------------------------------------------------------------

    @cached_property
    def _sources(self) -> list[tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, bool]]:
        """Each source: its moments [h], power between [W], what of it comes, its efficiency, whether it carries."""
        found = []
        for each in self.outage.recharge:
            edges, power_w = each.window(self.outage.hours, self.outage.begins_h)
            comes = self.sampler.of(each.factor, 0) * self.unit.route.inflow(self.sampler.of)
            found.append((edges, power_w, comes, self.sampler.of(each.efficiency, 0, 1), each.carries))
        return found

    def _flow(self, middles: np.ndarray) -> Flow | None:
        """Return what flows back in at these moments; None where nothing does."""
        if not any(
            power_w[(edges[1:] > middles[0]) & (edges[:-1] < middles[-1])].any() for edges, power_w, *_ in self._sources
        ):
            return None
        total = stored = idle = np.zeros((middles.size, self.rows))
        carried = np.zeros(middles.size, bool)
        for edges, power_w, comes, efficiency, carries in self._sources:
            now_w = power_w[np.clip(np.searchsorted(edges, middles) - 1, 0, power_w.size - 1)]
            here = now_w[:, np.newaxis] * comes
            total, stored = total + here, stored + here * efficiency
            idle = idle if carries else idle + here
            carried |= carries & (now_w > 0)
        over = np.where(total > 0, total, 1)
        return Flow(total, stored / over, idle / over, carried)


def case_of(load: Any, unit: Any, outage: Any, *, draws: int, seed: int, times: int = 0) -> Case:
    """Return the case, or refuse what is no load, no unit, or asks for a room that nothing was measured in."""
    if not isinstance(load, Load):
        raise Refusal(f"load={load!r}", "a load", 'Write Load.steady("38 W"), or measure_draw(log).as_load().')
    if not isinstance(unit, BackupUnit):
        raise Refusal(f"unit={unit!r}", "a unit", 'Write read_units("units.csv")["Unit B"], or BackupUnit.from_print.')
    when = Outage.of(outage)
    if when.room is not None and all(appliance.room is None for appliance in load.appliances):
        raise Refusal(
            f"room={show(when.room.mean, 0)}, and no appliance with the room it was measured in",
            "the temperature in which each cold appliance was measured",
            'Write load.in_a_room_of("20 degC"), or leave room out.',
        )
    told_h = np.linspace(0, when.hours, times + 1) if times else np.zeros(0)
    return Case(load, unit, when, Sampler(draws, seed), told_h)
