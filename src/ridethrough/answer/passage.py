"""Rows of a battery on their way through one stretch: what goes in and out, and what happens when something turns.

Powers and energies stand on the side of the unit's route. Within a step powers are constant, and everything is exact:

    gives     = max(asked - inflow, 0)           out of the charge: what `drained_w` makes of it
    surplus   = max(inflow - asked, 0)           into it: eta min(surplus, limit), near full as `gap_after` has it

A charge below the floor that the cold makes is out of reach; the unit is empty there, and waits, where it has a
restart threshold, until it is charged up to that.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..model.battery import drained_w, gap_after, hours_to
from ..model.pattern import LEAST
from .case import Case
from .stretches import MOMENT_H, Stretch

Array = np.ndarray
ROUNDING = 1e-11  # of a full charge: who asks to the last watt-hour is served


class State:
    """What changes on the way, arrays of shape (rows,); sums over the outage [Wh].

    Parameters
    ----------
    charge : array
        Charge, what is out of reach included [Wh].
    appliances : int
        How many are plugged in [-].

    Attributes
    ----------
    on, full : arrays
        Whether the unit is on, and whether a generator that runs until it is full has stopped.
    empty_h, cold_h : array
        When it ran empty first, inf for never; how long cells must still be warmed until they take charge [h].
    rate : array
        What left the battery beyond what it gave, as it was asked fast.
    unserved : array
        What of all that was asked did not come.
    direct, stored, charge_loss, spilled : array
        What flowed in: straight to the load, into the battery, lost on the way there, and without room.
    kept_back : array
        What cells that became colder or warmer took or gave, and what went to fill a charge up to its floor.
    asked, own, heater : array
        All that was asked, what the unit took for itself, its heater's included, and the heater's alone.
    ran, made : array
        How long a generator ran [h], and what it made, at its own outlet.
    loads : array of shape (appliances, rows)
        What each appliance asked of the unit.
    """

    def __init__(self, charge: Array, appliances: int) -> None:
        self.charge, self.empty_h = charge, np.full(charge.size, np.inf)
        self.on, self.full = np.full(charge.size, True), np.full(charge.size, False)
        none = np.zeros(charge.size)
        self.cold_h, self.rate, self.unserved, self.direct = none, none.copy(), none.copy(), none.copy()
        self.stored, self.charge_loss, self.spilled = none.copy(), none.copy(), none.copy()
        self.kept_back, self.asked, self.own = none.copy(), none.copy(), none.copy()
        self.heater, self.ran, self.made = none.copy(), none.copy(), none.copy()
        self.loads = np.zeros((appliances, charge.size))


class Powers(NamedTuple):
    """What goes in and out while nothing turns, arrays of shape (steps, kinds of load or 1, rows).

    Parameters
    ----------
    direct, lacks, falls : array
        What of that asked flows in, what does not, and what leaves the charge where the battery gives that [W].
    spare, idle : array
        What flows in beside the load [W], and the share of it that comes whether it is taken or not [-].
    takes, kept : array
        What of a surplus a charger takes that is far from full [W], and the share of it that comes into the charge [-].
    """

    direct: Array
    lacks: Array
    falls: Array
    spare: Array
    idle: Array
    takes: Array
    kept: Array


@dataclass
class Passage:
    """All rows on their way through a stretch.

    Parameters
    ----------
    case, stretch, state
        Of what, through what, and what changes as they move.
    floor_wh, restart_wh : arrays of shape (rows,)
        Charge below which none is given, and above that from which an empty unit turns on again [Wh].
    """

    case: Case
    stretch: Stretch
    state: State
    floor_wh: Array
    restart_wh: Array

    def move(self, told_h: Array) -> Array:
        """Move on to the end; return the charge at moments, each an end of a step where anything flows in [Wh].

        Rows in which nothing turns go in sums: what leaves the charge was there before, and what comes in has room
        far from where the charger takes less. The others go by the step.
        """
        state, full, stretch, power = self.state, self.case.full_wh, self.stretch, self._powers()
        hours, slight = stretch.weights(stretch.duration_h), ROUNDING * full
        there, gap = np.maximum(state.charge - self.floor_wh, 0), np.maximum(full - state.charge, 0)
        awake, stores = state.on & (there > slight), power.takes * power.kept
        direct, lacks, falls, taken, stored = (
            total(hours, each) for each in (power.direct, power.lacks, power.falls, power.takes, stores)
        )
        spilled = total(hours, (power.spare - power.takes) * power.idle)
        passed = stretch.weights(np.clip(told_h[:, np.newaxis] - stretch.edges_h[:-1], 0, stretch.duration_h))
        levels = state.charge + total(passed, stores) - awake * total(passed, power.falls)
        levels = np.maximum(levels, np.minimum(state.charge, self.floor_wh))
        turns = awake & (falls > there + slight) | (gap - stored < stretch.flow.slack_h * power.takes.max(axis=0))
        waits = np.isinf(state.empty_h) | (self.restart_wh > 0)
        turns |= state.on & ~awake & (waits & (lacks > 0) | (stored > 0))
        turns |= ~state.on & (stored > 0) & (gap - stored <= full - self.floor_wh - self.restart_wh + slight)
        if stretch.own.heats:
            turns |= (state.cold_h > 0) & self._warms.any(axis=0)
        rows, sums = np.flatnonzero(turns), np.stack([direct, awake * lacks, awake * falls, taken, stored, spilled])
        if rows.size:
            sums[:, rows], levels[:, rows] = self._follow(rows, gap[rows], power, told_h, levels[:, rows])
        self._add(hours, *sums)
        return levels

    @property
    def _warms(self) -> Array:
        """Whether cold cells are warmed by what flows in, of shape (steps or 1, rows)."""
        offered_w, own = self.stretch.flow.power_w, self.stretch.own
        return (offered_w > 0) & (offered_w >= own.heater_w)

    @property
    def _asked_w(self) -> Array:
        """What is asked of the unit in each step while it is on [W]."""
        asked_w, carries = self.stretch.asked_w, self.stretch.flow.carries
        return np.where(carries, 0.0, asked_w) if carries.any() else asked_w

    def _powers(self) -> Powers:
        """Return what goes in and out while each row stays on or off, warm or cold, as it is."""
        stretch, flow, state, rate = self.stretch, self.stretch.flow, self.state, self.case.rate
        asks = _where(state.on, self._asked_w)
        direct = spare = takes = flow.power_w
        if flow.comes:
            comes = _where(stretch.own.charges & (state.cold_h <= 0), flow.power_w)
            direct = np.minimum(comes, asks)
            spare, takes = flow.power_w - direct, np.minimum(comes - direct, flow.limit_w)
        falls = lacks = asks - direct
        if stretch.rate_w is not None or stretch.cycles:
            part = lacks / np.maximum(asks, LEAST)
            if stretch.rate_w is not None:
                falls = drained_w(lacks, stretch.rate_w * part, *rate)
            if stretch.cycles:
                falls = np.array(falls)
                falls[:, 0] = (part * stretch.drained_w)[:, 0]
        lift = stretch.own.lift
        falls = falls / lift if (lift != 1).any() else falls
        return Powers(direct, lacks, falls, spare, flow.idle, takes, flow.efficiency / lift)

    def _follow(self, rows: Array, gap: Array, power: Powers, told_h: Array, levels: Array) -> tuple[Array, Array]:
        """Move rows on by the step, each to where it turns off or on or is warm, and on from there."""
        stretch, full = self.stretch, self.case.full_wh[rows]
        ends, begun_h = stretch.edges_h[1:, np.newaxis], np.full(rows.size, -np.inf)
        hours, sums = np.repeat(np.diff(stretch.edges_h)[:, np.newaxis], rows.size, axis=1), np.zeros((1, rows.size))
        at = np.searchsorted(stretch.edges_h, told_h - MOMENT_H)
        while hours.any():
            now = Powers(*(stretch.by_step(each[:, rows]) for each in power))
            gaps, given = self._by_step(rows, gap, hours, now)
            turn_h = self._turn(rows, gaps, given, hours, now)
            passed = hours
            if np.isfinite(turn_h).any():
                passed = np.clip(turn_h - (ends - hours), 0, hours)
                gaps, given = self._by_step(rows, gap, passed, now)
            gained = gaps[:-1] - gaps[1:]
            stored, drained = np.maximum(gained, 0), np.maximum(-gained, 0)
            taken = stored / np.maximum(now.kept, LEAST)
            spilled = np.maximum(passed * now.spare - taken, 0) * now.idle
            parts = (passed * now.direct, passed * now.lacks * given, drained, taken, stored, spilled)
            sums = sums + np.stack([each.sum(axis=0) for each in parts])
            if stretch.flow.comes:
                levels = np.where(told_h[:, np.newaxis] > begun_h, full - gaps[at], levels)
            hours, gap, begun_h = hours - passed, gaps[-1], turn_h
            if hours.any():
                power = self._powers()
        return sums, levels

    def _by_step(self, rows: Array, gap: Array, hours: Array, now: Powers) -> tuple[Array, Array]:
        """Return what is missing to full before and after each step [Wh], and what of that lacking is given [-]."""
        full, floor, falls = self.case.full_wh[rows], self.floor_wh[rows], hours * now.falls
        energy = hours * now.takes * now.kept - falls
        gaps, most = np.empty((len(energy) + 1, rows.size)), full - floor
        gaps[0] = gap
        if not self.stretch.flow.comes:
            gaps[1:] = np.minimum(gap - np.cumsum(energy, axis=0), np.maximum(gap, most))
        else:
            bends = np.broadcast_to(now.takes * self.stretch.flow.slack_h[rows], energy.shape)
            for step, (stored, bend) in enumerate(zip(energy, bends, strict=True)):
                after = gap_after(gaps[step], stored, bend)
                gaps[step + 1] = np.minimum(after, np.maximum(gaps[step], most))
        drained = np.maximum(gaps[1:] - gaps[:-1], 0)
        dry = falls - drained > ROUNDING * full
        return gaps, np.where(dry, drained / np.maximum(falls, LEAST), 1.0) if dry.any() else np.ones((1, rows.size))

    def _turn(self, rows: Array, gaps: Array, given: Array, hours: Array, now: Powers) -> Array:
        """Note what runs empty, and turn what turns first; return when each row does so, inf for never [h]."""
        state, own, ends = self.state, self.stretch.own, self.stretch.edges_h[1:, np.newaxis]
        dry, dry_h, never = given < 1, ends - (1 - given) * hours, np.full(rows.size, np.inf)
        restart_wh, cold_h, on, empty_h = self.restart_wh[rows], state.cold_h[rows], state.on[rows], state.empty_h[rows]
        if not dry.any() and on.all() and not own.heats:
            return never
        out_h = _first(dry & ((restart_wh > 0) | own.heats & ((given > ROUNDING) | np.isinf(empty_h))), dry_h)
        on_h = warm_h = never
        if not on.all():
            aim, stores = (self.case.full_wh - self.floor_wh)[rows] - restart_wh, now.takes * now.kept
            reached_h = hours_to(gaps[:-1], aim, stores, now.takes * self.stretch.flow.slack_h[rows])
            reached = ~on & (stores > 0) & (gaps[1:] <= aim + ROUNDING * self.case.full_wh[rows])
            on_h = _first(reached, ends - hours + np.minimum(reached_h, hours))
        if own.heats:
            warms = self._warms[:, rows]
            warmed_h = np.cumsum(hours * warms, axis=0)
            warm_h = _first(warms & (cold_h > 0) & (warmed_h >= cold_h), ends - (warmed_h - cold_h))
        turn_h = np.minimum(np.minimum(out_h, on_h), warm_h)
        first_h = _first(dry, dry_h)
        state.empty_h[rows] = np.where(first_h <= turn_h, np.minimum(empty_h, first_h), empty_h)
        out, again, warm = (np.isfinite(turn_h) & (each_h == turn_h) for each_h in (out_h, on_h, warm_h))
        state.on[rows] = (on | again) & ~(out & (restart_wh > 0))
        if own.heats:
            warmed_h = (np.clip(turn_h - (ends - hours), 0, hours) * warms).sum(axis=0)
            left_h = np.where(warm, 0.0, np.maximum(cold_h - warmed_h, 0))
            state.cold_h[rows] = np.where(out, self.case.warming_h[rows], left_h)
        return turn_h

    def _add(self, hours: Array, direct: Array, given: Array, drained: Array, taken: Array, stored: Array,
             spilled: Array) -> None:  # fmt: skip
        """Add up what was asked while nothing else carried it, what went in and out, and what a generator made."""
        state, stretch, own, flow = self.state, self.stretch, self.stretch.own, self.stretch.flow
        asked, came = total(hours, self._asked_w), stored * own.lift
        missed = asked - direct - given
        state.charge += stored - drained
        state.rate += drained * own.lift - given
        state.asked += asked
        state.unserved += np.where(missed > ROUNDING * self.case.full_wh, missed, 0.0)
        state.direct += direct
        state.stored += came
        state.charge_loss += taken - came
        state.spilled += spilled
        alone, powers_w = ~flow.carries * 1.0, stretch.powers_w
        state.loads += total(hours, powers_w * alone)
        state.own += total(hours, own.own_w * alone)
        state.heater += total(hours, own.heater_w * alone)
        if flow.runs.any():
            share = total(hours, flow.made_w) / np.maximum(total(hours, flow.power_w), LEAST)
            carried = total(hours, flow.runs * (powers_w.sum(axis=0) + own.own_w / self.case.inflow))
            state.made += carried + share * taken / self.case.inflow
            state.ran += total(hours, flow.runs * np.ones(self.case.rows))


def total(hours: Array, powers_w: Array) -> Array:
    """Return what powers come to in all steps, of shape (..., steps or 1, rows) [Wh]."""
    if powers_w.shape[-2] > 1:
        return np.asarray(hours @ powers_w)
    return hours.sum(axis=-1)[..., np.newaxis] * powers_w[..., 0, :]


def _first(when: Array, time_h: Array) -> Array:
    """Return the first of the moments of each row at which something holds, inf where it never does [h]."""
    return np.asarray(np.where(when, time_h, np.inf).min(axis=0))


def _where(mask: Array, power: Array) -> Array:
    """Return a power in the rows that have it, else 0."""
    return power if mask.all() else np.where(mask, power, 0.0)
