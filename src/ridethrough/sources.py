"""Where numbers come from: kinds of source, and the kit's one table of coefficients, ``coefficients.csv``.

No coefficient stands anywhere else in the kit. Each has a value, a band, a unit and a source, and
enters a calculation as an `Estimate`: anywhere in its band with equal chance.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd
import pint

from .estimate import Estimate
from .units import Q_, Refusal, float_of, quantity, rows_beside, show, unit_name

# "common practice" has no document behind it; "from memory" has one that was not at hand.
KINDS = ("published", "common practice", "from memory", "invented")


@dataclass(frozen=True)
class Coefficient:
    """A number the kit brings along: value, band and unit, and where it comes from.

    Parameters
    ----------
    name : str
        As `coefficient` finds it.
    value, low, high : float
        The value and the two ends of its band, in ``unit``.
    unit : str
        As in quantity text; "1" for a share.
    source : str
        Where value and band come from: one of `KINDS`; then author, title, edition, clause or table, or who practises
        it.
    note : str
        What the number means and where it holds.
    """

    name: str
    value: float
    low: float
    high: float
    unit: str
    source: str
    note: str = ""

    def estimate(self, of: str = "") -> Estimate:
        """Return it as an Estimate: anywhere in its band with equal chance; ``of`` says whose it is."""
        value, low, high = (Q_(number, self.unit) for number in (self.value, self.low, self.high))
        name = f"{self.name}: {of}" if of else self.name
        return Estimate.band(value, low, high, name, source=self.source, entries=(self.name,))


def read_coefficients(lines: Iterable[str]) -> dict[str, Coefficient]:
    """Return name -> coefficient of a table in CSV, in its order.

    Parameters
    ----------
    lines : iterable of str
        A line with the columns name, value, low, high, unit, kind, source, note; then one for each coefficient.

    Raises
    ------
    Refusal
        If a name stands twice, a number is none or lies outside its band, a kind is unknown, a source is missing, or
        a row has a cell too many; it names row and column.
    """
    table: dict[str, Coefficient] = {}
    for row, cells in enumerate(csv.DictReader(lines, restkey="beyond note", restval=""), start=2):
        value, low, high = (float_of(cells[column]) for column in ("value", "low", "high"))
        for column, sound, needed in (
            ("name", cells["name"] not in {*table, ""}, "a name that no other row has"),
            ("low", math.isfinite(low), "a number"),
            ("high", math.isfinite(high), "a number"),
            ("value", low <= value <= high, f"a number from {low:g} to {high:g}"),
            ("kind", cells["kind"] in KINDS, f"one of {', '.join(KINDS)}"),
            ("source", cells["source"].strip(), "who says so"),
            ("beyond note", "beyond note" not in cells, 'nothing; a text with a comma stands between "'),
        ):
            if not sound:
                given = f"coefficients.csv, row {row}, column {column}: {cells[column]!r}"
                raise Refusal(given, needed, "Correct the cell.")
        source = f"{cells['kind']}: {cells['source']}"
        table[cells["name"]] = Coefficient(cells["name"], value, low, high, cells["unit"], source, cells["note"])
    return table


COEFFICIENTS = read_coefficients(Path(__file__).with_name("coefficients.csv").read_text("utf-8").splitlines())
CAUTIONS = {row["name"]: row["text"] for row in rows_beside(__file__, "cautions.csv")}


def lookup(name: str) -> Coefficient:
    """Return the table's entry called ``name``, or say which names there are."""
    if not isinstance(name, str) or name not in COEFFICIENTS:
        near = [known for known in COEFFICIENTS if known.split(",")[0] == str(name).split(",")[0]]
        remedy = f"Write one of: {'; '.join(near or COEFFICIENTS)}."
        raise Refusal(f"the coefficient {name!r}", "one that the table holds", remedy)
    return COEFFICIENTS[name]


def numbered(before: str, after: str) -> dict[float, Coefficient]:
    """Return the table's entries whose names are a number between two texts, by that number, the smallest first."""
    found = {float(name[len(before) : -len(after)]): entry for name, entry in COEFFICIENTS.items()
             if name.startswith(before) and name.endswith(after)}  # fmt: skip
    return dict(sorted(found.items()))


def coefficient(name: str) -> Estimate:
    """Return the coefficient called ``name`` as an Estimate, its uncertainty that of its band.

    Two calls give two independent influences; keep the result where one influence is meant.

    Example
    -------
    >>> coefficient("depth of discharge, iron phosphate")
    <Estimate 0.95, 95 %: 0.9 to 1>
    """
    return lookup(name).estimate()


def usual(value: pint.Quantity, what: str, name: str) -> pint.Quantity:
    """Return a value that lies where such values lie, or ask whether it is meant."""
    known = lookup(f"{what}, usual")
    if not known.low <= value.m_as(unit_name(known.unit)) <= known.high:
        low, high = (show(Q_(end, known.unit)) for end in (known.low, known.high))
        needed = f"a {what} from {low} to {high}"
        raise Refusal(f"{name}={show(value, 2)}", needed, f"Check number and unit: {known.note}.")
    return value


def temperature(value: Any, name: str) -> pint.Quantity:
    """Return ``value`` as a temperature that lies where those of rooms, cells and heaters lie [degC]."""
    return usual(quantity(value, "degC", name), "temperature", name)


def table_of(names: Iterable[str]) -> pd.DataFrame:
    """Return the table's entries of these names, each once: columns coefficient, value, low, high, unit, source."""
    entries = [lookup(name) for name in dict.fromkeys(names)]
    rows = [(c.name, c.value, c.low, c.high, c.unit, c.source) for c in entries]
    return pd.DataFrame(rows, columns=["coefficient", "value", "low", "high", "unit", "source"])
