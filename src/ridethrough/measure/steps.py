"""Power held over steps of time, by readings of power, of a counter and of intervals, and what was found on the way.

What may be a power failure is asked about, with the line that cuts it out.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from ..sources import lookup
from ..units import number
from .layout import WORDS, Note, words_of
from .meterlog import Finding, MeterLog, Span, meet
from .readings import NS, Readings

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
    first, last = runs_of(readings.value[1:] == readings.value[:-1])
    still_s = (readings.ns[last] - readings.ns[first]) / NS
    stuck = (still_s >= UNMOVED_S) & (last - first + 1 >= UNMOVED_READINGS)
    if stuck.any():
        where = f"first at {_when(readings, first[stuck][0])}, the longest {still_s[stuck].max() / 3600:.3g} h"
        found.append(Finding("unchanged for hours", where, int(stuck.sum()), "kept; look at the meter"))


def runs_of(flags: np.ndarray) -> np.ndarray:
    """Return where flags begin to hold, and where they no longer do."""
    return np.flatnonzero(np.diff(np.r_[False, flags, False])).reshape(-1, 2).T


# -- steps ---------------------------------------------------------------------------------------


# When each step begins and how long it lasts [s], its power, nan where it is not covered [W], how long the log is [s],
# how readings were taken to stand for their steps, and when it begins, from the first reading [s].
_Steps = tuple[np.ndarray, np.ndarray, np.ndarray, float, Note, float]

UNTIL_NEXT = "until the next"


def seconds_of(readings: Readings) -> np.ndarray:
    """Return when each reading was taken, from the first one on [s]."""
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
    words, longest, stands = _sampling(step_s, readings.value)
    if hold is not None:
        longest = stands = math.inf if hold == UNTIL_NEXT else number(hold, "s", "hold")
        words = f"each holds {hold}"
        readings.place.refuse_if("hold", longest <= 0, hold=hold)
    note_gaps(found, readings, step_s, longest, f"not covered; the reading before stands for {stands:g} s")
    note(found, "empty readings", readings, ~np.isfinite(readings.value[:-1]), "not covered")
    step_s = np.where(step_s > longest, stands, step_s)
    told = (words, "guessed" if hold is None else "given")
    return time_s[:-1], step_s, readings.value[:-1], float(time_s[-1]), told, 0.0


def interval_steps(readings: Readings, _: None, found: list[Finding]) -> _Steps:
    """Return the steps of a log of energy per interval: P = E / interval."""
    time_s = seconds_of(readings)
    step_s = np.diff(time_s)
    usual = float(np.median(step_s))
    note_gaps(found, readings, step_s, 1.5 * usual, "not covered")
    note(found, "empty readings", readings, ~np.isfinite(readings.value), "not covered")
    duration_s = np.minimum(np.append(step_s, usual), usual)
    at_end = bool(words_of(readings.notes["time"][0]) & WORDS["end"])
    told = (f"energy of {usual:g} s {'before' if at_end else 'after'} each time", "guessed")
    power_w = readings.value / duration_s * 3600
    return time_s, duration_s, power_w, float(time_s[-1]) + usual, told, -usual if at_end else 0.0


def counter_steps(readings: Readings, _: None, found: list[Finding]) -> _Steps:
    """Return the steps of an energy counter: P = (E2 - E1) / (t2 - t1), between readings that tell them apart.

    A reset leaves its step uncovered, since nobody knows how far the counter had come; a roll-over does not.
    """
    there = np.isfinite(readings.value)
    note(found, "empty readings", readings, ~there, "bridged by the counter")
    counts = readings.take(np.flatnonzero(there))
    counts.place.refuse_if("one count", counts.value.size < 2, at=0)
    time_s = (counts.ns - readings.ns[0]) / NS
    rise_wh = _rises(counts, found)
    words, longest, _stands = _sampling(np.diff(time_s), counts.value)
    note_gaps(found, counts, np.diff(time_s), longest, "bridged by the counter")
    stop = _stops(rise_wh, counts.step)
    if stop.size < time_s.size:
        done = f"put together to {stop.size - 1} steps from one change of the counter to the next"
        found.append(Finding("readings closer than the counter's last digit", "whole log", time_s.size, done))
    duration_s = np.diff(time_s[stop])
    power_w = np.add.reduceat(rise_wh, stop[:-1]) / duration_s * 3600
    return time_s[stop[:-1]], duration_s, power_w, float(time_s[-1]), (words, "guessed"), 0.0


def _rises(readings: Readings, found: list[Finding]) -> np.ndarray:
    """Return what a counter counted between its readings, nan across a reset [Wh]."""
    before, (rise, rolled, reset) = readings.value[:-1], falls(readings.value)
    odd = (rise < 0) & ~rolled & ~reset
    at = int(odd.argmax())
    readings.place.refuse_if("falling counter", odd, before=before[at], after=readings.value[at + 1], at=at + 1)
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
    moved, up = rise_wh != 0, rise_wh[rise_wh > 0]
    if not up.size or np.median(up) > 2.5 * step_wh or moved.mean() > 0.7:
        return np.arange(rise_wh.size + 1)
    reset, changes = np.flatnonzero(np.isnan(rise_wh)), np.flatnonzero(moved) + 1
    if changes.size > 1 and changes[-1] < rise_wh.size and not np.isnan(rise_wh[changes[-1] - 1]):
        changes = changes[:-1]  # the quiet end belongs to the last count
    return np.unique(np.r_[0, changes, reset, rise_wh.size])


# -- power failures: stretches of nothing much longer than an appliance rests, asked about ------------

MOMENT_S = 180  # shorter runs and rests are lamps and doors
LOW = 0.25  # of the mean power: below, an appliance rests


def failures(log: MeterLog) -> tuple[Finding, ...]:
    """Return what looks like power failures in a log of power: each a question, with the line that cuts it out.

    Where volts were logged, a stretch counts in which they fell to zero. Without, one at 0 W counts where the
    appliance's own rests draw something, or where it lasts much longer than they do and a longer run than usual
    follows, the catch-up. A gap counts as the last does.
    """
    if log.kind != "power" or not log.power_w.any():
        return ()
    start, lasts, least_s = log.start_s, log.duration_s, 60 * lookup("shortest power failure").value
    off = log.power_w == 0 if log.volts is None else log.volts < np.fmax.reduce(log.volts) / 2
    if log.span_s - lasts.sum() < least_s and not _stretches(off, start, lasts, least_s):
        return ()
    gap = np.flatnonzero(np.diff(start) > lasts[:-1] + MOMENT_S) + 1
    end = start[gap - 1] + lasts[gap - 1]
    low = log.power_w <= LOW * (log.power_w @ lasts) / lasts.sum()
    off, low = (np.insert(flags, gap, True) for flags in (off, low))
    start, lasts = np.insert(start, gap, end), np.insert(lasts, gap, start[gap] - end)
    dark = _stretches(off, start, lasts, least_s)
    rests, runs = (_stretches(flags, start, lasts, MOMENT_S) for flags in (low, ~low))
    asked = (_question(log, span, [rest for rest in rests if not meet(rest, span)], runs) for span in dark)
    return tuple(filter(None, asked))


def _question(log: MeterLog, dark: Span, rests: list[Span], runs: list[Span]) -> Finding | None:
    """Return the question whether the power was off in a stretch without power; None where nothing speaks for it."""
    logged = bool(np.any((log.start_s >= dark[0]) & (log.start_s < dark[1])))
    resting = np.any([(log.start_s >= begin) & (log.start_s < end) for begin, end in rests], axis=0)
    lasts, usual_rest = dark[1] - dark[0], _usual(rests, 3600 * lookup("cycle of a cold appliance").value / 2)
    after = next((run for run in runs if run[0] >= dark[1]), None)
    usual_run = _usual([run for run in runs if run != after], math.inf)
    catch_up = after is not None and after[1] - after[0] > lookup("catch-up over a usual run").value * usual_run
    long = lasts > lookup("power failure over a usual rest").value * usual_rest
    draws = bool(np.any(resting)) and np.mean(log.power_w[resting] == 0) < 1 / 2  # something in its rests
    sure = logged and (draws or log.volts is not None)
    if not (sure or (long and (catch_up or after is None or not rests))):
        return None
    where = f"{'0 W' if logged else 'no readings'} for {lasts / 3600:.3g} h from {log.said(dark[0])}"
    ends = [log.said(dark[1])] if logged else []
    if after and catch_up:
        where += f", then on for {(after[1] - after[0]) / 3600:.2g} h and usually for {usual_run / 3600:.2g} h"
        ends.append(log.said(after[1]))
    lines = " or, without its catch-up, ".join(f'log.without("{log.said(dark[0])}", "{end}")' for end in ends)
    done = f"{'kept' if logged else 'not covered'}; if the power was off, write {lines}"
    return Finding("power failure?", where, 1, done, span_s=dark)


def _usual(spans: list[Span], unknown: float) -> float:
    """Return the median length of some spans [s]."""
    return float(np.median([end - begin for begin, end in spans])) if spans else unknown


def _stretches(flags: np.ndarray, start_s: np.ndarray, lasts_s: np.ndarray, least_s: float) -> list[Span]:
    """Return from when to when ``flags`` hold at a stretch, where that is for long enough [s]."""
    first, after = runs_of(flags)
    begins, ends = start_s[first], start_s[after - 1] + lasts_s[after - 1]
    long = ends - begins >= least_s
    return list(zip(begins[long].tolist(), ends[long].tolist(), strict=True))
