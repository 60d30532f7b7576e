"""Every reading of a log and its time, or a refusal that names the row. Nothing here judges the readings.

Each column shows, by all of its fields, how it writes numbers or times, and is converted as a whole; fields that don't
fit are found by the same operations, so that each is named with its row.
"""

from __future__ import annotations

import re
from calendar import month_name
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ..units import Q_
from .columns import Column, Columns, columns_of, decimal_mark, decimals, numbers_of, reading_of
from .layout import BASE, DATE, ELAPSED, STAMP, WORDS, Layout, LogRefusal, Note, Place, in_base, unit_of, words_of
from .meterlog import taken

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
    role : str
        What they are: "power", "energy" or "apparent power".
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
    role: str
    value: np.ndarray
    step: float
    place: Place
    notes: dict[str, Note]
    apparent_va: np.ndarray | None = None
    volts: np.ndarray | None = None

    def take(self, chosen: np.ndarray) -> Readings:
        """Return the readings whose indices are ``chosen``."""
        return replace(self, place=self.place.take(chosen), **taken(self, ("ns", "value", *BESIDE), chosen))


def read_readings(layout: Layout, columns: Columns, notes: dict[str, Note], choices: Mapping[str, Any]) -> Readings:
    """Return every reading of the log, or refuse it with the row of the first field that is none.

    ``columns`` and ``notes`` are what `assign` found.
    """
    time, *texts = columns_of(layout, columns)
    kind, decimal, place = layout.kinds[next(iter(columns.values()))[0]], choices.get("decimal"), time.place
    ns, clock, how = _times(kind, time, choices.get("dayfirst"))
    del time  # its text takes more room than the times
    pa.default_memory_pool().release_unused()
    parts = reading_of(columns)
    mark = decimal or decimal_mark(texts[: len(parts)], layout.delimiter)
    notes, values, step = notes | {"times": how}, dict[str, np.ndarray](), 0.0
    if mark == ",":
        notes["decimal mark"] = (mark, "given" if decimal else "guessed")
    for role in filter(BASE.get, columns):
        (_, factor), column = columns[role], texts.pop(0)
        try:
            numbers = numbers_of(column, mark or ("" if role in parts else decimal_mark([column], layout.delimiter)))
        except LogRefusal as refusal:
            if role in parts:
                raise
            notes[role] = (column.name, f"not used, {refusal.given}")
            continue
        if role in parts:
            step = factor * 10.0 ** -decimals(column, mark)
        values[role] = numbers if factor == 1 else numbers * factor
        del column  # its text takes room as well
    pa.default_memory_pool().release_unused()
    _add_apparent(values)
    role, most, apparent = parts[0], np.fmax.reduce, values.get("apparent power")
    if len(parts) == 2:  # its last digit is the current's, at the largest voltage
        role, step = "apparent power", step * float(most(values["voltage"], initial=0))
    if role == "power" and apparent is not None and not most(apparent) >= LEAST * most(values[role]):
        notes["volt-amperes"], apparent = ("not used", "less than the watts: look at their units"), None
    return Readings(ns, clock, role, values[role], step, place, notes, apparent, values.get("voltage"))


def _add_apparent(values: dict[str, np.ndarray]) -> None:
    """Add the apparent power where it was not logged but can be told: S = U I, or S = sqrt(P^2 + Q^2) [VA]."""
    if values.keys() >= {"voltage", "current"}:
        values["apparent power"] = values["voltage"] * values["current"]
    if "reactive power" in values:
        values["apparent power"] = np.hypot(values["power"], values["reactive power"])


# -- times ---------------------------------------------------------------------------------------

NS = 1_000_000_000
EPOCH_FROM_S = 900_000_000  # larger numbers count seconds since 1970: this is July 1998
LATEST_S = 4_102_444_800  # 2100-01-01


def _times(kind: str, column: Column, dayfirst: bool | None) -> tuple[np.ndarray, str, Note]:
    """Return the times in a column [ns], their clock, and how they were read: in words, and by whose word."""
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
    numbers = numbers_of(column, "")
    column.refuse_where(pc.equal(column.texts, ""), "no time")
    largest = float(np.max(np.abs(numbers)))
    scale, told = next((part for part in (1e-9, 1e-6, 1e-3) if largest * part >= EPOCH_FROM_S), 1.0), "guessed"
    unit = "millisecond" if words_of(column.name) & WORDS["milliseconds"] else unit_of(column.name)
    if unit and Q_(1, "s").is_compatible_with(unit):
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


def _forms(column: Column, pattern: re.Pattern[str]) -> Iterator[_Form]:
    """Yield the fields of a column by their shapes, stretch by stretch."""
    start = 0
    for texts in column.texts.chunks:
        _, ends, data = texts.buffers()
        letters = np.frombuffer(data or b"", np.uint8)
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
        start += len(texts)


def _written(column: Column, pattern: re.Pattern[str], dayfirst: bool | None) -> tuple[np.ndarray, bool, bool | None]:
    """Return times written with colons [ns], whether they state a zone, and whether their dates stand day first."""
    for zone in (None, "UTC") if pattern is STAMP else ():  # ISO 8601, which arrow reads by itself
        with suppress(pa.ArrowInvalid):
            column.texts[:1].cast(pa.timestamp("ns", zone))  # a quick no, where it is none
            return column.texts.cast(pa.timestamp("ns", zone)).cast(pa.int64()).to_numpy(), bool(zone), dayfirst
    times, zones = np.empty(len(column.texts), np.int64), dict[bool, int]()
    for form in _forms(column, pattern):
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


def _day_first(column: Column) -> bool:
    """Return whether dates stand day first; refuse where it can't be told and matters.

    A number above twelve is a day.
    """
    unsure = list[re.Match[str]]()
    for texts in column.texts.chunks:
        heads = pc.unique(pc.utf8_slice_codeunits(texts, 0, 10)).to_pylist()  # a date, and an hour's beginning
        for match in filter(None, (re.match(DATE, head) for head in heads)):
            a, b = int(match["a"] or 0), int(match["b"] or 0)
            if max(a, b) > 12:
                return a > 12
            unsure += [match] if a != b and min(a, b) > 0 else []
    if not unsure:
        return True  # 3.3. is 3 March either way
    text, (a, b, year) = unsure[0][0], map(int, unsure[0].group("a", "b", "year"))
    at = pc.index(pc.starts_with(column.texts, text), True).as_py()
    raise column.place.refuse("day or month", at=at, value=text, day_first=f"{a} {month_name[b]} {year}",
                              month_first=f"{b} {month_name[a]} {year}")  # fmt: skip
