"""Power held over steps of time, by readings of power, of a counter and of intervals, and what was found on the way."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from ..units import number
from .layout import WORDS, Note, words_of
from .meterlog import Finding
from .readings import BESIDE, NS, Readings, taken

# -- what was found ------------------------------------------------------------------------------

UNMOVED_S, UNMOVED_READINGS = 6 * 3600, 10


def _when(readings: Readings, at: int) -> str:
    """Return when a reading was taken, in words."""
    ns = int(readings.ns[at])
    if readings.clock == "elapsed":
        return f"{ns // NS // 3600}:{ns // NS // 60 % 60:02}:{ns // NS % 60:02}"
    return f"{pd.Timestamp(ns):%Y-%m-%d %H:%M:%S}{' UTC' if readings.clock == 'utc' else ''}"


def note(found: list[Finding], what: str, readings: Readings, there: np.ndarray, done: str, more: str = "") -> None:
    """Add what is true of the readings ``there``, if of any."""
    if there.any():
        found.append(Finding(what, f"first at {_when(readings, int(there.argmax()))}{more}", int(there.sum()), done))


def note_gaps(found: list[Finding], readings: Readings, step_s: np.ndarray, longest: float, done: str) -> None:
    """Add the gaps, if there are any; one of an hour on a local clock may be the beginning of summer time."""
    gap, usual = step_s > longest, float(np.median(step_s))
    if readings.clock == "local" and np.any(np.abs(step_s[gap] - 3600 - usual) <= usual / 2):
        done += "; if clocks were put forward there, write timezone="
    note(found, "gaps", readings, gap, done, f", the longest {step_s.max() / 3600:.3g} h")


def note_unmoved(readings: Readings, found: list[Finding]) -> None:
    """Note readings that stood still for hours: a steady load, or a meter that hung."""
    ns, last = readings.ns, readings.value.size - 1
    ends = np.r_[-1, np.flatnonzero(readings.value[1:] != readings.value[:-1]), last]  # of each run of one value
    long = np.flatnonzero(np.diff(ends) >= UNMOVED_READINGS)
    still_s = (ns[ends[long + 1]] - ns[ends[long] + 1]) / NS
    stuck = still_s >= UNMOVED_S
    if stuck.any():
        where = f"first at {_when(readings, ends[long][stuck][0] + 1)}, the longest {still_s.max() / 3600:.3g} h"
        found.append(Finding("unchanged for hours", where, int(stuck.sum()), "kept; look at the meter"))


# -- steps ---------------------------------------------------------------------------------------


# The fields of a log that hold its steps, how readings were taken to stand for them, and how far it begins ahead [s].
_Steps = tuple[dict[str, Any], Note, float]

UNTIL_NEXT = "until the next"


def seconds_of(readings: Readings) -> np.ndarray:
    return (readings.ns - readings.ns[0]) / NS


def _sampling(step_s: np.ndarray, value: np.ndarray) -> tuple[str, float, float]:
    """Return how the meter wrote its readings, from their pattern, in words; how long one may stand until the next [s],
    and how long it stands where that comes later [s].

    At a steady pace a step half as long again as usual is a gap. A meter that writes only changes never
    repeats a value; one that also writes at a steady beat repeats values at that beat.
    """
    usual = float(np.median(step_s))
    steady = (f"one every {usual:g} s", 1.5 * usual, usual)
    if step_s.max() <= 1.5 * usual:
        return steady
    same = value[1:] == value[:-1]
    long = step_s > 1.5 * usual
    beat = float(np.median(step_s[same])) if same.sum() >= 3 else 0.0
    if beat > 1.5 * usual and np.mean(np.abs(step_s[same] - beat) <= beat / 4) >= 0.8:
        return (f"on each change, and at least every {beat:g} s", 1.5 * beat, beat)
    paced = np.mean(np.abs(step_s - usual) <= usual / 2) >= 0.75
    returns = long.sum() >= 3 and np.unique(value[:-1][long]).size <= long.sum() / 2
    if same.mean() <= 0.01 and (returns or not paced):
        return (f"on each change, the longest after {step_s.max() / 3600:.3g} h", math.inf, math.inf)
    return steady if paced else (f"at uneven times, {usual:g} s apart in the middle", 10 * usual, usual)


def held_steps(readings: Readings, hold: str | None, found: list[Finding]) -> _Steps:
    """Return the steps of a log of power: each reading stands until the next, or until a gap."""
    time_s = seconds_of(readings)
    step_s = np.diff(time_s)
    if hold is None:
        (words, longest, stands), told = _sampling(step_s, readings.value), "guessed"
    else:
        longest = math.inf if hold == UNTIL_NEXT else number(hold, "s", "hold")
        if longest <= 0:
            raise readings.place.refuse("hold", hold=hold)
        words, stands, told = f"each holds {hold}", longest, "given"
    note_gaps(found, readings, step_s, longest, f"not covered; the reading before stands for {stands:g} s")
    step_s = np.where(step_s > longest, stands, step_s)
    there = np.isfinite(readings.value[:-1])
    note(found, "empty readings", readings, ~there, "not covered")
    kept = slice(step_s.size) if there.all() else np.flatnonzero(there)
    steps = {"start_s": time_s[kept], "duration_s": step_s[kept], "power_w": readings.value[kept]}
    return steps | taken(readings, BESIDE, kept) | {"span_s": float(time_s[-1])}, (words, told), 0.0


# -- energy --------------------------------------------------------------------------------------


def interval_steps(readings: Readings, found: list[Finding]) -> _Steps:
    """Return the steps of a log of energy per interval: P = E / interval."""
    time_s = seconds_of(readings)
    step_s = np.diff(time_s)
    usual = float(np.median(step_s))
    note_gaps(found, readings, step_s, 1.5 * usual, "not covered")
    duration_s = np.minimum(np.append(step_s, usual), usual)
    there = np.isfinite(readings.value)
    note(found, "empty readings", readings, ~there, "not covered")
    at_end = bool(words_of(readings.notes["time"][0]) & WORDS["end"])
    words = f"energy of {usual:g} s {'before' if at_end else 'after'} each time"
    power_w = readings.value[there] / duration_s[there] * 3600
    steps = {"start_s": time_s[there], "duration_s": duration_s[there], "power_w": power_w}
    return steps | {"span_s": float(time_s[-1]) + usual}, (words, "guessed"), usual if at_end else 0.0


def counter_steps(readings: Readings, found: list[Finding]) -> _Steps:
    """Return the steps of an energy counter: P = (E2 - E1) / (t2 - t1), between readings that tell them apart.

    A reset leaves its step uncovered, since nobody knows how far the counter had come; a roll-over does not.
    """
    begin_ns, there = int(readings.ns[0]), np.isfinite(readings.value)
    note(found, "empty readings", readings, ~there, "bridged by the counter")
    readings = readings.take(np.flatnonzero(there))
    if readings.value.size < 2:
        raise readings.place.refuse("one count", at=0)
    time_s = (readings.ns - begin_ns) / NS
    rise_wh = _rises(readings, found)
    words, longest, _ = _sampling(np.diff(time_s), readings.value)
    note_gaps(found, readings, np.diff(time_s), longest, "bridged by the counter")
    stop = _stops(rise_wh, readings.step)
    if stop.size < time_s.size:
        done = f"put together to {stop.size - 1} steps from one change of the counter to the next"
        found.append(Finding("readings closer than the counter's last digit", "whole log", time_s.size, done))
    energy_wh, duration_s = np.add.reduceat(rise_wh, stop[:-1]), np.diff(time_s[stop])
    known = np.isfinite(energy_wh)
    power_w = energy_wh[known] / duration_s[known] * 3600
    steps = {"start_s": time_s[stop[:-1]][known], "duration_s": duration_s[known], "power_w": power_w}
    return steps | {"span_s": float(time_s[-1])}, (words, "guessed"), 0.0


def _rises(readings: Readings, found: list[Finding]) -> np.ndarray:
    """Return what a counter counted between its readings, nan across a reset [Wh]."""
    before, (rise, rolled, reset) = readings.value[:-1], falls(readings.value)
    odd = (rise < 0) & ~rolled & ~reset
    if odd.any():
        at = int(odd.argmax())
        raise readings.place.refuse("falling counter", before=before[at], after=readings.value[at + 1], at=at + 1)
    note(found, "counter roll-over", readings, np.r_[False, rolled], "counted on")
    note(found, "counter resets", readings, np.r_[False, reset], "the time since the reading before is not covered")
    return np.where(reset, np.nan, np.where(rolled, rise + _largest(before), rise))


def falls(value: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return how much readings rise, where a counter went from all nines to zero, and where it may have been reset."""
    before, after, largest = value[:-1], value[1:], _largest(value[:-1])
    rolled = (largest >= 1e5) & (before >= 0.99 * largest) & (after <= 0.01 * largest)  # Wh
    return after - before, rolled, (after < before) & ~rolled & (after <= before / 10)


def _largest(before: np.ndarray) -> np.ndarray:
    """Return where a counter rolls over: at a power of ten."""
    return 10.0 ** np.ceil(np.log10(np.maximum(before, 1.0)))


def _stops(rise_wh: np.ndarray, step_wh: float) -> np.ndarray:
    """Return the readings between which power is told: all, or where the counter's last digit is too coarse
    for that, those at which it changed. The first and the last reading always belong, so no energy is lost."""
    everything = np.arange(rise_wh.size + 1)
    moved = rise_wh != 0
    up = rise_wh[rise_wh > 0]
    if not up.size or np.median(up) > 2.5 * step_wh or moved.mean() > 0.7:
        return everything
    reset = np.flatnonzero(np.isnan(rise_wh))
    changes = np.flatnonzero(moved) + 1
    if changes.size > 1 and changes[-1] < rise_wh.size and not np.isnan(rise_wh[changes[-1] - 1 :]).any():
        changes = changes[:-1]  # the quiet end belongs to the last count
    return np.unique(np.r_[0, changes, reset, rise_wh.size])
