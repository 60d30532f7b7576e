"""Every reading of a log and its time, or a refusal that names the row. Nothing here judges the readings.

Each column shows, by all of its fields, how it writes numbers or times, and is converted as a whole; fields that don't
fit are found by the same operations, so that each is named with its row. Times with colons are cut at the first one:
before it stand few days and hours, behind it few minutes and seconds, and each of them is read once.
"""

from __future__ import annotations

import re
from calendar import month_name
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ..units import Q_
from .columns import Column, Columns, columns_of, decimal_mark, decimals, numbers_of, reading_of
from .layout import BASE, DATE, HEAD, HOUR, TAIL, WORDS, Layout, LogRefusal, Note, Place, in_base, unit_of, words_of

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


def taken(held: Any, names: Iterable[str], chosen: Any) -> dict[str, Any]:
    """Return what ``held`` has under each of the names for the readings or steps ``chosen``; None stays None."""
    return {name: None if (values := getattr(held, name)) is None else values[chosen] for name in names}


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
HOUR_NS = 3600 * NS
EPOCH_FROM_S = 900_000_000  # larger numbers count seconds since 1970: this is July 1998
LATEST_S = 4_102_444_800  # 2100-01-01


def _times(kind: str, column: Column, dayfirst: bool | None) -> tuple[np.ndarray, str, Note]:
    """Return the times in a column [ns], their clock, and how they were read: in words, and by whose word."""
    if kind == "number":
        return _counts(column)
    if kind == "clock":
        return (_written(column, False, None)[0], "elapsed", ("elapsed, h:mm:ss", "guessed"))
    ns, zoned, first = _written(column, True, dayfirst)
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


# What is wrong with a time, the lesser first.
CLOCK, CALENDAR, FORM = 1, 2, 3
_WRONG = ("a time with a zone among times without, or the other way round", "a time that is on no clock",
          "a day that is in no calendar", "no date and time", "no time of the form h:mm:ss")  # fmt: skip
_HEADS = {True: re.compile(HEAD), False: re.compile(HOUR)}  # with a date, and without
_DAYS = {True: ("year", "b", "a"), False: ("year", "a", "b")}
_FRACTION = "^(?P<s>[0-9]{2}:[0-9]{2})[.,](?P<f>[0-9]{1,9})"
_NOON = {"": -1, "a": 0, "p": 12}
_1970 = date(1970, 1, 1).toordinal()


def _written(column: Column, dated: bool, dayfirst: bool | None) -> tuple[np.ndarray, bool, bool | None]:
    """Return times written with colons [ns], whether they state a zone, and whether their dates stand day first."""
    for zone in (None, "UTC") if dated else ():  # ISO 8601, which arrow reads by itself
        with suppress(pa.ArrowInvalid):
            column.texts[:1].cast(pa.timestamp("ns", zone))  # a quick no, where it is none
            return column.texts.cast(pa.timestamp("ns", zone)).cast(pa.int64()).to_numpy(), bool(zone), dayfirst
    halves = zip(*(_halves(texts) for texts in column.texts.chunks), strict=True)
    heads, tails = (pa.chunked_array(half).unify_dictionaries() for half in halves)
    if dated and dayfirst is None:
        dayfirst = _day_first(column, heads.chunk(0).dictionary.to_pylist())
    before = _once(heads.chunk(0).dictionary, _head, dated, bool(dayfirst))
    past, chunks = _past(tails.chunk(0).dictionary, dated), zip(heads.chunks, tails.chunks, strict=True)
    read = [_read(before[:, head.indices], past[:, tail.indices]) for head, tail in chunks]
    ns, zoned, wrong = map(np.concatenate, zip(*read, strict=True))
    odd = (wrong > 0) | (zoned != zoned[0])
    if odd.any():
        what = int(wrong[odd.argmax()])
        raise column.refuse(int(odd.argmax()), _WRONG[what if dated or what < FORM else -1])
    return ns, bool(zoned[0]), dayfirst


def _halves(texts: pa.Array) -> tuple[pa.DictionaryArray, pa.DictionaryArray]:
    """Return what stands before and behind each field's first colon; a date alone is its midnight."""
    timed = pc.match_substring(texts, ":")
    if not pc.all(timed).as_py():
        texts = pc.if_else(timed, texts, pc.binary_join_element_wise(texts, "T0:00", ""))
    halves = pc.split_pattern(texts, ":", max_splits=1)
    return pc.list_element(halves, 0).dictionary_encode(), pc.list_element(halves, 1).dictionary_encode()


def _once(texts: pa.Array, read: Callable[..., tuple[int, ...]], *how: bool) -> np.ndarray:
    """Return what ``read`` makes of each text, a row for each of its numbers; what comes again is read once."""
    coded = texts.dictionary_encode()
    return np.array([read(text, *how) for text in coded.dictionary.to_pylist()], np.int64).T[:, coded.indices]


def _past(texts: pa.Array, dated: bool) -> np.ndarray:
    """Return what `_tail` makes of each text; fractions of a second, of which there are many, are read apart."""
    past = _once(pc.replace_substring_regex(texts, _FRACTION, r"\1"), _tail, dated)
    digits = pc.fill_null(pc.struct_field(pc.extract_regex(texts, _FRACTION), 1), "")
    past[0] += pc.utf8_rpad(digits, 9, "0").cast(pa.int64()).to_numpy()
    return past


def _read(heads: np.ndarray, tails: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return the times in some fields [ns], whether each states a zone, and what is wrong with it."""
    (day, hour, odd), (past_ns, noon, zoned, ahead_ns, none) = heads, tails
    off = (hour * HOUR_NS + past_ns > 24 * HOUR_NS) | ((noon >= 0) & ((hour < 1) | (hour > 12)))
    hour = np.where(noon < 0, hour, hour % 12 + noon)
    wrong = np.maximum.reduce([odd, none, CLOCK * off]).astype(np.int8)
    return (day * 24 + hour) * HOUR_NS + past_ns - ahead_ns, zoned > 0, wrong


def _head(text: str, dated: bool, dayfirst: bool) -> tuple[int, int, int]:
    """Return the day, counted from 1970 or from a log's start, and its hour before a colon, and what is wrong there."""
    match = _HEADS[dated].fullmatch(text)
    if match is None:
        return 0, 0, FORM
    if not dated:
        return *divmod(int(match["h"]), 24), 0
    year, month, day = map(int, match.group(*(("y", "mo", "d") if match["y"] else _DAYS[dayfirst])))
    try:
        on = date(min(max(year, 1700), 2200), month, day)  # further off, 64 bits can't count ns
    except ValueError:
        return 0, 0, CALENDAR
    return on.toordinal() - _1970, int(match["h"]), 0


def _tail(text: str, dated: bool) -> tuple[int, int, int, int, int]:
    """Return the time past the hour [ns], 0 or 12 for AM or PM (-1 for neither), whether there is a zone and how far
    it is ahead [ns], and what is wrong with them."""
    match = re.fullmatch(TAIL, text)
    if match is None or (not dated and (match["half"] or match["zone"])):
        return 0, -1, 0, 0, FORM
    part = match.groupdict("")
    minute, second, zone_h, zone_min = (int(part[name] or 0) for name in ("mi", "s", "zh", "zm"))
    past_ns = (minute * 60 + second) * NS
    ahead_ns = int(f"{part['sign']}1") * (zone_h * 60 + zone_min) * 60 * NS
    return past_ns, _NOON[part["half"].lower()], part["zone"] > "", ahead_ns, CLOCK * (max(minute, second) > 59)


def _day_first(column: Column, heads: Iterable[str]) -> bool | None:
    """Return whether dates stand day first, None where there is no question; refuse where it can't be told and matters.

    A number above twelve is a day.
    """
    dates = (match for match in (re.match(DATE, text) for text in heads) if match and match["a"])
    days = {match[0]: [int(number) for number in match.group("a", "b", "year")] for match in dates}
    if sure := [a > 12 for a, b, _ in days.values() if max(a, b) > 12]:
        return sure[0]
    for text, (a, b, year) in days.items():
        if a != b and min(a, b) > 0:
            at = pc.index(pc.starts_with(column.texts, text), True).as_py()
            raise column.place.refuse("day or month", at=at, value=text, day_first=f"{a} {month_name[b]} {year}",
                                      month_first=f"{b} {month_name[a]} {year}")  # fmt: skip
    return True if days else None  # 3.3. is 3 March either way
