"""Tables of units in: a row becomes a `BackupUnit`, a missing number stays missing."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from datetime import date
from os import PathLike, fspath
from typing import Any

from ..model.price import Price
from ..model.ratings import Ratings
from ..model.unit import BackupUnit
from ..units import Q_, Refusal, float_of

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
    "waveform": (None, False),
    "outlet_v": ("V", False),
    "legs": ("1", False),
    "sleeps_below_w": ("W", False),
    "pack_wh": ("Wh", False),
    "pack_standby_w": ("W", False),
    "packs_max": ("1", False),
}


PRICE_COLUMNS = ("unit", "item", "price", "currency", "tax_included", "date")
TAX: dict[str, bool | None] = {"yes": True, "no": False, "": None}


class UnitTable(Mapping[str, BackupUnit]):
    """Units by name, as `read_units` found them.

    A unit with a number missing is listed, and refused with the number's name when it is asked for.
    """

    def __init__(self, file: str, rows: dict[str, dict[str, Any]], prices: tuple[Price, ...] = ()) -> None:
        self._file, self._rows, self._prices = file, rows, prices

    def __getitem__(self, name: str) -> BackupUnit:
        row = self._row(name)
        if missing := self.missing(name):
            raise Refusal(f"{name} in {self._file} without {', '.join(missing)}",
                          "every number that the ledger rests on", "Measure it or find it in print, and fill the cell; "
                          "or build the unit yourself with BackupUnit.from_print(...).")  # fmt: skip
        ratings = Ratings.of(
            row["rated_w"], rated_va=row["rated_va"], surge=row["surge_w"], waveform=row["waveform"],
            volts=row["outlet_v"], legs=1 if row["legs"] is None else row["legs"], sleeps_below=row["sleeps_below_w"],
        )  # fmt: skip
        return BackupUnit.from_print(
            name, capacity=row["capacity_wh"], chemistry=row["chemistry"], standby=row["standby_w"], rated=ratings,
            efficiency=row["efficiency_percent"], at=row["efficiency_at_w"], pack=row["pack_wh"],
            pack_standby=row["pack_standby_w"], packs_max=row["packs_max"] or 0,
        )  # fmt: skip

    def missing(self, name: str) -> list[str]:
        """Return the needed columns that are empty in this unit's row."""
        return [column for column, (_, needed) in COLUMNS.items() if needed and self._row(name)[column] is None]

    def prices(self, name: str, on: str | date | None = None) -> tuple[Price, ...]:
        """Return this unit's prices, oldest first.

        Parameters
        ----------
        name : str
            The unit.
        on : str or datetime.date, optional
            The latest price of each item that stood on that day or before it, as "2026-02-01".
        """
        self._row(name)
        mine = sorted((price for price in self._prices if price.unit == name), key=lambda price: price.date)
        if on is None:
            return tuple(mine)
        day = on if type(on) is date else _day(str(on)[:10], f"on={on!r}")
        latest = {(price.item, price.terms): price for price in mine if price.date <= day}
        return tuple(latest.values())

    def _row(self, name: str) -> dict[str, Any]:
        if name not in self._rows:
            raise Refusal(f"the unit {name!r}", f"one in {self._file}", f"Write one of: {', '.join(self._rows)}.")
        return self._rows[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)

    def __repr__(self) -> str:
        return f"<UnitTable of {self._file}: {', '.join(self._rows)}>"


def read_units(path: str | PathLike[str], prices: str | PathLike[str] | None = None) -> UnitTable:
    """Return the units of a table, one row each, with their prices.

    Parameters
    ----------
    path : str or path
        A CSV file with the columns of `COLUMNS`: energies in Wh, powers in W, the efficiency in percent
        beside the load at which it holds. Further columns are left alone. Empty cells stay missing.
    prices : str or path, optional
        A CSV file with the columns of `PRICE_COLUMNS`; dates as 2026-02-01, amounts without thousands mark.

    Returns
    -------
    UnitTable
        A mapping from name to `BackupUnit`.

    Raises
    ------
    Refusal
        If a file or a column is missing, a name stands twice, a cell is no number or no date, or a price
        belongs to no unit; it names file, row and column.
    """
    file, table = _table(path, [column for column, (_, needed) in COLUMNS.items() if needed])
    rows: dict[str, dict[str, Any]] = {}
    for here, record in table.items():
        row = {column: _cell(here, column, record.get(column, "")) for column in COLUMNS}
        name = row["name"]
        if name is None or name in rows:
            what = "no name" if name is None else f"the name {name!r} a second time"
            raise Refusal(f"{here}: {what}", "a name of its own in each row", "Correct the name.")
        rows[name] = row
    return UnitTable(file, rows, () if prices is None else _read_prices(prices, rows))


def _read_prices(path: str | PathLike[str], units: Mapping[str, Any]) -> tuple[Price, ...]:
    """Return the prices of a table, one row each."""
    _, table = _table(path, list(PRICE_COLUMNS))
    prices = []
    for here, record in table.items():
        if record["unit"] not in units:
            raise Refusal(f"{here}: the unit {record['unit']!r}", "one of the table of units", "Correct the name.")
        tax = record["tax_included"].lower()
        if tax not in TAX:
            raise Refusal(f"{here}, column tax_included: {tax!r}", "yes, no or nothing", "Correct the cell.")
        amount = float_of(record["price"])
        if not 0 <= amount < math.inf:
            raise Refusal(f"{here}, column price: {record['price']!r}",
                          "an amount of zero or more without thousands mark", "Write 1234.50.")  # fmt: skip
        prices.append(Price(record["unit"], record["item"], amount, record["currency"], TAX[tax],
                            _day(record["date"], here), record.get("note", "")))  # fmt: skip
    return tuple(prices)


def _table(path: str | PathLike[str], needed: list[str]) -> tuple[str, dict[str, dict[str, str]]]:
    """Return a file's name and its rows as text, each by where it stands, or refuse it."""
    import pandas as pd

    file = fspath(path).replace("\\", "/").rsplit("/", 1)[-1]
    try:
        table = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    except (OSError, ValueError) as error:
        raise Refusal(f"{file}: {str(error).splitlines()[0]}", "a table in CSV",
                      f"Give one with the columns {', '.join(needed)}.") from None  # fmt: skip
    absent = [column for column in needed if column not in table.columns]
    if absent:
        raise Refusal(f"{file} with the columns {', '.join(map(str, table.columns))}", f"also {', '.join(absent)}",
                      "Add the column; its cells may be empty.")  # fmt: skip
    if table.empty:
        raise Refusal(f"{file} without a row", "one row or more", "Add a row.")
    rows = ({str(column): str(text).strip() for column, text in row.items()} for row in table.to_dict("records"))
    return file, {f"{file}, row {number}": row for number, row in enumerate(rows, start=2)}


def _day(text: str, here: str) -> date:
    """Return a day written as 2026-02-01, or refuse it."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refusal(f"{here}: the date {text!r}", "year, month and day", 'Write "2026-02-01".') from None


def _cell(here: str, column: str, text: str) -> Any:
    """Return a cell as text, quantity or (without a unit) a whole number, None if empty."""
    unit, _ = COLUMNS[column]
    if not text or unit is None:
        return text or None
    value, given = float_of(text), f"{here}, column {column}: {text!r}"
    if not 0 <= value < math.inf or (unit == "1" and value % 1):
        needed = "a number of zero or more, without unit or comma" if unit != "1" else "a whole number"
        raise Refusal(given, needed, "Correct the cell, or leave it empty if the number is not known.")
    if unit == "%" and 0 < value <= 1:
        remedy = f"Write {100 * value:g} if {100 * value:g} % is meant."
        raise Refusal(f"{given}, less than or as much as 1 %", "a percentage", remedy)
    return int(value) if unit == "1" else Q_(value, unit)
