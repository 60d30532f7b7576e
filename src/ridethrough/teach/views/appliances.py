"""What an appliance draws and how sure that is, starts that no meter sees, several loads: lessons 01, 03, 06, 10."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from ...answer.case import case_of
from ...answer.ledger import ledger
from ...answer.outage import Outage
from ...answer.ride import through
from ...answer.stretches import stretches
from ...estimate import Estimate
from ...measure.draw import Draw, measure_draw
from ...measure.log import Meter, MeterLog
from ...model.load import Load
from ...model.nameplate import label_power
from ...model.unit import BackupUnit
from ...sources import lookup
from ...units import Q_, Refusal, number, quantity, show
from .. import figures
from ..figures import LOADS, OWN, Curve, plain
from ..panels import Choice, Panel, Slider, View
from ..pantry import kitchen_draw, store_freezer, store_log

_OUTAGE = "48 h"  # long enough to empty the unit, whenever it begins
_OWN = "the unit itself"


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
    picture = partial(figures.trace_figure, log=log, draw=draw, sticker=says, hours=hours)
    return View(text, pd.DataFrame({"what": list(known), "power (W)": power}), headline, picture)


def parting_view(log: MeterLog, sticker: Any, yearly: Any, *, hours: float = 24) -> View:
    """Return the view of energy counted from the same moment by sticker, meter and yearly label."""
    ends_h, metered_wh = (log.start_s + log.duration_s) / 3600, np.cumsum(log.power_w * log.duration_s / 3600)
    sticker_w, label_w = number(sticker, "W", "sticker"), plain(label_power(yearly))
    ways = {"sticker": sticker_w * ends_h, "meter": metered_wh, "label": label_w * ends_h}
    counted = pd.DataFrame(ways, ends_h).loc[:hours]
    by_sticker, by_meter, by_label = last = counted.iloc[-1]
    after = f"After {counted.index[-1]:.0f} h"
    text = f"{after} the sticker has {by_sticker:,.0f} Wh, the meter {by_meter:,.0f} Wh, the label {by_label:,.0f} Wh."
    headline = f"{after} the sticker is {by_sticker - by_meter:,.0f} Wh ahead of the meter"
    table = last.rename_axis("what").reset_index(name="energy (Wh)")
    return View(text, table, headline, partial(figures.parting_figure, counted_wh=counted, measured="meter"))


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
        picture = partial(figures.bars_figure, bars=bars, axis="energy in a day, at the outlet (Wh)", reach=reach)
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
        picture = partial(figures.band_figure, x=hours, curve=curve, floor=floor, at=hours_logged)
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
    picture = partial(figures.starts_figure, hours=hours, power_w=highest, running_w=running_w, times=times)
    return View(text, table, headline, picture)


def pantry_loads() -> dict[str, Load]:
    """Return what the pantry plugs in on a winter day, by name: two measured, the others from stickers (invented)."""
    heating, evening = (("06:00", "08:30", "43 W"), ("16:30", "22:00", "43 W")), ("18:00", "22:30", "30 W")
    loads = (
        kitchen_draw().as_load(),
        _store_freezer(),
        Load.daily(heating, "boiler pump"),
        Load.steady("8 W", "router"),
        Load.daily([evening], "lights"),
        Load.daily([("07:00", "07:07", "900 W")], "coffee maker"),
        Load.daily([("20:00", "23:00", "10 W")], "phones"),
    )
    return {load.name: load for load in loads}


def _store_freezer() -> Load:
    """Return the chest freezer by its log of energies; its largest power is the most in three readings in a row."""
    (freezer,) = store_freezer().appliances
    running = Q_(float(np.convolve(store_log().power_w, np.ones(3) / 3, "valid").max()), "W")
    return Load((replace(freezer, peak=running, motor=running),))


def all_together(loads: Mapping[str, Load]) -> Load:
    """Return all of the loads together."""
    first, *others = loads.values()
    return sum(others, first)


def household_panel(loads: Mapping[str, Load], unit: BackupUnit, *, opens: str, start: Any = "100 %") -> Panel:
    """Return the panel of lesson 10: what does one more load cost, in hours and in watts?

    Parameters
    ----------
    loads : mapping from name to Load
        The one that always runs first, then those that can be added to it; seven at most, each with its peak.
    unit : BackupUnit
        Carries them.
    opens : str
        The load that is plugged in beside the first one when the panel opens.
    start : Estimate, str or float
        State of charge when the power fails [-].
    """
    first, *others = loads
    alone = f"{first} alone"
    sets = {alone: loads[first]} | {f"{first} and {name}": loads[first] + loads[name] for name in others}
    sets[f"all {len(loads)}"] = all_together(loads)
    any_hour = {name: ledger(load, unit, Outage(_OUTAGE, start=start)).lasts for name, load in sets.items()}
    rated_w, colours = plain(unit.ratings.rated.to("W")), dict(zip(loads, LOADS, strict=False)) | {_OWN: OWN}

    def view(plugged: str, begins: float) -> View:
        outage, load = Outage(_OUTAGE, start=start, begins=f"{begins:.0f}:00"), sets[plugged]
        (power_w, taken_wh), peaks_w = _taken(load, unit, outage), _peak_w(load)
        hours = taken_wh.index[-1]
        lost = _taken(sets[alone], unit, outage)[1].index[-1] - hours
        than = f", {lost:.1f} h less than the {alone}" if plugged != alone else ""
        asks = "more than" if peaks_w > rated_w else "within"
        text = (
            f"Plugged in: {plugged}. When the power fails at {begins:.0f}:00, {unit.name} lasts {hours:.1f} h{than}; "
            f"at an hour that nobody knows, {any_hour[plugged]}. All peaks at once are {peaks_w:,.0f} W, {asks} the "
            f"inverter's {rated_w:,.0f} W."
        )
        largest = [*(f"{_peak_w(loads[each.name]):,.0f}" for each in load.appliances), "-"]
        table = pd.DataFrame({"what": taken_wh.columns, "largest power (W)": largest,
                              "taken until empty (Wh)": taken_wh.iloc[-1].to_numpy()})  # fmt: skip
        over = "; all peaks at once are too much" if peaks_w > rated_w else ""
        headline = f"{plugged[0].upper()}{plugged[1:]}: {hours:.1f} h{over}"
        picture = partial(figures.household_figure, power_w=power_w, taken_wh=taken_wh, colours=colours,
                          levels_w=(rated_w, peaks_w), begins=int(begins))  # fmt: skip
        return View(text, table, headline, picture)

    plugged = Choice("plugged in", list(sets), f"{first} and {opens}")
    return Panel(view, plugged=plugged, begins=Slider("the power fails at", 0, 23, 18, unit="o'clock"))


def _peak_w(load: Load) -> float:
    """Return all peaks at once [W]."""
    if load.peak is None:
        raise Refusal(f"{load.name}, whose largest power is not known", "the largest power of each load",
                      "Measure it while it runs.")  # fmt: skip
    return plain(load.peak.to("W"))


def _taken(load: Load, unit: BackupUnit, outage: Outage) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return power [W] and energy taken so far [Wh] of each load by the hour, until the unit is empty; and its own.

    At the best estimates: what cycles at moments that nobody knows is taken at its mean.
    """
    case = case_of(load, unit, outage, draws=0, seed=0)
    rode = through(case)
    if rode.survives:
        raise Refusal(f"{unit.label}, which lasts {show(outage.duration)} and longer",
                      "a unit that runs empty in two days", "Take fewer packs.")  # fmt: skip
    steps, names = list(stretches(case, 0.0, outage.hours)), [appliance.name for appliance in load.appliances]
    duration_h = np.concatenate([step.duration_h for step in steps])
    power_w = np.hstack([step.powers_w[:, step.kind, 0] for step in steps])
    own_w = np.concatenate([step.drained_w[step.kind, 0] for step in steps]) - power_w.sum(axis=0)
    edges_h, empty_h = np.append(0, np.cumsum(duration_h)), plain(rode.lasts)
    energy_wh = np.vstack([power_w, own_w]) * np.clip(empty_h - edges_h[:-1], 0, duration_h)
    taken = pd.DataFrame(np.cumsum(energy_wh.T, axis=0), np.minimum(edges_h[1:], empty_h), [*names, _OWN])
    return pd.DataFrame(power_w.T, edges_h[:-1], names), pd.concat([0 * taken[:1].set_axis([0.0]), taken])


def shedding_view(loads: Mapping[str, Load], unit: BackupUnit, outage: Any) -> View:
    """Return the view of what each load costs: the hours that come back when it alone is unplugged.

    gained = hours of the account without it - hours with all                                 (1)

    Parameters
    ----------
    loads : mapping from name to Load
        All that is plugged in, two or more.
    unit : BackupUnit
        Carries them.
    outage : Outage, str or pint.Quantity
        With the hour at which it begins, where schedules are among the loads.
    """
    with_all, peaks_w = ledger(all_together(loads), unit, outage).lasts, {name: _peak_w(loads[name]) for name in loads}
    without = {name: sum(loads[other] for other in loads if other != name) for name in loads}
    gained = {name: ledger(rest, unit, outage).lasts - with_all for name, rest in without.items()}  # (1)
    order = sorted(loads, key=lambda name: -plain(gained[name]))
    rows = [(name, peaks_w[name], plain(loads[name].energy_over("24 h")), plain(gained[name])) for name in order]
    table = pd.DataFrame(rows, columns=["unplugged", "largest power (W)", "energy in a day (Wh)", "hours gained (h)"])
    bars = [(f"{name}, {peaks_w[name]:,.0f} W", gained[name], loads[name].appliances[0].measured) for name in order]
    text = f"All together run for {with_all}. Unplugging one gives back: "
    text += ", ".join(f"{name} {show(gained[name])}" for name in order)
    most = max(loads, key=lambda name: peaks_w[name])
    headline = f"The largest power, {peaks_w[most]:,.0f} W, gives back {show(gained[most])}"
    picture = partial(figures.bars_figure, bars=bars, axis="hours gained by unplugging it (h)")
    return View(f"{text}.", table, headline, picture)
