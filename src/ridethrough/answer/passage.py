"""Rows of a battery on their way through one stretch: what goes in and out, and what happens when something turns.

Powers and energies stand on the side of the unit's route. Within a step powers are constant, and everything is exact:

    gives     = max(asked - inflow, 0)           out of the charge: what `drained_w` makes of it
    surplus   = max(inflow - asked, 0)           into it: eta min(surplus, limit), near full as `gap_after` has it

A charge below the floor that the cold makes is out of reach; the unit is empty there, and waits, where it has a
restart threshold, until it is charged up to that.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..model.battery import drained_w, gap_after, hours_to
from ..model.pattern import LEAST
from .state import Array, Fixed, Powers, State
from .stretches import Stretch

ALL = slice(None)
ROUNDING = 1e-11  # of a full charge: who asks to the last watt-hour is served


@dataclass
class Passage:
    """Some rows on their way through a stretch.

    Parameters
    ----------
    stretch : Stretch
        Its steps, for these rows.
    least : float
        As in `drained_w` [-].
    fixed, state
        These rows; the state changes as they move.
    """

    stretch: Stretch
    least: float
    fixed: Fixed
    state: State

    def move(self, levels: Array | None) -> None:
        """Move on to the end, in sums where nothing turns and by the step where it may.

        Parameters
        ----------
        levels : array of shape (steps + 1, rows), optional
            The charge before and after each step, if it is wanted: filled in from the second on [Wh].
        """
        rows, before = self._glide(levels)
        if not rows.size:
            return
        fixed = Fixed(*(each[rows] for each in self.fixed))
        part = Passage(self.stretch.part(rows), self.least, fixed, before)
        if self.stretch.flow is None:
            part._run_out()
        for step, hours in enumerate(self.stretch.duration_h if self.stretch.flow is not None else ()):
            rest = np.full(rows.size, hours)
            while rest.any():
                rest = part._step(step, rest)
            if levels is not None:
                levels[step + 1, rows] = part.state.charge
        self.state.put(rows, part.state)

    def _now(self, step: Any) -> tuple[Array, Array, Array, Powers]:
        """Return what can be given and what lacks to full [Wh], which rows give, and what goes in and out."""
        fixed, state = self.fixed, self.state
        there, gap = np.maximum(state.charge - fixed.floor_wh, 0), np.maximum(fixed.full_wh - state.charge, 0)
        awake = state.on & (there > ROUNDING * fixed.full_wh)
        return there, gap, awake, self._powers(step, awake)

    def _powers(self, step: Any, awake: Array) -> Powers:
        """Return what goes in and out in one step, or in all; ``awake`` are those that have a charge to give."""

        def of(table: Array) -> Array:
            return table[0] if len(table) == 1 else table[step]

        fixed, flow, none = self.fixed, self.stretch.flow, np.zeros(awake.size)
        asked, drained = of(self.stretch.asked_w), of(self.stretch.drained_w)
        if flow is None:
            gives, falls = _where(awake, asked), _where(awake, drained) / fixed.lift
            return Powers(none if awake.all() else asked - gives, none, asked, gives, falls, none, none, none, none)
        offered, asks = of(flow.power_w), _where(self.state.on, asked)
        net = _where(self.stretch.own.charges & (self.state.cold_h <= 0), offered) - asks
        takes = np.minimum(np.maximum(net, 0), fixed.limit_w) if net.max() > 0 else none
        lacks = np.maximum(-net, 0) if net.min() < 0 else none
        gives, falls, direct = _where(awake, lacks), none, asks - lacks
        if lacks is not none:
            part = gives / np.maximum(asked, LEAST)
            rate_w = of(self.stretch.rate_w) * part
            falls = drained_w(gives, rate_w, fixed.reference_w, fixed.exponent, self.least) / fixed.lift
            if self.stretch.cycles:
                falls = np.where(fixed.best, part * drained / fixed.lift, falls)
        missed = none if awake.all() else np.where(awake, 0.0, asked - direct - gives)
        return Powers(
            missed, direct, lacks, gives, falls, offered, of(flow.idle), takes, of(flow.efficiency) / fixed.lift
        )

    def _glide(self, levels: Array | None) -> tuple[Array, State]:
        """Move all rows to the end as if nothing turned; return those in which it may, and their state before.

        Nothing turns where what leaves the charge was there before, and what comes in has room far from where the
        charger takes less; or where it takes less from beginning to end.
        """
        fixed, state, hours = self.fixed, self.state, self.stretch.duration_h
        there, gap, awake, power = self._now(ALL)
        taken, drained, tail = total(hours, power.takes), total(hours, power.falls), np.zeros(gap.size, bool)
        stored = taken * power.kept if power.kept.ndim == 1 else total(hours, power.takes * power.kept)
        turns = drained > there + ROUNDING * fixed.full_wh
        if not awake.all():
            unknown = np.isinf(state.empty_h) & (total(hours, power.lacks) > 0)
            turns |= state.on & ~awake & (unknown | (stored > 0))
            again = state.charge + stored >= fixed.floor_wh + fixed.restart_wh - ROUNDING * fixed.full_wh
            turns |= ~state.on & (stored > 0) & again
        if self.stretch.flow is not None:
            takes = np.atleast_2d(power.takes)
            turns |= self.stretch.own.heats & (state.cold_h > 0) & (total(hours, power.offered) > 0)
            if power.kept.ndim == 1:
                tail = state.on & (stored > 0) & (gap <= fixed.slack_h * takes.min(axis=0))
            turns |= ~tail & (gap - stored < fixed.slack_h * takes.max(axis=0))
        if levels is not None:
            levels[1:] += np.cumsum((power.takes * power.kept - power.falls) * hours[:, np.newaxis], axis=0)
        if tail.any():
            passed_h = self.stretch.edges_h[1:, np.newaxis] - self.stretch.edges_h[0]
            lasting = np.exp(-np.where(tail, power.kept / np.maximum(fixed.slack_h, LEAST), 0.0) * passed_h)
            share = np.where(tail, gap * (1 - lasting[-1]) / np.maximum(stored, LEAST), 1.0)  # `gap_after`
            power, taken, stored = power._replace(takes=power.takes * share), taken * share, stored * share
            if levels is not None:
                levels[1:, tail] = (levels[0] + gap * (1 - lasting))[:, tail]  # `gap_after`
        rows = np.flatnonzero(turns)
        before = state.part(rows)
        self._add(power, lambda powers_w: total(hours, powers_w), drained, taken, stored)
        return rows, before

    def _run_out(self) -> None:
        """Move rows on that run empty where nothing flows in: down to the floor, and nothing comes after."""
        state, fixed, hours = self.state, self.fixed, self.stretch.duration_h[:, np.newaxis]
        there, columns = np.maximum(state.charge - fixed.floor_wh, 0), np.arange(state.charge.size)
        falls, asked = self.stretch.drained_w / fixed.lift * hours, self.stretch.asked_w * hours
        fallen = np.cumsum(falls, axis=0)
        at = (fallen > there).argmax(axis=0)
        beyond = np.clip((fallen[at, columns] - there) / np.maximum(falls[at, columns], LEAST), 0, 1)  # of that step
        given = np.cumsum(asked, axis=0)[at, columns] - beyond * asked[at, columns]
        self._empty(np.ones(at.size, bool), self.stretch.edges_h[at + 1] - beyond * hours[at, 0])
        state.unserved += asked.sum(axis=0) - given
        state.rate += there * fixed.lift - given
        state.charge -= there

    def _step(self, step: int, rest: Array) -> Array:
        """Move on to the end of a step, or to where a row turns off or on or is warm; return what is left [h]."""
        fixed, state, stretch = self.fixed, self.state, self.stretch
        there, gap, awake, power = self._now(step)
        wanted, bend, on = power.takes * power.kept, power.takes * fixed.slack_h, state.on.copy()
        until = np.where(power.falls * rest > there * (1 + ROUNDING), there / np.maximum(power.falls, LEAST), rest)
        self._empty(on & ~awake & (power.lacks > 0) & (rest > 0), stretch.edges_h[step + 1] - rest)
        until[on & ~state.on] = 0.0
        if stretch.own.heats:
            warms = (state.cold_h > 0) & (power.offered > 0) & (power.offered >= fixed.heater_w)
            until = np.where(warms, np.minimum(until, state.cold_h), until)
            state.cold_h -= np.where(warms, until, 0.0)
        turns = ~on & (wanted > 0)
        if turns.any():
            reached_h = hours_to(gap, fixed.full_wh - fixed.floor_wh - fixed.restart_wh, wanted, bend)
            turns &= reached_h <= rest * (1 + ROUNDING)
            until = np.where(turns, np.minimum(until, reached_h), until)
            state.on |= turns
        stored, drained = gap - gap_after(gap, until, wanted, bend), np.minimum(power.falls * until, there)
        taken = stored / np.maximum(power.kept, LEAST)
        power = power._replace(takes=taken / np.maximum(until, LEAST))
        self._add(power, lambda powers_w: until * powers_w, drained, taken, stored)
        return rest - until

    def _empty(self, dry: Array, at_h: Array) -> None:
        """Note which rows run empty when: off until their restart, and their cells take the cold of the room."""
        state = self.state
        state.empty_h = np.where(dry, np.minimum(state.empty_h, at_h), state.empty_h)
        state.on &= ~dry | (self.fixed.restart_wh <= 0)
        if self.stretch.own.heats:
            state.cold_h = np.where(dry, self.fixed.warming_h, state.cold_h)

    def _add(self, power: Powers, energy: Callable[[Array], Array], drained: Array, taken: Array,
             stored: Array) -> None:  # fmt: skip
        """Add up what went in and out [Wh]; ``energy`` makes energies of powers."""
        state, came = self.state, stored * self.fixed.lift
        state.charge += stored - drained
        state.rate += drained * self.fixed.lift - energy(power.gives)
        state.unserved += energy(power.missed)
        if self.stretch.flow is None:
            return
        direct = energy(power.direct)
        state.direct += direct
        state.stored += came
        state.charge_loss += taken - came
        if power.idle.ndim == 1:
            state.spilled += np.maximum(energy(power.offered) - direct - taken, 0) * power.idle
        else:
            state.spilled += energy(np.maximum(power.offered - power.direct - power.takes, 0) * power.idle)


def total(hours: Array, powers_w: Array) -> Array:
    """Return what powers come to in all steps, of shape (..., steps or 1, rows), or (rows,) if alike in each [Wh]."""
    if powers_w.ndim > 1 and powers_w.shape[-2] > 1:
        return np.asarray(hours @ powers_w)
    return hours.sum() * (powers_w if powers_w.ndim == 1 else powers_w[..., 0, :])


def _where(mask: Array, power: Array) -> Array:
    """Return a power in the rows that have it, else 0."""
    return power if mask.all() else np.where(mask, power, 0.0)
