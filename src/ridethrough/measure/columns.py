"""What each column of a log is: by its name, by its unit, or as told."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any

from ..units import Q_, unit_name
from .layout import (
    BASE,
    TIMES,
    WORDS,
    Layout,
    Note,
    _role_in,
    in_base,
    unit_of,
    words_of,
)

ROLES_OF = {"power": {"power"}, "counter": {"energy"}, "interval energy": {"energy"},
            "apparent power": {"apparent power", "voltage"}}  # fmt: skip
_VOLTS_AMPERES = ("voltage", "current")
_READ = (("power",), ("energy",), ("apparent power",), _VOLTS_AMPERES)
_BESIDE = (("apparent power",), _VOLTS_AMPERES, ("reactive power",))  # what tells volt-amperes beside watts


@dataclass(frozen=True)
class Roles:
    """Which columns hold the time (or date and time), what the reading is, and by role which columns hold it or tell
    more of it, each with what turns it into its base unit; the first one is the reading's."""

    time: tuple[int, ...]
    role: str
    columns: dict[str, tuple[int, float]]
    origin: dict[str, Note]


def assign(layout: Layout, columns: Mapping[str, str], origin: str, kind: str | None, unit: str | None) -> Roles:
    """Return what each column is: as told in ``columns`` (by ``origin``), the rest from names and values."""
    told = {role: _find(layout, role, name) for role, name in columns.items()}
    time = _time_columns(layout, told)
    role, parts = _reading_columns(layout, {part: at for part, at in told.items() if part in BASE}, kind, time)
    held = dict(zip(("date", "time")[-len(time) :], time, strict=True)) | parts
    notes = {label: (layout.names[at], origin if label in told else "guessed") for label, at in held.items()}
    factors, notes["unit"] = _units(layout, role, parts, unit)
    return Roles(time, role, {part: (at, factors[part]) for part, at in parts.items()}, notes)


def _find(layout: Layout, role: str, name: Any) -> int:
    """Return the index of the one column called ``name``."""
    if role not in {"time", "date", *BASE}:
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
    names = [layout.names[at] for at in found]
    if len(found) > 1:
        raise layout.place.refuse("several columns", role=role, names=_listed(names), first=names[0])
    return found[0]


def _time_columns(layout: Layout, told: dict[str, int]) -> tuple[int, ...]:
    """Return the column that holds the time, or those of date and time of day."""
    if "date" in told and "time" not in told:
        raise layout.place.refuse("date without time")
    if "time" in told:
        return tuple(told[role] for role in ("date", "time") if role in told)
    free = [at for at in range(len(layout.names)) if at not in told.values()]
    stamps, dates, clocks = ([at for at in free if layout.kinds[at] == kind] for kind in ("stamp", "date", "clock"))
    named = [at for at in free if layout.kinds[at] == "number" and words_of(layout.names[at]) & WORDS["time"]]
    if not stamps and dates and clocks:
        return _one(layout, dates, "date"), _one(layout, clocks, "time")
    if found := next(filter(None, (stamps, dates, clocks, named)), None):
        return (_one(layout, found, "time"),)
    if not layout.sample:
        raise layout.place.refuse("only names", row=layout.header_row)
    raise layout.place.refuse("no time", names=_listed(layout.names))


def _role_of(name: str) -> str | None:
    """Return which reading a column holds, by its unit or else by its words."""
    words, unit = words_of(name), unit_of(name)
    if words & WORDS["something else"]:
        return None
    return _role_in(unit) if unit else next((role for role in WORDS if role in BASE and words & WORDS[role]), None)


def _reading_columns(layout: Layout, told: dict[str, int], kind: str | None,
                     time: tuple[int, ...]) -> tuple[str, dict[str, int]]:  # fmt: skip
    """Return what the reading is, and by role the column that holds it (two for volts and amperes) and those that
    tell more of it."""
    wanted = [role for role in BASE if role in (told or (ROLES_OF[kind] if kind else BASE))]
    if kind and not ROLES_OF[kind] & set(wanted):
        raise layout.place.refuse("kind and column", kind=kind, role=wanted[0], fits=min(ROLES_OF[kind]))
    found = {role: [at] for role, at in told.items()}
    for at, name in enumerate(layout.names):
        part = _role_of(name)
        if part and at not in time and part not in told and layout.kinds[at] not in TIMES:
            found.setdefault(part, []).append(at)
    parts: tuple[str, ...] = next((each for each in _READ if each[0] in wanted and found.keys() >= set(each)), ())
    if not parts:
        raise layout.place.refuse("no reading", role=wanted[0], names=_listed(layout.names))
    if parts == ("power",):
        parts += _beside(layout, found)
    role = "apparent power" if parts[0] == "voltage" else parts[0]
    return role, {part: _one(layout, found[part], part) for part in parts}


def _beside(layout: Layout, found: dict[str, list[int]]) -> tuple[str, ...]:
    """Return the columns beside the watts that tell volt-amperes, and the voltage; none of which there are several."""
    single = {role for role, (at, *more) in found.items() if not more and layout.kinds[at] == "number"}
    chosen = next((roles for roles in _BESIDE if single >= set(roles)), ())
    return tuple(dict.fromkeys((*chosen, *single & {"voltage"})))


def _units(layout: Layout, role: str, parts: dict[str, int], unit: str | None) -> tuple[dict[str, float], Note]:
    """Return what turns each column into its base unit, and the reading's unit with who said so."""
    if unit and role not in parts:
        raise layout.place.refuse("unit of two", unit=unit)
    names = {part: layout.names[at] for part, at in parts.items()}
    stated = {part: unit_of(name) for part, name in names.items()} | ({role: unit_name(unit)} if unit else {})
    if role in names and stated[role] is None and (role == "energy" or words_of(names[role]) & {"mw", "mwh"}):
        raise layout.place.refuse("unit not stated", column=names[role])
    units = {part: one or unit_name(BASE[part]) for part, one in stated.items()}
    for part, one in units.items():
        if not Q_(1, BASE[part]).is_compatible_with(one):
            raise layout.place.refuse("unit of another", role=part, unit=one, base=BASE[part], column=names[part])
    sure = all(stated[part] for part in ([role] if role in parts else parts))
    shown = f"{Q_(1, BASE[role]).to(units.get(role, BASE[role])).units:~P}"
    factors = {part: in_base(one, BASE[part]) for part, one in units.items()}
    return factors, (shown, "given" if unit else "from the header" if sure else "guessed")
