"""How far one day's draw lies from the next, and what a log of a few days can say about it.

A stated band is updated by the days seen. Days that follow each other are alike, because weather and
habits last: three of them say less about the long run than three days picked at random.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..known import student
from ..sources import lookup
from .cycles import Switching
from .log import MeterLog

DAY_S = 86_400.0
WHOLE_DAY = 0.8  # share of 24 h that must be covered for a day to count
LONGEST_STEP = 1.25  # days; longer steps cannot tell one day from the next
FEWEST_DAYS = 3  # from here on the days seen update the stated band
BAND_DAYS = lookup("weight of the stated day-to-day spread").value
LIKENESS = lookup("likeness of successive days").value


@dataclass(frozen=True)
class DaySpread:
    """How days differ, and what that rests on.

    Parameters
    ----------
    of_day_w : float
        Standard deviation of one day's mean power about the long run's [W].
    of_mean_w : float
        Standard deviation of the log's mean power about the long run's [W].
    dof : float
        Degrees of freedom of both [-].
    days : float
        Covered time of the log, in days [-].
    whole_days : int
        Days of it that were covered whole [-].
    """

    of_day_w: float
    of_mean_w: float
    dof: float
    days: float
    whole_days: int


def day_spread(log: MeterLog, seen: Switching, mean_w: float) -> DaySpread:
    """Return how far one day lies from the long run's mean, and how far the log's mean does.

    s^2 = (v0 s0^2 + sum (P_day - mean)^2 / c) / (v0 + n - 1),   c = 1 - (k(n) - 1) / (n - 1)  (1)
    u^2 = s^2 k(T) / T                                                                        (2)

    The stated band s0, held with the weight of v0 days, is updated by the n whole days of the log; c
    makes up for days so alike that n of them show too little of the spread. T is the log's covered time
    in days. Defrosts are left out.

    Notes
    -----
    With fewer than three whole days s is the band. From one day on s0 is at most the spread of the
    readings themselves: a steady load gets no band.

    References
    ----------
    A. Gelman et al., Bayesian Data Analysis, 3rd ed., CRC Press 2013, 2.6 (a variance with a scaled
    inverse chi-square prior), from memory.
    """
    days = float(log.duration_s[seen.steady | seen.defrost].sum()) / DAY_S
    band_w = stated_band() * mean_w
    if log.kind == "power" and days >= WHOLE_DAY:
        square = np.average((log.power_w - mean_w) ** 2, weights=log.duration_s)
        band_w = min(band_w, math.sqrt(square))
    day_w = _whole_days_w(log, seen)
    n, squares, dof = day_w.size, 0.0, BAND_DAYS
    if n >= FEWEST_DAYS:
        squares = float(((day_w - day_w.mean()) ** 2).sum()) / (1 - (likeness_factor(n) - 1) / (n - 1))
        dof = BAND_DAYS + n - 1
    of_day_w = math.sqrt((BAND_DAYS * band_w**2 + squares) / dof)  # (1)
    return DaySpread(of_day_w, of_day_w * math.sqrt(likeness_factor(days) / days), dof, days, n)  # (2)


def _whole_days_w(log: MeterLog, seen: Switching) -> np.ndarray:
    """Return the mean power outside defrosts of each whole day of the log [W].

    Days end where a cycle begins. A log whose steps are longer than a day cannot tell days apart.
    """
    if log.duration_s.max() > LONGEST_STEP * DAY_S:
        return np.zeros(0)
    ends_s = log.start_s + log.duration_s
    marks_s = np.arange(log.start_s[0], ends_s[-1] + (1 - WHOLE_DAY) * DAY_S, DAY_S)
    if seen.defrost.any() or not seen.steady.all():
        begins_s = 3600 * seen.cycles["start_h"].to_numpy()
        marks_s = begins_s[np.abs(begins_s[:, None] - marks_s).argmin(axis=0)]
    knots_s = np.column_stack([log.start_s, ends_s]).ravel()

    def between_marks(per_step: np.ndarray) -> np.ndarray:
        up_to = np.cumsum(np.column_stack([np.zeros(per_step.size), per_step]).ravel())
        return np.diff(np.interp(marks_s, knots_s, up_to))

    covered_s = between_marks(log.duration_s * (seen.steady | seen.defrost))
    time_s, energy_ws = (
        between_marks(log.duration_s * seen.steady),
        between_marks(log.duration_s * log.power_w * seen.steady),
    )
    whole = (covered_s >= WHOLE_DAY * DAY_S) & (time_s > 0)
    return energy_ws[whole] / time_s[whole]


def stated_band() -> float:
    """Return the stated band of day-to-day spread as a standard deviation over the mean [-].

    The band is where a day lies in 95 of 100 cases before any was seen: s0 = half width / t(v0).
    """
    return lookup("day-to-day spread").high / student(BAND_DAYS)


def likeness_factor(days: float) -> float:
    """Return by how much the variance of a mean over ``days`` exceeds that of as many unlike days [-].

    k(n) = (1 + r) / (1 - r) - 2 r (1 - r^n) / (n (1 - r)^2)                                  (1)

    for days that resemble each other as r, r^2, r^3 ... the further they lie apart. Below one day
    k = 1: there cycles and the hour of the day count, not the weather.
    """
    r, n = LIKENESS, max(days, 1.0)
    return (1 + r) / (1 - r) - 2 * r * (1 - r**n) / (n * (1 - r) ** 2)  # (1)
