"""What a log's columns are: the kind of each field, the role and unit of each column, refusals that name where.

What could be taken two ways is refused with the way out.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from ..units import Q_, Refusal, unit_name


class LogRefusal(Refusal):
    """A log the kit will not work with: which file, row, column and value, and the way out.

    Parameters
    ----------
    file : str
        The file's name, or "hand readings".
    given, needed, remedy : str
        As in `Refusal`.
    row : int, optional
        The line in the file, counted from 1 [-].
    column, value : str, optional
        The column's name and the value found there, as written.
    """

    def __init__(self, file: str, given: str, needed: str, remedy: str, *, row: int | None = None,
                 column: str | None = None, value: str | None = None) -> None:  # fmt: skip
        self.file, self.row, self.column, self.value = file, row, column, value
        place = file + (f", row {row}" if row else "") + (f", column {column!r}" if column else "")
        shown = "" if value is None else f" {value[:60]!r}"
        super().__init__(f"{place}: {given}{shown}", needed, remedy)


@dataclass(frozen=True)
class Place:
    """Where readings come from: a name, and the row of each reading."""

    name: str
    row_of: Callable[[int], int]

    def refuse(self, given: str, needed: str, remedy: str, *, at: Any = None, **where: Any) -> LogRefusal:
        """Return a refusal that names the file and, where ``at`` is a reading's index, its row."""
        if at is not None:
            where["row"] = self.row_of(int(at))
        return LogRefusal(self.name, given, needed, remedy, **where)

    def take(self, chosen: np.ndarray) -> Place:
        """Return the place of the readings whose indices are ``chosen``."""
        return Place(self.name, lambda at: self.row_of(int(chosen[at])))


@dataclass(frozen=True)
class Layout:
    """How a table of readings is laid out: where it begins, what its columns are called and usually hold.

    Parameters
    ----------
    name : str
        The file's name, or "hand readings".
    path : Path or None
        The file; None where ``sample`` is all there is.
    encoding, delimiter : str
        How the file is written.
    header_row : int
        The line of the column names; 0 where there is none [-].
    names, kinds : tuple of str
        Each column's name, and what `kind_of` says of most of its fields.
    sample : tuple of rows
        The rows in the file's head.
    """

    name: str
    path: Path | None
    encoding: str
    delimiter: str
    header_row: int
    names: tuple[str, ...]
    kinds: tuple[str, ...]
    sample: tuple[tuple[str, ...], ...]

    @property
    def place(self) -> Place:
        """This table, for messages."""
        return Place(self.name, lambda at: self.header_row + 1 + at)

    def column(self, at: int) -> list[str]:
        """Return the head's values of one column, empty ones left out."""
        return [row[at] for row in self.sample if at < len(row) and row[at]]


# -- what a field looks like ---------------------------------------------------------------------

NS = 1_000_000_000
_DATE = (
    r"(?:(?P<y>[0-9]{4})(?P<dash>[-/.])(?P<mo>[0-9]{1,2})(?P=dash)(?P<d>[0-9]{1,2})"
    r"|(?P<a>[0-9]{1,2})(?P<dot>[-/.])(?P<b>[0-9]{1,2})(?P=dot)(?P<year>[0-9]{4}))"
)
_ELAPSED = r"(?P<h>[0-9]{1,4}):(?P<mi>[0-5][0-9])(?::(?P<s>[0-5][0-9])(?:[.,](?P<f>[0-9]{1,9}))?)?"
_CLOCK = _ELAPSED + r"(?:\s?(?P<half>[AaPp])\.?[Mm]\.?)?"
_ZONE = r"(?P<zone>Z|UTC|GMT|(?P<sign>[+-])(?P<zh>[0-9]{2}):?(?P<zm>[0-9]{2})?)"
ELAPSED = re.compile(_ELAPSED)
STAMP = re.compile(rf"{_DATE}(?:(?:T|,?\s+){_CLOCK}\s?{_ZONE}?)?")
_KINDS = {
    "date": re.compile(_DATE),
    "stamp": STAMP,
    "clock": re.compile(_CLOCK),
    "number": re.compile(r"[-+−]?([0-9][0-9.,]*|[.,][0-9]+)(e[-+]?[0-9]+)?|[-+]?(nan|inf|infinity)", re.IGNORECASE),
}


def kind_of(text: str) -> str:
    """Return what one field looks like: "number", "stamp", "date", "clock", "text", or "" where empty."""
    return next((kind for kind, pattern in _KINDS.items() if pattern.fullmatch(text)), "text" if text else "")


def usual_kind(fields: Iterable[str]) -> str:
    """Return the most common kind of the fields that hold anything, "" where none does."""
    counted = Counter(kind_of(field) for field in fields if field).most_common(1)
    return counted[0][0] if counted else ""


# -- what each column is -------------------------------------------------------------------------

BASE = {"power": "W", "energy": "Wh", "apparent power": "VA", "voltage": "V", "current": "A"}
ROLES_OF = {"power": {"power"}, "counter": {"energy"}, "interval energy": {"energy"},
            "apparent power": {"apparent power", "voltage"}}  # fmt: skip
_VOLTS_AMPERES = ("voltage", "current")
_WORDS = {
    "apparent power": {"apparent"},
    "power": {"power", "p", "load"},
    "energy": {"energy", "e", "counter", "consumption"},
    "voltage": {"voltage", "u"},
    "current": {"current", "i"},
}
_TIME_WORDS = {"time", "timestamp", "datetime", "date", "elapsed", "seconds", "clock", "epoch", "unix", "t"}
_OTHER_WORDS = {"factor", "pf", "cost", "price", "frequency", "reactive", "temperature", "limit"}


@dataclass(frozen=True)
class Roles:
    """Which columns hold the time (or date and time) and the reading (or volts and amperes), and what it is."""

    time: tuple[int, ...]
    reading: tuple[int, ...]
    role: str
    factor: float
    origin: dict[str, tuple[str, str]]


def words_of(name: str) -> set[str]:
    """Return the words of a column's name, in small letters."""
    return set(re.split(r"[^a-z0-9]+", name.lower()))


@cache
def unit_of(name: str) -> str | None:
    """Return the unit that a column's name states, as pint calls it: in brackets, as its last word, or before."""
    words, found = re.split(r"[/_\s]", name), []
    bracketed = re.findall(r"[\[(]([^\[\]()]+)[\])]", name)
    for text in (*bracketed, words[-1], *(word for word in words if len(word) > 1)):
        with suppress(Refusal):
            found.append(unit_name(text))
    readings = [unit for unit in found if any(Q_(1, base).is_compatible_with(unit) for base in BASE.values())]
    return next(iter(readings + found), None)


def assign(layout: Layout, columns: Mapping[str, str], origin: str, kind: str | None, unit: str | None) -> Roles:
    """Return what each column is: as told in ``columns`` (by ``origin``), the rest from names and values."""
    told = {role: _find(layout, role, name) for role, name in columns.items()}
    time = _time_columns(layout, told)
    role, reading = _reading_columns(layout, told, kind, time)
    labels = (*(("time",) if len(time) == 1 else ("date", "time")), *((role,) if len(reading) == 1 else _VOLTS_AMPERES))
    found = {label: (layout.names[at], origin if label in told else "guessed")
             for label, at in zip(labels, (*time, *reading), strict=True)}  # fmt: skip
    factor, found["unit"] = _factor(layout, role, reading, unit)
    return Roles(time, reading, role, factor, found)


def _find(layout: Layout, role: str, name: Any) -> int:
    """Return the index of the one column called ``name``."""
    if role not in {"time", "date", *BASE}:
        raise layout.place.refuse(f"the key {role!r} in columns=", f"time, date, {', '.join(BASE)}",
                                  'Write columns={"time": "...", "power": "..."}.')  # fmt: skip
    found = [at for at, known in enumerate(layout.names) if known == str(name).strip()]
    if len(found) != 1:
        raise layout.place.refuse(f"{len(found) or 'no'} columns of that name", "one of the file's columns",
                                  f"Its columns are {_listed(layout.names)}.", column=str(name))  # fmt: skip
    return found[0]


def _listed(names: Iterable[str]) -> str:
    return ", ".join(repr(name[:40]) for name in islice(names, 20))


def _one(layout: Layout, found: list[int], role: str) -> int:
    """Return the only column found for ``role``, or refuse to choose."""
    names = [layout.names[at] for at in found]
    if len(found) > 1:
        raise layout.place.refuse(f"several columns of {role}: {_listed(names)}", "one",
                                  f'Write columns={{"{role}": {names[0]!r}}}.')  # fmt: skip
    return found[0]


def _time_columns(layout: Layout, told: dict[str, int]) -> tuple[int, ...]:
    """Return the column that holds the time, or those of date and time of day."""
    if "date" in told and "time" not in told:
        raise layout.place.refuse("a column for the date and none for the time", "both",
                                  'Write columns={"date": "...", "time": "..."}, or "time" alone.')  # fmt: skip
    if "time" in told:
        return tuple(told[role] for role in ("date", "time") if role in told)
    free = [at for at in range(len(layout.names)) if at not in told.values()]
    stamps, dates, clocks = ([at for at in free if layout.kinds[at] == kind] for kind in ("stamp", "date", "clock"))
    named = [at for at in free if layout.kinds[at] == "number" and words_of(layout.names[at]) & _TIME_WORDS]
    if not stamps and dates and clocks:
        return _one(layout, dates, "date"), _one(layout, clocks, "time")
    for found in (stamps, dates, clocks, named):
        if found:
            return (_one(layout, found, "time"),)
    if not layout.sample:
        raise layout.place.refuse("column names and no readings below them", "two readings or more",
                                  "Let the meter log longer.", row=layout.header_row)  # fmt: skip
    raise layout.place.refuse(f"no column of times among {_listed(layout.names)}", "one",
                              'Write columns={"time": "..."} with its name.')  # fmt: skip


def _role_of(name: str) -> str | None:
    """Return which reading a column holds, by its unit or else by its words."""
    words, unit = words_of(name), unit_of(name)
    if words & _OTHER_WORDS:
        return None
    if unit:
        return next((role for role, base in BASE.items() if Q_(1, base).is_compatible_with(unit)), None)
    return next((role for role, known in _WORDS.items() if words & known), None)


def _reading_columns(layout: Layout, told: dict[str, int], kind: str | None,
                     time: tuple[int, ...]) -> tuple[str, tuple[int, ...]]:  # fmt: skip
    """Return what the reading is and the column that holds it (two for volts and amperes)."""
    found = {role: [told[role]] for role in BASE if role in told}
    wanted = [role for role in BASE if role in (found or (ROLES_OF[kind] if kind else BASE))]
    if kind and not ROLES_OF[kind] & set(wanted):
        raise layout.place.refuse(f'kind="{kind}" with a column of {wanted[0]}', f"a column of {min(ROLES_OF[kind])}",
                                  "Give the kind that fits the column, or another column.")  # fmt: skip
    for at, name in enumerate(layout.names):
        role = _role_of(name)
        if role and at not in time and role not in told and layout.kinds[at] not in {"stamp", "date", "clock"}:
            found.setdefault(role, []).append(at)
    for role in wanted:
        if role in found and role not in _VOLTS_AMPERES:
            return role, (_one(layout, found[role], role),)
    if "voltage" in wanted and {"voltage", "current"} <= set(found):
        return "apparent power", tuple(_one(layout, found[role], role) for role in _VOLTS_AMPERES)
    raise layout.place.refuse(f"no column of {wanted[0]} among {_listed(layout.names)}",
                              "power (W), energy (kWh), or volts and amperes",
                              f'Write columns={{"{wanted[0]}": "..."}} with its name.')  # fmt: skip


def _factor(layout: Layout, role: str, reading: tuple[int, ...], unit: str | None) -> tuple[float, tuple[str, str]]:
    """Return what turns the readings into W, Wh or VA, and their unit with who said so."""
    names = [layout.names[at] for at in reading]
    stated = [unit_of(name) for name in names]
    told = "given" if unit else "from the header" if all(stated) else "guessed"
    if len(reading) == 2:
        if unit:
            raise layout.place.refuse(f"unit={unit!r} for volts and amperes", "their units in the columns' names",
                                      "Leave unit out.")  # fmt: skip
        units = [one or BASE[part] for one, part in zip(stated, _VOLTS_AMPERES, strict=True)]
        return in_base(units[0], "V") * in_base(units[1], "A"), ("VA", told)
    shown = unit_name(unit) if unit else stated[0]
    if shown is None and (role == "energy" or words_of(names[0]) & {"mw", "mwh"}):
        raise layout.place.refuse("a column whose name states no unit, or one that can be read two ways", "its unit",
                                  'Write unit="kWh" or unit="Wh".', column=names[0])  # fmt: skip
    shown = shown or unit_name(BASE[role])
    if not Q_(1, BASE[role]).is_compatible_with(shown):
        raise layout.place.refuse(f"{role} in {shown}", f"a unit of {role}, such as {BASE[role]}",
                                  "Give another unit= or another column.", column=names[0])  # fmt: skip
    return in_base(shown, BASE[role]), (f"{Q_(1, BASE[role]).to(shown).units:~P}", told)


def in_base(unit: str, base: str) -> float:
    """Return how many ``base`` one ``unit`` is; ``unit`` as pint calls it."""
    return 1 / float(Q_(1, base).to(unit).magnitude)
