"""Quantities as all draws say: what comes out when everything uncertain is drawn together."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import pint

from .known import COVERAGE, Known, ends_of
from .units import Q_, number, of_kind, registry, show, unit_name

CHANCE = 10  # over the number of draws: a squared correlation that chance alone may give


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
    def magnitude(self) -> float:
        """The best estimate as a plain number [unit]."""
        return float(self.value.magnitude)

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
        factor = float((1 * registry().Unit(unit_name(self.unit))).m_as(unit_name(unit)))
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
        """Return value and half width, "28.4 h, give or take 3.5 h", or "at least 72 h"."""
        low, high = self.interval()
        if float(high.magnitude) < self.horizon:
            return super().__str__()
        at_least = f"at least {show(Q_(self.horizon, self.unit))}"
        return at_least if float(low.magnitude) >= self.horizon else f"{show(low)} to {at_least}"


def _ranks(values: np.ndarray) -> np.ndarray:
    """Return the ranks of values about zero, with unit length."""
    ranks = np.argsort(np.argsort(values, kind="stable"), kind="stable") - (values.size - 1) / 2
    return np.asarray(ranks / (np.sqrt(ranks @ ranks) or 1))
