"""Tables of units in: a row becomes a `BackupUnit`, a missing number stays missing."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from os import PathLike
from pathlib import Path
from typing import Any

import pint

from ..model.inverter import Ratings
from ..model.price import Price, PriceList, day_of
from ..model.unit import BackupUnit
from ..sources import coefficient
from ..units import Q_, Refusal, float_of, of_kind, rows_beside
from .layout import split_by, text_of

# Each column's unit (none for text), whether a unit can't be reckoned with without it, where it goes, and
# whether the table of coefficients has a band for it, of powers over the rated one.
COLUMNS = {row["column"]: row for row in rows_beside(__file__, "unit_columns.csv")}
NEEDED = [column for column, row in COLUMNS.items() if row["needed"] == "yes"]
PRICE_COLUMNS = ("unit", "item", "price", "currency", "tax_included", "date")
TAX: dict[str, bool | None] = {"yes": True, "no": False, "": None}
# A unit, or why it can't be reckoned with; the same with bands for what is missing; and what was assumed so.
Found = tuple[BackupUnit | Refusal, BackupUnit | Refusal, str]


class UnitTable(Mapping[str, BackupUnit]):
    """Units by name, as `read_units` found them or as they were measured.

    A unit that can't be reckoned with, for a number is missing, is listed, and refused when it is asked for.
    """

    def __init__(self, file: str, found: Mapping[str, Found], listed: PriceList) -> None:
        self._file, self._found, self.listed = file, found, listed

    def __getitem__(self, name: str) -> BackupUnit:
        if name not in self._found:
            raise Refusal(f"the unit {name!r}", f"one in {self._file}", f"Write one of: {', '.join(self)}.")
        unit = self._found[name][0]
        if isinstance(unit, Refusal):
            raise unit
        return unit

    def __setitem__(self, name: str, unit: Any) -> None:
        raise Refusal(f"units[{name!r}] = ...", "a table that stays as it was read",
                      "Write units = units.measured(unit), for a new table.")  # fmt: skip

    def measured(self, *units: BackupUnit) -> UnitTable:
        """Return the table with these units in place of those of the same name, or beside them; prices stay."""
        return UnitTable(self._file, {**self._found, **{unit.name: (unit, unit, "") for unit in units}}, self.listed)

    def reckoned(self, name: str) -> tuple[BackupUnit | Refusal, str]:
        """Return the unit, or why it can't be reckoned with, and what was assumed of it.

        Numbers that are missing are taken from the table of coefficients where that has a band for them.
        """
        return self._found[name][1:]

    def prices(self, name: str, on: str | date | None = None) -> tuple[Price, ...]:
        """Return this unit's prices, oldest first.

        Parameters
        ----------
        name : str
            The unit.
        on : str or datetime.date, optional
            The latest price of each item that stood on that day or before it, as "2026-02-01".
        """
        mine = self.listed.of(name)
        if on is None:
            return mine
        day = day_of(on)
        return tuple({(price.item, price.terms): price for price in mine if price.date <= day}.values())

    def __iter__(self) -> Iterator[str]:
        return iter(self._found)

    def __len__(self) -> int:
        return len(self._found)

    def __repr__(self) -> str:
        return f"<UnitTable of {self._file}: {', '.join(self)}>"


def read_units(path: str | PathLike[str], prices: str | PathLike[str] | None = None) -> UnitTable:
    """Return the units of a table, one row each, with their prices.

    Parameters
    ----------
    path : str or path
        A CSV file with the columns of `COLUMNS`: energies in Wh, powers in W, the efficiency in percent
        beside the load at which it holds. Further columns are left alone. Empty cells stay missing. Columns split
        by semicolons or tabs may have decimal commas.
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
    file, table = read_table(path, NEEDED)
    found: dict[str, Found] = {}
    for here, record in table.items():
        row = {column: _cell(here, column, record.get(column, "")) for column in COLUMNS}
        name = row["name"]
        if name is None or name in found:
            what = "no name" if name is None else f"the name {name!r} a second time"
            raise Refusal(f"{here}: {what}", "a name of its own in each row", "Correct the name.")
        unit = _unit(file, row)
        found[name] = unit, unit, ""
        missing = [column for column, where in COLUMNS.items() if row[column] is None and where["band"]]
        if missing and row["rated_w"]:
            filled = _unit(file, row | {column: _band(column, row["rated_w"]) for column in missing})
            if isinstance(filled, BackupUnit):
                found[name] = unit, filled, f"assumed, not stated: {', '.join(missing)}"
    return UnitTable(file, found, PriceList() if prices is None else read_prices(prices, found))


def _band(column: str, rated: pint.Quantity) -> Any:
    """Return what may stand in for a number that a sheet does not state; powers go by the rated one [W]."""
    found = coefficient(f"{column}, not stated") * (rated if COLUMNS[column]["unit"] == "W" else 1)
    return found if found.u.magnitude else found.value


def _unit(file: str, row: dict[str, Any]) -> BackupUnit | Refusal:
    """Return the unit of a row, or what is wrong with it."""
    if missing := [column for column in NEEDED if row[column] is None]:
        return Refusal(f"{row['name']} in {file} without {', '.join(missing)}",
                       "every number that the ledger rests on", "Measure it or find it in print, and fill the cell; "
                       "or build the unit yourself with BackupUnit.from_print(...).")  # fmt: skip
    told, ratings = ({where["argument"]: row[column] for column, where in COLUMNS.items()
                      if where["of"] == of and row[column] is not None} for of in ("unit", "ratings"))  # fmt: skip
    try:
        return BackupUnit.from_print(**told, rated=Ratings.of(**ratings))
    except Refusal as refusal:
        return refusal.at(f"{row['name']} in {file}")


def read_prices(path: str | PathLike[str], units: Iterable[str] | None = None) -> PriceList:
    """Return the prices of a table, one row each, for `compare`.

    Parameters
    ----------
    path : str or path
        A CSV file with the columns of `PRICE_COLUMNS`; dates as 2026-02-01, amounts without thousands mark. The
        columns tax_rate_percent (what comes on top of a price without tax) and note may be left out.
    units : iterable of str, optional
        The names that a price may belong to; any where left out.
    """
    given = of_kind(units, Iterable | None, "units", "names of units", 'Write units=read_units("units.csv").')
    prices, names = [], None if given is None else set(given)
    for here, record in read_table(path, PRICE_COLUMNS)[1].items():
        tax, amount = record["tax_included"].lower(), float_of(record["price"])
        rate = float_of(record.get("tax_rate_percent") or "0")
        for column, sound, needed in (
            ("unit", record["unit"] and (names is None or record["unit"] in names), "one of the table of units"),
            ("tax_included", tax in TAX, "yes, no or nothing"),
            ("price", 0 <= amount < math.inf, "an amount of zero or more without thousands mark, as 1234.50"),
            ("tax_rate_percent", rate == 0 or 1 <= rate < 100, "a percentage, as 19"),
        ):
            if not sound:
                raise Refusal(f"{here}, column {column}: {record[column]!r}", needed, "Correct the cell.")
        try:
            prices.append(Price(record["unit"], record["item"], amount, record["currency"], TAX[tax],
                                day_of(record["date"], "date"),
                                rate / 100 if record.get("tax_rate_percent") else None))  # fmt: skip
        except Refusal as refusal:
            raise refusal.at(here) from None
    return PriceList(tuple(prices))


def read_table(path: str | PathLike[str], needed: Sequence[str]) -> tuple[str, dict[str, dict[str, str]]]:
    """Return a file's name and its rows as text, each by where it stands, or refuse it."""
    file = Path(of_kind(path, str | PathLike, "path", "a file name", 'Write read_units("units.csv").')).name
    try:
        text = text_of(Path(path))
        above, delimiter = _header(text, file, needed)
        (_, head), *rows = [each for each in split_by(text, delimiter, file, strict=True) if each[0] >= above]
    except Refusal as refusal:
        remedy = f"Save it as CSV, with the columns {', '.join(needed)}."
        raise Refusal(refusal.given, "a table in CSV", remedy) from None
    if absent := [column for column in needed if column not in head]:
        raise Refusal(f"{file} with the columns {', '.join(head)}", f"also {', '.join(absent)}",
                      "Add the column; its cells may be empty.")  # fmt: skip
    if not rows:
        raise Refusal(f"{file} without a row", "one row or more", "Add a row.")
    if wide := [(line, row) for line, row in rows if any(row[len(head) :])]:
        raise Refusal(f"{file}, row {wide[0][0]}: {len(wide[0][1])} cells below a heading of {len(head)}",
                      "as many as that or fewer", f"Put a cell with {delimiter!r} in it in quotes.")  # fmt: skip
    places = {column: head.index(column) for column in head}
    return file, {f"{file}, row {line}": {column: _plain(row[at], delimiter) if at < len(row) else ""
                                          for column, at in places.items()} for line, row in rows}  # fmt: skip


def _header(text: str, file: str, needed: Sequence[str]) -> tuple[int, str]:
    """Return the line that holds most of the columns' names, the first where none does, and what splits it."""
    lines = [(-len({*row} & {*needed}), line, -len(row), delimiter)
             for delimiter in ",;\t" for line, row in split_by(text, delimiter, file)]  # fmt: skip
    _, line, _, delimiter = min(lines)
    return line, delimiter


def _plain(text: str, delimiter: str) -> str:
    """Return a number with its decimal comma as a point, where commas do not split columns.

    Three digits after a mark are left as they are with a comma, for they may be thousands as well: no number.
    """
    if delimiter == "," or not re.fullmatch(r"-?\d+[.,]\d+", text):
        return text
    return text.replace(".", ",") if re.fullmatch(r"[1-9]\d{0,2}[.,]\d{3}", text) else text.replace(",", ".")


def _cell(here: str, column: str, text: str) -> Any:
    """Return a cell as text, quantity or (without a unit) a whole number, None if empty."""
    unit = COLUMNS[column]["unit"]
    if not text or not unit:
        return text or None
    value, given = float_of(text), f"{here}, column {column}: {text!r}"
    if not 0 <= value < math.inf or (unit == "1" and value % 1):
        needed = "a number of zero or more, without unit or thousands mark" if unit != "1" else "a whole number"
        raise Refusal(given, needed, "Correct the cell, or leave it empty if the number is not known.")
    if unit == "%" and 0 < value <= 1:
        remedy = f"Write {100 * value:g} if {100 * value:g} % is meant."
        raise Refusal(f"{given}, less than or as much as 1 %", "a percentage", remedy)
    return int(value) if unit == "1" else Q_(value, unit)
