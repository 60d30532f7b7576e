"""Doing nothing: how long food keeps behind a closed door, with ice, in a colder place, and what that saves."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from ..model.cabinet import FREEZER, MAKE, Cabinet
from ..model.inside import steps_h
from ..model.load import CABINETS, Appliance, Load
from ..sampling import DRAWS, Drawn, Sampler
from ..sources import CAUTIONS, lookup
from ..units import Q_, of_kind, quantity, show, truth
from .outage import Outage

NOTHING = "door closed, ice"
RULE = ("refrigerator", "half full freezer", "full freezer")
BY_RULE, BEYOND_RULE = "by rule of caution", "beyond the rule"


def do_nothing(cabinet: Any, outage: Any, *, ice: Any = None, colder: Any = None, thermometer: bool = False,
               draws: int = DRAWS, seed: int = 1) -> pd.DataFrame:  # fmt: skip
    """Return what the choices without a unit come to: a closed door, ice, a colder place, unplugging first.

    Parameters
    ----------
    cabinet : Cabinet
        The refrigerator or freezer.
    outage : Outage, str or pint.Quantity
        The outage with its room, or its length [h].
    ice : str or pint.Quantity, optional
        Ice or bottles of frozen water put in; the table's mass where left out [kg].
    colder : str or pint.Quantity, optional
        Temperature of a colder place that cabinet or food can be moved to [degC].
    thermometer : bool
        Whether one in the food allows hours that are longer than the agencies'.
    draws, seed
        As in `ride` [-].

    Returns
    -------
    pandas.DataFrame
        Columns: choice; kept (h), never longer than the agencies' hours without a thermometer, and give or take (h),
        missing where it is at least so long; predicted (h); saves (Wh), what the appliance does not draw at the outlet
        meanwhile; caution.
    """
    of_kind(cabinet, Cabinet, "cabinet", "a cabinet", MAKE)
    when, rule = Outage.of(outage), np.inf if truth(thermometer, "thermometer") else cabinet.rule.value
    ice = Q_(lookup("ice at hand").value, "kg") if ice is None else quantity(ice, "kg", "ice")
    choices = [("door closed", f"food, {cabinet.kind}", when.room, "0 kg"),
               (f"door closed, {show(ice)} of ice", "ice", when.room, ice)]  # fmt: skip
    choices += [] if colder is None else [(f"in a place of {show(Q_(colder))}", "colder place", colder, "0 kg")]
    if cabinet.kind == FREEZER:
        choices.append(("unplugged first, plugged in after", "unplugged first", when.room, "0 kg"))
    rows = []
    for choice, caution, place, melts in choices:
        found = cabinet.hours_until(room=place, ice=melts, draws=draws, seed=seed)
        kept = Drawn(np.minimum(found.rows, rule), "h", found.inputs, found.horizon)
        width = np.nan if kept.at_least else kept.expanded().magnitude
        saves_wh = _saved_wh(cabinet, when.room, min(kept.magnitude, when.hours), again=caution == "unplugged first")
        said = [CAUTIONS[caution], *([f"predicted {found}"] if found.at_least else [])]
        said += [CAUTIONS["food freezes"]] if _freezes(cabinet, place, when.hours) else []
        rows.append((choice, kept.magnitude, width, found.magnitude, saves_wh, "; ".join(said)))
    columns = ["choice", "kept (h)", "give or take (h)", "predicted (h)", "saves (Wh)", "caution"]
    return pd.DataFrame(rows, columns=columns)


def _freezes(cabinet: Cabinet, place: Any, hours: float) -> bool:
    """Return whether a place is ever cold enough in some hours for fresh food to freeze."""
    coldest = cabinet.room_of(place)(np.arange(hours)).min()
    return cabinet.kind != FREEZER and bool(coldest < lookup(f"food begins to thaw, {cabinet.kind}").value)


def _saved_wh(cabinet: Cabinet, place: Any, hours: float, *, again: bool) -> float:
    """Return what it does not draw in some hours, less what it owes after them if it is plugged in again [Wh]."""
    if not hours:
        return 0.0
    inside, room, edges_h = cabinet.at(Sampler(0, 0)), cabinet.room_of(place), steps_h(0.0, hours)
    steady_w = inside.steady_w(room((edges_h[:-1] + edges_h[1:]) / 2))
    inside.through(edges_h, room, lambda _: False)
    return float(np.diff(edges_h) @ steady_w - again * np.ravel(inside.owed_wh)[0])


# -- as a row of a comparison ----------------------------------------------------------------------


def closed_door(load: Load, outage: Outage) -> dict[str, Any]:
    """Return the row without a unit: the rule and what to mind, and no help for what does not keep cold."""
    reach, minds = rule_hours(load, outage)
    said = BY_RULE if outage.hours <= reach else BEYOND_RULE
    rule = ", ".join(f"{each} {lookup(f'hours unopened, {each}').value:g} h" for each in RULE)
    notes = (f"a rule of caution, no prediction: {rule}", "it helps cold appliances only", *minds)
    return {"unit": NOTHING, "place": said, "verdict": said, "note": "; ".join(notes)}


def rule_hours(load: Load, outage: Outage) -> tuple[float, tuple[str, ...]]:
    """Return how far the agencies' rule of caution for food behind a closed door reaches [h], and what to mind."""
    kept = [_keeps(each, outage) for each in load.appliances]
    unknown = ", ".join(each.name for each in load.appliances if each.room is None)
    minds = [*(mind for _, mind in kept), f"not known to be cold: {unknown}" if unknown else ""]
    return min(hours for hours, _ in kept), tuple(filter(None, minds))


def _keeps(one: Appliance, outage: Outage) -> tuple[float, str]:
    """Return how long it keeps by the rule, a cabinet no longer than it predicts [h], and what to mind of that."""
    if one.room is None:
        return 0.0, ""
    if one.thermal is not None:
        hours = float(min(one.thermal.rule.value, one.thermal.hours_until(room=outage.room, draws=2).magnitude))
        kept = f"counts as kept for {show(Q_(hours, 'h'))}: by the rule, no longer than predicted"
        return hours, f"the {one.name}, {one.thermal.fill}, {kept}"
    there = one.room if outage.room is None else Q_(float(outage.room.celsius.max()), "degC")
    warm = there.m_as("degC") > lookup("warmest ordinary room").value
    mind = f"the rule is for ordinary rooms: at {show(there)} the {one.name} may keep for less" if warm else ""
    return lookup(f"hours unopened, {RULE[CABINETS.index(one.cabinet)]}").value, mind
