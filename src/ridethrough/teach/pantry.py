"""The first answer: the pantry's refrigerator on the pantry's unit, from the invented log to hours and a caution."""

from __future__ import annotations

from functools import cache

import pandas as pd

from ..answer.ledger import Ledger, ledger
from ..answer.outage import Outage
from ..measure.bench import fit_rundowns
from ..measure.candidates import read_units
from ..measure.draw import Draw, measure_draw
from ..measure.log import Meter, MeterLog, read_log
from ..measure.rundown import Rundown
from ..measure.standby import standby_on
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


@cache
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


def account(after: str) -> Ledger:
    """Return the pantry's account of a day without mains as it is known after a lesson: what is measured stays so.

    Parameters
    ----------
    after : str
        Number of the lesson: "00" takes all on trust, "01" has measured the draw, "02" the standby, "03" and later ones
        what comes out at the outlet.
    """
    load, unit = kitchen_draw().as_load(), pantry_unit()
    tested = bench_unit(unit)
    if after < "01":
        load = load.on_trust()
    if after == "02":
        unit = unit.with_standby(standby_on("battery", tested.standby, found_on="outlet", k1=unit.inverter.k1))
    if after >= "03":
        unit = tested
    return ledger(load, unit, Outage("24 h", start=START))


def bench_unit(sheet: BackupUnit) -> BackupUnit:
    """Return a unit of the pantry as its run-downs measured it (invented)."""
    line = fit_rundowns(pantry_rundowns()[sheet.name], meter=Meter(**scenario.BENCH_METER), room=scenario.BENCH_ROOM,
                        chemistry=sheet.chemistry)  # fmt: skip
    return BackupUnit.from_rundowns(sheet.name, line, printed=sheet.printed, rated=sheet.ratings, k1=sheet.inverter.k1,
                                    pack=sheet.pack, packs_max=sheet.packs_max)  # fmt: skip


def first_answer() -> str:
    """Return the pantry's answer and its caution, two sentences for the terminal."""
    first = account("01")
    draws, box = show(first.load.mean_power.value), f"{show(first.unit.printed)} printed on the box"
    told = f"a fridge-freezer measured at {draws} on average runs on {first.unit.name} ({box}) for {first.lasts}"
    return f"Invented data: {told}: {first.verdict} for one day.\n{CAUTION}"
