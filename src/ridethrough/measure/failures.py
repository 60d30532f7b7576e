"""Power failures in a log: stretches of nothing much longer than an appliance rests, asked about with what to type."""

from __future__ import annotations

import math

import numpy as np

from ..sources import lookup
from .meterlog import Finding, MeterLog, Span, meet

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
    dark, rests, runs = (_stretches(flags, start, lasts, least)
                         for flags, least in ((off, least_s), (low, MOMENT_S), (~low, MOMENT_S)))  # fmt: skip
    asked = (_question(log, span, [rest for rest in rests if not meet(rest, span)], runs) for span in dark)
    return tuple(finding for finding in asked if finding)


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
    where = f"{'0 W' if logged else 'no readings'} for {lasts / 3600:.3g} h from {log._said(dark[0])}"
    ends = [log._said(dark[1])] if logged else []
    if after and catch_up:
        where += f", then on for {(after[1] - after[0]) / 3600:.2g} h and usually for {usual_run / 3600:.2g} h"
        ends.append(log._said(after[1]))
    lines = " or, without its catch-up, ".join(f'log.without("{log._said(dark[0])}", "{end}")' for end in ends)
    done = f"{'kept' if logged else 'not covered'}; if the power was off, write {lines}"
    return Finding("power failure?", where, 1, done, span_s=dark)


def _usual(spans: list[Span], unknown: float) -> float:
    """Return the median length of some spans [s]."""
    return float(np.median([end - begin for begin, end in spans])) if spans else unknown


def _stretches(flags: np.ndarray, start_s: np.ndarray, lasts_s: np.ndarray, least_s: float) -> list[Span]:
    """Return from when to when ``flags`` hold at a stretch, where that is for long enough [s]."""
    first, after = np.flatnonzero(np.diff(np.r_[False, flags, False])).reshape(-1, 2).T
    begins, ends = start_s[first], start_s[after - 1] + lasts_s[after - 1]
    long = ends - begins >= least_s
    return list(zip(begins[long].tolist(), ends[long].tolist(), strict=True))
