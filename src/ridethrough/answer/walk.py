"""The one passage through time: what a battery holds, gives and takes in, step by step, all draws at once.

Powers and energies stand on the side of the unit's route. Within a step powers are constant, and everything is exact:

    gives     = max(asked - inflow, 0)           out of the charge: what `drained_w` makes of it
    surplus   = max(inflow - asked, 0)           into it: eta min(surplus, limit), near full as `gap_after` has it

A charge below the floor that the cold makes is out of reach; the unit is empty there, and waits, where it has a
restart threshold, until it is charged up to that. Steps in which nothing turns are taken together.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from copy import copy
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np

from ..model.charger import LEAST, gap_after, hours_to
from .case import Case, Own
from .powers import Powers, powers
from .stretches import MOMENT_H, Stretch

Array = np.ndarray
ALL = slice(None)
ROUNDING = 1e-11  # of a full charge: who asks to the last watt-hour is served


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
            self._own, before = stretch.own, self.charge.copy()
            told = self._move(stretch, floor)
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
        for name in ("charge", "on", "empty_h", "cold_h"):
            setattr(other, name, getattr(self, name).copy())
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
        self.sums.loads += total(hours, stretch.powers_w)
        self.sums.asked += total(hours, stretch.asked_w)
        self.sums.own += hours.sum() * stretch.own.own_w
        self.sums.heater += hours.sum() * stretch.own.heater_w

    def _move(self, stretch: Stretch, floor: Array) -> Array:
        """Move on through a stretch, in sums where nothing turns and by the step where it may; return what is told.

        Told is the charge at the moments wanted; where something flows in, each of them ends a step.
        """
        wanted, told, levels = self._wanted(stretch), self.charge[np.newaxis], None
        if wanted.size and stretch.flow is not None:
            levels = np.repeat(told, stretch.edges_h.size, axis=0)
        elif wanted.size:
            passed = np.clip(self.case.told_h[wanted, np.newaxis] - stretch.edges_h[:-1], 0, stretch.duration_h)
            there = np.where(self.on, np.maximum(self.charge - floor, 0), 0.0)
            told = told - np.minimum(passed @ (stretch.drained_w / stretch.own.lift), there)
        rows = self._glide(stretch, floor, levels)
        for step, hours in enumerate(stretch.duration_h if rows.size else ()):
            rest = np.full(rows.size, hours)
            while rest.any():
                rest = self._step(stretch, floor, rows, step, rest)
            if levels is not None:
                levels[step + 1, rows] = self.charge[rows]
        return told if levels is None else levels[np.searchsorted(stretch.edges_h, self.case.told_h[wanted] - MOMENT_H)]

    def _wanted(self, stretch: Stretch) -> Array:
        """Return which of the moments wanted lie in a stretch, its beginning and end included."""
        first, last = stretch.edges_h[[0, -1]]
        return np.flatnonzero((self.case.told_h >= first - MOMENT_H) & (self.case.told_h <= last + MOMENT_H))

    def _now(self, stretch: Stretch, floor: Array, who: Any, step: Any) -> tuple[Array, Array, Array, Powers]:
        """Return what rows can give and what they lack to full [Wh], which of them give, and their powers."""
        full, on = self.case.full_wh[who], self.on[who]
        there, gap = np.maximum(self.charge[who] - floor[who], 0), np.maximum(full - self.charge[who], 0)
        awake, warm = on & (there > ROUNDING * full), stretch.own.charges & (self.cold_h[who] <= 0)
        return there, gap, awake, powers(self.case, stretch, step, who, on=on, awake=awake, warm=warm)

    def _glide(self, stretch: Stretch, floor: Array, levels: Array | None) -> Array:
        """Move rows to the end of a stretch in which nothing turns; return those in which it may.

        Nothing turns where what leaves the charge was there before, and what comes in has room far from where the
        charger takes less; or where it takes less from beginning to end.
        """
        hours, passed_h = stretch.duration_h, stretch.edges_h[1:, np.newaxis] - stretch.edges_h[0]
        there, gap, awake, power = self._now(stretch, floor, ALL, ALL)
        taken, drained, tail = total(hours, power.takes), total(hours, power.falls), np.zeros(gap.size, bool)
        stored = taken * power.kept if power.kept.ndim == 1 else total(hours, power.takes * power.kept)
        turns = drained > there + ROUNDING * self.case.full_wh
        if not awake.all():
            unknown = np.isinf(self.empty_h) & (total(hours, power.lacks) > 0)
            turns |= self.on & ~awake & (unknown | (stored > 0))
            on_again = floor + self.restart_wh - ROUNDING * self.case.full_wh
            turns |= ~self.on & (stored > 0) & (self.charge + stored >= on_again)
        if stretch.flow is not None:
            takes = np.atleast_2d(power.takes)
            turns |= stretch.own.heats & (self.cold_h > 0) & (total(hours, power.offered) > 0)
            if power.kept.ndim == 1:
                tail = self.on & (stored > 0) & (gap <= power.slack_h * takes.min(axis=0))
            turns |= ~tail & (gap - stored < power.slack_h * takes.max(axis=0))
        if levels is not None:
            levels[1:] += np.cumsum((power.takes * power.kept - power.falls) * hours[:, np.newaxis], axis=0)
        if tail.any():
            lasting = np.exp(-np.where(tail, power.kept / np.maximum(power.slack_h, LEAST), 0.0) * passed_h)
            share = np.where(tail, gap * (1 - lasting[-1]) / np.maximum(stored, LEAST), 1.0)  # `gap_after`
            power, taken, stored = power._replace(takes=power.takes * share), taken * share, stored * share
            if levels is not None:
                levels[1:, tail] = (levels[0] + gap * (1 - lasting))[:, tail]  # `gap_after`
        glides: Any = np.flatnonzero(~turns) if turns.any() else ALL
        self._add(stretch, glides, power, lambda each: total(hours, each)[glides], drained[glides], taken[glides],
                  stored[glides])  # fmt: skip
        return np.flatnonzero(turns)

    def _step(self, stretch: Stretch, floor: Array, who: Array, step: int, rest: Array) -> Array:
        """Move rows on to the end of a step, or to where one turns off or on or is warm; return what is left [h]."""
        there, gap, awake, power = self._now(stretch, floor, who, step)
        wanted, bend, on = power.takes * power.kept, power.takes * power.slack_h, self.on[who]
        until = np.where(power.falls * rest > there * (1 + ROUNDING), there / np.maximum(power.falls, LEAST), rest)
        dry = on & ~awake & (power.lacks > 0) & (rest > 0)
        self._empties(who[dry], (stretch.edges_h[step + 1] - rest)[dry], stretch)
        until[dry & ~self.on[who]] = 0.0
        warms = stretch.own.heats & (self.cold_h[who] > 0) & (power.offered > 0)
        warms &= power.offered >= stretch.own.heater_w[who]
        until = np.where(warms, np.minimum(until, self.cold_h[who]), until)
        turns = ~on & (wanted > 0)
        if turns.any():
            reached_h = hours_to(gap, (self.case.full_wh - floor - self.restart_wh)[who], wanted, bend)
            turns &= reached_h <= rest * (1 + ROUNDING)
            until = np.where(turns, np.minimum(until, reached_h), until)
        stored, drained = gap - gap_after(gap, until, wanted, bend), np.minimum(power.falls * until, there)
        taken = stored / np.maximum(power.kept, LEAST)
        power = power._replace(takes=taken / np.maximum(until, LEAST))
        self._add(stretch, who, power, lambda each: until * each, drained, taken, stored)
        self.cold_h[who] -= np.where(warms, until, 0.0)
        self.on[who[turns]] = True
        return rest - until

    def _add(self, stretch: Stretch, who: Any, power: Powers, energy: Callable[[Array], Array], drained: Array,
             taken: Array, stored: Array) -> None:  # fmt: skip
        """Add up what went in and out of rows [Wh]; ``energy`` makes energies of powers."""
        sums, lift = self.sums, stretch.own.lift[who]
        self.charge[who] += stored - drained
        sums.rate[who] += drained * lift - energy(power.gives)
        sums.unserved[who] += energy(power.missed)
        if stretch.flow is not None:
            direct = energy(power.direct)
            sums.direct[who] += direct
            sums.stored[who] += stored * lift
            sums.charge_loss[who] += taken - stored * lift
            if isinstance(power.idle, float):
                sums.spilled[who] += np.maximum(energy(power.offered) - direct - taken, 0) * power.idle
            else:
                sums.spilled[who] += energy(np.maximum(power.offered - power.direct - power.takes, 0) * power.idle)

    def _empties(self, who: Array, at_h: Array, stretch: Stretch) -> None:
        """Note which rows run empty when: off until their restart, and their cells take the cold of the room."""
        self.empty_h[who] = np.minimum(self.empty_h[who], at_h)
        self.on[who] &= self.restart_wh[who] <= 0
        if stretch.own.heats:
            self.cold_h[who] = self.case.warming_h[who]


def total(hours: Array, powers_w: Array) -> Array:
    """Return what powers come to in all steps, of shape (..., steps or 1, rows), or (rows,) if alike in each [Wh]."""
    if powers_w.ndim > 1 and powers_w.shape[-2] > 1:
        return np.asarray(hours @ powers_w)
    return hours.sum() * (powers_w if powers_w.ndim == 1 else powers_w[..., 0, :])
