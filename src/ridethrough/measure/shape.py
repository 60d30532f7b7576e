"""How a measured power goes through time: the log's own days, or its levels, and its defrosts."""

from __future__ import annotations

import math

import numpy as np

from ..estimate import Estimate
from ..model.pattern import Pattern
from ..sources import lookup
from ..units import Q_
from .cycles import Switching
from .meterlog import MeterLog

DAY_S = 86_400.0
LONGEST_STEP_S = 3.5 * 3600  # from which energies read one by one no longer tell the hours of a day


def through_time(log: MeterLog, seen: Switching, rhythm: float) -> Pattern:
    """Return how the power goes through time: the log's own whole days, or all of it where it is shorter than one.

    P(t) mean / (mean of the 24 h about t), defrosts left out of both means                   (1)

    How days differ is in the day-to-day spread, so that it is taken out here. What was not seen, or does not belong
    to the long run, is taken at the mean. Readings too far apart to tell the hours of a day stand for one in which as
    much comes back as ``rhythm`` says: half of it above the mean, half below [-].
    """
    if log.kind != "power" and log.duration_s.max() > LONGEST_STEP_S:
        return Pattern(np.full(2, DAY_S / 7200), np.array([1 + min(rhythm, 1), 1 - min(rhythm, 1)]))
    days = int(log.span_s / DAY_S)
    round_s = days * DAY_S or log.span_s
    held = (seen.steady | seen.defrost) & (log.start_s < round_s)
    begin_s, power_w = log.start_s[held], log.power_w[held]
    end_s = np.minimum(begin_s + log.duration_s[held], round_s)
    mean_w = float(np.average(power_w, weights=end_s - begin_s))
    edges_s = np.concatenate([[0.0], np.column_stack([begin_s, end_s]).ravel(), [round_s]])  # gaps between steps
    all_w = np.append(mean_w, np.column_stack([power_w, np.full(power_w.size, mean_w)]).ravel())
    calm = np.append(True, np.column_stack([seen.steady[held], np.ones(power_w.size, bool)]).ravel())
    about_w = _day_about(edges_s, all_w, calm)
    kept = np.diff(edges_s) > 1e-6
    clock_h = (log.begins - log.begins.normalize()).total_seconds() / 3600 if days and log.begins is not None else None
    shape_w = all_w * np.average(about_w, weights=np.diff(edges_s)) / np.where(about_w > 0, about_w, mean_w or 1)  # (1)
    return Pattern(np.diff(edges_s)[kept] / 3600, shape_w[kept], clock_h)


def _day_about(edges_s: np.ndarray, power_w: np.ndarray, calm: np.ndarray) -> np.ndarray:
    """Return for each step the mean power of the calm ones in the 24 h about it, the record going round [W]."""
    middles_s, span_s = (edges_s[:-1] + edges_s[1:]) / 2, edges_s[-1]
    round_s = np.concatenate([edges_s - span_s, edges_s, edges_s + span_s])

    def about(per_step: np.ndarray) -> np.ndarray:
        up_to = np.append(0.0, np.cumsum(np.diff(edges_s) * per_step * calm))
        up_to = np.concatenate([up_to - up_to[-1], up_to, up_to + up_to[-1]])
        return np.diff([np.interp(middles_s + side * DAY_S / 2, round_s, up_to) for side in (-1, 1)], axis=0)[0]

    return np.asarray(about(power_w) / np.maximum(about(np.ones(power_w.size)), 1e-9))


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
    return Estimate.standard(
        rate, rate * lookup("spread of defrost intervals").value / math.sqrt(intervals), "time between defrosts"
    )
