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
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cache
from itertools import chain, islice
from pathlib import Path
from statistics import mode
from typing import Any

import numpy as np

from ..units import Q_, Refusal, rows_beside, unit_name

REFUSALS = {row.pop("name"): row for row in rows_beside(__file__, "refusals.csv")}
WORDS = {row["what"]: set(row["words"].split()) for row in rows_beside(__file__, "words.csv")}

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

    def refuse_if(self, why: str, wrong: Any, **told: Any) -> None:
        """Refuse, as in `refuse`, if anything is ``wrong``: of readings, at the first that is."""
        if np.any(wrong):
            first = {"at": np.argmax(wrong)} if np.ndim(wrong) else {}
            raise self.refuse(why, **first | told)

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
        for line, row in split_by(_decoded(self.path.read_bytes(), self.encoding), self.delimiter, self.name):
            if line > self.header_row:
                yield line, row


# -- what a field looks like ---------------------------------------------------------------------

DATE = (
    r"(?:(?P<y>[0-9]{4})(?P<dash>[-/.])(?P<mo>[0-9]{1,2})(?P=dash)(?P<d>[0-9]{1,2})"
    r"|(?P<a>[0-9]{1,2})(?P<dot>[-/.])(?P<b>[0-9]{1,2})(?P=dot)(?P<year>[0-9]{4}))"
)
_ELAPSED = r"(?P<h>[0-9]{1,4}):(?P<mi>[0-5][0-9])(?::(?P<s>[0-5][0-9])(?:[.,](?P<f>[0-9]{1,9}))?)?"
_CLOCK = _ELAPSED + r"(?:\s?(?P<half>[AaPp])\.?[Mm]\.?)?"
_ZONE = r"(?P<zone>Z|UTC|GMT|(?P<sign>[+-])(?P<zh>[0-9]{2}):?(?P<zm>[0-9]{2})?)"
ELAPSED = re.compile(_ELAPSED)
STAMP = re.compile(rf"{DATE}(?:(?:T|,?\s+){_CLOCK}\s?{_ZONE}?)?")
TIMES = ("stamp", "date", "clock")
_KINDS = {
    "date": re.compile(DATE),
    "stamp": STAMP,
    "clock": re.compile(_CLOCK),
    "number": re.compile(r"[-+−]?([0-9][0-9.,]*|[.,][0-9]+)(e[-+]?[0-9]+)?|[-+]?(nan|inf|infinity)", re.IGNORECASE),
}


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
    text, encoding, whole = _head_of(path)
    tables, wrong = list[Layout](), list[LogRefusal]()
    for delimiter in "\t;,":
        try:
            tables += _tables(path, text, encoding, delimiter, whole)
        except LogRefusal as refusal:
            wrong.append(refusal)
    if not tables:
        raise wrong[0] if wrong else Place(path.name).refuse("no log", begin=text.strip()[:40])
    return max(tables, key=lambda layout: sum(kind not in {"", "text"} for kind in layout.kinds))


def text_of(path: Path) -> str:
    """Return the whole text of a file, or refuse it: it can't be opened, is too large, empty, or no text."""
    text, encoding, whole = _head_of(path)
    return text if whole else _decoded(path.read_bytes(), encoding)


def _head_of(path: Path) -> tuple[str, str, bool]:
    """Return the file's first characters, their encoding, and whether that is all of it."""
    place = Place(path.name)
    place.refuse_if("a folder", os.path.exists(path) and not os.path.isfile(path), path=str(path))
    try:
        with path.open("rb") as file:
            raw, size = file.read(HEAD_BYTES), os.fstat(file.fileno()).st_size
    except (OSError, ValueError) as error:
        raise place.refuse("not opened", error=getattr(error, "strerror", None) or error) from None
    place.refuse_if("too large", size > LARGEST_BYTES, gigabytes=size / 1e9)
    encoding = _encoding(raw)
    text = _decoded(raw, encoding)
    place.refuse_if("empty", not text.strip("\ufeff \t\r\n"))
    place.refuse_if("not text", re.search(r"[\x00-\x08\x0e-\x1f]", text) is not None)
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


def split_by(text: str, delimiter: str, file: str, strict: bool = False) -> Iterator[tuple[int, list[str]]]:
    """Yield each row that holds anything, its fields stripped, with the number of its first line.

    ``file`` is its name, for messages; ``strict`` refuses a quote that nothing closes.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True, strict=strict)
    begin = 1
    try:
        for row in reader:
            if len(row) > 1 or (row and row[0].strip()):
                yield begin, [field.strip() for field in row]
            begin = reader.line_num + 1
    except csv.Error as error:
        raise Place(file).refuse("not split", error=error, row=begin) from None


def _tables(path: Path, text: str, encoding: str, delimiter: str, whole: bool) -> Iterator[Layout]:
    """Yield the table that splitting by ``delimiter`` shows, if it shows one."""
    place = Place(path.name)
    rows = list(split_by(text, delimiter, path.name))
    rows = rows if whole else rows[:-1]  # the head may end within a line
    widths = [len(row) for _, row in rows if len(row) > 1]
    if not widths:
        return
    width = mode(widths)
    place.refuse_if("too wide", width > MOST_COLUMNS, width=width, most=MOST_COLUMNS)
    rows = [(line, row) for line, row in rows if width - 1 <= len(row) <= width + 1]
    late = [row for _, row in rows[len(rows) // 2 :: max(1, len(rows) // 400)]]
    seen = ([kind_of(row[at]) for row in late if at < len(row) and row[at]] for at in range(width))
    kinds = tuple(mode(each or [""]) for each in seen)
    at = _header(rows, kinds)
    if at is None:
        place.refuse_if("no names", bool(set(TIMES) & set(kinds)), row=rows[0][0])
        return
    names = (rows[at][1] + [""] * width)[:width]
    if at and all(unit_of(f"({field})") for field in names if field):  # a line of units below the names
        names = [f"{name} ({unit})" if unit else name for name, unit in zip(rows[at - 1][1], names, strict=False)]
    header_row = rows[at][0] + "".join(rows[at][1]).count("\n")
    sample = tuple(tuple(row) for _, row in rows[at + 1 :])
    yield Layout(path.name, path, encoding, delimiter, header_row, tuple(names), kinds, sample)


def _header(rows: list[tuple[int, list[str]]], kinds: tuple[str, ...]) -> int | None:
    """Return the index of the line of column names: words only, and readings right below it if anywhere."""
    words = [at for at, (_, row) in enumerate(rows[:MOST_ABOVE]) if {"text"} <= {*map(kind_of, row)} <= {"text", ""}]
    above = [at for at in words if at + 1 < len(rows) and _like(rows[at + 1][1], kinds)]
    return next(chain(above, words), None)


def _like(row: Sequence[str], kinds: tuple[str, ...]) -> bool:
    """Return whether each field of ``row`` is what its column usually holds, and one is a time or number."""
    told = [(kind_of(field), kind) for field, kind in zip(row, kinds, strict=False) if field]
    return all(one == kind for one, kind in told) and any(kind != "text" for _, kind in told)


# -- units and words -----------------------------------------------------------------------------

BASE = {"power": "W", "energy": "Wh", "apparent power": "VA", "voltage": "V", "current": "A", "reactive power": "var"}


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
    return next(chain(filter(role_in, found), found), None)


def role_in(unit: str) -> str | None:
    """Return which reading is told in ``unit``."""
    return next((role for role, base in BASE.items() if Q_(1, base).is_compatible_with(unit)), None)


def in_base(unit: str, base: str) -> float:
    """Return how many ``base`` one ``unit`` is; ``unit`` as pint calls it."""
    return 1 / float(Q_(1, base).to(unit).magnitude)
