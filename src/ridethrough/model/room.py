"""A cold appliance in another room: what was measured at one temperature, carried to another."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from ..estimate import Estimate
from ..sources import lookup
from ..units import Q_, Refusal, number, positive, quantity, show
from .load import Appliance, Load


def in_room(load: Load, *, room: Any, measured_at: Any = None, second: tuple[Load, Any] | None = None) -> Load:
    """Return the load as it would draw in a room of another temperature.

    P(T) = P_1 (1 + s (T - T_1))                                                              (1)
    s    = (P_2 / P_1 - 1) / (T_2 - T_1)     with a second measurement                        (2)

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
        Its mean power with the uncertainty of the slope, as assumed unless measured twice. A cycling load runs
        longer or shorter, not harder, and at most all the time: then it no longer holds its temperature. A steady
        load draws more or less.

    Raises
    ------
    Refusal
        If a room is colder or warmer than cold appliances are built for, or the second measurement was taken
        within 2 K of the first.

    Notes
    -----
    A straight line is a rough picture over more than 10 K. Below about 10 degC a refrigerator's own compressor
    may stop working as its thermostat sits in the warm part; a chest freezer works on. Lessons 01 and 05.

    Example
    -------
    >>> in_room(Load.steady("30 W"), measured_at="20 degC", room="30 degC").mean_power
    <Estimate 42 W, 95 %: 35.2 to 48.8 W>
    """
    if len(load.appliances) != 1:
        raise Refusal(f"a load of {len(load.appliances)} appliances", "one appliance", "Carry each before adding.")
    appliance = load.appliances[0]
    if measured_at is None and appliance.room is None:
        raise Refusal(f"{appliance.name} without the room it was measured in", "its temperature",
                      'Write load.in_a_room_of("20 degC").')  # fmt: skip
    cabinet = appliance.cabinet
    t_1 = number(appliance.room if measured_at is None else measured_at, "degC", "measured_at")
    if number(room, "degC", "room") == t_1:
        return load
    t = _within(room, "room", cabinet)
    _within(Q_(t_1, "degC"), "the room it was measured in", cabinet)
    positive(appliance.mean_power.value, "W", "load")
    if second is None:
        slope = appliance.room_slope
    else:
        t_2 = _within(second[1], "second", cabinet)
        if abs(t_2 - t_1) < lookup("least step between rooms").value:
            raise Refusal(
                f"measurements at {t_1:g} and {t_2:g} degC",
                f"rooms at least {lookup('least step between rooms').value:g} K apart",
                "Measure again on a warmer or colder day, or leave second out.",
            )
        slope = (second[0].mean_power / appliance.mean_power - 1) / (t_2 - t_1)  # (2)
    power = (appliance.mean_power * (1 + slope * (t - t_1))).to("W")  # (1)
    if power.value.magnitude <= 0:
        raise Refusal(
            f"{show(Q_(t, 'degC'))}, where the line falls to {show(power.value)}",
            "a room closer to those measured",
            "Measure the appliance nearer to that temperature.",
        )
    measured = appliance.measured and second is not None
    return Load((replace(_running(appliance, power), room=Q_(t, "degC"), measured=measured),))


def _running(appliance: Appliance, power: Estimate) -> Appliance:
    """Return the appliance with another mean, reached by running a larger or smaller share of the time."""
    levels, shares, wanted = appliance.levels_w, appliance.shares, float(power.value.magnitude)
    scale = wanted / float(appliance.mean_power.value.to("W").magnitude)
    spread = appliance.day_spread * scale
    if levels.size == 1:  # nothing to switch between: all its powers follow
        peak = None if appliance.peak is None else appliance.peak * scale
        return replace(appliance, mean_power=power, levels_w=levels * scale, day_spread=spread, peak=peak)
    running = levels.max() if appliance.motor is None else float(appliance.motor.to("W").magnitude)
    mean, on = float(levels @ shares), int(np.argmin(np.abs(levels - running)))
    if wanted > levels[on]:
        power, wanted = power - Q_(wanted - levels[on], "W"), float(levels[on])
    to = on if wanted > mean else int(np.argmin(levels))
    moved = 0.0 if levels[to] == mean else min(1.0, (wanted - mean) / (levels[to] - mean))
    shares = (1 - moved) * shares
    shares[to] += moved
    return replace(appliance, mean_power=power, shares=shares, day_spread=spread, pattern=None)


def _within(value: Any, name: str, cabinet: str) -> float:
    """Return a room's temperature [degC], refused outside what cold appliances are built for."""
    celsius = number(quantity(value, "degC", name), "degC", name)
    low, high = lookup(f"coldest room, {cabinet}").value, lookup("warmest room").value
    if not low <= celsius <= high:
        raise Refusal(
            f"{name}={show(Q_(celsius, 'degC'))}",
            f"a room between {show(Q_(low, 'degC'))} and {show(Q_(high, 'degC'))}, for which cold appliances are built",
            "Below it a refrigerator's compressor may stop; measure the appliance where it stands, or for a freezer "
            'write load.in_a_room_of(..., cabinet="freezer").',
        )
    return celsius
