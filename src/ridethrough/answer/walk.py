"""The one walk through time: a battery through all stretches of an outage, all draws at once, and what came of it."""

from __future__ import annotations

from collections.abc import Iterable
from copy import copy
from dataclasses import dataclass, field

import numpy as np

from ..model.pattern import LEAST
from ..sources import lookup
from .case import Case, Own
from .passage import Passage, total
from .state import Array, Fixed, State
from .stretches import MOMENT_H, Stretch


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
    state: State = field(init=False)
    begin: Stretch = field(init=False)  # the first
    start_wh: Array = field(init=False)  # what can be given at the beginning
    told: Array = field(init=False)  # (times, rows): charge that can be used
    kept_back: Array = field(init=False)  # (times,): of the best estimate, what the cold keeps back

    def __post_init__(self) -> None:
        case, times = self.case, self.case.told_h.size
        self.state = State.begun(case.full_wh * case.start, len(case.load.appliances))
        self.told, self.kept_back = np.zeros((times, case.rows)), np.zeros(times)
        self._usable: Array | None = None
        self._own: Own | None = None

    def through(self, stretches: Iterable[Stretch], *, counted: bool = True) -> None:
        """Move on through stretches; what comes after the outage is not counted, only when it runs empty is."""
        for stretch in stretches:
            floor, state = stretch.own.floor_wh + self.case.outage.reserve.m_as("Wh") / stretch.own.lift, self.state
            usable, before = self.usable(floor, stretch.own.lift), state.charge.copy()
            taken = state.stored + state.charge_loss
            if self._usable is None:
                self.start_wh, self.begin = usable, stretch
            elif stretch.own is not self._own:
                state.kept_back += usable - self._usable
            self._own, told = stretch.own, self._move(stretch, floor)
            self._usable = self.usable(floor, stretch.own.lift)
            if stretch.flow is not None:  # what fills a charge up to its floor is of no use
                state.kept_back += self._usable - usable - (state.charge - before) * stretch.own.lift
            if counted:
                self._count(stretch, state.stored + state.charge_loss - taken)
                self.told[self._wanted(stretch)] = np.maximum(told - floor, 0) * stretch.own.lift
                self.kept_back[self._wanted(stretch)] = np.minimum(told, stretch.own.floor_wh)[:, 0]
            elif np.isfinite(state.empty_h).all():
                return

    def stopped(self, open_now: bool) -> Array:
        """Return where a generator that runs until the unit is full has stopped in its window, if that is open now."""
        state, enough_wh = self.state, lookup("full enough").value * self.case.full_wh
        state.full = (state.full | (state.charge >= enough_wh)) & open_now
        return state.full

    def further(self) -> Walk:
        """Return a walk that goes on from here, this one and its sampler staying as they are."""
        other = copy(self)
        other.case, other.state = self.case.further(), self.state.part(slice(None))
        return other

    @property
    def end_wh(self) -> Array:
        """What can be given at the end [Wh]."""
        return np.zeros(self.case.rows) if self._usable is None else self._usable

    @property
    def residual(self) -> Array:
        """What the energy account is off by [Wh]: rounding."""
        state = self.state
        begun = self.start_wh + state.stored + state.direct + state.kept_back
        return begun - state.asked - state.rate + state.unserved - self.end_wh

    def usable(self, floor: Array, lift: Array) -> Array:
        """Return what can be given of the charge above a floor [Wh]."""
        return np.maximum(self.state.charge - floor, 0) * lift

    def _count(self, stretch: Stretch, taken: Array) -> None:
        """Add up what was asked of the unit while nothing else carried it, and what a generator made."""
        hours, flow, state, own = stretch.duration_h, stretch.flow, self.state, stretch.own
        alone = np.ones((1, 1)) if flow is None or not flow.carries.any() else ~flow.carries * 1.0
        state.loads += total(hours, stretch.powers_w * alone)
        state.asked += total(hours, stretch.asked_w)
        state.own += total(hours, own.own_w * alone)
        state.heater += total(hours, own.heater_w * alone)
        if flow is not None and flow.runs.any():
            share = total(hours, flow.made_w) / np.maximum(total(hours, flow.power_w), LEAST)
            carried = total(hours, flow.runs * (stretch.powers_w.sum(axis=0) + own.own_w / self.case.inflow))
            state.made += carried + share * taken / self.case.inflow
            state.ran += total(hours, flow.runs * np.ones(self.case.rows))

    def _move(self, stretch: Stretch, floor: Array) -> Array:
        """Move on through a stretch; return the charge at the moments wanted, each an end of a step if any flows in."""
        case, state, own, wanted = self.case, self.state, stretch.own, self._wanted(stretch)
        told, levels = state.charge[np.newaxis], None
        if wanted.size and stretch.flow is not None:
            levels = np.repeat(told, stretch.edges_h.size, axis=0)
        elif wanted.size:
            passed = np.clip(case.told_h[wanted, np.newaxis] - stretch.edges_h[:-1], 0, stretch.duration_h)
            there = np.where(state.on, np.maximum(state.charge - floor, 0), 0.0)
            told = told - np.minimum(passed @ (stretch.drained_w / own.lift), there)
        none, flows = np.zeros(case.rows), stretch.flow is not None
        fixed = Fixed(
            case.full_wh, floor, self.restart_wh, own.lift, own.heater_w, case.warming_h if own.heats else none,
            case.limit_w if flows else none, case.slack_h if flows else none, *case.rate[:2], np.arange(case.rows) == 0,
        )  # fmt: skip
        Passage(stretch, case.rate.least, fixed, state).move(levels)
        return told if levels is None else levels[np.searchsorted(stretch.edges_h, case.told_h[wanted] - MOMENT_H)]

    def _wanted(self, stretch: Stretch) -> Array:
        """Return which of the moments wanted lie in a stretch, its beginning and end included."""
        first, last = stretch.edges_h[[0, -1]]
        return np.flatnonzero((self.case.told_h >= first - MOMENT_H) & (self.case.told_h <= last + MOMENT_H))
