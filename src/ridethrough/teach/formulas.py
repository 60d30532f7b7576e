"""Formulas as data, for exercises and claims: the right one, and each known slip as a change of some of its lines.

A formula is a list of named lines, worked out from top to bottom; the last line is what is asked. The formulas stand
in ``exercises.toml`` and ``claims.toml``, what is said to a slip in ``slips.csv``, and which unit is taken for which
in ``unit_slips.csv``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import pint

from ..quantity_text import PER_HOUR
from ..units import Q_, Refusal, registry, rows_beside, unit_name


class Slip(NamedTuple):
    """A usual mistake: its name, the hint that fits it, and the lesson that is about it ("02")."""

    name: str
    hint: str
    lesson: str


def texts(name: str) -> dict[str, Any]:
    """Return one of the kit's files of formulas and texts."""
    return tomllib.loads(Path(__file__).with_name(name).read_text(encoding="utf-8"))


SLIPS = {row["slip"]: Slip(*row.values()) for row in rows_beside(__file__, "slips.csv")}
_UNIT_SLIPS = rows_beside(__file__, "unit_slips.csv")


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
    for row in _UNIT_SLIPS:
        asked, unit = unit_name(row["asked"]), unit_name(row["given"])
        if low.is_compatible_with(asked) and found.is_compatible_with(unit):
            if not found.is_compatible_with(asked):
                return row["slip"]
            if found.units == registry().Unit(unit) and low.m_as(asked) <= found.magnitude <= high.m_as(asked):
                return row["slip"]
    return None


def found_slips(given: Any, number: float, ends: tuple[pint.Quantity, pint.Quantity],
                wrong: Iterable[tuple[float, str]], near: float) -> list[str]:  # fmt: skip
    """Return the slips that a number with its unit comes out of: that of the unit first, then the nearest.

    Parameters
    ----------
    given : Any
        As it was written, or a Quantity.
    number : float
        What was given, in the unit of what is right; nan where it is no such number.
    ends : (pint.Quantity, pint.Quantity)
        Between which it would be right.
    wrong : iterable of (float, str)
        What known slips give, in that unit, and their names.
    near : float
        How far from a slip's value it may lie, as a share of that value [-].

    Example
    -------
    >>> found_slips("46 h", 46.0, (Q_("29 h"), Q_("31 h")), [(45.5, "the hours left out")], 0.02)
    ['the hours left out']
    """
    off = [(abs(number / value - 1), slip) for value, slip in wrong if abs(number - value) <= near * abs(value)]
    found = [unit_slip(given, *ends), *(slip for _, slip in sorted(off))]
    return list(dict.fromkeys(filter(None, found)))
