"""A meter's log in, a measured draw out: mean power, how it varies, and how sure both are.

Two questions are kept apart. `Draw.mean_power` is the appliance's mean under the log's conditions: same
room, same use, same season. `Draw.energy_over` is the energy of the next outage, which adds how far one
day lies from the next.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
import pint

from ..estimate import Estimate
from ..model.load import Appliance, Load
from ..sources import coefficient
from ..units import Q_, Refusal, number, show
from .cycles import Pattern, find_pattern, no_pattern
from .log import MeterLog

DAY_S = 86_400.0
WHOLE_DAY = 0.8  # share of 24 h that must be covered for a day to count
FEWEST_DAYS = 3  # from here on the days seen update the stated band
FEW_CYCLES = 5
BAND_DOF = 4.0  # weight of the stated band, in days seen; about 35 % doubt in it (JCGM 100:2008, G.4.2)
WHOLE_CYCLES = 0.5  # share of the covered time that whole cycles must fill to stand for it
LEVELS = 40


@dataclass(frozen=True)
class Draw:
    """What an appliance draws, as measured; None reads "not measured".

    Parameters
    ----------
    name : str
        What the ledger calls it.
    mean_power : Estimate
        The appliance's mean under the log's conditions [W].
    metered : Estimate
        The same with the meter's own influences only: what no longer log can better [W].
    day_spread : pint.Quantity
        Standard deviation of one day's energy about its mean [Wh].
    day_dof : float
        Degrees of freedom of ``day_spread`` [-].
    days : float
        Covered time behind the mean, in days [-].
    running_power : pint.Quantity, optional
        Median power while the compressor runs [W].
    duty_cycle : pint.Quantity, optional
        Share of time it runs [-].
    peak_power : pint.Quantity, optional
        Largest power in the log, starts included [W].
    sustained_power : pint.Quantity, optional
        Largest power outside the starts [W].
    surge : pint.Quantity, optional
        Largest power caught in a start [W]; the true one is larger where the meter's steps are long.
    cycles : pandas.DataFrame
        Regular whole cycles: start_h, on_min, off_min, energy_wh, running_w.
    defrosts : pandas.DataFrame
        Defrosts with their recovery: start_h, duration_min, energy_wh, extra_wh.
    levels_w, shares : arrays
        The powers it draws [W] and the share of time at each [-].
    findings, warnings : tuple of str
        What was seen in the log; what limits the claim.
    """

    name: str
    mean_power: Estimate
    metered: Estimate
    day_spread: pint.Quantity
    day_dof: float
    days: float
    running_power: pint.Quantity | None
    duty_cycle: pint.Quantity | None
    peak_power: pint.Quantity | None
    sustained_power: pint.Quantity | None
    surge: pint.Quantity | None
    cycles: pd.DataFrame = field(repr=False)
    defrosts: pd.DataFrame = field(repr=False)
    levels_w: np.ndarray = field(repr=False)
    shares: np.ndarray = field(repr=False)
    findings: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def daily_energy(self) -> Estimate:
        """Mean energy of one day [Wh]."""
        return (self.mean_power * Q_(24, "h")).to("Wh")

    def energy_over(self, duration: Any) -> Estimate:
        """Return the energy of the next outage of ``duration`` [h], day-to-day spread included [Wh]."""
        return self.as_load().energy_over(duration)

    def as_load(self) -> Load:
        """Return the draw as a load, to be added to others and plugged into a unit."""
        return Load((Appliance(self.name, self.mean_power, self.levels_w, self.shares, self.day_spread,
                               self.day_dof, self.sustained_power, self.surge),))  # fmt: skip

    def __repr__(self) -> str:
        lines = [f"<Draw of {self.name}: mean {self.mean_power}"]
        for label, value in (("running", self.running_power), ("duty cycle", self.duty_cycle),
                             ("peak", self.peak_power), ("start surge", self.surge)):  # fmt: skip
            lines.append(f"{label} {'not measured' if value is None else show(value)}")
        notes = [f"\n  ! {warning}" for warning in self.warnings]
        return "; ".join(lines) + "".join(notes) + ">"


def measure_draw(log: MeterLog, name: str | None = None) -> Draw:
    """Return what the appliance behind ``log`` draws, with its full budget.

    P = P_ss + dE_df / t_df                                                                   (1)

    P_ss is the time-weighted mean over whole cycles, dE_df the extra energy of one defrost, t_df the
    time from one defrost to the next. Without defrosts P is P_ss; without cycles P is the time-weighted
    mean over all covered time.

    Parameters
    ----------
    log : MeterLog
        A meter's log or hand readings.
    name : str, optional
        What the ledger calls the appliance; the log's name if left out.

    Notes
    -----
    Budget: the meter's gain and offset, each one influence shared by all that this meter measured; its
    resolution, not divided by the number of readings; and how the appliance varied from day to day.

    References
    ----------
    Regulation (EU) 2019/2016, Annex IV (equation 1). JCGM 100:2008, 4.2 and F.2.2.1.
    """
    if log.kind == "apparent power":
        log.mean_power_w()  # refuses, and says why
    seen = _pattern(log)
    steady_w, defrost = _steady_power(log, seen), _defrost_power(log, seen)
    mean_w = steady_w + float(defrost.value.magnitude)  # (1)
    days = float(log.duration_s[seen.steady | seen.defrost].sum()) / DAY_S
    spread_w, dof, whole_days = _day_spread(log, seen, mean_w)
    metered = log.meter.gain * Q_(mean_w, "W") + log.meter.offset + _resolution(log, days)
    varied = Estimate.standard("0 W", Q_(spread_w / math.sqrt(days), "W"), "how the appliance varied", dof=dof)
    findings, warnings = _remarks(log, seen, days, whole_days)
    power, duration = log.power_w, log.duration_s
    known = log.kind == "power"
    return Draw(
        name=name or log.name,
        mean_power=metered + varied + (defrost - defrost.value),
        metered=metered,
        day_spread=Q_(math.hypot(24 * spread_w, _defrost_count_wh(seen, defrost)), "Wh"),
        day_dof=dof,
        days=days,
        running_power=None if seen.running_w is None else Q_(seen.running_w, "W"),
        duty_cycle=None if seen.running_w is None else Q_(float(np.average(seen.on, weights=duration)), "1"),
        peak_power=Q_(float(power.max()), "W") if known else None,
        sustained_power=Q_(float(power[~seen.start].max()), "W") if known else None,
        surge=Q_(float(power[seen.start].max()), "W") if seen.start.any() else None,
        cycles=seen.cycles,
        defrosts=seen.defrosts,
        **_levels(power, duration, mean_w),
        findings=findings,
        warnings=warnings,
    )


def _pattern(log: MeterLog) -> Pattern:
    """Return how the appliance switches; where whole cycles cover too little, every step counts."""
    if log.kind != "power":
        return no_pattern(log.start_s)
    seen = find_pattern(log.start_s, log.duration_s, log.power_w)
    used = log.duration_s[seen.steady | seen.defrost].sum()
    lost = not seen.defrosts.empty and seen.defrosts["extra_wh"].isna().all()
    if used >= WHOLE_CYCLES * log.duration_s.sum() and not lost:
        return seen
    return replace(seen, steady=np.ones(seen.on.size, bool), defrost=np.zeros(seen.on.size, bool),
                   anchor_s=log.start_s)  # fmt: skip


def _steady_power(log: MeterLog, seen: Pattern) -> float:
    """Return the time-weighted mean power outside defrosts [W]."""
    return float(np.average(log.power_w[seen.steady], weights=log.duration_s[seen.steady]))


def _defrost_power(log: MeterLog, seen: Pattern) -> Estimate:
    """Return what defrosting adds to the mean: dE_df / t_df [W].

    t_df is the mean time between the defrosts seen. A single one leaves the rate open: one in the log's
    time, give or take one.
    """
    if not seen.defrost.any():
        return Estimate.exact("0 W")
    extra = seen.defrosts["extra_wh"].dropna().to_numpy()
    energy = (
        Estimate.readings(extra, "energy of a defrost", "Wh")
        if extra.size > 1
        else Estimate.exact(Q_(float(extra[0]), "Wh"))
    )
    times = seen.defrosts["start_h"].to_numpy()
    if times.size > 1:
        hours = float(times[-1] - times[0]) / (times.size - 1)
        u = _band() * hours / math.sqrt(times.size - 1)
        return (energy / Estimate.standard(Q_(hours, "h"), Q_(u, "h"), "time between defrosts")).to("W")
    often = Estimate.within("100 %", "100 %", "time between defrosts") / Q_(float(log.duration_s.sum()) / 3600, "h")
    return (often * energy).to("W")


def _band() -> float:
    """Return the stated band of day-to-day spread as a standard deviation over the mean [-]."""
    return float(coefficient("day-to-day spread").u.magnitude)


def _defrost_count_wh(seen: Pattern, defrost: Estimate) -> float:
    """Return the standard deviation of a day's energy because it holds one defrost more or fewer [Wh]."""
    if not seen.defrost.any():
        return 0.0
    each = float(seen.defrosts["extra_wh"].mean())
    part = 24 * float(defrost.value.magnitude) / each % 1 if each > 0 else 0.0
    return each * math.sqrt(part * (1 - part))


def _day_spread(log: MeterLog, seen: Pattern, mean_w: float) -> tuple[float, float, int]:
    """Return one day's standard deviation about the mean [W], its degrees of freedom, and the whole days seen.

    s2 = (v0 s0^2 + sum (P_day - P)^2) / (v0 + n - 1)                                         (1)

    with v0 + n - 1 degrees of freedom: the stated band s0, held with the weight of v0 days, updated by
    the n whole days of the log. A cycle belongs to the day in which it starts.

    References
    ----------
    A. Gelman et al., Bayesian Data Analysis, 3rd ed., CRC Press 2013, 2.6 and 3.3 (scaled inverse
    chi-square prior), from memory.
    """
    band_w = _band() * mean_w
    day = ((seen.anchor_s - log.start_s[0]) // DAY_S).astype(int)
    used = seen.steady | seen.defrost
    covered = np.bincount(day[used], log.duration_s[used])
    time = np.bincount(day[seen.steady], log.duration_s[seen.steady], covered.size)
    energy = np.bincount(day[seen.steady], (log.power_w * log.duration_s)[seen.steady], covered.size)
    whole = covered >= WHOLE_DAY * DAY_S
    days = energy[whole] / time[whole]
    if days.size < FEWEST_DAYS:
        return band_w, BAND_DOF, days.size
    dof = BAND_DOF + days.size - 1
    return math.sqrt((BAND_DOF * band_w**2 + ((days - days.mean()) ** 2).sum()) / dof), dof, days.size  # (1)


def _resolution(log: MeterLog, days: float) -> Estimate:
    """Return the meter's resolution as an influence on the mean power, about zero [W].

    A power step d leaves d / sqrt 12, however many readings lie on a plateau. A counter is read twice, so
    its step leaves d / sqrt 6 over the log's time.
    """
    if log.kind == "power":
        return Estimate.within("0 W", log.resolution / 2, "meter resolution")
    read = Estimate.within("0 Wh", log.resolution / 2, "meter resolution") * math.sqrt(2)
    return (read / Q_(24 * days, "h")).to("W")


def _levels(power_w: np.ndarray, duration_s: np.ndarray, mean_w: float) -> dict[str, np.ndarray]:
    """Return the powers drawn and their shares of time, with ``mean_w`` as their mean."""
    rank = np.searchsorted(np.quantile(power_w, np.linspace(0, 1, LEVELS + 1)[1:-1]), power_w)
    shares = np.bincount(rank, duration_s)
    levels = np.bincount(rank, power_w * duration_s)[shares > 0] / shares[shares > 0]
    shares = shares[shares > 0] / shares.sum()
    mean = float(np.dot(levels, shares))
    return {"levels_w": levels * (mean_w / mean if mean else 1.0), "shares": shares}


def _remarks(log: MeterLog, seen: Pattern, days: float, whole_days: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return what was seen in the log, and what limits the claim."""
    findings, warnings = [str(finding) for finding in log.findings], []
    if log.meter.accuracy is None:
        warnings.append("the meter's accuracy is not stated, so its error is not in the interval")
    if seen.running_w is not None:
        findings.append(f"{len(seen.cycles)} whole cycles, {len(seen.defrosts)} defrosts")
        caught = "inrush caught" if seen.start.any() else "no inrush caught: the meter's steps are too long for it"
        findings.append(f"{seen.starts} starts seen, {caught}")
        if len(seen.cycles) < FEW_CYCLES:
            warnings.append(f"only {len(seen.cycles)} whole cycles: log longer")
    elif log.kind == "power":
        findings.append("no cycles: steady, or a compressor that varies its speed")
    if seen.cool_down_h:
        findings.append(f"a first cool-down of {seen.cool_down_h:.1f} h was kept apart")
    if days < 1:
        warnings.append(f"the log is too short: it covers {24 * days:.1f} h, and a day is needed for its rhythm")
    if whole_days < FEWEST_DAYS:
        warnings.append("fewer than three whole days: day-to-day spread is a stated band, not measured")
    return tuple(findings), tuple(warnings)


def time_to_log(draw: Draw, tolerance: float = 0.05) -> pint.Quantity:
    """Return how long to log so that the mean power is known within ``tolerance`` [day].

    t(95 %, v) sqrt(u_meter^2 + s_day^2 / n) = tolerance P,   solved for the days n           (1)

    Parameters
    ----------
    draw : Draw
        A first measurement.
    tolerance : float
        Half width of the 95 % interval over the value [-].

    Raises
    ------
    Refusal
        If the meter alone is worse than that: no log helps.
    """
    aim = number(tolerance, "1", "tolerance") * float(draw.mean_power.value.magnitude)
    floor = float(draw.metered.expanded().magnitude)
    if floor >= aim:
        least = floor / float(draw.mean_power.value.magnitude)
        raise Refusal(
            f"tolerance={tolerance}",
            f"more than {least:.1%}, which the meter's own accuracy leaves however long it logs",
            f"Write tolerance={math.ceil(100 * least + 1) / 100:g}, or use a better meter.",
        )
    spread_w = float(draw.day_spread.magnitude) / 24
    return Q_((1.96 * spread_w) ** 2 / (aim**2 - floor**2), "day")  # (1)
