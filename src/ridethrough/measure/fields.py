"""A log file's fields: its layout found from its head, then the columns that are wanted as text, and nothing judged.

The head tells encoding, delimiter and header.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import reduce
from itertools import accumulate, chain
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from ..units import Refusal
from .columns import Layout, LogRefusal, Place, Roles, kind_of, unit_of, usual_kind

# -- the head ------------------------------------------------------------------------------------

HEAD_BYTES = 65_536
LARGEST_BYTES = 1_000_000_000
MOST_COLUMNS = 1_000
MOST_ABOVE = 200  # lines before the readings
BLOCK_BYTES = 1 << 21


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
    tried = [_layout(path, text, encoding, delimiter, whole) for delimiter in "\t;,"]
    found = [layout for layout in tried if isinstance(layout, Layout)]
    if not found:
        wrong = LogRefusal(path.name, f"a file that is no log; it begins {text.strip()[:40]!r}",
                           "a line of column names, then times and readings, split by comma, semicolon or tab",
                           "Export the readings as CSV.")  # fmt: skip
        raise next((refusal for refusal in tried if isinstance(refusal, LogRefusal)), wrong)
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


def _layout(path: Path, text: str, encoding: str, delimiter: str, whole: bool) -> Layout | LogRefusal | None:
    """Return the table that splitting by ``delimiter`` shows, what is wrong with it, or None where it shows none."""
    rows = list(_split(io.StringIO(text, newline=""), delimiter, path.name))
    rows = rows if whole else rows[:-1]  # the head may end within a line
    widths = Counter(len(row) for _, row in rows if len(row) > 1)
    if not widths:
        return None
    width = widths.most_common(1)[0][0]
    if width > MOST_COLUMNS:
        return LogRefusal(path.name, f"{width} columns", f"at most {MOST_COLUMNS}", "Export the times and the power.")
    rows = [(line, row) for line, row in rows if width - 1 <= len(row) <= width + 1]
    late = [row for _, row in rows[len(rows) // 2 :: max(1, len(rows) // 400)]]
    kinds = tuple(usual_kind(row[at] for row in late if at < len(row)) for at in range(width))
    at = _header(rows, kinds)
    if at is None:
        if not {"stamp", "date", "clock"} & set(kinds):
            return None
        return LogRefusal(path.name, "no line of column names above the readings", "one",
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


# -- text ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Column:
    """The fields of one column as text, and where they stand."""

    name: str
    texts: pa.ChunkedArray
    place: Place

    def stretches(self) -> Iterator[tuple[int, pa.Array]]:
        """Yield the parts in which it was parsed, each with where it begins."""
        chunks = self.texts.chunks
        yield from zip(accumulate(map(len, chunks), initial=0), chunks, strict=False)

    def refuse_where(self, bad: pa.ChunkedArray, given: str) -> None:
        """Refuse the first field that is ``bad``, if one is."""
        if (at := pc.index(bad, True).as_py()) >= 0:
            raise self.refuse(at, given)

    def refuse(self, at: int, given: str) -> LogRefusal:
        """Return a refusal of one field."""
        return self.place.refuse(f"{given}:", "a field like those of the other rows", "Correct or delete it.",
                                 at=at, column=self.name, value=self.texts[at].as_py())  # fmt: skip


def columns_of(layout: Layout, roles: Roles) -> list[Column]:
    """Return the column of time and those of readings as text; rows in which all of them are empty hold nothing."""
    wanted = (*roles.time, *roles.reading)
    chunks = [column.chunks for column in _table(layout, [str(at) for at in wanted]).columns]
    texts = [_trimmed(each) for each in chunks]
    filled, place = reduce(pc.or_, (pc.not_equal(column, "") for column in texts)), layout.place
    if not pc.all(filled).as_py():
        place = place.take(np.flatnonzero(filled))
        texts = [column.filter(filled) for column in texts]
    if len(texts[0]) < 2:
        raise layout.place.refuse("one reading or none", "two or more", "Let the meter log longer.")
    if len(roles.time) == 2:
        texts[:2] = [pc.binary_join_element_wise(*texts[:2], " ")]
    names = [layout.names[at] for at in wanted[len(roles.time) - 1 :]]
    return [Column(name, column, place) for name, column in zip(names, texts, strict=True)]


def _trimmed(chunks: list[pa.Array]) -> pa.ChunkedArray:
    """Return text without blanks around it, letting go of each of its ``chunks`` at once: a log is large."""
    trimmed = []
    while chunks:
        chunk = chunks.pop(0)
        data = chunk.buffers()[2]
        letters = data.to_pybytes() if data else b""
        if not letters.isascii() or any(blank in letters for blank in b' \t\n\r\v\f"'):
            chunk = pc.utf8_trim_whitespace(chunk)
            chunk = pc.replace_substring_regex(chunk, '^"([^"]+)"$', r"\1") if b'"' in letters else chunk
        trimmed.append(chunk)
    return pa.chunked_array(trimmed, pa.string())


def _table(layout: Layout, kept: list[str]) -> pa.Table:
    """Return the columns ``kept``, named by their numbers, as text: each line below the header is one row."""
    if layout.path is None:
        return pa.table({name: [row[int(name)] for row in layout.sample] for name in kept})
    odd: list[Any] = []

    def leave(row: Any) -> str:
        odd.append(row)
        return "skip"

    with suppress(pa.ArrowInvalid, UnicodeError):
        return _parsed(layout, layout.path, kept, None)
    with layout.path.open("rb") as file:  # once more, in order, so that odd rows have numbers
        try:
            table = _parsed(layout, codecs.EncodedFile(file, "utf-8", layout.encoding, "replace"), kept, leave)
        except pa.ArrowInvalid as error:
            raise layout.place.refuse(f"lines that can't be split into columns ({error})", "a table of readings",
                                      "Look at them in a text editor.") from None  # fmt: skip
    fields, at = [_mended(layout, row) for row in odd], [row.number - layout.header_row - 1 for row in odd]
    mended = pa.table({name: [row[int(name)] for row in fields] for name in kept})
    even = np.delete(np.arange(len(table) + len(odd)), at)
    return pa.concat_tables([table, mended]).take(np.argsort(np.r_[even, at]))


def _parsed(layout: Layout, file: Any, kept: list[str], odd: Callable[[Any], str] | None) -> pa.Table:
    """Return what pyarrow makes of a file; ``odd`` takes the rows that have more or fewer fields."""
    encoding = "utf-8" if odd else layout.encoding.removesuffix("-sig")
    names = [str(at) for at in range(len(layout.names))]
    return pacsv.read_csv(
        file,
        pacsv.ReadOptions(use_threads=not odd, block_size=BLOCK_BYTES, skip_rows=layout.header_row,
                          column_names=names, encoding=encoding),
        pacsv.ParseOptions(delimiter=layout.delimiter, newlines_in_values=True, ignore_empty_lines=False,
                           invalid_row_handler=odd),
        pacsv.ConvertOptions(include_columns=kept, column_types=dict.fromkeys(kept, pa.string())),
    )  # fmt: skip


def _mended(layout: Layout, row: Any) -> list[str]:
    """Return the fields of a row that is blank, lacks an empty one at its end, or has one more, or blanks before
    quotes; refuse any other."""
    wide = len(layout.names)
    fields = [""] * wide
    if row.text.strip():
        fields = [row.text]
        with suppress(csv.Error):  # a field beyond all bounds
            fields = next(csv.reader([row.text], delimiter=layout.delimiter, skipinitialspace=True))
    if len(fields) == wide - 1 and not layout.names[-1]:
        fields.append("")
    if len(fields) - (not fields[-1].strip()) <= wide <= len(fields):
        return fields
    raise layout.place.refuse(f"{len(fields)} fields:", f"{wide}, one for each column", "Correct or delete this line.",
                              row=row.number, value=row.text)  # fmt: skip
