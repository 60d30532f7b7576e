"""How sure: thousands of rides, every uncertain input drawn together with all that it shares (JCGM 101:2008)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
import pint

from ..estimate import estimate
from ..model.load import Load
from ..model.unit import BackupUnit
from ..sampling import Sampler
from ..units import Q_, Refusal, show
from .course import TIMES, course_of
from .ledger import Verdict, cautions_of, plugged, verdict_of
from .outage import Outage

DRAWS = 10_000
COVERAGE = 0.95
MOST = 64  # times as many draws are made at most, until enough lie within their limits


@dataclass(frozen=True)
class Spread:
    """Many rides through one outage; make it with `spread`.

    Parameters
    ----------
    unit, outage
        What rode through what.
    lasts_h : array of shape (draws,)
        When each draw first runs empty [h]; inf where it never does: that reads "at least the outage".
    left_wh : array of shape (draws,)
        What is left at the end beyond the reserve; less than zero where energy was missing [Wh].
    times_h, charge_wh : arrays of shape (n,) and (draws, n)
        Moments, and the energy that can still be taken then [h], [Wh].
    drawn : mapping
        What was drawn of each influence, by its name and in standard uncertainties [-].
    outside : float
        Share of draws left out since something lay beyond its physical limits [-].
    """

    unit: BackupUnit
    outage: Outage
    lasts_h: np.ndarray = field(repr=False)
    left_wh: np.ndarray = field(repr=False)
    times_h: np.ndarray = field(repr=False)
    charge_wh: np.ndarray = field(repr=False)
    drawn: Mapping[str, Sequence[np.ndarray]] = field(repr=False)
    outside: float

    @property
    def lasts(self) -> np.ndarray:
        """When each draw runs empty [h]; draws that survive stand at the outage's length: read "at least"."""
        return np.minimum(self.lasts_h, float(self.outage.duration.magnitude))

    @property
    def chance(self) -> float:
        """The share of draws that last the outage and keep the reserve [-]."""
        return float(np.mean(np.isinf(self.lasts_h) & (self.left_wh >= 0)))

    @property
    def verdict(self) -> Verdict:
        """Covered, tight or short, by the same limits as the ledger's."""
        return verdict_of(self.chance)

    @cached_property
    def shares(self) -> pd.DataFrame:
        """What makes it uncertain: columns influence and share [-], the squared rank correlation with what is left."""
        return _shares(self.drawn, self.left_wh)

    def interval(self, coverage: float = COVERAGE) -> tuple[pint.Quantity, pint.Quantity]:
        """Return the two ends of the run time's interval [h]; an end at the outage's length reads "at least".

        Probabilistically symmetric: as much chance above as below.

        References
        ----------
        JCGM 101:2008, 5.3.3 and 7.7.
        """
        low, high = np.quantile(self.lasts, _ends(coverage))
        return Q_(float(low), "h"), Q_(float(high), "h")

    def band(self, coverage: float = COVERAGE) -> pd.DataFrame:
        """Return the charge through time: columns time (h), low, middle and high (Wh)."""
        low, high = _ends(coverage)
        ends = np.quantile(self.charge_wh, [low, 0.5, high], axis=0)
        return pd.DataFrame(
            {"time (h)": self.times_h, "low (Wh)": ends[0], "middle (Wh)": ends[1], "high (Wh)": ends[2]}
        )

    @property
    def cautions(self) -> tuple[str, ...]:
        """What the numbers leave out and may hurt."""
        return cautions_of(self.unit, self.outage)

    def __repr__(self) -> str:
        ends = [show(end) if end < self.outage.duration else f"at least {show(end)}" for end in self.interval()]
        return (f"<Spread of {self.unit.label} through {show(self.outage.duration)}, {self.lasts_h.size:,} draws: "
                f"lasts {ends[0]} to {ends[1]}, chance {100 * self.chance:.0f} %: {self.verdict}"
            + "".join(f"\n  caution: {each}" for each in self.cautions)
            + ">")  # fmt: skip


def spread(
    load: Load,
    unit: BackupUnit,
    outage: Any,
    *,
    draws: int = DRAWS,
    seed: int = 1,
    restart: Any = "0 %",
    times: int = TIMES,
) -> Spread:
    """Return many rides, with every uncertain input drawn at once.

    Parameters
    ----------
    load, unit, outage, restart
        As in `ride`.
    draws : int
        How many rides [-].
    seed : int
        The same seed gives the same rides.
    times : int
        How many moments of the charge are kept for `Spread.band` [-].

    Notes
    -----
    What rests on the same influence is drawn together: one meter's gain in all that it measured, energy and
    standby of one run-down line. Draws in which something lies beyond its physical limits (a charge above full, a
    power below zero) are left out as a whole and replaced. Where the account is close to linear the ledger's
    interval is the same; `Spread.shares` by ranks.

    Example
    -------
    >>> unit = BackupUnit.from_print("mine", capacity="1 kWh", chemistry="iron phosphate", standby="10 W",
    ...                              rated="500 W", efficiency="80 %", at="100 W")
    >>> spread(Load.steady("100 W"), unit, "12 h", draws=1000)
    <Spread of mine through 12 h, 1,000 draws: lasts 7.3 h to 7.9 h, chance 0 %: short>
    """
    when = Outage.of(outage)
    plugged(load, unit)
    course = course_of(load, when, varies=True)
    if not isinstance(times, int) or isinstance(times, bool) or times < 1:
        raise Refusal(f"times={times!r}", "a whole number of one or more", "Write times=240.")
    moments = np.linspace(0, float(when.duration.magnitude), times + 1)
    sampler, more = Sampler(draws, seed), draws
    with np.errstate(invalid="ignore", divide="ignore"):  # in draws that are left out
        passage = course.through(unit, sampler.of)
        while (sampler.kept & passage.finite).sum() < draws:
            more *= 2
            if more > MOST * draws:
                raise Refusal("inputs that lie beyond their physical limits more often than not",
                              "inputs that are known better", "Look at load.mean_power and unit.standby.")  # fmt: skip
            sampler = Sampler(more, seed)
            passage = course.through(unit, sampler.of)
    kept = sampler.kept & passage.finite
    picked = np.flatnonzero(kept)[:draws]
    account = course.follow(
        passage.only(picked), restart=float(estimate(restart, "1", "restart").value.magnitude), at_h=moments
    )
    left = account.end_wh - account.unserved_wh
    assert account.soc_wh is not None
    return Spread(
        unit, when, account.first_empty_h, left, moments, account.soc_wh,
        {name: [drawn[picked] for drawn in together] for name, together in sampler.influences.items()},
        1 - float(np.mean(kept)),
    )  # fmt: skip


def _ends(coverage: float) -> tuple[float, float]:
    """Return the two shares of draws that lie below the ends of an interval [-]."""
    if not 0 < coverage < 1:
        raise Refusal(f"coverage={coverage}", "a chance between 0 and 1", "Write coverage=0.95.")
    return (1 - coverage) / 2, (1 + coverage) / 2


def _shares(drawn: Mapping[str, Sequence[np.ndarray]], left: np.ndarray) -> pd.DataFrame:
    """Return each influence's squared rank correlation with what is left, those that matter."""
    from scipy.stats import rankdata

    ranks = rankdata(left) - (left.size + 1) / 2
    found = {}
    for name, together in drawn.items():
        found[name] = 0.0
        for values in together:
            own = rankdata(values) - (left.size + 1) / 2
            found[name] += float(own @ ranks) ** 2 / float((own @ own) * (ranks @ ranks) or 1)
    table = pd.DataFrame({"influence": list(found), "share": list(found.values())})
    return table.sort_values("share", ascending=False, ignore_index=True)
