"""What every number with a give or take can say, whether it was propagated or drawn, and how one calculates."""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Iterable
from html import escape
from typing import Any, Self

import pint

from .units import Q_, Refusal, difference_unit, registry, show, unit_name

COVERAGE = 0.95
_ROUNDING = 1e-12  # of a value: a smaller half width is none


class Known:
    """A quantity and how well it is known; `Estimate` and `Drawn` are."""

    @property
    def value(self) -> pint.Quantity:
        """The best estimate."""
        raise NotImplementedError

    @property
    def magnitude(self) -> float:
        """The best estimate as a plain number, in its own unit."""
        return float(self.value.magnitude)

    def interval(self, coverage: float = COVERAGE) -> tuple[pint.Quantity, pint.Quantity]:
        """Return the two ends of the interval that holds the value with chance ``coverage`` [-]."""
        raise NotImplementedError

    @property
    def at_least(self) -> bool:
        """Whether it may be larger than it was followed."""
        return False

    def expanded(self, coverage: float = COVERAGE) -> pint.Quantity:
        """Return half the width of the interval."""
        low, high = self.interval(coverage)
        return ((high - low) / 2).to(difference_unit(high.units))

    def spoken(self) -> tuple[str, str]:
        """Return as text the value, and how well it is known at 95 %, both rounded to the half width's second figure.

        That is "give or take 76 Wh"; "between 241 Wh and 366 Wh" where the value lies far from the middle of that.

        References
        ----------
        JCGM 100:2008, 7.2.6.
        """
        (low, high), half = self.interval(), self.expanded()
        value, size = self.magnitude, float(half.magnitude)
        told = size > _ROUNDING * abs(value)
        digits = max(0, 1 - math.floor(math.log10(size))) if told else None
        doubt = f"give or take {show(half, digits)}"
        if told and abs(float(low.magnitude) + float(high.magnitude) - 2 * value) > size:
            doubt = f"between {show(low, digits)} and {show(high, digits)}"
        return show(self.value, digits), doubt

    def _not_compared(self, other: Any) -> bool:
        """Refuse what has no answer: whether something uncertain is as large as, or larger than, something else."""
        raise Refusal(f"{self}, compared with {other}", "two numbers without a give or take",
                      "Compare its .value, or an end of its .interval().")  # fmt: skip

    __lt__ = __le__ = __gt__ = __ge__ = _not_compared

    def __eq__(self, other: object) -> bool:  # what holds estimates is looked for by them: each equals itself alone
        return self._not_compared(other) if isinstance(other, pint.Quantity | int | float) else self is other

    __hash__ = object.__hash__

    def __str__(self) -> str:
        """Return value and doubt: "786 Wh, give or take 76 Wh"."""
        return ", ".join(self.spoken())

    def __repr__(self) -> str:
        low, high = self.interval()
        digits = 0 if float(self.expanded().magnitude) >= 10 else None
        ends = f"{show(low, digits).rsplit(' ', 1)[0]} to {show(high, digits)}"
        return f"<{type(self).__name__} {show(self.value, digits)}, 95 %: {ends}>"

    def _repr_html_(self) -> str:
        return f"<span>{self}</span>"


def notes(kind: str, said: Iterable[str]) -> str:
    """Return notes for a ``repr``, each on a line of its own: "caution: ...", "warning: ..."."""
    return "".join(f"\n  {kind}: {each}" for each in said)


class Listed:
    """What says as HTML what its ``repr`` says: the first line, then its notes as a list."""

    def _repr_html_(self) -> str:
        head, *below = map(escape, repr(self)[1:-1].split("\n"))
        return f"<div>{head}<ul>{''.join(f'<li>{note.strip()}</li>' for note in below)}</ul></div>"


class Arithmetic:
    """What calculates by the quantity that it holds; the result is of the same kind."""

    __array_ufunc__ = None  # so that an ndarray leaves the arithmetic to this class

    def __init__(self, held: Any) -> None:
        self._held: pint.Quantity = held

    def to(self, unit: str) -> Self:
        """Return the same in another unit, spelt as in quantity text."""
        return self._by(lambda held, name: registry().Quantity(held.m_as(name), name), self._held, unit_name(unit))

    def _by(self, how: Callable[[Any, Any], Any], one: Any, other: Any) -> Self:
        """Return what pint makes of both, or refuse what it can't take together."""
        try:
            return type(self)(how(one, other))
        except pint.DimensionalityError as error:
            raise Refusal(f"{error.units1} and {error.units2} together", "two quantities of one kind",
                          "A power times a time is an energy, an energy over a time is a power.") from None  # fmt: skip

    def __add__(self, other: Any) -> Self:
        return self._by(operator.add, self._held, _operand(other))

    def __radd__(self, other: Any) -> Self:
        return self if isinstance(other, int) and other == 0 else self._by(operator.add, _operand(other), self._held)

    def __sub__(self, other: Any) -> Self:
        return self._by(operator.sub, self._held, _operand(other))

    def __rsub__(self, other: Any) -> Self:
        return self._by(operator.sub, _operand(other), self._held)

    def __mul__(self, other: Any) -> Self:
        return type(self)(self._held * _operand(other))

    __rmul__ = __mul__

    def __truediv__(self, other: Any) -> Self:
        return type(self)(self._held / _operand(other))

    def __rtruediv__(self, other: Any) -> Self:
        return type(self)(_operand(other) / self._held)

    def __pow__(self, power: float) -> Self:
        return type(self)(self._held**power)

    def __neg__(self) -> Self:
        return type(self)(-self._held)


def _operand(other: Any) -> Any:
    """Return what pint should calculate with."""
    return other._held if isinstance(other, Arithmetic) else Q_(other) if isinstance(other, str) else other


def apart(names: Iterable[str]) -> list[str]:
    """Return names with a number behind each that stood before: "meter gain", "meter gain (2)"."""
    told = list(names)
    twins = [told[:place].count(name) for place, name in enumerate(told)]
    return [f"{name} ({twin + 1})" if twin else name for name, twin in zip(told, twins, strict=True)]


def ends_of(coverage: float) -> tuple[float, float]:
    """Return the two shares that lie below the ends of a symmetric interval [-]."""
    if not isinstance(coverage, float) or not 0 < coverage < 1:
        raise Refusal(f"coverage={coverage!r}", "a chance between 0 and 1", "Write coverage=0.95.")
    return (1 - coverage) / 2, (1 + coverage) / 2


def student(dof: float, coverage: float = COVERAGE) -> float:
    """Return Student's t for a two-sided interval [-]."""
    from scipy.special import stdtrit

    return float(stdtrit(dof if math.isfinite(dof) else 1e12, (1 + coverage) / 2))
