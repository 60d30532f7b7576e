"""What a record of power shows of an appliance that switches on and off: runs, cycles, starts, defrosts.

Plain arrays in, one entry per step of the record: ``start_s``, ``duration_s``, ``power_w``, the power
constant over a step. A gap is where one step ends before the next begins; nothing is carried across it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

CLEAR_SPLIT = 0.85  # share of the variance of log power that two levels explain; one hump gives 0.64, a ramp 0.75
CLEAR_STEP = 2.5  # running takes at least this many times the power of standing still
STEADY_SPEED = 0.25  # quartile range of log running power: more, and the compressor varies its speed
SHORTEST_RUN_S = 90.0  # shorter: a lamp, a start, noise
SLOWEST_STEP_S = 300.0  # slower records cannot show cycles
START_S, START_TIMES = 60.0, 1.5  # a start: this soon after switching on, this many times the running power
HEATER_S, HEATER_TIMES = 180.0, 1.6  # a defrost heater: at least this long, this many times the running power
RECOVERY_RUNS = 2  # runs after the heater's that still belong to the defrost
COOL_DOWN_TIMES = 3.0  # a first run this many times the usual one is a first cool-down


@dataclass(frozen=True)
class Pattern:
    """How an appliance switches; where it does not, ``running_w`` is None and the tables are empty.

    Parameters
    ----------
    on : array of bool, one per step
        Whether it runs.
    steady, defrost : arrays of bool, one per step
        Steps of regular whole cycles, and of whole defrosts with their recovery.
    anchor_s : array, one per step
        Start of the cycle that a steady step belongs to [s].
    start : array of bool, one per step
        Steps that hold the inrush of a start.
    running_w : float or None
        Median power while it runs [W].
    cycles : pandas.DataFrame
        Regular whole cycles: start_h, on_min, off_min, energy_wh, running_w.
    defrosts : pandas.DataFrame
        Defrosts with their recovery: start_h, duration_min, energy_wh, extra_wh (over steady running); of
        one that was cut off only start_h is known.
    starts : int
        Times it was seen to switch on [-].
    cool_down_h : float
        Length of a first cool-down kept apart [h]; 0 where there was none.
    """

    on: np.ndarray
    steady: np.ndarray
    defrost: np.ndarray
    anchor_s: np.ndarray
    start: np.ndarray
    running_w: float | None
    cycles: pd.DataFrame
    defrosts: pd.DataFrame
    starts: int = 0
    cool_down_h: float = 0.0


def find_pattern(start_s: np.ndarray, duration_s: np.ndarray, power_w: np.ndarray) -> Pattern:
    """Return the cycles, starts and defrosts of a record of power."""
    level = on_level(power_w, duration_s)
    if level is None:
        return no_pattern(start_s)
    gap = np.r_[True, start_s[1:] - (start_s + duration_s)[:-1] > 1e-3]
    on = _without_short_runs(power_w >= level, gap, start_s, duration_s)
    running = weighted_median(power_w[on], duration_s[on])
    runs = _runs(on, gap, start_s, duration_s)
    seen = _cycle_starts(runs)
    heater = _heating(power_w > HEATER_TIMES * running, gap, start_s, duration_s)
    windows = _defrost_windows(heater, runs)
    cool_down = _cool_down(runs, seen)
    return _assemble(start_s, duration_s, power_w, on, running, runs, seen, windows, cool_down, heater)


def on_level(power_w: np.ndarray, duration_s: np.ndarray) -> float | None:
    """Return the power from which the appliance runs [W], or None where it has no two clear levels.

    Otsu's threshold on the logarithm of power: of all splits, the one that explains most of the
    variance. On plain power it would fall among the start spikes and defrosts. The level is then half
    the median power above the split, so that a lamp is not taken for a compressor.

    Notes
    -----
    None for a steady load, for a variable-speed compressor and for a record in slow steps.

    References
    ----------
    N. Otsu, "A threshold selection method from gray-level histograms", IEEE Trans. Syst. Man Cybern. 9
    (1979) 62, from memory.
    """
    if np.median(duration_s) > SLOWEST_STEP_S:
        return None
    top = np.quantile(power_w, 0.99)
    if not top > 0:
        return None
    logs = np.log(np.maximum(power_w, 0.01 * top))
    share, edges = np.histogram(logs, bins=128, weights=duration_s)
    share, middle = share / share.sum(), (edges[1:] + edges[:-1]) / 2
    below = np.cumsum(share)[:-1]
    mean, part = np.dot(share, middle), np.cumsum(share * middle)[:-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        between = np.nan_to_num((mean * below - part) ** 2 / (below * (1 - below)), nan=0, posinf=0)
    best = int(np.argmax(between))
    total = np.dot(share, (middle - mean) ** 2)
    high = logs > edges[best + 1]
    if total == 0 or between[best] < CLEAR_SPLIT * total or not high.any() or high.all():
        return None
    low_w, high_w = (weighted_median(power_w[side], duration_s[side]) for side in (~high, high))
    spread = np.subtract(*np.quantile(logs[high], [0.75, 0.25]))
    if high_w < CLEAR_STEP * low_w or spread > STEADY_SPEED:
        return None
    return max(float(np.exp(edges[best + 1])), high_w / 2)


def weighted_median(values: np.ndarray, weights: np.ndarray) -> float:
    """Return the value with half the weight below it."""
    order = np.argsort(values)
    sums = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(sums, sums[-1] / 2)])


def no_pattern(start_s: np.ndarray) -> Pattern:
    """Return the pattern of a record that shows none: every step counts."""
    none, every = np.zeros(start_s.size, bool), np.ones(start_s.size, bool)
    cycles = pd.DataFrame(columns=["start_h", "on_min", "off_min", "energy_wh", "running_w"], dtype=float)
    defrosts = pd.DataFrame(columns=["start_h", "duration_min", "energy_wh", "extra_wh"], dtype=float)
    return Pattern(none, every, none, start_s, none, None, cycles, defrosts)


def _runs(on: np.ndarray, gap: np.ndarray, start_s: np.ndarray, duration_s: np.ndarray) -> pd.DataFrame:
    """Return one row per stretch of steps with the same state and no gap inside."""
    first = np.flatnonzero(gap | np.r_[True, on[1:] != on[:-1]])
    last = np.r_[first[1:], on.size] - 1
    return pd.DataFrame({
        "first": first, "stop": last + 1, "on": on[first], "piece": np.cumsum(gap)[first],
        "start_s": start_s[first], "length_s": start_s[last] + duration_s[last] - start_s[first],
    })  # fmt: skip


def _without_short_runs(on: np.ndarray, gap: np.ndarray, start_s: np.ndarray, duration_s: np.ndarray) -> np.ndarray:
    """Return ``on`` with every run too short for a compressor given to its neighbours."""
    on = on.copy()
    while True:
        runs = _runs(on, gap, start_s, duration_s)
        length, piece = runs["length_s"].to_numpy(), runs["piece"].to_numpy()
        inner = np.zeros(length.size, bool)
        inner[1:-1] = (piece[2:] == piece[:-2]) & (length[1:-1] <= np.minimum(length[2:], length[:-2]))
        short = np.flatnonzero(inner & (length < SHORTEST_RUN_S))
        if not short.size:
            return on
        short = short[np.r_[True, np.diff(short) > 1]]
        for first, stop in runs[["first", "stop"]].to_numpy()[short]:
            on[first:stop] = ~on[first:stop]


def _cycle_starts(runs: pd.DataFrame) -> np.ndarray:
    """Return which runs open a whole cycle: on, with an off run before and an off and an on run after."""
    on, piece = runs["on"].to_numpy(), runs["piece"].to_numpy()
    whole = np.zeros(on.size, bool)
    whole[1:-2] = on[1:-2] & (piece[:-3] == piece[3:])
    return whole


def _heating(high: np.ndarray, gap: np.ndarray, start_s: np.ndarray, duration_s: np.ndarray) -> np.ndarray:
    """Return at which steps a defrost heater runs: power too high for too long to be a start."""
    phases = _runs(high, gap, start_s, duration_s)
    heater = phases["on"] & (phases["length_s"] >= HEATER_S)
    return np.repeat(heater.to_numpy(), phases["stop"] - phases["first"])


def _defrost_windows(heater: np.ndarray, runs: pd.DataFrame) -> list[tuple[int, int]]:
    """Return for each defrost its first run, and the run before which its recovery ends."""
    begins = np.flatnonzero(heater & ~np.r_[False, heater[:-1]])
    windows = list[tuple[int, int]]()
    for opening in np.searchsorted(runs["first"].to_numpy(), begins, side="right") - 1:
        end = opening + 2 * (RECOVERY_RUNS + 1)
        if windows and opening < windows[-1][1]:
            windows[-1] = (windows[-1][0], end)
        else:
            windows.append((opening, end))
    return windows


def _cool_down(runs: pd.DataFrame, seen: np.ndarray) -> int:
    """Return the index of the run with which a first cool-down begins, or -1."""
    on, length = runs["on"].to_numpy(), runs["length_s"].to_numpy()
    first = int(np.argmax(on))
    usual = length[seen & (np.arange(on.size) > first)]
    return first if first <= 1 and usual.size >= 3 and length[first] > COOL_DOWN_TIMES * np.median(usual) else -1


def _assemble(start_s: np.ndarray, duration_s: np.ndarray, power_w: np.ndarray, on: np.ndarray, running: float,
              runs: pd.DataFrame, seen: np.ndarray, windows: list[tuple[int, int]], cool_down: int,
              heater: np.ndarray) -> Pattern:  # fmt: skip
    """Return the pattern that these runs, cycle openings, defrosts and first cool-down make."""
    energy = np.r_[0.0, np.cumsum(power_w * duration_s) / 3600]  # Wh up to each step
    first, length, piece = (runs[name].to_numpy() for name in ("first", "length_s", "piece"))
    regular, whole = seen.copy(), np.zeros(len(windows), bool)
    for k, (opening, end) in enumerate(windows):
        regular[opening:end] = False
        whole[k] = opening >= 1 and end < first.size and piece[opening - 1] == piece[end]
    regular[cool_down if cool_down >= 0 else 0] = False
    opens = np.flatnonzero(regular)
    begin, middle, stop = first[opens], first[opens + 1], first[opens + 2]

    steady, defrost, anchor = np.zeros(on.size, bool), np.zeros(on.size, bool), start_s.copy()
    for a, b in zip(begin, stop, strict=True):
        steady[a:b], anchor[a:b] = True, start_s[a]
    for opening, end in np.array(windows, int).reshape(-1, 2)[whole]:
        defrost[first[opening] : first[end]] = True
    cycles = pd.DataFrame({
        "start_h": start_s[begin] / 3600, "on_min": length[opens] / 60, "off_min": length[opens + 1] / 60,
        "energy_wh": energy[stop] - energy[begin],
        "running_w": (energy[middle] - energy[begin]) / (length[opens] / 3600),
    })  # fmt: skip
    steady_w = np.average(power_w[steady], weights=duration_s[steady]) if steady.any() else np.nan
    opening, end = np.minimum(np.array(windows, int).reshape(-1, 2).T, first.size - 1)
    hours = np.where(whole, (start_s[first[end]] - start_s[first[opening]]) / 3600, np.nan)
    spent = np.where(whole, energy[first[end]] - energy[first[opening]], np.nan)
    defrosts = pd.DataFrame({"start_h": start_s[first[opening]] / 3600, "duration_min": hours * 60,
                             "energy_wh": spent, "extra_wh": spent - steady_w * hours})  # fmt: skip
    inner = runs["on"].to_numpy() & (np.r_[0, piece[:-1]] == piece)  # runs whose switching on was seen
    steps = runs["stop"] - runs["first"]
    since = start_s - np.repeat(runs["start_s"].to_numpy(), steps)
    spike = np.repeat(inner, steps) & (since < START_S) & (power_w > START_TIMES * running) & ~heater
    cool_down_h = float(length[cool_down]) / 3600 if cool_down >= 0 else 0.0
    return Pattern(on, steady, defrost, anchor, spike, running, cycles, defrosts, int(inner.sum()), cool_down_h)
