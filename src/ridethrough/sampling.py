"""Draws of everything uncertain, all together (JCGM 101:2008), and what comes out of them.

Row 0 is the best estimate; each further row draws every influence once. Rows are stratified, one of as many equal
parts of each influence's distribution a row (Latin hypercube), and keyed by the influence's name: the same influence
is drawn alike for every load, unit and outage, so that answers compare well and a slider does not jitter.
"""

from __future__ import annotations

import math
from copy import copy
from functools import cache
from typing import Any
from zlib import crc32

import numpy as np

from .drawn import Drawn
from .estimate import Estimate, Influence
from .known import apart, student
from .units import whole

DRAWS = 2000
FEWEST_DOF = 3  # below, Student's t has no variance: JCGM 101:2008, 6.4.9.4


def enough(draws: Any) -> int:
    """Return how many draws beside the best estimate, refused below two: fewer tell nothing of how sure it is."""
    return whole(draws, "draws", 2, DRAWS)


class Sampler:
    """Draws every influence once, and each estimate from its influences: arrays of shape (draws + 1,).

    An estimate is linear in its influences; each is drawn in units of its standard uncertainty: evenly between the
    ends of its band where it has them, else normally, and as Student's t where its uncertainty rests on few degrees
    of freedom. What was found together, such as a line's energy and standby, is drawn together.

    Parameters
    ----------
    draws : int
        How many beside the best estimate [-].
    seed : int
        The same seed gives the same draws.

    Example
    -------
    >>> gain = Estimate.within("100 %", "1 %", "gain")
    >>> sampler = Sampler(1000, seed=1)
    >>> one, two = sampler.of(gain * 50), sampler.of(gain * 20)
    >>> bool(np.allclose(one / two, 2.5)), float(one[0])
    (True, 5000.0)

    References
    ----------
    JCGM 101:2008, 6.4: rectangular (6.4.2), normal (6.4.7), t (6.4.9). M. D. McKay, R. J. Beckman, W. J. Conover,
    Technometrics 21 (1979) 239 (Latin hypercube), from memory.
    """

    def __init__(self, draws: int, seed: int) -> None:
        self.draws, self.seed = whole(draws, "draws"), whole(seed, "seed")
        self.within = np.ones(draws + 1, bool)
        self.inputs: dict[str, list[np.ndarray]] = {}
        self._drawn: dict[Any, np.ndarray] = {}
        self._twins: dict[Influence, str] = {}
        self._places: dict[Influence, list[Any]] = {}  # the variables of what was found together, in order

    def of(self, estimate: Estimate, low: float = -math.inf, high: float = math.inf) -> np.ndarray:
        """Return the draws of an estimate in its own unit.

        Parameters
        ----------
        estimate : Estimate
            What to draw.
        low, high : float
            Its physical limits, in its unit. Rows outside are marked in ``within`` and count nowhere; the best
            estimate is put on the limit.
        """
        found = np.full(self.draws + 1, float(estimate.value.magnitude))
        for variable, slope in estimate.slopes().items():
            if slope and variable.std_dev:
                found += slope * variable.std_dev * self.standard(variable)
        self.within[1:] &= ((low <= found) & (found <= high))[1:]
        return np.clip(found, low, high)

    def standard(self, variable: Any, number: int = 0) -> np.ndarray:
        """Return the draws of one variable in units of its standard uncertainty, the same ones each time.

        Parameters
        ----------
        variable : Variable
            From `Estimate.slopes`; its tag is the `Influence`.
        number : int
            Which of a row of independent ones of its kind: successive stretches of days [-].
        """
        key = (variable, number)
        if key not in self._drawn:
            influence: Influence = variable.tag
            together = self._places.setdefault(influence, [])
            if variable not in together:
                together.append(variable)
            place = f"{self._name(influence)} {together.index(variable)} {number}"
            low, high = influence.ends or (0.0, 0.0)
            evenly = low + (high - low) * _middles(self.draws)
            drawn = self._column(place, evenly if influence.ends else _normal(self.draws))
            if math.isfinite(influence.dof):
                drawn = drawn * self._scale(influence)
            self._drawn[key] = drawn
            self.inputs.setdefault(self._name(influence), []).append(drawn)
        return self._drawn[key]

    def evenly(self, name: str) -> np.ndarray:
        """Return draws spread evenly from 0 to 1, such as of an unknown phase; the best estimate has 0."""
        key = ("evenly", name)
        if key not in self._drawn:
            self._drawn[key] = self._column(name, _middles(self.draws))
            self.inputs[name] = [self._drawn[key]]
        return self._drawn[key]

    def further(self) -> Sampler:
        """Return the same sampler for what comes after, so that what is drawn there is no input here."""
        other = copy(self)
        other._drawn, other.inputs = dict(self._drawn), {name: list(each) for name, each in self.inputs.items()}
        return other

    def result(self, rows: np.ndarray, unit: str, horizon: float = math.inf) -> Drawn:
        """Return what came out of each row as a quantity."""
        return Drawn(np.where(self.within, rows, np.nan), unit, self.inputs, horizon)

    def rests_on(self) -> list[str]:
        """Return the table's coefficients that anything drawn comes from, each once."""
        return list(dict.fromkeys(entry for influence in self._twins for entry in influence.entries))

    def _name(self, influence: Influence) -> str:
        if influence not in self._twins:
            self._twins[influence] = apart([*(other.name for other in self._twins), influence.name])[-1]
        return self._twins[influence]

    def _scale(self, influence: Influence) -> np.ndarray:
        """Return by how much a spread known from few readings may be larger: shared by all that it belongs to."""
        if influence not in self._drawn:
            dof = max(influence.dof, FEWEST_DOF)
            drawn = self._column(f"{self._name(influence)} spread", _chi(dof, self.draws))
            self._drawn[influence] = drawn * student(influence.dof) / student(dof)
        return self._drawn[influence]

    def _column(self, name: str, strata: np.ndarray) -> np.ndarray:
        rng = np.random.default_rng([self.seed, crc32(name.encode())])
        return np.append(0.0, rng.permutation(strata))


def _middles(count: int) -> np.ndarray:
    return (np.arange(count) + 0.5) / max(count, 1)


@cache
def _normal(count: int) -> np.ndarray:
    from scipy.special import ndtri

    return np.asarray(ndtri(_middles(count)))


@cache
def _chi(dof: float, count: int) -> np.ndarray:
    """Return the strata of sqrt(dof / chi squared)."""
    from scipy.special import chdtri

    return np.asarray(np.sqrt(dof / chdtri(dof, _middles(count))))
