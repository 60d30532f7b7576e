"""Draws of estimates, all together: what rests on the same influence varies with it (JCGM 101:2008)."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from .estimate import Estimate, Influence
from .units import Refusal


class Sampler:
    """Draws every influence once, and each estimate from its influences.

    An estimate is linear in its influences; each is drawn in units of its standard uncertainty: evenly between the
    ends of its band where it has them, else normally, and as Student's t where its uncertainty rests on few degrees
    of freedom. What was found together, such as a line's energy and standby, is drawn together.

    Parameters
    ----------
    draws : int
        How many [-].
    seed : int
        The same seed gives the same draws.

    Example
    -------
    >>> gain = Estimate.within("100 %", "1 %", "gain")
    >>> sampler = Sampler(1000, seed=1)
    >>> one, two = sampler.of(gain * 50), sampler.of(gain * 20)
    >>> bool(np.allclose(one / two, 2.5))
    True

    References
    ----------
    JCGM 101:2008, 6.4: rectangular (6.4.2), normal (6.4.7), t (6.4.9).
    """

    def __init__(self, draws: int, seed: int) -> None:
        if not isinstance(draws, int) or isinstance(draws, bool) or draws < 2:
            raise Refusal(f"draws={draws!r}", "a whole number of two or more", "Write draws=10_000.")
        if not isinstance(seed, int) or isinstance(seed, bool) or seed < 0:
            raise Refusal(f"seed={seed!r}", "a whole number of zero or more", "Write seed=1.")
        self.draws = draws
        self.kept = np.ones(draws, bool)
        self._rng = np.random.default_rng(seed)
        self._drawn: dict[Any, np.ndarray] = {}
        self._scales: dict[Influence, np.ndarray] = {}

    def of(self, estimate: Estimate, low: float = -math.inf, high: float = math.inf) -> np.ndarray:
        """Return the draws of an estimate in its own unit, shape (draws,).

        Parameters
        ----------
        estimate : Estimate
            What to draw.
        low, high : float
            Its physical limits, in its unit. Draws outside are marked in ``kept``, to be left out as a whole.
        """
        found = np.full(self.draws, float(estimate.value.magnitude))
        for variable, slope in estimate.slopes().items():
            if slope and variable.std_dev:
                found += slope * variable.std_dev * self._standard(variable)
        self.kept &= (low <= found) & (found <= high)
        return found

    @property
    def influences(self) -> dict[str, list[np.ndarray]]:
        """What was drawn, by the influence's name and in standard uncertainties; found together, listed together."""
        named: dict[str, list[np.ndarray]] = {}
        names: dict[Influence, str] = {}
        for variable, drawn in self._drawn.items():
            influence = variable.tag
            if influence not in names:
                twins = sum(other.name == influence.name for other in names)
                names[influence] = influence.name if not twins else f"{influence.name} ({twins + 1})"
            named.setdefault(names[influence], []).append(drawn)
        return named

    def _standard(self, variable: Any) -> np.ndarray:
        """Return the draws of one influence in units of its standard uncertainty, the same ones each time."""
        if variable not in self._drawn:
            self._drawn[variable] = self._draw(variable.tag)
        return self._drawn[variable]

    def _draw(self, influence: Influence) -> np.ndarray:
        if influence.ends is not None:
            return self._rng.uniform(*influence.ends, self.draws)
        drawn = self._rng.standard_normal(self.draws)
        if not math.isfinite(influence.dof):
            return drawn
        if influence not in self._scales:  # shared: what was found together is off together
            self._scales[influence] = np.sqrt(influence.dof / self._rng.chisquare(influence.dof, self.draws))
        return drawn * self._scales[influence]
