"""Readings as power held over steps of time, each kind in its own way: what they stand for, where gaps are,
and what was found on the way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..units import number
from .columns import NS, words_of
from .meterlog import Finding
from .readings import Readings


@dataclass(frozen=True)
class Steps:
    """Power held over steps of time, how the readings were taken to stand for it, and where the log begins."""

    start_s: np.ndarray
    duration_s: np.ndarray
    power_w: np.ndarray
    span_s: float
    sampling: tuple[str, str]
    ahead_s: float = 0.0


# -- what was found ------------------------------------------------------------------------------

UNMOVED_S, UNMOVED_READINGS = 6 * 3600, 10


def _when(readings: Readings, at: int) -> str:
    """Return when a reading was taken, in words."""
    ns = int(readings.ns[at])
    if readings.clock == "elapsed":
        return f"{ns // NS // 3600}:{ns // NS // 60 % 60:02}:{ns // NS % 60:02}"
    return f"{pd.Timestamp(ns):%Y-%m-%d %H:%M:%S}{' UTC' if readings.clock == 'utc' else ''}"


def note(found: list[Finding], what: str, readings: Readings, there: np.ndarray, done: str, more: str = "") -> bool:
    """Add what is true of the readings ``there``, if of any; return whether it is."""
    if there.any():
        found.append(Finding(what, f"first at {_when(readings, int(there.argmax()))}{more}", int(there.sum()), done))
    return bool(there.any())


def _note_gaps(found: list[Finding], readings: Readings, gap: np.ndarray, step_s: np.ndarray, done: str) -> bool:
    """Add the gaps, if there are any; one of an hour on a local clock may be the beginning of summer time."""
    if not gap.any():
        return False
    usual = float(np.median(step_s))
    hour = readings.clock == "local" and np.any(np.abs(step_s[gap] - 3600 - usual) <= usual / 2)
    hint = "; if clocks were put forward there, write timezone=" if hour else ""
    return note(found, "gaps", readings, gap, done + hint, f", the longest {step_s[gap].max() / 3600:.3g} h")


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


# -- power ---------------------------------------------------------------------------------------

UNTIL_NEXT = "until the next"


@dataclass(frozen=True)
class _Sampling:
    """How long a reading may stand until the next [s], and how long it stands where that comes later [s]."""

    words: str
    longest_s: float
    stands_s: float


def _seconds(readings: Readings) -> np.ndarray:
    return (readings.ns - readings.ns[0]) / NS


def _sampling(step_s: np.ndarray, value: np.ndarray) -> _Sampling:
    """Return how the meter wrote its readings, from their pattern.

    At a steady pace a step half as long again as usual is a gap. A meter that writes only changes never
    repeats a value; one that also writes at a steady beat repeats values at that beat.
    """
    usual = float(np.median(step_s))
    steady = _Sampling(f"one every {usual:g} s", 1.5 * usual, usual)
    if step_s.max() <= 1.5 * usual:
        return steady
    same = value[1:] == value[:-1]
    long = step_s > 1.5 * usual
    beat = float(np.median(step_s[same])) if same.sum() >= 3 else 0.0
    if beat > 1.5 * usual and np.mean(np.abs(step_s[same] - beat) <= beat / 4) >= 0.8:
        return _Sampling(f"on each change, and at least every {beat:g} s", 1.5 * beat, beat)
    paced = np.mean(np.abs(step_s - usual) <= usual / 2) >= 0.75
    returns = long.sum() >= 3 and np.unique(value[:-1][long]).size <= long.sum() / 2
    if same.mean() <= 0.01 and (returns or not paced):
        return _Sampling(f"on each change, the longest after {step_s.max() / 3600:.3g} h", math.inf, math.inf)
    return steady if paced else _Sampling(f"at uneven times, {usual:g} s apart in the middle", 10 * usual, usual)


def held_steps(readings: Readings, hold: str | None, found: list[Finding]) -> Steps:
    """Return the steps of a log of power: each reading stands until the next, or until a gap."""
    time_s = _seconds(readings)
    step_s = np.diff(time_s)
    if hold is None:
        sampling, told = _sampling(step_s, readings.value), "guessed"
    else:
        longest = math.inf if hold == UNTIL_NEXT else number(hold, "s", "hold")
        if longest <= 0:
            raise readings.place.refuse(f"hold={hold!r}", "a time", f'Write hold="30 s", or hold="{UNTIL_NEXT}".')
        sampling, told = _Sampling(f"each holds {hold}", longest, longest), "given"
    gap = step_s > sampling.longest_s
    if _note_gaps(found, readings, gap, step_s, f"not covered; the reading before stands for {sampling.stands_s:g} s"):
        step_s = np.where(gap, sampling.stands_s, step_s)
    power_w, start_s = readings.value[:-1], time_s[:-1]
    empty = np.isnan(power_w)
    if note(found, "empty readings", readings, empty, "not covered"):
        start_s, step_s, power_w = start_s[~empty], step_s[~empty], power_w[~empty]
    return Steps(start_s, step_s, power_w, float(time_s[-1]), (sampling.words, told))


# -- energy --------------------------------------------------------------------------------------

END_WORDS = {"end", "ending", "until", "to"}


def interval_steps(readings: Readings, found: list[Finding]) -> Steps:
    """Return the steps of a log of energy per interval: P = E / interval."""
    time_s = _seconds(readings)
    step_s = np.diff(time_s)
    usual = float(np.median(step_s))
    _note_gaps(found, readings, step_s > 1.5 * usual, step_s, "not covered")
    duration_s = np.minimum(np.append(step_s, usual), usual)
    there = np.isfinite(readings.value)
    note(found, "empty readings", readings, ~there, "not covered")
    at_end = bool(words_of(readings.notes["time"][0]) & END_WORDS)
    words = f"energy of {usual:g} s {'before' if at_end else 'after'} each time"
    power_w = readings.value[there] / duration_s[there] * 3600
    return Steps(time_s[there], duration_s[there], power_w, float(time_s[-1]) + usual, (words, "guessed"),
                  usual if at_end else 0.0)  # fmt: skip


def counter_steps(readings: Readings, found: list[Finding]) -> Steps:
    """Return the steps of an energy counter: P = (E2 - E1) / (t2 - t1), between readings that tell them apart.

    A reset leaves its step uncovered, since nobody knows how far the counter had come; a roll-over does not.
    """
    begin_ns, there = int(readings.ns[0]), np.isfinite(readings.value)
    if note(found, "empty readings", readings, ~there, "bridged by the counter"):
        readings = readings.take(np.flatnonzero(there))
    if readings.value.size < 2:
        raise readings.place.refuse("one reading of the counter", "two or more", "Let the meter log longer.", at=0)
    time_s = (readings.ns - begin_ns) / NS
    rise_wh = _rises(readings, found)
    sampling = _sampling(np.diff(time_s), readings.value)
    _note_gaps(found, readings, np.diff(time_s) > sampling.longest_s, np.diff(time_s), "bridged by the counter")
    stop = _stops(rise_wh, readings.step)
    if stop.size < time_s.size:
        done = f"put together to {stop.size - 1} steps from one change of the counter to the next"
        found.append(Finding("readings closer than the counter's last digit", "whole log", time_s.size, done))
    energy_wh, duration_s = np.add.reduceat(rise_wh, stop[:-1]), np.diff(time_s[stop])
    known = np.isfinite(energy_wh)
    power_w = energy_wh[known] / duration_s[known] * 3600
    return Steps(time_s[stop[:-1]][known], duration_s[known], power_w, float(time_s[-1]), (sampling.words, "guessed"))


def _rises(readings: Readings, found: list[Finding]) -> np.ndarray:
    """Return what a counter counted between its readings, nan across a reset [Wh]."""
    before, after = readings.value[:-1], readings.value[1:]
    rise = after - before
    fall = rise < 0
    rolled = fall & rolled_over(before, after)
    reset = fall & ~rolled & (after <= before / 10)
    odd = fall & ~rolled & ~reset
    if odd.any():
        at = int(odd.argmax())
        raise readings.place.refuse(f"a counter that falls from {before[at]:g} to {after[at]:g} Wh",
                                    "one that rises, or starts again near zero", "Cut the log there, or give the kind.",
                                    at=at + 1)  # fmt: skip
    if rolled.any():
        rise = np.where(rolled, rise + _largest(before), rise)
    note(found, "counter roll-over", readings, np.r_[False, rolled], "counted on")
    note(found, "counter resets", readings, np.r_[False, reset], "the time since the reading before is not covered")
    return np.where(reset, np.nan, rise)


def rolled_over(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Return where a counter went from all nines to zero: its largest value is a power of ten."""
    largest = _largest(before)
    return (largest >= 1e5) & (before >= 0.99 * largest) & (after <= 0.01 * largest)  # Wh


def _largest(before: np.ndarray) -> np.ndarray:
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


# -- the check of them all -----------------------------------------------------------------------

LARGEST_W = 100_000  # more than an outlet gives: the unit is wrong


def check_power(readings: Readings, steps: Steps) -> None:
    """Refuse a log that covers nothing, or whose powers no outlet gives."""
    if not steps.power_w.size:
        raise readings.place.refuse("no two readings in a row", "some", "Check the column of readings.")
    if steps.power_w.max() > LARGEST_W:
        at = np.searchsorted(_seconds(readings), steps.start_s[steps.power_w.argmax()])
        raise readings.place.refuse(f"a power of {steps.power_w.max():,.0f} W", f"at most {LARGEST_W:,} W",
                                    "Check the unit; unit= overrules the column's name.", at=at)  # fmt: skip
