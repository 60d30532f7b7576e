"""What years and storage leave of a battery and of its charge."""

from __future__ import annotations

from typing import Any

from ..estimate import Estimate, estimate
from ..units import Refusal, positive
from .battery import of_chemistry


def aged(years: Any, chemistry: str) -> Estimate:
    """Return the health of a battery that has stood ready for some years: capacity over that printed [-].

    health = 1 - fading * years                                                               (1)

    Parameters
    ----------
    years : str or pint.Quantity
        Since it was made, as "3 years" [year].
    chemistry : str
        One of `CHEMISTRIES`.

    Notes
    -----
    A wide band, for no neutral table was at hand; a full run-down of the old unit replaces it.

    Example
    -------
    >>> aged("5 years", "iron phosphate").value
    <Quantity(0.9, 'dimensionless')>
    """
    span = positive(years, "year", "years", zero=True)
    left = 1 - of_chemistry("fading", chemistry) * float(span.magnitude)  # (1)
    if left.value.magnitude <= 0:
        raise Refusal(f"a battery of {years}", "an age at which something is left", "Run it down and see.")
    return left


def charge_after(storage: Any, chemistry: str, start: Any = "100 %") -> Estimate:
    """Return the state of charge after some months in storage, switched off [-].

    start - self-discharge * months                                                           (1)

    Parameters
    ----------
    storage : str or pint.Quantity
        How long it lay, as "6 months" [month].
    chemistry : str
        One of `CHEMISTRIES`.
    start : Estimate, str or float
        State of charge when it was put away [-].

    Raises
    ------
    Refusal
        If it would have been empty before: then it may be damaged.

    Example
    -------
    >>> charge_after("5 months", "iron phosphate", "90 %").value
    <Quantity(0.75, 'dimensionless')>
    """
    months = float(positive(storage, "month", "storage", zero=True).magnitude)
    left = estimate(start, "1", "start") - of_chemistry("self-discharge", chemistry) * months  # (1)
    if left.value.magnitude <= 0:
        raise Refusal(f"{storage} in storage from {start}", "a time after which something is left",
                      "Charge it now, and see whether it still takes its charge.")  # fmt: skip
    return left
