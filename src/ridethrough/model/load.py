"""What hangs on the unit's outlet: one appliance or several, each with mean power and pattern, AC at the outlet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any, cast

import numpy as np
import pint

from ..estimate import Estimate, estimate
from ..sources import coefficient, lookup, temperature
from ..units import Q_, Refusal, number, of_kind, positive, quantity, show, truth
from .pattern import DAY_H, Pattern, alike

CABINETS = ("refrigerator", "freezer")
TENTHS = 10  # parts of an outage, at which windows of its length begin
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
    pattern : Pattern
        How its power goes through time. Only its shape counts: the mean is ``mean_power``.
    day_spread : pint.Quantity
        Standard deviation of one day's energy about its mean [Wh].
    next_days : Estimate, optional
        How far the outage's days lie from the mean, in standard deviations [-]; one influence, as sure as the spread.
    likeness : float
        Correlation of one day's energy with the next one's [-].
    hour : Estimate, optional
        How far the outage's hours lie from the mean of its days, in standard deviations [-]; one influence.
    peak : pint.Quantity, optional
        Largest power lasting longer than a start [W]; None reads "not measured".
    surge : pint.Quantity, optional
        Largest power caught in a start [W]; None reads "not measured".
    motor : pint.Quantity, optional
        Power of its motor while it runs [W]; None where it has none or none is known.
    apparent : pint.Quantity, optional
        Largest apparent power lasting longer than a start [VA]; None reads "not measured".
    measured : bool
        Whether it was measured, or only assumed.
    volts : pint.Quantity, optional
        The voltage it is made for [V]; None where it is not known.
    room : pint.Quantity, optional
        Temperature of the room that ``mean_power`` holds for [degC]; None where it depends on none, or none is known.
    cabinet : str
        "refrigerator" or "freezer", for one whose draw depends on its room.
    room_slope : Estimate, optional
        Relative change of its draw for each kelvin of room [1/K]; there where ``room`` is.
    thermal : Cabinet, optional
        What its inside does in hours without power.
    """

    name: str
    mean_power: Estimate
    pattern: Pattern = field(repr=False)
    day_spread: pint.Quantity = field(default_factory=lambda: Q_(0, "Wh"))
    next_days: Estimate | None = field(default=None, repr=False)
    likeness: float = field(default_factory=lambda: lookup("likeness of successive days").value)
    hour: Estimate | None = field(default=None, repr=False)
    peak: pint.Quantity | None = None
    surge: pint.Quantity | None = None
    motor: pint.Quantity | None = None
    apparent: pint.Quantity | None = None
    measured: bool = False
    volts: pint.Quantity | None = None
    room: pint.Quantity | None = None
    cabinet: str = "refrigerator"
    room_slope: Estimate | None = None
    thermal: Any = field(default=None, repr=False)

    def __post_init__(self) -> None:
        spread = positive(self.day_spread, "Wh", "day_spread", zero=True).magnitude
        told = {"next_days": (f"{self.name}, day to day", spread),
                "hour": (f"hour at which it begins, {self.name}", np.ptp(self.pattern.power_w))}  # fmt: skip
        for about, (name, varies) in told.items():
            if varies and getattr(self, about) is None:
                vars(self)[about] = Estimate.standard(Q_(0, "1"), Q_(1, "1"), name)

    @property
    def variance_w2(self) -> float:
        """Variance of its power about its mean [W2]."""
        mean = self.mean_power.magnitude
        return self.pattern.variance_w2 * (mean / self.pattern.mean_w) ** 2 if self.pattern.mean_w else 0.0

    def energy_over(self, duration: Any) -> Estimate:
        """Return the energy at the outlet in an outage of ``duration`` [h], day-to-day spread included [Wh].

        E = P_mean t + days + hours                                                           (1)
        u(days) = s_day (t / 24 h) sqrt(k(n) / n),   u(hours) = t s_t                         (2)

        k(n) / n is how much less n days that are alike vary than one, see `alike`; s_t the standard deviation of the
        pattern's means over windows of length t.
        """
        hours = positive(duration, "h", "duration", zero=True)
        energy, days = (self.mean_power * hours).to("Wh"), float(hours.magnitude) / DAY_H
        if self.next_days is not None:
            energy = energy + self.next_days * (self.day_spread * days * math.sqrt(alike(days, self.likeness)))  # (2)
        if self.hour is not None and days and self.pattern.mean_w:
            windows_w = self.pattern.windows(float(hours.magnitude), TENTHS)
            energy = energy + self.hour * (self.mean_power.value * hours * float(windows_w.std()) / self.pattern.mean_w)
        return energy  # (1)


@dataclass(frozen=True)
class Load:
    """Everything plugged in; loads add with ``+`` and ``sum``.

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
    def of(cls, load: Any, name: str = "load") -> Load:
        """Return ``load`` itself, or refuse what is none."""
        remedy = 'Write Load.steady("38 W"), or of a draw or a log draw.as_load().'
        return cast(Load, of_kind(load, cls, name, "a load", remedy))

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
        level = mean.magnitude
        if not level >= 0:
            raise Refusal(f"a load of {level:g} W", "a power of zero or more", 'Write Load.steady("38 W").')
        return cls((Appliance(name, mean, Pattern(np.ones(1), np.array([level])), peak=mean.value),))

    @classmethod
    def cycling(cls, running: Any, duty: Any, name: str = "cycling load", *, day_spread: Any = "0 Wh",
                motor: bool = True) -> Load:  # fmt: skip
        """Return a load that switches between ``running`` and nothing, as a compressor does.

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
        motor : bool
            Whether a motor runs it; False for a heater with a thermostat.
        """
        share = number(duty, "1", "duty")
        power = estimate(running, "W", "running")
        pattern = Pattern.of_levels([power.magnitude, 0.0], [share, 1 - share])
        return cls((Appliance(name, power * share, pattern, quantity(day_spread, "Wh", "day_spread"),  # (1)
                              peak=power.value, motor=power.value if truth(motor, "motor") else None),))  # fmt: skip

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
        mean, peak = Estimate.exact(Q_(pattern.mean_w, "W")), Q_(float(pattern.power_w.max()), "W")
        return cls((Appliance(name, mean, pattern, peak=peak),))

    def __add__(self, other: Load) -> Load:
        return Load(self.appliances + Load.of(other, "load + what").appliances)

    def __radd__(self, other: Any) -> Load:
        return self if isinstance(other, int) and other == 0 else Load.of(other, "what + load") + self

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
        return sum((a.mean_power for a in self.appliances[1:]), start=self.appliances[0].mean_power)

    @property
    def variance_w2(self) -> float:
        """Variance of the power about its mean [W2], appliances switching independently of each other."""
        return sum(appliance.variance_w2 for appliance in self.appliances)

    @property
    def peak(self) -> pint.Quantity | None:
        """Largest power if all peaks fall together [W]; None reads "not measured"."""
        known = [appliance.peak for appliance in self.appliances if appliance.peak is not None]
        return sum(known, start=Q_(0, "W")) if len(known) == len(self.appliances) else None

    def energy_over(self, duration: Any) -> Estimate:
        """Return the energy at the outlet in an outage of ``duration`` [Wh]; see `Appliance.energy_over`."""
        first, *others = (appliance.energy_over(duration) for appliance in self.appliances)
        return sum(others, start=first)

    def on_trust(self) -> Load:
        """Return the load as hearsay takes it: assumed, with the table's band of what such a number is worth."""
        told = (replace(one, mean_power=one.mean_power * lookup("draw on trust").estimate(one.name), measured=False)
                for one in self.appliances)  # fmt: skip
        return Load(tuple(told))

    def made_for(self, volts: Any) -> Load:
        """Return the load with the voltage that all its appliances are made for [V]."""
        return self._with(volts=positive(volts, "V", "volts"))

    def named(self, name: str) -> Load:
        """Return the same single appliance under another name."""
        return Load((replace(self.alone("Name"), name=name),))

    def with_peak(self, peak: Any, *, surge: Any = None) -> Load:
        """Return the same single appliance with its largest power [W], where the log could not tell it.

        Parameters
        ----------
        peak : str or pint.Quantity
            Largest power lasting longer than a start [W].
        surge : str or pint.Quantity, optional
            Largest power caught in a start [W].
        """
        appliance = self.alone("Give each its peak")
        caught = appliance.surge if surge is None else positive(surge, "W", "surge")
        return Load((replace(appliance, peak=positive(peak, "W", "peak"), surge=caught),))

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
        appliance = self.alone("Give each its room")
        slope = appliance.room_slope if appliance.cabinet == cabinet else None
        slope = coefficient(f"draw per kelvin of room, {cabinet}") if slope is None else slope
        at = temperature(room, "room")
        return Load((replace(appliance, room=at, cabinet=cabinet, room_slope=slope),))

    def _with(self, **changed: Any) -> Load:
        """Return the load with this changed in all its appliances; what they share with others stays shared."""
        return Load(tuple(replace(appliance, **changed) for appliance in self.appliances))

    def alone(self, remedy: str) -> Appliance:
        """Return its one appliance, refused where there are more."""
        if len(self.appliances) != 1:
            raise Refusal(f"a load of {len(self.appliances)} appliances", "one appliance", f"{remedy} before adding.")
        return self.appliances[0]

    def __repr__(self) -> str:
        return f"<Load: {self.name}, mean {show(self.mean_power.value)}>"
