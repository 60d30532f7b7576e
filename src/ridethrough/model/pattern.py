"""How a load's power goes through time: a pattern that repeats."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from ..sources import lookup
from ..units import Refusal, number, of_kind, of_parts

DAY_H = 24.0
LEAST = 1e-200  # keeps a division by nothing from being one
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
    begins_h : float, optional
        Time of day at which it begins [h]; where there is none, nobody knows where in it an outage begins.

    Example
    -------
    >>> Pattern.of_levels([0, 80], [0.75, 0.25]).mean_w
    20.0
    """

    duration_h: np.ndarray = field(repr=False)
    power_w: np.ndarray = field(repr=False)
    begins_h: float | None = None

    def __post_init__(self) -> None:
        durations, powers = np.asarray(self.duration_h, float), np.asarray(self.power_w, float)
        if durations.shape != powers.shape or durations.ndim != 1 or not durations.size:
            raise Refusal(f"{durations.shape} durations and {powers.shape} powers", "as many of both, one or more",
                          "Give two lists of the same length.")  # fmt: skip
        if not (np.isfinite([*powers, *durations]).all() and (powers >= 0).all() and (durations > 0).all()):
            raise Refusal("a step without length, or a power below zero or missing", "steps with a power each",
                          "Take out what is missing.")  # fmt: skip
        vars(self).update(duration_h=durations, power_w=powers)

    @classmethod
    def of_levels(cls, levels_w: Any, shares: Any) -> Pattern:
        """Return one cycle of the table's length that spends a share of its time at each level.

        Parameters
        ----------
        levels_w, shares : arrays of shape (n,)
            Powers [W] and their shares of time, which sum to one [-].
        """
        levels, parts = np.broadcast_arrays(np.asarray(levels_w, float), np.asarray(shares, float))
        held = parts > 0
        if not (parts >= 0).all() or not np.isclose(parts.sum(), 1):
            raise Refusal(f"shares that sum to {parts.sum():g}", "shares that sum to 1", "Divide them by their sum.")
        return cls(parts[held] * lookup("cycle of a cold appliance").value, levels[held])

    @classmethod
    def daily(cls, windows: Sequence[tuple[str, str, Any]]) -> Pattern:
        """Return a day's schedule by the clock, nothing drawn outside its windows.

        Parameters
        ----------
        windows : sequence of (str, str, str or pint.Quantity)
            From and to, as "18:30", and the power between [W]. They may run past midnight, not into each other.
        """
        spans, remedy = [], 'Write [("06:30", "08:00", "60 W"), ("18:00", "23:00", "60 W")].'
        for window in of_kind(windows, Iterable, "windows", "from, to, and the power between, of each", remedy):
            begin, end, power = of_parts(window, len(("from", "to", "power")), f"the window {window!r}",
                                         "from, to, and the power between", remedy)  # fmt: skip
            start, stop, watts = clock(begin, "from"), clock(end, "to"), number(power, "W", "power")
            length = stop - start if start < stop else (stop - start) % DAY_H
            if not length:
                raise Refusal(f"a window from {begin} to {end}", "an end that is not its beginning",
                              'For a whole day write ("0:00", "24:00", "60 W").')  # fmt: skip
            spans.append((start % DAY_H, stop % DAY_H, length, watts))
        cuts = np.unique([0.0, DAY_H, *(edge for span in spans for edge in span[:2])])
        middles = (cuts[:-1] + cuts[1:]) / 2
        within = np.array([(middles - start) % DAY_H < length for start, _, length, _ in spans])
        if not spans or within.sum(axis=0).max() > 1:
            raise Refusal(f"the windows {windows!r}", "one or more, none of them within another", remedy)
        return cls(np.diff(cuts), np.array([span[-1] for span in spans]) @ within, begins_h=0.0)

    @cached_property
    def period_h(self) -> float:
        """Length of one round [h]."""
        return float(self.duration_h.sum())

    @cached_property
    def mean_w(self) -> float:
        """Mean power over one round [W]."""
        return float(self.duration_h @ self.power_w / self.period_h)

    @cached_property
    def variance_w2(self) -> float:
        """Variance of the power about its mean [W2]."""
        return float(self.duration_h @ (self.power_w - self.mean_w) ** 2 / self.period_h)

    def cuts_h(self, begin_h: float, hours: float) -> np.ndarray:
        """Return the moments of the next ``hours`` at which it changes, for a round begun ``begin_h`` ago [h]."""
        rounds = np.arange(np.ceil((hours + begin_h % self.period_h) / self.period_h))
        cuts = (rounds[:, np.newaxis] * self.period_h + np.cumsum(self.duration_h)).ravel() - begin_h % self.period_h
        return cuts[(cuts > 0) & (cuts < hours)]

    def at(self, time_h: np.ndarray) -> np.ndarray:
        """Return the power so long after the beginning of a round [W]."""
        step = np.searchsorted(np.cumsum(self.duration_h), time_h % self.period_h, side="right")
        return self.power_w[np.minimum(step, self.power_w.size - 1)]

    def windows(self, length_h: float, parts: int) -> np.ndarray:
        """Return the mean power in windows of a length, one begun every so many parts of it [W].

        Parameters
        ----------
        length_h : float
            Length of a window, rounded so that a round holds whole parts [h].
        parts : int
            How many windows begin in the length of one [-].
        """
        count = max(1, round(parts * self.period_h / length_h))
        ends, cuts = np.append(0.0, np.cumsum(self.duration_h)), np.linspace(0, self.period_h, count + 1)
        sums = np.diff(np.interp(cuts, ends, np.append(0.0, np.cumsum(self.duration_h * self.power_w))))
        rounds, rest = divmod(parts, count)
        ahead = np.append(0.0, np.cumsum(np.append(sums, sums)))
        return (rounds * sums.sum() + ahead[rest : rest + count] - ahead[:count]) * count / self.period_h / parts


def alike(days: float, likeness: float) -> float:
    """Return the variance of a mean over days that are alike, over that of one day's mean [-].

    k(n) = (1 + r) / (1 - r) - 2 r (1 - r^n) / (n (1 - r)^2),   returned k(n) / n             (1)

    for days that resemble each other as r, r^2, r^3 ... the further they lie apart. Within a day it is 1.

    Parameters
    ----------
    days : float
        How many [day].
    likeness : float
        r, the correlation of one day's mean power with the next one's, below 1 [-].
    """
    r, n = likeness, max(days, 1.0)
    return ((1 + r) / (1 - r) - 2 * r * (1 - r**n) / (n * (1 - r) ** 2)) / n  # (1)


def clock(text: Any, name: str) -> float:
    """Return a time of day as hours after midnight, "24:00" as 24 [h]."""
    found = _CLOCK.fullmatch(str(text).strip())
    hours = int(found.group(1)) + int(found.group(2)) / 60 if found else -1.0
    if not 0 <= hours <= DAY_H or (found and int(found.group(2)) >= 60):
        raise Refusal(f"{name}={text!r}", "a time of day", 'Write "18:30".')
    return hours
