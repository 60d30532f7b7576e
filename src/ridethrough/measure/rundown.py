"""A run-down: one full unit, one load, run until it switched off."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pint

from ..estimate import Estimate, estimate
from ..model.load import Load
from ..sources import coefficient, lookup
from ..units import Q_, Refusal, measures, number, positive, quantity, show, truth, whole
from .meter import Meter
from .meterlog import MeterLog


@dataclass(frozen=True)
class Rundown:
    """One run of a full unit until it switched off.

    Parameters
    ----------
    load : str, pint.Quantity, Estimate, Load or MeterLog, optional
        Power at the outlet as the meter showed it; for a refrigerator its mean over the run [W].
    hours : str or pint.Quantity, optional
        How long it ran; a log tells it [h].
    delivered : str or pint.Quantity, optional
        Energy at the outlet over the run, instead of ``load`` [Wh].
    room : str or pint.Quantity, optional
        Temperature of the room [degC].
    stopped_early : bool
        Whether it was stopped while still running, so that ``hours`` is "at least" [-].
    left : str or float, optional
        Charge that the unit showed when a run from full was stopped: it counts as so much of a run, with the gauge's
        error [-].
    packs : int
        How many packs were on it [-].

    Example
    -------
    >>> Rundown.of(("0.66 kWh", "12 h")).power(Meter()).value
    <Quantity(55.0, 'watt')>
    """

    load: Any = None
    hours: Any = None
    delivered: Any = None
    room: Any = None
    stopped_early: bool = False
    left: Any = None
    packs: int = 0

    @classmethod
    def of(cls, entry: Any) -> Rundown:
        """Return a run-down from itself, a log, or a pair (power or energy, run time)."""
        if isinstance(entry, MeterLog):
            return cls(load=entry)
        if isinstance(entry, (tuple, list)) and len(entry) == 2:
            entry = cls(hours=entry[1], **{"delivered" if measures(entry[0], "[energy]") else "load": entry[0]})
        if not isinstance(entry, Rundown) or (entry.load is None) == (entry.delivered is None):
            remedy = 'Write ("60 W", "11.8 h"), ("0.7 kWh", "11.8 h") or Rundown(load="60 W", hours="11.8 h").'
            raise Refusal(f"the run-down {entry!r}", "a run time and either a load or the energy delivered", remedy)
        whole(entry.packs, "packs")
        truth(entry.stopped_early, "stopped_early")
        return entry

    @property
    def at_least(self) -> bool:
        """Whether nothing tells how much longer it would have run."""
        return self.stopped_early and self.left is None

    @property
    def lasts(self) -> Estimate:
        """How long it ran, or would have: t / (1 - left) [h]."""
        ran = Estimate.exact(self.duration)
        return ran if self.left is None else (ran / fall_of_charge("100 %", self.left)).to("h")

    @property
    def duration(self) -> pint.Quantity:
        """How long it ran [h]."""
        logged = isinstance(self.load, MeterLog) and self.hours is None
        hours = Q_(_logged_h(self.load), "h") if logged else quantity(self.hours, "h", "hours")
        return positive(hours, "h", "hours")

    def power(self, meter: Meter) -> Estimate:
        """Return the mean power at the outlet, with the errors of the meter that read it [W].

        P = gain * reading + offset                                                           (1)

        It takes no meter to know that nothing is plugged in. An Estimate or a Load brings its own errors.
        """
        given, hours = self.load, self.duration
        if isinstance(given, MeterLog):
            meter, shown = given.meter, Estimate.exact(Q_(given.mean_power_w(), "W"))
        elif isinstance(given, Load):
            shown = given.mean_power
        elif given is None:
            shown = (estimate(self.delivered, "Wh", "delivered") / hours).to("W")
        else:
            shown = estimate(given, "W", "load")
        if shown.value.magnitude < 0:
            raise Refusal(f"a run-down at {show(shown.value)}", "a load of zero or more", 'Write ("0 W", "56 h").')
        if not shown.value.magnitude or shown.u.magnitude or isinstance(given, Load):
            return shown
        if isinstance(given, MeterLog):
            half = (given.resolution / 2 if given.resolution.check("[power]") else given.resolution / 2 / hours).to("W")
            return meter.gain * shown + meter.offset + Estimate.within("0 W", half, f"{meter.name} resolution")  # (1)
        return meter.reading(shown) if given is not None else meter.reading(self.delivered, over=hours)  # (1)


def fall_of_charge(before: Any, after: Any, gauge: Any = None) -> Estimate:
    """Return by how much of full the charge fell that a display shows in whole percents [-].

    Raises
    ------
    Refusal
        If it rose, or fell by no more than such a gauge may be wrong by.
    """
    shown = [Estimate.within(quantity(each, "1", name), Q_(0.5, "%"), f"whole percents {name}")
             for each, name in ((before, "before"), (after, "after"))]  # fmt: skip
    far = lookup("gauge departure").high if gauge is None else number(gauge, "1", "gauge")
    own = Estimate.within(Q_(0, "1"), Q_(far, "1"), "gauge departure")
    fall = (shown[0] - shown[1]).to("1")
    if not fall.value.magnitude > far:
        raise Refusal(f"a displayed charge that goes from {before} to {after}",
                      f"one that falls by more than the {show(Q_(100 * far, '%'))} that a gauge may be off",
                      "Wait until it has fallen far; half or more tells most.")  # fmt: skip
    return fall + (coefficient("gauge departure") if gauge is None else own)


def _logged_h(log: MeterLog) -> float:
    """Return how long the run in a log lasted [h]; refuse one that goes on after the unit switched off."""
    ends_s = (log.start_s + log.duration_s)[log.power_w > 0]
    pauses_s = np.diff(ends_s, prepend=0.0)
    if ends_s.size and log.span_s - ends_s[-1] > pauses_s.max():
        rest, remedy = Q_((log.span_s - ends_s[-1]) / 3600, "h"), "or give the run time: Rundown(load=log, hours=...)."
        raise Refusal(f"{log.name}, which ends with {show(rest)} without any draw",
                      "a log that ends when the unit switches off", f"Cut it there, {remedy}")  # fmt: skip
    return log.span_s / 3600
