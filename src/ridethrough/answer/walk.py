"""The one passage through time: what a battery holds, gives and takes in, step by step, all draws at once.

Powers and energies stand on the side of the unit's route. Within a step powers are constant, and everything is exact:

    gives     = max(asked - inflow, 0)           out of the charge: what `drained_w` makes of it
    surplus   = max(inflow - asked, 0)           into it: eta min(surplus, limit), and less near full          (1)
    gap(t)    = gap* exp(-t r / gap*)            where less than gap* is missing to full                       (2)

r is what would be stored without taper, gap* the gap at which the charger, in proportion to the gap, takes just that
surplus. A charge below the floor that the cold makes is out of reach; the unit is empty there, and waits, where it has
a restart threshold, until it is charged up to that.
"""

from __future__ import annotations

from collections.abc import Iterable
from copy import copy
from dataclasses import dataclass, field, fields

import numpy as np

from ..model.battery import drained_w
from .case import Case, Own
from .stretches import Flow, Stretch

Array = np.ndarray
ROUNDING = 1e-11  # of what flowed: who asks to the last watt-hour is served
LEAST = 1e-200  # keeps a division by nothing from being one


@dataclass
class Sums:
    """What came of each row over an outage, arrays of shape (rows,) [Wh].

    Parameters
    ----------
    loads : array of shape (appliances, rows)
        What each appliance asked of the unit.
    own, heater : array
        What the unit took for itself, its heater's included, and the heater's alone.
    asked, unserved : array
        All that was asked of the unit, and what of it did not come.
    rate : array
        What left the battery beyond what it gave, as it was asked fast.
    direct, stored, charge_loss, spilled : array
        What flowed in: straight to the load, into the battery, lost on the way there, and without room.
    kept_back : array
        What cells that became colder or warmer took or gave, and what went to fill a charge up to its floor.
    """

    loads: Array
    own: Array
    heater: Array
    asked: Array
    unserved: Array
    rate: Array
    direct: Array
    stored: Array
    charge_loss: Array
    spilled: Array
    kept_back: Array

    @classmethod
    def none(cls, appliances: int, rows: int) -> Sums:
        """Return the sums before anything came."""
        return cls(np.zeros((appliances, rows)), *(np.zeros(rows) for _ in fields(cls)[1:]))


@dataclass
class Walk:
    """A battery on its way; `through` moves it on.

    Parameters
    ----------
    case : Case
        What is asked of it, and what it is.
    restart_wh : array of shape (rows,)
        Charge above the floor at which a unit that ran empty turns on again [Wh]; 0 where it needs none.
    """

    case: Case
    restart_wh: Array
    charge: Array = field(init=False)
    on: Array = field(init=False)
    empty_h: Array = field(init=False)
    cold_h: Array = field(init=False)
    sums: Sums = field(init=False)
    begin: Stretch = field(init=False)  # the first
    start_wh: Array = field(init=False)  # what can be given at the beginning
    told: Array = field(init=False)  # (times, rows): charge that can be used
    kept_back: Array = field(init=False)  # (times,): of the best estimate, what the cold keeps back

    def __post_init__(self) -> None:
        case, rows = self.case, self.case.rows
        self.charge = case.full_wh * case.start
        self.on, self.empty_h, self.cold_h = np.ones(rows, bool), np.full(rows, np.inf), np.zeros(rows)
        self.sums = Sums.none(len(case.load.appliances), rows)
        self.told, self.kept_back = np.zeros((self.case.told_h.size, rows)), np.zeros(self.case.told_h.size)
        self._usable: Array | None = None
        self._own: Own | None = None

    def through(self, stretches: Iterable[Stretch], *, counted: bool = True) -> None:
        """Move on through stretches; what comes after the outage is not counted, only when it runs empty is."""
        for stretch in stretches:
            floor = stretch.own.floor_wh + self.case.outage.reserve.m_as("Wh") / stretch.own.lift
            usable = self.usable(floor, stretch.own.lift)
            if self._usable is None:
                self.start_wh, self.begin = usable, stretch
            elif stretch.own is not self._own:
                self.sums.kept_back += usable - self._usable
            self._own, before = stretch.own, self.charge
            told = (self._fall if stretch.flow is None else self._follow)(stretch, floor)
            self._usable = self.usable(floor, stretch.own.lift)
            if stretch.flow is not None:  # what fills a charge up to its floor is of no use
                self.sums.kept_back += self._usable - usable - (self.charge - before) * stretch.own.lift
            if counted:
                self._count(stretch)
                self.told[self._wanted(stretch)] = np.maximum(told - floor, 0) * stretch.own.lift
                self.kept_back[self._wanted(stretch)] = np.minimum(told, stretch.own.floor_wh)[:, 0]
            elif np.isfinite(self.empty_h).all():
                return

    def further(self) -> Walk:
        """Return a walk that goes on from here, this one and its sampler staying as they are."""
        other = copy(self)
        other.case = self.case.further()
        other.on, other.empty_h, other.cold_h = self.on.copy(), self.empty_h.copy(), self.cold_h.copy()
        other.sums = Sums(*(each.copy() for each in vars(self.sums).values()))
        return other

    @property
    def end_wh(self) -> Array:
        """What can be given at the end [Wh]."""
        return np.zeros(self.charge.size) if self._usable is None else self._usable

    @property
    def residual(self) -> Array:
        """What the energy account is off by [Wh]: rounding."""
        sums = self.sums
        begun = self.start_wh + sums.stored + sums.direct + sums.kept_back
        return begun - sums.asked - sums.rate + sums.unserved - self.end_wh

    def usable(self, floor: Array, lift: Array) -> Array:
        """Return what can be given of the charge above a floor [Wh]."""
        return np.maximum(self.charge - floor, 0) * lift

    def _count(self, stretch: Stretch) -> None:
        """Add up what was asked of the unit while nothing else carried it."""
        hours = stretch.duration_h if stretch.flow is None else stretch.duration_h * ~stretch.flow.carries
        self.sums.loads += hours @ stretch.powers_w
        self.sums.asked += hours @ stretch.asked_w
        self.sums.own += hours.sum() * stretch.own.own_w
        self.sums.heater += hours.sum() * stretch.own.heater_w

    def _fall(self, stretch: Stretch, floor: Array) -> Array:
        """Follow the charge where nothing flows in: it falls to the floor and stays there; return it when wanted."""
        sums, hours = self.sums, stretch.duration_h
        falls_w = stretch.drained_w / stretch.own.lift
        there = np.where(self.on, np.maximum(self.charge - floor, 0), 0.0)
        gone, asked = hours @ falls_w, hours @ stretch.asked_w
        given = asked.copy()
        told = self.charge - np.minimum(self._elapsed(stretch) @ falls_w, there)
        who = np.flatnonzero(gone > there + ROUNDING * (gone + there))
        if who.size:
            falls = np.cumsum(falls_w[:, who] * hours[:, np.newaxis], axis=0)
            at = (falls > there[who]).argmax(axis=0)
            share = 1 - (_of_each(falls, at) - there[who]) / (falls_w[at, who] * hours[at])
            at_h = stretch.begin_h + np.cumsum(hours)[at] - (1 - share) * hours[at]
            asks = np.cumsum(stretch.asked_w[:, who] * hours[:, np.newaxis], axis=0)
            given[who] = _of_each(asks, at) - (1 - share) * stretch.asked_w[at, who] * hours[at]
            self._empties(who, at_h, stretch)
        taken = np.minimum(gone, there)
        sums.unserved += asked - given
        sums.rate += taken * stretch.own.lift - given
        self.charge = self.charge - taken
        return told

    def _empties(self, who: Array, at_h: Array, stretch: Stretch) -> None:
        """Note which rows run empty when: off until their restart, and their cells take the cold of the room."""
        self.empty_h[who] = np.where(self.on[who], np.minimum(self.empty_h[who], at_h), self.empty_h[who])
        self.on[who] &= self.restart_wh[who] <= 0
        if stretch.own.heats:
            self.cold_h[who] = self.case.warming_h[who]

    def _elapsed(self, stretch: Stretch) -> Array:
        """Return how much of each step has passed at the moments wanted in this stretch: shape (times, steps) [h]."""
        ends = stretch.begin_h + np.cumsum(stretch.duration_h)
        wanted = self.case.told_h[self._wanted(stretch)]
        return np.clip(wanted[:, np.newaxis] - (ends - stretch.duration_h), 0, stretch.duration_h)

    def _wanted(self, stretch: Stretch) -> Array:
        """Return which of the moments wanted lie in a stretch, its beginning and end included."""
        last = stretch.begin_h + stretch.duration_h.sum()
        return np.flatnonzero((self.case.told_h >= stretch.begin_h - 1e-9) & (self.case.told_h <= last + 1e-9))

    def _follow(self, stretch: Stretch, floor: Array) -> Array:
        """Follow the charge step by step where something flows in; return it when wanted, which ends a step."""
        levels, now = [self.charge], stretch.begin_h
        for step, hours in enumerate(stretch.duration_h):
            rest = np.full(self.charge.size, hours)
            while (rest > 0).any():
                rest = self._step(stretch, stretch.flow, step, floor, now + hours, rest)  # type: ignore[arg-type]
            levels.append(self.charge)
            now += hours
        passed = self._elapsed(stretch) / stretch.duration_h
        return levels[0] + passed @ np.diff(levels, axis=0)

    def _step(self, stretch: Stretch, flow: Flow, step: int, floor: Array, end_h: float, rest: Array) -> Array:
        """Move on to the end of a step, or to where a row turns off or on or is warm; return what is left of it [h]."""
        case, sums, lift, asked_w = self.case, self.sums, stretch.own.lift, stretch.asked_w[step]
        offered, eta, carried = flow.power_w[step], flow.efficiency[step], bool(flow.carries[step])
        warm = stretch.own.charges & (self.cold_h <= 0)
        inflow = offered if carried else np.where(warm, offered, 0.0)
        there, gap = np.maximum(self.charge - floor, 0), np.maximum(case.full_wh - self.charge, 0)
        lacks = np.where(self.on & ~carried, np.maximum(asked_w - inflow, 0), 0.0)
        dry = (lacks > 0) & (there <= ROUNDING * case.full_wh)
        if dry.any():
            self._empties(np.flatnonzero(dry), (end_h - rest)[dry], stretch)
        asked, gives = np.where(self.on & ~carried, asked_w, 0.0), np.where(dry, 0.0, lacks)
        part = gives / np.maximum(asked_w, LEAST)
        falls = drained_w(gives, stretch.rate_w[step] * part, *case.rate) / lift
        falls[0] = part[0] * stretch.drained_w[step, 0] / lift[0] if stretch.cycles else falls[0]
        surplus = np.where(warm, np.minimum(np.maximum(inflow - asked, 0), case.limit_w), 0.0)
        wanted, bend = surplus * eta / lift, case.tapers_wh * surplus / np.maximum(case.limit_w, LEAST)

        until = np.where(falls * rest > there * (1 + ROUNDING), there / np.maximum(falls, LEAST), rest)
        warms = stretch.own.heats & (self.cold_h > 0) & (offered >= stretch.own.heater_w)
        until = np.where(warms, np.minimum(until, self.cold_h), until)
        turns = ~self.on & (wanted > 0)
        if turns.any():
            reached_h = _time_to(gap, case.full_wh - floor - self.restart_wh, wanted, bend)
            turns &= reached_h <= rest * (1 + ROUNDING)
            until = np.where(turns, np.minimum(until, reached_h), until)

        stored, drained = (gap - _gap_after(gap, until, wanted, bend)) * lift, np.minimum(falls * until, there)
        taken, direct = stored / np.maximum(eta, LEAST), np.minimum(asked, inflow) * until
        sums.stored += stored
        sums.charge_loss += taken - stored
        sums.spilled += np.maximum(offered * until - direct - taken, 0) * flow.idle[step]
        sums.rate += drained * lift - gives * until
        sums.direct += direct
        sums.unserved += (
            0.0 if carried else (asked_w - np.where(self.on, np.minimum(asked_w, inflow) + gives, 0)) * until
        )
        self.charge = self.charge + stored / lift - drained
        self.cold_h = np.where(warms, self.cold_h - until, self.cold_h)
        self.on = self.on | turns
        return rest - until


def _gap_after(gap: Array, hours: Array, wanted: Array, bend: Array) -> Array:
    """Return what is missing to full after charging for some hours: straight down to the bend, then (2) [Wh]."""
    straight = np.maximum(gap - bend, 0)
    needed = np.where(wanted > 0, straight / np.maximum(wanted, LEAST), np.inf)
    tail = np.maximum(hours - needed, 0)
    rate = wanted / np.maximum(bend, LEAST)
    return np.where(hours <= needed, gap - wanted * hours, np.minimum(gap, bend) * np.exp(-tail * rate))  # (2)


def _time_to(gap: Array, aim: Array, wanted: Array, bend: Array) -> Array:
    """Return how long charging takes from one gap to a smaller one [h]."""
    straight = np.maximum(gap - np.maximum(aim, bend), 0) / np.maximum(wanted, LEAST)
    tail = np.log(np.maximum(np.minimum(gap, bend), LEAST) / np.maximum(aim, LEAST)) * bend / np.maximum(wanted, LEAST)
    return np.where(gap <= aim, 0.0, straight + np.where(aim < bend, tail, 0.0))


def _of_each(table: Array, row: Array) -> Array:
    """Return each draw's entry in its own row of the table."""
    return np.take_along_axis(table, row[np.newaxis], axis=0)[0]
