"""An outage cut into stretches: steps of constant power, all draws at once, in which nothing else changes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from ..model.battery import Rate, asked_w, drained_of_cycles_w, drained_w
from ..model.pattern import DAY_H
from .case import Case, Own

AT_ONCE = 100_000  # numbers handled by one NumPy call: few enough to stay in a processor's cache
MOMENT_H = 1e-5  # what lies closer together is one moment
AT_HAND = 30_000_000  # bytes: once a block of this size was freed, the C library keeps smaller ones at hand, and
np.empty(AT_HAND, np.int8)  # what goes through time by large blocks takes half as long


class Flow(NamedTuple):
    """What flows back in, on the side of the route; "steps" may be 1, and "rows" too, where it is alike in all.

    Parameters
    ----------
    power_w, efficiency : arrays of shape (steps, rows)
        All sources together [W], and what of a surplus is stored [-].
    idle : array of shape (steps, rows)
        Share that comes whether it is taken or not, as the sun's does and the mains' does not [-].
    carries, runs : arrays of shape (steps, rows)
        Whether the load hangs on it, and whether a generator runs.
    made_w : array of shape (steps, rows)
        What of the power is a generator's [W].
    limit_w, slack_h : arrays of shape (rows,)
        The most that a charger takes [W], and the gap to full within which it takes less, over what it takes [h].
    comes : bool
        Whether anything does.
    """

    power_w: np.ndarray
    efficiency: np.ndarray
    idle: np.ndarray
    carries: np.ndarray
    runs: np.ndarray
    made_w: np.ndarray
    limit_w: np.ndarray
    slack_h: np.ndarray
    comes: bool = True


class Stretch(NamedTuple):
    """Some steps of constant power in which nothing else changes.

    What is told of kinds of steps may have one for all; where anything flows in each step is a kind of its own.

    Parameters
    ----------
    edges_h : array of shape (steps + 1,)
        The moments between which its steps lie [h].
    kind : array of shape (steps,)
        Of which kind each step is.
    powers_w : array of shape (appliances, kinds, rows)
        What each appliance draws [W].
    asked_w, drained_w : arrays of shape (kinds, rows)
        What load and unit ask together, and what leaves the charge where the battery gives all of it [W].
    rate_w : array of shape (kinds, rows) or None
        The power that decides what a fast discharge costs [W]; None where nothing is asked so fast that it costs more.
    cycles : bool
        Whether the best estimate's load runs a little in each step.
    own : Own
        What the unit is and takes meanwhile.
    flow : Flow
        What flows back in.
    """

    edges_h: np.ndarray
    kind: np.ndarray
    powers_w: np.ndarray
    asked_w: np.ndarray
    drained_w: np.ndarray
    rate_w: np.ndarray | None
    cycles: bool
    own: Own
    flow: Flow

    @property
    def duration_h(self) -> np.ndarray:
        """How long its steps are [h]."""
        return np.diff(self.edges_h)

    def weights(self, hours: np.ndarray) -> np.ndarray:
        """Return how much of some hours in each step, of shape (..., steps), is of each kind [h]."""
        return hours @ np.equal.outer(self.kind, np.arange(self.kind.max() + 1))

    def by_step(self, table: np.ndarray) -> np.ndarray:
        """Return by the step what is told of kinds, unless it is alike in all."""
        return table if len(table) == 1 or self.flow.comes else table[self.kind]


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
    for day in range(int(begin_h // DAY_H), int(np.ceil(end_h / DAY_H))):
        edges = _edges(case, max(begin_h, day * DAY_H), min(end_h, (day + 1) * DAY_H))
        middles = (edges[:-1] + edges[1:]) / 2
        loads = [power.kinds(middles) for power in case.powers]
        loads += [] if case.outage.room is None else [case.outage.room.at(middles)]
        kinds = np.unique(np.stack(loads), axis=1, return_inverse=True)[1].ravel()
        for first, last in _pieces(case, middles):
            yield _stretch(case, edges[first : last + 1], kinds[first:last], stopped)


def _edges(case: Case, low: float, high: float) -> np.ndarray:
    """Return the moments of a day at which anything changes or is told, its ends included, none twice [h]."""
    cuts = [power.cuts_h(low, high) for power in case.powers] + [case.outage.cuts_h(low, high)]
    if case.outage.changes:
        cuts.append(np.arange(np.floor(low) + 1, np.ceil(high)))
    loads = _moments(cuts, low, high)
    more = np.concatenate([np.append(source.edges_h, case.told_h) for source in case.sources] or [loads])
    more = more[(more > low) & (more < high)]
    near = loads[np.argmin(np.abs(np.subtract.outer(more, loads)), axis=1)]  # a load's moment stays what it is
    return _moments([loads, more[np.abs(more - near) > MOMENT_H]], low, high)


def _moments(cuts: list[np.ndarray], low: float, high: float) -> np.ndarray:
    """Return the moments of a day in order, its ends included, none twice [h]."""
    inner = np.unique(np.concatenate([*cuts, [low]]))
    inner = inner[(inner > low + MOMENT_H) & (inner < high - MOMENT_H)]
    return np.concatenate([[low], inner[np.diff(inner, prepend=low) > MOMENT_H], [high]])


def _pieces(case: Case, middles: np.ndarray) -> Iterator[tuple[int, int]]:
    """Yield which steps of a day make a stretch, first and last + 1: the same sources, and cells as warm all along."""
    flows = [source.pattern_w(middles) > 0 for source in case.sources]
    marks = [*flows, case.outage.powered(middles)]
    marks += [np.searchsorted(each.edges_h, middles) for each in case.sources if each.recharge.until_full]
    marks += [] if case.outage.unit_at is None else [case.outage.unit_at.at(middles)]
    new = np.flatnonzero(np.diff(np.stack(marks)).any(axis=0)) + 1
    for at, until in pairwise([0, *new, middles.size]):
        most = max(1, AT_ONCE // case.rows) if any(flow[at] for flow in flows) else until - at
        for first in range(at, until, most):
            yield first, min(first + most, until)


def _stretch(case: Case, edges: np.ndarray, kinds: np.ndarray, stopped: Stopped | None) -> Stretch:
    """Return the steps between these moments, where those of one kind of load are alike but for what flows in."""
    middles, own = (edges[:-1] + edges[1:]) / 2, case.own_at(float((edges[0] + edges[1]) / 2))
    _, first, kind = np.unique(kinds, return_index=True, return_inverse=True)
    drawn = [power.at(middles[first]) for power in case.powers]
    powers_w = own.on * np.stack([mean for mean, _ in drawn])
    total_w, variance_w2 = powers_w.sum(axis=0), own.on * sum(variance for _, variance in drawn)
    _, b, c = case.takes
    asked = asked_w(total_w, variance_w2, own.own_w, b, c)
    mean_w = asked_w(case.mean_w, case.load.variance_w2, own.own_w, b, c)
    rate_w = asked + (1 - case.moment) * (mean_w - asked)
    drained, cycles = drained_w(asked, rate_w, *case.rate), bool(np.any(variance_w2))
    fast = drained is not asked
    if cycles:  # a draw's load runs in some of its steps, the best estimate's a little in each
        reference, exponent, *best = (np.ravel(each)[:1] for each in (*case.rate[:2], own.own_w, b, c))
        rate = Rate(reference, exponent, case.rate.least)
        variance, drained = np.broadcast_to(variance_w2, asked.shape)[:, 0], np.array(drained)
        drained[:, 0] = drained_of_cycles_w(total_w[:, 0], variance, (best[0], best[1], best[2]), rate)
    flow = _flow(case, middles, total_w, kind, stopped)
    if flow.comes:
        if first.size > 1:
            powers_w, asked, drained, rate_w = powers_w[:, kind], asked[kind], drained[kind], rate_w[kind]
        kind = np.arange(middles.size)
    return Stretch(edges, kind, powers_w, asked, drained, rate_w if fast else None, cycles, own, flow)


def _flow(case: Case, middles: np.ndarray, load_w: np.ndarray, kind: np.ndarray, stopped: Stopped | None) -> Flow:
    """Return what flows back in at these moments beside a load of these kinds [W]."""
    comes: list[tuple[np.ndarray, np.ndarray, float]] = []
    none, carries = np.zeros((1, case.rows)), np.zeros((1, 1), bool)
    runs, made_w = carries, none
    for source in case.sources:
        now, recharge = source.pattern_w(middles[:1, np.newaxis]) > 0, source.recharge  # alike in a stretch
        if recharge.until_full and stopped is not None:
            now = now & ~stopped(bool(now.any()))
        if not now.any():
            continue
        power_w = source.at(middles)
        if recharge.most is not None:  # the load goes first, and where it is too large it trips
            spare_w = recharge.most.m_as("W") - load_w[kind]
            now = now & (spare_w >= 0)
            power_w = np.minimum(power_w, np.maximum(spare_w, 0) * case.inflow) * now
        carries = carries | (now & recharge.carries)
        if recharge is case.outage.generator:
            runs, made_w = now, power_w
        comes.append((power_w, source.efficiency, float(not recharge.carries)))
    if not comes:
        return Flow(none, none, none, carries, runs, made_w, none[0], none[0], False)
    total, stored, idle = comes[0][0], comes[0][1][np.newaxis], none + comes[0][2]
    if len(comes) > 1:
        total = sum((power_w for power_w, *_ in comes[1:]), total)
        over = np.where(total > 0, total, 1)
        stored, idle = (sum(each[0] * each[which] for each in comes) / over for which in (1, 2))
    return Flow(total, stored, idle, carries, runs, made_w, case.limit_w, case.slack_h)
