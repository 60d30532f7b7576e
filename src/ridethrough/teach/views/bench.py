"""What bench tests tell of units: lesson 02."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import numpy as np
import pandas as pd

from ...model.rundowns import RundownLine
from ...units import Q_, show
from ..figures import Curve, curves_figure, plain, rundown_figure
from ..panels import Panel, Slider, View


def crossing_panel(lines: Mapping[str, RundownLine]) -> Panel:
    """Return the panel of lesson 02: which unit lasts longer, and does that hold for every load?"""
    load_w = np.arange(0.0, 101.0)
    hours = {name: [line.hours(Q_(p, "W")) for p in load_w] for name, line in lines.items()}
    curves = [Curve.of(name, found) for name, found in hours.items()]
    labels = "load at the outlet (W)", "run time (h)"

    def view(load: float) -> View:
        here = {name: found[int(load)] for name, found in hours.items()}
        longest = max(here, key=lambda name: plain(here[name]))
        columns = {
            "unit": list(here),
            "energy to share (Wh)": [plain(lines[name].energy) for name in here],
            "standby (W)": [plain(lines[name].standby) for name in here],
            "run time (h)": [plain(t) for t in here.values()],
        }
        text = f"At a load of {load:g} W: {'; '.join(f'{name} {t}' for name, t in here.items())}."
        lasts = "lasts longer" if len(here) == 2 else "lasts longest"
        headline = f"At {load:g} W {longest} {lasts}: {show(here[longest].value)}"
        picture = partial(curves_figure, x=load_w, curves=curves, at=load, labels=labels)
        return View(text, pd.DataFrame(columns), headline, picture)

    return Panel(view, load=Slider("load at the outlet", 0, 100, 5, unit="W"))


def rundown_view(line: RundownLine) -> View:
    """Return the view of a run-down line with its runs."""
    table = line.points[["load (W)", "hours (h)", "line says (h)"]]
    headline = f"{len(table)} run-downs: {show(line.energy)} to share, {show(line.standby)} of standby"
    picture = partial(rundown_figure, line=line)
    return View(f"Energy to share: {line.energy}. Standby at the outlet: {line.standby}.", table, headline, picture)
