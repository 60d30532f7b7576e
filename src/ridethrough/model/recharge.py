"""What flows back in: the mains for some hours, a given series, something daily by the clock, a small generator."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any, ClassVar

import numpy as np
import pint

from ..estimate import Estimate, estimate, not_negative
from ..known import notes
from ..sampling import Sampler
from ..sources import CAUTIONS, coefficient, lookup
from ..units import Q_, Refusal, number, of_kind, of_parts, positive, show, truth
from .inverter import Ratings
from .pattern import DAY_H, Pattern, clock


@dataclass(frozen=True)
class Days:
    """How one day's recharge differs from the mean day's, as the sun's does.

    z_d = sqrt(s) z + sqrt(1 - s) a_d,   a_d = r a_(d-1) + sqrt(1 - r^2) e_d                  (1)
    m_d = Q(Phi(z_d))                                                                         (2)

    z and e_d are standard normal, one for the whole spell and one for each day: the weather stays. s is the spell's
    share, r the likeness of successive days. The best estimate has the mean day every day.

    Parameters
    ----------
    levels : array of shape (n,)
        Q, a day over the mean day, at chances that rise evenly from 0 to 1 [-].
    """

    levels: np.ndarray

    def drawn(self, sampler: Sampler, count: int) -> np.ndarray:
        """Return so many successive days, drawn: each over the mean day, of shape (count, rows) [-].

        What shines on one panel shines on all: recharge of one outage has the same weather.
        """
        from scipy.special import ndtr

        *skies, s, r = _weather()
        (day,), (spell,) = (each.slopes() for each in skies)
        share, alike = (sampler.of(each, 0, 1) for each in (s, r))
        own = [sampler.standard(day)]
        for number_of in range(1, count):
            own.append(alike * own[-1] + np.sqrt(1 - alike**2) * sampler.standard(day, number_of))
        z = np.sqrt(share) * sampler.standard(spell) + np.sqrt(1 - share) * np.stack(own)  # (1)
        over = np.interp(ndtr(z), np.linspace(0, 1, self.levels.size), self.levels)  # (2)
        over[:, 0] = 1
        return over


@cache
def _weather() -> tuple[Estimate, ...]:
    """Return what all recharge by the weather shares: day, spell, the spell's share, the likeness of days."""
    own = (Estimate.standard("0 %", "100 %", name) for name in ("weather of each day", "weather of the spell"))
    return (*own, coefficient("share of a spell in a day's sun"), coefficient("likeness of successive days' sun"))


@dataclass(frozen=True)
class Recharge:
    """Power into the unit through an outage; make it with `mains`, `series` or `daily`, `Sun` or `Generator`.

    Parameters
    ----------
    pattern : Pattern
        Power before charge loss [W], from a time of day on or else from the beginning of the outage on.
    efficiency : Estimate
        Share of what is stored that comes back, on the side of the unit's route [-].
    carries : bool
        Whether load and unit hang on it while it lasts, as on the mains.
    factor : Estimate
        How much of the pattern comes: 1, and how sure that is [-].
    once : bool
        Whether the pattern comes once, and nothing after it; else again and again.
    days : Days, optional
        How days differ; None where each is like the other.
    most : pint.Quantity, optional
        What load, unit and charge may take of it together [W].
    until_full : bool
        Whether it stops, until its next window, once the unit is full.
    """

    pattern: Pattern = field(repr=False)
    efficiency: Estimate
    carries: bool
    factor: Estimate
    once: bool = True
    days: Days | None = None
    most: pint.Quantity | None = None
    until_full: bool = False

    kind: ClassVar[str] = "mains"

    @property
    def cautions(self) -> tuple[str, ...]:
        """What its numbers leave out and may hurt."""
        return tuple(text for name, text in CAUTIONS.items() if name.startswith(self.kind))

    @classmethod
    def mains(cls, windows: Sequence[tuple[Any, Any]], *, power: Any, efficiency: Any = None) -> Recharge:
        """Return the mains coming back for some hours: it carries everything, however much, and charges besides.

        Parameters
        ----------
        windows : sequence of (str or pint.Quantity, str or pint.Quantity)
            From and to, counted from the beginning of the outage [h].
        power : Estimate, str or pint.Quantity
            What the charger gets for the battery [W]; it takes no more than its own limit.
        efficiency : Estimate, str or float, optional
            Into the battery over from the wall; else the table's charger [-].
        """
        remedy = 'Write [("20 h", "23 h"), ("40 h", "43 h")].'
        edges = list[float]()
        for window in of_kind(windows, Iterable, "windows", "from and to of each", remedy):
            begin, end = of_parts(window, 2, f"the window {window!r}", "from and to", remedy)
            edges += number(begin, "h", "from"), number(end, "h", "to")
        steps = np.diff([0.0, *edges])
        if not edges or (steps < 0).any() or not steps[1::2].all():
            raise Refusal(f"the windows {windows!r}", "one after the other, each with an end after its beginning",
                          remedy)  # fmt: skip
        given = estimate(power, "W", "power", guard=positive)
        watts = given.magnitude
        pattern = Pattern(steps[steps > 0], (np.arange(steps.size) % 2 * watts)[steps > 0])
        return Recharge(pattern, efficiency_of(efficiency), True, (given / given.value).to("1"))

    @classmethod
    def series(cls, power: Sequence[Any], *, step: Any = "1 h", efficiency: Any = None, factor: Any = "100 %",
               begins: str | None = None) -> Recharge:  # fmt: skip
        """Return recharge as a series of powers, such as a sun's or a generator's, once.

        Parameters
        ----------
        power : sequence of str, pint.Quantity or float
            Mean power in each step [W]; plain numbers are watts here. It must not end before the outage.
        step : str or pint.Quantity
            Length of each step [h].
        efficiency : Estimate, str or float, optional
            As in `mains` [-].
        factor : Estimate, str or float
            How much of it comes, with its doubt: ``Estimate.within("100 %", "20 %", "weather")`` [-].
        begins : str, optional
            Time of day of its first step, as "6:00"; the beginning of the outage where left out.
        """
        if isinstance(power, str) or not isinstance(power, Iterable):
            raise Refusal(f"power={power!r}", "a list of powers", 'Write Recharge.series([0, 120, 180], step="1 h").')
        plain = [float(p) if isinstance(p, (int, float, np.number)) else number(p, "W", "power") for p in power]
        length = float(positive(step, "h", "step").magnitude)
        at = None if begins is None else clock(begins, "begins")
        pattern = Pattern(np.full(len(plain), length), np.array(plain), at)
        return Recharge(pattern, efficiency_of(efficiency), False, estimate(factor, "1", "factor"))

    @classmethod
    def daily(cls, windows: Sequence[tuple[str, str, Any]], *, efficiency: Any = None, factor: Any = "100 %",
              carries: bool = False) -> Recharge:  # fmt: skip
        """Return recharge that comes every day by the clock, such as a clear day's sun.

        Parameters
        ----------
        windows : sequence of (str, str, str or pint.Quantity)
            As in `Pattern.daily`: from, to, and the power between [W].
        efficiency, factor
            As in `series` [-].
        carries : bool
            Whether load and unit hang on it, as on the mains: what they take comes beside these powers, however much.
        """
        carried, share = truth(carries, "carries"), estimate(factor, "1", "factor")
        return Recharge(Pattern.daily(windows), efficiency_of(efficiency), carried, share, once=False)

    def window(self, hours: float, begins_h: float | None) -> tuple[np.ndarray, np.ndarray]:
        """Return when it changes within an outage, 0 and the end included [h], and its power between [W].

        Raises
        ------
        Refusal
            If it goes by the clock and the outage doesn't, or ends before the outage.
        """
        clocked, period_h = self.pattern.begins_h, self.pattern.period_h
        if clocked is not None and begins_h is None:
            raise Refusal("recharge by the clock in an outage that does not say when it begins", "its time of day",
                          'Write Outage(..., begins="18:00").')  # fmt: skip
        since = 0.0 if clocked is None or begins_h is None else (begins_h - clocked) % DAY_H
        if self.once and not self.carries and period_h < since + hours - 1e-9:
            raise Refusal(f"recharge of {show(Q_(period_h, 'h'))} for an outage of {show(Q_(hours, 'h'))}",
                          "as many hours as the outage has",
                          "Give more steps, or Recharge.daily for what comes every day.")  # fmt: skip
        looks = np.arange(0.0, hours, lookup("look at a running generator").value / 60) if self.until_full else [0.0]
        edges = np.unique(np.concatenate([looks, self.pattern.cuts_h(since, hours), [hours]]))
        middles = since + (edges[:-1] + edges[1:]) / 2
        power_w = np.where(self.once & (middles >= period_h), 0.0, self.pattern.at(middles))
        changes = np.append(True, np.diff(power_w) != 0) | (self.until_full & (power_w > 0))
        return np.append(edges[:-1][changes], hours), power_w[changes]


def efficiency_of(given: Any, usual: Estimate | None = None, name: str = "efficiency") -> Estimate:
    """Return the charge efficiency as given, or as usual: the table's from the wall [-]."""
    return estimate(given, "1", name, usual or coefficient("charger efficiency"), positive)


Mains = Recharge.mains


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
        windows = [of_parts(text.removesuffix("until full").split("-"), 2, f"hours={hours!r}", needed, remedy)
                   for text in texts]  # fmt: skip
        asks = estimate(ratings.rated if power is None else power, "W", "power", guard=positive)
        pattern = Pattern.daily([(begin, end, asks.value) for begin, end in windows])
        until_full = any(text.endswith("until full") for text in texts)
        super().__init__(pattern, efficiency_of(efficiency), True, (asks / asks.value).to("1"), once=False,
                         most=ratings.rated, until_full=until_full)  # fmt: skip
        idle, burns = _line(fuel, ratings.rated)
        vars(self).update(ratings=ratings, idle=idle, burns=burns)

    def __repr__(self) -> str:
        full, idling = (self.fuel(power) for power in (self.ratings.rated, "0 W"))
        return (f"<Generator, {show(self.ratings.rated)}: {idling} of fuel in an hour of idling, {full} at full"
                f"{notes('caution', self.cautions)}>")  # fmt: skip

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
    steps = (p_2 - p_1).magnitude, (r_2 - r_1).magnitude
    if min(steps) <= 0 or r_1.value < (r_2 - r_1).value * (p_1.magnitude / steps[0]):
        raise Refusal(f"fuel={fuel!r}", "the larger power second, burning more, and something left for idling",
                      "Check both points.")  # fmt: skip
    burns = (r_2 - r_1) / (p_2 - p_1)
    return (r_1 - burns * p_1).to("L/h"), burns.to("L/kWh")
