"""What each column of a log is: by its name, by its unit, or as told."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import islice
from typing import Any

from ..units import Q_, unit_name
from .layout import BASE, TIMES, WORDS, Layout, Note, in_base, role_in, unit_of, words_of

ROLES_OF = {"power": {"power"}, "counter": {"energy"}, "interval energy": {"energy"},
            "apparent power": {"apparent power", "voltage"}}  # fmt: skip
_VOLTS_AMPERES = ("voltage", "current")
_READ = (("power",), ("energy",), ("apparent power",), _VOLTS_AMPERES)
_BESIDE = (("apparent power",), _VOLTS_AMPERES, ("reactive power",))  # what tells volt-amperes beside watts
_TIME = ("date", "time")

Columns = dict[str, tuple[int, float]]  # by role: which column, and what turns it into its base unit


def assign(layout: Layout, columns: Mapping[str, str], origin: str, kind: str | None,
           unit: str | None) -> tuple[Columns, dict[str, Note]]:  # fmt: skip
    """Return what each column is: as told in ``columns`` (by ``origin``), the rest from names and values.

    First the time, or date and time, then the reading (volts and amperes are one), then what tells more of it.
    """
    told = {role: _find(layout, role, name) for role, name in columns.items()}
    held = _time_columns(layout, told)
    held |= _reading_columns(layout, told, kind, set(held.values()))
    notes = {role: (layout.names[at], origin if role in told else "guessed") for role, at in held.items()}
    factors, notes["unit"] = _units({role: layout.names[at] for role, at in held.items() if role in BASE}, unit, layout)
    return {role: (at, factors.get(role, 1.0)) for role, at in held.items()}, notes


def reading_of(roles: Iterable[str]) -> tuple[str, ...]:
    """Return the roles that are the reading itself, of those that `assign` found."""
    return next(each for each in _READ if set(each) <= set(roles))


def _find(layout: Layout, role: str, name: Any) -> int:
    """Return the index of the one column called ``name``."""
    if role not in {*_TIME, *BASE}:
        raise layout.place.refuse("unknown role", role=role, roles=", ".join(("time", "date", *BASE)))
    found = [at for at, known in enumerate(layout.names) if known == str(name).strip()]
    if len(found) != 1:
        raise layout.place.refuse("no such column", count=len(found) or "no", names=_listed(layout.names),
                                  column=str(name))  # fmt: skip
    return found[0]


def _listed(names: Iterable[str]) -> str:
    return ", ".join(repr(name[:40]) for name in islice(names, 20))


def _one(layout: Layout, found: list[int], role: str) -> int:
    """Return the only column found for ``role``, or refuse to choose."""
    if len(found) > 1:
        names = [layout.names[at] for at in found]
        raise layout.place.refuse("several columns", role=role, names=_listed(names), first=names[0])
    return found[0]


def _time_columns(layout: Layout, told: dict[str, int]) -> dict[str, int]:
    """Return the column that holds the time, or those of date and time of day."""
    if "date" in told and "time" not in told:
        raise layout.place.refuse("date without time")
    if "time" in told:
        return {role: told[role] for role in _TIME if role in told}
    free = [at for at in range(len(layout.names)) if at not in told.values()]
    stamps, dates, clocks = ([at for at in free if layout.kinds[at] == kind] for kind in TIMES)
    named = [at for at in free if layout.kinds[at] == "number" and words_of(layout.names[at]) & WORDS["time"]]
    if not stamps and dates and clocks:
        return {"date": _one(layout, dates, "date"), "time": _one(layout, clocks, "time")}
    if found := stamps or dates or clocks or named:
        return {"time": _one(layout, found, "time")}
    if not layout.sample:
        raise layout.place.refuse("only names", row=layout.header_row)
    raise layout.place.refuse("no time", names=_listed(layout.names))


def _role_of(name: str) -> str | None:
    """Return which reading a column holds, by its unit or else by its words."""
    words, unit = words_of(name), unit_of(name)
    if words & WORDS["something else"]:
        return None
    return role_in(unit) if unit else next((role for role in WORDS if role in BASE and words & WORDS[role]), None)


def _reading_columns(layout: Layout, told: dict[str, int], kind: str | None, time: set[int]) -> dict[str, int]:
    """Return by role the column that holds the reading (two for volts and amperes) and those that tell more of it."""
    found = {role: [at] for role, at in told.items() if role in BASE}
    wanted = [role for role in BASE if role in (found or (ROLES_OF[kind] if kind else BASE))]
    if kind and not ROLES_OF[kind] & set(wanted):
        raise layout.place.refuse("kind and column", kind=kind, role=wanted[0], fits=min(ROLES_OF[kind]))
    for at, name in enumerate(layout.names):
        role = _role_of(name)
        if role and at not in time and role not in told and layout.kinds[at] not in TIMES:
            found.setdefault(role, []).append(at)
    parts = next(([*each] for each in _READ if each[0] in wanted and found.keys() >= set(each)), [])
    if not parts:
        raise layout.place.refuse("no reading", role=wanted[0], names=_listed(layout.names))
    if parts == ["power"]:  # beside it what tells volt-amperes, and the voltage; none of which there are several
        single = {role for role, (at, *more) in found.items() if not more and layout.kinds[at] == "number"}
        parts += next((each for each in _BESIDE if single >= set(each)), ())
        parts += [] if "voltage" in parts else single & {"voltage"}
    return {part: _one(layout, found[part], part) for part in parts}


def _units(names: dict[str, str], unit: str | None, layout: Layout) -> tuple[dict[str, float], Note]:
    """Return what turns each column into its base unit, and the reading's unit with who said so."""
    parts = reading_of(names)
    role = "apparent power" if len(parts) > 1 else parts[0]
    if unit and len(parts) > 1:
        raise layout.place.refuse("unit of two", unit=unit)
    stated = {part: unit_of(name) for part, name in names.items()} | ({role: unit_name(unit)} if unit else {})
    if stated.get(role, "") is None and (role == "energy" or words_of(names[role]) & {"mw", "mwh"}):
        raise layout.place.refuse("unit not stated", column=names[role])
    units = {part: one or unit_name(BASE[part]) for part, one in stated.items()}
    for part, one in units.items():
        if not Q_(1, BASE[part]).is_compatible_with(one):
            raise layout.place.refuse("unit of another", role=part, unit=one, base=BASE[part], column=names[part])
    shown = f"{Q_(1, BASE[role]).to(units.get(role, BASE[role])).units:~P}"
    sure = all(stated[part] for part in parts)
    factors = {part: in_base(one, BASE[part]) for part, one in units.items()}
    return factors, (shown, "given" if unit else "from the header" if sure else "guessed")
