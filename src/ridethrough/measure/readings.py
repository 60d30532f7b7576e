"""Every reading of a log and its time, or a refusal that names the row. Nothing here judges the readings.

A plain file is parsed by pyarrow with the types fixed that its head tells; whatever pyarrow will not take is
read again row by row, which is slower, takes more forms, and knows the line of the first field that can't be
a reading.
"""

from __future__ import annotations

import re
from array import array
from calendar import month_name
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..units import Q_
from .columns import Layout, Roles, in_base, unit_of, usual_kind, words_of
from .fields import (
    CLOCK_RE,
    DATE_RE,
    LARGEST,
    NS,
    NUMBER_RE,
    LogRefusal,
    Place,
    clock_and_zone,
    clock_ns,
    day_ns,
    decimal_mark,
    decimals,
    number_in,
)

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


_ISO_RE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,9})?)?"
                     r"(?P<zone>Z|[+-][0-9]{2}(:?[0-9]{2})?)?")  # fmt: skip


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
    numeric = all(NUMBER_RE.fullmatch(text) for text in head)
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


# -- times ---------------------------------------------------------------------------------------

# Each way to write time reads one field when called, names the array type that holds the result, and makes
# `Times` of all of them.

EPOCH_FROM_S = 900_000_000  # larger numbers count seconds since 1970: this is July 1998
LATEST_S = 4_102_444_800  # 2100-01-01
_MILLISECONDS = {"ms", "msec", "millis", "milliseconds"}
_DAY_CLOCK_RE = re.compile(r"([-/.0-9]+)(?:T|,?\s+|$)(.*)")


def _time_taker(layout: Layout, roles: Roles, dayfirst: bool | None) -> Counts | Elapsed | Stamps:
    """Return the reader for times as the log writes them."""
    name, kind = layout.names[roles.time[-1]], usual_kind(layout.column(roles.time[-1]))
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
        match = CLOCK_RE.fullmatch(text)
        if not match or match["half"]:
            raise ValueError("no time of the form h:mm:ss")
        return clock_ns(match)

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
        time_ns, zoned = clock_and_zone(parts[2])
        if self.zoned is None:
            self.zoned = zoned
        if self.zoned != zoned:
            raise ValueError("a time with a zone among times without, or the other way round")
        return day_ns(parts[1], bool(self.dayfirst)) + time_ns

    def times(self, ns: np.ndarray) -> Times:
        """Return them all: in UTC where they have a zone, or the column's name says so."""
        order = {None: "", True: ", day first", False: ", month first"}[self.dayfirst]
        utc = self.zoned or re.search(r"(?<![a-z])(utc|gmt)(?![a-z]|\s*[+-]\s*[0-9])", self.name.lower())
        return Times(ns, "utc" if utc else "local", (f"dates{order}", self.told))


def day_first(dates: Iterable[tuple[int, str]], place: Place) -> bool | None:
    """Return whether dates stand day first, None where all begin with the year; refuse where it can't be told.

    A number above twelve settles it.
    """
    first = None
    for row, text in dates:
        match = DATE_RE.match(text)
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
