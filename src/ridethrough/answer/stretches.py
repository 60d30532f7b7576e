"""An outage cut into stretches: steps of constant power, all draws at once, in which nothing else changes."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from ..model.inverter import asked_w
from ..model.pattern import DAY_H
from ..sources import lookup

if TYPE_CHECKING:
    from .case import Case

AT_ONCE = 100_000  # numbers handled by one NumPy call: few enough to stay in a processor's cache
MOMENT_H = 1e-5  # what lies closer together is one moment


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
    """

    own_w: np.ndarray
    heater_w: np.ndarray
    cold: np.ndarray
    floor_wh: np.ndarray
    lift: np.ndarray
    charges: bool
    heats: bool


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
    own : Own
        What the unit is and takes meanwhile.
    flow : Flow or None
        What flows back in.
    """

    begin_h: float
    duration_h: np.ndarray
    powers_w: np.ndarray
    asked_w: np.ndarray
    running_w: np.ndarray
    own: Own
    flow: Flow | None


def stretches(case: Case, begin_h: float, end_h: float) -> Iterator[Stretch]:
    """Yield what happens from one moment to another, both counted from the beginning of the outage [h]."""
    most = max(1, AT_ONCE // case.rows)
    for day in range(int(begin_h // DAY_H), int(np.ceil(end_h / DAY_H))):
        edges = _edges(case, max(begin_h, day * DAY_H), min(end_h, (day + 1) * DAY_H))
        breaks = _breaks(case, edges)
        for at, until in pairwise(breaks):
            for first in range(at, until, most):
                yield _stretch(case, edges[first : min(first + most, until) + 1])


def _edges(case: Case, low: float, high: float) -> np.ndarray:
    """Return the moments of a day at which something changes, its ends included [h]."""
    grids = [power.block_h for power in case.powers if power.block_h]
    grids += [lookup("step of a ride").value / 60] if any(p.offset is not None for p in case.powers) else []
    grids += [1.0] if case.outage.changes else []
    cuts = [step * np.arange(np.floor(low / step) + 1, np.ceil(high / step)) for step in grids]
    cuts += [power.cuts_h(low, high) for power in case.powers]
    cuts += [np.append(source.edges_h, case.told_h) for source in case.sources]
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
        new |= np.isin(edges, source.edges_h)
    if case.outage.unit_at is not None and case.outage.unit_at.changes:
        new |= np.isclose(edges, np.round(edges))
    return np.flatnonzero(new)


def _stretch(case: Case, edges: np.ndarray) -> Stretch:
    """Return the steps between these moments."""
    middles, own = (edges[:-1] + edges[1:]) / 2, case.own_at(float((edges[0] + edges[1]) / 2))
    drawn = [power.at(middles) for power in case.powers]
    powers_w = np.stack([mean for mean, _ in drawn])
    total_w, variance_w2 = powers_w.sum(axis=0), sum(variance for _, variance in drawn)
    _, b, c = case.takes
    asked = asked_w(total_w, variance_w2, own.own_w, b, c)
    running = asked.copy()  # a draw's load runs in some of its steps, the best estimate's a little in each
    running[:, 0] += (b * variance_w2 / np.maximum(total_w, 1e-300) * np.ones_like(asked))[:, 0]
    if np.ptp(case.rate.exponent) or np.any(case.rate.exponent != 1):
        mean_w = asked_w(case.mean_w, case.load.variance_w2, own.own_w, b, c)
        running += (1 - case.moment) * (mean_w - running)
    return Stretch(float(edges[0]), np.diff(edges), powers_w, asked, running, own, _flow(case, middles))


def _flow(case: Case, middles: np.ndarray) -> Flow | None:
    """Return what flows back in at these moments; None where nothing does."""
    now_w = [source.power_w[np.clip(np.searchsorted(source.edges_h, middles) - 1, 0, source.power_w.size - 1)]
             for source in case.sources]  # fmt: skip
    if not any(each.any() for each in now_w):
        return None
    total = stored = idle = np.zeros((middles.size, case.rows))
    carried = np.zeros(middles.size, bool)
    for source, power_w in zip(case.sources, now_w, strict=True):
        here = power_w[:, np.newaxis] * source.comes
        total, stored = total + here, stored + here * source.efficiency
        idle = idle if source.carries else idle + here
        carried |= source.carries & (power_w > 0)
    over = np.where(total > 0, total, 1)
    return Flow(total, stored / over, idle / over, carried)
