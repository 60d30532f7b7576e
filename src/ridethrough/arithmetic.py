"""Sums, differences, products and ratios of what holds a quantity, with each other and with Quantities."""

from __future__ import annotations

from typing import Any, Self

import pint

from .units import any_quantity, registry, unit_name


class Arithmetic:
    """What calculates by the quantity that it holds; the result is of the same kind."""

    __slots__ = ("_held",)
    __array_ufunc__ = None  # so that an ndarray leaves the arithmetic to this class

    def __init__(self, held: Any) -> None:
        self._held: pint.Quantity = held

    def to(self, unit: str) -> Self:
        """Return the same in another unit, spelt as in quantity text."""
        return type(self)(registry().Quantity(self._held.m_as(unit_name(unit)), unit_name(unit)))

    def __add__(self, other: Any) -> Self:
        return type(self)(self._held + _operand(other))

    def __radd__(self, other: Any) -> Self:
        return self if isinstance(other, int) and other == 0 else type(self)(_operand(other) + self._held)

    def __sub__(self, other: Any) -> Self:
        return type(self)(self._held - _operand(other))

    def __rsub__(self, other: Any) -> Self:
        return type(self)(_operand(other) - self._held)

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
    return other._held if isinstance(other, Arithmetic) else any_quantity(other) if isinstance(other, str) else other
