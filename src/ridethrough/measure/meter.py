"""A plug-in meter as its sheet describes it, and the gain that a check with a known load gives it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from ..estimate import Estimate, estimate
from ..units import Q_, Refusal, number, positive, read_quantity, show


@dataclass(frozen=True)
class Meter:
    """A meter as its sheet describes it; everything measured with one object shares its errors.

    Parameters
    ----------
    accuracy : str, optional
        Limits of error, "1 %", "0.5 W" or "1 % + 0.5 W" [- and W].
    power_step, energy_step : str, optional
        The last digit of its displays, or of its log [W, Wh].
    smallest_load : str, optional
        Power below which it reads 0 [W].
    name : str
        What budgets call it, where there are several.
    found : (Estimate, Estimate), optional
        Its gain [-] and offset [W] as a check found them; see `checked`.

    Raises
    ------
    Refusal
        If a text is no such quantity.

    Example
    -------
    >>> Meter("1 % + 0.5 W").offset
    <Estimate 0 W, 95 %: -0.57 to 0.57 W>
    """

    accuracy: str | None = None
    power_step: str | None = None
    energy_step: str | None = None
    smallest_load: str | None = None
    name: str = field(default="meter", repr=False)
    found: tuple[Estimate, Estimate] | None = field(default=None, repr=False)

    def __post_init__(self) -> None:
        self._limits()
        for name, unit in (("power_step", "W"), ("energy_step", "Wh"), ("smallest_load", "W")):
            text = getattr(self, name)
            if text is not None and number(text, unit, name) < 0:
                raise Refusal(f'{name}="{text}"', "zero or more", f'Write {name}="0.1 {unit}".')

    def _limits(self) -> tuple[float, float]:
        """Return the limits of error: share of the reading [-] and fixed part [W]."""
        limits, remedy = {"percent": 0.0, "watt": 0.0}, 'Write accuracy="1 % + 0.5 W".'
        parts = str(self.accuracy).replace("±", "").split("+") if self.accuracy is not None else []
        try:
            for limit in map(read_quantity, parts):
                unit = "percent" if f"{limit.units:D}" == "percent" else "watt"
                if limits[unit] or not limit.is_compatible_with(unit):
                    raise ValueError
                limits[unit] = float(limit.m_as(unit))
        except ValueError:
            needed = "limits of error such as a percentage, a power, or their sum"
            raise Refusal(f"accuracy={self.accuracy!r}", needed, remedy) from None
        if min(limits.values()) < 0 or limits["percent"] >= 100:
            raise Refusal(f"accuracy={self.accuracy!r}", "limits of zero or more, and below 100 %", remedy)
        return limits["percent"] / 100, limits["watt"]

    @cached_property
    def gain(self) -> Estimate:
        """The true reading over the one shown [-]: 1, with one influence for all this meter measures.

        u = a / sqrt(3) for limits of error a; exact where no accuracy is stated.
        """
        return self.found[0] if self.found else self._error(Q_(1, "1"), Q_(self._limits()[0], "1"), "gain")

    @cached_property
    def offset(self) -> Estimate:
        """The true reading less the one shown at no load [W]: 0, with one influence, as `gain`."""
        return self.found[1] if self.found else self._error(Q_(0, "W"), Q_(self._limits()[1], "W"), "offset")

    def _error(self, true: Any, limit: Any, what: str) -> Estimate:
        return Estimate.within(true, limit, f"{self.name} {what}", source=f"accuracy {self.accuracy}")

    def reading(self, shown: Any, over: Any = None) -> Estimate:
        """Return the true mean power behind a steady reading [W].

        P = gain * shown + offset, give or take half a step of the display                    (1)

        Parameters
        ----------
        shown : Estimate, str or pint.Quantity
            A power that stands still [W], or an energy counted ``over`` a time [Wh].
        over : str or pint.Quantity, optional
            That time [h].

        Example
        -------
        >>> Meter("1 %", power_step="0.1 W").reading("12 W")
        <Estimate 12 W, 95 %: 11.9 to 12.1 W>
        """
        unit, step = ("W", self.power_step) if over is None else ("Wh", self.energy_step)
        hours = 1 if over is None else positive(over, "h", "over")
        mean, half = (estimate(shown, unit, "shown") / hours).to("W"), read_quantity(step or f"0 {unit}") / hours / 2
        return self.gain * mean + self.offset + Estimate.within("0 W", half.to("W"), f"{self.name} resolution")  # (1)

    def checked(self, shown: Any, known: Any) -> Meter:
        """Return the meter with its gain as a known load shows it.

        gain = (known - offset) / shown                                                       (1)

        Parameters
        ----------
        shown : Estimate, str or pint.Quantity
            What the meter showed [W].
        known : Estimate, str or pint.Quantity
            The power that was there, with its own uncertainty: a heating element's V^2 / R [W].

        Raises
        ------
        Refusal
            If shown or known power is not above zero, or they differ by more than ten times the meter's limits.

        Notes
        -----
        A resistive load only: the check says nothing of readings at a poor power factor. What is left of the
        gain's uncertainty is that of the known load and of the meter's fixed part. Lesson 06.

        Example
        -------
        >>> Meter("3 %").checked(shown="1020 W", known="1000 W").gain
        <Estimate 0.98, 95 %: 0.98 to 0.98>
        """
        reading, true = estimate(shown, "W", "shown"), estimate(known, "W", "known")
        for name, value in (("shown", reading), ("known", true)):
            positive(value.value, "W", name)
        gain = ((true - self.offset) / reading).to("1")  # (1)
        far, limit = abs(float(gain.value.magnitude) - 1), 10 * max(self._limits()[0], 0.005)
        if far > limit:
            given = f"{show(reading.value)} shown for {show(true.value)}, {100 * far:.0f} % apart"
            raise Refusal(given, f"a meter within {100 * limit:.0f} %",
                          "Check the resistance hot, the voltage under load, and the meter.")  # fmt: skip
        return replace(self, found=(gain, self.offset))
