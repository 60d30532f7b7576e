"""The invented scenario: where its files are, what stands in them, and the command that makes them again.

The volunteers of a hill village's food pantry keep a fridge-freezer in the kitchen and a chest freezer in an
unheated store through winter outages. Every number is invented. ``python -m ridethrough.teach.scenario``
writes all files from a seed: the tables come from `scenario_make`, and the catalogue below describes them
once, for ``datapackage.json`` (Frictionless Data Package, https://datapackage.org) and for ``README.md``.
"""

from __future__ import annotations

import importlib.resources
import json
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from ..units import Refusal

# What the meters' makers promise, as quantity text: ``Meter(**KITCHEN_METER)``.
KITCHEN_METER: Mapping[str, Any] = MappingProxyType(
    {"accuracy": "1 % + 0.3 W", "power_step": "0.1 W", "energy_step": "0.01 kWh"}
)
STORE_METER: Mapping[str, Any] = MappingProxyType({"accuracy": "2 %", "energy_step": "0.001 kWh"})


def _must(**constraints: Any) -> dict[str, Any]:
    return {"constraints": constraints}


_GIVEN, _FROM_ZERO = _must(required=True), _must(minimum=0)

Column = tuple[str, str, str, Mapping[str, Any]]  # name, type, meaning with [unit], further field properties


@dataclass(frozen=True)
class Table:
    """One table of the scenario: what it tells and what its columns mean.

    Parameters
    ----------
    about : str
        What it is, a sentence or more.
    columns : tuple of Column
        Name, type, meaning with its unit, further properties of the field.
    keys : mapping
        Keys of the table schema.
    dialect : mapping
        How the file is written, where it is no plain CSV.
    encoding : str
        As Python names it.
    """

    about: str
    columns: tuple[Column, ...]
    keys: Mapping[str, Any] = field(default_factory=dict)
    dialect: Mapping[str, Any] = field(default_factory=dict)
    encoding: str = "utf-8"


_TIME: Column = ("time", "datetime", "local time at the village, without zone",
                 {"format": "%Y-%m-%d %H:%M"} | _GIVEN)  # fmt: skip
_UNIT: Column = ("unit", "string", "name in units.csv", _GIVEN)
_OF_UNITS = {"foreignKeys": [{"fields": ["unit"], "reference": {"resource": "units", "fields": ["name"]}}]}
_ROOMS: tuple[Column, ...] = (
    ("store_c", "number", "air temperature in the unheated store [degC]", _GIVEN),
    ("kitchen_c", "number", "air temperature in the kitchen [degC]", _GIVEN),
    ("outdoors_c", "number", "air temperature outdoors [degC]", _GIVEN),
)
_BY_TIME = {"primaryKey": ["time"]}

CATALOGUE: Mapping[str, Table] = MappingProxyType({
    "kitchen-fridge-freezer.csv": Table(
        "Log of a plug-in power meter on the kitchen's fridge-freezer: a reading every 30 s for three and a half "
        "days, with a gap where someone pulled the logger (the refrigerator ran on). "
        f"Accuracy {KITCHEN_METER['accuracy']}.",
        (("time", "datetime", "local winter time, without zone", _GIVEN),
         ("power (W)", "number", "power at the outlet [W], in steps of 0.1 W", _must(required=True, minimum=0))),
        _BY_TIME),
    "hand-readings.csv": Table(
        "Eight readings of the same meter's display, taken by hand over the same days.",
        (_TIME, ("energy (kWh)", "number", "energy counted so far [kWh], in steps of 0.01 kWh", _GIVEN)),
        _BY_TIME),
    "store-chest-freezer.csv": Table(
        "Log of another meter on the chest freezer in the store, every 5 minutes for four days, as such meters "
        "write it: a line before the header, semicolons, decimal commas, a byte order mark. "
        f"Accuracy {STORE_METER['accuracy']}.",
        (("Time", *_TIME[1:]),
         ("Energy [kWh]", "number", "energy counted so far [kWh], in steps of 0.001 kWh",
          {"decimalChar": ","} | _GIVEN),
         ("Temp [°C]", "number", "air temperature in the store [degC]", {"decimalChar": ","} | _GIVEN)),
        {"primaryKey": ["Time"]}, {"delimiter": ";", "headerRows": [2]}, "utf-8-sig"),
    "bench-rundowns.csv": Table(
        "Three run-downs of each unit at steady loads, from full until it switched off, one of them with nothing "
        "plugged in.",
        (_UNIT, ("load_w", "number", "steady power at the outlet [W]", _must(required=True, minimum=0)),
         ("hours", "number", "run time [h]", _GIVEN),
         ("room_c", "number", "room temperature [degC]", _GIVEN)),
        _OF_UNITS),
    "units.csv": Table(
        "Six battery units as their boxes and data sheets describe them. An empty cell is a number that is not "
        "stated; it stays missing. Unit B is the pantry's own.",
        (("name", "string", "name of the unit", _must(required=True, unique=True)),
         ("capacity_wh", "number", "capacity printed on the box [Wh]", _GIVEN),
         ("chemistry", "string", "kind of battery", _must(
             required=True, enum=["iron phosphate", "nickel-manganese-cobalt", "sealed lead-acid"])),
         ("standby_w", "number", "power from the battery with nothing plugged in [W]", _FROM_ZERO),
         ("efficiency_percent", "number", "outlet power over battery power, standby included [%]",
          _must(minimum=0, maximum=100)),
         ("efficiency_at_w", "number", "load at which that efficiency holds [W]", _FROM_ZERO),
         ("rated_w", "number", "largest steady power at the outlet [W]", _FROM_ZERO),
         ("surge_w", "number", "largest power in a start [W]", _FROM_ZERO),
         ("rated_va", "number", "largest steady apparent power at the outlet [VA]", _FROM_ZERO),
         ("pack_wh", "number", "capacity printed on one expansion pack [Wh]", _FROM_ZERO),
         ("packs_max", "integer", "how many packs can be added [-]", _FROM_ZERO)),
        {"primaryKey": ["name"]}),
    "prices.csv": Table(
        "Price list of units, packs and bundles, each price with its date.",
        (_UNIT, ("item", "string", "what is sold; a bundle is the unit with one pack",
                 _must(required=True, enum=["unit", "pack", "bundle"])),
         ("price", "number", "price for one [currency of the row]", _must(required=True, minimum=0)),
         ("currency", "string", "currency by its ISO 4217 code", _GIVEN),
         ("tax_included", "boolean", "whether sales tax is in the price",
          {"trueValues": ["yes"], "falseValues": ["no"]} | _GIVEN),
         ("date", "date", "first day of the price", _GIVEN),
         ("note", "string", "remark", {})),
        _OF_UNITS),
    "nameplates.csv": Table(
        "Stickers and yearly labels of what the pantry plugs in, to set beside what the meter says.",
        (("appliance", "string", "what the sticker is on", _must(required=True, unique=True)),
         ("volts", "number", "voltage on the sticker [V]", _FROM_ZERO),
         ("amperes", "number", "current on the sticker [A]", _FROM_ZERO),
         ("watts", "number", "power on the sticker [W]", _FROM_ZERO),
         ("label_kwh_per_year", "number", "energy on the yearly label [kWh/year]", _FROM_ZERO))),
    "cold-snap.csv": Table("Hourly temperatures of a winter week at the village.", (_TIME, *_ROOMS), _BY_TIME),
    "heat-wave.csv": Table("Hourly temperatures of a hot summer week at the village.", (_TIME, *_ROOMS), _BY_TIME),
})  # fmt: skip
FILES = (*CATALOGUE, "datapackage.json", "README.md")


def folder() -> Path:
    """Return the folder with the scenario's files: inside the installed package, or beside ``src`` in a checkout."""
    installed = Path(str(importlib.resources.files("ridethrough"))) / "data"
    return installed if installed.is_dir() else Path(__file__).resolve().parents[3] / "data"


def path(name: str) -> Path:
    """Return where a file of the scenario is.

    Parameters
    ----------
    name : str
        One of `FILES`.

    Raises
    ------
    Refusal
        If there is no such file.

    Example
    -------
    >>> path("units.csv").read_text(encoding="utf-8").count("Unit")
    6
    """
    found = folder() / name if name in FILES else None
    if found is None or not found.is_file():
        raise Refusal(
            f"the scenario file {name!r}",
            "one that the kit has" if found is None else f"the file in {found.parent}",
            f"Write one of: {', '.join(FILES)}."
            if found is None
            else "Type python -m ridethrough.teach.scenario to make it again.",
        )
    return found


def files() -> dict[str, bytes]:
    """Return every file of the scenario as it stands on disk, made anew from the seed."""
    from .scenario_make import tables

    made = {name: text.encode(CATALOGUE[name].encoding) for name, text in tables().items()}
    package = json.dumps(data_package(), indent=2, ensure_ascii=False) + "\n"
    return made | {"datapackage.json": package.encode(), "README.md": read_me().encode()}


def write(into: Path) -> list[Path]:
    """Write every file of the scenario into the folder ``into``, over what is there, and return their paths."""
    into.mkdir(parents=True, exist_ok=True)
    written = []
    for name, content in files().items():
        (into / name).write_bytes(content)
        written.append(into / name)
    return written


def data_package() -> dict[str, Any]:
    """Return the scenario's description as a Frictionless Data Package."""
    return {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": "ridethrough-scenario",
        "title": "A food pantry in a hill village, invented",
        "description": "Every number in every resource is invented, from a simulation with a fixed seed.",
        "licenses": [
            {
                "name": "CC-BY-4.0",
                "title": "Creative Commons Attribution 4.0 (proposed, until the owner decides)",
                "path": "https://creativecommons.org/licenses/by/4.0/",
            }
        ],
        "resources": [_resource(name, table) for name, table in CATALOGUE.items()],
    }


def _resource(name: str, table: Table) -> dict[str, Any]:
    fields = [
        {"name": column, "type": kind, "description": meaning, **more} for column, kind, meaning, more in table.columns
    ]
    described = {
        "name": name.removesuffix(".csv"),
        "type": "table",
        "path": name,
        "description": f"Invented. {table.about}",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": {"fields": fields, "missingValues": [""], **table.keys},
    }
    return described | ({"dialect": dict(table.dialect)} if table.dialect else {})


def read_me() -> str:
    """Return the text of the folder's README, in Markdown."""
    lines = [
        "# The scenario's data",
        "",
        "**Everything in this folder is invented.** The volunteers of a hill village's food pantry keep a",
        "fridge-freezer in the kitchen and a chest freezer in an unheated store through winter outages. There is no",
        "such pantry; the logs come from a simulation, and Unit A to Unit F match no product.",
        "",
        "Every file here, this one too, is written by one command, the same bytes each time:",
        "",
        "    python -m ridethrough.teach.scenario",
        "",
        "So change `src/ridethrough/teach/scenario_make.py` (numbers) or `scenario.py` (descriptions), never a file",
        "here. `datapackage.json` says the same for programs (Frictionless Data Package, https://datapackage.org).",
        "Proposed licence, until the owner decides: CC-BY-4.0.",
    ]
    for name, table in CATALOGUE.items():
        lines += ["", f"## {name}", "", f"Invented. {table.about}", "", "| column | meaning |", "|---|---|"]
        lines += [f"| `{column}` | {meaning} |" for column, _, meaning, _ in table.columns]
    return "\n".join([*lines, ""])


if __name__ == "__main__":
    for made in write(Path(sys.argv[1]) if len(sys.argv) > 1 else folder()):
        print(made)
