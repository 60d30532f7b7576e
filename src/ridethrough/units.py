"""Quantities: guards at every public boundary, and display; the reader of their text is in `quantity_text`.

Every public function of the kit takes quantities (``"38 W"`` or ``Q_(38, "W")``) and gives
quantities back; inside, plain numbers stand in named units (``power_w``, ``energy_wh``,
``time_h``, ``temperature_c``). This module is where the two meet.
"""

from __future__ import annotations

import math
import re
from contextlib import suppress
from numbers import Real
from typing import Any

import pint

from .quantity_text import CLOCK, NO_QUANTITY, Refusal, read_quantity, registry, rows_beside, unit_name

# What is measured in a unit, in words, and an example.
EXAMPLES = {
    row["unit"]: (row["needed"], row["example"]) for row in rows_beside(__file__, "spellings.csv") if row["needed"]
}
_LARGEST = 1e100  # so that squares of what is given are numbers still


def Q_(value: Any, unit: str | None = None) -> pint.Quantity:
    """Return ``value`` in ``unit`` as a Quantity; units are spelt as in quantity text.

    Text and Quantities bring their own unit. A number without one is refused.

    Example
    -------
    >>> Q_(2, "kWh").to("Wh")
    <Quantity(2000.0, 'watt_hour')>
    """
    if unit is not None:
        return quantity(value, unit, "value") if isinstance(value, str) else registry().Quantity(value, unit_name(unit))
    if isinstance(value, str):
        return read_quantity(value)
    if isinstance(value, pint.Quantity):
        return value
    raise Refusal(f"the bare number {value}", "a quantity", f'Write its unit with it, for example "{value} W".')


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
    target, (what, example) = unit_name(unit), _needed(unit)
    needed, remedy = f"{what} with its unit", f'Write for example {name}="{example}".'
    share = target == "dimensionless"
    if isinstance(value, str) and math.isfinite(float_of(value)):
        value = float_of(value) if "." in value else int(float_of(value))
    bare = isinstance(value, (int, float)) and not isinstance(value, bool)
    if isinstance(value, str):
        try:
            found = read_quantity(value)
        except Refusal as refusal:
            raise _misread(refusal, value, name, needed, remedy) from None
    elif isinstance(value, pint.Quantity):
        found = _at_home(value)
    elif share and bare:
        found = registry().Quantity(float(value), "dimensionless")
    elif bare:
        remedy = f'Write the unit with it, for example {name}="{value} {unit}".'
        raise Refusal(f"the bare number {value} for {name}", needed, remedy)
    else:
        raise Refusal(f"{name}={value!r}", needed, remedy)
    if not found.is_compatible_with(target):
        if "voltampere" in {target, f"{found.units:D}"}:
            both = "Give the watts, or both the volt-amperes and the power factor."
            remedy = f"Volt-amperes are not watts: the two differ by the power factor. {both} {remedy}"
        raise Refusal(f"{name}={str(value)!r}, {_kind(found)}", what, remedy)
    converted = found.to(target)
    if target == "degree_Celsius":  # 32 degF is 0 degC, not 6e-14 above it
        converted = registry().Quantity(round(converted.magnitude, 9), converted.units)
    if not abs(float(getattr(converted.magnitude, "nominal_value", converted.magnitude))) < _LARGEST:
        raise Refusal(f"{name}={value!r}", f"a finite {what.split(' ', 1)[1]}", remedy)
    if share and not 0 <= converted.magnitude <= 1:
        given = f"{name}={value!r}, which is {converted.magnitude:g} times the whole"
        remedy = f'For a percentage write {name}="{value} %".' if bare and value > 1 else remedy
        raise Refusal(given, "a share between 0 and 1, or a percentage from 0 % to 100 %", remedy)
    return converted


def _misread(refusal: Refusal, text: str, name: str, needed: str, remedy: str) -> Refusal:
    """Return why an argument's text is not read, in the argument's own terms where the reader's do not fit it."""
    if refusal.needed == NO_QUANTITY or (refusal.needed == CLOCK and not needed.startswith("a time")):
        return Refusal(f"{name}={text!r}", needed, remedy)
    has_unit = re.search(r"[^\W\d]|[:%°]", text)
    return Refusal(f"{name}={text!r}", refusal.needed, refusal.remedy if has_unit else f"{refusal.remedy} {remedy}")


def _needed(unit: str) -> tuple[str, str]:
    """Return what is measured in ``unit``, in words, and an example."""
    return EXAMPLES.get(unit_name(unit), (f"a value in {unit}", f"1 {unit}"))


def _kind(found: pint.Quantity) -> str:
    """Return what kind of quantity ``found`` is, in words."""
    kinds = (what for target, (what, _) in EXAMPLES.items() if found.is_compatible_with(target))
    return next(kinds, f"a value in {found.units:~P}")


def positive(value: Any, unit: str, name: str, *, zero: bool = False) -> pint.Quantity:
    """Return ``value`` as a Quantity in ``unit``, refused unless it is above zero, or with ``zero`` at least zero."""
    found = quantity(value, unit, name)
    if not (found.magnitude > 0 or (zero and found.magnitude == 0)):
        what, example = _needed(unit)
        needed = f"{what} of zero or more" if zero else f"{what} above zero"
        raise Refusal(f"{name}={str(value)!r}", needed, f'Write for example {name}="{example}".')
    return found


def of_kind(value: Any, kind: Any, name: str, needed: str, remedy: str) -> Any:
    """Return ``value``, refused unless it is of a kind; the refusal says what it is, and not all that it holds."""
    if not isinstance(value, kind):
        told = repr(value) if isinstance(value, str | int | float | None) else f"{type(value).__name__}(...)"
        raise Refusal(f"{name}={told}", needed, remedy)
    return value


def of_parts(value: Any, count: int, given: str, needed: str, remedy: str) -> Any:
    """Return ``value``, refused unless it is a tuple or list of so many parts."""
    if not isinstance(value, tuple | list) or len(value) != count:
        raise Refusal(given, needed, remedy)
    return value


def truth(value: Any, name: str) -> bool:
    """Return ``value``, refused unless it is True or False: text such as "no" would count as True."""
    return bool(of_kind(value, bool, name, "True or False", f"Write {name}=True, or leave it out."))


def is_plain(value: Any) -> bool:
    """Return whether it is a plain number: finite, and neither text nor a truth."""
    return isinstance(value, Real) and not isinstance(value, bool) and math.isfinite(value)


def whole(value: Any, name: str, least: int = 0, example: int = 1) -> int:
    """Return ``value``, refused unless it is a whole number of ``least`` or more."""
    if not isinstance(value, int) or isinstance(value, bool) or value < least:
        raise Refusal(f"{name}={value!r}", f"a whole number of {least} or more", f"Write for example {name}={example}.")
    return value


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
    value : pint.Quantity, Estimate or Drawn
        What to show, of what is uncertain its best value; volumes and temperatures follow `display`, but for those in
        kelvin, which may be differences.
    digits : int, optional
        Digits after the point [-].

    Example
    -------
    >>> show(Q_(1179.4, "Wh")), show(Q_(9.51, "h"))
    ('1,179 Wh', '9.5 h')
    """
    value = Q_(getattr(value, "value", value))
    named = f"{value.units:D}"
    if value.check("[temperature]") and named != "kelvin":
        shown_in = unit_name(_SHOWN["temperature"])
        value = value.to(f"delta_{shown_in}" if named.startswith("delta_") else shown_in)
    elif value.check("[volume]"):
        value = value.to(unit_name(_SHOWN["volume"]))
    elif value.check("[energy]") and "*" in named:  # watt times hour, as products come out
        value = value.to("watt_hour")
    size = abs(float(value.magnitude))
    places = digits if digits is not None else 0 if size >= 100 else 1 if size >= 1 else 2
    shown = f"{float(value.magnitude):z,.{places}f}"  # z: no "-0"
    if digits is None and "." in shown:
        shown = shown.rstrip("0").rstrip(".")
    return f"{shown} {_symbol(value.units)}".rstrip()


def _symbol(unit: Any) -> str:
    """Return a unit as people write it: days and years by their names, temperature differences as degrees."""
    short = f"{unit:~P}".replace("Δ", "")
    return re.sub(r"\b[da]\b", lambda match: {"d": "days", "a": "year"}[match.group()], short)


def measures(value: Any, dimension: str) -> bool:
    """Return whether text, a Quantity or an Estimate states something of a dimension, as "[energy]"."""
    with suppress(Refusal):
        return bool(Q_(getattr(value, "value", value)).check(dimension))
    return False


def width_of(u: Any, held: pint.Quantity) -> float:
    """Return an uncertainty as a plain number in the unit of what it belongs to."""
    given, unit = Q_(u), difference_unit(held.units)
    given = registry().Quantity(given.magnitude, difference_unit(given.units))  # "2 degC" is a difference here
    width = float(given.m_as(unit)) if given.is_compatible_with(unit) else math.nan
    if not 0 <= width < math.inf:
        needed = "a finite uncertainty of zero or more in a unit of the same kind"
        raise Refusal(f"an uncertainty of {u} for {show(held)}", needed, f'Write for example "1 {unit:~P}".')
    return width


def _at_home(value: pint.Quantity) -> pint.Quantity:
    """Return a quantity of any registry in the kit's; a unit that the kit lacks by what it is made of."""
    try:
        return registry().Quantity(value.magnitude, f"{value.units:D}".replace("volt_ampere", "voltampere"))
    except pint.UndefinedUnitError:
        base = value.to_base_units()
        return registry().Quantity(base.magnitude, f"{base.units:D}")


def difference_unit(unit: Any) -> Any:
    """Return the unit in which differences are measured (temperatures have their own)."""
    named = f"{unit:D}"
    return registry().Unit(f"delta_{named}") if named.startswith("degree_") else unit
