"""Tables of units in: a row becomes a `BackupUnit`, a missing number stays missing."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from os import PathLike, fspath
from typing import Any

from ..model.unit import BackupUnit
from ..units import Q_, Refusal

# column -> unit, None for text; the ones marked True must be there for a unit to be reckoned with
COLUMNS: dict[str, tuple[str | None, bool]] = {
    "name": (None, True),
    "capacity_wh": ("Wh", True),
    "chemistry": (None, True),
    "standby_w": ("W", True),
    "efficiency_percent": ("%", True),
    "efficiency_at_w": ("W", True),
    "rated_w": ("W", True),
    "rated_va": ("VA", False),
    "surge_w": ("W", False),
    "pack_wh": ("Wh", False),
    "packs_max": ("1", False),
}


class Units(Mapping[str, BackupUnit]):
    """Units by name, as `read_units` found them.

    A unit with a number missing is listed, and refused with the number's name when it is asked for.
    """

    def __init__(self, file: str, rows: dict[str, dict[str, Any]]) -> None:
        self._file, self._rows = file, rows

    def __getitem__(self, name: str) -> BackupUnit:
        if name not in self._rows:
            raise Refusal(f"the unit {name!r}", f"one in {self._file}", f"Write one of: {', '.join(self._rows)}.")
        row = self._rows[name]
        missing = self.missing(name)
        if missing:
            raise Refusal(
                f"{name} in {self._file} without {', '.join(missing)}",
                "every number that the ledger rests on",
                "Measure it or find it in print, and fill the cell; "
                "or build the unit yourself with BackupUnit.from_print(...).",
            )
        return BackupUnit.from_print(
            name,
            capacity=row["capacity_wh"],
            chemistry=row["chemistry"],
            standby=row["standby_w"],
            rated=row["rated_w"],
            efficiency=row["efficiency_percent"],
            at=row["efficiency_at_w"],
            rated_va=row["rated_va"],
            surge=row["surge_w"],
            pack=row["pack_wh"],
            packs_max=0 if row["packs_max"] is None else int(row["packs_max"].magnitude),
        )

    def missing(self, name: str) -> list[str]:
        """Return the needed columns that are empty in this unit's row."""
        return [column for column, (_, needed) in COLUMNS.items() if needed and self._rows[name][column] is None]

    def __iter__(self) -> Iterator[str]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)

    def __repr__(self) -> str:
        return f"<Units of {self._file}: {', '.join(self._rows)}>"


def read_units(path: str | PathLike[str]) -> Units:
    """Return the units of a table, one row each.

    Parameters
    ----------
    path : str or path
        A CSV file with the columns of `COLUMNS`: energies in Wh, powers in W, the efficiency in percent
        beside the load at which it holds. Further columns are left alone. Empty cells stay missing.

    Returns
    -------
    Units
        A mapping from name to `BackupUnit`.

    Raises
    ------
    Refusal
        If the file or a column is missing, a name stands twice, or a cell is no number; it names file, row
        and column.
    """
    import pandas as pd

    file = fspath(path)
    try:
        table = pd.read_csv(file, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    except (OSError, ValueError) as error:
        raise Refusal(
            f"{file}: {error}", "a table of units in CSV", f"Give one with the columns {', '.join(COLUMNS)}."
        ) from None
    absent = [column for column, (_, needed) in COLUMNS.items() if needed and column not in table.columns]
    if absent:
        raise Refusal(
            f"{file} with the columns {', '.join(map(str, table.columns))}",
            f"also {', '.join(absent)}",
            "Add the column; its cells may be empty.",
        )
    rows: dict[str, dict[str, Any]] = {}
    for number, record in enumerate(table.to_dict("records"), start=2):
        row = {column: _cell(file, number, column, record.get(column, "")) for column in COLUMNS}
        name = row["name"]
        if name is None or name in rows:
            what = "no name" if name is None else f"the name {name!r} a second time"
            raise Refusal(f"{file}, row {number}: {what}", "a name of its own in each row", "Correct the name.")
        rows[name] = row
    if not rows:
        raise Refusal(f"{file} without a row", "one row for each unit", "Add a row.")
    return Units(file.replace("\\", "/").rsplit("/", 1)[-1], rows)


def _cell(file: str, number: int, column: str, text: str) -> Any:
    """Return a cell as text or quantity, None if empty."""
    unit, _ = COLUMNS[column]
    text = text.strip()
    if not text or unit is None:
        return text or None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (0 <= value < math.inf) or (column == "packs_max" and value != int(value)):
        raise Refusal(
            f"{file}, row {number}, column {column}: {text!r}",
            "a number of zero or more, without unit or comma" if column != "packs_max" else "a whole number",
            "Correct the cell, or leave it empty if the number is not known.",
        )
    return Q_(value, unit)
