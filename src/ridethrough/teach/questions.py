"""What the exercises' numbers come to: the answer, what known slips give, and what the worked steps say on the way.

The numbers drawn, what is asked and how it is solved stand in ``exercises.toml``, by the same names.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pint

from ..units import Q_

Worked = tuple[pint.Quantity, list[tuple[pint.Quantity, str]], dict[str, Any]]


def _energy_of_a_pump(power: int, hours: int) -> Worked:
    slips = [
        (Q_(power, "W"), "power given for energy"),
        (Q_(power, "Wh"), "power given for energy"),
        (Q_(24 * power, "Wh"), "a yearly or daily number spread over the wrong time"),
    ]
    return Q_(power * hours, "Wh"), slips, {}


def _hours_with_standby(load: int, standby: int, usable: int) -> Worked:
    slips = [
        (Q_(usable / load, "h"), "the unit's own standby left out"),
        (Q_(usable / (load - standby), "h"), "standby taken off the load"),
    ]
    return Q_(usable / (load + standby), "h"), slips, {"together": load + standby}


def _sticker_and_meter(sticker: int, hours: int, share: float) -> Worked:
    counted = round(sticker * hours * share, -1) + 4
    mean = counted / hours
    slips = [
        (Q_(24 * sticker, "Wh"), "the sticker's watts for the whole time"),
        (Q_(counted, "Wh"), "a yearly or daily number spread over the wrong time"),
        (Q_(mean, "W"), "power given for energy"),
    ]
    return Q_(24 * mean, "Wh"), slips, {"counted": counted, "mean": mean}


def _standby_by_subtraction(standby: float, lamp: int, energy: int) -> Worked:
    empty, lit = round(energy / standby, 1), round(energy / (standby + lamp), 1)
    longer, lamp_wh = empty - lit, lamp * lit
    slips = [
        (Q_(lamp_wh / empty, "W"), "divided by the empty run, not by the difference"),
        (Q_(lamp_wh, "Wh"), "energy given for power"),
    ]
    return Q_(lamp_wh / longer, "W"), slips, {"empty": empty, "lit": lit, "longer": longer, "lamp_wh": lamp_wh}


def _watts_for_sure(counted: int, percent: float) -> Worked:
    half = counted * percent / 100
    slips = [
        (Q_(100 * half, "Wh"), "a percentage taken as a share"),
        (Q_(half / 24, "Wh"), "the meter's error averaged away"),
    ]
    return Q_(half, "Wh"), slips, {}


def _battery_power_at_a_small_load(standby: float, stated: int, load: int, times: float) -> Worked:
    percent = round(100 * stated / (stated * times + standby))
    given = 100 * stated / percent
    lost = given - stated
    share = (lost - standby) / stated
    slips = [
        (Q_(100 * load / percent, "W"), "the box's efficiency taken at another load"),
        (Q_(100 * load / percent + standby, "W"), "standby charged on top of an efficiency"),
        (Q_(load * percent / 100, "W"), "multiplied by the efficiency, not divided"),
        (Q_(load + standby, "W"), "only the standby counted as loss"),
        (Q_(load + lost, "W"), "the heavy load's loss taken for the light one"),
    ]
    said = {"percent": percent, "efficiency": percent / 100, "given": given, "lost": lost, "beyond": lost - standby}
    return Q_(standby + load + share * load, "W"), slips, said | {"share": 100 * share}


def _freezer_in_the_cold(milder: float, colder: int, full: int, percent: int, charge: int, standby: int) -> Worked:
    usable, power = full * (charge - percent) / 100, milder * (1 - 0.03 * colder)
    together, shrunk = power + standby, full * charge / 100 * (1 - percent / 100)
    slips = [
        (Q_(shrunk / together, "h"), "the cold's share taken of what was left"),
        (Q_(usable / (milder + standby), "h"), "the freezer's draw as in the milder room"),
        (Q_(usable / power, "h"), "the unit's own standby left out"),
    ]
    said = {"above": charge - percent, "less": 3 * colder, "usable": usable, "power": power, "together": together}
    return Q_(usable / together, "h"), slips, said


def _usable_of_ampere_hours(charge: int, volts: float, health: int, start: int, depth: int) -> Worked:
    printed, share = charge * volts, health * start * depth / 100**3
    slips = [
        (Q_(charge * share, "Ah"), "ampere-hours given for energy"),
        (Q_(printed, "Wh"), "the whole printed capacity"),
        (Q_(printed * health * start / 100**2 / 2, "Wh"), "half taken for every battery"),
        (Q_(printed * (health + start + depth - 200) / 100, "Wh"), "the missing percents added up"),
        (Q_(printed * start * depth / 100**2, "Wh"), "the battery's age left out"),
        (Q_(printed * health * depth / 100**2, "Wh"), "taken as full at the start"),
    ]
    shares = [percent / 100 for percent in (health, start, depth)]
    return Q_(printed * share, "Wh"), slips, {"printed": printed, "shares": shares, "share": share}


def _printed_for_days(load: int, standby: int, days: int, loss: int, start: int, depth: int) -> Worked:
    from_load, idle, share = load * (100 + loss) / 100, 24 * standby, start * depth / 100**2
    day = from_load + idle
    slips = [
        (Q_(days * from_load / share, "Wh"), "the unit's own standby left out"),
        (Q_(days * day, "Wh"), "the need given for the print"),
        (Q_(days * day * share, "Wh"), "multiplied by the shares, not divided"),
        (Q_(day / share, "Wh"), "one day only"),
        (Q_(days * (load + idle) / share, "Wh"), "the conversion loss left out"),
    ]
    said = {"from_load": from_load, "idle": idle, "day": day, "needed": days * day, "share": share}
    return Q_(days * day / share, "Wh"), slips, said | {"shares": [start / 100, depth / 100]}


def _a_day_of_several(router: float, standby: float, lamps: int, evening: int, pump: int, heating: int) -> Worked:
    said = {"router_wh": 24 * router, "lamps_wh": lamps * evening, "pump_wh": pump * heating}
    loads, idle, all_w = sum(said.values()), 24 * standby, router + lamps + pump + standby
    slips = [
        (Q_(loads, "Wh"), "the unit's own standby left out"),
        (Q_(loads + 3 * idle, "Wh"), "the standby counted once for every load"),
        (Q_(24 * all_w, "Wh"), "an evening's load taken for the whole day"),
        (Q_(all_w, "W"), "power given for energy"),
        (Q_(all_w, "Wh"), "power given for energy"),
    ]
    return Q_(loads + idle, "Wh"), slips, said | {"standby_wh": idle}


EXERCISES: dict[str, Callable[..., Worked]] = {
    "00-a": _energy_of_a_pump,
    "00-b": _hours_with_standby,
    "01-a": _sticker_and_meter,
    "02-a": _standby_by_subtraction,
    "03-a": _battery_power_at_a_small_load,
    "04-a": _usable_of_ampere_hours,
    "05-a": _freezer_in_the_cold,
    "06-a": _watts_for_sure,
    "07-a": _printed_for_days,
    "10-a": _a_day_of_several,
}
