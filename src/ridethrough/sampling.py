"""Draws of everything uncertain, all together (JCGM 101:2008), and what comes out of them.

Row 0 is the best estimate; each further row draws every influence once. Rows are stratified, one of as many equal
parts of each influence's distribution a row (Latin hypercube), and keyed by the influence's name: the same influence
is drawn alike for every load, unit and outage, so that answers compare well and a slider does not jitter.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from copy import copy
from functools import cache
from typing import Any
from zlib import crc32

import numpy as np
import pandas as pd
import pint

from .estimate import Estimate, Influence
from .known import COVERAGE, Known, apart, ends_of, student
from .units import Q_, number, of_kind, show, unit_name, whole

DRAWS = 2000
CHANCE = 10  # over the number of draws: a squared correlation that chance alone may give
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
        self._places: dict[Influence, dict[Any, int]] = {}  # the variables of what was found together, in order

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
        found = np.full(self.draws + 1, estimate.magnitude)
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
            together = self._places.setdefault(influence, {})
            place = f"{self._name(influence)} {together.setdefault(variable, len(together))} {number}"
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
        dof = max(influence.dof, FEWEST_DOF)
        drawn = self._column(f"{self._name(influence)} spread", _chi(dof, self.draws))
        return drawn * student(influence.dof) / student(dof)

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


class Drawn(Known):
    """A quantity as all draws say: row 0 is the best estimate, the others tell how sure it is.

    Sums, differences and ratios of such quantities are taken row by row, so that what they share is kept. An end that
    no draw reaches, as of a run that outlasts what was asked, reads "at least".

    Parameters
    ----------
    rows : array of shape (draws + 1,)
        In ``unit``; inf where it lies beyond ``horizon``, nan where something lies beyond its physical limits.
    unit : str
        As in quantity text.
    inputs : mapping
        What was drawn of each influence, arrays of shape (draws + 1,) in standard uncertainties.
    horizon : float
        Where the rows that are inf were last seen [unit].
    """

    def __init__(
        self, rows: np.ndarray, unit: str, inputs: Mapping[str, Sequence[np.ndarray]], horizon: float = math.inf
    ) -> None:
        self.rows, self.unit, self.inputs, self.horizon = rows, unit, inputs, horizon

    @property
    def draws(self) -> np.ndarray:
        """The draws that lie within all limits, without the best estimate; inf where beyond the horizon [unit]."""
        held = self.rows[1:]
        return held[~np.isnan(held)]

    def __array__(self, dtype: Any = None, copy: bool | None = None) -> np.ndarray:
        """Return the draws as an array, at most the horizon: NumPy's functions take it as it is [unit]."""
        return np.minimum(self.draws, self.horizon).astype(dtype or float)

    @property
    def value(self) -> pint.Quantity:
        """The best estimate, or the horizon where that lies beyond it."""
        return Q_(float(min(self.rows[0], self.horizon)), self.unit)

    @property
    def u(self) -> pint.Quantity:
        """The standard deviation of the draws."""
        return Q_(float(np.asarray(self).std(ddof=1)), self.unit)

    def interval(self, coverage: float = COVERAGE) -> tuple[pint.Quantity, pint.Quantity]:
        """Return the two ends that as many draws lie below as above; an end at the horizon reads "at least".

        Where the best estimate lies beyond one of them, as that of what can only be worse, it is the end.

        References
        ----------
        JCGM 101:2008, 5.3.3 and 7.7.
        """
        low, high = np.quantile(np.asarray(self), ends_of(coverage))
        return Q_(min(float(low), self.magnitude), self.unit), Q_(max(float(high), self.magnitude), self.unit)

    @property
    def at_least(self) -> bool:
        """Whether it may be larger than it was followed: the upper end of its interval lies at the horizon."""
        return float(self.interval()[1].magnitude) >= self.horizon

    def chance_above(self, limit: Any) -> float:
        """Return the share of draws at or above ``limit`` [-]."""
        return float(np.mean(self.draws >= number(limit, self.unit, "limit")))

    def shares(self) -> pd.DataFrame:
        """Return what makes it uncertain: columns influence and share [-], the squared rank correlation."""
        kept, ranks = ~np.isnan(self.rows[1:]), _ranks(np.asarray(self))
        found = {name: sum(float(_ranks(each[1:][kept]) @ ranks) ** 2 for each in together)
                 for name, together in self.inputs.items()}  # fmt: skip
        more = [(name, share) for name, share in found.items() if share > CHANCE / ranks.size]
        table = pd.DataFrame(more, columns=["influence", "share"])
        return table.sort_values("share", ascending=False, ignore_index=True)

    def to(self, unit: str) -> Drawn:
        """Return the same in another unit, spelt as in quantity text."""
        factor = float(Q_(1, self.unit).m_as(unit_name(unit)))
        return Drawn(self.rows * factor, unit, self.inputs, self.horizon * factor)

    def _seen(self, unit: str | None = None) -> np.ndarray:
        found = self if unit is None else self.to(unit)
        return np.minimum(found.rows, found.horizon)

    def __add__(self, other: Drawn) -> Drawn:
        of_kind(other, Drawn, "other", "what the same draws say", "Calculate with .value, or with .rows row by row.")
        return Drawn(self._seen() + other._seen(self.unit), self.unit, self.inputs)

    def __sub__(self, other: Drawn) -> Drawn:
        return self + -other

    def __neg__(self) -> Drawn:
        return Drawn(-self._seen(), self.unit, self.inputs)

    def __str__(self) -> str:
        """Return value and doubt, "28.4 h, give or take 3.5 h", or "at least 72 h"."""
        if not self.at_least:
            return super().__str__()
        low, told = self.interval()[0], f"at least {show(Q_(self.horizon, self.unit))}"
        return told if float(low.magnitude) >= self.horizon else f"{show(low)} to {told}"


def _ranks(values: np.ndarray) -> np.ndarray:
    """Return the ranks of values about zero, with unit length."""
    ranks = np.argsort(np.argsort(values, kind="stable"), kind="stable") - (values.size - 1) / 2
    return np.asarray(ranks / (np.sqrt(ranks @ ranks) or 1))
