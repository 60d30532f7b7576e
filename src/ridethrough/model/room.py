"""A cold appliance in another room: what was measured at one temperature, carried to another."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from ..estimate import Estimate, through
from ..sources import lookup
from ..units import Q_, Refusal, number, positive, quantity, show
from .load import Appliance, Load


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
    >>> there.mean_power, round(in_room(there, room="20 degC").mean_power.value.magnitude, 9)
    (<Estimate 52 W, 95 %: 37 to 67 W>, 30.0)
    """
    if len(load.appliances) != 1:
        raise Refusal(f"a load of {len(load.appliances)} appliances", "one appliance", "Carry each before adding.")
    if measured_at is not None:
        load = load.in_a_room_of(measured_at, load.appliances[0].cabinet)
    appliance = load.appliances[0]
    if appliance.room is None or appliance.room_slope is None:
        raise Refusal(f"{appliance.name} without the room it was measured in", "its temperature",
                      'Write load.in_a_room_of("20 degC").')  # fmt: skip
    t_1, t = within(appliance.room), within(room, "room")
    positive(appliance.mean_power.value, "W", "load")
    if second is not None:
        t_2, least = within(second[1], "second"), lookup("least step between rooms").value
        if abs(t_2 - t_1) < least:
            raise Refusal(f"measurements at {t_1:g} and {t_2:g} degC", f"rooms at least {least:g} K apart",
                          "Measure again on a warmer or colder day, or leave second out.")  # fmt: skip
        ratio = (second[0].mean_power / appliance.mean_power).to("1")
        slope = through(lambda at: np.log(at) / (t_2 - t_1), [ratio], ["1"])[0]  # (2)
        appliance = replace(appliance, room_slope=slope)
    if t == t_1 and second is None:
        return load
    power = through(lambda at: at[:1] * warmer(at[1], t - t_1), [appliance.mean_power, _slope(appliance)], ["W"])[0]
    most = appliance.motor if appliance.motor is not None and appliance.motor > appliance.mean_power.value else None
    if most is not None and power.value > most:
        power = power - (power.value - most)
    spread = appliance.day_spread * float(power.value / appliance.mean_power.value)
    measured = appliance.measured and second is not None
    return Load((replace(appliance, mean_power=power, day_spread=spread, room=Q_(t, "degC"), measured=measured),))


def warmer(slope: Any, kelvin: Any) -> Any:
    """Return the power over that in a room colder by so many kelvin [-]: exp(s dT)."""
    return np.exp(slope * kelvin)


def _slope(appliance: Appliance) -> Estimate:
    assert appliance.room_slope is not None
    return appliance.room_slope


def within(value: Any, name: str = "the room it was measured in") -> float:
    """Return a room's temperature [degC], refused outside what cold appliances are built for."""
    celsius = number(quantity(value, "degC", name), "degC", name)
    low, high = lookup("coldest room").value, lookup("warmest room").value
    if not low <= celsius <= high:
        raise Refusal(
            f"{name}={show(Q_(celsius, 'degC'))}",
            f"a room between {show(Q_(low, 'degC'))} and {show(Q_(high, 'degC'))}, in which cold appliances are run",
            "Measure the appliance where it stands.",
        )
    return celsius


def caution(appliance: Appliance, celsius: float | None) -> Iterator[str]:
    """Yield what a cold appliance may do otherwise than counted in a room [degC].

    ``celsius`` is None where the room of its measurement is not told, nor is there another.
    """
    low = lookup("coldest room of a refrigerator").value
    if celsius is None:
        more = 100 * lookup("draw per kelvin of room, refrigerator").value
        yield (f"it is not told in which room the {appliance.name} was measured: a cold appliance draws some "
               f"{more:.0f} % more for each kelvin that its room is warmer in the outage")  # fmt: skip
    elif appliance.cabinet != "freezer" and celsius < low:
        yield (f"below {show(Q_(low, 'degC'))} the {appliance.name} may not run, as its thermostat sits in the warm "
               "part: what is frozen in it may thaw, and it may draw less than counted")  # fmt: skip
