"""What bench tests tell of units: lesson 02."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from ...measure.bench import RundownLine
from ...units import Q_, show
from ..figures import (
    curves_figure,
    rundown_figure,
)
from ..panels import Panel, Slider, View
from .account import INVENTED


def crossing_panel(lines: Mapping[str, RundownLine]) -> Panel:
    """Return the panel of lesson 02: which unit lasts longer, and does that hold for every load?"""
    load_w = np.arange(0.0, 101.0)
    hours = {name: [line.hours(Q_(p, "W")) for p in load_w] for name, line in lines.items()}
    curves = [
        (name, np.array([float(t.value.magnitude) for t in found]),
         np.array([float(t.expanded().magnitude) for t in found]))
        for name, found in hours.items()
    ]  # fmt: skip

    axes = ("load at the outlet (W)", "run time (h)")

    def view(load: float) -> View:
        here = {name: found[int(load)] for name, found in hours.items()}
        longest = max(here, key=lambda name: float(here[name].value.magnitude))
        each = "; ".join(f"{name} {t}" for name, t in here.items())
        table = pd.DataFrame(
            {
                "unit": list(here),
                "energy to share (Wh)": [float(lines[name].energy.value.magnitude) for name in here],
                "standby (W)": [float(lines[name].standby.value.magnitude) for name in here],
                "run time (h)": [float(t.value.magnitude) for t in here.values()],
            }
        )
        word = "longer" if len(here) == 2 else "longest"
        headline = f"At {load:g} W {longest} lasts {word}: {show(here[longest].value)}"
        return View(
            f"At a load of {load:g} W: {each}.", table,
            lambda figure: curves_figure(headline, load_w, curves, load, labels=axes, note=INVENTED,
                                         figure=figure),
        )  # fmt: skip

    return Panel(view, load=Slider("load at the outlet", 0, 100, 5, unit="W"))


def rundown_view(line: RundownLine, *, note: str = INVENTED) -> View:
    """Return the view of a run-down line with its runs."""
    power_w, hours = line.points["load (W)"].to_numpy(), line.points["hours (h)"].to_numpy()
    return View(
        f"Energy to share: {line.energy}. Standby at the outlet: {line.standby}.",
        line.points[["load (W)", "hours (h)", "line says (h)"]],
        lambda figure: rundown_figure(power_w, hours, line.energy, line.standby, note=note, figure=figure),
    )
