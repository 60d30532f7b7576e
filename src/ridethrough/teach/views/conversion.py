"""What a unit delivers of what leaves its battery, and the starts a meter can't see: lesson 03."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from ...measure.draw import Draw
from ...measure.log import MeterLog
from ...model.unit import BackupUnit
from ...sources import lookup
from ...units import Q_, Refusal, number, show
from ..figures.conversion import efficiency_figure, starts_figure
from ..panels import Panel, Slider, View
from .account import INVENTED


def efficiency_panel(units: Mapping[str, BackupUnit], stated_at: Mapping[str, Any]) -> Panel:
    """Return the panel of lesson 03: at which load does a unit deliver what its box says?

    Parameters
    ----------
    units : mapping from name to BackupUnit
        Units known from print, four at most.
    stated_at : mapping from name to str or pint.Quantity
        For each of them the load at which its box states the efficiency [W].
    """
    load_w = np.arange(0.0, 501.0)
    found = {name: [unit.inverter.efficiency(Q_(p, "W")).to("%") for p in load_w] for name, unit in units.items()}
    curves = [
        (name, np.array([float(e.value.magnitude) for e in each]),
         np.array([float(e.expanded().magnitude) for e in each]))
        for name, each in found.items()
    ]  # fmt: skip
    stated = []
    for name, unit in units.items():
        sheet_w = number(stated_at[name], "W", "stated_at")
        stated.append((sheet_w, float(unit.inverter.efficiency(Q_(sheet_w, "W")).to("%").value.magnitude)))

    def view(load: float) -> View:
        here = int(load)
        each = ", ".join(f"{name} {value[here]:.0f} Wh" for name, value, _ in curves)
        battery_w = [float(unit.inverter.battery_power(Q_(load, "W")).value.magnitude) for unit in units.values()]
        table = pd.DataFrame(
            {
                "unit": list(units),
                "box says (%)": [percent for _, percent in stated],
                "at (W)": [at for at, _ in stated],
                "efficiency here (%)": [value[here] for _, value, _ in curves],
                "give or take (%)": [half[here] for _, _, half in curves],
                "from the battery (W)": battery_w,
            }
        )
        worst = min(range(len(curves)), key=lambda n: curves[n][1][here])
        headline = (f"At {load:g} W {curves[worst][0]} delivers {curves[worst][1][here]:.0f} %; "
                    f"its box says {stated[worst][1]:.0f} %")  # fmt: skip
        return View(
            f"Of 100 Wh from the battery, so much reaches a load of {load:g} W: {each}.", table,
            lambda figure: efficiency_figure(headline, load_w, curves, stated, load, note=INVENTED, figure=figure),
        )  # fmt: skip

    return Panel(view, load=Slider("load at the outlet", 5, 500, 33, unit="W"))


def starts_view(log: MeterLog, draw: Draw, *, note: str = INVENTED) -> View:
    """Return the view of what the log showed in the first minute of each start, beside what a start asks.

    Raises
    ------
    Refusal
        If the log shows no starts.
    """
    if draw.running_power is None or draw.cycles.empty:
        raise Refusal(f"{draw.name}, in whose log no cycles were seen", "a log of powers with starts",
                      "Log every minute or more often.")  # fmt: skip
    running_w, hours = float(draw.running_power.magnitude), draw.cycles["start_h"].to_numpy()
    at, times = log.start_s / 3600, lookup("start over running power")
    highest = np.array([log.power_w[np.abs(at - start - 1 / 120) <= 1 / 120 + 1e-6].max() for start in hours])
    caught = highest >= times.low * running_w
    text = (
        f"In {len(hours)} starts the meter caught {caught.sum()}, the highest {highest.max():,.0f} W; in the others it "
        f"showed {highest[~caught].max():,.0f} W at most. A start asks {times.low:g} to {times.high:g} times the "
        f"running {show(draw.running_power)}: {times.low * running_w:,.0f} to {times.high * running_w:,.0f} W."
    )
    table = pd.DataFrame({"start (h)": hours[caught], "highest reading (W)": highest[caught]})
    headline = f"{len(hours)} starts, {caught.sum()} of them caught by the meter"
    return View(
        text, table,
        lambda figure: starts_figure(headline, hours, highest, running_w, (times.low, times.high), note=note,
                                     figure=figure),
    )  # fmt: skip
