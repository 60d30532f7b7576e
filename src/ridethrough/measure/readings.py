"""Every reading of a log and its time, or a refusal that names the row. Nothing here judges the readings.

The columns that are wanted are read as text. Each then shows, by all of its fields, how it writes numbers or times,
and is converted as a whole; fields that don't fit are found by the same operations, so that each is named with its row.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyarrow as pa

from .columns import Roles
from .layout import Layout, LogRefusal, Note, Place
from .text import (
    columns_of,
    decimal_mark,
    decimals,
    numbers_of,
)
from .times import times_of

LEAST = 0.95  # volt-amperes over watts: less is no meter's error
BESIDE = ("apparent_va", "volts")  # what is logged beside the power


@dataclass(frozen=True)
class Readings:
    """Every reading of a log in the order of the file, before any judgement.

    Parameters
    ----------
    ns : array of int64
        When they were taken: since 1970 on a "local" or "utc" clock, since the log's own zero on an "elapsed" one [ns].
    clock : str
        "local" (no zone stated), "utc" or "elapsed".
    value : array of float
        In W, Wh or VA; nan where the field was empty.
    step : float
        The readings' last digit, in W, Wh or VA.
    place : Place
        Where they came from, for messages.
    notes : dict
        Choices made while reading, and whether given or guessed.
    apparent_va, volts : array of float, optional
        What was logged beside the power [VA, V].
    """

    ns: np.ndarray
    clock: str
    value: np.ndarray
    step: float
    place: Place
    notes: dict[str, Note]
    apparent_va: np.ndarray | None = None
    volts: np.ndarray | None = None

    def take(self, chosen: np.ndarray) -> Readings:
        """Return the readings whose indices are ``chosen``."""
        return replace(self, place=self.place.take(chosen), **taken(self, ("ns", "value", *BESIDE), chosen))


def taken(held: Any, names: Iterable[str], chosen: Any) -> dict[str, Any]:
    """Return what ``held`` has under each of the names for the readings or steps ``chosen``; None stays None."""
    return {name: None if (values := getattr(held, name)) is None else values[chosen] for name in names}


def read_readings(layout: Layout, roles: Roles, dayfirst: bool | None, decimal: str | None) -> Readings:
    """Return every reading of the log, or refuse it with the row of the first field that is none."""
    time, *columns = columns_of(layout, roles)
    (ns, clock, how), place = times_of(layout, time, roles, dayfirst), time.place
    del time  # its text takes more room than the times
    pa.default_memory_pool().release_unused()
    parts = list(roles.columns)[: 1 if roles.role in roles.columns else 2]  # volts and amperes are one reading
    mark = decimal or decimal_mark(columns[: len(parts)], layout.delimiter)
    notes, values, step = roles.origin | {"times": how}, {}, 0.0
    if mark == ",":
        notes["decimal mark"] = (mark, "given" if decimal else "guessed")
    for role, (at, factor) in roles.columns.items():
        column = columns.pop(0)
        try:
            numbers = numbers_of(column, mark if role in parts else mark or decimal_mark([column], layout.delimiter))
        except LogRefusal as refusal:
            if role in parts:
                raise
            notes[role] = (column.name, f"not used, {refusal.given}")
            continue
        if role in parts:
            step = factor * 10.0 ** -decimals([row[at] for row in layout.sample if at < len(row)], numbers)
        values[role] = numbers if factor == 1 else numbers * factor
        del column  # its text takes room as well
    pa.default_memory_pool().release_unused()
    apparent, most = _volt_amperes(values), np.fmax.reduce
    if roles.role == "power" and apparent is not None and not most(apparent) >= LEAST * most(values["power"]):
        notes["volt-amperes"], apparent = ("not used", "less than the watts: look at their units"), None
    value = values[roles.role] if roles.role in values or apparent is None else apparent
    if parts[-1] == "current":  # its last digit, at the largest voltage
        step *= float(most(values["voltage"], initial=0))
    return Readings(ns, clock, value, step, place, notes, apparent, values.get("voltage"))


def _volt_amperes(values: dict[str, np.ndarray]) -> np.ndarray | None:
    """Return the apparent power as logged, or from what was, S = U I or S = sqrt(P^2 + Q^2) [VA]; None where nothing
    tells it."""
    if "apparent power" in values:
        return values["apparent power"]
    if values.keys() >= {"voltage", "current"}:
        return values["voltage"] * values["current"]
    return np.hypot(values["power"], values["reactive power"]) if "reactive power" in values else None
