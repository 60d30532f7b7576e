"""A run-down: one full unit, one load, run until it switched off; and the line through several, as numbers.

The line is fitted by weights, with runs that were stopped early as bounds.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pint

from ..estimate import Estimate, estimate, not_negative, values
from ..model.load import Load
from ..model.temperature import TemperatureCurve
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
            shown = Estimate.exact(Q_(given.mean_power_w(), "W"))
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
            return given.meter.gain * shown + given.meter.offset + given.rounding  # (1)
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


# -- the line through several -----------------------------------------------------------------------


class LineFit:
    """The line through run-downs, as numbers: all that it depends on, and energy and standby as they come of that.

    ``runs`` have one count of packs, ``given`` are the settings of `fit_rundowns`, ``doubts`` k and i; it holds for one
    temperature, the ``room``'s [degC].
    """

    def __init__(self, runs: Sequence[Rundown], given: Mapping[str, Any], doubts: list[Estimate],
                 room: pint.Quantity | None, curve: TemperatureCurve) -> None:  # fmt: skip
        powers = [run.power(given["meter"] or Meter()) for run in runs]
        standby = [] if given["standby"] is None else [not_negative(given["standby"], "W", "standby")]
        hours = [run.lasts if run.room is None else (run.lasts * (curve.at(room) / curve.at(run.room))).to("h")  # (3)
                 for run in runs]  # fmt: skip
        self.measured_h, self.load_w, self.early = values(hours), values(powers), np.array([r.at_least for r in runs])
        self.told = bool(standby)
        loads = np.unique(self.load_w[~self.early]).size
        remedy = 'Add a run-down at another load, best with nothing plugged in: ("0 W", "56 h")'
        if loads < (1 if self.told else 2):
            told = f"run-downs at {loads} load{'s' * (loads != 1)}, leaving out what was stopped early"
            raise Refusal(told, "two loads or more", f'{remedy}; or give the standby too: standby="15 W".')
        if self.told and loads > 1:
            raise Refusal("a standby, and run-downs that tell it", "one of them", "Leave standby out.")
        if self.told and not (standby[0].value.magnitude or self.load_w[~self.early].any()):
            raise Refusal(
                "a standby of zero, and run-downs with nothing plugged in",
                "something that emptied the unit",
                'Write the standby that was measured, standby="15 W"; or add a run-down at another load.',
            )
        self.inputs = [*hours, *powers, *doubts, _bend(given["rated"], self.load_w.max()), *standby]
        self.reference_h = float(np.exp(np.log(self.measured_h[~self.early]).mean()))
        self.own = np.array([float(each.u.magnitude) for each in hours]) / self.measured_h  # error beside that of all

    def _axes(self, at: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return (2) of `fit_rundowns`: P + c P^2 [W], the share of E used up in an hour, and its size [1/h].

        The size weights the runs; it is that of the run times as measured and holds still while they vary.
        """
        hours_h, power_w, (k, idles, c, *_) = np.split(at, [self.own.size, 2 * self.own.size])
        used, size = ((each_h / self.reference_h) ** (1 - 1 / k) / each_h for each_h in (hours_h, self.measured_h))
        return power_w + c * power_w**2, used * np.where(self.load_w == 0, idles, 1), size

    def line(self, at: np.ndarray, spread: float) -> np.ndarray:
        """Return E [Wh] and S [W]."""
        (x, y, size), full = self._axes(at), ~self.early
        if self.told:
            return np.array([np.mean((at[-1] + x[full]) / y[full]), at[-1]])
        beta, alpha = straight(x, y, spread * size * np.hypot(1, self.own / spread), self.early, spread)
        if not beta > 0:
            raise Refusal("run times that do not fall with the load", "shorter runs at heavier loads",
                          "Check which run time belongs to which load.")  # fmt: skip
        return np.array([1 / beta, alpha / beta])

    def off(self, at: np.ndarray, spread: float) -> np.ndarray:
        """Return by how much each run lasted longer than the line says, on a log scale [-]."""
        (x, y, _), (energy, standby) = self._axes(at), self.line(at, spread)
        return np.log((standby + x) / energy / y)

    def judged(self, stated: float, known: float) -> tuple[list[Estimate], float, float, tuple[bool, bool]]:
        """Return k and i as the runs leave them, a run's spread and its degrees of freedom, and what was found.

        That is whether the runs disagree, and whether the unit idles deeper with nothing plugged in.

        C = r^2 1 + O + G U G',   chi2 = d C^-1 d',   r'^2 = r^2 (known + chi2) / (known + free)     (1)
        V = U - U G' C'^-1 G U,   m = -U G' C'^-1 d,   u'^2 = V + m^2                          (2)

        d are the runs' distances from the line, O their own errors' variances (a gauge's), G how they move with the
        doubts, U the variances of these, and C' is C with r': spread and doubts share what the runs disagree in. A
        doubt keeps its value, so that the line stays straight, and how far from it the runs put it goes into its
        uncertainty.
        """
        from scipy.special import chdtri

        at, full, first = values(self.inputs), ~self.early, 2 * self.own.size
        doubts = self.inputs[first : first + 2]
        u = np.array([float(doubt.u.magnitude) for doubt in doubts])
        steps = np.eye(at.size)[first : first + 2] * np.maximum(0.1 * u, 1e-9)[:, np.newaxis]
        d = self.off(at, stated)[full]
        g = np.array([(self.off(at + step, stated)[full] - d) / step.sum() for step in steps]).T
        free = d.size - (1 if self.told else 2)

        def left(spread: float, u: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
            apart = np.diag(spread**2 + self.own[full] ** 2) + (g * u**2) @ g.T
            gain = np.linalg.solve(apart, g * u**2).T
            return float(d @ np.linalg.solve(apart, d)), u**2 - np.diag(gain @ g) * u**2, -gain @ d

        chi2, *_ = left(stated, u)
        spread = stated * math.sqrt((known + chi2) / (known + free))  # (1)
        _, v, m = left(spread, u)
        if m[1] < 0:  # no unit idles less deep: what the runs disagree in is not that
            _, alone, m = left(spread, u * [1, 0])
            v[0] = alone[0]
        wider = np.hypot(np.sqrt(v), m) / np.where(u > 0, u, np.inf)  # (2)
        judged = [(doubt - doubt.value) * float(w) + doubt.value for doubt, w in zip(doubts, wider, strict=True)]
        disagree, deeper = free > 0 and chi2 > chdtri(free, 0.05), m[1] > 2 * math.sqrt(v[1]) > 0
        return judged, spread, known + free, (bool(disagree), bool(deeper))


def straight(x: np.ndarray, y: np.ndarray, u: np.ndarray, early: np.ndarray, spread: float) -> np.ndarray:
    """Return slope and intercept of the line through y(x), when some y, those of runs stopped early, are "at most".

    ``u`` are standard uncertainties; of runs stopped early the ``spread`` of what the line says counts. Each such y is
    put where it lies on average, given the line and that it is below its bound; the line is fitted anew until it stays
    (expectation and maximization of a censored normal).
    """
    line = np.polyfit(x[~early], y[~early], 1, w=1 / u[~early])
    fitted = np.polyval(line, x)
    u = np.where(early, spread * fitted, u)
    for _ in range(1000 if early.any() else 0):
        line = np.polyfit(x, np.where(early, fitted - u * density_over_chance((y - fitted) / u), y), 1, w=1 / u)
        before, fitted = fitted, np.polyval(line, x)
        if np.allclose(before, fitted, rtol=1e-13, atol=0):
            break
    return line


def density_over_chance(z: Any) -> Any:
    """Return phi(z)/Phi(z) of the standard normal distribution: by how much its mean falls, cut off above z [-]."""
    from scipy.special import log_ndtr

    return np.exp(-(z**2) / 2 - log_ndtr(z)) / math.sqrt(2 * math.pi)


def _bend(rated: Any, largest_w: float) -> Estimate:
    """Return c [1/W]: 0, and at most the table's resistive loss over the rated power."""
    smallest = max(lookup("smallest rating").value, largest_w)
    rated_w = smallest if rated is None else number(positive(rated, "W", "rated"), "W", "rated")
    if rated_w < largest_w:
        given = f"rated={rated!r} and a run-down at {largest_w:g} W"
        raise Refusal(given, "a rating no smaller than the loads", "Check both.")
    loss = lookup("resistive loss")
    u = Q_(loss.high / rated_w / math.sqrt(3), "1/W")
    return Estimate.standard(Q_(0, "1/W"), u, "bend of the loss", source=loss.source, entries=(loss.name,))


def repeatability_of(given: Any) -> tuple[float, float]:
    """Return the spread of a run [-] and its degrees of freedom; what is stated is known as well as the table's.

    dof = (1/2) (r / u(r))^2                                                                  (1)
    """
    table = coefficient("run-to-run repeatability")
    stated = table if given is None else estimate(given, "1", "repeatability")
    if not stated.value.magnitude > 0:
        raise Refusal(f"repeatability={given!r}", "a spread above zero", 'Write repeatability="1.5 %".')
    known = stated if stated.u.magnitude else table
    return float(stated.value.magnitude), 0.5 * float(known.value.magnitude / known.u.magnitude) ** 2  # (1)
