"""How big for how long: rides through an outage, past outages, and units side by side. Lesson 07."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from ...answer.outage import Outage
from ...answer.ride import Ride, ride
from ...answer.size import size
from ...model.load import Load
from ...model.unit import BackupUnit
from ...units import Q_, show
from ..figures import charge_figure, outages_figure, plain
from ..panels import Choice, Panel, Slider, View

_RIDES, _MOMENTS = 2000, 72  # few enough to follow a slider
_LEVELS = (0.025, 0.25, 0.5, 0.75, 0.975)  # 19 of 20, half, the middle


def rides_view(load: Load, unit: BackupUnit, outage: Any) -> View:
    """Return the view of 2,000 rides through one outage: how many last, when the others run empty."""
    rides = ride(load, unit, outage, draws=_RIDES, times=_MOMENTS)
    levels_wh, reserve = np.quantile(rides.charges_wh, _LEVELS, axis=1), rides.outage.reserve
    kept = f" and keep {show(reserve)} in reserve" if reserve.magnitude else ""
    last = f"on {unit.label}: {round(rides.chance * _RIDES):,} of {_RIDES:,} rides last"
    hours, verdict = show(rides.outage.duration), rides.verdict
    table = pd.DataFrame([rides.case.told_h, *levels_wh[::2]], ["time (h)", "low (Wh)", "middle (Wh)", "high (Wh)"]).T
    return View(
        f"Outage of {hours} {last}{kept}, {verdict}. {_ends(rides)}", table[:: _MOMENTS // 8],
        f"{hours} {last}, {verdict}", partial(charge_figure, rides=rides, levels_wh=levels_wh),
    )  # fmt: skip


def _ends(rides: Ride) -> str:
    """Return how long 19 of 20 rides are, and what the middle one has left."""
    low, high = rides.interval()
    runs = f"{show(low)} to {show(high)}" if plain(high) < rides.lasts.horizon else rides.lasts
    left = float(np.median(rides.left.draws))
    fate = "left over" if left >= 0 else "missing"
    return f"The unit runs for {runs}; in the middle ride {show(Q_(abs(left), 'Wh'), 0)} are {fate}."


def outage_panel(load: Load, unit: BackupUnit, *, start: Any = "100 %") -> Panel:
    """Return the panel of lesson 07: until which hour is it covered, alone and with packs?

    Parameters
    ----------
    load : Load
        What is plugged in [W].
    unit : BackupUnit
        Without packs; the panel adds as many as it takes.
    start : Estimate, str or float
        State of charge when the outage begins [-].
    """
    units = {each.label: each for each in (unit.with_packs(n) for n in range(unit.packs_max + 1))}

    def view(hours: float, on: str) -> View:
        return rides_view(load, units[on], Outage(Q_(hours, "h"), start=start))

    hours = Slider("length of the outage", 6, 168, 36, unit="h")
    return Panel(view, hours=hours, on=Choice("carried by", list(units)))


def past_view(load: Load, unit: BackupUnit, past: Sequence[Any], *, start: Any = "100 %") -> View:
    """Return the view of past outages: their lengths, their mean, and the fewest packs that cover each."""
    outages = sorted((Outage(length, start=start) for length in past), key=lambda outage: outage.hours)
    hours = [outage.hours for outage in outages]
    packs = [size(load, outage, like=unit).packs for outage in outages]
    mean, alone = sum(hours) / len(hours), sum(needed == 0 for needed in packs)
    text = (
        f"{len(hours)} outages: mean {mean:.1f} h, half of them under {np.median(hours):.1f} h, the longest "
        f"{hours[-1]:g} h. {unit.label} alone covers {alone} of them; "
        f"{100 * hours[-1] / sum(hours):.0f} % of the dark hours were in the longest one."
    )
    headline = f"Mean {mean:.1f} h, longest {hours[-1]:g} h: {unit.label} alone covers {alone} of {len(hours)}"
    picture = partial(outages_figure, hours=hours, packs=packs, name=unit.label)
    return View(text, pd.DataFrame({"outage (h)": hours, "packs": packs}), headline, picture)


def side_by_side(table: pd.DataFrame) -> pd.DataFrame:
    """Return what `compare` found as a row for each unit and a column for each outage, in the order given."""
    said = []
    for verdict, packs, note in zip(table["verdict"], table["packs"], table["note"], strict=True):
        with_packs = "" if pd.isna(packs) or not packs else f", {packs} pack{'s' if packs > 1 else ''}"
        said.append(f"{verdict}{with_packs}{', all packs' if note.startswith('even') else ''}")
    wide = table.assign(said=said).pivot(index="unit", columns="outage", values="said")
    return (
        wide[list(table["outage"].unique())].loc[list(table["unit"].unique())].reset_index().rename_axis(columns=None)
    )
