"""Estimates: a quantity with its standard uncertainty, its influences and degrees of freedom.

Propagation is first order and keeps correlations: two estimates that rest on the same influence (one
meter's gain, say) know it. The arithmetic is that of the PyPI library ``uncertainties``; this module
adds units, named influences with degrees of freedom, and the budget.

The terms are those of JCGM 100:2008 (GUM).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, cast

import numpy as np
import pint
from pint.compat import upcast_type_map
from uncertainties import correlated_values, ufloat
from uncertainties.core import AffineScalarFunc, LinearCombination

from .units import Refusal, positive, quantity, read_quantity, registry, show, unit_name


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


class Estimate:
    """A quantity and how well it is known.

    Make one with `Estimate.exact`, `Estimate.standard`, `Estimate.within`, `Estimate.readings` or
    `Estimate.jointly`. Estimates add, subtract, multiply and divide with each other, with Quantities
    and with plain numbers; shared influences are kept.

    Examples
    --------
    >>> power = Estimate.standard("50 W", "1 W", "meter gain")
    >>> (power * read_quantity("24 h")).to("Wh")
    <Estimate 1,200 Wh, 95 %: 1,153 to 1,247 Wh>
    >>> (power - power).u.magnitude
    0.0
    """

    __slots__ = ("_held",)
    __array_ufunc__ = None  # so that an ndarray leaves the arithmetic to this class

    def __init__(self, held: Any) -> None:
        self._held: pint.Quantity = held

    # -- ways to make one ------------------------------------------------------------------------

    @classmethod
    def exact(cls, value: Any, unit: str | None = None) -> Estimate:
        """Return an estimate without uncertainty; ``value`` is a Quantity or text [any unit]."""
        return cls(_any(value, unit))

    @classmethod
    def standard(
        cls, value: Any, u: Any, name: str, *, dof: float = math.inf, source: str = "", entries: tuple[str, ...] = ()
    ) -> Estimate:
        """Return an estimate with the standard uncertainty ``u``.

        Parameters
        ----------
        value, u : str or pint.Quantity
            The value and its standard uncertainty [same dimension].
        name : str
            The influence's name in budgets.
        dof : float
            Degrees of freedom of ``u`` [-].
        source : str
            Where ``u`` comes from.
        entries : tuple of str
            The table's coefficients behind it.
        """
        held = _any(value)
        return cls._of(held, _width(u, held), Influence(name, dof, source, None, entries))

    @classmethod
    def within(cls, value: Any, half_width: Any, name: str, *, source: str = "") -> Estimate:
        """Return an estimate that is anywhere within ``value`` +- ``half_width`` with equal chance.

        u = half_width / sqrt(3)                                                              (1)

        Parameters
        ----------
        value, half_width : str or pint.Quantity
            The middle and half the width of the band [same dimension].
        name, source : str
            The influence's name in budgets, and where the band comes from.

        References
        ----------
        JCGM 100:2008, 4.3.7. A resolution d is a band of half-width d/2, so u = d / sqrt(12), F.2.2.1.
        """
        held = _any(value)
        root = math.sqrt(3)
        return cls._of(held, _width(half_width, held) / root, Influence(name, math.inf, source, (-root, root)))  # (1)

    @classmethod
    def band(
        cls, value: Any, low: Any, high: Any, name: str, *, source: str = "", entries: tuple[str, ...] = ()
    ) -> Estimate:
        """Return an estimate that is anywhere from ``low`` to ``high`` with equal chance, best taken as ``value``.

        u^2 = (high - low)^2 / 12 + (value - (low + high) / 2)^2                              (1)

        Parameters
        ----------
        value, low, high : str or pint.Quantity
            The value, in the middle of its band or not, and the band's ends [same dimension].
        name, source, entries
            As in `standard`.
        """
        held = _any(value)
        middle, unit = float(held.magnitude), held.units
        ends = [float(_any(end).to(unit).magnitude) - middle for end in (low, high)]
        u = math.hypot((ends[1] - ends[0]) / math.sqrt(12), (ends[0] + ends[1]) / 2)  # (1)
        if not u:
            return cls.exact(held)
        return cls._of(held, u, Influence(name, math.inf, source, (ends[0] / u, ends[1] / u), entries))

    @classmethod
    def readings(cls, values: Sequence[Any], name: str, unit: str | None = None) -> Estimate:
        """Return the mean of repeated independent readings (type A).

        u = s / sqrt(n), with n - 1 degrees of freedom                                        (1)

        Parameters
        ----------
        values : sequence of str or pint.Quantity, or numbers with ``unit``
            The readings, two or more [same dimension].
        name : str
            The influence's name in budgets.
        unit : str, optional
            The unit of plain numbers.

        References
        ----------
        JCGM 100:2008, 4.2.
        """
        if len(values) < 2:
            raise Refusal(f"{len(values)} reading", "two or more", "Take another reading, or use Estimate.within.")
        held = [_any(value, unit) for value in values]
        numbers = np.array([float(q.to(held[0].units).magnitude) for q in held])
        u = float(numbers.std(ddof=1)) / math.sqrt(numbers.size)  # (1)
        mean = registry().Quantity(float(numbers.mean()), held[0].units)
        return cls._of(mean, u, Influence(name, numbers.size - 1))

    @classmethod
    def jointly(
        cls,
        values: Sequence[float],
        covariance: Any,
        units: Sequence[str],
        name: str,
        *,
        dof: float = math.inf,
        source: str = "",
        entries: tuple[str, ...] = (),
    ) -> list[Estimate]:
        """Return estimates that were found together, such as a line's intercept and slope.

        Parameters
        ----------
        values : sequence of float, n of them
            In ``units``.
        covariance : array of n by n
            Their covariance, in products of ``units``.
        units : sequence of str
            Their units.
        name : str
            The one influence's name in budgets.
        dof : float
            Degrees of freedom of the covariance [-].
        source, entries
            As in `standard`.
        """
        together = Influence(name, dof, source, None, entries)
        found = correlated_values(list(values), np.asarray(covariance, float), tags=[together] * len(values))
        return [cls(registry().Quantity(one, unit_name(unit))) for one, unit in zip(found, units, strict=True)]

    @classmethod
    def _of(cls, value: pint.Quantity, u: float, influence: Influence) -> Estimate:
        held = float(value.magnitude)
        return cls(registry().Quantity(ufloat(held, u, influence) if u else held, value.units))

    # -- what it says ----------------------------------------------------------------------------

    @property
    def _affine(self) -> AffineScalarFunc:
        magnitude = self._held.magnitude
        if isinstance(magnitude, AffineScalarFunc):
            return magnitude
        return AffineScalarFunc(float(magnitude), LinearCombination({}))

    @property
    def value(self) -> pint.Quantity:
        """The best estimate."""
        return registry().Quantity(float(self._affine.nominal_value), self._held.units)

    @property
    def u(self) -> pint.Quantity:
        """The combined standard uncertainty."""
        return registry().Quantity(float(self._affine.std_dev), _difference(self._held.units))

    def slopes(self) -> dict[Any, float]:
        """Return how it moves with each variable that it rests on, in its own unit."""
        return dict(self._affine.derivatives)

    def _shares(self) -> dict[Influence, float]:
        """Return each influence's variance, in the square of the estimate's unit."""
        shares: dict[Influence, float] = {}
        for variable, part in self._affine.error_components().items():
            influence = variable.tag
            shares[influence] = shares.get(influence, 0.0) + part**2
        return shares

    @property
    def dof(self) -> float:
        """The effective degrees of freedom (Welch-Satterthwaite, JCGM 100:2008, G.4.1) [-]."""
        shares = self._shares()
        total = sum(shares.values())
        weight = sum(part**2 / influence.dof for influence, part in shares.items() if part > 0)
        return total**2 / weight if weight > 0 else math.inf

    def interval(self, coverage: float = 0.95) -> tuple[pint.Quantity, pint.Quantity]:
        """Return the two ends of the interval that holds the value with chance ``coverage``.

        value +- t(coverage, dof) u                                                           (1)

        Parameters
        ----------
        coverage : float
            Between 0 and 1, exclusive [-].

        References
        ----------
        JCGM 100:2008, G.3.2 and Table G.2.
        """
        if not 0 < coverage < 1:
            raise Refusal(f"coverage={coverage}", "a chance between 0 and 1", "Write coverage=0.95.")
        half = self._half(coverage)
        middle, unit = float(self._affine.nominal_value), self._held.units
        return registry().Quantity(middle - half, unit), registry().Quantity(middle + half, unit)  # (1)

    def expanded(self, coverage: float = 0.95) -> pint.Quantity:
        """Return the half width of the interval: t(coverage, dof) u."""
        return registry().Quantity(self._half(coverage), _difference(self._held.units))

    def _half(self, coverage: float) -> float:
        return student(self.dof, coverage) * float(self._affine.std_dev)

    def chance_above(self, limit: Any) -> float:
        """Return the chance that the true value lies above ``limit`` [-].

        The value is taken as Student's t about the estimate, with `u` and `dof`.
        """
        from scipy.special import stdtr

        bound = float(_any(limit).to(self._held.units).magnitude)
        distance, u, dof = float(self._affine.nominal_value) - bound, float(self._affine.std_dev), self.dof
        if u == 0:
            return 1.0 if distance >= 0 else 0.0
        return float(stdtr(dof if math.isfinite(dof) else 1e12, distance / u))

    def rests_on(self) -> list[str]:
        """Return the table's coefficients that its uncertainty comes from, each once."""
        return list(dict.fromkeys(name for influence, part in self._shares().items() if part > 0
                                  for name in influence.entries))  # fmt: skip

    def budget(self) -> Any:
        """Return a table of what makes it uncertain, the largest first.

        Returns
        -------
        pandas.DataFrame
            Columns: influence, standard uncertainty (in the estimate's unit), share [-], degrees of
            freedom [-], source. Shares sum to one.
        """
        import pandas as pd

        shares = {influence: part for influence, part in self._shares().items() if part > 0}
        total = sum(shares.values()) or 1.0
        rows = [
            {
                "influence": influence.name,
                f"standard uncertainty ({self.u.units:~P})": math.sqrt(part),
                "share": part / total,
                "degrees of freedom": influence.dof,
                "source": influence.source,
            }
            for influence, part in sorted(shares.items(), key=lambda item: -item[1])
        ]
        return pd.DataFrame(rows, columns=["influence", f"standard uncertainty ({self.u.units:~P})", "share",
                                           "degrees of freedom", "source"])  # fmt: skip

    def correlation(self, other: Estimate) -> float:
        """Return the correlation with another estimate [-]: -1 to 1."""
        from uncertainties import correlation_matrix

        return float(correlation_matrix([self._affine, other._affine])[0, 1])

    # -- arithmetic ------------------------------------------------------------------------------

    def to(self, unit: str) -> Estimate:
        """Return the same estimate in another unit, spelt as in quantity text."""
        return Estimate(registry().Quantity(self._held.m_as(unit_name(unit)), unit_name(unit)))

    def __add__(self, other: Any) -> Estimate:
        return Estimate(self._held + _operand(other))

    def __radd__(self, other: Any) -> Estimate:
        return self if isinstance(other, int) and other == 0 else Estimate(_operand(other) + self._held)

    def __sub__(self, other: Any) -> Estimate:
        return Estimate(self._held - _operand(other))

    def __rsub__(self, other: Any) -> Estimate:
        return Estimate(_operand(other) - self._held)

    def __mul__(self, other: Any) -> Estimate:
        return Estimate(self._held * _operand(other))

    __rmul__ = __mul__

    def __truediv__(self, other: Any) -> Estimate:
        return Estimate(self._held / _operand(other))

    def __rtruediv__(self, other: Any) -> Estimate:
        return Estimate(_operand(other) / self._held)

    def __pow__(self, power: float) -> Estimate:
        return Estimate(self._held**power)

    def __neg__(self) -> Estimate:
        return Estimate(-self._held)

    def spoken(self) -> tuple[str, str]:
        """Return value and half width at 95 % as text, both rounded to the half width's second figure.

        Example
        -------
        >>> Estimate.standard("786.43 Wh", "38.6 Wh", "x").spoken()
        ('786 Wh', '76 Wh')

        References
        ----------
        JCGM 100:2008, 7.2.6.
        """
        half = self.expanded()
        size = float(half.magnitude)
        digits = max(0, 1 - math.floor(math.log10(size))) if size > 0 else None
        return show(self.value, digits), show(half, digits)

    def __str__(self) -> str:
        """Return value and half width: "786 Wh, give or take 76 Wh"."""
        return "{}, give or take {}".format(*self.spoken())

    def __repr__(self) -> str:
        low, high = self.interval()
        digits = 0 if self._half(0.95) >= 10 else None
        low_text = show(low, digits).rsplit(" ", 1)[0] if " " in show(low, digits) else show(low, digits)
        return f"<Estimate {show(self.value, digits)}, 95 %: {low_text} to {show(high, digits)}>"

    def _repr_html_(self) -> str:
        return f"<span>{self}</span>"


# A Quantity leaves the arithmetic to this class, too.
cast(dict[str, type], upcast_type_map)[f"{Estimate.__module__}.{Estimate.__qualname__}"] = Estimate


Formula = Callable[[Any], np.ndarray]  # numbers in, an array of numbers out


def through(formula: Formula, inputs: Sequence[Estimate], units: Sequence[str]) -> list[Estimate]:
    """Return what ``formula`` makes of the inputs, in ``units``, with every influence kept (first order).

    y = f(x0) + sum of df/dx (x - x0),   by central differences                               (1)
    """
    at, quantity_in = values(inputs), registry().Quantity
    names = [unit_name(unit) for unit in units]
    found = [Estimate.exact(quantity_in(float(value), unit)) for value, unit in zip(formula(at), names, strict=True)]
    for each, one in zip(inputs, np.eye(at.size), strict=True):
        step = one * float(each.u.magnitude) / 100
        if not step.any():
            continue
        slopes = (formula(at + step) - formula(at - step)) / (2 * step.sum())
        about = (each - each.value) / (1 * each.value.units)
        found = [value + about * quantity_in(float(slope), unit)  # (1)
                 for value, slope, unit in zip(found, slopes, names, strict=True)]  # fmt: skip
    return found


def student(dof: float, coverage: float = 0.95) -> float:
    """Return Student's t for a two-sided interval [-]."""
    from scipy.special import stdtrit

    return float(stdtrit(dof if math.isfinite(dof) else 1e12, (1 + coverage) / 2))


def values(estimates: Sequence[Estimate]) -> np.ndarray:
    """Return the values, plain numbers in the estimates' own units."""
    return np.array([float(each.value.magnitude) for each in estimates])


def estimate(value: Any, unit: str, name: str) -> Estimate:
    """Return ``value`` as an Estimate in ``unit``: the guard for arguments that may be uncertain.

    Parameters
    ----------
    value : Estimate, str or pint.Quantity
        Text and Quantities are taken as exact.
    unit, name : str
        The unit needed and the argument's name, for the message.
    """
    if isinstance(value, Estimate):
        quantity(value.value, unit, name)
        return value.to(unit)
    return Estimate.exact(quantity(value, unit, name))


def not_negative(value: Any, unit: str, name: str) -> Estimate:
    """Return ``value`` as an Estimate in ``unit``, refused where it lies below zero."""
    found = estimate(value, unit, name)
    positive(found.value, unit, name, zero=True)
    return found


def _any(value: Any, unit: str | None = None) -> pint.Quantity:
    """Return text, a Quantity, or a number with ``unit`` as a Quantity."""
    if isinstance(value, str):
        return read_quantity(value)
    if isinstance(value, pint.Quantity):
        return value
    if unit is not None:
        return registry().Quantity(float(value), unit_name(unit))
    raise Refusal(f"the bare number {value}", "a quantity", f'Write its unit with it, for example "{value} W".')


def _width(u: Any, held: pint.Quantity) -> float:
    """Return an uncertainty as a plain number in the unit of what it belongs to."""
    given = _any(u)
    if held.check("[temperature]"):  # "2 degC" is here a difference, not a temperature
        given = registry().Quantity(given.magnitude, _difference(given.units))
    try:
        width = float(given.to(_difference(held.units)).magnitude)
    except pint.DimensionalityError:
        width = math.nan
    if not 0 <= width < math.inf:
        raise Refusal(
            f"an uncertainty of {u} for {show(held)}",
            "a finite uncertainty of zero or more in a unit of the same kind",
            f'Write for example "1 {_difference(held.units):~P}".',
        )
    return width


def _difference(unit: Any) -> Any:
    """Return the unit in which differences are measured (temperatures have their own)."""
    own = {"degree_Celsius": "delta_degree_Celsius", "kelvin": "delta_degree_Celsius",
           "degree_Fahrenheit": "delta_degree_Fahrenheit"}  # fmt: skip
    return registry().Unit(own[f"{unit:D}"]) if f"{unit:D}" in own else unit


def _operand(other: Any) -> Any:
    """Return what pint should calculate with."""
    return other._held if isinstance(other, Estimate) else _any(other) if isinstance(other, str) else other
