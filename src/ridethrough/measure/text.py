"""The columns of a log as text, field by field, each with its row, and what numbers they are."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import reduce
from operator import itemgetter
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from .columns import Columns
from .layout import Layout, LogRefusal, Place

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
    if len(texts[0]) < 2:
        raise layout.place.refuse("one row")
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
        chunks.append([pc.utf8_trim_whitespace(column) for column in batch.columns])
        if any(pc.any(pc.match_substring(column, '"')).as_py() for column in chunks[-1]):
            raise pa.ArrowInvalid("a quote that does not begin its field")
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
    if len(seen) == 2 or (seen and (bare or (seen == {","} and delimiter != ";"))):
        raise columns[0].place.refuse("decimal mark", column=columns[0].name)
    return "".join(seen)


def decimals(texts: list[str], values: np.ndarray) -> int:
    """Return how many digits stand after the decimal mark: those written, or those some of the values need."""
    written = (re.fullmatch(r"[-+−]?[0-9]*[,.]([0-9]+)", text) for text in texts)
    digits, some = max((len(match[1]) for match in written if match), default=0), values[:: max(1, values.size // 5000)]
    some = some[np.isfinite(some)]
    while digits < 6 and np.any(np.abs(some - np.round(some, digits)) > 1e-6 * 10.0**-digits + 1e-12 * np.abs(some)):
        digits += 1
    return digits
