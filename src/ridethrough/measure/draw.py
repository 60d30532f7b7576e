"""A meter's log in, a measured draw out: mean power, how it varies, and how sure both are.

Two questions are kept apart. `Draw.mean_power` is the appliance's mean in the long run under the log's
conditions: same room, same use, same season. `Draw.energy_over` is the energy of the next outage, which
adds how far one day lies from that mean.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import compress
from typing import Any

import numpy as np
import pandas as pd
import pint

from ..estimate import Estimate
from ..known import Listed, notes, student
from ..model.load import Appliance, Load
from ..model.pattern import alike
from ..sources import lookup
from ..units import Q_, Refusal, number, of_kind, read_quantity, show
from .cycles import Switching, find_switching
from .days import FEWEST_DAYS, WHOLE_DAY, DaySpread, day_spread, through_time
from .log import MeterLog

FEW_CYCLES = 5


@dataclass(frozen=True)
class Draw(Listed):
    """What an appliance draws, as measured; None reads "not measured".

    Parameters
    ----------
    appliance : Appliance
        Its name, mean, pattern, peak, surge and motor, as the ledger takes them.
    metered : Estimate
        The mean power with the meter's own errors only, which no longer log can better [W].
    days : float
        Covered time behind the mean, in days [-].
    duty_cycle : pint.Quantity, optional
        Share of time that the compressor runs [-].
    peak_power : pint.Quantity, optional
        Largest power in the log, starts included [W].
    cycles : pandas.DataFrame
        Regular whole cycles: start_h, on_min, off_min, energy_wh, running_w.
    defrosts : pandas.DataFrame
        Defrosts with their recovery: start_h, duration_min, energy_wh, extra_wh.
    findings, warnings : tuple of str
        What was seen in the log; what limits the claim.
    """

    appliance: Appliance
    metered: Estimate
    days: float
    duty_cycle: pint.Quantity | None
    peak_power: pint.Quantity | None
    cycles: pd.DataFrame = field(repr=False)
    defrosts: pd.DataFrame = field(repr=False)
    findings: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """What the ledger calls it."""
        return self.appliance.name

    @property
    def mean_power(self) -> Estimate:
        """The appliance's mean under the log's conditions [W]."""
        return self.appliance.mean_power

    @property
    def running_power(self) -> pint.Quantity | None:
        """Median power while the compressor runs [W]."""
        return self.appliance.motor

    @property
    def surge(self) -> pint.Quantity | None:
        """Largest power caught in a start [W]; the true one is larger where the meter's steps are long."""
        return self.appliance.surge

    @property
    def daily_energy(self) -> Estimate:
        """Mean energy of one day [Wh]."""
        return (self.mean_power * Q_(24, "h")).to("Wh")

    def energy_over(self, duration: Any) -> Estimate:
        """Return the energy of the next outage of ``duration`` [h], day-to-day spread included [Wh]."""
        return self.as_load().energy_over(duration)

    def as_load(self) -> Load:
        """Return the draw as a load, to be added to others and plugged into a unit."""
        return Load((self.appliance,))

    def __repr__(self) -> str:
        known = {"running": self.running_power, "duty cycle": self.duty_cycle, "peak": self.peak_power,
                 "start surge": self.surge}  # fmt: skip
        parts = [f"{what} {'not measured' if value is None else show(value)}" for what, value in known.items()]
        told = f"<Draw of {self.name}: mean {self.mean_power}; {'; '.join(parts)}"
        return f"{told}{notes('warning', self.warnings)}>"


def measure_draw(log: MeterLog, name: str | None = None, *, room: Any = None, cabinet: str = "refrigerator") -> Draw:
    """Return what the appliance behind ``log`` draws, with its full budget.

    P = P_ss + dE_df / t_df                                                                   (1)

    P_ss is the time-weighted mean over whole cycles, or over all time between defrosts where there are no cycles;
    dE_df the extra energy of one defrost, t_df the time from one defrost to the next. Without defrosts P is P_ss.

    Parameters
    ----------
    log : MeterLog
        A meter's log or hand readings.
    name : str, optional
        What the ledger calls the appliance; the log's name where left out.
    room : str or pint.Quantity, optional
        Mean temperature of its room while it was logged, for one whose draw depends on it [degC].
    cabinet : {"refrigerator", "freezer"}
        What it is, as in `Load.in_a_room_of`.

    Raises
    ------
    Refusal
        If the log holds volt-amperes.

    Notes
    -----
    The budget: the meter's gain and offset, each one influence shared by all that this meter measured;
    its resolution; its blind range; how the appliance varied from day to day; how often it defrosts. Lessons 01, 06.

    Example
    -------
    >>> from .log import Meter, hand_readings
    >>> draw = measure_draw(hand_readings([("0:00", "2.05"), ("100:00", "5.15")], unit="kWh", meter=Meter("1 %")))
    >>> draw.mean_power.value, draw.peak_power
    (<Quantity(31.0, 'watt')>, None)

    References
    ----------
    Regulation (EU) 2019/2016, Annex IV (equation 1). JCGM 100:2008, 4.2 and F.2.2.1.
    """
    of_kind(log, MeterLog, "log", "a log", 'Write log=read_log("freezer.csv").').mean_power_w()  # refuses volt-amperes
    seen = find_switching(log)
    steady, defrosting = seen.steady, _defrosting(log, seen)
    mean_w = float(np.average(log.power_w[steady], weights=log.duration_s[steady]) + defrosting.value.magnitude)  # (1)
    spread, named = day_spread(log, seen, mean_w), name or log.name
    sampled, running = log.kind == "power", seen.running_w is not None
    metered, resolution = log.meter.gain * Q_(mean_w, "W") + log.meter.offset + _unseen(log), log.rounding
    varied, next_days = Estimate.jointly([0.0, 0.0], np.diag([spread.of_mean_w**2, 1.0]), ["W", "1"],
                                         f"how the {named} varied", dof=spread.dof)  # fmt: skip
    mean = metered + resolution + varied + (defrosting - defrosting.value)
    untold = 'its room is not told: for a cold appliance write measure_draw(log, room="20 degC")'
    load = Load((
        Appliance(
            named, mean, through_time(log, seen, spread.rhythm), Q_(24 * spread.of_day_w, "Wh"), next_days,
            spread.likeness,
            peak=Q_(float(log.power_w[~seen.inrush].max()), "W") if sampled else None,
            surge=Q_(float(log.power_w[seen.inrush].max()), "W") if seen.inrush.any() else None,
            motor=Q_(seen.running_w, "W") if running else None,
            apparent=log.largest_apparent(~seen.inrush) if sampled else None,
            measured=True,
        ),
    ))  # fmt: skip
    return Draw(
        (load if room is None else load.in_a_room_of(room, cabinet)).appliances[0],
        metered=metered + resolution if sampled else metered,
        days=spread.days,
        duty_cycle=Q_(float(np.average(seen.on, weights=log.duration_s)), "1") if running else None,
        peak_power=Q_(float(log.power_w.max()), "W") if sampled else None,
        cycles=seen.cycles,
        defrosts=seen.defrosts,
        findings=(*map(str, log.findings), *([untold] if room is None else []), *seen.told),
        warnings=_warnings(log, seen, spread),
    )  # fmt: skip


def time_to_log(draw: Draw, tolerance: float = 0.05) -> pint.Quantity:
    """Return how long to log in all, so that the mean power is known within ``tolerance`` [day].

    (t s_day)^2 k(n) / n + U_meter^2 = (tolerance P)^2,   solved for the days n               (1)

    with Student's t for what the spread of the days rests on today, k(n) / n as in `alike` and the meter's own
    expanded uncertainty U_meter.

    Parameters
    ----------
    draw : Draw
        A first measurement.
    tolerance : float
        Half width of the 95 % interval over the value [-].

    Raises
    ------
    Refusal
        If the meter alone is worse than that: no log is long enough.
    """
    from scipy.optimize import brentq

    appliance = of_kind(draw, Draw, "draw", "a draw", "Write draw=measure_draw(log).").appliance
    mean, floor = draw.mean_power.value, draw.metered.expanded()
    aim_w, floor_w = number(tolerance, "1", "tolerance") * float(mean.magnitude), float(floor.magnitude)
    reach_w = student((appliance.next_days or draw.mean_power).dof) * float(appliance.day_spread.magnitude) / 24
    if floor_w >= aim_w:
        raise Refusal(f"tolerance={tolerance} of {show(mean)}",
                      f"more than the {show(floor)} that the meter's own accuracy leaves, however long it logs",
                      "Allow a larger tolerance, or use a meter of better accuracy.")  # fmt: skip

    def excess(days: float) -> float:
        return float(reach_w**2 / min(days, 1) * alike(days, appliance.likeness) + floor_w**2 - aim_w**2)  # (1)

    shortest, longest = 1 / 24, 1e5
    return Q_(shortest if excess(shortest) <= 0 else float(brentq(excess, shortest, longest)), "day")


def _defrosting(log: MeterLog, seen: Switching) -> Estimate:
    """Return what defrosts take beside steady running, dE_df / t_df [W].

    t_df is the mean time between the defrosts seen. A timer on running time varies as the draw does, hence its band. A
    single defrost leaves the rate open: one in the log's time, give or take one.
    """
    if not seen.defrost.any():
        return Estimate.exact("0 W")
    extra_wh, at_h = list(seen.defrosts["extra_wh"].dropna()), seen.defrosts["start_h"].to_numpy()
    each = Estimate.readings(extra_wh, "energy of a defrost", "Wh") if len(extra_wh) > 1 else Q_(extra_wh[0], "Wh")
    if at_h.size == 1:
        once = 1 / log.covered
        return (Estimate.within(once, once, "time between defrosts") * each).to("W")
    spread = lookup("spread of defrost intervals").value / math.sqrt(at_h.size - 1)
    rate = Q_((at_h.size - 1) / float(at_h[-1] - at_h[0]), "1/h")
    return (Estimate.standard(rate, rate * spread, "time between defrosts") * each).to("W")


def _unseen(log: MeterLog) -> Estimate:
    """Return what the meter was too blind to count, on the mean power: 0 to its smallest load where it read 0 [W].

    P = share (a / 2 +- a / 2),   a the smallest load; JCGM 100:2008, 4.3.7                   (1)
    """
    share, smallest = np.average(log.power_w == 0, weights=log.duration_s), log.meter.smallest_load
    half = float(share) * read_quantity(smallest or "0 W") / 2
    return Estimate.within(half, half, f"{log.meter.name} blind below {smallest}")  # (1)


def _warnings(log: MeterLog, seen: Switching, spread: DaySpread) -> tuple[str, ...]:
    """Return what limits the claim."""
    few, smallest = seen.running_w is not None and len(seen.cycles) < FEW_CYCLES, log.meter.smallest_load
    told = {
        "the meter's accuracy is not stated: its error is not in the interval": log.meter.accuracy is None,
        f"the meter counts nothing below {smallest}: the draw at rest may be missing": smallest is not None,
        f"too short: {show(log.covered, 1)} were logged, and a day has its rhythm; log three days":
            spread.days < WHOLE_DAY,
        f"too short: {len(seen.cycles)} whole cycles were seen": few,
        "fewer than three whole days: how far they lie apart rests on stated bands more than on what was seen":
            spread.days < FEWEST_DAYS * WHOLE_DAY,
    }  # fmt: skip
    return (*log.questions, *compress(told, told.values()))
