"""What an appliance draws, how sure that is, and the starts that a meter can't see: lessons 01, 03, 06."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from ...estimate import Estimate
from ...measure.draw import Draw, measure_draw
from ...measure.log import Meter, MeterLog
from ...model.nameplate import label_power
from ...sources import lookup
from ...units import Q_, Refusal, number, quantity, show
from ..figures import Curve, band_figure, bars_figure, parting_figure, plain, starts_figure, trace_figure
from ..panels import Choice, Panel, Slider, View


def trace_view(log: MeterLog, draw: Draw, sticker: Any, *, hours: tuple[float, float] = (0, 24)) -> View:
    """Return the view of a log: its power in a part of it [h], with its mean, defrosts and starts named."""
    says = quantity(sticker, "W", "sticker")
    known = {"mean": draw.mean_power.value, "running": draw.running_power, "peak": draw.peak_power}
    power = ["not measured" if value is None else f"{value.to('W').magnitude:,.1f}" for value in known.values()]
    runs = ""
    if draw.duty_cycle is not None and draw.running_power is not None:
        share = 100 * plain(draw.duty_cycle.to(""))
        runs = f"it runs {share:.0f} % of the time at about {show(draw.running_power)}; "
    text = f"{draw.name}: on average {draw.mean_power}; {runs}the sticker says {show(says)}."
    headline = f"On average {show(draw.mean_power)}; the sticker says {show(says)}"
    picture = partial(trace_figure, log=log, draw=draw, sticker=says, hours=hours)
    return View(text, pd.DataFrame({"what": list(known), "power (W)": power}), headline, picture)


def parting_view(log: MeterLog, sticker: Any, yearly: Any, *, hours: float = 24) -> View:
    """Return the view of energy counted from the same moment by sticker, meter and yearly label."""
    ends = (log.start_s + log.duration_s) / 3600
    shown = ends <= hours
    counted = np.cumsum(log.power_w * log.duration_s / 3600)[shown]
    straight = np.array([0.0, float(ends[shown][-1])])
    lines = [
        ("sticker", straight, straight * number(sticker, "W", "sticker"), False),
        ("meter", ends[shown], counted, True),
        ("label", straight, straight * plain(label_power(yearly)), False),
    ]
    after, (by_sticker, by_meter, by_label) = f"After {straight[-1]:.0f} h", (float(line[2][-1]) for line in lines)
    text = f"{after} the sticker has {by_sticker:,.0f} Wh, the meter {by_meter:,.0f} Wh, the label {by_label:,.0f} Wh."
    headline = f"{after} the sticker is {by_sticker - by_meter:,.0f} Wh ahead of the meter"
    columns = {"what": [line[0] for line in lines], "energy (Wh)": [by_sticker, by_meter, by_label]}
    return View(text, pd.DataFrame(columns), headline, partial(parting_figure, lines=lines))


def sticker_panel(draw: Draw, sticker: Any) -> Panel:
    """Return the panel of lesson 01: how many hours a day would it have to run at the sticker's power?"""
    power, measured = quantity(sticker, "W", "sticker"), draw.daily_energy
    reach = 1.05 * 24 * plain(power)

    def view(hours: float) -> View:
        claimed = Estimate.exact(power * Q_(hours, "h")).to("Wh")
        ratio = plain(claimed.value / measured.value)
        text = (
            f"{show(power)} for {hours:g} h a day would be {show(claimed.value)}, {ratio:.2f} times what the meter "
            f"found: {measured} in a day."
        )
        bars = [(f"sticker, {hours:g} h a day", claimed, False), ("meter, a whole day", measured, True)]
        columns = {"what": [bar[0] for bar in bars], "energy (Wh)": [plain(bar[1]) for bar in bars]}
        headline = f"The sticker's {hours:g} h make {ratio:.2f} times the measured day"
        picture = partial(bars_figure, bars=bars, axis="energy in a day, at the outlet (Wh)", reach=reach)
        return View(text, pd.DataFrame(columns), headline, picture)

    return Panel(view, hours=Slider("hours a day at the sticker's power", 0, 24, 24, unit="h", step=0.25))


def length_panel(log: MeterLog, meters: Mapping[str, Meter]) -> Panel:
    """Return the panel of lesson 06: what does a longer log cure, and what does it leave?

    Parameters
    ----------
    log : MeterLog
        Three days or more.
    meters : mapping from name to Meter
        What the same readings would be worth from each.
    """
    hours = np.arange(1.0, np.floor(log.span_s / 3600) + 1)
    draws = {
        name: [measure_draw(replace(log.first(Q_(h, "h")), meter=meter), name="fridge-freezer") for h in hours]
        for name, meter in meters.items()
    }
    curves = {name: Curve.of(name, [draw.mean_power.to("W") for draw in found]) for name, found in draws.items()}
    floors = {name: np.array([plain(draw.metered.expanded()) for draw in found]) for name, found in draws.items()}

    def view(hours_logged: float, meter: str) -> View:
        at = int(hours_logged) - 1
        draw, curve, floor = draws[meter][at], curves[meter], floors[meter]
        share = 100 * curve.half[at] / curve.value[at]
        text = (
            f"After {hours_logged:g} h with a meter good to {meter}: {draw.mean_power}, that is {share:.0f} % either "
            f"way. The meter alone accounts for {show(draw.metered.expanded(), 1)} of it."
        )
        table = pd.DataFrame({"hours logged": hours, "mean power (W)": curve.value, "give or take (W)": curve.half,
                              "meter alone (W)": floor}).iloc[[0, 2, 5, 11, 23, 47, len(hours) - 1]]  # fmt: skip
        picture = partial(band_figure, x=hours, curve=curve, floor=floor, at=hours_logged)
        return View(text, table, f"After {hours_logged:g} h: {draw.mean_power}", picture)

    hours_logged = Slider("hours logged", 1, float(hours[-1]), 24, unit="h")
    return Panel(view, hours_logged=hours_logged, meter=Choice("accuracy of the meter", list(meters)))


def starts_view(log: MeterLog, draw: Draw) -> View:
    """Return the view of what the log showed in the first minute of each start, beside what a start asks.

    Raises
    ------
    Refusal
        If the log shows no starts.
    """
    if draw.running_power is None or draw.cycles.empty:
        raise Refusal(f"{draw.name}, in whose log no cycles were seen", "a log of powers with starts",
                      "Log every minute or more often.")  # fmt: skip
    running_w, hours = plain(draw.running_power), draw.cycles["start_h"].to_numpy()
    at, times = log.start_s / 3600, lookup("start over running power")
    highest = np.array([log.power_w[np.abs(at - start - 1 / 120) <= 1 / 120 + 1e-6].max() for start in hours])
    caught = highest >= times.low * running_w
    text = (
        f"In {len(hours)} regular cycles the meter caught {caught.sum()} starts, the highest {highest.max():,.0f} W; "
        f"in the others it showed {highest[~caught].max():,.0f} W at most. A start asks {times.low:g} to "
        f"{times.high:g} times the running {show(draw.running_power)}: {times.low * running_w:,.0f} to "
        f"{times.high * running_w:,.0f} W."
    )
    table = pd.DataFrame({"start (h)": hours[caught], "highest reading (W)": highest[caught]})
    headline = f"{len(hours)} cycles, the start of {caught.sum()} caught by the meter"
    picture = partial(starts_figure, hours=hours, power_w=highest, running_w=running_w, times=times)
    return View(text, table, headline, picture)
