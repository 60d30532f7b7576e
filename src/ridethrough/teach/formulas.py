"""Formulas as data, for exercises and claims: the right one, and each known slip as a change of some of its lines.

A formula is a list of named lines, worked out from top to bottom; the last line is what is asked. The formulas stand
in ``exercises.toml`` and ``claims.toml``, what is said to a slip in ``slips.csv``, and which unit is taken for which
in ``unit_slips.csv``.
"""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import pint

from ..quantity_text import PER_HOUR
from ..units import Q_, Refusal, registry, unit_name

_HERE = Path(__file__).parent


class Slip(NamedTuple):
    """A usual mistake: its name, the hint that fits it, and the lesson that is about it ("02")."""

    name: str
    hint: str
    lesson: str


def texts(name: str) -> dict[str, Any]:
    """Return one of the kit's files of formulas and texts."""
    return tomllib.loads((_HERE / name).read_text(encoding="utf-8"))


def _rows(name: str) -> list[list[str]]:
    return list(csv.reader((_HERE / name).read_text(encoding="utf-8").splitlines()))[1:]


SLIPS = {row[0]: Slip(*row) for row in _rows("slips.csv")}
_UNIT_SLIPS = [(unit_name(asked), unit_name(given), slip) for asked, given, slip in _rows("unit_slips.csv")]


def worked(formula: Mapping[str, str], numbers: Mapping[str, Any]) -> dict[str, Any]:
    """Return the numbers and all lines of a formula, each worked out from those before it.

    Example
    -------
    >>> worked({"together": "load + own", "time": "usable / together"}, {"load": 40, "own": 10, "usable": 500})["time"]
    10.0
    """
    known = dict(numbers)
    for name, line in formula.items():
        known[name] = eval(line, {"__builtins__": {"round": round}}, known)
    return known


def result(formula: Mapping[str, str], numbers: Mapping[str, Any]) -> float:
    """Return what a formula comes to: its last line."""
    return float(worked(formula, numbers)[list(formula)[-1]])


def slipped(task: Mapping[str, Any], numbers: Mapping[str, Any]) -> Iterator[tuple[float, str]]:
    """Yield what each known slip makes of a task's formula, and the slip's name.

    Parameters
    ----------
    task : mapping
        Its ``formula``, and its ``slips``: a name with the lines that it changes, or with several such changes.
    numbers : mapping
        What the formula begins with.
    """
    for slip, changes in task["slips"].items():
        for change in changes if isinstance(changes, list) else [changes]:
            yield result(task["formula"] | change, numbers), slip


def unit_slip(given: Any, low: pint.Quantity, high: pint.Quantity) -> str | None:
    """Return the slip that lies in the unit alone, or None.

    It is one where something of another kind is given, as watts for watt-hours, whatever the number; and where the
    number would lie between ``low`` and ``high`` with the other unit, as 30 days for 30 h.

    Example
    -------
    >>> unit_slip("30 days", Q_("29 h"), Q_("31 h"))
    'hours and days mixed up'
    """
    try:
        found = Q_(given)
    except Refusal as refusal:
        return "watts per hour" if refusal.needed == PER_HOUR else None
    for asked, unit, slip in _UNIT_SLIPS:
        if low.is_compatible_with(asked) and found.is_compatible_with(unit):
            if not found.is_compatible_with(asked):
                return slip
            if found.units == registry().Unit(unit) and low.m_as(asked) <= found.magnitude <= high.m_as(asked):
                return slip
    return None
