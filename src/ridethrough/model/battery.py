"""What cells hold, give and take: by what is printed on them, by rate and chemistry, by age, and on charge."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pint

from ..estimate import Estimate, estimate
from ..sources import coefficient, lookup
from ..units import Refusal, measures, number, positive
from .pattern import LEAST

CHEMISTRIES = ("iron phosphate", "nickel-manganese-cobalt", "sealed lead-acid", "flooded lead-acid")


class Rate(NamedTuple):
    """What a fast discharge costs: reference power [W], exponent and least ratio [-]; see `drained_w`."""

    reference_w: Any
    exponent: Any
    least: float


def drained_w(asked_w: Any, rate_w: Any, reference_w: Any, exponent: Any, least: float) -> Any:
    """Return what leaves a battery of which a power is asked, of plain numbers or arrays [W].

    P (max(P_rate / P_H, least))^(k - 1)                                                      (1)

    Parameters
    ----------
    asked_w, rate_w : float or array
        P, the power asked of it, and P_rate, the power that decides what that costs: mostly P itself [W].
    reference_w : float or array
        P_H, the power at which its energy is known: that of its rating, or of its run-downs [W].
    exponent : float or array
        k [-].
    least : float
        1 where nothing tells that a slower discharge gives more than the rating, else 0 [-].

    Notes
    -----
    Peukert's relation, see `peukert_hours`: what the power of the moment makes lost, whatever comes later.
    """
    over = np.maximum(rate_w / reference_w, least)
    if np.all(over == 1) or np.all(exponent == 1):
        return asked_w
    return asked_w * np.where(over > 0, over, 1.0) ** (exponent - 1)  # (1); of nothing nothing is lost


def asked_w(power_w: Any, variance_w2: Any, a: Any, b: Any, c: Any) -> Any:
    """Return what a unit asks of its battery for a load that varies about its mean, of plain numbers or arrays [W].

    a + b P + c (P^2 + s^2)                                                                   (1)

    a is what it takes for itself, b = 1 + k1 and c = k2 / P_rated its loss; s^2 is the load's variance.
    """
    return a + b * power_w + c * (power_w**2 + variance_w2)  # (1)


def drained_of_cycles_w(power_w: Any, variance_w2: Any, takes: tuple[Any, Any, Any], rate: Rate) -> Any:
    """Return what leaves a battery on average for a load that runs and rests, of plain numbers or arrays [W].

    q D(a + b P_r + c P_r^2) + (1 - q) D(a),   P_r = P + s^2 / P,   q = P / P_r               (1)

    D is `drained_w`, a, b and c are ``takes``; P and s^2 are mean and variance of a load that runs at P_r for the
    share q of its time.
    """
    runs_w = power_w + np.where(power_w > 0, variance_w2, 0.0) / np.maximum(power_w, LEAST)
    share = power_w / np.maximum(runs_w, LEAST)
    runs, rests = asked_w(runs_w, 0.0, *takes), takes[0] + 0.0 * power_w
    return share * drained_w(runs, runs, *rate) + (1 - share) * drained_w(rests, rests, *rate)  # (1)


def known_chemistry(chemistry: str) -> str:
    """Return a chemistry that the kit knows, or refuse it."""
    if chemistry not in CHEMISTRIES:
        raise Refusal(f"chemistry={chemistry!r}", f"one of {', '.join(CHEMISTRIES)}", "Write it as in the list.")
    return chemistry


def of_chemistry(what: str, chemistry: str) -> Estimate:
    """Return a chemistry's coefficient from the table."""
    return coefficient(f"{what}, {known_chemistry(chemistry)}")


def takes_charge(chemistry: str, cells: Any) -> bool:
    """Return whether a battery may be charged with its cells at a temperature [degC].

    Lithium below 0 degC is damaged inside and may burn later: a unit's own electronics should lock it out, and
    the kit reckons with nothing stored.

    Example
    -------
    >>> takes_charge("iron phosphate", "-2 degC"), takes_charge("iron phosphate", "3 degC")
    (False, True)
    """
    return number(cells, "degC", "cells") >= lookup(f"coldest charging, {known_chemistry(chemistry)}").value


def stored_energy(capacity: Any, volts: Any = None) -> pint.Quantity:
    """Return a printed capacity as an energy [Wh].

    E = Q V                                                                                   (1)

    Parameters
    ----------
    capacity : str or pint.Quantity
        An energy [Wh], or a charge with its voltage [Ah].
    volts : str or pint.Quantity, optional
        Nominal voltage of the cells or the battery that the charge was printed for [V].

    Example
    -------
    >>> stored_energy("100 Ah", "12 V")
    <Quantity(1200.0, 'watt_hour')>
    """
    if not measures(capacity, "[current] * [time]"):
        if volts is not None:
            raise Refusal(f"capacity={capacity!r} and volts={volts!r}", "an energy, or ampere-hours with their voltage",
                          'Leave volts out, or write capacity="100 Ah", volts="12.8 V".')  # fmt: skip
        return positive(capacity, "Wh", "capacity")
    if volts is None:
        needed = "the voltage that belongs to the ampere-hours: 20 Ah at 3.2 V are a quarter of 20 Ah at 12.8 V"
        remedy = f'Write capacity="{capacity}", volts="12.8 V", or the watt-hours.'
        raise Refusal(f"capacity={capacity!r} without a voltage", needed, remedy)
    return (positive(capacity, "Ah", "capacity") * positive(volts, "V", "volts")).to("Wh")  # (1)


def peukert_hours(capacity: Any, current: Any, exponent: float, *, rating_hours: Any = None,
                  rating_current: Any = None) -> pint.Quantity:  # fmt: skip
    """Return how long a battery carries a current by Peukert's relation [h].

    t = H (C / (I H))^k, no longer than C / I                                                 (1)

    Parameters
    ----------
    capacity : str or pint.Quantity
        C, at its rating [Ah].
    current : str or pint.Quantity
        I [A].
    exponent : float
        k, 1 or more [-].
    rating_hours : str or pint.Quantity
        H, the discharge that C was rated for [h].
    rating_current : str or pint.Quantity
        C / H instead of H [A]. Peukert's own capacity, C_p = I^k t with I in amperes, is the rating at 1 A.

    Notes
    -----
    The two ratings of one number differ much: 100 Ah at 20 hours carry 5 A for 20 h, but 100 Ah at 1 A with
    k = 1.2 carry 5 A for 14.5 h. Beyond the rating the relation was not measured, and gives nothing more.

    Example
    -------
    >>> peukert_hours("100 Ah", "10 A", 1.5, rating_hours="2.5 h")
    <Quantity(10.0, 'hour')>
    >>> peukert_hours("100 Ah", "160 A", 1.5, rating_hours="2.5 h")
    <Quantity(0.3125, 'hour')>
    """
    charge, drawn = positive(capacity, "Ah", "capacity"), positive(current, "A", "current")
    if (rating_hours is None) == (rating_current is None):
        given = "a capacity without its rating" if rating_hours is None else "two ratings of one capacity"
        raise Refusal(given, "the hours or the current that it was rated for", 'Write rating_hours="20 h".')
    if not 1 <= exponent < 2:
        raise Refusal(f"exponent={exponent}", "an exponent from 1 to 2", "Write 1.1.")
    rated = positive(rating_current, "A", "rating_current") if rating_hours is None else None
    hours = (charge / rated).to("h") if rated is not None else positive(rating_hours, "h", "rating_hours")
    over = max(1.0, float((drawn * hours / charge).to("1").magnitude))
    return (charge / drawn).to("h") * over ** (1 - exponent)  # (1)


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
    if left.magnitude <= 0:
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
    if left.magnitude <= 0:
        raise Refusal(f"{storage} in storage from {start}", "a time after which something is left",
                      "Charge it now, and see whether it still takes its charge.")  # fmt: skip
    return left


def gap_after(gap: np.ndarray, stored: np.ndarray, bend: np.ndarray) -> np.ndarray:
    """Return what is missing to full after some time of constant power, in or out [Wh].

    gap - r t             while more than gap* is missing
    gap* exp(-t r / gap*) from there                                                          (1)

    Parameters
    ----------
    gap : array
        What is missing to full [Wh].
    stored : array
        r t, what is stored of a surplus that the charger takes whole, or, below zero, what leaves the charge [Wh].
    bend : array
        gap*, where a charger whose limit falls in proportion to the gap takes just that surplus [Wh]; 0 if none comes.
    """
    near = np.minimum(gap, bend)
    beyond = stored - (gap - near)
    return near * np.exp(-np.maximum(beyond, 0) / np.maximum(bend, LEAST)) - np.minimum(beyond, 0)  # (1)


def hours_to(gap: np.ndarray, aim: np.ndarray, wanted: np.ndarray, bend: np.ndarray) -> np.ndarray:
    """Return how long charging takes from a gap to a smaller one [h]; ``wanted`` is r of `gap_after` [W]."""
    straight = np.maximum(gap - np.maximum(aim, bend), 0) / np.maximum(wanted, LEAST)
    tail = np.log(np.maximum(np.minimum(gap, bend), LEAST) / np.maximum(aim, LEAST)) * bend / np.maximum(wanted, LEAST)
    return np.where(gap <= aim, 0.0, straight + np.where(aim < bend, tail, 0.0))
