"""What may be used of the capacity printed on the box: lesson 04."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from itertools import permutations
from typing import Any

import pandas as pd

from ...answer.ledger import ledger
from ...answer.outage import Outage
from ...estimate import Estimate
from ...model.ageing import aged, charge_after
from ...model.load import Load
from ...model.unit import BackupUnit
from ...sources import coefficient
from ...units import Q_, Refusal
from ..figures import Box, capacity_figure, plain
from ..panels import Panel, Slider, View


def usable_panel(units: Mapping[str, BackupUnit], *, start: Any = "100 %") -> Panel:
    """Return the panel of lesson 04: how much of the printed number may be used tonight?

    Parameters
    ----------
    units : mapping from name to BackupUnit
        Units known from print, one or more of them lead-acid: their depth of discharge is the first control.
    start : Estimate, str or float
        State of charge when they were last charged [-].

    Raises
    ------
    Refusal
        If none of the units is lead-acid.
    """
    depths = {name: coefficient(f"depth of discharge, {unit.chemistry}") for name, unit in units.items()}
    lead = [name for name, unit in units.items() if "lead-acid" in unit.chemistry]
    if not lead:
        raise Refusal(
            f"units {', '.join(units)}", "a lead-acid unit among them", "Add one: it is what the panel moves."
        )

    def view(depth: float, years: float, months: float) -> View:
        chosen = {name: depths[name] + (Q_(depth, "%").to("1") - depths[name].value) for name in lead}
        boxes = []
        for unit, goes_to in zip(units.values(), (depths | chosen).values(), strict=True):
            health = aged(Q_(years, "year"), unit.chemistry)
            charge = charge_after(Q_(months, "month"), unit.chemistry, start)
            boxes.append(_box(unit.with_health(health).with_depth(goes_to), charge))
        return _usable_view(boxes)

    depth = Slider(f"depth of discharge, {' and '.join(lead)}", 30, 90, 50, unit="%", step=5)
    months = Slider("months since the last charge", 0, 8, 0, unit="months")
    return Panel(view, depth=depth, years=Slider("age of all", 0, 8, 0, unit="years"), months=months)


def _box(unit: BackupUnit, charge: Estimate) -> Box:
    """Return what is usable of a unit at room temperature, and what is missing of what is printed."""
    account = ledger(Load.steady("1 W"), unit, Outage("1 h", start=charge))
    printed, (holds, health, _) = plain(unit.printed), (float(each.share[0]) for each in account.ride.case.shares)
    healthy = printed * holds * health
    full = plain(charge) * healthy
    kept_back = full - plain(account.available)
    missing = {"kept back": kept_back, "not full": healthy - full, "lost to age": printed - healthy}
    return Box(unit.name, unit.chemistry, printed, missing, account.available)


def _usable_view(boxes: Sequence[Box]) -> View:
    """Return the view of what several batteries give of what is printed on them."""
    columns = ["unit", "printed (Wh)", *(f"{reason} (Wh)" for reason in boxes[0].missing_wh), "usable (Wh)",
               "give or take (Wh)"]  # fmt: skip
    rows = [(box.name, box.printed_wh, *box.missing_wh.values(), plain(box.usable), plain(box.usable.expanded()))
            for box in boxes]  # fmt: skip
    said = [(box, *box.usable.spoken()) for box in boxes]
    each = "; ".join(f"{b.name} {usable} of {b.printed_wh:,.0f} Wh, give or take {half}" for b, usable, half in said)
    headline, table = _upside_down(boxes), pd.DataFrame(rows, columns=columns)
    return View(f"Usable tonight: {each}. {headline}.", table, headline, partial(capacity_figure, boxes=boxes))


def _upside_down(boxes: Sequence[Box]) -> str:
    """Return a pair of boxes of which the larger gives less, or that there is none."""
    for more, less in permutations(boxes, 2):
        printed, usable = more.printed_wh - less.printed_wh, plain(less.usable) - plain(more.usable)
        if printed > 0 and usable > 0:
            return f"{more.name} prints {printed:,.0f} Wh more than {less.name} and gives {usable:,.0f} Wh less"
    return "The larger the box, the more it gives"
