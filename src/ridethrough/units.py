"""Quantities: one pint registry, the kit's own reader of quantity text, guards and display.

Every public function of the kit takes quantities (``"38 W"`` or ``Q_(38, "W")``) and gives
quantities back; inside, plain numbers stand in named units (``power_w``, ``energy_wh``,
``time_h``, ``temperature_c``). This module is where the two meet.

The text reader is deliberately narrower than pint's: it knows the units of this trade and refuses
what a person could read in two ways.
"""

from __future__ import annotations

import csv
import math
import re
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pint


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

    def __str__(self) -> str:
        return f"Given: {self.given}. Needed: {self.needed}. {self.remedy}"


@cache
def registry() -> pint.UnitRegistry:
    """Return the kit's one pint registry, made on first use.

    Apparent power (VA) and reactive power (var) get dimensions of their own, so that neither
    turns into watts unnoticed.
    """
    ureg: pint.UnitRegistry = pint.UnitRegistry(on_redefinition="ignore")
    ureg.define("voltampere = [apparent_power] = VA")
    ureg.define("voltampere_reactive = [reactive_power] = var")
    ureg.formatter.default_format = "~P"
    pint.set_application_registry(ureg)  # so that a pickled quantity comes home
    return ureg


# How people write a unit -> pint's name of it. Looked up as written, then without regard to case
# where that leaves one reading: "KWH" is read, "mw" (milli or mega?) is not.
_SPELLINGS = csv.DictReader(Path(__file__).with_name("spellings.csv").read_text(encoding="utf-8").splitlines())
_EXACT = {text: row["unit"] for row in _SPELLINGS for text in row["spellings"].split()}
_FOLDED: dict[str, set[str]] = {}
for _text, _name in _EXACT.items():
    _FOLDED.setdefault(_text.lower(), set()).add(_name)

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_PART = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>[^\s\d+.-][^\d\s]*(?:[23²³](?!\d))?"
                   rf"(?:\s*(?:/|\bper\b)\s*[^\d\s]+(?:[23²³](?!\d))?)?)")  # fmt: skip
_COMMA = re.compile(r"\d\s*,\s*\d")
_TIDY = str.maketrans({"−": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " ", "⋅": "·", "µ": "μ"})

# One example for each kind of quantity, used to say what was needed.
_EXAMPLES = {
    "watt": ("a power", "38 W"),
    "watt_hour": ("an energy", "1.2 kWh"),
    "hour": ("a time", "12 h"),
    "degree_Celsius": ("a temperature", "21 degC"),
    "volt": ("a voltage", "12.8 V"),
    "ampere": ("a current", "1.5 A"),
    "ampere_hour": ("a charge", "100 Ah"),
    "voltampere": ("an apparent power", "300 VA"),
    "dimensionless": ("a share of one", "90 %"),
    "kilowatt_hour / year": ("an energy per year", "390 kWh/year"),
    "foot ** 3": ("a volume", "20 ft3"),
}


def unit_name(text: str) -> str:
    """Return pint's name for a unit as people write it."""
    names: list[str] = []
    for part in map(str.strip, re.split(r"/|\bper\b", text)):
        found = {_EXACT[part]} if part in _EXACT else _FOLDED.get(part.lower(), set())
        if len(found) != 1:
            raise Refusal(f"the unit {part!r}", "a unit of this trade", _respelt(part))
        names += found
    if len(names) == 2 and names[0].endswith("watt") and names[1] in {"second", "minute", "hour", "day"}:
        raise Refusal(
            f"{text!r}, which would be a power that keeps changing",
            "a power (W) or an energy (Wh)",
            "A watt is already energy per time: 1 W is 1 Wh every hour. "
            "For how fast energy flows write W, for how much has flowed write Wh.",
        )
    return " / ".join(names)


def _respelt(part: str) -> str:
    """Return what to write in place of a unit that is not read."""
    if meant := {"C": "degC", "F": "degF", "°": "degC"}.get(part):
        return f"For a temperature write {meant}."
    if either := sorted(text for text in _EXACT if text.lower() == part.lower()):
        return f"Write one of: {' or '.join(either)}."
    return "Write W, kW, Wh, kWh, VA, V, A, Ah, s, min, h, day, degC, degF, %, or a ratio: kWh/year."


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
    ridethrough.units.Refusal: Given: '1,3 kWh'. Needed: a number without a comma, which is a \
decimal mark to some and groups thousands to others. Write 1.3 if the comma is a decimal mark, \
13 if the comma groups thousands.
    """
    tidy = text.translate(_TIDY).strip()
    if _COMMA.search(tidy):
        digits = re.sub(r"\s", "", re.search(r"[\d,.\s]*\d", tidy).group())  # type: ignore[union-attr]
        whole = digits.replace(",", "")
        readings = [f"{whole} if the comma groups thousands"]
        if digits.count(",") == 1 and "." not in digits:
            readings.insert(0, f"{digits.replace(',', '.')} if the comma is a decimal mark")
        raise Refusal(
            repr(text),
            "a number without a comma, which is a decimal mark to some and groups thousands to others",
            f"Write {', '.join(readings)}.",
        )
    parts, at = list[re.Match[str]](), 0
    while match := _PART.match(tidy, at):
        parts.append(match)
        at = match.end()
    if not parts and re.fullmatch(r"[^\d]+(/|\bper\b)[^\d]+", tidy):
        unit_name(tidy)  # "watts per hour" has an explanation of its own
    if not parts or tidy[at:].strip():
        raise Refusal(
            repr(text), "a number and a unit", 'Write for example "38 W", "1.3 kWh", "12 h", "90 %" or "5 degC".'
        )
    if not all(math.isfinite(float(part["number"])) for part in parts):
        raise Refusal(repr(text), "a finite number", "Write the number that was read off.")
    values = [registry().Quantity(float(part["number"]), unit_name(part["unit"])) for part in parts]
    timely = all(value.check("[time]") for value in values)
    signed = any(part["number"][0] in "+-" for part in parts[1:])
    falling = timely and all(1 * b.units < 1 * a.units for a, b in pairwise(values))
    if len(values) > 1 and (signed or not falling):
        raise Refusal(
            repr(text),
            "one number and one unit; only times have parts, the longest first",
            'Write for example "1.3 kWh" or "1 h 30 min".',
        )
    return sum(values[1:], values[0])


def Q_(value: Any, unit: str) -> pint.Quantity:
    """Return ``value`` in ``unit`` as a Quantity; units are spelt as in quantity text.

    Example
    -------
    >>> Q_(2, "kWh").to("Wh")
    <Quantity(2000.0, 'watt_hour')>
    """
    return registry().Quantity(value, unit_name(unit))


def quantity(value: Any, unit: str, name: str) -> pint.Quantity:
    """Return ``value`` as a Quantity in ``unit``, or say what to type.

    This is the guard at every public boundary.

    Parameters
    ----------
    value : str or pint.Quantity
        Quantity text or a Quantity. A bare number is refused, except where a share of one is
        needed and the number lies between 0 and 1.
    unit : str
        The unit needed, as in quantity text.
    name : str
        The argument's name, for the message.

    Raises
    ------
    Refusal
        If the number is bare, not finite, or its unit measures something else.

    Example
    -------
    >>> quantity("1.2 kWh", "Wh", "energy")
    <Quantity(1200.0, 'watt_hour')>
    """
    target = unit_name(unit)
    what, example = _needed(unit)
    remedy = f'Write for example {name}="{example}".'
    share = target == "dimensionless"
    bare = isinstance(value, (int, float)) and not isinstance(value, bool)
    if isinstance(value, str):
        found = read_quantity(value)
    elif isinstance(value, pint.Quantity):
        found = registry().Quantity(value.magnitude, f"{value.units:D}".replace("volt_ampere", "voltampere"))
    elif share and bare:
        found = registry().Quantity(float(value), "dimensionless")
    else:
        given = f"the bare number {value} for {name}" if bare else f"{name}={value!r}"
        if bare:
            remedy = f'Write the unit with it, for example {name}="{value} {example.split(" ", 1)[1]}".'
        raise Refusal(given, f"{what} with its unit", remedy)
    if not found.is_compatible_with(target):
        if "voltampere" in {target, f"{found.units:D}"}:
            remedy = (
                "Volt-amperes are not watts: the two differ by the power factor. "
                f"Give the watts, or both the volt-amperes and the power factor. {remedy}"
            )
        raise Refusal(f"{name}={str(value)!r}, {_kind(found)}", what, remedy)
    converted = found.to(target)
    if target == "degree_Celsius":  # 32 degF is 0 degC, not 6e-14 above it
        converted = registry().Quantity(round(converted.magnitude, 9), converted.units)
    if not math.isfinite(float(getattr(converted.magnitude, "nominal_value", converted.magnitude))):
        raise Refusal(f"{name}={value!r}", f"a finite {what.split(' ', 1)[1]}", remedy)
    if share and not 0 <= converted.magnitude <= 1:
        raise Refusal(
            f"{name}={value!r}, which is {converted.magnitude:g} times the whole",
            "a share between 0 and 1, or a percentage from 0 % to 100 %",
            f'For a percentage write {name}="{value} %".' if bare and value > 1 else remedy,
        )
    return converted


def _needed(unit: str) -> tuple[str, str]:
    """Return what is measured in ``unit``, in words, and an example."""
    return _EXAMPLES.get(unit_name(unit), (f"a value in {unit}", f"1 {unit}"))


def _kind(found: pint.Quantity) -> str:
    """Return what kind of quantity ``found`` is, in words."""
    kinds = (what for target, (what, _) in _EXAMPLES.items() if found.is_compatible_with(target))
    return next(kinds, f"a value in {found.units:~P}")


def positive(value: Any, unit: str, name: str, *, zero: bool = False) -> pint.Quantity:
    """Return ``value`` as a Quantity in ``unit``, refused unless it is above zero, or with ``zero`` at least zero."""
    found = quantity(value, unit, name)
    if not (found.magnitude > 0 or (zero and found.magnitude == 0)):
        what, example = _needed(unit)
        needed = f"{what} of zero or more" if zero else f"{what} above zero"
        raise Refusal(f"{name}={str(value)!r}", needed, f'Write for example {name}="{example}".')
    return found


def number(value: Any, unit: str, name: str) -> float:
    """Return ``value`` as a plain number in ``unit``: the guard, for use inside the kit."""
    return float(quantity(value, unit, name).magnitude)


def float_of(text: str) -> float:
    """Return the number in a table's cell, nan where it holds none."""
    try:
        return float(text)
    except ValueError:
        return math.nan


_SHOWN = {"temperature": "degC", "volume": "L"}


def display(temperature: str | None = None, volume: str | None = None) -> dict[str, str]:
    """Choose once how temperatures ("degC", "degF") and volumes ("L", "gal") are shown.

    Returns
    -------
    dict
        The choices now in force. Calculations are not touched.
    """
    for kind, choice, *known in (("temperature", temperature, "degC", "degF"), ("volume", volume, "L", "gal")):
        if choice not in (None, *known):
            raise Refusal(f"{kind}={choice!r}", f"one of {tuple(known)}", f'Write display({kind}="{known[0]}").')
        _SHOWN[kind] = choice or _SHOWN[kind]
    return dict(_SHOWN)


def show(value: Any, digits: int | None = None) -> str:
    """Return ``value`` as people read it: thousands grouped, three figures unless ``digits`` says.

    Parameters
    ----------
    value : pint.Quantity
        What to show; temperatures and volumes follow `display`.
    digits : int, optional
        Digits after the point [-].

    Example
    -------
    >>> show(Q_(1179.4, "Wh")), show(Q_(9.51, "h"))
    ('1,179 Wh', '9.5 h')
    """
    named = f"{value.units:D}"
    if value.check("[temperature]"):
        shown_in = unit_name(_SHOWN["temperature"])
        value = value.to(f"delta_{shown_in}" if named.startswith("delta_") else shown_in)
    elif value.check("[volume]"):
        value = value.to(unit_name(_SHOWN["volume"]))
    elif value.check("[energy]") and "*" in named:  # watt times hour, as products come out
        value = value.to("watt_hour")
    size = abs(float(value.magnitude))
    places = digits if digits is not None else 0 if size >= 100 else 1 if size >= 1 else 2
    shown = f"{float(value.magnitude):,.{places}f}"
    if digits is None and "." in shown:
        shown = shown.rstrip("0").rstrip(".")
    if float(shown.replace(",", "")) == 0:
        shown = shown.lstrip("-")
    return f"{shown} {_symbol(value.units)}".rstrip()


def _symbol(unit: Any) -> str:
    """Return a unit as people write it: days and years by their names, temperature differences as degrees."""
    short = f"{unit:~P}".replace("Δ", "")
    return re.sub(r"\b[da]\b", lambda match: {"d": "days", "a": "year"}[match.group()], short)
