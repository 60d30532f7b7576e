"""What a battery gives at another temperature, over what it gives at 25 degC."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import pint

from ..estimate import Estimate, estimate
from ..sources import Coefficient, coefficient, lookup, numbered
from ..units import Q_, Refusal, number, of_kind, positive, show
from .battery import known_chemistry


@dataclass(frozen=True)
class TemperatureCurve:
    """Capacity over that at 25 degC, against the temperature of the cells; one uncertainty for all of it.

    f(T) = 1 + q (value(T) - 1) + z u(T),   q = 1 above 25 degC                               (1)

    Value and uncertainty are straight between the points of the table of coefficients. z is one influence: a
    battery that does badly at 0 degC does badly at -10 degC too, and two temperatures compare well. Without
    own runs q is 1. With them, q fits them and u is 0 from 25 degC down to the coldest of them; below it u grows
    as the table's does. Of the warm side they tell nothing.

    Parameters
    ----------
    chemistry : str
        One of `battery.CHEMISTRIES`.
    scale : Estimate, optional
        q [-].
    coldest : pint.Quantity, optional
        Down to where own runs tell it [degC].

    Example
    -------
    >>> curve = TemperatureCurve("sealed lead-acid")
    >>> curve.at("0 degC").magnitude, curve.at("25 degC").u.magnitude
    (0.75, 0.0)
    """

    chemistry: str
    scale: Estimate = field(default_factory=lambda: Estimate.exact("100 %").to("1"))
    coldest: pint.Quantity | None = None

    @classmethod
    def from_runs(cls, chemistry: str, warm: tuple[Any, Any], cold: tuple[Any, Any], *,
                  repeatability: Any = None) -> TemperatureCurve:  # fmt: skip
        """Return the curve that one unit's own runs at two temperatures tell, in place of the table's band.

        t_cold / t_warm = (1 + q d_cold) / (1 + q d_warm),   d = value(T) - 1                 (1)

        Of a warm run above 25 degC the table's f(T_warm) makes one at 25 degC first.

        Parameters
        ----------
        chemistry : str
            One of `battery.CHEMISTRIES`.
        warm, cold : pair of (str or pint.Quantity)
            Temperature of the cells [degC] and run time [h] of two full run-downs at the same load.
        repeatability : Estimate, str or float, optional
            As in `fit_rundowns` [-].

        Notes
        -----
        Charge the unit warm, let it stand in the cold for a day, run it down there, and let it warm up before
        it is charged again; the maker's limits come first. Lesson 05.

        Raises
        ------
        Refusal
            If the temperatures lie close together, or the cold run does not tell a loss that the table's shape
            can follow.

        Example
        -------
        >>> own = TemperatureCurve.from_runs("iron phosphate", ("25 degC", "10 h"), ("0 degC", "9 h"))
        >>> own.at("0 degC")
        <Estimate 0.9, 95 %: 0.85 to 0.95>
        """
        table = cls(chemistry)
        (warm_c, warm_h), (cold_c, cold_h) = ((number(at, "degC", "temperature"), positive(hours, "h", "run time"))
                                              for at, hours in (warm, cold))  # fmt: skip
        apart = lookup("least step between battery temperatures").value
        if min(warm_c, table.mild_c) - cold_c < apart:
            needed = f"a cold run at least {apart:g} K colder, and colder than {table.mild_c:g} degC by as much"
            raise Refusal(f"runs at {warm_c:g} and {cold_c:g} degC", needed, "Wait for a colder day.")
        if cold_h > warm_h:
            raise Refusal(f"a cold run of {show(cold_h)} and a warm one of {show(warm_h)}",
                          "a cold run that is no longer", "Check which is which, or leave it out.")  # fmt: skip
        spread = estimate(repeatability, "1", "repeatability", coefficient("run-to-run repeatability")).value
        errors = [Estimate.standard(Q_(1, "1"), spread, f"{name} run") for name in ("cold", "warm")]
        ratio = (cold_h / warm_h).to("1") * errors[0] / errors[1]
        if warm_c > table.mild_c:
            ratio, warm_c = ratio * table.at(Q_(warm_c, "degC")), table.mild_c
        d_cold, d_warm = (float(table.at(Q_(at, "degC")).magnitude) - 1 for at in (cold_c, warm_c))
        scale = (ratio - 1) / (d_cold - ratio * d_warm)  # (1)
        found = replace(table, scale=scale, coldest=Q_(cold_c, "degC"))
        vars(found)["_z"] = table._z  # the warm run may stand over the table's
        return found

    @classmethod
    def of(cls, given: TemperatureCurve | None, chemistry: str) -> TemperatureCurve:
        """Return the user's own curve, refused for another chemistry, or the table's."""
        own = of_kind(given, cls | None, "curve", "a curve", "Write curve=TemperatureCurve.from_runs(...).")
        if own is not None and own.chemistry != chemistry:
            raise Refusal(f"a curve for {own.chemistry} beside {chemistry}", "the curve of the same chemistry",
                          f'Write TemperatureCurve("{chemistry}").')  # fmt: skip
        return own or cls(chemistry)

    def measured_at(self, temperature: Any) -> bool:
        """Return whether own runs tell the capacity at a temperature [degC]: from the cold one to 25 degC."""
        celsius = number(temperature, "degC", "temperature")
        return self.coldest is not None and self.coldest.m_as("degC") <= celsius <= self.mild_c

    @cached_property
    def points(self) -> dict[float, Coefficient]:
        """The table's entries by temperature [degC], the coldest first."""
        return numbered("capacity at ", f" degC, {known_chemistry(self.chemistry)}")

    @property
    def mild_c(self) -> float:
        """Temperature over whose capacity all others are told [degC]; own cold runs tell no warmer ones."""
        return next(celsius for celsius, entry in self.points.items() if entry.low == entry.high)

    def _u_at(self, celsius: float) -> float:
        """Return the table's standard uncertainty at a temperature [-]."""
        points = self.points
        return float(np.interp(celsius, list(points), [float(p.estimate().u.magnitude) for p in points.values()]))

    @cached_property
    def _z(self) -> Estimate:
        """How far this battery lies from the table, in standard deviations [-]; one influence per curve."""
        points = tuple(self.points.values())
        return Estimate.within(Q_(0, "1"), Q_(math.sqrt(3), "1"), f"{self.chemistry} in the cold",
                               source=points[0].source, entries=tuple(point.name for point in points))  # fmt: skip

    def at(self, temperature: Any, name: str = "temperature") -> Estimate:
        """Return the capacity at a temperature of the cells over that at 25 degC [-].

        Parameters
        ----------
        temperature : str or pint.Quantity
            Of the cells, not of the air: a large battery follows its room within a day [degC].
        name : str
            The argument's name, for the message.

        Raises
        ------
        Refusal
            Outside the table's points.
        """
        celsius = number(temperature, "degC", name)
        at_c = list(self.points)
        if not at_c[0] <= celsius <= at_c[-1]:
            given, coldest, warmest = (show(Q_(each, "degC")) for each in (celsius, at_c[0], at_c[-1]))
            raise Refusal(f"{name}={given} for {self.chemistry}", f"{coldest} to {warmest}, as far as the table goes",
                          f'Bring the unit somewhere milder, such as {name}="5 degC".')  # fmt: skip
        lost = float(np.interp(celsius, at_c, [entry.value for entry in self.points.values()])) - 1
        grown = self._u_at(celsius)
        if self.coldest is not None and celsius <= self.mild_c:
            grown = max(0.0, grown - self._u_at(self.coldest.m_as("degC"))) if not self.measured_at(temperature) else 0
        scale = self.scale if celsius <= self.mild_c else 1
        found = scale * lost + self._z * grown + 1  # (1)
        return found if found.magnitude >= 0 else found - found.value  # no less than nothing
