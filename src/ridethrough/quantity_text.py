"""Quantity text: one pint registry, the units of this trade as people write them, and their reader.

The reader is deliberately narrower than pint's: it refuses what a person could read in two ways.
"""

from __future__ import annotations

import csv
import math
import re
from functools import cache
from itertools import pairwise
from pathlib import Path

import pint

NO_QUANTITY, CLOCK = "a number and a unit", "a time with its units"  # what a text was that is none
PER_HOUR = "a power (W) or an energy (Wh)"  # where "watts per hour" was written


class Refusal(ValueError):
    """An input the kit will not work with, and the way out.

    Parameters
    ----------
    given : str
        What was given.
    needed : str
        What was needed.
    remedy : str
        What to type or do instead, a whole sentence.
    """

    def __init__(self, given: str, needed: str, remedy: str) -> None:
        super().__init__(given, needed, remedy)
        self.given, self.needed, self.remedy = given, needed, remedy

    def at(self, place: str) -> Refusal:
        """Return it with the place or the argument that it is about."""
        return Refusal(f"{place}: {self.given}", self.needed, self.remedy)

    def __str__(self) -> str:
        return f"Given: {self.given}. Needed: {self.needed}. {self.remedy}"


def rows_beside(module: str, name: str) -> list[dict[str, str]]:
    """Return the rows of a table in CSV that stands beside a module, by the module's ``__file__``."""
    return list(csv.DictReader(Path(module).with_name(name).read_text(encoding="utf-8").splitlines()))


@cache
def registry() -> pint.UnitRegistry:
    """Return the kit's one pint registry, of the units in ``units.txt``, made on first use."""
    ureg: pint.UnitRegistry = pint.UnitRegistry(Path(__file__).with_name("units.txt"))
    ureg.formatter.default_format = "~P"
    pint.set_application_registry(ureg)  # so that a pickled quantity comes home
    return ureg


# How people write a unit -> pint's name of it. Looked up as written, then without regard to case
# where that leaves one reading: "KWH" is read, "mw" (milli or mega?) is not.
_EXACT = {text: row["unit"] for row in rows_beside(__file__, "spellings.csv") for text in row["spellings"].split()}

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_PART = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>[^\s\d+.-][^\d\s]*(?:[23²³](?!\d))?(?:\s(?i:hours?)\b)?"
                   rf"(?:\s*(?:/|\bper\b)\s*[^\d\s]+(?:[23²³](?!\d))?)?)")  # fmt: skip
_COMMA = re.compile(r"\d\s*,\s*\d")
_TIDY = str.maketrans({"−": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " ", "⋅": "·", "µ": "μ"})


def unit_name(text: str) -> str:
    """Return pint's name for a unit as people write it."""
    names: list[str] = []
    for part in map(str.strip, re.split(r"/|\bper\b", text)):
        written = re.sub(r"\s", "-", part)  # "watt hours"
        alike = [written] if written in _EXACT else [text for text in _EXACT if text.lower() == written.lower()]
        found = {_EXACT[text] for text in alike}
        if len(found) != 1:
            raise Refusal(f"the unit {part!r}", "a unit of this trade", _respelt(part, sorted(alike)))
        names += found
    if len(names) == 2 and names[0].endswith("watt") and names[1] in {"second", "minute", "hour", "day"}:
        given = f"{text!r}, which would be a power that keeps changing"
        remedy = "For how fast energy flows write W, for how much has flowed write Wh."
        raise Refusal(given, PER_HOUR, f"A watt is already energy per time: 1 W is 1 Wh every hour. {remedy}")
    return " / ".join(names)


def _respelt(part: str, alike: list[str]) -> str:
    """Return what to write in place of a unit that is not read; several may be spelt alike."""
    if meant := {"C": "degC", "F": "degF", "°": "degC"}.get(part):
        return f"For a temperature write {meant}."
    if alike:
        return f"Write one of: {' or '.join(alike)}."
    return "Write W, kW, Wh, kWh, VA, V, A, Ah, s, min, h, day, degC, degF, %, or a ratio: kWh/year."


def _comma(text: str, tidy: str) -> Refusal:
    """Return the refusal of a number with a comma, and what it may have meant."""
    begin, end = re.search(r"\d[\d,.\s]*(?<=\d)", tidy).span()  # type: ignore[union-attr]
    digits, before, after = re.sub(r"\s", "", tidy[begin:end]), tidy[:begin], tidy[end:]
    decimal, readings = digits.count(",") == 1 and "." not in digits, list[str]()
    if decimal:
        readings.append(f'"{before}{digits.replace(",", ".")}{after}" if the comma is a decimal mark')
    if not (decimal and digits.startswith("0")):
        readings.append(f'"{before}{digits.replace(",", "")}{after}" if the comma groups thousands')
    needed = "a number without a comma, which is a decimal mark to some and groups thousands to others"
    return Refusal(repr(text), needed, f"Write {', '.join(readings)}.")


def read_quantity(text: str) -> pint.Quantity:
    """Return the quantity that ``text`` states, or refuse what could be read in two ways.

    Parameters
    ----------
    text : str
        A number and a unit: ``"38 W"``, ``"1.3 kWh"``, ``"5 degC"``, ``"390 kWh/year"``; times may
        have parts: ``"1 h 30 min"``.

    Returns
    -------
    pint.Quantity
        In the unit as written; times of several parts in that of the first.

    Raises
    ------
    Refusal
        If a comma stands in a number, the unit is unknown, or the text is no quantity.

    Examples
    --------
    >>> read_quantity("1 h 30 min").to("min")
    <Quantity(90.0, 'minute')>
    >>> read_quantity("1,3 kWh")
    Traceback (most recent call last):
    ridethrough.quantity_text.Refusal: Given: '1,3 kWh'. Needed: a number without a comma, which is a \
decimal mark to some and groups thousands to others. Write "1.3 kWh" if the comma is a decimal mark, \
"13 kWh" if the comma groups thousands.
    """
    tidy = text.translate(_TIDY).strip() if isinstance(text, str) else ""
    if _COMMA.search(tidy):
        raise _comma(text, tidy)
    parts, at = list[re.Match[str]](), 0
    while match := _PART.match(tidy, at):
        parts.append(match)
        at = match.end()
    if not parts and re.fullmatch(r"[^\d]+(/|\bper\b)[^\d]+", tidy):
        unit_name(tidy)  # "watts per hour" has an explanation of its own
    if clock := re.fullmatch(r"(\d+):([0-5]\d)(?::([0-5]\d))?", tidy):
        one, two, three = clock.groups()
        meant = f'"{one} h {two} min {three} s"' if three else f'"{one} h {two} min" or "{one} min {two} s"'
        raise Refusal(repr(text), CLOCK, f"Write {meant}.")
    if not parts or tidy[at:].strip():
        raise Refusal(repr(text), NO_QUANTITY, 'Write for example "38 W", "1.3 kWh", "12 h", "90 %" or "5 degC".')
    if not all(math.isfinite(float(part["number"])) for part in parts):
        raise Refusal(repr(text), "a finite number", "Write the number that was read off.")
    values = [registry().Quantity(float(part["number"]), unit_name(part["unit"])) for part in parts]
    timely = all(value.check("[time]") for value in values)
    signed = any(part["number"][0] in "+-" for part in parts[1:])
    falling = timely and all(1 * b.units < 1 * a.units for a, b in pairwise(values))
    if len(values) > 1 and (signed or not falling):
        needed = "one number and one unit; only times have parts, the longest first"
        raise Refusal(repr(text), needed, 'Write for example "1.3 kWh" or "1 h 30 min".')
    return sum(values[1:], values[0])
