"""Cold and hot weather on battery and freezer: lesson 05."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
import pint

from ...answer.ledger import Ledger, ledger
from ...answer.outage import Outage
from ...answer.ride import Ride
from ...model.load import Load
from ...model.unit import BackupUnit
from ...units import Q_, Refusal, show
from ..figures import LOADS, Curve, curves_figure, emptying_figure, plain
from ..panels import Choice, Panel, Slider, View

_PLACES = ("in the store", "in the kitchen")


def cold_panel(freezer: Load, steady: Load, unit: BackupUnit, *, kitchen: Any) -> Panel:
    """Return the panel of lesson 05: what does a colder store do to the hours that a unit carries?

    Parameters
    ----------
    freezer : Load
        What stands in the store, with the room it was measured in; that room is what others are compared with [W].
    steady : Load
        What draws the same in any room [W].
    unit : BackupUnit
        Stands in the store, or in the kitchen.
    kitchen : str or pint.Quantity
        The kitchen's temperature [degC].
    """
    store_c, measured_at = np.arange(-15.0, 26.0), _room(freezer)

    def both(room: pint.Quantity, place: str) -> tuple[Ledger, Ledger]:
        unit_at = room if place == _PLACES[0] else kitchen
        return (ledger(freezer, unit, Outage("24 h", room=room, unit_at=unit_at)),
                ledger(steady, unit, Outage("24 h", unit_at=unit_at)))  # fmt: skip

    accounts = {place: [both(Q_(c, "degC"), place) for c in store_c] for place in _PLACES}
    curves = {
        place: [Curve.of(found[0][n].load.name, [pair[n].lasts for pair in found]) for n in (0, 1)]
        for place, found in accounts.items()
    }
    before, usual = both(measured_at, _PLACES[0]), show(measured_at, 0)

    def view(store: float, place: str) -> View:
        here = accounts[place][int(np.argmin(np.abs(store_c - store)))]
        text = (
            f"Store at {store:g} °C, unit {place}: the {freezer.name} draws {show(here[0].mean_power)} and "
            f"runs for {here[0].lasts}; the {steady.name} runs for {here[1].lasts}. In the ordinary week, at "
            f"{usual}: {show(before[0].lasts)} and {show(before[1].lasts)}."
        )
        gained = [plain(now.lasts - then.lasts) for now, then in zip(here, before, strict=True)]
        words = [f"{load.name} {round(hours):+d} h" for load, hours in zip((freezer, steady), gained, strict=True)]
        headline = f"Store at {store:g} °C, unit {place}: {', '.join(words)}".replace("-", "−")
        return View(text, _table(here, before), headline, partial(picture, curves=curves[place], at=store))

    picture = partial(curves_figure, x=store_c, reach=(0, 100), colours=LOADS[::3], about=[f"+ and −: against {usual}"],
                      labels=("temperature of the store (°C)", "run time (h)"))  # fmt: skip
    store = Slider("temperature of the store", -15, 25, -8, unit="°C")
    return Panel(view, store=store, place=Choice("the unit stands", list(_PLACES)))


def _room(load: Load) -> pint.Quantity:
    """Return the room that a cold appliance was measured in [degC]."""
    room = load.appliances[0].room
    if room is None:
        raise Refusal(f"{load.name} without the room it was measured in", "its temperature",
                      'Write load.in_a_room_of("3 degC", cabinet="freezer").')  # fmt: skip
    return room


def _table(here: Sequence[Ledger], before: Sequence[Ledger]) -> pd.DataFrame:
    """Return powers, usable energy and hours of the same loads now and before."""
    columns = {
        "load": [account.load.name for account in here],
        "draws (W)": [plain(account.mean_power) for account in here],
        "usable (Wh)": [plain(account.available) for account in here],
        "runs (h)": [plain(account.lasts) for account in here],
        "in the ordinary week (h)": [plain(account.lasts) for account in before],
    }
    return pd.DataFrame(columns)


def emptying_view(night: Ride, warm: Ride, *, begins: int) -> View:
    """Return the view of a unit that empties, from a full hour of the clock on.

    Parameters
    ----------
    night, warm : Ride
        The same load in a room given by the hour, the charge told at every full hour; the unit in that room, and in
        the warm.
    begins : int
        The clock's hour at the beginning [h].
    """
    last = int(plain(night.lasts))
    told, hours = night.state_of_charge[: last + 1], np.arange(last + 1)
    limit = told["kept back (Wh)"]
    text = (
        f"From {begins}:00 on: empty after {night.lasts}, with {limit[last]:,.0f} Wh still in it that the cold "
        f"keeps back. With the unit in the warm the same load would run for {warm.lasts}."
    )
    columns = {
        "clock": [f"{(begins + hour) % 24}:00" for hour in hours],
        "store (°C)": night.outage.room.at(hours),
        "in the battery (Wh)": told["charge (Wh)"] + limit,
        "out of reach (Wh)": limit,
    }
    headline = f"Empty after {show(night.lasts)}, with {limit[last]:,.0f} Wh in it that the cold keeps back"
    picture = partial(emptying_figure, night=night, warm=warm, begins=begins)
    return View(text, pd.DataFrame(columns), headline, picture)
