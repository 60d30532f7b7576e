"""An outage cut into stretches: steps of constant power, all draws at once, in which nothing else changes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from ..model.battery import Rate, asked_w, drained_of_cycles_w, drained_w
from ..model.pattern import DAY_H
from ..sources import lookup
from .case import Case, Own

AT_ONCE = 100_000  # numbers handled by one NumPy call: few enough to stay in a processor's cache
MOMENT_H = 1e-5  # what lies closer together is one moment
AT_HAND = 30_000_000  # bytes: once a block of this size was freed, the C library keeps smaller ones at hand, and
np.empty(AT_HAND, np.int8)  # what goes through time by large blocks takes half as long


class Flow(NamedTuple):
    """What flows back in, on the side of the route.

    Parameters
    ----------
    power_w, efficiency : arrays of shape (steps, rows)
        All sources together [W], and what of a surplus is stored [-]; one row of it where that is alike in all steps.
    idle : array of shape (steps, rows)
        Share that comes whether it is taken or not, as the sun's does and the mains' does not [-]; alike.
    carries, runs : arrays of shape (steps, 1 or rows)
        Whether the load hangs on it, and whether a generator runs.
    made_w : array of shape (steps, rows)
        What of the power is a generator's [W]; alike.
    """

    power_w: np.ndarray
    efficiency: np.ndarray
    idle: np.ndarray
    carries: np.ndarray
    runs: np.ndarray
    made_w: np.ndarray


class Stretch(NamedTuple):
    """Some steps of constant power in which nothing else changes.

    Parameters
    ----------
    edges_h : array of shape (steps + 1,)
        The moments between which its steps lie [h].
    powers_w : array of shape (appliances, steps, rows)
        What each appliance draws [W]; here and below one row where something flows in and the load is alike in all.
    asked_w, drained_w : arrays of shape (steps, rows)
        What load and unit ask together, and what leaves the charge where the battery gives all of it [W].
    rate_w : array of shape (steps, rows)
        The power that decides what a fast discharge costs [W].
    cycles : bool
        Whether the best estimate's load runs a little in each step.
    own : Own
        What the unit is and takes meanwhile.
    flow : Flow or None
        What flows back in.
    """

    edges_h: np.ndarray
    powers_w: np.ndarray
    asked_w: np.ndarray
    drained_w: np.ndarray
    rate_w: np.ndarray
    cycles: bool
    own: Own
    flow: Flow | None

    @property
    def duration_h(self) -> np.ndarray:
        """How long its steps are [h]."""
        return np.diff(self.edges_h)

    def part(self, who: np.ndarray) -> Stretch:
        """Return it for some rows, without what each appliance draws."""
        flow = self.flow
        if flow is not None:
            flow = flow._replace(**{name: getattr(flow, name)[:, who] for name in ("power_w", "efficiency", "idle")})
        tables = {name: getattr(self, name)[:, who] for name in ("asked_w", "drained_w", "rate_w")}
        return self._replace(powers_w=np.zeros(0), flow=flow, **tables)


Stopped = Callable[[bool], np.ndarray]


def stretches(case: Case, begin_h: float, end_h: float, stopped: Stopped | None = None) -> Iterator[Stretch]:
    """Yield what happens from one moment to another, both counted from the beginning of the outage [h].

    Parameters
    ----------
    case, begin_h, end_h
        Of what, from when, and until when [h].
    stopped : callable, optional
        Told whether a generator's window is open that runs until the unit is full, says in which rows it is by now.
    """
    most = max(1, AT_ONCE // case.rows)
    for day in range(int(begin_h // DAY_H), int(np.ceil(end_h / DAY_H))):
        low, high = max(begin_h, day * DAY_H), min(end_h, (day + 1) * DAY_H)
        loads = _moments([*_load_cuts(case, low, high)], low, high)
        more = np.concatenate([np.append(source.edges_h, case.told_h) for source in case.sources] or [loads])
        more = more[(more > low) & (more < high)]
        near = loads[np.argmin(np.abs(np.subtract.outer(more, loads)), axis=1)]  # a load's moment stays what it is
        edges = _moments([loads, more[np.abs(more - near) > MOMENT_H]], low, high)
        for at, until in pairwise(_breaks(case, edges)):
            for first in range(at, until, most):
                yield _stretch(case, edges[first : min(first + most, until) + 1], loads, stopped)


def _load_cuts(case: Case, low: float, high: float) -> Iterator[np.ndarray]:
    """Yield the moments at which a load, its day or a room changes [h]."""
    grids = [power.block_h for power in case.powers if power.block_h]
    grids += [lookup("step of a ride").value / 60] if any(p.offset is not None for p in case.powers) else []
    for step in grids + [1.0] * case.outage.changes:
        yield step * np.arange(np.floor(low / step) + 1, np.ceil(high / step))
    yield case.outage.cuts_h(low, high)
    for power in case.powers:
        yield power.cuts_h(low, high)


def _moments(cuts: list[np.ndarray], low: float, high: float) -> np.ndarray:
    """Return the moments of a day in order, its ends included, none twice [h]."""
    inner = np.unique(np.concatenate([*cuts, [low]]))
    inner = inner[(inner > low + MOMENT_H) & (inner < high - MOMENT_H)]
    return np.concatenate([[low], inner[np.diff(inner, prepend=low) > MOMENT_H], [high]])


def _breaks(case: Case, edges: np.ndarray) -> np.ndarray:
    """Return which edges begin a stretch of their own, the last one included: their indices."""
    new = np.zeros(edges.size, bool)
    new[[0, -1]] = True
    for block_h in {power.block_h for power in case.powers if power.block_h}:
        new |= np.isclose(np.round(edges / block_h), edges / block_h)
    for source in case.sources:
        turns = np.diff(source.power_w > 0) | source.recharge.until_full
        new |= np.isin(edges, source.edges_h[1:-1][turns])
    for cut in case.outage.cuts_h(edges[0], edges[-1]):
        new[np.argmin(np.abs(edges - cut))] = True
    if case.outage.unit_at is not None and case.outage.unit_at.changes:
        new |= np.isclose(edges, np.round(edges))
    return np.flatnonzero(new)


def _stretch(case: Case, edges: np.ndarray, loads: np.ndarray, stopped: Stopped | None) -> Stretch:
    """Return the steps between these moments; between those of ``loads`` nothing changes but what flows in."""
    middles, own = (edges[:-1] + edges[1:]) / 2, case.own_at(float((edges[0] + edges[1]) / 2))
    _, first, same = np.unique(np.searchsorted(loads, middles), return_index=True, return_inverse=True)
    drawn = [power.at(middles[first], on=own.on) for power in case.powers]
    powers_w = np.stack([mean for mean, _ in drawn])
    total_w, variance_w2 = powers_w.sum(axis=0), sum(variance for _, variance in drawn)
    _, b, c = case.takes
    asked = asked_w(total_w, variance_w2, own.own_w, b, c)
    mean_w = asked_w(case.mean_w, case.load.variance_w2, own.own_w, b, c)
    rate_w = asked + (1 - case.moment) * (mean_w - asked)
    drained, cycles = drained_w(asked, rate_w, *case.rate), bool(np.any(variance_w2))
    if cycles:  # a draw's load runs in some of its steps, the best estimate's a little in each
        reference, exponent, *best = (np.ravel(each)[:1] for each in (*case.rate[:2], own.own_w, b, c))
        rate = Rate(reference, exponent, case.rate.least)
        variance = np.broadcast_to(variance_w2, asked.shape)[:, 0]
        drained[:, 0] = drained_of_cycles_w(total_w[:, 0], variance, (best[0], best[1], best[2]), rate)
    flow = _flow(case, middles, total_w[same], stopped)
    carries = flow is not None and bool(flow.carries.any())
    if first.size < middles.size and (first.size > 1 or flow is None or carries):
        powers_w, asked, drained, rate_w = powers_w[:, same], asked[same], drained[same], rate_w[same]
    if flow is not None and carries:
        asked, drained = np.where(flow.carries, 0, asked), np.where(flow.carries, 0, drained)
    return Stretch(edges, powers_w, asked, drained, rate_w, cycles, own, flow)


def _flow(case: Case, middles: np.ndarray, load_w: np.ndarray, stopped: Stopped | None) -> Flow | None:
    """Return what flows back in at these moments beside a load [W]; None where nothing does."""
    comes: list[tuple[np.ndarray, np.ndarray, float]] = []
    carries = runs = np.zeros((middles.size, 1), bool)
    made_w = np.zeros((1, case.rows))
    for source in case.sources:
        now, kind = source.pattern_w(middles)[:, np.newaxis] > 0, source.recharge
        if kind.until_full and stopped is not None:
            now = now & ~stopped(bool(now.any()))
        if kind.most is not None and (over := load_w > kind.most.m_as("W")).any():  # it trips
            now = now & ~over
        if not now.any():
            continue
        power_w, carries = source.at(middles) * now, carries | (now & kind.carries)
        if kind.most is not None:  # the load goes first
            power_w = np.minimum(power_w, np.maximum(kind.most.m_as("W") - load_w, 0) * case.inflow)
        if kind is case.outage.generator:
            runs, made_w = now, power_w
        comes.append((power_w, source.efficiency, float(not kind.carries)))
    if not comes:
        return None
    if len(comes) == 1:
        ((power_w, stored, idle),) = comes
        return Flow(power_w, stored[np.newaxis], np.full((1, case.rows), idle), carries, runs, made_w)
    total = sum((power_w for power_w, *_ in comes[1:]), comes[0][0])
    over = np.where(total > 0, total, 1)
    kept, spare = (sum(each[0] * each[which] for each in comes) / over for which in (1, 2))
    return Flow(total, kept, spare, carries, runs, made_w)
