"""The line through run-downs: fitted by weights, with runs that were stopped early as bounds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from ..estimate import Estimate, estimate, values
from ..sources import coefficient
from ..units import Refusal


@dataclass(frozen=True)
class LineFit:
    """The numbers behind a line: run times at the reference temperature, loads, and what was stopped early."""

    hours: list[Estimate]
    powers: list[Estimate]
    early: np.ndarray
    standby: Estimate | None

    def __post_init__(self) -> None:
        loads = len({float(power_w) for power_w in values(self.powers)[~self.early]})
        remedy = 'Add a run-down at another load, best with nothing plugged in: ("0 W", "56 h")'
        if loads < (2 if self.standby is None else 1):
            given = f"run-downs at {loads} load{'s' * (loads != 1)}, leaving out what was stopped early"
            raise Refusal(given, "two loads or more", f'{remedy}; or give the standby too: standby="15 W".')
        if self.standby is not None and loads > 1:
            raise Refusal("a standby, and run-downs that tell it", "one of them", "Leave standby out.")

    @cached_property
    def measured_h(self) -> np.ndarray:
        """The run times as plain numbers [h]."""
        return values(self.hours)

    @cached_property
    def reference_h(self) -> float:
        """Geometric mean of the full runs' times [h]."""
        return float(np.exp(np.log(self.measured_h[~self.early]).mean()))

    @cached_property
    def own(self) -> np.ndarray:
        """What a run time has of error by itself, beyond that of all runs, over the run time [-]."""
        return np.array([float(each.u.magnitude) for each in self.hours]) / self.measured_h

    @property
    def alone(self) -> np.ndarray:
        """Which runs had nothing plugged in."""
        return values(self.powers) == 0

    def inputs(self, doubts: Sequence[Estimate], bend: Estimate) -> list[Estimate]:
        """Return all that the line depends on, in the order that `line` takes; ``doubts`` are k and i."""
        return [*self.hours, *self.powers, *doubts, bend, *([] if self.standby is None else [self.standby])]

    def _axes(self, at: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return (2) of `fit_rundowns`: P + c P^2 [W], the share of E used up in an hour, and its size [1/h].

        The size weights the runs; it is that of the run times as measured and holds still while they vary.
        """
        hours_h, power_w, (k, idles, c, *_) = np.split(at, [len(self.hours), 2 * len(self.hours)])
        used, size = ((each_h / self.reference_h) ** (1 - 1 / k) / each_h for each_h in (hours_h, self.measured_h))
        return power_w + c * power_w**2, used * np.where(self.alone, idles, 1), size

    def line(self, at: np.ndarray, spread: float) -> np.ndarray:
        """Return E [Wh] and S [W]."""
        (x, y, size), full = self._axes(at), ~self.early
        size = size * np.hypot(1, self.own / spread)
        if self.standby is not None:
            return np.array([np.mean((at[-1] + x[full]) / y[full]), at[-1]])
        alpha, beta = weighted_line(x[full], y[full], size[full])
        if self.early.any():
            alpha, beta = with_bounds(x, y, np.where(self.early, alpha + beta * x, size), self.early, spread)
        if not beta > 0:
            raise Refusal("run times that do not fall with the load", "shorter runs at heavier loads",
                          "Check which run time belongs to which load.")  # fmt: skip
        return np.array([1 / beta, alpha / beta])

    def off(self, at: np.ndarray, spread: float) -> np.ndarray:
        """Return by how much each run lasted longer than the line says, on a log scale [-]."""
        (x, y, _), (energy, standby) = self._axes(at), self.line(at, spread)
        return np.log((standby + x) / energy / y)

    def judged(
        self, doubts: Sequence[Estimate], bend: Estimate, stated: float, known: float
    ) -> tuple[list[Estimate], float, float, tuple[bool, bool]]:
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

        at, full = values(self.inputs(doubts, bend)), ~self.early
        u = np.array([float(doubt.u.magnitude) for doubt in doubts])
        d, first = self.off(at, stated)[full], 2 * len(self.hours)
        steps = np.eye(at.size)[first : first + u.size] * np.maximum(0.1 * u, 1e-9)[:, np.newaxis]
        g = np.array([(self.off(at + step, stated)[full] - d) / step.sum() for step in steps]).T
        free = d.size - (2 if self.standby is None else 1)

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


def with_standby(energy: Estimate, standby: Estimate) -> tuple[Estimate, Estimate]:
    """Return energy [Wh] and standby [W] of a line, given that a standby is never below zero.

    S' = s + u l + (1 - z l - l^2)^(1/2) (S - s),   z = s/u,   l = phi(z)/Phi(z)         (1)
    E' = E + (cov(E, S)/u^2) (S' - S)                                                         (2)

    Mean and standard deviation of a normal distribution that is cut off at zero; the energy, found with the
    standby, goes with it, so that a run time between the tested loads stays.
    """
    from scipy.special import log_ndtr

    s, u = float(standby.value.magnitude), float(standby.u.magnitude)
    if not u:
        return energy, standby
    z = s / u
    ratio = math.exp(-(z**2) / 2 - float(log_ndtr(z))) / math.sqrt(2 * math.pi)
    narrower = math.sqrt(1 - z * ratio - ratio**2)
    found = (standby - standby.value) * narrower + standby.value + standby.u * ratio  # (1)
    slope = energy.correlation(standby) * (energy.u / standby.u)
    return energy + (found - standby) * slope, found  # (2)


def weighted_line(x: np.ndarray, y: np.ndarray, u: np.ndarray) -> tuple[float, float]:
    """Return intercept and slope of the line through y(x) with standard uncertainties in proportion to ``u``."""
    weight = u**-2.0 / np.sum(u**-2.0)
    middle = weight @ x
    slope = weight @ ((x - middle) * y) / (weight @ (x - middle) ** 2)
    return float(weight @ y - slope * middle), float(slope)


def with_bounds(
    x: np.ndarray, y: np.ndarray, size: np.ndarray, early: np.ndarray, spread: float
) -> tuple[float, float]:
    """Return intercept and slope when some y, those of runs stopped early, are "at most".

    Each such y is put where it lies on average, given the line and that it is below its bound; the line is
    fitted anew until it stays (expectation and maximization of a censored normal).
    """
    from scipy.special import log_ndtr

    alpha, beta = weighted_line(x[~early], y[~early], size[~early])
    for _ in range(1000):
        fitted, before = alpha + beta * x, (alpha, beta)
        z = (y - fitted) / (spread * size)
        below = np.exp(-(z**2) / 2 - log_ndtr(z)) / math.sqrt(2 * math.pi)
        alpha, beta = weighted_line(x, np.where(early, fitted - spread * size * below, y), size)
        if np.allclose(before, (alpha, beta), rtol=1e-13, atol=0):
            break
    return alpha, beta


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
