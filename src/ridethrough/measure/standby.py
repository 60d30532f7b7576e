"""Standby by itself, three ways, each on its own side; how the sides convert; a generator's standby."""

from __future__ import annotations

from typing import Any, Literal

from ..estimate import Estimate, estimate, not_negative
from ..model.recharge import efficiency_of
from ..units import Q_, Refusal, positive
from .meter import Meter
from .rundown import fall_of_charge, repeatability_of

Side = Literal["battery", "outlet", "wall"]
SIDES = ("battery", "outlet", "wall")


def standby_from_empty(hours: Any, energy: Any, *, repeatability: Any = None) -> Estimate:
    """Return the standby from a run to empty with nothing plugged in, on the side of ``energy`` [W].

    S = E / t                                                                                 (1)

    Parameters
    ----------
    hours : str or pint.Quantity
        How long it ran from full [h].
    energy : Estimate, str or pint.Quantity
        What it holds: usable, from the battery, gives the battery's side; E of a run-down line the
        outlet's [Wh].
    repeatability : Estimate, str or float, optional
        As in `fit_rundowns` [-].

    Example
    -------
    >>> standby_from_empty("60 h", "900 Wh").value.to("W")
    <Quantity(15.0, 'watt')>
    """
    spread, dof = repeatability_of(repeatability)
    run = Estimate.standard(Q_(1, "1"), Q_(spread, "1"), "run to run", dof=dof)
    return (not_negative(energy, "Wh", "energy") * run / positive(hours, "h", "hours")).to("W")  # (1)


def standby_from_gauge(before: Any, after: Any, hours: Any, capacity: Any, *, gauge: Any = None) -> Estimate:
    """Return the standby from the fall of the displayed charge with nothing plugged in, battery side [W].

    P_0 = C (before - after + gauge) / t                                                      (1)

    Parameters
    ----------
    before, after : str or float
        Displayed charge, in whole percents [-].
    hours : str or pint.Quantity
        The time between [h].
    capacity : Estimate, str or pint.Quantity
        From displayed full to displayed empty, battery side [Wh].
    gauge : str or float, optional
        How far a displayed fall may lie from the true one, as a share of full; else the table's band [-].

    Notes
    -----
    The display's whole percents are the small error. The large one is a gauge that is not linear, lingers
    at 100 %, or does not count the unit's own draw: let it fall far, or trust a run to empty more.

    Example
    -------
    >>> standby_from_gauge("90 %", "50 %", "40 h", "1 kWh").value.to("W")
    <Quantity(10.0, 'watt')>
    """
    fallen = not_negative(capacity, "Wh", "capacity") * fall_of_charge(before, after, gauge)
    return (fallen / positive(hours, "h", "hours")).to("W")  # (1)


def standby_from_refill(energy_at_wall: Any, hours: Any, *, charger_efficiency: Any = None,
                        meter: Meter | None = None) -> Estimate:  # fmt: skip
    """Return the standby from the energy that it takes to refill the unit, battery side [W].

    P_0 = eta_c E_wall / t                                                                    (1)

    Parameters
    ----------
    energy_at_wall : Estimate, str or pint.Quantity
        From the wall until full again, as the meter showed it [Wh].
    hours : str or pint.Quantity
        How long the unit was on before, from full, with nothing plugged in [h].
    charger_efficiency : Estimate, str or float, optional
        Into the battery over from the wall, the unit's own draw while charging included; else the table's
        band [-].
    meter : Meter, optional
        What read the energy [-].

    Example
    -------
    >>> standby_from_refill("300 Wh", "24 h", charger_efficiency="80 %").value.to("W")
    <Quantity(10.0, 'watt')>
    """
    drawn = (meter or Meter()).gain * not_negative(energy_at_wall, "Wh", "energy_at_wall")
    eta_c = efficiency_of(charger_efficiency, name="charger_efficiency")
    return (drawn * eta_c / positive(hours, "h", "hours")).to("W")  # (1)


def standby_on(side: Side, standby: Any, *, found_on: Side, k1: Any = None, charger_efficiency: Any = None) -> Estimate:
    """Return a standby on another side [W].

    P_0 at the battery is S = P_0 / (1 + k1) at the outlet and P_0 / eta_c at the wall        (1)

    Parameters
    ----------
    side, found_on : {"battery", "outlet", "wall"}
        The side wanted, and the one that ``standby`` stands on.
    standby : Estimate, str or pint.Quantity
        What was found [W].
    k1 : Estimate, str or float, optional
        Proportional loss of the inverter, `Inverter.k1`; needed where the outlet is one of the sides [-].
    charger_efficiency : Estimate, str or float, optional
        As in `standby_from_refill` [-].

    Example
    -------
    >>> standby_on("outlet", "11 W", found_on="battery", k1="10 %").value
    <Quantity(10.0, 'watt')>
    """
    for name, given in (("side", side), ("found_on", found_on)):
        if given not in SIDES:
            raise Refusal(f"{name}={given!r}", f"one of {', '.join(SIDES)}", f'Write {name}="outlet".')
    if side != found_on and "outlet" in (side, found_on) and k1 is None:
        raise Refusal("a conversion to or from the outlet without k1", "the inverter's proportional loss",
                      'Write k1=unit.inverter.k1, or k1="10 %".')  # fmt: skip
    found = not_negative(standby, "W", "standby")
    if side == found_on:
        return found
    over = {"battery": Estimate.exact(Q_(1, "1")), "outlet": 1 + estimate(k1 or 0, "1", "k1")}
    if "wall" in (side, found_on):
        over["wall"] = efficiency_of(charger_efficiency, name="charger_efficiency")
    return found * over[found_on] / over[side]  # (1)


def idle_fuel(before: Any, after: Any, hours: Any, *, resolution: Any = "0 L") -> Estimate:
    """Return the standby of a fuel generator: what it burns in an hour with nothing plugged in [L/h].

    (before - after) / t                                                                      (1)

    Parameters
    ----------
    before, after : str or pint.Quantity
        Fuel in the tank, by a measuring can [L].
    hours : str or pint.Quantity
        How long it ran, in the open and far from windows [h].
    resolution : str or pint.Quantity
        Smallest step of the measuring can [L].

    Notes
    -----
    Fill and measure with the engine cold and off. This stands on the fuel's side: no efficiency turns it into a
    standby at an outlet, for nothing came out.

    Example
    -------
    >>> idle_fuel("3 L", "1.5 L", "3 h").value
    <Quantity(0.5, 'liter / hour')>
    """
    half = positive(resolution, "L", "resolution", zero=True) / 2
    levels = [Estimate.within(positive(level, "L", name, zero=True), half, f"measuring can {name}")
              for level, name in ((before, "before"), (after, "after"))]  # fmt: skip
    burnt = levels[0] - levels[1]
    if not burnt.value.magnitude > 0:
        raise Refusal(f"fuel that goes from {before} to {after}", "less after than before", "Check both readings.")
    return burnt / positive(hours, "h", "hours")  # (1)
