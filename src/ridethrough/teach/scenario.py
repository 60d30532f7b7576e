"""Where the kit's folders are, and the invented scenario: ``data/`` describes itself, ``data/make.py`` writes it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ..units import Refusal

# What the meters' makers promise, as quantity text: ``Meter(**KITCHEN_METER)``.
KITCHEN_METER: dict[str, Any] = {"accuracy": "1 % + 0.3 W", "power_step": "0.1 W", "energy_step": "0.01 kWh"}
BENCH_METER: dict[str, Any] = {"accuracy": "1 % + 0.3 W"}
KITCHEN_ROOM = BENCH_ROOM = "20 degC"  # while the meters were there
STORE_METER: dict[str, Any] = {"accuracy": "2 %", "energy_step": "0.001 kWh"}


def kit_folder(name: str) -> Path:
    """Return where a folder of the kit is: inside the installed package, or beside ``src`` in a checkout."""
    installed, checkout = (Path(__file__).resolve().parents[up] / name for up in (1, 3))
    return installed if installed.is_dir() else checkout


def path(name: str) -> Path:
    """Return where a table of the scenario is.

    Parameters
    ----------
    name : str
        Its file's name.

    Raises
    ------
    Refusal
        If there is no such file.

    Example
    -------
    >>> path("units.csv").read_text(encoding="utf-8").count("Unit")
    6
    """
    folder = kit_folder("data")
    tables = sorted(file.name for file in folder.glob("*.csv"))
    if name not in tables:
        remedy = f"Write one of: {', '.join(tables)}; a lost one is made again by: python {folder / 'make.py'}"
        raise Refusal(f"the scenario file {name!r}", f"a table in {folder}", remedy)
    return folder / name
