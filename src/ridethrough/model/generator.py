"""A small generator: some hours a day it carries load and unit, charges besides, and burns fuel all the while."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from ..estimate import Estimate, estimate, not_negative
from ..sources import coefficient, lookup
from ..units import Q_, Refusal, of_kind, positive, show
from .nameplate import Ratings
from .pattern import Pattern
from .recharge import Recharge, efficiency_of


class Generator(Recharge):
    """A generator that runs some hours a day by the clock; load and unit hang on it meanwhile.

    fuel rate = a + b P                                                                       (1)

    The Willans line: a is burnt with nothing plugged in, b for each kilowatt-hour that it gives.

    One that is too small for the load trips: it gives nothing, neither load nor charge, burns nothing, and the unit
    carries the load. So it does all along where `headroom` says that it does not carry the load, else while the load
    takes more than its rating.

    Parameters
    ----------
    rated : Ratings, str or pint.Quantity
        Largest steady power [W]; with more to say, ``Ratings.of(...)``. What the load leaves of it may charge.
    hours : str or sequence of str
        When it runs each day, "18:00-19:00"; with "until full", "18:00-22:00 until full", it is stopped before the end
        once the unit is full, which is looked at every half hour.
    power : Estimate, str or pint.Quantity, optional
        What the unit's charger asks of it [W]; as much as charger and rating allow where left out.
    fuel : pair of (power, fuel rate), optional
        Two measured points, ``[("0 W", "0.3 L/h"), ("1500 W", "1 L/h")]`` [W], [L/h]; else the table's line.
    efficiency : Estimate, str or float, optional
        Into the battery over from its outlet; else the table's charger [-].

    Example
    -------
    >>> small = Generator("1000 W", hours="18:00-19:00", fuel=[("0 W", "0.2 L/h"), ("1 kW", "0.6 L/h")])
    >>> small.fuel("500 W", "2 h").value
    <Quantity(0.8, 'liter')>
    """

    kind = "generator"
    ratings: Ratings
    idle: Estimate  # a [L/h]
    burns: Estimate  # b [L/kWh]

    def __init__(self, rated: Any, *, hours: str | Sequence[str], power: Any = None, fuel: Any = None,
                 efficiency: Any = None) -> None:  # fmt: skip
        needed, remedy = "from and to by the clock", 'Write hours="18:00-19:00", or hours="18:00-22:00 until full".'
        ratings, given = Ratings.of(rated), of_kind(hours, Iterable, "hours", needed, remedy)
        texts = [str(each).lower().strip().replace("–", "-") for each in ([given] if isinstance(given, str) else given)]
        windows = [text.removesuffix("until full").split("-") for text in texts]
        if not all(len(window) == 2 for window in windows):
            raise Refusal(f"hours={hours!r}", needed, remedy)
        asks = estimate(ratings.rated if power is None else power, "W", "power")
        pattern = Pattern.daily([(begin, end, positive(asks.value, "W", "power")) for begin, end in windows])
        until_full = any(text.endswith("until full") for text in texts)
        super().__init__(pattern, efficiency_of(efficiency), True, (asks / asks.value).to("1"), once=False,
                         most=ratings.rated, until_full=until_full)  # fmt: skip
        idle, burns = _line(fuel, ratings.rated)
        vars(self).update(ratings=ratings, idle=idle, burns=burns)

    def __repr__(self) -> str:
        said = "".join(f"\n  caution: {each}" for each in self.cautions)
        full, idling = (self.fuel(power) for power in (self.ratings.rated, "0 W"))
        return f"<Generator, {show(self.ratings.rated)}: {idling} of fuel in an hour of idling, {full} at full{said}>"

    def fuel(self, power: Any, hours: Any = "1 h") -> Estimate:
        """Return what it burns in some hours [h] at a steady power, nothing plugged in at "0 W" [L]."""
        given, time = not_negative(power, "W", "power"), positive(hours, "h", "hours")
        if given.value > (rated := self.ratings.rated):
            raise Refusal(f"power={show(given.value)} of a generator of {show(rated)}", "at most its rating",
                          "Take less, or a larger generator.")  # fmt: skip
        return ((self.idle + self.burns * given) * time).to("L")  # (1)

    def efficiency_at(self, power: Any) -> Estimate:
        """Return the energy that it gives at a power [W] over the heating value of the fuel, gasoline [-]."""
        heat = lookup("heating value of gasoline")
        return (estimate(power, "W", "power") * Q_(1, "h") / (self.fuel(power) * Q_(heat.value, heat.unit))).to("1")


def _line(fuel: Any, rated: Any) -> tuple[Estimate, Estimate]:
    """Return a [L/h] and b [L/kWh] of the fuel line."""
    if fuel is None:
        idle = coefficient("idle fuel of a generator over its rating") * rated
        return idle.to("L/h"), coefficient("fuel of a generator's energy")
    try:
        (p_1, r_1), (p_2, r_2) = [point for point in fuel if not isinstance(point, str)]
    except (TypeError, ValueError):
        raise Refusal(f"fuel={fuel!r}", "two points of power and fuel rate",
                      'Write fuel=[("0 W", "0.3 L/h"), ("1500 W", "1 L/h")].') from None  # fmt: skip
    p_1, p_2 = (estimate(each, "W", "power") for each in (p_1, p_2))
    r_1, r_2 = (estimate(each, "L/h", "fuel rate") for each in (r_1, r_2))
    steps = (p_2 - p_1).value.magnitude, (r_2 - r_1).value.magnitude
    if min(steps) <= 0 or r_1.value < (r_2 - r_1).value * (p_1.value.magnitude / steps[0]):
        raise Refusal(f"fuel={fuel!r}", "the larger power second, burning more, and something left for idling",
                      "Check both points.")  # fmt: skip
    burns = (r_2 - r_1) / (p_2 - p_1)
    return (r_1 - burns * p_1).to("L/h"), burns.to("L/kWh")
