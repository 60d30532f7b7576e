"""From the capacity printed on the box to what may be used tonight, on the battery's side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pint

from ..estimate import Estimate, estimate, not_negative
from ..sources import coefficient, lookup
from ..units import Q_, Refusal, measures, number, positive, show
from .temperature import TemperatureCurve

CHEMISTRIES = ("iron phosphate", "nickel-manganese-cobalt", "sealed lead-acid", "flooded lead-acid")


@dataclass(frozen=True)
class Battery:
    """A battery as its box describes it; make it with `Battery.from_print`.

    Parameters
    ----------
    printed : pint.Quantity
        Capacity printed on the box, packs included [Wh].
    chemistry : str
        One of `CHEMISTRIES`.
    holds : Estimate
        Share of the printed capacity that was really in its cells when new [-].
    depth_of_discharge : Estimate
        Share of the capacity that the unit gives up before it cuts off [-].
    health : Estimate
        Capacity of its cells today over that printed [-].
    rate_exponent : Estimate
        k of t ~ (power from the battery)^-k above the rating [-].
    rating_hours : pint.Quantity
        The discharge for which the printed capacity holds [h].
    curve : TemperatureCurve
        What the cold leaves.
    """

    printed: pint.Quantity
    chemistry: str
    holds: Estimate
    depth_of_discharge: Estimate
    health: Estimate
    rate_exponent: Estimate
    rating_hours: pint.Quantity
    curve: TemperatureCurve

    @classmethod
    def from_print(
        cls, capacity: Any, chemistry: str, depth_of_discharge: Any = None, *, volts: Any = None,
        health: Any = "100 %", rating_hours: Any = None, curve: TemperatureCurve | None = None,
    ) -> Battery:  # fmt: skip
        """Return the battery with this printed capacity.

        Parameters
        ----------
        capacity : Estimate, str or pint.Quantity
            As printed [Wh], or [Ah] with ``volts``; but for an Estimate with the table's band.
        chemistry : str
            One of `CHEMISTRIES`.
        depth_of_discharge : Estimate, str or float, optional
            Usable share [-]; else the table's value and band for the chemistry.
        volts : str or pint.Quantity, optional
            Nominal voltage of what the ampere-hours were printed on [V].
        health : Estimate, str or float
            Capacity today over that printed [-]; see `aged`.
        rating_hours : str or pint.Quantity, optional
            The discharge that the capacity was rated for [h]; else the table's for the chemistry.
        curve : TemperatureCurve, optional
            From the user's own cold run-down; else the table's for the chemistry.

        Raises
        ------
        Refusal
            If the capacity is not an energy above zero, comes in ampere-hours without their voltage, or the
            chemistry is unknown.
        """
        known(chemistry)
        if curve is not None and curve.chemistry != chemistry:
            raise Refusal(f"a curve for {curve.chemistry} beside {chemistry}", "the curve of the same chemistry",
                          f'Write TemperatureCurve("{chemistry}").')  # fmt: skip
        depth = of_chemistry("depth of discharge", chemistry) if depth_of_discharge is None else depth_of_discharge
        rating = lookup(f"rating hours, {chemistry}").value if rating_hours is None else None
        known_well = isinstance(capacity, Estimate)
        printed = stored_energy(capacity.value if known_well else capacity, volts)
        return cls(
            printed,
            chemistry,
            (capacity / capacity.value).to("1") if known_well else coefficient("capacity over its print"),
            estimate(depth, "1", "depth_of_discharge"),
            not_negative(health, "1", "health"),
            of_chemistry("rate exponent above the rating", chemistry),
            Q_(rating, "h") if rating else positive(rating_hours, "h", "rating_hours"),
            curve or TemperatureCurve(chemistry),
        )

    def fixed(self) -> list[str]:
        """Return the table's coefficients without a band that it rests on."""
        rating, coldest = lookup(f"rating hours, {self.chemistry}"), lookup(f"coldest charging, {self.chemistry}")
        own = float(self.rating_hours.m_as("h")) != rating.value
        return [coldest.name] if own else [rating.name, coldest.name]

    def __repr__(self) -> str:
        return f"<Battery: {show(self.printed)} printed, {self.chemistry}>"


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


def known(chemistry: str) -> str:
    """Return a chemistry that the kit knows, or refuse it."""
    if chemistry not in CHEMISTRIES:
        raise Refusal(f"chemistry={chemistry!r}", f"one of {', '.join(CHEMISTRIES)}", "Write it as in the list.")
    return chemistry


def of_chemistry(what: str, chemistry: str) -> Estimate:
    """Return a chemistry's coefficient from the table."""
    return coefficient(f"{what}, {known(chemistry)}")


def takes_charge(chemistry: str, cells: Any) -> bool:
    """Return whether a battery may be charged with its cells at a temperature [degC].

    Lithium below 0 degC is damaged inside and may burn later: a unit's own electronics should lock it out, and
    the kit reckons with nothing stored.

    Example
    -------
    >>> takes_charge("iron phosphate", "-2 degC"), takes_charge("iron phosphate", "3 degC")
    (False, True)
    """
    return number(cells, "degC", "cells") >= lookup(f"coldest charging, {known(chemistry)}").value


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
        raise Refusal(
            f"capacity={capacity!r} without a voltage",
            "the voltage that belongs to the ampere-hours: 20 Ah at 3.2 V are a quarter of 20 Ah at 12.8 V",
            f'Write capacity="{capacity}", volts="12.8 V", or the watt-hours.',
        )
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


def percent(share: Estimate) -> str:
    """Return a share as whole percents: "92 %"."""
    return show(Q_(100 * share.value.magnitude, "%"), 0)
