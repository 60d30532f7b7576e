"""What a unit delivers of what leaves its battery, and the starts a meter can't see: lesson 03."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from ...estimate import Estimate
from ...measure.draw import Draw
from ...measure.log import MeterLog
from ...model.unit import BackupUnit
from ...sources import lookup
from ...units import Q_, Refusal, number, show
from ..figures import Curve, curves_figure, plain, starts_figure
from ..panels import Panel, Slider, View

_LABELS = ("load at the outlet (W)", "efficiency: outlet over battery (%)")


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

    def percent(unit: BackupUnit, load_w: float) -> Estimate:
        return unit.inverter.efficiency(Q_(load_w, "W")).to("%")

    curves = [Curve.of(name, [percent(unit, p) for p in load_w]) for name, unit in units.items()]
    sheet_w = [number(stated_at[name], "W", "stated_at") for name in units]
    stated = [(at, plain(percent(unit, at))) for at, unit in zip(sheet_w, units.values(), strict=True)]

    def view(load: float) -> View:
        here = int(load)
        each = ", ".join(f"{curve.name} {curve.value[here]:.0f} Wh" for curve in curves)
        columns = {
            "unit": list(units),
            "box says (%)": [says for _, says in stated],
            "at (W)": [at for at, _ in stated],
            "efficiency here (%)": [curve.value[here] for curve in curves],
            "give or take (%)": [curve.half[here] for curve in curves],
            "from the battery (W)": [plain(u.inverter.battery_power(Q_(load, "W"))) for u in units.values()],
        }
        text = f"Of 100 Wh from the battery, so much reaches a load of {load:g} W: {each}."
        worst, (_, says) = min(zip(curves, stated, strict=True), key=lambda pair: pair[0].value[here])
        headline = f"At {load:g} W {worst.name} delivers {worst.value[here]:.0f} %; its box says {says:.0f} %"
        return View(text, pd.DataFrame(columns), headline, partial(picture, at=load))

    picture = partial(curves_figure, x=load_w, curves=curves, labels=_LABELS, reach=(0, 100), stated=stated,
                      about=("squares: what the box says",))  # fmt: skip

    return Panel(view, load=Slider("load at the outlet", 5, 500, 33, unit="W"))


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
        f"In {len(hours)} starts the meter caught {caught.sum()}, the highest {highest.max():,.0f} W; in the others it "
        f"showed {highest[~caught].max():,.0f} W at most. A start asks {times.low:g} to {times.high:g} times the "
        f"running {show(draw.running_power)}: {times.low * running_w:,.0f} to {times.high * running_w:,.0f} W."
    )
    table = pd.DataFrame({"start (h)": hours[caught], "highest reading (W)": highest[caught]})
    headline = f"{len(hours)} starts, {caught.sum()} of them caught by the meter"
    picture = partial(starts_figure, hours=hours, power_w=highest, running_w=running_w, times=(times.low, times.high))
    return View(text, table, headline, picture)
