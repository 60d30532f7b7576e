"""Draws of everything uncertain, all together (JCGM 101:2008), and what comes out of them.

Row 0 is the best estimate; each further row draws every influence once. Rows are stratified, one of as many equal
parts of each influence's distribution a row (Latin hypercube), and keyed by the influence's name: the same influence
is drawn alike for every load, unit and outage, so that answers compare well and a slider does not jitter.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from copy import copy
from functools import cache
from typing import Any
from zlib import crc32

import numpy as np
import pandas as pd
import pint

from .estimate import Estimate, Influence, student
from .units import Q_, Refusal, registry, show, unit_name

DRAWS = 2000
COVERAGE = 0.95
FEWEST_DOF = 3  # below, Student's t has no variance: JCGM 101:2008, 6.4.9.4


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
        for name, given, least in (("draws", draws, 0), ("seed", seed, 0)):
            if not isinstance(given, int) or isinstance(given, bool) or given < least:
                raise Refusal(f"{name}={given!r}", f"a whole number of {least} or more", f"Write {name}={least + 1}.")
        self.draws, self.seed = draws, seed
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
            drawn = self._column(place, _table(influence.ends))
            if math.isfinite(influence.dof):
                drawn = drawn * self._scale(influence)
            self._drawn[key] = drawn
            self.inputs.setdefault(self._name(influence), []).append(drawn)
        return self._drawn[key]

    def evenly(self, name: str) -> np.ndarray:
        """Return draws spread evenly from 0 to 1, such as of an unknown phase; the best estimate has 0."""
        key = ("evenly", name)
        if key not in self._drawn:
            self._drawn[key] = self._column(name, _evenly)
            self.inputs[name] = [self._drawn[key]]
        return self._drawn[key]

    def further(self) -> Sampler:
        """Return the same sampler for what comes after, so that what is drawn there is no input here."""
        other = copy(self)
        other._drawn, other.inputs = dict(self._drawn), {name: list(each) for name, each in self.inputs.items()}
        return other

    def result(self, rows: np.ndarray, unit: str, horizon: float = math.inf) -> Drawn:
        """Return what came out of each row as a quantity."""
        return Drawn(np.where(self.within, rows, np.nan), unit, self, horizon)

    def rests_on(self) -> list[str]:
        """Return the table's coefficients that anything drawn comes from, each once."""
        return list(dict.fromkeys(entry for influence in self._twins for entry in influence.entries))

    def _name(self, influence: Influence) -> str:
        if influence not in self._twins:
            twins = sum(other.name == influence.name for other in self._twins)
            self._twins[influence] = influence.name if not twins else f"{influence.name} ({twins + 1})"
        return self._twins[influence]

    def _scale(self, influence: Influence) -> np.ndarray:
        """Return by how much a spread known from few readings may be larger: shared by all that it belongs to."""
        if influence not in self._drawn:
            drawn = self._column(f"{self._name(influence)} spread", _chi(max(influence.dof, FEWEST_DOF)))
            self._drawn[influence] = drawn * student(influence.dof) / student(max(influence.dof, FEWEST_DOF))
        return self._drawn[influence]

    def _column(self, name: str, table: Callable[[int], np.ndarray]) -> np.ndarray:
        rng = np.random.default_rng([self.seed, crc32(name.encode())])
        return np.append(0.0, rng.permutation(table(self.draws)))


def _middles(count: int) -> np.ndarray:
    return (np.arange(count) + 0.5) / max(count, 1)


def _evenly(count: int) -> np.ndarray:
    return _middles(count)


@cache
def _normal(count: int) -> np.ndarray:
    from scipy.special import ndtri

    return np.asarray(ndtri(_middles(count)))


def _table(ends: tuple[float, float] | None) -> Callable[[int], np.ndarray]:
    """Return the strata of an influence's distribution, in standard uncertainties."""
    return _normal if ends is None else lambda count: ends[0] + (ends[1] - ends[0]) * _middles(count)


@cache
def _chi(dof: float) -> Callable[[int], np.ndarray]:
    """Return the strata of sqrt(dof / chi squared)."""

    @cache
    def table(count: int) -> np.ndarray:
        from scipy.special import chdtri

        return np.sqrt(dof / chdtri(dof, _middles(count)))

    return table


class Drawn:
    """A quantity as all draws say: row 0 is the best estimate, the others tell how sure it is.

    Sums, differences and ratios of such quantities are taken row by row, so that what they share is kept. An end that
    no draw reaches, as of a run that outlasts what was asked, reads "at least".

    Parameters
    ----------
    rows : array of shape (draws + 1,)
        In ``unit``; inf where it lies beyond ``horizon``, nan where something lies beyond its physical limits.
    unit : str
        As in quantity text.
    sampler : Sampler
        What was drawn.
    horizon : float
        Where the rows that are inf were last seen [unit].
    """

    def __init__(self, rows: np.ndarray, unit: str, sampler: Sampler, horizon: float = math.inf) -> None:
        self.rows, self.unit, self.sampler, self.horizon = rows, unit, sampler, horizon

    @property
    def draws(self) -> np.ndarray:
        """The draws that lie within all limits, without the best estimate; inf where beyond the horizon [unit]."""
        held = self.rows[1:]
        return held[~np.isnan(held)]

    @property
    def value(self) -> pint.Quantity:
        """The best estimate, or the horizon where that lies beyond it."""
        return Q_(float(min(self.rows[0], self.horizon)), self.unit)

    @property
    def magnitude(self) -> float:
        """The best estimate as a plain number [unit]."""
        return float(self.value.magnitude)

    @property
    def u(self) -> pint.Quantity:
        """The standard deviation of the draws."""
        return Q_(float(np.minimum(self.draws, self.horizon).std(ddof=1)), self.unit)

    def interval(self, coverage: float = COVERAGE) -> tuple[pint.Quantity, pint.Quantity]:
        """Return the two ends that as many draws lie below as above; an end at the horizon reads "at least".

        References
        ----------
        JCGM 101:2008, 5.3.3 and 7.7.
        """
        if not 0 < coverage < 1:
            raise Refusal(f"coverage={coverage}", "a chance between 0 and 1", "Write coverage=0.95.")
        ends = np.quantile(np.minimum(self.draws, self.horizon), [(1 - coverage) / 2, (1 + coverage) / 2])
        return Q_(float(ends[0]), self.unit), Q_(float(ends[1]), self.unit)

    def expanded(self, coverage: float = COVERAGE) -> pint.Quantity:
        """Return half the width of the interval."""
        low, high = self.interval(coverage)
        return (high - low) / 2

    def chance_above(self, limit: Any) -> float:
        """Return the share of draws at or above ``limit`` [-]."""
        bound = limit.m_as(unit_name(self.unit)) if isinstance(limit, pint.Quantity) else float(limit)
        return float(np.mean(self.draws >= bound))

    def shares(self) -> pd.DataFrame:
        """Return what makes it uncertain: columns influence and share [-], the squared rank correlation."""
        kept = ~np.isnan(self.rows[1:])
        ranks = _ranks(np.minimum(self.draws, self.horizon))
        found = {name: sum(float(_ranks(each[1:][kept]) @ ranks) ** 2 for each in together)
                 for name, together in self.sampler.inputs.items()}  # fmt: skip
        table = pd.DataFrame({"influence": list(found), "share": list(found.values())})
        return table.sort_values("share", ascending=False, ignore_index=True)

    def to(self, unit: str) -> Drawn:
        """Return the same in another unit, spelt as in quantity text."""
        factor = float((1 * registry().Unit(unit_name(self.unit))).m_as(unit_name(unit)))
        return Drawn(self.rows * factor, unit, self.sampler, self.horizon * factor)

    def _with(self, other: Any, combine: Callable[[Any, Any], Any], unit: str) -> Drawn:
        theirs = other.to(self.unit if unit else other.unit).rows if isinstance(other, Drawn) else other
        both = [np.minimum(self.rows, self.horizon), theirs]
        if isinstance(other, Drawn):
            both[1] = np.minimum(both[1], other.horizon)
        return Drawn(combine(*both), unit, self.sampler)

    def __add__(self, other: Drawn) -> Drawn:
        return self._with(other, np.add, self.unit)

    def __sub__(self, other: Drawn) -> Drawn:
        return self._with(other, np.subtract, self.unit)

    def __neg__(self) -> Drawn:
        return Drawn(-self.rows, self.unit, self.sampler)

    def spoken(self) -> tuple[str, str]:
        """Return value and half width at 95 % as text, both rounded to the half width's second figure.

        References
        ----------
        JCGM 100:2008, 7.2.6.
        """
        half = self.expanded()
        size = float(half.magnitude)
        digits = max(0, 1 - math.floor(math.log10(size))) if size > 0 else None
        return show(self.value, digits), show(half, digits)

    def __str__(self) -> str:
        """Return value and half width, "28.4 h, give or take 3.5 h", or "at least 72 h"."""
        low, high = self.interval()
        if float(high.magnitude) < self.horizon:
            return "{}, give or take {}".format(*self.spoken())
        at_least = f"at least {show(Q_(self.horizon, self.unit))}"
        return at_least if float(low.magnitude) >= self.horizon else f"{show(low)} to {at_least}"

    def __repr__(self) -> str:
        low, high = self.interval()
        return f"<Drawn {show(self.value)}, 95 %: {show(low)} to {show(high)}>"

    def _repr_html_(self) -> str:
        return f"<span>{self}</span>"


def _ranks(values: np.ndarray) -> np.ndarray:
    """Return the ranks of values about zero, with unit length."""
    ranks = np.argsort(np.argsort(values, kind="stable"), kind="stable") - (values.size - 1) / 2
    return np.asarray(ranks / (np.sqrt(ranks @ ranks) or 1))
