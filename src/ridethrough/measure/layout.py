"""What the head of a log tells: how the file is written, what each column is, and refusals that name where.

What could be taken two ways is refused with the way out. A refusal's words stand in ``refusals.csv``, those that
columns are known by in ``words.csv``.
"""

from __future__ import annotations

import codecs
import csv
import io
import os
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cache
from itertools import chain, islice
from pathlib import Path
from typing import Any

import numpy as np

from ..units import Q_, Refusal, unit_name


def _table(name: str) -> Iterator[dict[str, str]]:
    return csv.DictReader(Path(__file__).with_name(name).read_text(encoding="utf-8").splitlines())


REFUSALS = {row.pop("name"): row for row in _table("refusals.csv")}
WORDS = {row["what"]: set(row["words"].split()) for row in _table("words.csv")}


Note = tuple[str, str]  # what was taken or chosen, and by whose word


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

    def __init__(self, file: str, given: str, needed: str, remedy: str, row: int | None = None,
                 column: str | None = None, value: str | None = None) -> None:  # fmt: skip
        self.file, self.row, self.column, self.value = file, row, column, value
        place = file + (f", row {row}" if row else "") + (f", column {column!r}" if column else "")
        shown = "" if value is None else f" {value[:60]!r}"
        super().__init__(f"{place}: {given}{shown}", needed, remedy)


@dataclass(frozen=True)
class Place:
    """Where readings come from: a name, and the row of each reading."""

    name: str
    row_of: Callable[[int], int] = lambda at: at + 1

    def refuse(self, why: str, *, at: Any = None, row: int | None = None, column: str | None = None,
               value: str | None = None, **facts: Any) -> LogRefusal:  # fmt: skip
        """Return the refusal of that name, its blanks filled with ``facts``; ``at`` is the index of a reading."""
        text = {part: words.format(**facts) for part, words in REFUSALS[why].items()}
        row = row if at is None else self.row_of(int(at))
        return LogRefusal(self.name, **text, row=row, column=column, value=value)

    def take(self, chosen: np.ndarray) -> Place:
        """Return the place of the readings whose indices are ``chosen``."""
        return replace(self, row_of=lambda at: self.row_of(int(chosen[at])))


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
        The last line of the column names; 0 where there is none [-].
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
        return Place(self.name, lambda at: next(islice(self.rows(), at, None))[0])

    def rows(self) -> Iterator[tuple[int, Sequence[str]]]:
        """Yield each row below the header that holds anything, with the number of its line."""
        if self.path is None:
            yield from enumerate(self.sample, start=1)
            return
        text = _decoded(self.path.read_bytes(), self.encoding)
        for line, row in _split(text, self.delimiter, Place(self.name)):
            if line > self.header_row:
                yield line, row


# -- what a field looks like ---------------------------------------------------------------------

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
TIMES = {"stamp", "date", "clock"}


def kind_of(text: str) -> str:
    """Return what one field looks like: "number", "stamp", "date", "clock", "text", or "" where empty."""
    return next((kind for kind, pattern in _KINDS.items() if pattern.fullmatch(text)), "text" if text else "")


# -- the head of a file --------------------------------------------------------------------------

HEAD_BYTES = 65_536
LARGEST_BYTES = 1_000_000_000
MOST_COLUMNS = 1_000
MOST_ABOVE = 200  # lines before the readings
_MARKS = {codecs.BOM_UTF8: "utf-8-sig", codecs.BOM_UTF16_LE: "utf-16", codecs.BOM_UTF16_BE: "utf-16"}


def find_layout(path: Any) -> Layout:
    """Return the layout of the log at ``path``, found from its first 64 KB."""
    if not isinstance(path, str | Path):
        raise Place(repr(path)[:60]).refuse("no file name")
    path = Path(path)
    text, encoding, whole = _head(path, Place(path.name))
    found, wrong = [], [Place(path.name).refuse("no log", begin=text.strip()[:40])]
    for delimiter in "\t;,":
        try:
            found += [_layout(path, text, encoding, delimiter, whole)]
        except LogRefusal as refusal:
            wrong.insert(-1, refusal)
    tables = [layout for layout in found if layout]
    if not tables:
        raise wrong[0]
    return max(tables, key=lambda layout: sum(kind not in {"", "text"} for kind in layout.kinds))


def _head(path: Path, place: Place) -> tuple[str, str, bool]:
    """Return the file's first characters, their encoding, and whether that is all of it."""
    if os.path.exists(path) and not os.path.isfile(path):
        raise place.refuse("a folder", path=str(path))
    try:
        with path.open("rb") as file:
            raw, size = file.read(HEAD_BYTES), os.fstat(file.fileno()).st_size
    except (OSError, ValueError) as error:
        raise place.refuse("not opened", error=error) from None
    if size > LARGEST_BYTES:
        raise place.refuse("too large", gigabytes=size / 1e9)
    encoding = _encoding(raw)
    text = _decoded(raw, encoding)
    if not text.strip("\ufeff \t\r\n"):
        raise place.refuse("empty")
    if re.search(r"[\x00-\x08\x0e-\x1f]", text):
        raise place.refuse("not text")
    return text, encoding, size <= HEAD_BYTES


def _encoding(raw: bytes) -> str:
    """Return the encoding of a file that begins with ``raw``."""
    marked = (name for mark, name in _MARKS.items() if raw.startswith(mark))
    wide = (name for at, name in ((1, "utf-16-le"), (0, "utf-16-be")) if raw[at::2].count(0) > 0.4 * len(raw) > 0)
    if found := next(chain(marked, wide), None):
        return found
    with suppress(UnicodeDecodeError):
        codecs.getincrementaldecoder("utf-8")().decode(raw)
        return "utf-8"
    return "latin-1"


def _decoded(raw: bytes, encoding: str) -> str:
    """Return bytes as text; half a letter at their end is no letter."""
    return codecs.getincrementaldecoder(encoding)("replace").decode(raw)


def _split(text: str, delimiter: str, place: Place) -> Iterator[tuple[int, list[str]]]:
    """Yield each row that holds anything, its fields stripped, with the number of its first line."""
    reader, begin = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True), 1
    try:
        for row in reader:
            if len(row) > 1 or (row and row[0].strip()):
                yield begin, [field.strip() for field in row]
            begin = reader.line_num + 1
    except csv.Error as error:
        raise place.refuse("not split", error=error, row=begin) from None


def _layout(path: Path, text: str, encoding: str, delimiter: str, whole: bool) -> Layout | None:
    """Return the table that splitting by ``delimiter`` shows, or None where it shows none."""
    place = Place(path.name)
    rows = list(_split(text, delimiter, place))
    rows = rows if whole else rows[:-1]  # the head may end within a line
    widths = Counter(len(row) for _, row in rows if len(row) > 1)
    if not widths:
        return None
    width = widths.most_common(1)[0][0]
    if width > MOST_COLUMNS:
        raise place.refuse("too wide", width=width, most=MOST_COLUMNS)
    rows = [(line, row) for line, row in rows if width - 1 <= len(row) <= width + 1]
    late = [row for _, row in rows[len(rows) // 2 :: max(1, len(rows) // 400)]]
    seen = (Counter(kind_of(row[at]) for row in late if at < len(row) and row[at]) for at in range(width))
    kinds = tuple(max(counted, key=counted.__getitem__, default="") for counted in seen)
    at = _header(rows, kinds)
    if at is None and TIMES & set(kinds):
        raise place.refuse("no names", row=rows[0][0])
    if at is None:
        return None
    names = (rows[at][1] + [""] * width)[:width]
    if at and all(unit_of(f"({field})") for field in names if field):  # a line of units below the names
        names = [f"{name} ({unit})" if unit else name for name, unit in zip(rows[at - 1][1], names, strict=False)]
    header_row = rows[at][0] + "".join(rows[at][1]).count("\n")
    sample = tuple(tuple(row) for _, row in rows[at + 1 :])
    return Layout(path.name, path, encoding, delimiter, header_row, tuple(names), kinds, sample)


def _header(rows: list[tuple[int, list[str]]], kinds: tuple[str, ...]) -> int | None:
    """Return the index of the line of column names: words only, and readings right below it if anywhere."""
    words = [at for at, (_, row) in enumerate(rows[:MOST_ABOVE]) if {"text"} <= {*map(kind_of, row)} <= {"text", ""}]
    above = [at for at in words if at + 1 < len(rows) and _like(rows[at + 1][1], kinds)]
    return next(chain(above, words), None)


def _like(row: Sequence[str], kinds: tuple[str, ...]) -> bool:
    """Return whether each field of ``row`` is what its column usually holds, and one is a time or number."""
    told = [(kind_of(field), kind) for field, kind in zip(row, kinds, strict=False) if field]
    return all(one == kind for one, kind in told) and any(kind != "text" for _, kind in told)


# -- what each column is -------------------------------------------------------------------------

BASE = {"power": "W", "energy": "Wh", "apparent power": "VA", "voltage": "V", "current": "A", "reactive power": "var"}
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
    return next(chain(filter(_role_in, found), found), None)


def _role_in(unit: str) -> str | None:
    """Return which reading is told in ``unit``."""
    return next((role for role, base in BASE.items() if Q_(1, base).is_compatible_with(unit)), None)


def in_base(unit: str, base: str) -> float:
    """Return how many ``base`` one ``unit`` is; ``unit`` as pint calls it."""
    return 1 / float(Q_(1, base).to(unit).magnitude)


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
