"""The one walk through time: a battery through all stretches of an outage, all draws at once, and what came of it."""

from __future__ import annotations

from copy import copy, deepcopy
from dataclasses import dataclass, field

import numpy as np

from ..sources import lookup
from .case import Case
from .passage import Array, Passage, State
from .stretches import MOMENT_H, Stretch


@dataclass
class Walk:
    """A battery on its way; `move` takes it through a stretch.

    Parameters
    ----------
    case : Case
        What is asked of it, and what it is.
    restart_wh : array of shape (rows,)
        Charge above the floor at which a unit that ran empty turns on again [Wh]; 0 where it needs none.
    """

    case: Case
    restart_wh: Array
    state: State = field(init=False)
    start_wh: Array = field(init=False)  # what can be given at the beginning
    end_wh: Array = field(init=False)  # and at the end
    told: Array = field(init=False)  # (times, rows): charge that can be used
    kept_back: Array = field(init=False)  # (times,): of the best estimate, what the cold keeps back

    def __post_init__(self) -> None:
        case, times = self.case, self.case.told_h.size
        self.state = State(case.full_wh * case.start, len(case.load.appliances))
        self.told, self.kept_back = np.zeros((times, case.rows)), np.zeros(times)

    def move(self, stretch: Stretch) -> None:
        """Move on through a stretch."""
        case, state, own, (first_h, last_h) = self.case, self.state, stretch.own, stretch.edges_h[[0, -1]]
        floor, before = own.floor_wh + case.outage.reserve.m_as("Wh") / own.lift, state.charge.copy()
        usable = self._usable(floor, own.lift)
        if not first_h:
            self.start_wh = self.end_wh = usable
        state.kept_back += usable - self.end_wh
        at = np.flatnonzero((case.told_h >= first_h - MOMENT_H) & (case.told_h <= last_h + MOMENT_H))
        told = Passage(case, stretch, state, floor, self.restart_wh).move(case.told_h[at])
        self.told[at], self.kept_back[at] = np.maximum(told - floor, 0) * own.lift, np.minimum(told, own.floor_wh)[:, 0]
        self.end_wh = self._usable(floor, own.lift)
        if stretch.flow.comes:  # what fills a charge up to its floor is of no use
            state.kept_back += self.end_wh - usable - (state.charge - before) * own.lift

    def stopped(self, open_now: bool) -> Array:
        """Return where a generator that runs until the unit is full has stopped in its window, if that is open now."""
        state, enough_wh = self.state, lookup("full enough").value * self.case.full_wh
        state.full = (state.full | (state.charge >= enough_wh)) & open_now
        return state.full

    def further(self) -> Walk:
        """Return a walk that goes on from here, this one and its sampler staying as they are."""
        other = copy(self)
        other.case, other.state = self.case.further(), deepcopy(self.state)
        return other

    @property
    def residual(self) -> Array:
        """What the energy account is off by [Wh]: rounding."""
        state = self.state
        begun = self.start_wh + state.stored + state.direct + state.kept_back
        return begun - state.asked - state.rate + state.unserved - self.end_wh

    def _usable(self, floor: Array, lift: Array) -> Array:
        return np.maximum(self.state.charge - floor, 0) * lift
