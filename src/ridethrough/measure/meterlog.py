"""What a meter showed, as power held over steps of time, with everything found in it that a reader must know."""

from __future__ import annotations

import math
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from html import escape
from typing import Any

import numpy as np
import pandas as pd
import pint

from ..estimate import Estimate
from ..model.load import Appliance, Load
from ..model.pattern import Pattern
from ..sources import lookup
from ..units import Q_, number, show
from .layout import Place, kind_of
from .meter import Meter

Span = tuple[float, float]  # from where to where in a log [s]
_PER_STEP = ("power_w", "apparent_va", "volts")


@dataclass(frozen=True)
class Finding:
    """Something in a log that a reader must know.

    Parameters
    ----------
    what, where : str
        What was found, and where first.
    count : int
        How many times [-].
    done : str
        What the kit did about it.
    span_s : (float, float), optional
        From where to where in the log, for what reads as a question [s].
    """

    what: str
    where: str
    count: int
    done: str
    span_s: Span | None = field(default=None, repr=False)

    def __str__(self) -> str:
        return f"{self.what}: {self.count}, {self.where}; {self.done}"


@dataclass(frozen=True, eq=False)
class MeterLog:
    """What a meter showed: power held constant over steps of time. Gaps are covered by no step.

    Parameters
    ----------
    name : str
        The file's name, or "hand readings".
    kind : str
        "power", "counter", "interval energy" or "apparent power".
    start_s, duration_s : array of shape (n,)
        When each step begins, from the first reading, and how long it lasts [s].
    power_w : array of shape (n,)
        The power in each step [W]; volt-amperes in a log of apparent power [VA].
    begins : pandas.Timestamp or None
        When the first reading was taken; None where the log counts from its own start.
    span_s : float
        From the first reading to the end of the last [s].
    resolution : pint.Quantity
        The step of the readings as logged [W, Wh or VA].
    meter : Meter
        What it was read with.
    mapping : dict
        What each column was taken to be and each choice made, and whether given or guessed.
    findings : tuple of Finding
        Gaps, duplicates, resets and the like.
    apparent_va, volts : array of shape (n,), optional
        Apparent power and voltage in each step, where they were logged beside the power [VA, V].
    """

    name: str
    kind: str
    start_s: np.ndarray = field(repr=False)
    duration_s: np.ndarray = field(repr=False)
    power_w: np.ndarray = field(repr=False)
    begins: pd.Timestamp | None
    span_s: float
    resolution: pint.Quantity
    meter: Meter = field(default_factory=Meter)
    mapping: dict[str, tuple[str, str]] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    apparent_va: np.ndarray | None = field(default=None, repr=False)
    volts: np.ndarray | None = field(default=None, repr=False)

    @property
    def questions(self) -> tuple[str, ...]:
        """What was found that only the user can settle, and the line to type."""
        return tuple(str(finding) for finding in self.findings if finding.span_s)

    @property
    def unseen(self) -> Estimate:
        """What the meter was too blind to count, on the mean power [W]; see `Meter.unseen`."""
        return self.meter.unseen(float(np.average(self.power_w == 0, weights=self.duration_s)))

    @property
    def covered(self) -> pint.Quantity:
        """The time that readings stand for [h]."""
        return Q_(float(self.duration_s.sum()) / 3600, "h")

    @property
    def coverage(self) -> float:
        """The share of the log's span that readings stand for [-]."""
        return min(1.0, float(self.duration_s.sum()) / self.span_s)

    def first(self, duration: Any) -> MeterLog:
        """Return the log as it would be had it been stopped after ``duration`` [h]."""
        return self.between("0 h", duration)

    def between(self, begin: Any, end: Any) -> MeterLog:
        """Return the part of the log between two times, counted from its beginning [h] or by the log's clock.

        Steps that reach beyond either end are cut there; findings are those of the whole log.

        Parameters
        ----------
        begin, end : str or pint.Quantity
            A time since the log's beginning, or a date and time such as "2026-01-10 08:00" [h].

        Raises
        ------
        Refusal
            If no reading stands for any of that time.
        """
        low, high = self._window(begin, end)
        return replace(
            self,
            **self._steps_in((low, high), since=low),
            begins=None if self.begins is None else self.begins + pd.Timedelta(seconds=low),
            span_s=min(high, self.span_s) - low,
            findings=tuple(replace(each, span_s=(each.span_s[0] - low, each.span_s[1] - low)) if each.span_s else each
                           for each in self.findings if not each.span_s or _meet(each.span_s, (low, high))),
        )  # fmt: skip

    def without(self, begin: Any, end: Any) -> MeterLog:
        """Return the log with a stretch cut out, such as a power failure: two covered parts, and a gap between them.

        Parameters
        ----------
        begin, end : str or pint.Quantity
            As in `between`; a later end leaves out the catch-up after a failure as well [h].

        Raises
        ------
        Refusal
            If no reading stands for any of that time, or none for any other.

        Example
        -------
        >>> from .log import hand_readings
        >>> log = hand_readings([("0:00", "40"), ("5:00", "0"), ("7:00", "40"), ("9:00", "40")], "W")
        >>> log.without("5 h", "7 h").mean_power_w()
        40.0
        """
        low, high = self._window(begin, end)
        kept = self._steps_in((-math.inf, low), (high, math.inf))
        if not kept["start_s"].size:
            raise Place(self.name).refuse("all cut out")
        settled = [each for each in self.findings if not _meet(each.span_s, (low, high))]
        where = f"{self._said(low)} to {self._said(high)}"
        return replace(self, **kept, findings=(*settled, Finding("cut out", where, 1, "not covered, as told")))

    def _steps_in(self, *windows: Span, since: float = 0.0) -> dict[str, Any]:
        """Return the steps within some windows, cut at their ends, as the fields that hold them."""
        starts = np.concatenate([np.maximum(self.start_s, low) for low, _ in windows])
        ends = np.concatenate([np.minimum(self.start_s + self.duration_s, high) for _, high in windows])
        held = np.flatnonzero(ends > starts)
        of = held % self.start_s.size
        beside = {name: None if (values := getattr(self, name)) is None else values[of] for name in _PER_STEP}
        return {"start_s": starts[held] - since, "duration_s": (ends - starts)[held]} | beside

    def _window(self, begin: Any, end: Any) -> Span:
        """Return a stretch in which readings stand for some of the time [s]."""
        low, high = self._at(begin, "begin"), self._at(end, "end")
        if not self._steps_in((low, high))["start_s"].size:
            span = show(Q_(self.span_s / 3600, "h"))
            raise Place(self.name).refuse("none between", begin=self._said(low), end=self._said(high), span=span)
        return low, high

    def _at(self, at: Any, name: str) -> float:
        """Return a moment, told by the clock or from the log's beginning, as seconds from there [s]."""
        if not (isinstance(at, str) and kind_of(at) in {"stamp", "date"}):
            return 3600 * number(at, "h", name)
        with suppress(TypeError, ValueError):  # no ISO date, another zone, an hour that comes twice
            if self.begins is not None:
                stamp = pd.Timestamp(datetime.fromisoformat(at))
                return float(((stamp if stamp.tz else stamp.tz_localize(self.begins.tz)) - self.begins).total_seconds())
        raise Place(self.name).refuse("no moment", name=name, moment=at, begin=self._said(0.0))

    def _said(self, at_s: float) -> str:
        """Return a moment as `between` and `without` take it."""
        if self.begins is None or not math.isfinite(at_s):
            return f"{at_s / 3600:.3f} h"
        return (self.begins + pd.Timedelta(seconds=at_s)).isoformat(sep=" ", timespec="seconds")

    def mean_power_w(self) -> float:
        """Return the mean power over the covered time, a plain number [W].

        P_mean = sum(P dt) / sum(dt)                                                          (1)
        """
        self._watts("a mean power")
        return self._mean()

    def _mean(self) -> float:
        return float(np.dot(self.power_w, self.duration_s) / self.duration_s.sum())  # (1)

    def _watts(self, wanted: str) -> None:
        if self.kind == "apparent power":
            raise Place(self.name).refuse("no watts", wanted=wanted)

    def as_load(self, name: str | None = None) -> Load:
        """Return the log itself as a load, its powers taken as exact.

        For a draw with its uncertainty use `measure_draw`. Where volt-amperes were logged beside the watts, the
        largest goes to the inverter's check.

        Parameters
        ----------
        name : str, optional
            What the ledger calls it; the log's name where left out.
        """
        self._watts("a load")
        peak = Q_(float(self.power_w.max()), "W") if self.kind == "power" else None
        pattern = Pattern(self.duration_s / 3600, self.power_w)
        mean = Estimate.exact(Q_(pattern.mean_w, "W"))
        return Load((Appliance(name or self.name, mean, pattern, peak=peak, apparent=self.largest_apparent()),))

    def largest_apparent(self, steps: Any = slice(None)) -> pint.Quantity | None:
        """Return the largest apparent power logged beside the watts, in some of the steps [VA]; None reads "not
        measured"."""
        largest = math.nan if self.apparent_va is None else float(np.fmax.reduce(self.apparent_va[steps]))
        return None if math.isnan(largest) else Q_(largest, "VA")

    def __repr__(self) -> str:
        unit = "VA" if self.kind == "apparent power" else "W"
        since = f" from {self.begins:%Y-%m-%d %H:%M:%S %Z}".rstrip() if self.begins is not None else ""
        lines = [
            f"<MeterLog {self.name}: {self.kind}, {show(Q_(self.span_s / 3600, 'h'))}{since}, "
            f"mean {show(Q_(self._mean(), unit))}, {100 * self.coverage:.3g} % covered, "
            f"step {self.resolution.magnitude:.3g} {self.resolution.units:~P}"
        ]
        lines += [f"  {role}: {what} ({origin})" for role, (what, origin) in self.mapping.items()]
        lines.append(f"  meter accuracy: {self.meter.accuracy or 'not stated'}")
        lines += [f"  found: {finding}" for finding in self.findings]
        return "\n".join(lines) + ">"

    def _repr_html_(self) -> str:
        head, *rest = repr(self)[1:-1].split("\n")
        items = "".join(f"<li>{escape(line.strip())}</li>" for line in rest)
        return f"<div><strong>{escape(head)}</strong><ul>{items}</ul></div>"


def _meet(one: Span | None, other: Span) -> bool:
    return one is not None and one[0] < other[1] and other[0] < one[1]


# -- power failures ------------------------------------------------------------------------------

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
    asked = (_question(log, span, [rest for rest in rests if not _meet(rest, span)], runs) for span in dark)
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
