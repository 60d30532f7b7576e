"""What stretches a unit through an outage: sun, a generator some hours a day, gaps in which it is off. Lesson 09."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import product
from typing import Any

import pandas as pd

from ...answer.outage import Outage
from ...answer.ride import Ride, ride
from ...answer.stages import Stages
from ...model.cabinet import Cabinet
from ...model.generator import Generator
from ...model.unit import BackupUnit
from ...sampling import Drawn
from ...units import show
from ..figures import plain
from ..panels import Choice, Panel, Slider, View
from .outages import charge_view

_RIDES, _MOMENTS = 200, 144  # few enough to have all positions ready before a slider moves
_DAYS, _EVENING, _MORNING = "3 days", "18:00", 8  # the outage, when it begins, when a generator is started
_MOST_H, _STEP_H = 4.0, 0.5


def stretch_view(cabinet: Cabinet, rides: Ride) -> View:
    """Return the view of a unit's charge through an outage: how long it runs, and how long the food is kept.

    Parameters
    ----------
    cabinet : Cabinet
        What is plugged in, and whose food is kept, with no thermometer in it.
    rides : Ride
        Its load through the outage, the charge told at moments.
    """
    view, outage, count = charge_view(rides), rides.outage, rides.case.sampler.draws
    food = Stages(cabinet, rides, rides, pd.DataFrame(), thermometer=False).food
    lasting, kept = (round(count * chance) for chance in (rides.chance, food.chance_above(outage.duration)))
    text = (
        f"Outage of {show(outage.duration)}: {rides.unit.label} runs for {_span(rides.lasts)}, {lasting} of {count} "
        f"rides last: {rides.verdict}. The food is kept for {_span(food)}, in {kept} of {count} rides to the end."
    )
    text += f" The generator burns {rides.fuel}." if outage.generator else ""
    text += "".join(f" Caution: {each.cautions[0]}." for each in outage.recharge)
    ends = [[plain(end) for end in each.interval()] for each in (rides.lasts, food)]
    table = pd.DataFrame(ends, columns=["from (h)", "to (h)"])
    table.insert(0, "what", ["the unit runs", "the food is kept"])
    headline = f"{show(outage.duration)}: {rides.verdict}; food kept to the end in {kept} of {count} rides"
    note = (
        f"sun of a real place, else {view.note}" if any(each.kind == "sun" for each in outage.recharge) else view.note
    )
    return replace(view, text=text, table=table, headline=headline, note=note)


def _span(found: Drawn) -> str:
    """Return from when to when it ends, or that the outage is over before."""
    low, high = found.interval()
    return f"{show(low)} to {show(high)}" if plain(high) < found.horizon else str(found)


def stretch_panel(cabinet: Cabinet, unit: BackupUnit, helps: Mapping[str, Mapping[str, Any]], *, rated: Any,
                  start: Any = "100 %") -> Panel:  # fmt: skip
    """Return the panel of lesson 09: what carries a unit through three days, and the food with it?

    Parameters
    ----------
    cabinet : Cabinet
        What is plugged in, and whose food is kept.
    unit : BackupUnit
        What carries it; one measured by run-downs wants its ``k1``.
    helps : mapping from str to mapping
        What helps, by name: ``{"recharge": [sun]}`` or ``{"on": windows}`` as in `Outage`, or ``{}``.
    rated : Ratings, str or pint.Quantity
        The generator's largest steady power [W].
    start : Estimate, str or float
        State of charge when the outage begins [-].
    """
    load = cabinet.as_load()

    def through(helped: str, hours: float) -> View:
        sun, engine = helps[helped].get("recharge", ()), _generator(rated, hours)
        outage = Outage(_DAYS, start=start, begins=_EVENING, recharge=(*sun, *engine), on=helps[helped].get("on"))
        return stretch_view(cabinet, ride(load, unit, outage, draws=_RIDES, times=_MOMENTS))

    hours = Slider("generator, each morning", 0, _MOST_H, 0, unit="h", step=_STEP_H)
    views = {at: through(*at) for at in product(helps, hours.places())}
    return Panel(lambda helped, generator: views[helped, generator],
                 helped=Choice("helped by", list(helps)), generator=hours)  # fmt: skip


def _generator(rated: Any, hours: float) -> list[Generator]:
    """Return one that runs for so long each morning, or none."""
    end = round(60 * (_MORNING + hours))
    return [Generator(rated, hours=f"{_MORNING}:00-{end // 60}:{end % 60:02d}")] if hours else []
