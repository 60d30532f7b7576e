"""How a load's power goes through time: a pattern that repeats."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np

from ..sources import lookup
from ..units import Refusal, number

DAY_H = 24.0
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})")


@dataclass(frozen=True)
class Pattern:
    """Power in steps, over and over again.

    Parameters
    ----------
    duration_h : array of shape (n,)
        Length of each step [h].
    power_w : array of shape (n,)
        Power in it [W].
    by_clock : bool
        Whether it begins at midnight; else it begins with the outage.

    Example
    -------
    >>> Pattern.of_levels([0, 80], [0.75, 0.25]).mean_w
    20.0
    """

    duration_h: np.ndarray = field(repr=False)
    power_w: np.ndarray = field(repr=False)
    by_clock: bool = False

    def __post_init__(self) -> None:
        durations, powers = np.asarray(self.duration_h, float), np.asarray(self.power_w, float)
        if durations.shape != powers.shape or durations.ndim != 1 or not durations.size:
            raise Refusal(f"{durations.shape} durations and {powers.shape} powers", "as many of both, one or more",
                          "Give two lists of the same length.")  # fmt: skip
        if not (np.isfinite([*powers, *durations]).all() and (powers >= 0).all() and (durations > 0).all()):
            raise Refusal("a step without length, or a power below zero or missing", "steps with a power each",
                          "Take out what is missing.")  # fmt: skip
        object.__setattr__(self, "duration_h", durations)
        object.__setattr__(self, "power_w", powers)

    @classmethod
    def of_levels(cls, levels_w: Any, shares: Any, period_h: float | None = None) -> Pattern:
        """Return one cycle that spends a share of its time at each level, from the middle of its run on.

        So at half and whole cycles, and on average in between, the energy is that of the mean.

        Parameters
        ----------
        levels_w, shares : arrays of shape (n,)
            Powers [W] and their shares of time [-].
        period_h : float, optional
            Length of a cycle, rounded so that a day holds whole cycles; else the table's [h].
        """
        wanted = lookup("cycle of a cold appliance").value if period_h is None else period_h
        if not wanted > 0:
            raise Refusal(f"a cycle of {wanted} h", "a length above zero", "Write period_h=1.")
        period = DAY_H / max(1, round(DAY_H / wanted))
        levels, parts = np.asarray(levels_w, float), np.asarray(shares, float)
        order = np.argsort(-levels)
        order = order[parts[order] > 0]
        half = period / 2 * parts[order]
        return cls(np.concatenate([half[:-1], [2 * half[-1]], half[-2::-1]]),
                   np.concatenate([levels[order], levels[order][-2::-1]]))  # fmt: skip

    @classmethod
    def daily(cls, windows: Sequence[tuple[str, str, Any]]) -> Pattern:
        """Return a day's schedule by the clock, nothing drawn outside its windows.

        Parameters
        ----------
        windows : sequence of (str, str, str or pint.Quantity)
            From and to, as "18:30", and the power between [W]. They may run past midnight, not into each other.
        """
        spans: list[tuple[float, float, float]] = []
        remedy = 'Write [("06:30", "08:00", "60 W"), ("18:00", "23:00", "60 W")].'
        for window in windows:
            if not isinstance(window, (tuple, list)) or len(window) != len(("from", "to", "power")):
                raise Refusal(f"the window {window!r}", "from, to, and the power between", remedy)
            begin, end, power = window
            start, stop, watts = _clock(begin), _clock(end), number(power, "W", "power")
            if start == stop:
                raise Refusal(f"a window from {begin} to {end}", "an end that is not its beginning",
                              'For a whole day write ("0:00", "24:00", "60 W").')  # fmt: skip
            spans += [(start, stop, watts)] if start < stop else [(start, DAY_H, watts), (0.0, stop, watts)]
        spans = sorted(span for span in spans if span[0] < span[1])
        if not spans or any(before[1] > after[0] for before, after in pairwise(spans)):
            raise Refusal(f"the windows {windows!r}", "one or more, none of them within another",
                          remedy)  # fmt: skip
        cuts = np.unique([0.0, DAY_H, *(edge for span in spans for edge in span[:2])])
        middles = (cuts[:-1] + cuts[1:]) / 2
        powers = [sum(watts for start, stop, watts in spans if start < at < stop) for at in middles]
        return cls(np.diff(cuts), np.array(powers, float), by_clock=True)

    @property
    def period_h(self) -> float:
        """Length of one round [h]."""
        return float(self.duration_h.sum())

    @property
    def mean_w(self) -> float:
        """Mean power over one round [W]."""
        return float(np.average(self.power_w, weights=self.duration_h))

    @property
    def divides_a_day(self) -> bool:
        """Whether a day holds whole rounds."""
        rounds = DAY_H / self.period_h
        return bool(np.isclose(rounds, round(rounds)))

    def cuts_h(self, hours: float, begins_h: float) -> np.ndarray:
        """Return the moments within an outage at which the power changes [h]."""
        offset = begins_h % self.period_h if self.by_clock else 0.0
        ends = np.cumsum(self.duration_h)
        rounds = np.arange(np.ceil((hours + offset) / self.period_h))
        cuts = (rounds[:, np.newaxis] * self.period_h + ends).ravel() - offset
        return cuts[(cuts > 0) & (cuts < hours)]

    def window(self, hours: float, begins_h: float) -> Pattern:
        """Return what falls into an outage that begins at a time of day, as a pattern of the outage's own length."""
        edges = np.unique(np.concatenate([[0.0], self.cuts_h(hours, begins_h), [hours]]))
        return Pattern(np.diff(edges), self.at((edges[:-1] + edges[1:]) / 2, begins_h))

    def at(self, time_h: np.ndarray, begins_h: float) -> np.ndarray:
        """Return the power at moments of an outage [W]."""
        within = (time_h + (begins_h if self.by_clock else 0.0)) % self.period_h
        step = np.searchsorted(np.cumsum(self.duration_h), within, side="right")
        return self.power_w[np.minimum(step, self.power_w.size - 1)]


def _clock(text: str) -> float:
    """Return a time of day [h]."""
    found = _CLOCK.fullmatch(str(text).strip())
    hours = int(found.group(1)) + int(found.group(2)) / 60 if found else -1.0
    if not 0 <= hours <= DAY_H or (found and int(found.group(2)) >= 60):
        raise Refusal(f"the time {text!r}", "a time of day", 'Write "18:30".')
    return hours


def clock(text: Any) -> float:
    """Return a time of day as hours after midnight [h]."""
    return _clock(text) % DAY_H
