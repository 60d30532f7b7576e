"""Every reading of a log and its time, or a refusal that names the row. Nothing here judges the readings.

The columns that are wanted are read as text. Each then shows, by all of its fields, how it writes numbers or times,
and is converted as a whole; fields that don't fit are found by the same operations, so that each is named with its row.
"""

from __future__ import annotations

import re
from calendar import month_name
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import reduce
from itertools import accumulate
from operator import itemgetter
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from ..units import Q_
from .layout import ELAPSED, STAMP, WORDS, Layout, LogRefusal, Note, Place, Roles, in_base, unit_of, words_of

BLOCK_BYTES = 1 << 21
NS = 1_000_000_000
LEAST = 0.95  # volt-amperes over watts: less is no meter's error
BESIDE = ("apparent_va", "volts")  # what is logged beside the power


@dataclass(frozen=True)
class Readings:
    """Every reading of a log in the order of the file, before any judgement.

    Parameters
    ----------
    ns : array of int64
        When they were taken: since 1970 on a "local" or "utc" clock, since the log's own zero on an "elapsed" one [ns].
    clock : str
        "local" (no zone stated), "utc" or "elapsed".
    value : array of float
        In W, Wh or VA; nan where the field was empty.
    step : float
        The readings' last digit, in W, Wh or VA.
    place : Place
        Where they came from, for messages.
    notes : dict
        Choices made while reading, and whether given or guessed.
    apparent_va, volts : array of float, optional
        What was logged beside the power [VA, V].
    """

    ns: np.ndarray
    clock: str
    value: np.ndarray
    step: float
    place: Place
    notes: dict[str, Note]
    apparent_va: np.ndarray | None = None
    volts: np.ndarray | None = None

    def take(self, chosen: np.ndarray) -> Readings:
        """Return the readings whose indices are ``chosen``."""
        return replace(self, place=self.place.take(chosen), **taken(self, ("ns", "value", *BESIDE), chosen))


def taken(held: Any, names: Iterable[str], chosen: Any) -> dict[str, Any]:
    """Return what ``held`` has under each of the names for the readings or steps ``chosen``; None stays None."""
    return {name: None if (values := getattr(held, name)) is None else values[chosen] for name in names}


def read_readings(layout: Layout, roles: Roles, dayfirst: bool | None, decimal: str | None) -> Readings:
    """Return every reading of the log, or refuse it with the row of the first field that is none."""
    time, *columns = columns_of(layout, roles)
    (ns, clock, how), place = _times(layout, time, roles, dayfirst), time.place
    del time  # its text takes more room than the times
    pa.default_memory_pool().release_unused()
    parts = list(roles.columns)[: 1 if roles.role in roles.columns else 2]  # volts and amperes are one reading
    mark = decimal or _decimal_mark(columns[: len(parts)], layout.delimiter)
    notes, values, step = roles.origin | {"times": how}, {}, 0.0
    if mark == ",":
        notes["decimal mark"] = (mark, "given" if decimal else "guessed")
    for role, (at, factor) in roles.columns.items():
        column = columns.pop(0)
        try:
            numbers = _numbers(column, mark if role in parts else mark or _decimal_mark([column], layout.delimiter))
        except LogRefusal as refusal:
            if role in parts:
                raise
            notes[role] = (column.name, f"not used, {refusal.given}")
            continue
        if role in parts:
            step = factor * 10.0 ** -_decimals([row[at] for row in layout.sample if at < len(row)], numbers)
        values[role] = numbers if factor == 1 else numbers * factor
        del column  # its text takes room as well
    pa.default_memory_pool().release_unused()
    apparent, most = _volt_amperes(values), np.fmax.reduce
    if roles.role == "power" and apparent is not None and not most(apparent) >= LEAST * most(values["power"]):
        notes["volt-amperes"], apparent = ("not used", "less than the watts: look at their units"), None
    value = values[roles.role] if roles.role in values or apparent is None else apparent
    if parts[-1] == "current":  # its last digit, at the largest voltage
        step *= float(most(values["voltage"], initial=0))
    return Readings(ns, clock, value, step, place, notes, apparent, values.get("voltage"))


def _volt_amperes(values: dict[str, np.ndarray]) -> np.ndarray | None:
    """Return the apparent power as logged, or from what was, S = U I or S = sqrt(P^2 + Q^2) [VA]; None where nothing
    tells it."""
    if "apparent power" in values:
        return values["apparent power"]
    if values.keys() >= {"voltage", "current"}:
        return values["voltage"] * values["current"]
    return np.hypot(values["power"], values["reactive power"]) if "reactive power" in values else None


# -- text ----------------------------------------------------------------------------------------


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


def columns_of(layout: Layout, roles: Roles) -> list[Column]:
    """Return the column of time and the others as text; rows without time and reading hold nothing."""
    wanted = (*roles.time, *(at for at, _ in roles.columns.values()))
    texts, place = _texts(layout, wanted), layout.place
    filled = reduce(pc.or_, (pc.not_equal(column, "") for column in texts))
    if not pc.all(filled).as_py():
        place = place.take(np.flatnonzero(filled))
        texts = [column.filter(filled) for column in texts]
    if len(texts[0]) < 2:
        raise layout.place.refuse("one row")
    if len(roles.time) == 2:
        texts[:2] = [pc.binary_join_element_wise(*texts[:2], " ")]
    names = [layout.names[at] for at in wanted[len(roles.time) - 1 :]]
    return [Column(name, column, place) for name, column in zip(names, texts, strict=True)]


def _texts(layout: Layout, wanted: Sequence[int]) -> list[pa.ChunkedArray]:
    """Return the columns ``wanted`` without blanks around their fields: as pyarrow splits them, which is fast, or where
    it finds a row odd, as Python does."""
    if layout.path:
        with suppress(pa.ArrowInvalid, UnicodeError):
            chunks = [column.chunks for column in _parsed(layout, layout.path, wanted).columns]
            return [_trimmed(each) for each in chunks]
    pick, wide = itemgetter(*wanted), len(layout.names)
    rows = [pick(row if len(row) == wide else _mended(layout, line, row)) for line, row in layout.rows()]
    return [pa.chunked_array([[row[at] for row in rows]], pa.string()) for at in range(len(wanted))]


def _parsed(layout: Layout, path: Path, wanted: Sequence[int]) -> pa.Table:
    """Return the columns ``wanted``, as text, of a file whose rows are all even."""
    names = [str(at) for at in range(len(layout.names))]
    read = pacsv.ReadOptions(block_size=BLOCK_BYTES, skip_rows=layout.header_row, column_names=names,
                             encoding=layout.encoding.removesuffix("-sig"))  # fmt: skip
    parse = pacsv.ParseOptions(delimiter=layout.delimiter, newlines_in_values=True)
    kept = [names[at] for at in wanted]
    convert = pacsv.ConvertOptions(include_columns=kept, column_types=dict.fromkeys(kept, pa.string()))
    return pacsv.read_csv(path, read, parse, convert)


def _trimmed(chunks: list[pa.Array]) -> pa.ChunkedArray:
    """Return text without blanks around it, letting go of each of its ``chunks`` at once: a log is large."""
    trimmed = []
    while chunks:
        chunk = chunks.pop(0)
        letters = bytes(chunk.buffers()[2] or b"")
        if b'"' in letters:
            raise pa.ArrowInvalid("a quote that does not begin its field")
        if not letters.isascii() or any(blank in letters for blank in b" \t\n\r\v\f"):
            chunk = pc.utf8_trim_whitespace(chunk)
        trimmed.append(chunk)
    return pa.chunked_array(trimmed, pa.string())


def _mended(layout: Layout, line: int, row: Sequence[str]) -> Sequence[str]:
    """Return the fields of a row that lacks an empty one at its end or has one more; refuse any other."""
    wide = len(layout.names)
    if len(row) == wide + 1 and not row[-1]:
        return row
    if len(row) == wide - 1 and not layout.names[-1]:
        return (*row, "")
    shown = layout.delimiter.join(row)
    raise layout.place.refuse("odd row", count=len(row), width=wide, row=line, value=shown)


# -- numbers -------------------------------------------------------------------------------------

LARGEST = 1e19  # what no meter shows, in any unit
_NUMBER = r"^[-+−]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)?$"
_GROUPED = r"^[-+]?[1-9][0-9]{0,2}([,.][0-9]{3})+$"


def _numbers(column: Column, mark: str) -> np.ndarray:
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


def _decimal_mark(columns: list[Column], delimiter: str) -> str:
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


def _decimals(texts: list[str], values: np.ndarray) -> int:
    """Return how many digits stand after the decimal mark: those written, or those some of the values need."""
    written = (re.fullmatch(r"[-+−]?[0-9]*[,.]([0-9]+)", text) for text in texts)
    digits, some = max((len(match[1]) for match in written if match), default=0), values[:: max(1, values.size // 5000)]
    some = some[np.isfinite(some)]
    while digits < 6 and np.any(np.abs(some - np.round(some, digits)) > 1e-6 * 10.0**-digits + 1e-12 * np.abs(some)):
        digits += 1
    return digits


# -- times ---------------------------------------------------------------------------------------

EPOCH_FROM_S = 900_000_000  # larger numbers count seconds since 1970: this is July 1998
LATEST_S = 4_102_444_800  # 2100-01-01


def _times(layout: Layout, column: Column, roles: Roles, dayfirst: bool | None) -> tuple[np.ndarray, str, Note]:
    """Return the times in a column [ns], their clock, and how they were read: in words, and by whose word."""
    kind = layout.kinds[roles.time[0]]
    if kind == "number":
        return _counts(column)
    if kind == "clock":
        return (_written(column, ELAPSED, None)[0], "elapsed", ("elapsed, h:mm:ss", "guessed"))
    ns, zoned, first = _written(column, STAMP, dayfirst)
    order = {None: "", True: ", day first", False: ", month first"}[first]
    utc = zoned or re.search(r"(?<![a-z])(utc|gmt)(?![a-z]|\s*[+-]\s*[0-9])", column.name.lower())
    return (ns, "utc" if utc else "local", (f"dates{order}", "guessed" if dayfirst is None else "given"))


def _counts(column: Column) -> tuple[np.ndarray, str, Note]:
    """Return times written as numbers: since 1970 where they are that large, else elapsed."""
    numbers, unit = _numbers(column, ""), unit_of(column.name)
    column.refuse_where(pc.equal(column.texts, ""), "no time")
    largest = float(np.max(np.abs(numbers)))
    scale, told = next((part for part in (1e-9, 1e-6, 1e-3) if largest * part >= EPOCH_FROM_S), 1.0), "guessed"
    if words_of(column.name) & WORDS["milliseconds"]:
        scale, told = 1e-3, "from the header"
    elif unit and Q_(1, "s").is_compatible_with(unit):
        scale, told = in_base(unit, "s"), "from the header"
    if not largest * scale < LATEST_S:
        raise column.refuse(int(np.abs(numbers).argmax()), "a time after the year 2100")
    since = "since 1970" if largest * scale >= EPOCH_FROM_S else "elapsed"
    ns = np.round(numbers * (scale * NS)).astype(np.int64)
    return (ns, "utc" if since == "since 1970" else "elapsed", (f"counted in {scale:g} s, {since}", told))


@dataclass(frozen=True)
class _Form:
    """The fields of a column that have one shape, which is what stays of them when each digit reads 0: where they
    stand, their letters (a row of bytes for each place), and what is where in the shape."""

    rows: np.ndarray
    letters: np.ndarray
    shape: re.Match[str]

    def text(self, part: str) -> str:
        """Return one part of the shape, empty where it has none."""
        return self.shape.groupdict().get(part) or ""

    def number(self, part: str) -> np.ndarray:
        """Return the numbers in one part of each field, zeros where the shape has none."""
        numbers = np.zeros(self.rows.size, np.int32)
        if self.text(part):
            begin, end = (len(self.shape.string[:at].encode()) for at in self.shape.span(part))
            for digits in self.letters[begin:end]:
                numbers = numbers * 10 + (digits - ord("0"))
        return numbers


def _forms(column: Column, start: int, texts: pa.Array, pattern: re.Pattern[str]) -> Iterator[_Form]:
    """Yield the fields in one stretch of a column, which begins at ``start``, by their shapes."""
    _, ends, data = texts.buffers()
    letters = np.frombuffer(data, np.uint8)
    above = letters - np.uint8(ord("0"))
    shapes = pa.py_buffer(letters - above * (above < 10))
    runs = pc.run_end_encode(pa.StringArray.from_buffers(len(texts), ends, shapes))
    shapes = runs.values.dictionary_encode()
    codes = np.repeat(shapes.indices.to_numpy(), np.diff(runs.run_ends.to_numpy(), prepend=0))
    for code, shape in enumerate(shapes.dictionary.to_pylist()):
        rows, match = np.flatnonzero(codes == code), pattern.fullmatch(shape)
        if not match:
            form = "date and time" if pattern is STAMP else "time of the form h:mm:ss"
            raise column.refuse(start + int(rows[0]), f"no {form}")
        alike = texts if rows.size == codes.size else texts.take(rows)
        letters = np.frombuffer(alike.buffers()[2], np.uint8, count=rows.size * len(shape.encode()))
        yield _Form(start + rows, np.ascontiguousarray(letters.reshape(rows.size, -1).T), match)


def _written(column: Column, pattern: re.Pattern[str], dayfirst: bool | None) -> tuple[np.ndarray, bool, bool | None]:
    """Return times written with colons [ns], whether they state a zone, and whether their dates stand day first."""
    for zone in (None, "UTC") if pattern is STAMP else ():  # ISO 8601, which arrow reads by itself
        with suppress(pa.ArrowInvalid):
            column.texts[:1].cast(pa.timestamp("ns", zone))  # a quick no, where it is none
            return column.texts.cast(pa.timestamp("ns", zone)).cast(pa.int64()).to_numpy(), bool(zone), dayfirst
    times, chunks = np.empty(len(column.texts), np.int64), column.texts.chunks
    zones: dict[bool, int] = {}
    for start, texts in zip(accumulate(map(len, chunks), initial=0), chunks, strict=False):
        for form in _forms(column, start, texts, pattern):
            if form.text("a") and dayfirst is None:
                dayfirst = _day_first(column)
            day, no_day = _day(form, bool(dayfirst))
            clock, no_clock = _clock(form, pattern is STAMP)
            for wrong, given in ((no_day, "a day that is in no calendar"), (no_clock, "a time that is on no clock")):
                if wrong.any():
                    raise column.refuse(int(form.rows[wrong.argmax()]), given)
            times[form.rows] = day * (86_400 * NS) + clock
            zones.setdefault(bool(form.text("zone")), int(form.rows[0]))
    if len(zones) == 2:
        raise column.refuse(max(zones.values()), "a time with a zone among times without, or the other way round")
    return times, True in zones, dayfirst


def _day(form: _Form, dayfirst: bool) -> tuple[np.ndarray, np.ndarray]:
    """Return the days since 1970, and where one is in no calendar; zeros where the shape has no date."""
    if not (form.text("y") or form.text("a")):
        return np.zeros(form.rows.size, np.int64), np.zeros(form.rows.size, bool)
    parts = ("y", "mo", "d") if form.text("y") else ("year", "b", "a") if dayfirst else ("year", "a", "b")
    dates = np.array([form.number(part) for part in parts])
    ends = np.flatnonzero(np.append(np.any(dates[:, 1:] != dates[:, :-1], axis=0), True))  # of runs of one day
    year, month, day = dates[:, ends].astype(np.int64)
    months = (np.clip(year, 1700, 2200) - 1970) * 12 + month - 1  # further off, 64 bits can't count ns
    first, after = ((months + more).astype("M8[M]").astype("M8[D]").astype(np.int64) for more in (0, 1))
    wrong = (month < 1) | (month > 12) | (day < 1) | (first + day > after)
    lengths = np.diff(ends, prepend=-1)
    return np.repeat(first + day - 1, lengths), np.repeat(wrong, lengths)


def _clock(form: _Form, of_day: bool) -> tuple[np.ndarray, np.ndarray]:
    """Return the times on a clock less their zone's offset [ns], and where one is on no clock."""
    hour, minute, second = (form.number(part) for part in ("h", "mi", "s"))
    fraction = form.number("f") * 10 ** (9 - len(form.text("f")))
    ns = (hour * 3600 + minute * 60 + second).astype(np.int64) * NS + fraction
    wrong = (minute > 59) | (second > 59) | (of_day & (ns > 86_400 * NS))
    if form.text("half"):
        wrong |= (hour < 1) | (hour > 12)
        ns += (12 * (form.text("half") in "Pp") - 12 * (hour == 12)) * (3600 * NS)
    offset_s = form.number("zh") * 3600 + form.number("zm") * 60
    return ns - (-NS if form.text("sign") == "-" else NS) * offset_s.astype(np.int64), wrong


# A number above twelve is a day; where both are, the day stands first as far as can be told.
_SHOWN_BY = {r"^[0-9]{1,2}[-/.](1[3-9]|[2-9][0-9])[-/.]": False, r"^(1[3-9]|[2-9][0-9])[-/.]": True}


def _day_first(column: Column) -> bool:
    """Return whether dates stand day first; refuse where it can't be told."""
    for texts in column.texts.chunks:
        first = {_first(texts, form): shown for form, shown in _SHOWN_BY.items()}
        if sure := [at for at in first if at >= 0]:
            return first[min(sure)]
    at = _first(column.texts, "^[0-9]{1,2}[-/.]")
    text = column.texts[at].as_py()
    a, b, year = map(int, re.findall("[0-9]+", text)[:3])
    raise column.place.refuse("day or month", at=at, value=text.split()[0], day_first=f"{a} {month_name[b]} {year}",
                              month_first=f"{b} {month_name[a]} {year}")  # fmt: skip


def _first(texts: pa.Array, form: str) -> int:
    """Return the index of the first field that looks like ``form``, -1 where none does."""
    return int(pc.index(pc.match_substring_regex(texts, form), True).as_py())
