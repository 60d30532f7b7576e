"""How a measured power goes through time: the log's own days, or its levels, and its defrosts."""

from __future__ import annotations

import math

import numpy as np

from ..estimate import Estimate
from ..model.pattern import Pattern
from ..units import Q_
from .cycles import Switching
from .days import DAY_S, stated_band
from .meterlog import MeterLog


def through_time(log: MeterLog, seen: Switching, defrosts_per_h: float) -> Pattern:
    """Return how the power goes through time: the log's own whole days, else its levels.

    Days are brought to one mean, since how they differ is in the day-to-day spread; what was not seen, or does not
    belong to the long run, is taken at that mean.
    """
    days = int(log.span_s / DAY_S)
    if log.kind != "power" or not days:
        return Pattern.of_levels(*_levels_of(log.power_w, _time_shares(log, seen, defrosts_per_h)))
    held = (seen.steady | seen.defrost) & (log.start_s < days * DAY_S)
    begin_s, power_w = log.start_s[held], log.power_w[held]
    end_s = np.minimum(begin_s + log.duration_s[held], days * DAY_S)
    day = np.minimum(((begin_s + end_s) / 2 // DAY_S).astype(int), days - 1)
    sums = [np.bincount(day, weights=each, minlength=days) for each in (end_s - begin_s, (end_s - begin_s) * power_w)]
    mean_w = sums[1].sum() / sums[0].sum()
    day_w = np.divide(sums[1], sums[0], out=np.full(days, mean_w), where=sums[0] > 0)
    cuts_s = np.column_stack([begin_s, end_s]).ravel()  # gaps lie between one end and the next begin
    powers_w = np.column_stack(
        [power_w * (mean_w / np.where(day_w > 0, day_w, mean_w or 1))[day], np.full(power_w.size, mean_w)]
    )
    edges_s = np.concatenate([[0.0], cuts_s, [days * DAY_S]])
    steps_s, all_w = np.diff(edges_s), np.append(mean_w, powers_w.ravel())
    kept = steps_s > 1e-6
    clock_h = None if log.begins is None else (log.begins - log.begins.normalize()).total_seconds() / 3600
    return Pattern(steps_s[kept] / 3600, all_w[kept], clock_h)


def _time_shares(log: MeterLog, seen: Switching, defrosts_per_h: float) -> np.ndarray:
    """Return each step's share of the long run's time [-]: steady steps, and defrosts as often as they come."""
    steady_s, defrost_s = log.duration_s * seen.steady, log.duration_s * seen.defrost
    if not seen.defrost.any():
        return steady_s / steady_s.sum()
    part = defrosts_per_h * float(seen.defrosts["duration_min"].mean()) / 60
    return (1 - part) * steady_s / steady_s.sum() + part * defrost_s / defrost_s.sum()


def _levels_of(power_w: np.ndarray, duration_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the powers [W] and their shares of time [-], in at most 201 levels."""
    width = float(power_w.max()) / 200 or 1.0
    bins = np.round(power_w / width).astype(np.int64)
    time = np.bincount(bins, weights=duration_s)
    energy = np.bincount(bins, weights=duration_s * power_w)
    held = time > 0
    return energy[held] / time[held], time[held] / time.sum()


def defrost_energy(seen: Switching) -> Estimate:
    """Return the extra energy of one defrost, dE_df [Wh]."""
    extra_wh = list(seen.defrosts["extra_wh"].dropna()) if seen.defrost.any() else [0.0]
    if len(extra_wh) == 1:
        return Estimate.exact(Q_(extra_wh[0], "Wh"))
    return Estimate.readings(extra_wh, "energy of a defrost", "Wh")


def defrost_rate(log: MeterLog, seen: Switching) -> Estimate:
    """Return how often it defrosts, 1 / t_df [1/h]; t_df is the mean time between the defrosts seen.

    A timer on running time varies as the draw does, hence the band. A single defrost leaves the rate
    open: one in the log's time, give or take one.
    """
    if not seen.defrost.any():
        return Estimate.exact(Q_(0.0, "1/h"))
    at_h = seen.defrosts["start_h"].to_numpy()
    if at_h.size == 1:
        once = Q_(3600 / float(log.duration_s.sum()), "1/h")
        return Estimate.within(once, once, "time between defrosts")
    intervals = at_h.size - 1
    rate = Q_(intervals / float(at_h[-1] - at_h[0]), "1/h")
    return Estimate.standard(rate, rate * stated_band() / math.sqrt(intervals), "time between defrosts")
