"""What a log file holds: its layout found from its head, then every reading, or a refusal that names the row.

The head tells encoding, delimiter, header and what each column is. A plain file is then parsed by pyarrow
with those types fixed; whatever pyarrow will not take is read again row by row, which is slower, takes more
forms, and knows the line of the first field that can't be a reading. Nothing here judges the readings.
"""

from __future__ import annotations

import codecs
import csv
import io
import math
import re
from array import array
from calendar import month_name
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from functools import cache, lru_cache, partial
from itertools import chain, islice
from pathlib import Path
from typing import Any

import numpy as np

from ..units import Q_, Refusal, unit_name

HEAD_BYTES = 65_536
LARGEST_BYTES = 1_000_000_000
LONGEST_LINE = 1_000_000
MOST_COLUMNS = 1_000
NS = 1_000_000_000
EPOCH_FROM_S = 900_000_000  # larger numbers count seconds since 1970: this is July 1998
LARGEST = 1e19  # what no meter shows, in any unit
LATEST_S = 4_102_444_800  # 2100-01-01

_DATE = (
    r"(?:(?P<y>[0-9]{4})(?P<dash>[-/.])(?P<mo>[0-9]{1,2})(?P=dash)(?P<d>[0-9]{1,2})"
    r"|(?P<a>[0-9]{1,2})(?P<dot>[-/.])(?P<b>[0-9]{1,2})(?P=dot)(?P<year>[0-9]{4}))"
)
_CLOCK = (
    r"(?P<h>[0-9]{1,4}):(?P<mi>[0-5][0-9])(?::(?P<s>[0-5][0-9])(?:[.,](?P<f>[0-9]{1,9}))?)?"
    r"(?:\s?(?P<half>[AaPp])\.?[Mm]\.?)?"
)
_ZONE = r"(?P<zone>Z|UTC|GMT|(?P<sign>[+-])(?P<zh>[0-9]{2}):?(?P<zm>[0-9]{2})?)"
_STAMP_RE = re.compile(rf"{_DATE}(?:(?:T|,?\s+){_CLOCK}\s?{_ZONE}?)?")
_DAY_CLOCK_RE = re.compile(r"([-/.0-9]+)(?:T|,?\s+|$)(.*)")
_CLOCK_ZONE_RE = re.compile(rf"{_CLOCK}\s?{_ZONE}?")
_CLOCK_RE = re.compile(_CLOCK)
_DATE_RE = re.compile(_DATE)
_ISO_RE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,9})?)?"
                     r"(?P<zone>Z|[+-][0-9]{2}(:?[0-9]{2})?)?")  # fmt: skip
_NUMBERISH_RE = re.compile(r"[-+−]?([0-9][0-9.,]*|[.,][0-9]+)(e[-+]?[0-9]+)?|[-+]?(nan|inf|infinity)", re.IGNORECASE)
_NUMBER_RE = re.compile(r"[-+]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)?")


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


# -- the head ------------------------------------------------------------------------------------


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
        return Place(self.name, lambda at: next(islice(self.rows(), at, None))[0])

    def rows(self) -> Iterator[tuple[int, Sequence[str]]]:
        """Yield every row below the header with its line number, blank lines left out."""
        if self.path is None:
            yield from enumerate(self.sample, 1)
            return
        with self.path.open(encoding=self.encoding, errors="replace", newline="") as lines:
            pieces = iter(partial(lines.readline, LONGEST_LINE), "")
            yield from (row for row in _split(pieces, self.delimiter, self.name) if row[0] > self.header_row)

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
    late = [row for _, row in rows[len(rows) // 2 :]]
    kinds = tuple(_usual(row[at] for row in late if at < len(row)) for at in range(width))
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
    words = [at for at, (_, row) in enumerate(rows) if any(row) and {kind_of(field) for field in row} <= {"text", ""}]
    above = [at for at in words if at + 1 < len(rows) and _like(rows[at + 1][1], kinds)]
    return next(chain(above, words), None)


def _like(row: Sequence[str], kinds: tuple[str, ...]) -> bool:
    """Return whether each field of ``row`` is what its column usually holds, and one is a time or number."""
    told = [(kind_of(field), kind) for field, kind in zip(row, kinds, strict=False) if field]
    return all(one == kind for one, kind in told) and any(kind != "text" for _, kind in told)


def _usual(fields: Iterable[str]) -> str:
    """Return the most common kind of the fields that hold anything, "" where none does."""
    counted = Counter(kind_of(field) for field in fields if field).most_common(1)
    return counted[0][0] if counted else ""


def kind_of(text: str) -> str:
    """Return what one field looks like: "number", "stamp", "date", "clock", "text", or "" where empty."""
    patterns = {"date": _DATE_RE, "stamp": _STAMP_RE, "clock": _CLOCK_RE, "number": _NUMBERISH_RE}
    return next((kind for kind, pattern in patterns.items() if pattern.fullmatch(text)), "text" if text else "")


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
_MILLISECONDS = {"ms", "msec", "millis", "milliseconds"}


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


# -- every reading -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Times:
    """The times of readings, what they count from, and how they were read.

    Parameters
    ----------
    ns : array of int64
        Since 1970 on a "local" or "utc" clock, since the log's own zero on an "elapsed" one [ns].
    clock : str
        "local" (no zone stated), "utc" or "elapsed".
    how : tuple of str
        In words, and whether given or guessed.
    """

    ns: np.ndarray
    clock: str
    how: tuple[str, str]


@dataclass(frozen=True)
class Readings:
    """Every reading of a log in the order of the file, before any judgement.

    Parameters
    ----------
    times : Times
        When they were taken.
    value : array of float
        In W, Wh or VA; nan where the field was empty.
    step : float
        The readings' last digit, in W, Wh or VA.
    place : Place
        Where they came from, for messages.
    notes : dict
        Choices made while reading, and whether given or guessed.
    """

    times: Times
    value: np.ndarray
    step: float
    place: Place
    notes: dict[str, tuple[str, str]]

    def take(self, chosen: np.ndarray) -> Readings:
        """Return the readings whose indices are ``chosen``."""
        place = Place(self.place.name, lambda at: self.place.row_of(int(chosen[at])))
        times = replace(self.times, ns=self.times.ns[chosen])
        return replace(self, times=times, value=self.value[chosen], place=place)


class _NotPlain(Exception):
    """The plain parser will not take this file."""


def read_readings(layout: Layout, roles: Roles, dayfirst: bool | None, decimal: str | None) -> Readings:
    """Return every reading of the log, or refuse it with the row of the first that is none."""
    try:
        times, columns, mark = _plainly(layout, roles, decimal)
    except _NotPlain:
        times, columns, mark = _row_by_row(layout, roles, dayfirst, decimal)
    notes = roles.origin | {"times": times.how}
    if mark == ",":
        notes["decimal mark"] = (mark, "given" if decimal else "guessed")
    step = roles.factor * 10.0 ** -decimals(layout.column(roles.reading[-1]), columns[-1])
    value = columns[0] * roles.factor
    if len(columns) == 2:  # volts times amperes: the current's last digit, at the largest voltage
        step *= float(np.nanmax(np.append(value / roles.factor, 0)))
        value *= columns[1]
    return Readings(times, value, step, layout.place, notes)


def _plainly(layout: Layout, roles: Roles, decimal: str | None) -> tuple[Times, list[np.ndarray], str]:
    """Return times, readings and decimal mark as pyarrow parses them: ISO times or numbers, and nothing odd."""
    import pyarrow as pa
    import pyarrow.csv as pacsv

    head = layout.column(roles.time[0])
    iso = [match for text in head if (match := _ISO_RE.fullmatch(text))]
    zoned = {bool(match["zone"]) for match in iso}
    numeric = all(_NUMBER_RE.fullmatch(text) for text in head)
    mark = decimal or decimal_mark((text for at in roles.reading for text in layout.column(at)), layout.delimiter)
    dated = len(iso) == len(head) and len(zoned) == 1
    odd = layout.path is None or len(roles.time) > 1 or mark == "?" or (numeric and mark == ",")
    if odd or not (numeric or dated):
        raise _NotPlain
    time_type = pa.float64() if numeric else pa.timestamp("ns", tz="UTC" if True in zoned else None)
    names = [str(at) for at in range(len(layout.names))]
    kept = [names[at] for at in (*roles.time, *roles.reading)]
    types = dict(zip(kept, [time_type] + [pa.float64()] * len(roles.reading), strict=True))
    encoding = layout.encoding.removesuffix("-sig")
    try:
        table = pacsv.read_csv(
            layout.path,
            pacsv.ReadOptions(encoding=encoding, skip_rows=layout.header_row, column_names=names),
            pacsv.ParseOptions(delimiter=layout.delimiter),
            pacsv.ConvertOptions(include_columns=kept, column_types=types, null_values=[""], decimal_point=mark or "."),
        )
    except (pa.ArrowException, UnicodeError, OSError):
        raise _NotPlain from None
    if table.column(0).null_count or not table.num_rows:
        raise _NotPlain
    columns = [_plain_numbers(column, mark) for column in table.columns[1:]]
    time = _plain_numbers(table.column(0), ".") if numeric else table.column(0).cast(pa.int64()).to_numpy()
    del table
    pa.default_memory_pool().release_unused()
    if numeric:
        return Counts(layout.names[roles.time[0]], layout.place).times(time), columns, mark
    stamps = Stamps(layout.names[roles.time[0]], None)
    stamps.zoned = True in zoned
    return stamps.times(time), columns, mark


def _plain_numbers(column: Any, mark: str) -> np.ndarray:
    """Return a parsed column with nan for empty fields; what needs a closer look is not plain."""
    numbers = column.to_numpy()
    odd = np.count_nonzero(~(np.abs(numbers) < LARGEST)) != column.null_count
    if odd or (not mark and np.any(numbers % 1 > 0)):  # a decimal mark that the head did not show
        raise _NotPlain
    return numbers


def _row_by_row(layout: Layout, roles: Roles, dayfirst: bool | None,
                decimal: str | None) -> tuple[Times, list[np.ndarray], str]:  # fmt: skip
    """Return times, readings and decimal mark of any file, or refuse the first row that holds none."""
    texts = (row[at] for _, row in layout.rows() for at in roles.reading if at < len(row))
    mark = decimal or decimal_mark(texts, layout.delimiter)
    if mark == "?":
        raise layout.place.refuse("numbers whose comma or point may be a decimal mark or group thousands",
                                  "one decimal mark and no thousands marks", 'Write decimal="," or decimal=".".',
                                  column=layout.names[roles.reading[0]])  # fmt: skip
    take_time = _time_taker(layout, roles, dayfirst)
    takers = [(roles.time, take_time), *(((at,), lambda text: number_in(text, mark)) for at in roles.reading)]
    store: list[Any] = [array(take_time.store), *(array("d") for _ in roles.reading)]
    for line, row in layout.rows():
        _check_width(layout, line, row)
        for (at, take), values in zip(takers, store, strict=True):
            text = " ".join(row[n] for n in at)
            try:
                values.append(take(text))
            except (ValueError, OverflowError) as error:
                raise layout.place.refuse(f"{error}:", "a field like those of the other rows", "Correct or delete it.",
                                          row=line, column=layout.names[at[-1]], value=text) from None  # fmt: skip
    time, *columns = (np.array(values) for values in store)
    return take_time.times(time), columns, mark


def _check_width(layout: Layout, line: int, row: Sequence[str]) -> None:
    """Refuse a row with more or fewer fields than columns; an empty one at its end does not count."""
    wide, filled = len(layout.names), len(row) - (row[-1] == "")
    if not filled <= wide <= len(row) and not (len(row) == wide - 1 and layout.names[-1] == ""):
        raise layout.place.refuse(f"{len(row)} fields:", f"{wide}, one for each column", "Correct or delete this line.",
                                  row=line, value=layout.delimiter.join(row))  # fmt: skip


def decimal_mark(texts: Iterable[str], delimiter: str = "") -> str:
    """Return the decimal mark of numbers: "," or ".", "" where none has one, "?" where it can't be told.

    "1,234" may be 1234; a number that can't group thousands, such as "0,234", settles it.
    """
    seen: set[str] = set()
    bare = False
    for text in texts:
        marks = set(text) & {",", "."}
        if len(marks) == 1 and not re.fullmatch(r"[-+]?[1-9][0-9]{0,2}([,.][0-9]{3})+", text):
            return marks.pop()
        seen |= marks
        bare = bare or (bool(text) and not marks)
    if len(seen) == 2 or (seen and (bare or (seen == {","} and delimiter != ";"))):
        return "?"
    return "".join(seen)


def number_in(text: str, mark: str) -> float:
    """Return the number in a field, nan where it is empty."""
    if not text:
        return math.nan
    plain = text.replace("−", "-")
    if mark == ",":
        plain = plain.replace(".", "?").replace(",", ".")
    if not _NUMBER_RE.fullmatch(plain):
        raise ValueError("no number")
    if not abs(float(plain)) < LARGEST:
        raise ValueError("a number beyond all bounds")
    return float(plain)


def decimals(texts: Iterable[str], values: np.ndarray) -> int:
    """Return how many digits stand after the decimal mark: those written, or those some of the values need."""
    written = [len(match[1]) for text in texts if (match := re.fullmatch(r"[-+−]?[0-9]*[,.]([0-9]+)", text))]
    some = values[:: max(1, values.size // 5000)]
    some = some[np.isfinite(some)]
    digits = max(written, default=0)
    while digits < 6 and np.any(np.abs(some - np.round(some, digits)) > 1e-6 * 10.0**-digits + 1e-12 * np.abs(some)):
        digits += 1
    return digits


# -- times ---------------------------------------------------------------------------------------
# Each way to write time reads one field when called, names the array type that holds the result, and makes
# `Times` of all of them.


def _time_taker(layout: Layout, roles: Roles, dayfirst: bool | None) -> Counts | Elapsed | Stamps:
    """Return the reader for times as the log writes them."""
    name, kind = layout.names[roles.time[-1]], _usual(layout.column(roles.time[-1]))
    if len(roles.time) == 1 and kind == "number":
        return Counts(name, layout.place)
    if len(roles.time) == 1 and kind == "clock":
        return Elapsed()
    if dayfirst is not None:
        return Stamps(name, dayfirst, "given")
    dates = ((line, row[roles.time[0]]) for line, row in layout.rows() if roles.time[0] < len(row))
    return Stamps(name, day_first(dates, layout.place))


class Counts:
    """Times written as numbers: since 1970 where they are that large, else elapsed."""

    store = "d"

    def __init__(self, name: str, place: Place) -> None:
        self.name, self.place = name, place

    def __call__(self, text: str) -> float:
        """Return the number."""
        if not text:
            raise ValueError("no time")
        return number_in(text, "," if "," in text else ".")

    def times(self, numbers: np.ndarray) -> Times:
        """Return the times that ``numbers`` count."""
        largest = float(np.max(np.abs(numbers)))
        scale, told = self._scale(largest)
        if not largest * scale < LATEST_S:
            raise self.place.refuse(f"times up to {largest:g}", "times before the year 2100", "Check this column.",
                                    at=np.abs(numbers).argmax(), column=self.name)  # fmt: skip
        since = "since 1970" if largest * scale >= EPOCH_FROM_S else "elapsed"
        ns = np.round(numbers * (scale * NS)).astype(np.int64)
        return Times(ns, "utc" if since == "since 1970" else "elapsed", (f"counted in {scale:g} s, {since}", told))

    def _scale(self, largest: float) -> tuple[float, str]:
        """Return the unit of the numbers [s], and whether the column's name says it."""
        unit = unit_of(self.name)
        if words_of(self.name) & _MILLISECONDS:
            return 1e-3, "from the header"
        if unit and Q_(1, "s").is_compatible_with(unit):
            return in_base(unit, "s"), "from the header"
        return next((part for part in (1e-9, 1e-6, 1e-3) if largest * part >= EPOCH_FROM_S), 1.0), "guessed"


class Elapsed:
    """Times written h:mm, h:mm:ss or h:mm:ss.fff since a log's own zero."""

    store = "q"

    def __call__(self, text: str) -> int:
        """Return the time [ns].

        Example
        -------
        >>> Elapsed()("47:20") // NS
        170400
        """
        match = _CLOCK_RE.fullmatch(text)
        if not match or match["half"]:
            raise ValueError("no time of the form h:mm:ss")
        return _clock_ns(match)

    def times(self, ns: np.ndarray) -> Times:
        """Return them all."""
        return Times(ns, "elapsed", ("elapsed, h:mm:ss", "guessed"))


class Stamps:
    """Dates with times of day, all with a zone or all without; ``dayfirst``: 03/04/2026 is in April."""

    store = "q"

    def __init__(self, name: str, dayfirst: bool | None, told: str = "guessed") -> None:
        self.name, self.dayfirst, self.told = name, dayfirst, told
        self.zoned: bool | None = None

    def __call__(self, text: str) -> int:
        """Return the time since 1970 [ns]."""
        parts = _DAY_CLOCK_RE.fullmatch(text)
        if not parts:
            raise ValueError("no date and time")
        time_ns, zoned = _clock_and_zone(parts[2])
        if self.zoned is None:
            self.zoned = zoned
        if self.zoned != zoned:
            raise ValueError("a time with a zone among times without, or the other way round")
        return _day_ns(parts[1], bool(self.dayfirst)) + time_ns

    def times(self, ns: np.ndarray) -> Times:
        """Return them all: in UTC where they have a zone, or the column's name says so."""
        order = {None: "", True: ", day first", False: ", month first"}[self.dayfirst]
        utc = self.zoned or re.search(r"(?<![a-z])(utc|gmt)(?![a-z]|\s*[+-]\s*[0-9])", self.name.lower())
        return Times(ns, "utc" if utc else "local", (f"dates{order}", self.told))


def _clock_ns(match: re.Match[str]) -> int:
    seconds = int(match["h"]) * 3600 + int(match["mi"]) * 60 + int(match["s"] or 0)
    return seconds * NS + int((match["f"] or "").ljust(9, "0"))


@lru_cache(maxsize=100_000)
def _clock_and_zone(text: str) -> tuple[int, bool]:
    """Return the time of day less its zone's offset [ns], and whether a zone is stated; midnight where empty."""
    match = _CLOCK_ZONE_RE.fullmatch(text or "0:00")
    if not match:
        raise ValueError("no date and time")
    hour, half = int(match["h"]), (match["half"] or "").lower()
    if hour > (12 if half else 24) or (half and not hour) or (hour == 24 and _clock_ns(match) > 86_400 * NS):
        raise ValueError("a time that is on no clock")
    shift_h = (12 if half == "p" else 0) - (12 if half and hour == 12 else 0)
    offset_s = int(match["zh"] or 0) * 3600 + int(match["zm"] or 0) * 60
    ahead_s = -offset_s if match["sign"] == "-" else offset_s
    return _clock_ns(match) + (shift_h * 3600 - ahead_s) * NS, bool(match["zone"])


@lru_cache(maxsize=10_000)
def _day_ns(text: str, dayfirst: bool) -> int:
    """Return the time from 1970 to the midnight on which a day begins [ns]."""
    match = _DATE_RE.fullmatch(text)
    if not match:
        raise ValueError("no date and time")
    day, month = (match["a"], match["b"]) if dayfirst else (match["b"], match["a"])
    parts = (match["y"] or match["year"], match["mo"] or month, match["d"] or day)
    try:
        return (date(*map(int, parts)).toordinal() - date(1970, 1, 1).toordinal()) * 86_400 * NS
    except ValueError:
        raise ValueError("a day that is in no calendar") from None


def day_first(dates: Iterable[tuple[int, str]], place: Place) -> bool | None:
    """Return whether dates stand day first, None where all begin with the year; refuse where it can't be told.

    A number above twelve settles it.
    """
    first = None
    for row, text in dates:
        match = _DATE_RE.match(text)
        if match and match["a"]:
            if max(int(match["a"]), int(match["b"])) > 12:
                return int(match["a"]) > 12
            first = first or (row, match)
    if first is None:
        return None
    row, match = first
    a, b, year = int(match["a"]), int(match["b"]), match["year"]
    raise LogRefusal(place.name, f"dates that can be read two ways, {a} {month_name[b]} {year} (day first) or "
                     f"{b} {month_name[a]} {year} (month first):", "which of the two",
                     "Write dayfirst=True or dayfirst=False.", row=row, value=match[0])  # fmt: skip
