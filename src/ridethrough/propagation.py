"""What formulas make of estimates, and guards for arguments that may be uncertain."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from .estimate import Estimate
from .units import positive, quantity, registry, unit_name

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
