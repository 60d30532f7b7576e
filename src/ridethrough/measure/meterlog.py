"""What a meter showed, as power held over steps of time, with everything found in it that a reader must know."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from html import escape
from typing import Any

import numpy as np
import pandas as pd
import pint

from ..estimate import Estimate
from ..model.load import Appliance, Load
from ..model.pattern import Pattern
from ..units import Q_, Refusal, number, show
from .meter import Meter


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
    """

    what: str
    where: str
    count: int
    done: str

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
        """Return the part of the log between two times, counted from its beginning [h].

        Steps that reach beyond either end are cut there; findings are those of the whole log.

        Raises
        ------
        Refusal
            If no reading stands for any of that time.
        """
        low, high = (3600 * number(at, "h", name) for at, name in ((begin, "begin"), (end, "end")))
        starts = np.maximum(self.start_s, low)
        lasts = np.minimum(self.start_s + self.duration_s, high) - starts
        held = lasts > 0
        if not held.any():
            raise Refusal(
                f"{self.name} between {show(Q_(low / 3600, 'h'))} and {show(Q_(high / 3600, 'h'))}",
                f"a part of its {show(Q_(self.span_s / 3600, 'h'))} that readings stand for",
                "Ask for an earlier, later or longer part.",
            )
        return replace(
            self,
            start_s=starts[held] - low,
            duration_s=lasts[held],
            power_w=self.power_w[held],
            begins=None if self.begins is None else self.begins + pd.Timedelta(seconds=low),
            span_s=min(high, self.span_s) - low,
        )

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
            raise Refusal(
                f"{wanted} from {self.name}, a log of apparent power (VA)",
                "readings in watts",
                "Volt-amperes are not watts: log the power, or the energy counter, of the same meter.",
            )

    def as_load(self, name: str | None = None) -> Load:
        """Return the log itself as a load, its powers taken as exact.

        For a draw with its uncertainty use `measure_draw`.

        Parameters
        ----------
        name : str, optional
            What the ledger calls it; the log's name where left out.
        """
        self._watts("a load")
        peak = Q_(float(self.power_w.max()), "W") if self.kind == "power" else None
        pattern = Pattern(self.duration_s / 3600, self.power_w)
        mean = Estimate.exact(Q_(pattern.mean_w, "W"))
        return Load((Appliance(name or self.name, mean, pattern, peak=peak),))

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
