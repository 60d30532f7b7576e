"""Several loads on one unit: lesson 10."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
from ...model.load import Load
from ...model.unit import BackupUnit
from ...units import Q_, Refusal, show
from ..figures import LOADS, Taken, bars_figure, household_figure, plain
from ..panels import Choice, Panel, Slider, View
from ..pantry import kitchen_draw, store_freezer, store_log

_DAY = Q_(24, "h")
_MOMENTS = 240
_OUTAGE = 2 * _DAY  # long enough to empty the unit, whenever it begins


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
    rated_w = plain(unit.ratings.rated.to("W"))

    def view(plugged: str, begins: float) -> View:
        outage, load = Outage(_OUTAGE, start=start, begins=f"{begins:.0f}:00"), sets[plugged]
        taken, peaks_w = _taken(load, unit, outage, list(loads)), _peak_w(load)
        hours = float(taken.times_h[-1])
        lost = float(_taken(sets[alone], unit, outage, list(loads)).times_h[-1]) - hours
        than = f", {lost:.1f} h less than the {alone}" if plugged != alone else ""
        asks = "more than" if peaks_w > rated_w else "within"
        text = (
            f"Plugged in: {plugged}. When the power fails at {begins:.0f}:00, {unit.name} lasts {hours:.1f} h{than}; "
            f"at an hour that nobody knows, {any_hour[plugged]}. All peaks at once are {peaks_w:,.0f} W, {asks} the "
            f"inverter's {rated_w:,.0f} W."
        )
        columns = {
            "what": [*taken.colours, "the unit itself"],
            "largest power (W)": [f"{_peak_w(loads[name]):,.0f}" for name in taken.colours] + ["-"],
            "taken until empty (Wh)": taken.energy_wh[:, -1],
        }
        over = "; all peaks at once are too much" if peaks_w > rated_w else ""
        headline = f"{plugged[0].upper()}{plugged[1:]}: {hours:.1f} h{over}"
        picture = partial(household_figure, taken=taken, rated_w=rated_w, peaks_w=peaks_w, begins=int(begins))
        return View(text, pd.DataFrame(columns), headline, picture)

    plugged = Choice("plugged in", list(sets), f"{first} and {opens}")
    return Panel(view, plugged=plugged, begins=Slider("the power fails at", 0, 23, 18, unit="o'clock"))


def _peak_w(load: Load) -> float:
    """Return all peaks at once [W]."""
    if load.peak is None:
        raise Refusal(f"{load.name}, whose largest power is not known", "the largest power of each load",
                      "Measure it while it runs.")  # fmt: skip
    return plain(load.peak.to("W"))


def _taken(load: Load, unit: BackupUnit, outage: Outage, order: Sequence[str]) -> Taken:
    """Return what each load, in the order of all, took until the unit was empty, and what the unit took itself.

    At the best estimates: what cycles at moments that nobody knows is taken at its mean.
    """
    case = case_of(load, unit, outage, draws=0, seed=0)
    rode = through(case)
    if rode.survives:
        raise Refusal(f"{unit.label}, which lasts {show(outage.duration)} and longer",
                      "a unit that runs empty in two days", "Take fewer packs.")  # fmt: skip
    ends, steps = plain(rode.lasts), list(stretches(case, 0.0, outage.hours))
    duration_h = np.concatenate([step.duration_h for step in steps])
    power_w = np.hstack([step.powers_w[:, :, 0] for step in steps])
    own_w = np.concatenate([step.drained_w[:, 0] for step in steps]) - power_w.sum(axis=0)
    edges_h = np.append(0, np.cumsum(duration_h))
    sums_wh = np.cumsum(np.vstack([power_w, own_w]) * duration_h, axis=1)
    times_h = np.linspace(0, ends, _MOMENTS + 1)
    energy_wh = np.array([np.interp(times_h, edges_h, np.append(0, sums)) for sums in sums_wh])
    colours = {appliance.name: LOADS[order.index(appliance.name)] for appliance in load.appliances}
    return Taken(colours, edges_h, power_w, times_h, energy_wh)


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
    columns = {
        "unplugged": order,
        "largest power (W)": [peaks_w[name] for name in order],
        "energy in a day (Wh)": [plain(loads[name].energy_over(_DAY)) for name in order],
        "hours gained (h)": [plain(gained[name]) for name in order],
    }
    bars = [(f"{name}, {peaks_w[name]:,.0f} W", gained[name], loads[name].appliances[0].measured) for name in order]
    text = f"All together run for {with_all}. Unplugging one gives back: "
    text += ", ".join(f"{name} {show(gained[name])}" for name in order)
    most = max(loads, key=lambda name: peaks_w[name])
    headline = f"The largest power, {peaks_w[most]:,.0f} W, gives back {show(gained[most])}"
    picture = partial(bars_figure, bars=bars, axis="hours gained by unplugging it (h)")
    return View(f"{text}.", pd.DataFrame(columns), headline, picture)
