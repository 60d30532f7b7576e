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
        for name, unit in units.items():
            chemistry = unit.chemistry
            health, charge = aged(Q_(years, "year"), chemistry), charge_after(Q_(months, "month"), chemistry, start)
            boxes.append(_box(unit.with_health(health).with_depth((depths | chosen)[name]), charge))
        return _usable_view(boxes)

    return Panel(
        view,
        depth=Slider(f"depth of discharge, {' and '.join(lead)}", 30, 90, 50, unit="%", step=5),
        years=Slider("age of all", 0, 8, 0, unit="years"),
        months=Slider("months since the last charge", 0, 8, 0, unit="months"),
    )


def _box(unit: BackupUnit, charge: Estimate) -> Box:
    """Return what is usable of a unit at room temperature, and what is missing of what is printed."""
    account = ledger(Load.steady("1 W"), unit, Outage("1 h", start=charge))
    printed, (holds, health, _) = plain(unit.printed), (float(each.share[0]) for each in account.ride.case.shares)
    healthy = printed * holds * health
    full = plain(charge) * healthy
    missing = {
        "kept back": full - plain(account.available),
        "not full": healthy - full,
        "lost to age": printed - healthy,
    }
    return Box(unit.name, unit.chemistry, account.available, missing)


def _usable_view(boxes: Sequence[Box]) -> View:
    """Return the view of what several batteries give of what is printed on them."""
    table = pd.DataFrame(
        [
            {
                "unit": box.name,
                "printed (Wh)": box.printed_wh,
                **{f"{reason} (Wh)": energy for reason, energy in box.missing.items()},
                "usable (Wh)": box.usable_wh,
                "give or take (Wh)": plain(box.usable.expanded()),
            }
            for box in boxes
        ]
    )
    said = [(box, *box.usable.spoken()) for box in boxes]
    each = "; ".join(f"{b.name} {usable} of {b.printed_wh:,.0f} Wh, give or take {half}" for b, usable, half in said)
    headline = _upside_down(boxes)
    return View(f"Usable tonight: {each}. {headline}.", table, headline, partial(capacity_figure, boxes=boxes))


def _upside_down(boxes: Sequence[Box]) -> str:
    """Return a pair of boxes of which the larger gives less, or that there is none."""
    for more, less in permutations(boxes, 2):
        if more.printed_wh > less.printed_wh and more.usable_wh < less.usable_wh:
            return (
                f"{more.name} prints {more.printed_wh - less.printed_wh:,.0f} Wh more than {less.name} "
                f"and gives {less.usable_wh - more.usable_wh:,.0f} Wh less"
            )
    return "The larger the box, the more it gives"
