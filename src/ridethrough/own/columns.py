"""What a file of one's own holds, by its columns; and a table of run-downs as people write it, cell by cell."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from ..measure.layout import Layout, find_layout, unit_of, words_of
from ..units import Q_, Refusal, float_of, registry, rows_beside, unit_name

ORDER = ("settings", "units", "prices", "run-downs", "log")  # what a file may hold; later ones need what was before
ROLES = {row["role"]: row for row in rows_beside(__file__, "rundown_columns.csv")}


def taken_for(file: Path) -> str:
    """Return what a file holds, by the names of its columns: one of `ORDER`."""
    if file.suffix.lower() == ".toml":
        return "settings"
    layout = find_layout(file)
    words, roles = words_of(" ".join(layout.names)), rundown_roles(layout).keys()
    if words & {"price", "capacity"}:
        return "prices" if "price" in words else "units"
    named = "unit" in roles or words & {"load", "ran", "lasted", "stopped", "packs"}
    return "run-downs" if named and "hours" in roles and roles & {"load", "delivered"} else "log"


def rundown_roles(layout: Layout) -> dict[str, str]:
    """Return which column of a table of run-downs is what, by its unit or else by its words."""
    roles, told = dict[str, str](), {column: unit_of(column) for column in layout.names}
    for role, row in ROLES.items():
        by_unit = [column for column, unit in told.items()
                   if unit and row["unit"] and Q_(1, row["unit"]).is_compatible_with(unit)]  # fmt: skip
        by_words = [column for column, unit in told.items() if not unit and words_of(column) & {*row["words"].split()}]
        if found := by_unit or by_words:
            roles[role] = found[0]
    return roles


def cell_of(role: str, column: str, text: str) -> Any:
    """Return a cell of a table of run-downs: a number in its column's unit, or text as it is."""
    value, base, unit = float_of(text), ROLES[role]["unit"], unit_of(column)
    if role == "packs" and value % 1 == 0:
        return int(value)
    if not base or math.isnan(value):
        return text
    if role == "delivered" and unit is None:
        raise Refusal(f"the column {column!r}, which states no unit", "Wh or kWh", 'Write "energy (kWh)".')
    return registry().Quantity(value, unit or unit_name(base))
