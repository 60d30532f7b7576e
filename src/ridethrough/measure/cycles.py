"""What a record of power shows of an appliance that switches on and off: runs, cycles, starts, defrosts.

Plain arrays in, one entry per step of the record: ``start_s``, ``duration_s``, ``power_w``, the power
constant over a step. A gap is where one step ends before the next begins; nothing is carried across it.
A *run* is a stretch of steps in the same state; a *cycle* is an on run with the off run after it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from .levels import SLOWEST_STEP_S, on_level, weighted_median

SHORTEST_RUN_S = 90.0  # shorter: a lamp, a start, noise
START_S, START_TIMES = 60.0, 1.5  # a start: this soon after switching on, this many times the running power
HEATER_S, HEATER_TIMES = 180.0, 1.6  # a defrost heater: at least this long, this many times the running power
HEATER_SHARE = 0.12  # share of the time that heaters of defrosts, and the run after them, take at most
RECOVERY_S = 7200.0  # after the heater's, where there are no runs to count
RECOVERY_RUNS = 2  # on runs after the heater's that still belong to the defrost
COOL_DOWN_TIMES = 3.0  # a first run this many times the usual one is a first cool-down
FEWEST_USUAL = 3  # runs from which a usual one can be told


@dataclass(frozen=True)
class Switching:
    """How an appliance switches; where it does not, ``running_w`` is None and the tables are empty.

    Parameters
    ----------
    on : array of bool, one per step
        Whether it runs.
    steady, defrost : arrays of bool, one per step
        Steps of regular whole cycles, and of whole defrosts with their recovery.
    inrush : array of bool, one per step
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
        Length of the run of a first cool-down, kept apart [h]; 0 where there was none.
    """

    on: np.ndarray
    steady: np.ndarray
    defrost: np.ndarray
    inrush: np.ndarray
    running_w: float | None
    cycles: pd.DataFrame
    defrosts: pd.DataFrame
    starts: int = 0
    cool_down_h: float = 0.0


def no_switching(start_s: np.ndarray) -> Switching:
    """Return the switching of a record that shows none: every step counts."""
    none, every = np.zeros(start_s.size, bool), np.ones(start_s.size, bool)
    cycles = pd.DataFrame(columns=["start_h", "on_min", "off_min", "energy_wh", "running_w"], dtype=float)
    defrosts = pd.DataFrame(columns=["start_h", "duration_min", "energy_wh", "extra_wh"], dtype=float)
    return Switching(none, every, none, none, None, cycles, defrosts)


def find_switching(start_s: np.ndarray, duration_s: np.ndarray, power_w: np.ndarray) -> Switching:
    """Return the cycles, starts and defrosts of a record of power.

    Parameters
    ----------
    start_s, duration_s, power_w : arrays of shape (n,)
        When each step begins, how long it lasts [s], and its power [W].

    Notes
    -----
    Defrosts are recognised by a heater that draws clearly more than the compressor. Where the defrost
    takes less, it stays in the cycles, and their mean holds all the same. Where there are no cycles, a fixed time
    after the heater counts as its recovery.
    """
    level = on_level(duration_s, power_w)
    gap = np.r_[True, start_s[1:] - (start_s + duration_s)[:-1] > 1e-3]
    if level is None:
        return _unswitched(start_s, duration_s, power_w, gap)
    on = _without_short_runs(power_w >= level, gap, start_s, duration_s)
    running_w = weighted_median(power_w[on], duration_s[on])
    runs = _runs(on, gap, start_s, duration_s)
    heater = _heating(power_w > HEATER_TIMES * running_w, gap, start_s, duration_s)
    windows = _defrost_windows(heater, runs)
    cool_down = _cool_down(runs)
    opens = np.flatnonzero(_regular(runs, windows, cool_down))

    energy_wh = np.r_[0.0, np.cumsum(power_w * duration_s) / 3600]  # up to the beginning of each step
    steady = _spans(runs, opens, opens + 2, on.size)
    steady_w = np.average(power_w[steady], weights=duration_s[steady]) if steady.any() else np.nan
    switched_on = _switched_on(runs)
    soon = np.repeat(switched_on, _steps(runs)) & (start_s - _run_start_s(runs) < START_S)
    return Switching(
        on, steady, _whole_defrosts(runs, windows, on.size),
        inrush=soon & (power_w > START_TIMES * running_w) & ~heater,
        running_w=running_w,
        cycles=_cycle_table(runs, opens, energy_wh),
        defrosts=_defrost_table(runs, windows, energy_wh, steady_w),
        starts=int(switched_on.sum()),
        cool_down_h=float(runs["length_s"][cool_down]) / 3600 if cool_down is not None else 0.0,
    )  # fmt: skip


def _unswitched(start_s: np.ndarray, duration_s: np.ndarray, power_w: np.ndarray, gap: np.ndarray) -> Switching:
    """Return the defrosts of a record that shows no cycles: a heater far above all else, and some time to recover."""
    none = no_switching(start_s)
    top_w = np.quantile(power_w, 1 - HEATER_SHARE, weights=duration_s, method="inverted_cdf")
    heater = _heating(power_w > HEATER_TIMES * top_w, gap, start_s, duration_s)
    if duration_s.max() > SLOWEST_STEP_S or not heater.any():
        return none
    last_s = np.maximum.accumulate(np.where(heater, start_s + duration_s, -np.inf))
    recovering = start_s < last_s + RECOVERY_S
    runs, steady = _runs(recovering, gap, start_s, duration_s), ~recovering
    opening = np.flatnonzero(runs["on"])
    windows = _windows(opening, opening + 1, runs)
    energy_wh = np.r_[0.0, np.cumsum(power_w * duration_s) / 3600]
    steady_w = np.average(power_w[steady], weights=duration_s[steady]) if steady.any() else np.nan
    return replace(
        none, steady=steady, defrost=_whole_defrosts(runs, windows, start_s.size),
        defrosts=_defrost_table(runs, windows, energy_wh, steady_w),
    )  # fmt: skip


# -- runs ----------------------------------------------------------------------------------------------


def _runs(on: np.ndarray, gap: np.ndarray, start_s: np.ndarray, duration_s: np.ndarray) -> pd.DataFrame:
    """Return one row per run: its steps, its state, which gapless piece of the record it lies in, its length."""
    first = np.flatnonzero(gap | np.r_[True, on[1:] != on[:-1]])
    last = np.r_[first[1:], on.size] - 1
    return pd.DataFrame({
        "first": first, "stop": last + 1, "on": on[first], "piece": np.cumsum(gap)[first],
        "start_s": start_s[first], "length_s": start_s[last] + duration_s[last] - start_s[first],
    })  # fmt: skip


def _steps(runs: pd.DataFrame) -> np.ndarray:
    return (runs["stop"] - runs["first"]).to_numpy()


def _run_start_s(runs: pd.DataFrame) -> np.ndarray:
    """Return for every step when its run began [s]."""
    return np.repeat(runs["start_s"].to_numpy(), _steps(runs))


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
        apart = short[np.r_[True, np.diff(short) > 1]]  # of two neighbours only the first
        for first, stop in runs[["first", "stop"]].to_numpy()[apart]:
            on[first:stop] = ~on[first:stop]


def _switched_on(runs: pd.DataFrame) -> np.ndarray:
    """Return which runs begin with a switching on that was seen."""
    piece = runs["piece"].to_numpy()
    return runs["on"].to_numpy() & (np.r_[-1, piece[:-1]] == piece)


def _cool_down(runs: pd.DataFrame) -> int | None:
    """Return which run is that of a first cool-down, or None."""
    on, length = np.flatnonzero(runs["on"]), runs["length_s"].to_numpy()
    first, usual = on[0], length[on[1:-1]]
    long = usual.size >= FEWEST_USUAL and length[first] > COOL_DOWN_TIMES * np.median(usual)
    return int(first) if first <= 1 and long else None


def _heating(high: np.ndarray, gap: np.ndarray, start_s: np.ndarray, duration_s: np.ndarray) -> np.ndarray:
    """Return at which steps a defrost heater is on: power too high for too long to be a start."""
    phases = _runs(high, gap, start_s, duration_s)
    return np.repeat((phases["on"] & (phases["length_s"] >= HEATER_S)).to_numpy(), _steps(phases))


def _defrost_windows(heater: np.ndarray, runs: pd.DataFrame) -> pd.DataFrame:
    """Return for each defrost the run that opens it, the run before which it ends, and whether it was seen whole."""
    begins = np.flatnonzero(heater & ~np.r_[False, heater[:-1]])
    windows = list[list[int]]()
    for at in np.searchsorted(runs["first"].to_numpy(), begins, side="right") - 1:
        until = int(at) + 2 * (RECOVERY_RUNS + 1)
        if windows and at < windows[-1][1]:
            windows[-1][1] = until
        else:
            windows.append([int(at), until])
    opening, end = np.array(windows, int).reshape(-1, 2).T
    return _windows(opening, end, runs)


def _windows(opening: np.ndarray, end: np.ndarray, runs: pd.DataFrame) -> pd.DataFrame:
    piece, last = runs["piece"].to_numpy(), len(runs) - 1
    whole = (opening > 0) & (end <= last) & (piece[opening - 1] == piece[np.minimum(end, last)])
    return pd.DataFrame({"opening": opening, "end": np.minimum(end, last), "whole": whole})


# -- cycles and defrosts -------------------------------------------------------------------------------


def _regular(runs: pd.DataFrame, windows: pd.DataFrame, cool_down: int | None) -> np.ndarray:
    """Return which runs open a regular whole cycle: switched on, off and on again in sight, and nothing special."""
    piece = runs["piece"].to_numpy()
    regular = _switched_on(runs)
    regular[:-2] &= piece[2:] == piece[:-2]
    regular[-2:] = False
    for opening, end in windows[["opening", "end"]].to_numpy():
        regular[opening : end + 1 if end == len(runs) - 1 else end] = False
    if cool_down is not None:
        regular[cool_down] = False
    return regular


def _spans(runs: pd.DataFrame, begin: np.ndarray, end: np.ndarray, steps: int) -> np.ndarray:
    """Return which of the record's steps lie in runs ``begin`` to before ``end``, for each pair."""
    first, inside = runs["first"].to_numpy(), np.zeros(steps, bool)
    for a, b in zip(first[begin], first[end], strict=True):
        inside[a:b] = True
    return inside


def _whole_defrosts(runs: pd.DataFrame, windows: pd.DataFrame, steps: int) -> np.ndarray:
    opening, end = windows.loc[windows["whole"], ["opening", "end"]].to_numpy().T
    return _spans(runs, opening, end, steps)


def _cycle_table(runs: pd.DataFrame, opens: np.ndarray, energy_wh: np.ndarray) -> pd.DataFrame:
    first, length_s = runs["first"].to_numpy(), runs["length_s"].to_numpy()
    begin, middle, stop = energy_wh[first[opens]], energy_wh[first[opens + 1]], energy_wh[first[opens + 2]]
    return pd.DataFrame({
        "start_h": runs["start_s"].to_numpy()[opens] / 3600,
        "on_min": length_s[opens] / 60,
        "off_min": length_s[opens + 1] / 60,
        "energy_wh": stop - begin,
        "running_w": (middle - begin) / (length_s[opens] / 3600),
    })  # fmt: skip


def _defrost_table(runs: pd.DataFrame, windows: pd.DataFrame, energy_wh: np.ndarray, steady_w: float) -> pd.DataFrame:
    """Return the defrosts; dE_df = E - P_ss t over a defrost and its recovery."""
    opening, end, whole = (windows[name].to_numpy() for name in ("opening", "end", "whole"))
    first, start_h = runs["first"].to_numpy(), runs["start_s"].to_numpy() / 3600
    hours = np.where(whole, start_h[end] - start_h[opening], np.nan)
    spent_wh = np.where(whole, energy_wh[first[end]] - energy_wh[first[opening]], np.nan)
    return pd.DataFrame({
        "start_h": start_h[opening], "duration_min": hours * 60,
        "energy_wh": spent_wh, "extra_wh": spent_wh - steady_w * hours,
    })  # fmt: skip
