"""What a log file's columns are: its layout found from its head, then the role, unit and name of each column.

The head tells encoding, delimiter and header. What could be taken two ways is refused with the way out.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from itertools import chain, islice
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


# -- the head ------------------------------------------------------------------------------------

HEAD_BYTES = 65_536
LARGEST_BYTES = 1_000_000_000
MOST_COLUMNS = 1_000
MOST_ABOVE = 200  # lines before the readings


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


def _split(lines: Iterable[str], delimiter: str, file: str) -> Iterator[tuple[int, list[str]]]:
    """Yield each row that holds anything, its fields stripped, with the number of its line."""
    reader = csv.reader(lines, delimiter=delimiter, skipinitialspace=True)
    try:
        for row in reader:
            if len(row) > 1 or (row and row[0].strip()):
                yield reader.line_num, [field.strip() for field in row]
    except csv.Error as error:
        raise LogRefusal(file, f"a line that can't be split into columns ({error})", "a table of readings",
                         "Look at that line in a text editor.", row=reader.line_num) from None  # fmt: skip


def find_layout(path: Any) -> Layout:
    """Return the layout of the log at ``path``, found from its first 64 KB."""
    if not isinstance(path, str | Path):
        raise LogRefusal(repr(path)[:60], "no file name", "a file name", 'Write read_log("freezer.csv").')
    path = Path(path)
    try:
        text, encoding, whole = _head(path)
    except (OSError, ValueError) as error:
        if isinstance(error, Refusal):
            raise
        raise LogRefusal(path.name, f"a file that can't be opened ({error})", "a log file", "Check its name.") from None
    found = [layout for delimiter in "\t;," if (layout := _layout(path, text, encoding, delimiter, whole))]
    if not found:
        raise LogRefusal(path.name, f"a file that is no log; it begins {text.strip()[:40]!r}",
                         "a line of column names, then times and readings, split by comma, semicolon or tab",
                         "Export the readings as CSV.")  # fmt: skip
    return max(found, key=lambda layout: sum(kind not in {"", "text"} for kind in layout.kinds))


def _head(path: Path) -> tuple[str, str, bool]:
    """Return the file's first characters, their encoding, and whether that is all of it."""
    needed, remedy = "a text file of readings", "Give the CSV file that the meter or its program exports."
    if not path.exists():
        raise LogRefusal(path.name, f"no file at {str(path)!r}", needed, "Check folder and spelling.")
    if not path.is_file():
        raise LogRefusal(path.name, f"{str(path)!r}, which is a folder or a device", needed, remedy)
    size = path.stat().st_size
    if size > LARGEST_BYTES:
        raise LogRefusal(path.name, f"a file of {size / 1e9:.1f} GB", "at most 1 GB", "Split it by month.")
    with path.open("rb") as file:
        raw = file.read(HEAD_BYTES)
    encoding = _encoding(raw)
    text = codecs.getincrementaldecoder(encoding)("replace").decode(raw)
    if not text.strip("\ufeff \t\r\n"):
        raise LogRefusal(path.name, "an empty file", needed, remedy)
    if re.search(r"[\x00-\x08\x0e-\x1f]", text):
        raise LogRefusal(path.name, "a file that is not text (a workbook, packed, or damaged)", needed, remedy)
    return text, encoding, size <= HEAD_BYTES


def _encoding(raw: bytes) -> str:
    """Return the encoding of a file that begins with ``raw``."""
    if raw.startswith(codecs.BOM_UTF8):
        return "utf-8-sig"
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    for start, name in ((1, "utf-16-le"), (0, "utf-16-be")):
        if raw[start::2].count(0) > 0.4 * len(raw) > 0:
            return name
    try:
        codecs.getincrementaldecoder("utf-8")().decode(raw)
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8"


def _layout(path: Path, text: str, encoding: str, delimiter: str, whole: bool) -> Layout | None:
    """Return the table that splitting by ``delimiter`` shows, or None where it shows none."""
    rows = list(_split(io.StringIO(text, newline=""), delimiter, path.name))
    rows = rows if whole else rows[:-1]  # the head may end within a line
    widths = Counter(len(row) for _, row in rows if len(row) > 1)
    if not widths:
        return None
    width = widths.most_common(1)[0][0]
    if width > MOST_COLUMNS:
        raise LogRefusal(path.name, f"{width} columns", f"at most {MOST_COLUMNS}", "Export the times and the power.")
    rows = [(line, row) for line, row in rows if width - 1 <= len(row) <= width + 1]
    late = [row for _, row in rows[len(rows) // 2 :: max(1, len(rows) // 400)]]
    kinds = tuple(usual_kind(row[at] for row in late if at < len(row)) for at in range(width))
    at = _header(rows, kinds)
    if at is None:
        if not {"stamp", "date", "clock"} & set(kinds):
            return None
        raise LogRefusal(path.name, "no line of column names above the readings", "one",
                         'Write it into the file, for example "time,power (W)".', row=rows[0][0])  # fmt: skip
    names = (rows[at][1] + [""] * width)[:width]
    if at and all(unit_of(f"({field})") for field in names if field):  # a line of units below the names
        names = [f"{name} ({unit})" if unit else name for name, unit in zip(rows[at - 1][1], names, strict=False)]
    sample = tuple(tuple(row) for _, row in rows[at + 1 :])
    return Layout(path.name, path, encoding, delimiter, rows[at][0], tuple(names), kinds, sample)


def _header(rows: list[tuple[int, list[str]]], kinds: tuple[str, ...]) -> int | None:
    """Return the index of the line of column names: words only, and readings right below it if anywhere."""
    words = [at for at, (_, row) in enumerate(rows[:MOST_ABOVE]) if any(row) and _wordy(row)]
    above = [at for at in words if at + 1 < len(rows) and _like(rows[at + 1][1], kinds)]
    return next(chain(above, words), None)


def _wordy(row: Sequence[str]) -> bool:
    return {kind_of(field) for field in row} <= {"text", ""}


def _like(row: Sequence[str], kinds: tuple[str, ...]) -> bool:
    """Return whether each field of ``row`` is what its column usually holds, and one is a time or number."""
    told = [(kind_of(field), kind) for field, kind in zip(row, kinds, strict=False) if field]
    return all(one == kind for one, kind in told) and any(kind != "text" for _, kind in told)


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
