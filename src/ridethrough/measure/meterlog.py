"""What a meter showed, as power held over steps of time, with everything found in it that a reader must know."""

from __future__ import annotations

import math
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd
import pint

from ..estimate import Estimate
from ..known import Listed
from ..model.load import Appliance, Load
from ..model.pattern import Pattern
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
class MeterLog(Listed):
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
                           for each in self.findings if not each.span_s or meet(each.span_s, (low, high))),
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
        Place(self.name).refuse_if("all cut out", not kept["start_s"].size)
        settled = [each for each in self.findings if not meet(each.span_s, (low, high))]
        where = f"{self.said(low)} to {self.said(high)}"
        return replace(self, **kept, findings=(*settled, Finding("cut out", where, 1, "not covered, as told")))

    def _steps_in(self, *windows: Span, since: float = 0.0) -> dict[str, Any]:
        """Return the steps within some windows, cut at their ends, as the fields that hold them."""
        starts = np.concatenate([np.maximum(self.start_s, low) for low, _ in windows])
        ends = np.concatenate([np.minimum(self.start_s + self.duration_s, high) for _, high in windows])
        held = np.flatnonzero(ends > starts)
        of = held % self.start_s.size
        steps = {"start_s": starts[held] - since, "duration_s": (ends - starts)[held]}
        return steps | taken(self, _PER_STEP, of)

    def _window(self, begin: Any, end: Any) -> Span:
        """Return a stretch in which readings stand for some of the time [s]."""
        low, high = self._at(begin, "begin"), self._at(end, "end")
        none, span = not self._steps_in((low, high))["start_s"].size, show(Q_(self.span_s / 3600, "h"))
        Place(self.name).refuse_if("none between", none, begin=self.said(low), end=self.said(high), span=span)
        return low, high

    def _at(self, at: Any, name: str) -> float:
        """Return a moment, told by the clock or from the log's beginning, as seconds from there [s]."""
        if not (isinstance(at, str) and kind_of(at) in {"stamp", "date"}):
            return 3600 * number(at, "h", name)
        with suppress(TypeError, ValueError):  # no ISO date, another zone, an hour that comes twice
            if self.begins is not None:
                stamp = pd.Timestamp(datetime.fromisoformat(at))
                return float(((stamp if stamp.tz else stamp.tz_localize(self.begins.tz)) - self.begins).total_seconds())
        raise Place(self.name).refuse("no moment", name=name, moment=at, begin=self.said(0.0))

    def said(self, at_s: float) -> str:
        """Return a moment as `between` and `without` take it."""
        if self.begins is None or not math.isfinite(at_s):
            return f"{at_s / 3600:.3f} h"
        return (self.begins + pd.Timedelta(seconds=at_s)).isoformat(sep=" ", timespec="seconds")

    def mean_power_w(self) -> float:
        """Return the mean power over the covered time, a plain number [W].

        P_mean = sum(P dt) / sum(dt)                                                          (1)
        """
        Place(self.name).refuse_if("no watts", self.kind == "apparent power", wanted="a mean power")
        return self._mean()

    def _mean(self) -> float:
        return float(np.dot(self.power_w, self.duration_s) / self.duration_s.sum())  # (1)

    @property
    def rounding(self) -> Estimate:
        """The step of the readings as an influence on the mean power, about zero [W].

        A power step d leaves d / sqrt 12, however many readings lie on a plateau. A counter is read at both
        ends, so its step leaves d / sqrt 6 over the log's time. Energies of single intervals round one by
        one, and all alike where they do not differ.
        """
        half, step = self.resolution / 2, f"{self.meter.name} resolution"
        if self.kind == "power":
            return Estimate.within("0 W", half, step)
        alike = np.ptp(self.power_w) * self.duration_s.min() / 3600 < float(half.to("Wh").magnitude)
        roundings = 2 if self.kind == "counter" else self.start_s.size ** (2 if alike else 1)
        return (Estimate.within("0 Wh", half, step) * math.sqrt(roundings) / self.covered).to("W")

    def as_load(self, name: str | None = None) -> Load:
        """Return the log itself as a load, its powers taken as exact.

        For a draw with its uncertainty use `measure_draw`. Where volt-amperes were logged beside the watts, the
        largest goes to the inverter's check.

        Parameters
        ----------
        name : str, optional
            What the ledger calls it; the log's name where left out.
        """
        Place(self.name).refuse_if("no watts", self.kind == "apparent power", wanted="a load")
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
        return "\n".join([
            f"<MeterLog {self.name}: {self.kind}, {show(Q_(self.span_s / 3600, 'h'))}{since}, "
            f"mean {show(Q_(self._mean(), unit))}, {100 * self.coverage:.3g} % covered, "
            f"step {self.resolution.magnitude:.3g} {self.resolution.units:~P}",
            *(f"  {role}: {what} ({origin})" for role, (what, origin) in self.mapping.items()),
            f"  meter accuracy: {self.meter.accuracy or 'not stated'}",
            *(f"  found: {finding}" for finding in self.findings),
        ]) + ">"  # fmt: skip


def taken(held: Any, names: Iterable[str], chosen: Any) -> dict[str, Any]:
    """Return what ``held`` has under each of the names for the readings or steps ``chosen``; None stays None."""
    return {name: None if (values := getattr(held, name)) is None else values[chosen] for name in names}


def meet(one: Span | None, other: Span) -> bool:
    """Return whether two stretches of a log have some time in common."""
    return one is not None and one[0] < other[1] and other[0] < one[1]
