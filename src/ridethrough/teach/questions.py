"""The exercises' questions, each drawing its numbers, with answer, known slips and worked steps."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..units import Q_, show
from .checking import Exercise


def _energy_of_a_pump(draw: np.random.Generator) -> Exercise:
    power, hours = int(draw.integers(25, 48)) * 2 + 1, int(draw.integers(5, 12))
    energy = Q_(power * hours, "Wh")
    return Exercise(
        f"A circulation pump draws {power} W without a break. How much energy does it take in {hours} h?",
        energy,
        ((Q_(power, "W"), "power given for energy"), (Q_(power, "Wh"), "power given for energy"),
         (Q_(24 * power, "Wh"), "a yearly or daily number spread over the wrong time")),
        (f"Energy is power times time: {power} W x {hours} h = {show(energy)}.",),
    )  # fmt: skip


def _hours_with_standby(draw: np.random.Generator) -> Exercise:
    load, standby = int(draw.integers(26, 45)), int(draw.integers(6, 13))
    usable = int(draw.integers(16, 34)) * 45
    hours = Q_(usable / (load + standby), "h")
    return Exercise(
        f"A unit gives {usable} Wh from its battery and takes {standby} W to be on. "
        f"A refrigerator takes {load} W of it on average. How many hours does it run?",
        hours,
        (
            (Q_(usable / load, "h"), "the unit's own standby left out"),
            (Q_(usable / (load - standby), "h"), "standby taken off the load"),
        ),
        (
            f"Both go on all the time: {load} W + {standby} W = {load + standby} W.",
            f"Hours are energy over power: {usable} Wh / {load + standby} W = {show(hours)}.",
        ),
    )


def _sticker_and_meter(draw: np.random.Generator) -> Exercise:
    sticker, hours = int(draw.integers(11, 19)) * 10, int(draw.integers(9, 21))
    counted = round(sticker * hours * float(draw.uniform(0.17, 0.27)), -1) + 4
    day = Q_(counted / hours * 24, "Wh")
    return Exercise(
        f"A refrigerator's sticker says {sticker} W. In {hours} h a meter counted {counted:.0f} Wh. "
        "How much energy does it take in a day?",
        day,
        ((Q_(24 * sticker, "Wh"), "the sticker's watts for the whole time"),
         (Q_(counted, "Wh"), "a yearly or daily number spread over the wrong time"),
         (Q_(counted / hours, "W"), "power given for energy")),
        (
            f"Energy over time is the mean power: {counted:.0f} Wh / {hours} h = {counted / hours:.1f} W.",
            f"A day has 24 h: {counted / hours:.1f} W x 24 h = {show(day)}.",
            "The sticker is not needed.",
        ),
    )  # fmt: skip


def _standby_by_subtraction(draw: np.random.Generator) -> Exercise:
    standby, lamp = int(draw.integers(15, 25)) / 2, int(draw.integers(9, 16)) * 5
    energy = int(draw.integers(15, 40)) * 30 + 10
    empty, lit = round(energy / standby, 1), round(energy / (standby + lamp), 1)
    found = Q_(lamp * lit / (empty - lit), "W")
    return Exercise(
        f"A unit with nothing plugged in ran {empty} h. With a lamp of {lamp} W it ran {lit} h. What is its standby?",
        found,
        (
            (Q_(lamp * lit / empty, "W"), "divided by the empty run, not by the difference"),
            (Q_(lamp * lit, "Wh"), "energy given for power"),
        ),
        (
            f"Both runs empty the same battery: S x {empty} h = (S + {lamp} W) x {lit} h.",
            f"Take S x {lit} h from both sides: S x {empty - lit:.1f} h = {lamp} W x {lit} h = {lamp * lit:.0f} Wh.",
            f"Divide: S = {show(found)}.",
        ),
    )


def _watts_for_sure(draw: np.random.Generator) -> Exercise:
    counted, percent = int(draw.integers(51, 96)) * 10 + 4, float(draw.choice([1.5, 2, 2.5, 3]))
    half = Q_(counted * percent / 100, "Wh")
    return Exercise(
        f"In one day a meter counted {counted} Wh. Its sheet says: good to {percent:g} %. "
        "How many watt-hours either way does the meter's own error make, however long you log?",
        half,
        ((Q_(counted * percent, "Wh"), "a percentage taken as a share"),
         (Q_(half.magnitude / 24, "Wh"), "the meter's error averaged away")),
        (f"The error is a share of the reading: {counted} Wh x {percent:g} / 100 = {show(half)}.",
         "Logging longer repeats it; it does not average out."),
    )  # fmt: skip


def _battery_power_at_a_small_load(draw: np.random.Generator) -> Exercise:
    standby, stated, load = int(draw.integers(21, 26)) / 2, 5 * int(draw.integers(22, 27)), int(draw.integers(28, 35))
    percent = round(100 * stated / (stated * float(draw.uniform(1.10, 1.13)) + standby))
    lost = stated * (100 / percent - 1)
    share = (lost - standby) / stated
    power = Q_(standby + load + share * load, "W")
    return Exercise(
        f"A unit takes {standby:g} W to be on, and its sheet says: {percent} % efficient at {stated} W. "
        f"How many watts does its battery give while {load} W are plugged in? Take the loss beyond the standby as a "
        "share of the load, the same share at both loads.",
        power,
        (
            (Q_(100 * load / percent, "W"), "the box's efficiency taken at another load"),
            (Q_(100 * load / percent + standby, "W"), "standby charged on top of an efficiency"),
            (Q_(load * percent / 100, "W"), "multiplied by the efficiency, not divided"),
            (Q_(load + standby, "W"), "only the standby counted as loss"),
            (Q_(load + lost, "W"), "the heavy load's loss taken for the light one"),
        ),
        (
            (
                f"At {stated} W the battery gives {stated} W / {percent / 100:.2f} = {100 * stated / percent:.1f} W: "
                f"{lost:.1f} W are lost."
            ),
            f"{standby:g} W of them are standby, the other {lost - standby:.1f} W {100 * share:.1f} % of {stated} W.",
            f"At {load} W: {standby:g} W + {load} W + {100 * share:.1f} % of {load} W = {show(power)}.",
        ),
    )


def _freezer_in_the_cold(draw: np.random.Generator) -> Exercise:
    milder, colder = int(draw.integers(19, 29)) + 0.5, int(draw.integers(7, 12))
    full, percent = int(draw.integers(22, 40)) * 30 + 10, int(draw.integers(10, 17))
    charge, standby = int(draw.integers(11, 15)) * 5, int(draw.integers(6, 12))
    power, usable = milder * (1 - 0.03 * colder), full * (charge - percent) / 100
    hours = Q_(usable / (power + standby), "h")
    shrunk = full * charge / 100 * (1 - percent / 100)
    return Exercise(
        f"A full unit shares {full} Wh at its outlet in the warm; the cold of tonight keeps back {percent} % of that. "
        f"Its display says {charge} %, and being on takes {standby} W. A chest freezer took {milder} W last week; "
        f"tonight it stands {colder} °C colder, and takes 3 % of that less for each degree. How many hours?",
        hours,
        (
            (Q_(shrunk / (power + standby), "h"), "the cold's share taken of what was left"),
            (Q_(usable / (milder + standby), "h"), "the freezer's draw as in the milder room"),
            (Q_(usable / power, "h"), "the unit's own standby left out"),
        ),
        (
            f"Above the empty limit: {charge} % - {percent} % = {charge - percent} % of {full} Wh, {usable:.0f} Wh.",
            f"The freezer: {milder} W less {3 * colder} %, {power:.1f} W.",
            f"With the unit itself: {power:.1f} W + {standby} W = {power + standby:.1f} W.",
            f"Hours are energy over power: {usable:.0f} Wh / {power + standby:.1f} W = {show(hours)}.",
        ),
    )


def _usable_of_ampere_hours(draw: np.random.Generator) -> Exercise:
    charge, volts = int(draw.integers(21, 60)) * 2, float(draw.choice([12.8, 25.6]))
    health, start, depth = (int(draw.integers(*ends)) for ends in ((76, 85), (86, 93), (94, 98)))
    printed, share = charge * volts, health * start * depth / 100**3
    usable = Q_(printed * share, "Wh")
    return Exercise(
        f"On an iron phosphate battery stands {charge} Ah, {volts} V. It is some years old and holds {health} % of "
        f"what is printed. It was {start} % full when the power failed, and its unit gives up {depth} % before it "
        "switches off. How much energy may be used, on the battery's side?",
        usable,
        (
            (Q_(charge * share, "Ah"), "ampere-hours given for energy"),
            (Q_(printed, "Wh"), "the whole printed capacity"),
            (Q_(printed * health * start / 100**2 / 2, "Wh"), "half taken for every battery"),
            (Q_(printed * (health + start + depth - 200) / 100, "Wh"), "the missing percents added up"),
            (Q_(printed * start * depth / 100**2, "Wh"), "the battery's age left out"),
            (Q_(printed * health * depth / 100**2, "Wh"), "taken as full at the start"),
        ),
        (
            f"Energy is charge times voltage: {charge} Ah x {volts} V = {printed:,.0f} Wh printed.",
            f"Each share is a share of what is left: {health / 100:.2f} x {start / 100:.2f} x {depth / 100:.2f} "
            f"= {share:.3f}.",
            f"{printed:,.0f} Wh x {share:.3f} = {show(usable)}.",
        ),
    )  # fmt: skip


def _printed_for_days(draw: np.random.Generator) -> Exercise:
    load, standby, days = int(draw.integers(51, 64)) * 10 + 4, int(draw.integers(15, 18)), int(draw.integers(2, 6))
    loss, start, depth = int(draw.integers(7, 10)), int(draw.integers(95, 99)), int(draw.integers(89, 92))
    from_load, idle, share = load * (100 + loss) / 100, 24 * standby, start * depth / 100**2
    day = from_load + idle
    printed = Q_(days * day / share, "Wh")
    return Exercise(
        f"A freezer takes {load} Wh a day. In conversion another {loss} % of that is lost, and the unit takes "
        f"{standby} W to be on. It will be {start} % full when the power fails, and it gives up {depth} % before it "
        f"switches off. How much must be printed on it for {days} days, without any margin?",
        printed,
        (
            (Q_(days * from_load / share, "Wh"), "the unit's own standby left out"),
            (Q_(days * day, "Wh"), "the need given for the print"),
            (Q_(days * day * share, "Wh"), "multiplied by the shares, not divided"),
            (Q_(day / share, "Wh"), "one day only"),
            (Q_(days * (load + idle) / share, "Wh"), "the conversion loss left out"),
        ),
        (
            f"A day: {load} Wh + {loss} % of it + 24 h x {standby} W = {from_load:.0f} Wh + {idle} Wh = {day:,.0f} Wh.",
            f"{days} days: {days * day:,.0f} Wh from the battery.",
            f"Of what is printed, {start / 100:.2f} x {depth / 100:.2f} = {share:.3f} comes out.",
            f"{days * day:,.0f} Wh / {share:.3f} = {show(printed, 0)}.",
        ),
    )


def _a_day_of_several(draw: np.random.Generator) -> Exercise:
    router, standby = int(draw.integers(5, 9)) + 0.5, int(draw.integers(8, 11)) + 0.5
    lamps, evening = int(draw.integers(12, 22)) * 4 + 1, int(draw.integers(3, 6))
    pump, heating = 5 * int(draw.integers(9, 12)) + 1, int(draw.integers(6, 9))
    loads = 24 * router + evening * lamps + heating * pump
    day = Q_(loads + 24 * standby, "Wh")
    return Exercise(
        f"On one unit hang a router of {router:g} W, day and night, lamps of {lamps} W for {evening} h in the evening "
        f"and a pump of {pump} W for {heating} h a day. The unit takes {standby:g} W to be on. How much energy is that "
        "in a day, other losses left out?",
        day,
        (
            (Q_(loads, "Wh"), "the unit's own standby left out"),
            (Q_(loads + 3 * 24 * standby, "Wh"), "the standby counted once for every load"),
            (Q_(24 * (router + lamps + pump + standby), "Wh"), "an evening's load taken for the whole day"),
            (Q_(router + lamps + pump + standby, "W"), "power given for energy"),
            (Q_(router + lamps + pump + standby, "Wh"), "power given for energy"),
        ),
        (
            f"Router: {router:g} W x 24 h = {24 * router:g} Wh.",
            f"Lamps: {lamps} W x {evening} h = {lamps * evening} Wh.",
            f"Pump: {pump} W x {heating} h = {pump * heating} Wh.",
            f"The unit itself, once: {standby:g} W x 24 h = {24 * standby:g} Wh.",
            f"Together: {show(day)}.",
        ),
    )


EXERCISES: dict[str, Callable[[np.random.Generator], Exercise]] = {
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
