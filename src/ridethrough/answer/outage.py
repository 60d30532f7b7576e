"""The outage: how long, how full the unit is when it begins, where things stand, what flows back in."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from copy import copy
from dataclasses import dataclass
from typing import Any

import numpy as np
import pint

from ..estimate import Estimate, estimate
from ..model.pattern import DAY_H, Pattern, clock
from ..model.recharge import Generator, Recharge
from ..sources import CAUTIONS, lookup, temperature
from ..units import Q_, Refusal, number, of_kind, positive, show


@dataclass(frozen=True)
class Place:
    """The temperature of a place through an outage.

    Parameters
    ----------
    celsius : array of shape (n,)
        Means of successive hours, or one for all [degC].
    hours : float
        Length of the outage [h].
    """

    celsius: np.ndarray
    hours: float

    @classmethod
    def of(cls, given: Any, name: str, hours: float) -> Place | None:
        """Return the place of one temperature or of the means of successive hours; None where none is given."""
        if given is None:
            return None
        if isinstance(given, str) or not np.iterable(getattr(given, "magnitude", given)):
            given = [given]
        celsius = np.array([temperature(each, name).magnitude for each in given])
        if celsius.size == 1:
            return cls(celsius, hours)
        if celsius.size < math.ceil(hours):
            raise Refusal(f"{celsius.size} hours of {name} for an outage of {show(Q_(hours, 'h'))}",
                          "the mean of every hour", "Give more hours, or one temperature.")  # fmt: skip
        return cls(celsius[: math.ceil(hours)], hours)

    @property
    def changes(self) -> bool:
        """Whether it is given by the hour."""
        return self.celsius.size > 1

    @property
    def mean(self) -> pint.Quantity:
        """The mean over the outage [degC]."""
        lengths = np.minimum(1, self.hours - np.arange(self.celsius.size)) if self.changes else None
        return Q_(float(np.average(self.celsius, weights=lengths)), "degC")

    def at(self, time_h: Any) -> np.ndarray:
        """Return the temperature at moments of the outage; after its end that of its last hour [degC]."""
        return self.celsius[np.minimum(np.asarray(time_h, float).astype(int), self.celsius.size - 1)]


@dataclass(frozen=True, init=False)
class Outage:
    """A power outage to be ridden through.

    Parameters
    ----------
    duration : str or pint.Quantity
        Its length, above zero [h].
    start : Estimate, str or float
        State of charge when it begins [-].
    reserve : str or pint.Quantity
        Energy that shall be left at its end, on the side of the unit's route [Wh].
    room : str or pint.Quantity, or a sequence of them, optional
        Where cold appliances stand [degC], by the hour where several; as when they were measured where left out.
    unit_at : str or pint.Quantity, or a sequence of them, optional
        Where the unit stands, its cells as warm as the room [degC], by the hour where several; 25 degC, or as in its
        run-downs, where left out.
    begins : str, optional
        Time of day at which it begins, as "18:30"; where left out it may be any, for what goes by the clock.
    recharge : sequence of Recharge
        What flows back in meanwhile.
    on : sequence of (str or pint.Quantity, str or pint.Quantity), optional
        From and to, counted from its beginning: when the unit is on [h]; all along where left out. Between them it is
        switched off: no standby, nothing plugged in runs, nothing is charged.
    every : str or pint.Quantity, optional
        After how long ``on`` begins again [h]; after the last of them ends where left out.

    Example
    -------
    >>> Outage("3 days", start="97 %")
    <Outage of 72 h, unit 97 % full at its start>
    """

    duration: pint.Quantity
    start: Estimate
    reserve: pint.Quantity
    room: Place | None
    unit_at: Place | None
    begins_h: float | None
    recharge: tuple[Recharge, ...]
    on: Pattern | None

    def __init__(
        self, duration: Any, *, start: Any = "100 %", reserve: Any = "0 Wh", room: Any = None, unit_at: Any = None,
        begins: str | None = None, recharge: Sequence[Recharge] | Recharge = (),
        on: Sequence[tuple[Any, Any]] | None = None, every: Any = None,
    ) -> None:  # fmt: skip
        length = positive(duration, "h", "duration")
        remedy = 'Write recharge=Recharge.mains([("20 h", "23 h")], power="400 W").'
        given = (recharge,) if isinstance(recharge, Recharge) else recharge
        given = tuple(of_kind(given, Iterable, "recharge", "one or more of Recharge", remedy))
        for each in given:
            of_kind(each, Recharge, "recharge", "one or more of Recharge", remedy)
        if sum(isinstance(each, Generator) for each in given) > 1:
            raise Refusal("two generators", "one, with all its hours",
                          'Write Generator(..., hours=["7:00-8:00", "18:00-19:00"]).')  # fmt: skip
        vars(self).update(
            duration=length,
            start=estimate(start, "1", "start"),
            reserve=positive(reserve, "Wh", "reserve", zero=True),
            room=Place.of(room, "room", float(length.magnitude)),
            unit_at=Place.of(unit_at, "unit_at", float(length.magnitude)),
            begins_h=None if begins is None else clock(begins, "begins") % DAY_H,
            recharge=given,
            on=None if on is None else _windows(on, every),
        )
        if not self.on_hours:
            raise Refusal(f"windows on={on!r} in an outage of {show(length)}", "one that begins before its end",
                          'Write on=[("0 h", "2 h")], every="6 h".')  # fmt: skip

    @classmethod
    def of(cls, outage: Outage | Any) -> Outage:
        """Return ``outage`` itself, or the outage of that length."""
        return outage if isinstance(outage, Outage) else cls(outage)

    @property
    def hours(self) -> float:
        """Its length as a plain number [h]."""
        return float(self.duration.magnitude)

    @property
    def changes(self) -> bool:
        """Whether a place's temperature is given by the hour."""
        return any(place is not None and place.changes for place in (self.room, self.unit_at))

    @property
    def generator(self) -> Generator | None:
        """The generator of its recharge."""
        return next((each for each in self.recharge if isinstance(each, Generator)), None)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What its recharge leaves out and may hurt."""
        off = [CAUTIONS["nothing charged while off"]] if self.on and self.recharge else []
        return tuple(dict.fromkeys([*off, *(said for each in self.recharge for said in each.cautions)]))

    @property
    def goes_on(self) -> bool:
        """Whether it could last longer and nothing would be missing: no recharge, nothing by the hour, no windows."""
        return not self.recharge and not self.changes and self.on is None

    def switched(self, off_h: float, on_h: float) -> Outage:
        """Return the same outage with the unit off for some hours, then on for some, again and again [h]."""
        return self.but(on=Pattern(np.array([off_h, on_h]), np.array([0.0, 1.0])))

    def but(self, **parts: Any) -> Outage:
        """Return the same outage with something else in place of what it has."""
        other = copy(self)
        vars(other).update(parts)
        return other

    def powered(self, time_h: Any) -> Any:
        """Return whether the unit is on at moments."""
        return np.full(np.shape(time_h), True) if self.on is None else self.on.at(np.asarray(time_h)) > 0

    def cuts_h(self, low: float, high: float) -> np.ndarray:
        """Return the moments between two at which the unit is switched [h]."""
        return np.zeros(0) if self.on is None else low + self.on.cuts_h(low, high - low)

    @property
    def on_hours(self) -> float:
        """How long the unit is on [h]."""
        edges_h = np.concatenate([[0.0], self.cuts_h(0.0, self.hours), [self.hours]])
        return float(np.diff(edges_h) @ self.powered((edges_h[:-1] + edges_h[1:]) / 2))

    def __repr__(self) -> str:
        where = "" if self.room is None else f", room at {show(self.room.mean, 0)}"
        where += "" if self.unit_at is None else f", unit at {show(self.unit_at.mean, 0)}"
        full = f"{show(self.start.to('%'), 0)} full at its start"
        return f"<Outage of {show(self.duration)}, unit {full}{where}>"


def _windows(on: Sequence[tuple[Any, Any]], every: Any) -> Pattern:
    """Return 1 where the unit is on, else 0, again and again."""
    needed, remedy = "from and to of each time that the unit is on", 'Write on=[("0 h", "2 h")], every="6 h".'
    given = Recharge.mains(of_kind(on, Iterable, "on", needed, remedy), power="1 W").pattern
    rest_h = 0.0 if every is None else number(every, "h", "every") - given.period_h
    if rest_h < -1e-9:
        raise Refusal(f"windows until {show(Q_(given.period_h, 'h'))}, again every {every}",
                      "windows that end by then", remedy)  # fmt: skip
    rest = [rest_h] if rest_h > 1e-9 else []
    found = Pattern(np.append(given.duration_h, rest), np.append(given.power_w, np.zeros(len(rest))))
    least, off_h = lookup("rest of a compressor"), found.duration_h[found.power_w == 0]
    if (60 * off_h < least.value - 1e-9).any():
        shortest, needed = (show(Q_(minutes, "min")) for minutes in (60 * off_h.min(), least.value))
        raise Refusal(f"a unit that is off for {shortest}", f"at least {needed}, which a compressor must rest",
                      "Leave the unit on, or off for longer.")  # fmt: skip
    return found
