"""What hangs on the unit's outlet: one appliance or several, each with its mean power and pattern.

Every power here is AC power at the outlet.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import pint

from ..estimate import Estimate, estimate
from ..sources import coefficient
from ..units import Q_, Refusal, number, positive, quantity, show
from .pattern import DAY_H, Pattern

CABINETS = ("refrigerator", "freezer")
MOST_STRETCHES = 14  # of an outage that each vary by themselves; days, or several at once in a longer outage
FEW = 3  # appliances that are named one by one


@dataclass(frozen=True)
class Appliance:
    """One appliance: its mean power, how it varies, and what it draws at most.

    Parameters
    ----------
    name : str
        What the ledger calls it.
    mean_power : Estimate
        Mean over its cycles [W].
    levels_w : array of shape (n,)
        The powers it draws [W].
    shares : array of shape (n,)
        The share of time at each level [-]; they sum to one.
    day_spread : pint.Quantity
        Standard deviation of one day's energy about its mean [Wh].
    day_dof : float
        Degrees of freedom of ``day_spread`` [-].
    peak : pint.Quantity, optional
        Largest power lasting longer than a start [W]; None reads "not measured".
    surge : pint.Quantity, optional
        Largest power caught in a start [W]; None reads "not measured".
    motor : pint.Quantity, optional
        Power of its motor while it runs [W]; None where it has none or none is known.
    measured : bool
        Whether it was measured, or only assumed.
    volts : pint.Quantity, optional
        The voltage it is made for [V]; None where it is not known.
    room : pint.Quantity, optional
        Temperature of the room it was measured in [degC]; None where its draw does not depend on it, or it is
        not known.
    cabinet : str
        "refrigerator" or "freezer", for one whose draw depends on its room.
    pattern : Pattern, optional
        How its power goes through time; cycles of its levels where left out. Only its shape counts: the mean is
        ``mean_power``.
    """

    name: str
    mean_power: Estimate
    levels_w: np.ndarray = field(repr=False)
    shares: np.ndarray = field(repr=False)
    day_spread: pint.Quantity
    day_dof: float = math.inf
    peak: pint.Quantity | None = None
    surge: pint.Quantity | None = None
    motor: pint.Quantity | None = None
    measured: bool = False
    volts: pint.Quantity | None = None
    room: pint.Quantity | None = None
    cabinet: str = "refrigerator"
    pattern: Pattern | None = field(default=None, repr=False)

    def __post_init__(self) -> None:
        levels, shares = np.asarray(self.levels_w, float), np.asarray(self.shares, float)
        if levels.shape != shares.shape or levels.ndim != 1 or not levels.size:
            raise Refusal(
                f"{levels.shape} levels and {shares.shape} shares",
                "as many shares as levels, one or more",
                "Give levels_w and shares as two lists of the same length.",
            )
        if not (np.isfinite(levels).all() and (levels >= 0).all() and (shares >= 0).all()):
            raise Refusal(
                f"levels {levels} W with shares {shares}",
                "finite values of zero or more",
                "Take out what is negative or missing.",
            )
        if not math.isclose(float(shares.sum()), 1, rel_tol=0, abs_tol=1e-6):
            raise Refusal(f"shares that sum to {shares.sum():g}", "shares that sum to 1", "Divide them by their sum.")
        object.__setattr__(self, "levels_w", levels)
        object.__setattr__(self, "shares", shares)
        positive(self.day_spread, "Wh", "day_spread", zero=True)

    @cached_property
    def through_time(self) -> Pattern:
        """Its power through time, by its pattern or its levels."""
        return self.pattern or Pattern.of_levels(self.levels_w, self.shares)

    @cached_property
    def room_slope(self) -> Estimate:
        """Relative change of its draw for each kelvin of room [1/K]; one influence per appliance."""
        return coefficient(f"draw per kelvin of room, {self.cabinet}")

    @cached_property
    def _next_days(self) -> Estimate:
        """How far the outage's days lie from the mean, in standard deviations [-]; one influence per appliance."""
        return Estimate.standard(Q_(0, "1"), Q_(1, "1"), f"{self.name}, day to day", dof=self.day_dof)

    @cached_property
    def _days(self) -> list[Estimate]:
        """How far single stretches of days lie from the mean, in standard deviations [-]; drawn together."""
        count = MOST_STRETCHES
        return Estimate.jointly([0.0] * count, np.eye(count), ["1"] * count, f"{self.name}, day to day",
                                dof=self.day_dof)  # fmt: skip

    def power_in(self, stretch: int, hours: float) -> Estimate:
        """Return the mean power in one of successive stretches of an outage, its day-to-day spread included [W].

        P_mean + z s_day sqrt(t / 24 h) / t                                                   (1)

        Together the stretches vary as `energy_over` does over all of them.
        """
        spread = self.day_spread * math.sqrt(hours / DAY_H) / Q_(hours, "h")
        return self.mean_power + self._days[stretch] * spread.to("W")  # (1)

    def within(self, hours: float, begins_h: float) -> Appliance:
        """Return the appliance as an outage sees it: of a schedule, what falls into its hours [h].

        Whole days hold the whole schedule, and an appliance without one does not ask when an outage begins.
        """
        pattern = self.pattern
        if pattern is None or not pattern.by_clock or math.isclose(hours % DAY_H, 0):
            return self
        part = pattern.window(hours, begins_h)
        levels, at = np.unique(part.power_w, return_inverse=True)
        shares = np.bincount(at, weights=part.duration_h) / part.period_h
        mean = self.mean_power * (part.mean_w / pattern.mean_w) if pattern.mean_w else self.mean_power
        return replace(self, mean_power=mean, levels_w=levels, shares=shares, pattern=part)

    def energy_over(self, duration: Any) -> Estimate:
        """Return the energy at the outlet in an outage of ``duration``, day-to-day spread included [Wh].

        E = P_mean t + spread,    u(spread) = s_day sqrt(t / 24 h)                            (1)

        Days are taken as independent: the spread of many days grows with the square root of their
        number, so its share of the total shrinks.

        Parameters
        ----------
        duration : str or pint.Quantity
            Length of the outage [h].
        """
        hours = positive(duration, "h", "duration", zero=True)
        spread = self.day_spread * math.sqrt(hours.to("day").magnitude)
        return (self.mean_power * hours).to("Wh") + self._next_days * spread  # (1)


@dataclass(frozen=True)
class Load:
    """Everything plugged in; loads add with ``+``.

    Parameters
    ----------
    appliances : tuple of Appliance
        At least one.

    Example
    -------
    >>> (Load.steady("38 W") + Load.steady("5 W", name="router")).energy_over("10 h").value
    <Quantity(430.0, 'watt_hour')>
    """

    appliances: tuple[Appliance, ...]

    def __post_init__(self) -> None:
        if not self.appliances:
            raise Refusal("a load without appliances", "one or more", 'Write Load.steady("38 W").')

    @classmethod
    def steady(cls, power: Any, name: str = "steady load") -> Load:
        """Return a load that draws the same power all the time.

        Parameters
        ----------
        power : Estimate, str or pint.Quantity
            Power at the outlet, zero or more [W].
        name : str
            What the ledger calls it.
        """
        mean = estimate(power, "W", "power")
        level = float(mean.value.magnitude)
        if not level >= 0:
            raise Refusal(f"a load of {level:g} W", "a power of zero or more", 'Write Load.steady("38 W").')
        return cls((Appliance(name, mean, np.array([level]), np.array([1.0]), Q_(0, "Wh"), peak=mean.value),))

    @classmethod
    def cycling(cls, running: Any, duty: Any, name: str = "cycling load", *, day_spread: Any = "0 Wh") -> Load:
        """Return a load that switches between ``running`` and nothing.

        P_mean = duty * running                                                               (1)

        Parameters
        ----------
        running : Estimate, str or pint.Quantity
            Power while it runs [W].
        duty : str or float
            Share of time it runs [-].
        name : str
            What the ledger calls it.
        day_spread : str or pint.Quantity
            Standard deviation of one day's energy [Wh].
        """
        share = number(duty, "1", "duty")
        power = estimate(running, "W", "running")
        levels = np.array([0.0, float(power.value.magnitude)])
        return cls((Appliance(name, power * share, levels, np.array([1 - share, share]),  # (1)
                              quantity(day_spread, "Wh", "day_spread"), peak=power.value),))  # fmt: skip

    @classmethod
    def daily(cls, windows: Sequence[tuple[str, str, Any]], name: str = "daily load") -> Load:
        """Return a load that follows a schedule by the clock.

        Parameters
        ----------
        windows : sequence of (str, str, str or pint.Quantity)
            As in `Pattern.daily`: from, to, and the power between [W].
        name : str
            What the ledger calls it.

        Example
        -------
        >>> Load.daily([("18:00", "22:00", "30 W"), ("22:00", "06:00", "3 W")], "lights").mean_power.value
        <Quantity(6.0, 'watt')>
        """
        pattern = Pattern.daily(windows)
        levels, at = np.unique(pattern.power_w, return_inverse=True)
        shares = np.bincount(at, weights=pattern.duration_h) / pattern.period_h
        mean, peak = Estimate.exact(Q_(pattern.mean_w, "W")), Q_(float(levels.max()), "W")
        return cls((Appliance(name, mean, levels, shares, Q_(0, "Wh"), peak=peak, pattern=pattern),))

    def __add__(self, other: Load) -> Load:
        if not isinstance(other, Load):
            raise Refusal(f"{other!r} added to a load", "another load", 'Write load + Load.steady("5 W").')
        return Load(self.appliances + other.appliances)

    @property
    def name(self) -> str:
        """The appliances' names; of many, the first and how many more."""
        names = [appliance.name for appliance in self.appliances]
        if len(names) > FEW:
            return f"{names[0]} and {len(names) - 1} more"
        return " and ".join(names) if len(names) <= 2 else f"{', '.join(names[:-1])} and {names[-1]}"

    @property
    def mean_power(self) -> Estimate:
        """Mean power of all appliances together [W]."""
        return _total([appliance.mean_power for appliance in self.appliances])

    @property
    def variance_w2(self) -> float:
        """Variance of the power about its mean [W2], appliances switching independently of each other."""
        return sum(float(np.dot(a.shares, a.levels_w**2) - np.dot(a.shares, a.levels_w) ** 2) for a in self.appliances)

    @property
    def peak(self) -> pint.Quantity | None:
        """Largest power if all peaks fall together [W]; None reads "not measured"."""
        total = Q_(0, "W")
        for appliance in self.appliances:
            if appliance.peak is None:
                return None
            total = total + appliance.peak
        return total

    def energy_over(self, duration: Any) -> Estimate:
        """Return the energy at the outlet in an outage of ``duration`` [Wh]; see `Appliance.energy_over`."""
        return _total([appliance.energy_over(duration) for appliance in self.appliances])

    def on_trust(self) -> Load:
        """Return the load marked as assumed, as a first lesson or a report on hearsay takes it."""
        return Load(tuple(replace(appliance, measured=False) for appliance in self.appliances))

    def named(self, name: str) -> Load:
        """Return the same single appliance under another name."""
        return Load((replace(self._only("Name"), name=name),))

    def made_for(self, volts: Any) -> Load:
        """Return the load with the voltage that all its appliances are made for [V]."""
        known = positive(volts, "V", "volts")
        return Load(tuple(replace(appliance, volts=known) for appliance in self.appliances))

    def with_peak(self, peak: Any, *, surge: Any = None) -> Load:
        """Return the same single appliance with its largest power [W], where the log could not tell it.

        Parameters
        ----------
        peak : str or pint.Quantity
            Largest power lasting longer than a start [W].
        surge : str or pint.Quantity, optional
            Largest power caught in a start [W].
        """
        caught = self._only("Give each its peak").surge if surge is None else positive(surge, "W", "surge")
        return Load((replace(self._only("Give each its peak"), peak=positive(peak, "W", "peak"), surge=caught),))

    def in_a_room_of(self, room: Any, cabinet: str = "refrigerator") -> Load:
        """Return the same single cold appliance with the temperature of the room it was measured in [degC].

        Parameters
        ----------
        room : str or pint.Quantity
            The mean over the measurement [degC].
        cabinet : {"refrigerator", "freezer"}
            What it is; a refrigerator with a freezer compartment counts as the first.
        """
        if cabinet not in CABINETS:
            raise Refusal(f"cabinet={cabinet!r}", f"one of {', '.join(CABINETS)}", 'Write cabinet="freezer".')
        return Load((replace(self._only("Give each its room"), room=quantity(room, "degC", "room"), cabinet=cabinet),))

    def _only(self, remedy: str) -> Appliance:
        """Return the one appliance there is."""
        if len(self.appliances) != 1:
            raise Refusal(f"a load of {len(self.appliances)} appliances", "one appliance", f"{remedy} before adding.")
        return self.appliances[0]

    def __repr__(self) -> str:
        return f"<Load: {self.name}, mean {show(self.mean_power.value)}>"


def _total(parts: Sequence[Estimate]) -> Estimate:
    total = parts[0]
    for part in parts[1:]:
        total = total + part
    return total
