"""When readings were taken: dates, clocks, epochs and elapsed times, each form read as a whole."""

from __future__ import annotations

import re
from calendar import month_name
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from itertools import accumulate

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ..units import Q_
from .columns import Roles
from .layout import ELAPSED, STAMP, WORDS, Layout, Note, in_base, unit_of, words_of
from .text import (
    Column,
    numbers_of,
)

NS = 1_000_000_000

EPOCH_FROM_S = 900_000_000  # larger numbers count seconds since 1970: this is July 1998
LATEST_S = 4_102_444_800  # 2100-01-01


def times_of(layout: Layout, column: Column, roles: Roles, dayfirst: bool | None) -> tuple[np.ndarray, str, Note]:
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
    numbers, unit = numbers_of(column, ""), unit_of(column.name)
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
_UNEQUAL = "|".join(f"0?{a}[-/.]0?({'|'.join(str(b) for b in range(1, 13) if b != a)})" for a in range(1, 13))


def _day_first(column: Column) -> bool:
    """Return whether dates stand day first; refuse where it can't be told and matters."""
    for texts in column.texts.chunks:
        first = {_first(texts, form): shown for form, shown in _SHOWN_BY.items()}
        if sure := [at for at in first if at >= 0]:
            return first[min(sure)]
    if (at := _first(column.texts, f"^({_UNEQUAL})[-/.]")) < 0:
        return True  # 3.3. is 3 March either way
    text = column.texts[at].as_py()
    a, b, year = map(int, re.findall("[0-9]+", text)[:3])
    raise column.place.refuse("day or month", at=at, value=text.split()[0], day_first=f"{a} {month_name[b]} {year}",
                              month_first=f"{b} {month_name[a]} {year}")  # fmt: skip


def _first(texts: pa.Array, form: str) -> int:
    """Return the index of the first field that looks like ``form``, -1 where none does."""
    return int(pc.index(pc.match_substring_regex(texts, form), True).as_py())
