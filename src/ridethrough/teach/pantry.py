"""The first answer: the pantry's refrigerator on the pantry's unit, from the invented log to hours and a caution."""

from __future__ import annotations

import pandas as pd

from ..answer.ledger import Ledger, ledger
from ..answer.outage import Outage
from ..measure.candidates import read_units
from ..measure.draw import Draw, measure_draw
from ..measure.log import Meter, MeterLog, read_log
from ..measure.rundown import Rundown
from ..model.load import Load
from ..model.unit import BackupUnit
from ..units import show
from . import scenario

CAUTION = (
    "Food comes first: keep the door closed, throw away what was above 40 °F (4 °C) for two hours, and never run a "
    "generator indoors."
)
START = "97 %"


def kitchen_log() -> MeterLog:
    """Return the log of the pantry's kitchen fridge-freezer (invented)."""
    return read_log(scenario.path("kitchen-fridge-freezer.csv"), meter=Meter(**scenario.KITCHEN_METER))


def kitchen_draw() -> Draw:
    """Return what the pantry's kitchen fridge-freezer draws, by its log (invented)."""
    return measure_draw(kitchen_log(), name="fridge-freezer", room=scenario.KITCHEN_ROOM)


def store_log() -> MeterLog:
    """Return the log of the pantry's chest freezer, energies of intervals (invented)."""
    return read_log(scenario.path("store-chest-freezer.csv"), meter=Meter(**scenario.STORE_METER))


def store_freezer() -> Load:
    """Return what the pantry's chest freezer draws, with the room of its log (invented)."""
    path = scenario.path("store-chest-freezer.csv")
    room_c = pd.read_csv(path, sep=";", decimal=",", skiprows=1)["Temp [°C]"].mean()
    draw = measure_draw(store_log(), name="chest freezer")
    return draw.as_load().in_a_room_of(f"{room_c:.1f} degC", cabinet="freezer")


def pantry_rundowns() -> dict[str, list[Rundown]]:
    """Return the pantry's bench tests, a list of run-downs for each unit (invented)."""
    tests: dict[str, list[Rundown]] = {}
    for unit, load_w, hours, room_c in pd.read_csv(scenario.path("bench-rundowns.csv"), dtype=str).to_numpy():
        tests.setdefault(unit, []).append(Rundown(f"{load_w} W", f"{hours} h", room=f"{room_c} degC"))
    return tests


def pantry_unit() -> BackupUnit:
    """Return the pantry's own battery unit (invented)."""
    return read_units(scenario.path("units.csv"))["Unit B"]


def first_ledger() -> Ledger:
    """Return the pantry's account for a day without mains."""
    return ledger(kitchen_draw().as_load().on_trust(), pantry_unit(), Outage("24 h", start=START))


def first_answer() -> str:
    """Return the pantry's answer and its caution, two sentences for the terminal."""
    account = first_ledger()
    return (
        f"Invented data: a fridge-freezer measured at {show(account.load.mean_power.value)} on average runs on "
        f"{account.unit.name} ({show(account.unit.printed)} printed on the box) for {account.lasts}: "
        f"{account.verdict} for one day.\n{CAUTION}"
    )
