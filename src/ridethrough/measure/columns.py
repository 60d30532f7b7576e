"""What each column of a log is, by its name, by its unit, or as told; its fields as text, and what numbers they are."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import reduce
from itertools import islice
from operator import itemgetter
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from ..units import Q_, unit_name
from .layout import BASE, TIMES, WORDS, Layout, LogRefusal, Note, Place, in_base, role_in, unit_of, words_of

ROLES_OF = {"power": {"power"}, "counter": {"energy"}, "interval energy": {"energy"},
            "apparent power": {"apparent power", "voltage"}}  # fmt: skip
_VOLTS_AMPERES = ("voltage", "current")
_READ = (("power",), ("energy",), ("apparent power",), _VOLTS_AMPERES)
_BESIDE = (("apparent power",), _VOLTS_AMPERES, ("reactive power",))  # what tells volt-amperes beside watts
_TIME = ("date", "time")

Columns = dict[str, tuple[int, float]]  # by role: which column, and what turns it into its base unit


def assign(layout: Layout, choices: Mapping[str, Any], origin: str) -> tuple[Columns, dict[str, Note]]:
    """Return what each column is: as told among the ``choices`` (by ``origin``), the rest from names and values.

    First the time, or date and time, then the reading (volts and amperes are one), then what tells more of it.
    """
    told = {role: _find(layout, role, name) for role, name in choices.get("columns", {}).items()}
    held = _time_columns(layout, told)
    held |= _reading_columns(layout, told, choices.get("kind"), set(held.values()))
    notes = {role: (layout.names[at], origin if role in told else "guessed") for role, at in held.items()}
    names = {role: layout.names[at] for role, at in held.items() if role in BASE}
    factors, notes["unit"] = _units(names, choices.get("unit"), layout)
    return {role: (at, factors.get(role, 1.0)) for role, at in held.items()}, notes


def reading_of(roles: Iterable[str]) -> tuple[str, ...]:
    """Return the roles that are the reading itself, of those that `assign` found."""
    return next(each for each in _READ if set(each) <= set(roles))


def _find(layout: Layout, role: str, name: Any) -> int:
    """Return the index of the one column called ``name``."""
    roles = ("time", "date", *BASE)
    layout.place.refuse_if("unknown role", role not in roles, role=role, roles=", ".join(roles))
    found = [at for at, known in enumerate(layout.names) if known == str(name).strip()]
    layout.place.refuse_if("no such column", len(found) != 1, count=len(found) or "no", names=_listed(layout.names),
                           column=str(name))  # fmt: skip
    return found[0]


def _listed(names: Iterable[str]) -> str:
    return ", ".join(repr(name[:40]) for name in islice(names, 20))


def _one(layout: Layout, found: list[int], role: str) -> int:
    """Return the only column found for ``role``, or refuse to choose."""
    names = [layout.names[at] for at in found]
    layout.place.refuse_if("several columns", len(found) > 1, role=role, names=_listed(names), first=names[0])
    return found[0]


def _time_columns(layout: Layout, told: dict[str, int]) -> dict[str, int]:
    """Return the column that holds the time, or those of date and time of day."""
    layout.place.refuse_if("date without time", "date" in told and "time" not in told)
    if "time" in told:
        return {role: told[role] for role in _TIME if role in told}
    free = [at for at in range(len(layout.names)) if at not in told.values()]
    stamps, dates, clocks = ([at for at in free if layout.kinds[at] == kind] for kind in TIMES)
    named = [at for at in free if layout.kinds[at] == "number" and words_of(layout.names[at]) & WORDS["time"]]
    if not stamps and dates and clocks:
        return {"date": _one(layout, dates, "date"), "time": _one(layout, clocks, "time")}
    if found := stamps or dates or clocks or named:
        return {"time": _one(layout, found, "time")}
    layout.place.refuse_if("only names", not layout.sample, row=layout.header_row)
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
    fits = ROLES_OF[kind] if kind else {*wanted}
    layout.place.refuse_if("kind and column", not fits & {*wanted}, kind=kind, role=wanted[0], fits=min(fits))
    for at, name in enumerate(layout.names):
        role = _role_of(name)
        if role and at not in time and role not in told and layout.kinds[at] not in TIMES:
            found.setdefault(role, []).append(at)
    parts = next(([*each] for each in _READ if each[0] in wanted and found.keys() >= set(each)), [])
    layout.place.refuse_if("no reading", not parts, role=wanted[0], names=_listed(layout.names))
    if parts == ["power"]:  # beside it what tells volt-amperes, and the voltage; none of which there are several
        single = {role for role, (at, *more) in found.items() if not more and layout.kinds[at] == "number"}
        parts += next((each for each in _BESIDE if single >= set(each)), ())
        parts += single & {"voltage"} - {*parts}
    return {part: _one(layout, found[part], part) for part in parts}


def _units(names: dict[str, str], unit: str | None, layout: Layout) -> tuple[dict[str, float], Note]:
    """Return what turns each column into its base unit, and the reading's unit with who said so."""
    parts = reading_of(names)
    role = "apparent power" if len(parts) > 1 else parts[0]
    layout.place.refuse_if("unit of two", bool(unit) and len(parts) > 1, unit=unit)
    stated = {part: unit_of(name) for part, name in names.items()} | ({role: unit_name(unit)} if unit else {})
    unclear = role == "energy" or bool(words_of(names.get(role, "")) & {"mw", "mwh"})
    layout.place.refuse_if("unit not stated", unclear and stated[role] is None, column=names.get(role))
    units = {part: one or unit_name(BASE[part]) for part, one in stated.items()}
    for part, one in units.items():
        another = not Q_(1, BASE[part]).is_compatible_with(one)
        layout.place.refuse_if("unit of another", another, role=part, unit=one, base=BASE[part], column=names[part])
    shown = f"{Q_(1, BASE[role]).to(units.get(role, BASE[role])).units:~P}"
    sure = all(stated[part] for part in parts)
    factors = {part: in_base(one, BASE[part]) for part, one in units.items()}
    return factors, (shown, "given" if unit else "from the header" if sure else "guessed")


# -- fields as text ------------------------------------------------------------------------------

BLOCK_BYTES = 1 << 21


@dataclass(frozen=True)
class Column:
    """The fields of one column as text, and where they stand."""

    name: str
    texts: pa.ChunkedArray
    place: Place

    def refuse_where(self, bad: pa.ChunkedArray, what: str) -> None:
        """Refuse the first field that is ``bad``, if one is."""
        if (at := pc.index(bad, True).as_py()) >= 0:
            raise self.refuse(at, what)

    def refuse(self, at: int, what: str) -> LogRefusal:
        """Return a refusal of one field."""
        return self.place.refuse("odd field", at=at, column=self.name, value=self.texts[at].as_py(), what=what)


def columns_of(layout: Layout, columns: Columns) -> list[Column]:
    """Return the column of time and the others as text; rows without time and reading hold nothing."""
    wanted, place = [at for at, _ in columns.values()], layout.place
    texts, names = _texts(layout, wanted), [layout.names[at] for at in wanted]
    filled = reduce(pc.or_, (pc.not_equal(column, "") for column in texts))
    if not pc.all(filled).as_py():
        place, texts = place.take(np.flatnonzero(filled)), [column.filter(filled) for column in texts]
    layout.place.refuse_if("one row", len(texts[0]) < 2)
    if "date" in columns:
        texts, names = [pc.binary_join_element_wise(*texts[:2], " "), *texts[2:]], names[1:]
    return [Column(name, column, place) for name, column in zip(names, texts, strict=True)]


def _texts(layout: Layout, wanted: Sequence[int]) -> list[pa.ChunkedArray]:
    """Return the columns ``wanted`` without blanks around their fields: as pyarrow splits them, which is fast, or where
    it finds a row odd, as Python does."""
    if layout.path:
        with suppress(pa.ArrowInvalid, UnicodeError):
            return _parsed(layout, layout.path, wanted)
    pick, wide = itemgetter(*wanted), len(layout.names)
    rows = [pick(row if len(row) == wide else _mended(layout, line, row)) for line, row in layout.rows()]
    return [pa.chunked_array([[row[at] for row in rows]], pa.string()) for at in range(len(wanted))]


def _parsed(layout: Layout, path: Path, wanted: Sequence[int]) -> list[pa.ChunkedArray]:
    """Return the columns ``wanted``, as text, of a file whose rows are all even."""
    names = [str(at) for at in range(len(layout.names))]
    read = pacsv.ReadOptions(block_size=BLOCK_BYTES, skip_rows=layout.header_row, column_names=names,
                             encoding=layout.encoding.removesuffix("-sig"))  # fmt: skip
    parse = pacsv.ParseOptions(delimiter=layout.delimiter, newlines_in_values=True)
    kept = [names[at] for at in wanted]
    convert = pacsv.ConvertOptions(include_columns=kept, column_types=dict.fromkeys(kept, pa.string()))
    chunks = []
    for batch in pacsv.open_csv(path, read, parse, convert):
        letters = b"".join(column.buffers()[2] or b"" for column in batch.columns)
        if b'"' in letters:
            raise pa.ArrowInvalid("a quote that does not begin its field")
        bare = letters.isascii() and not any(blank in letters for blank in b" \t\n\r\v\f")
        chunks.append(batch.columns if bare else [pc.utf8_trim_whitespace(column) for column in batch.columns])
    return [pa.chunked_array(column, pa.string()) for column in zip(*chunks, strict=True)]


def _mended(layout: Layout, line: int, row: Sequence[str]) -> Sequence[str]:
    """Return the fields of a row that lacks an empty one at its end or has one more; refuse any other."""
    wide = len(layout.names)
    if (len(row) == wide + 1 and not row[-1]) or (len(row) == wide - 1 and not layout.names[-1]):
        return (*row, "")
    shown = layout.delimiter.join(row)
    raise layout.place.refuse("odd row", count=len(row), width=wide, row=line, value=shown)


# -- numbers -------------------------------------------------------------------------------------

LARGEST = 1e19  # what no meter shows, in any unit
_NUMBER = r"^[-+−]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)?$"
_GROUPED = r"^[-+]?[1-9][0-9]{0,2}([,.][0-9]{3})+$"


def numbers_of(column: Column, mark: str) -> np.ndarray:
    """Return the numbers in a column, nan where it is empty; no ``mark``: a comma is as good as a point."""
    plain = column.texts if mark != "," else pc.replace_substring(column.texts, ".", "?")
    plain = plain if mark == "." else pc.replace_substring(plain, ",", ".")
    plain = pc.if_else(pc.equal(plain, ""), None, plain)
    try:
        values = plain.cast(pa.float64())
    except pa.ArrowInvalid:
        column.refuse_where(pc.invert(pc.match_substring_regex(plain, _NUMBER)), "no number")
        values = pc.replace_substring(plain, "−", "-").cast(pa.float64())
    column.refuse_where(pc.invert(pc.less(pc.abs(values), LARGEST)), "no number, or one beyond all bounds")
    return values.to_numpy()


def decimal_mark(columns: list[Column], delimiter: str) -> str:
    """Return the decimal mark of numbers: "," or ".", "" where none has one; refuse where it can't be told.

    "1,234" may be 1234; a number that can't group thousands, such as "0,234", settles it.
    """
    seen, bare = set(), False
    for texts in (chunk for column in columns for chunk in column.texts.chunks):
        comma, point = (pc.match_substring(texts, mark) for mark in ",.")
        sure = pc.and_not(pc.xor(comma, point), pc.match_substring_regex(texts, _GROUPED))
        if (at := pc.index(sure, True).as_py()) >= 0:
            return "," if comma[at].as_py() else "."
        seen |= {mark for mark, there in ((",", comma), (".", point)) if pc.any(there).as_py()}
        bare = bare or pc.any(pc.and_not(pc.not_equal(texts, ""), pc.or_(comma, point))).as_py()
    unsure = len(seen) == 2 or (seen and (bare or (seen == {","} and delimiter != ";")))
    columns[0].place.refuse_if("decimal mark", bool(unsure), column=columns[0].name)
    return "".join(seen)


def decimals(column: Column, mark: str) -> int:
    """Return how many digits stand after the decimal mark, at most."""
    digits = 0
    for texts in column.texts.chunks:
        at = pc.find_substring(texts, mark or ".")
        behind = pc.if_else(pc.less(at, 0), 0, pc.subtract(pc.binary_length(texts), pc.add(at, 1)))
        digits = max(digits, pc.max(behind).as_py() or 0)
    return digits
