"""What sticker and label say of an appliance, and what another room makes of what it draws."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pint

from ..estimate import through
from ..sources import lookup
from ..units import Q_, Refusal, number, positive, quantity, read_quantity, show
from .load import Appliance, Load


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


def in_room(load: Load, *, room: Any, measured_at: Any = None, second: tuple[Load, Any] | None = None) -> Load:
    """Return the load as it would draw in a room of another temperature.

    P(T) = P_1 exp(s (T - T_1))                                                               (1)
    s    = ln(P_2 / P_1) / (T_2 - T_1)       with a second measurement                        (2)

    Parameters
    ----------
    load : Load
        One cold appliance, measured at ``measured_at`` [W].
    room : str or pint.Quantity
        T, where it shall stand [degC].
    measured_at : str or pint.Quantity, optional
        T_1, where it was measured; the load's own room where left out, see `Load.in_a_room_of` [degC].
    second : (Load, str or pint.Quantity), optional
        The same appliance's load, measured at T_2 [W], [degC]. It pins the slope s; without it s is the
        wide band of the table of coefficients.

    Returns
    -------
    Load
        Its mean power with the uncertainty of the slope, as assumed unless measured twice; never more than its
        motor's power where that is known: then it no longer holds its temperature.

    Raises
    ------
    Refusal
        If a room is colder or warmer than cold appliances are built for, or the second measurement was taken
        within 2 K of the first.

    Notes
    -----
    There and back gives the same load. Below about 10 degC a refrigerator's compressor may stop, as its thermostat sits
    in the warm part, and a ride says so; a chest freezer works on. Lessons 01 and 05.

    Example
    -------
    >>> there = in_room(Load.steady("30 W"), measured_at="20 degC", room="30 degC")
    >>> there.mean_power, round(in_room(there, room="20 degC").mean_power.magnitude, 9)
    (<Estimate 52 W, 95 %: 37 to 67 W>, 30.0)
    """
    appliance = load.alone("Carry each")
    if measured_at is not None:
        load = load.in_a_room_of(measured_at, appliance.cabinet)
        appliance = load.appliances[0]
    slope, mean = appliance.room_slope, appliance.mean_power
    if appliance.room is None or slope is None:
        raise Refusal(f"{appliance.name} without the room it was measured in", "its temperature",
                      'Write load.in_a_room_of("20 degC").')  # fmt: skip
    t_1, t = room_celsius(appliance.room), room_celsius(room, "room")
    positive(mean.value, "W", "load")
    if second is not None:
        t_2, least = room_celsius(second[1], "second"), lookup("least step between rooms").value
        if abs(t_2 - t_1) < least:
            raise Refusal(f"measurements at {t_1:g} and {t_2:g} degC", f"rooms at least {least:g} K apart",
                          "Measure again on a warmer or colder day, or leave second out.")  # fmt: skip
        ratio = (second[0].mean_power / mean).to("1")
        slope = through(lambda at: np.log(at) / (t_2 - t_1), [ratio], ["1"])[0]  # (2)
    elif t == t_1:
        return load
    power = through(lambda at: at[:1] * warmer(at[1], t - t_1), [mean, slope], ["W"])[0]  # (1)
    most = appliance.motor
    if most is not None and power.value > most > mean.value:
        power = power - (power.value - most)
    spread, measured = appliance.day_spread * float(power.value / mean.value), appliance.measured and second is not None
    return Load((replace(appliance, mean_power=power, day_spread=spread, room=Q_(t, "degC"), room_slope=slope,
                         measured=measured),))  # fmt: skip


def warmer(slope: Any, kelvin: Any) -> Any:
    """Return the power over that in a room colder by so many kelvin [-]: exp(s dT)."""
    return np.exp(slope * kelvin)


def room_celsius(value: Any, name: str = "the room it was measured in") -> float:
    """Return a room's temperature [degC], refused outside what cold appliances are built for."""
    celsius = number(value, "degC", name)
    low, high = lookup("coldest room").value, lookup("warmest room").value
    if not low <= celsius <= high:
        given, coldest, warmest = (show(Q_(each, "degC")) for each in (celsius, low, high))
        needed = f"a room between {coldest} and {warmest}, in which cold appliances are run"
        raise Refusal(f"{name}={given}", needed, "Measure the appliance where it stands.")
    return celsius


def caution(appliance: Appliance, celsius: float | None) -> Iterator[str]:
    """Yield what a cold appliance may do otherwise than counted in a room [degC].

    ``celsius`` is None where the room of its measurement is not told, nor is there another.
    """
    low = lookup("coldest room of a refrigerator").value
    if celsius is None:
        more = 100 * lookup("draw per kelvin of room, refrigerator").value
        yield (f"{appliance.name} was measured in a room that is not told: a cold appliance draws some "
               f"{more:.0f} % more for each kelvin that its room is warmer in the outage")  # fmt: skip
    elif appliance.cabinet != "freezer" and celsius < low:
        yield (f"below {show(Q_(low, 'degC'))} the {appliance.name} may not run, as its thermostat sits in the warm "
               "part: what is frozen in it may thaw, and it may draw less than counted")  # fmt: skip
