"""What a log shows of an appliance that switches on and off: runs, cycles, starts, defrosts.

A gap is where one step ends before the next begins; nothing is carried across it. A *run* is a stretch of steps in
the same state; a *cycle* is an on run with the off run after it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import pandas as pd

from .meterlog import MeterLog

CLEAR_SPLIT = 0.85  # share of the variance of log power that two levels explain; one hump gives 0.64, a ramp 0.75
CLEAR_STEP = 2.5  # running takes at least this many times the power of standing still
STEADY_SPEED = 0.25  # quartile range of log running power: more, and the compressor varies its speed
SLOWEST_STEP_S = 300.0  # a record sampled more slowly cannot show cycles
SHORTEST_RUN_S = 90.0  # shorter: a lamp, a start, noise
START_S, START_TIMES = 60.0, 1.5  # a start: this soon after switching on, this many times the running power
HEATER_S, HEATER_TIMES = 180.0, 1.6  # a defrost heater: at least this long, this many times the running power
HEATER_SHARE = 0.12  # share of the time that heaters of defrosts, and the run after them, take at most
RECOVERY_S = 7200.0  # after the heater's, where there are no runs to count
RECOVERY_RUNS = 2  # on runs after the heater's that still belong to the defrost
COOL_DOWN_TIMES = 3.0  # a first run this many times the usual one is a first cool-down
FEWEST_USUAL = 3  # runs from which a usual one can be told
WHOLE_CYCLES = 0.5  # share of the covered time that whole cycles and defrosts must fill to stand for it


@dataclass(frozen=True)
class Switching:
    """How an appliance switches; where it does not, ``running_w`` is None and the tables are empty.

    Parameters
    ----------
    on : array of bool, one per step
        Whether it runs.
    steady, defrost : arrays of bool, one per step
        Steps of regular whole cycles, and of whole defrosts with their recovery; where these cover too little, every
        step is steady.
    inrush : array of bool, one per step
        Steps that hold the inrush of a start.
    running_w : float or None
        Median power while it runs [W].
    cycles : pandas.DataFrame
        Regular whole cycles: start_h, on_min, off_min, energy_wh, running_w.
    defrosts : pandas.DataFrame
        Defrosts with their recovery: start_h, duration_min, energy_wh, extra_wh (over steady running); of
        one that was cut off only start_h is known.
    told : tuple of str
        The same in words.
    """

    on: np.ndarray
    steady: np.ndarray
    defrost: np.ndarray
    inrush: np.ndarray
    running_w: float | None
    cycles: pd.DataFrame
    defrosts: pd.DataFrame
    told: tuple[str, ...] = ()


class _Runs(NamedTuple):
    """Runs in their order: the step with which each begins (and the number of steps at the end), its state, which
    gapless piece of the log it lies in, when it begins and how long it lasts."""

    first: np.ndarray
    on: np.ndarray
    piece: np.ndarray
    start_s: np.ndarray
    length_s: np.ndarray

    @property
    def switched_on(self) -> np.ndarray:
        """Which runs begin with a switching on that was seen."""
        return self.on & (np.r_[-1, self.piece[:-1]] == self.piece)

    def by_step(self, of_run: np.ndarray) -> np.ndarray:
        """Return for every step what is true of its run."""
        return np.repeat(of_run, np.diff(self.first))

    def steps(self, begin: np.ndarray, end: np.ndarray) -> np.ndarray:
        """Return which steps lie in runs ``begin`` to before ``end``, for each pair."""
        inside = np.zeros(self.first[-1], bool)
        for a, b in zip(self.first[begin], self.first[end], strict=True):
            inside[a:b] = True
        return inside


def find_switching(log: MeterLog) -> Switching:
    """Return the cycles, starts and defrosts of a log; of one that holds no power, none.

    Notes
    -----
    Defrosts are recognised by a heater that draws clearly more than the compressor. Where the defrost
    takes less, it stays in the cycles, and their mean holds all the same. Where there are no cycles, a fixed time
    after the heater counts as its recovery.
    """
    level = on_level(log.duration_s, log.power_w) if log.kind == "power" else None
    if level is None:
        return _unswitched(log)
    on = _without_short_runs(log, log.power_w >= level)
    running_w = weighted_median(log.power_w[on], log.duration_s[on])
    runs, heater = _runs(log, on), _heating(log, HEATER_TIMES * running_w)
    (opening, end), cool_down = _defrosts(runs, heater), _cool_down(runs)
    opens = np.flatnonzero(_regular(runs, opening, end, cool_down))
    soon = runs.by_step(runs.switched_on) & (log.start_s - runs.by_step(runs.start_s) < START_S)
    inrush = soon & (log.power_w > START_TIMES * running_w) & ~heater
    starts, caught = runs.switched_on.sum(), np.count_nonzero(np.diff(inrush.astype(int), prepend=0) == 1)
    seen = _seen(log, runs, opening, end, opens, runs.steps(opens, opens + 2))
    told = [
        f"{opens.size} regular whole cycles and {opening.size} defrosts, kept apart",
        f"{starts} starts, the inrush caught in {caught}: a meter that averages over its steps misses most",
    ]
    if cool_down.size:
        told.append(f"a first cool-down that ran {runs.length_s[cool_down[0]] / 3600:.1f} h was left out of the mean")
    if seen.steady.all():
        told.append("whole cycles cover too little of the log: the mean is over all of it")
    return replace(seen, on=on, inrush=inrush, running_w=running_w, told=tuple(told))


def _unswitched(log: MeterLog) -> Switching:
    """Return the defrosts of a log that shows no cycles: a heater far above all else, and some time to recover."""
    recovering = np.zeros(log.start_s.size, bool)
    if log.kind == "power" and log.duration_s.max() <= SLOWEST_STEP_S:
        top_w = np.quantile(log.power_w, 1 - HEATER_SHARE, weights=log.duration_s, method="inverted_cdf")
        heated_s = np.where(_heating(log, HEATER_TIMES * top_w), log.start_s + log.duration_s, -np.inf)
        recovering = log.start_s < np.maximum.accumulate(heated_s) + RECOVERY_S
    runs = _runs(log, recovering)
    opening = np.flatnonzero(runs.on)
    told = f"no cycles: steady, or a compressor that varies its speed; {opening.size} defrosts, kept apart"
    seen = _seen(log, runs, opening, opening + 1, opening[:0], ~recovering)
    return replace(seen, told=(told,) if log.kind == "power" else ())


def _seen(log: MeterLog, runs: _Runs, opening: np.ndarray, end: np.ndarray, opens: np.ndarray,
          steady: np.ndarray) -> Switching:  # fmt: skip
    """Return what cycles and defrosts come to.

    dE_df = E - P_ss t,   over a defrost and its recovery                                     (1)

    Defrosts go from the runs ``opening`` to before ``end``, cycles begin with the runs ``opens``.
    """
    last = runs.on.size - 1
    seen = np.minimum(end, last)
    whole = (opening > 0) & (end <= last) & (runs.piece[opening - 1] == runs.piece[seen])
    start_h, length_min = runs.start_s / 3600, runs.length_s / 60
    used_wh = np.r_[0.0, np.cumsum(log.power_w * log.duration_s) / 3600][runs.first]  # up to each run's beginning
    hours = np.where(whole, start_h[seen] - start_h[opening], np.nan)
    spent_wh = np.where(whole, used_wh[seen] - used_wh[opening], np.nan)
    steady_w = np.average(log.power_w[steady], weights=log.duration_s[steady]) if steady.any() else np.nan
    defrosts = pd.DataFrame({"start_h": start_h[opening], "duration_min": hours * 60, "energy_wh": spent_wh,
                             "extra_wh": spent_wh - steady_w * hours})  # fmt: skip # (1)
    cycles = pd.DataFrame({
        "start_h": start_h[opens], "on_min": length_min[opens], "off_min": length_min[opens + 1],
        "energy_wh": used_wh[opens + 2] - used_wh[opens],
        "running_w": (used_wh[opens + 1] - used_wh[opens]) / (runs.length_s[opens] / 3600),
    })  # fmt: skip
    defrost = runs.steps(opening[whole], end[whole])
    filled_s, cut_off = log.duration_s[steady | defrost].sum(), len(defrosts) and defrosts["extra_wh"].isna().all()
    if cut_off or filled_s < WHOLE_CYCLES * log.duration_s.sum():
        steady, defrost = np.ones_like(steady), np.zeros_like(defrost)
    none = np.zeros_like(steady)
    return Switching(none, steady, defrost, none, None, cycles, defrosts)


# -- runs ----------------------------------------------------------------------------------------------


def _runs(log: MeterLog, on: np.ndarray) -> _Runs:
    """Return the runs of a log whose steps are ``on`` or not."""
    end_s = log.start_s + log.duration_s
    gap = np.r_[True, log.start_s[1:] - end_s[:-1] > 1e-3]
    first = np.flatnonzero(gap | np.r_[True, on[1:] != on[:-1]])
    after = np.r_[first[1:], on.size]
    start_s = log.start_s[first]
    return _Runs(np.r_[first, on.size], on[first], np.cumsum(gap)[first], start_s, end_s[after - 1] - start_s)


def _without_short_runs(log: MeterLog, on: np.ndarray) -> np.ndarray:
    """Return ``on`` with every run too short for a compressor given to its neighbours."""
    on = on.copy()
    while True:
        runs = _runs(log, on)
        length, piece = runs.length_s, runs.piece
        inner = np.zeros(length.size, bool)
        inner[1:-1] = (piece[2:] == piece[:-2]) & (length[1:-1] <= np.minimum(length[2:], length[:-2]))
        short = np.flatnonzero(inner & (length < SHORTEST_RUN_S))
        if not short.size:
            return on
        apart = short[np.r_[True, np.diff(short) > 1]]  # of two neighbours only the first
        on ^= runs.steps(apart, apart + 1)


def _cool_down(runs: _Runs) -> np.ndarray:
    """Return which run is that of a first cool-down, if one is."""
    on = np.flatnonzero(runs.on)
    first, usual = on[:1], runs.length_s[on[1:-1]]
    if usual.size < FEWEST_USUAL or first[0] > 1:
        return first[:0]
    return first[runs.length_s[first] > COOL_DOWN_TIMES * np.median(usual)]


def _heating(log: MeterLog, above_w: float) -> np.ndarray:
    """Return at which steps a defrost heater is on: power too high for too long to be a start."""
    phases = _runs(log, log.power_w > above_w)
    return phases.by_step(phases.on & (phases.length_s >= HEATER_S))


def _defrosts(runs: _Runs, heater: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the runs that open the defrosts of an appliance that switches, and those before which they end."""
    begins = np.flatnonzero(heater & ~np.r_[False, heater[:-1]])
    at, length = np.searchsorted(runs.first, begins, side="right") - 1, 2 * (RECOVERY_RUNS + 1)
    apart = np.diff(at) >= length  # nearer ones are one defrost
    return at[np.r_[True, apart][: at.size]], at[np.r_[apart, True][: at.size]] + length


def _regular(runs: _Runs, opening: np.ndarray, end: np.ndarray, cool_down: np.ndarray) -> np.ndarray:
    """Return which runs open a regular whole cycle: switched on, off and on again in sight, and nothing special."""
    regular = runs.switched_on
    regular[:-2] &= runs.piece[2:] == runs.piece[:-2]
    regular[-2:] = False
    for a, b in zip(opening, end, strict=True):
        regular[a:b] = False
    regular[cool_down] = False
    return regular


# -- the two levels of power of an appliance that runs and rests -----------------------------------


def on_level(duration_s: np.ndarray, power_w: np.ndarray) -> float | None:
    """Return the power from which the appliance runs [W], or None where it has no two clear levels.

    Otsu's threshold on the logarithm of power: of all splits, the one that explains most of the
    variance. On plain power it would fall among the start spikes and defrosts. The level is then half
    the median power above the split, so that a lamp is not taken for a compressor.

    Notes
    -----
    None for a steady load, for a variable-speed compressor and for a record sampled in slow steps.

    References
    ----------
    N. Otsu, "A threshold selection method from gray-level histograms", IEEE Trans. Syst. Man Cybern. 9
    (1979) 62, from memory.
    """
    short, long = np.quantile(duration_s, [0.1, 0.9])
    top = np.quantile(power_w, 0.99)
    if not top > 0 or (short > SLOWEST_STEP_S and long < 1.5 * short):
        return None
    logs = np.log(np.maximum(power_w, 0.01 * top))
    split = _otsu(logs, duration_s)
    high = logs > split
    if not high.any():
        return None
    low_w, high_w = (weighted_median(power_w[side], duration_s[side]) for side in (~high, high))
    spread = np.subtract(*np.quantile(logs[high], [0.75, 0.25]))
    if high_w < CLEAR_STEP * low_w or spread > STEADY_SPEED:
        return None
    return max(float(np.exp(split)), high_w / 2)


def _otsu(values: np.ndarray, weights: np.ndarray) -> float:
    """Return the split of ``values`` that explains most of their variance, infinity where it explains too little."""
    share, edges = np.histogram(values, bins=128, weights=weights)
    share, middle = share / share.sum(), (edges[1:] + edges[:-1]) / 2
    below, part, mean = np.cumsum(share)[:-1], np.cumsum(share * middle)[:-1], np.dot(share, middle)
    shares = below * (1 - below)
    between = np.divide((mean * below - part) ** 2, shares, out=np.zeros(below.size), where=shares > 0)
    best = int(np.argmax(between))
    return float(edges[best + 1]) if between[best] > CLEAR_SPLIT * np.dot(share, (middle - mean) ** 2) else np.inf


def weighted_median(values: np.ndarray, weights: np.ndarray) -> float:
    """Return the value with half the weight below it."""
    return float(np.quantile(values, 0.5, weights=weights, method="inverted_cdf"))
