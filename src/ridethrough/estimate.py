"""Estimates: a quantity with its standard uncertainty, its influences and degrees of freedom; and guards for them.

First order, correlations kept by the PyPI library ``uncertainties``; terms as in JCGM 100:2008 (GUM).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, cast

import numpy as np
import pandas as pd
import pint
from pint.compat import upcast_type_map
from uncertainties import correlated_values, correlation_matrix, ufloat
from uncertainties.core import to_affine_scalar

from .known import COVERAGE, Arithmetic, Known, apart, ends_of, student
from .units import Q_, Refusal, difference_unit, positive, quantity, registry, width_of


@dataclass(frozen=True, eq=False)
class Influence:
    """One reason why a number is not exact; two influences are the same only if they are one object.

    Parameters
    ----------
    name : str
        What a budget calls it.
    dof : float
        Degrees of freedom of its standard uncertainty [-]; infinite where it is taken as known.
    source : str
        Where its size comes from.
    ends : (float, float), optional
        Ends of a band in which every value has equal chance, from the value and in standard uncertainties [-].
    entries : tuple of str
        The table's coefficients that its size comes from.
    """

    name: str
    dof: float = math.inf
    source: str = ""
    ends: tuple[float, float] | None = None
    entries: tuple[str, ...] = ()


class Estimate(Arithmetic, Known):
    """A quantity and how well it is known.

    Make one with `exact`, `standard`, `within`, `band`, `readings` or `jointly`. Estimates calculate with each other,
    with Quantities and with plain numbers; shared influences are kept.

    Examples
    --------
    >>> power = Estimate.standard("50 W", "1 W", "meter gain")
    >>> power * 24
    <Estimate 1,200 W, 95 %: 1,153 to 1,247 W>
    >>> (power - power).u.magnitude
    0.0
    """

    @classmethod
    def exact(cls, value: Any) -> Estimate:
        """Return an estimate without uncertainty; ``value`` is a Quantity or text [any unit]."""
        return cls(Q_(value))

    @classmethod
    def standard(cls, value: Any, u: Any, name: str, **about: Any) -> Estimate:
        """Return an estimate with the standard uncertainty ``u``.

        Parameters
        ----------
        value, u : str or pint.Quantity
            The value and its standard uncertainty [same dimension].
        name, about
            The influence's name in budgets, and what else an `Influence` says: dof, source, entries.
        """
        held = Q_(value)
        return cls._of(held, width_of(u, held), Influence(name, **about))

    @classmethod
    def within(cls, value: Any, half_width: Any, name: str, **about: Any) -> Estimate:
        """Return an estimate that is anywhere within ``value`` +- ``half_width`` with equal chance.

        u = half_width / sqrt(3)                                                              (1)

        Parameters
        ----------
        value, half_width : str or pint.Quantity
            The middle and half the width of the band [same dimension].
        name, about
            As in `standard`.

        References
        ----------
        JCGM 100:2008, 4.3.7. A resolution d is a band of half-width d/2, so u = d / sqrt(12), F.2.2.1.
        """
        held, root = Q_(value), math.sqrt(3)
        return cls._of(held, width_of(half_width, held) / root, Influence(name, ends=(-root, root), **about))  # (1)

    @classmethod
    def band(cls, value: Any, low: Any, high: Any, name: str, **about: Any) -> Estimate:
        """Return an estimate that is anywhere from ``low`` to ``high`` with equal chance, best taken as ``value``.

        u^2 = (high - low)^2 / 12 + (value - (low + high) / 2)^2                              (1)

        Parameters
        ----------
        value, low, high : str or pint.Quantity
            The value, in the middle of its band or not, and the band's ends [same dimension].
        name, about
            As in `standard`.
        """
        held = Q_(value)
        middle, unit = float(held.magnitude), held.units
        ends = [float(Q_(end).to(unit).magnitude) - middle for end in (low, high)]
        u = math.hypot((ends[1] - ends[0]) / math.sqrt(12), (ends[0] + ends[1]) / 2)  # (1)
        return cls._of(held, u, Influence(name, ends=(ends[0] / u, ends[1] / u), **about)) if u else cls.exact(held)

    @classmethod
    def readings(cls, values: Sequence[Any], name: str, unit: str | None = None) -> Estimate:
        """Return the mean of repeated independent readings (type A).

        u = s / sqrt(n), with n - 1 degrees of freedom                                        (1)

        Parameters
        ----------
        values : sequence of str or pint.Quantity, or numbers with ``unit``
            The readings, two or more [same dimension].
        name, unit : str
            The influence's name in budgets, and the unit of plain numbers.

        References
        ----------
        JCGM 100:2008, 4.2.
        """
        if len(values) < 2:
            raise Refusal(f"{len(values)} reading", "two or more", "Take another reading, or use Estimate.within.")
        held = [Q_(value, unit) for value in values]
        numbers = np.array([float(q.to(held[0].units).magnitude) for q in held])
        u = float(numbers.std(ddof=1)) / math.sqrt(numbers.size)  # (1)
        return cls._of(registry().Quantity(float(numbers.mean()), held[0].units), u, Influence(name, numbers.size - 1))

    @classmethod
    def jointly(
        cls, values: Sequence[float], covariance: Any, units: Sequence[str], name: str, **about: Any
    ) -> list[Estimate]:
        """Return estimates that were found together, such as a line's intercept and slope.

        Parameters
        ----------
        values, units : sequences of float and of str, n of them
            In ``units``, each in its own.
        covariance : array of n by n
            Their covariance, in products of ``units``.
        name, about
            As in `standard`; the one influence's, and the covariance's.
        """
        together, spread = Influence(name, **about), np.asarray(covariance, float)
        own = np.sqrt(np.diag(spread))
        if not np.any(spread - np.diag(np.diag(spread))):  # known together in how sure they are, and no further
            return [cls._of(Q_(one, unit), float(u), together)
                    for one, u, unit in zip(values, own, units, strict=True)]  # fmt: skip
        found = correlated_values(list(values), spread, tags=[together] * len(values))
        return [cls(Q_(one, unit)) for one, unit in zip(found, units, strict=True)]

    @classmethod
    def _of(cls, value: pint.Quantity, u: float, influence: Influence) -> Estimate:
        held = float(value.magnitude)
        return cls(registry().Quantity(ufloat(held, u, influence) if u else held, value.units))

    @property
    def _affine(self) -> Any:
        return to_affine_scalar(self._held.magnitude)

    @property
    def value(self) -> pint.Quantity:
        """The best estimate."""
        return registry().Quantity(float(self._affine.nominal_value), self._held.units)

    @property
    def u(self) -> pint.Quantity:
        """The combined standard uncertainty."""
        return registry().Quantity(float(self._affine.std_dev), difference_unit(self._held.units))

    def slopes(self) -> dict[Any, float]:
        """Return how it moves with each variable that it rests on, in its own unit."""
        return dict(self._affine.derivatives)

    def _shares(self) -> dict[Influence, float]:
        """Return the variance of each influence that matters, in the square of the estimate's unit."""
        shares: dict[Influence, float] = {}
        for variable, part in self._affine.error_components().items():
            shares[variable.tag] = shares.get(variable.tag, 0.0) + part**2
        return {influence: variance for influence, variance in shares.items() if variance > 0}

    @property
    def dof(self) -> float:
        """The effective degrees of freedom (Welch-Satterthwaite, JCGM 100:2008, G.4.1) [-]."""
        shares = self._shares()
        weight = sum(variance**2 / influence.dof for influence, variance in shares.items())
        return sum(shares.values()) ** 2 / weight if weight > 0 else math.inf

    def interval(self, coverage: float = COVERAGE) -> tuple[pint.Quantity, pint.Quantity]:
        """Return the two ends of the interval that holds the value with chance ``coverage`` [-].

        value +- t(coverage, dof) u                                                           (1)

        References
        ----------
        JCGM 100:2008, G.3.2 and Table G.2.
        """
        ends_of(coverage)  # refuses what is no chance
        half = student(self.dof, coverage) * self.u
        return self.value - half, self.value + half

    def budget(self) -> pd.DataFrame:
        """Return a table of what makes it uncertain, the largest first.

        Returns
        -------
        pandas.DataFrame
            Columns: influence, standard uncertainty (in the estimate's unit), share [-], degrees of
            freedom [-], source. Shares sum to one.
        """
        ranked = sorted(self._shares().items(), key=lambda item: -item[1])
        variances = np.array([variance for _, variance in ranked])
        columns = {
            "influence": apart(influence.name for influence, _ in ranked),
            f"standard uncertainty ({self.u.units:~P})": np.sqrt(variances),
            "share": variances / variances.sum(),
            "degrees of freedom": [influence.dof for influence, _ in ranked],
            "source": [influence.source for influence, _ in ranked],
        }
        return pd.DataFrame(columns)

    def correlation(self, other: Estimate) -> float:
        """Return the correlation with another estimate [-]: -1 to 1."""
        return float(correlation_matrix([self._affine, other._affine])[0, 1])


# A Quantity leaves the arithmetic to this class, too.
cast(dict[str, type], upcast_type_map)[f"{Estimate.__module__}.{Estimate.__qualname__}"] = Estimate


def through(
    formula: Callable[[np.ndarray], np.ndarray], inputs: Sequence[Estimate], units: Sequence[str]
) -> list[Estimate]:
    """Return what ``formula`` makes of the inputs, in ``units``, with every influence kept (first order).

    y = f(x0) + sum of df/dx (x - x0),   by central differences                               (1)
    """
    at = values(inputs)
    found = [Estimate.exact(Q_(float(value), unit)) for value, unit in zip(formula(at), units, strict=True)]
    for each, one in zip(inputs, np.eye(at.size), strict=True):
        step = one * float(each.u.magnitude) / 100
        if not step.any():
            continue
        slopes = (formula(at + step) - formula(at - step)) / (2 * step.sum())
        about = (each - each.value) / (1 * each.value.units)  # (1)
        found = [was + about * Q_(float(slope), unit) for was, slope, unit in zip(found, slopes, units, strict=True)]
    return found


def values(estimates: Sequence[Estimate]) -> np.ndarray:
    """Return the values, plain numbers in the estimates' own units."""
    return np.array([each.magnitude for each in estimates])


Guard = Callable[[Any, str, str], pint.Quantity]


def estimate(value: Any, unit: str, name: str, usual: Estimate | None = None, guard: Guard = quantity) -> Estimate:
    """Return ``value`` as an Estimate in ``unit``: the guard for arguments that may be uncertain.

    Parameters
    ----------
    value : Estimate, str or pint.Quantity
        Text and Quantities are taken as exact.
    unit, name : str
        The unit needed and the argument's name, for the message.
    usual : Estimate, optional
        What stands in where ``value`` is None.
    guard : {quantity, positive}
        What refuses a value.
    """
    if value is None and usual is not None:
        return usual
    if isinstance(value, Estimate):
        guard(value.value, unit, name)
        return value.to(unit)
    return Estimate.exact(guard(value, unit, name))


def not_negative(value: Any, unit: str, name: str) -> Estimate:
    """Return ``value`` as an Estimate in ``unit``, refused where it lies below zero."""
    return estimate(value, unit, name, guard=partial(positive, zero=True))
