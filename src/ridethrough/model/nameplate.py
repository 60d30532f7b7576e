"""What sticker and label say of an appliance, and what they can't say."""

from __future__ import annotations

import math
from typing import Any

import pint

from ..sources import lookup
from ..units import Q_, Refusal, positive, quantity, read_quantity


def apparent_power(voltage: Any, current: Any) -> pint.Quantity:
    """Return volts times amperes [VA]: what cord and inverter must carry, not what is used up.

    S = V I                                                                                   (1)

    Parameters
    ----------
    voltage, current : str or pint.Quantity
        From the sticker, or read off a meter [V], [A].

    Notes
    -----
    The power in watts is S times the power factor, which a sticker does not give. The current on a sticker
    is the most it may draw. Lesson 01.

    Example
    -------
    >>> apparent_power("230 V", "0.7 A")
    <Quantity(161.0, 'voltampere')>
    """
    volts, amperes = quantity(voltage, "V", "voltage"), quantity(current, "A", "current")
    return Q_(volts.magnitude * amperes.magnitude, "VA")  # (1)


def label_power(yearly: Any) -> pint.Quantity:
    """Return the mean power that a yearly energy label stands for [W].

    P = E / (365 * 24 h)                                                                      (1)

    Parameters
    ----------
    yearly : str or pint.Quantity
        From the label [kWh/year].

    Raises
    ------
    Refusal
        If it is anything but an energy per year.

    Notes
    -----
    It holds for the test's room and use, not for yours, and says nothing about the highest power.

    Example
    -------
    >>> label_power("219 kWh/year")
    <Quantity(25.0, 'watt')>

    References
    ----------
    Regulation (EU) 2019/2016, Annex IV.
    """
    energy = quantity(yearly, "kWh/year", "yearly")
    stated = read_quantity(yearly) if isinstance(yearly, str) else yearly
    if not f"{stated.units:D}".endswith("/ year"):  # a power has the same dimension
        raise Refusal(f"yearly={yearly}", "an energy per year, as labels state it", 'Write "390 kWh/year".')
    return Q_(1000 * energy.magnitude / (24 * lookup("days in a label's year").value), "W")  # (1)


def label_limit(product_class: str, adjusted_volume: Any) -> pint.Quantity:
    """Return the most energy a refrigerator of a US product class may use by its label [kWh/year].

    E = slope * AV + constant, to the nearest kWh, halves up                                  (1)

    Parameters
    ----------
    product_class : str
        "3" (automatic defrost, top freezer), "3A", "4", "1A" or "3I".
    adjusted_volume : str or pint.Quantity
        AV [ft3].

    Raises
    ------
    Refusal
        If the class is not in the table of coefficients, or the volume is not above zero.

    Example
    -------
    >>> label_limit("3", "20 ft3")
    <Quantity(395.0, 'kilowatt_hour / year')>

    References
    ----------
    10 CFR 430.32(a), compliance date 2014-09-15.
    """
    volume = positive(adjusted_volume, "ft3", "adjusted_volume")
    slope = lookup(f"US label limit slope, class {product_class}").value
    constant = lookup(f"US label limit constant, class {product_class}").value
    return Q_(float(math.floor(slope * volume.magnitude + constant + 0.5)), "kWh/year")  # (1)
