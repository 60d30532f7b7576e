"""One field of a log: what it looks like, the number or time in it, and the refusal that names where it stands."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any

import numpy as np

from ..units import Refusal


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


# -- what it looks like --------------------------------------------------------------------------

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
DATE_RE = re.compile(_DATE)
CLOCK_RE = re.compile(_CLOCK)
_CLOCK_ZONE_RE = re.compile(rf"{_CLOCK}\s?{_ZONE}?")
_NUMBERISH_RE = re.compile(r"[-+−]?([0-9][0-9.,]*|[.,][0-9]+)(e[-+]?[0-9]+)?|[-+]?(nan|inf|infinity)", re.IGNORECASE)


def kind_of(text: str) -> str:
    """Return what one field looks like: "number", "stamp", "date", "clock", "text", or "" where empty."""
    patterns = {"date": DATE_RE, "stamp": _STAMP_RE, "clock": CLOCK_RE, "number": _NUMBERISH_RE}
    return next((kind for kind, pattern in patterns.items() if pattern.fullmatch(text)), "text" if text else "")


# -- numbers -------------------------------------------------------------------------------------

LARGEST = 1e19  # what no meter shows, in any unit
NUMBER_RE = re.compile(r"[-+]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)?")


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
    if not NUMBER_RE.fullmatch(plain):
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

NS = 1_000_000_000


def clock_ns(match: re.Match[str]) -> int:
    seconds = int(match["h"]) * 3600 + int(match["mi"]) * 60 + int(match["s"] or 0)
    return seconds * NS + int((match["f"] or "").ljust(9, "0"))


@lru_cache(maxsize=100_000)
def clock_and_zone(text: str) -> tuple[int, bool]:
    """Return the time of day less its zone's offset [ns], and whether a zone is stated; midnight where empty."""
    match = _CLOCK_ZONE_RE.fullmatch(text or "0:00")
    if not match:
        raise ValueError("no date and time")
    hour, half = int(match["h"]), (match["half"] or "").lower()
    if hour > (12 if half else 24) or (half and not hour) or (hour == 24 and clock_ns(match) > 86_400 * NS):
        raise ValueError("a time that is on no clock")
    shift_h = (12 if half == "p" else 0) - (12 if half and hour == 12 else 0)
    offset_s = int(match["zh"] or 0) * 3600 + int(match["zm"] or 0) * 60
    ahead_s = -offset_s if match["sign"] == "-" else offset_s
    return clock_ns(match) + (shift_h * 3600 - ahead_s) * NS, bool(match["zone"])


@lru_cache(maxsize=10_000)
def day_ns(text: str, dayfirst: bool) -> int:
    """Return the time from 1970 to the midnight on which a day begins [ns]."""
    match = DATE_RE.fullmatch(text)
    if not match:
        raise ValueError("no date and time")
    day, month = (match["a"], match["b"]) if dayfirst else (match["b"], match["a"])
    parts = (match["y"] or match["year"], match["mo"] or month, match["d"] or day)
    try:
        return (date(*map(int, parts)).toordinal() - date(1970, 1, 1).toordinal()) * 86_400 * NS
    except ValueError:
        raise ValueError("a day that is in no calendar") from None
