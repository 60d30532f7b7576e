"""The verdict: whether it lasts, and whether the inverter can carry it; what the numbers leave out and may hurt."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pint

from ..model.battery import takes_charge
from ..model.generator import Generator
from ..model.load import Appliance, Load
from ..model.nameplate import Ratings
from ..model.recharge import Recharge
from ..model.unit import BackupUnit
from ..sources import lookup
from ..units import Q_, show
from .outage import Outage

Finding = Literal["carries it", "does not carry it", "not checked"]
Verdict = Literal["covered", "tight", "short", "inverter too small"]
RESTART = "restart"  # what decides nothing: one motor after the other will do


@dataclass(frozen=True)
class Check:
    """One thing asked of the inverter.

    Parameters
    ----------
    what : str
        "steady power", "apparent power" or "start"; where the sheet tells it, "waveform", "voltage" or
        "smallest power" too.
    finding : {"carries it", "does not carry it", "not checked"}
        "not checked" where a number is missing, or where the band of what is asked holds the rating.
    why : str
        The numbers behind it.
    """

    what: str
    finding: Finding
    why: str

    def __str__(self) -> str:
        return f"{self.what}: {self.finding} ({self.why})"


def headroom(load: Load, unit: BackupUnit | Generator) -> tuple[Check, ...]:
    """Return what the inverter was checked for, and what was not checked.

    Parameters
    ----------
    load : Load
        Peaks of all appliances are taken to fall together; one motor starts at a time, the one that asks most, but
        after a restart all at once.
    unit : BackupUnit or Generator
        Its inverter's ratings [W], [VA], or those of a generator that carries the load while it charges.

    Returns
    -------
    tuple of Check
        Steady power, apparent power and start, in this order; then restart, where there are several motors, and
        waveform, voltage and smallest power, each only where the unit's ratings state it.

    Notes
    -----
    A start caught by a meter is at least what the motor asks: a meter that shows a value every ten seconds
    misses most starts. Without one, the band of the table of coefficients is used. Lesson 03.
    """
    ratings = unit.ratings if isinstance(unit, Generator) else BackupUnit.of(unit).ratings
    peak = Load.of(load).peak
    stated = (*_waveform(load, ratings), *_voltage(load, ratings), *_smallest(load, ratings))
    if peak is None:
        missing = "the largest power of the load was not measured"
        powers = ("steady power", "apparent power", "start")
        return (*(Check(what, "not checked", missing) for what in powers), *stated)
    factor = lookup("power factor of a small motor")
    low, high = (_apparent(load, power_factor) for power_factor in (factor.high, factor.low))
    return (
        _against("steady power", peak, peak * ratings.legs, ratings.rated),
        _against("apparent power", low, high * ratings.legs, ratings.rated_va),
        *_starts(load, peak, ratings.surge),
        *stated,
    )


def worst_of(load: Load, unit: BackupUnit | Generator) -> Finding:
    """Return the worst that `headroom` finds; a restart decides nothing, motors can be plugged in one by one."""
    found = {check.finding for check in headroom(load, unit) if check.what != RESTART}
    order: tuple[Finding, ...] = ("does not carry it", "not checked", "carries it")
    return next(each for each in order if each in found)


def verdict_of(chance: float, load: Load, unit: BackupUnit) -> Verdict:
    """Return covered, tight or short by the chance to last [-], or that the inverter is too small; the one rule."""
    if worst_of(load, unit) == "does not carry it":
        return "inverter too small"
    if chance >= lookup("covered from").value:
        return "covered"
    return "tight" if chance >= lookup("tight from").value else "short"


def inverter_line(load: Load, unit: BackupUnit) -> str:
    """Return what the inverter was checked for, in a line."""
    checks = headroom(load, unit)
    if all(check.finding == "not checked" for check in checks):
        return f"inverter not checked: {checks[0].why}"
    return "inverter: " + "; ".join(map(str, checks))


def cautions_of(unit: BackupUnit, outage: Outage) -> tuple[str, ...]:
    """Return what the numbers leave out and may hurt."""
    route, found = unit.route, []
    places = [] if outage.unit_at is None else [Q_(float(each), "degC") for each in outage.unit_at.celsius]
    if any(not takes_charge(route.curve.chemistry, route.cells_at(place)) for place in places):
        coldest = Q_(lookup(f"coldest charging, {route.curve.chemistry}").value, "degC")
        found.append(f"do not charge it below {show(coldest)}: warm it first")
        found += ["recharge is not counted while the cells are too cold"] if outage.recharge else []
    if unit.packs and unit.pack_standby is None:
        found.append("what the packs take for themselves is not known, and not counted")
    return (*found, *route.warnings, *outage.cautions)


def trips(load: Load, recharge: Recharge) -> bool:
    """Return whether it is a generator that cannot carry the load, and serves nothing."""
    return isinstance(recharge, Generator) and worst_of(load, recharge) == "does not carry it"


def overloads(load: Load, outage: Outage) -> Iterator[str]:
    """Yield what the outage's generator cannot carry of the load."""
    for check in () if outage.generator is None else headroom(load, outage.generator):
        if check.finding == "does not carry it":
            yield f"the generator does not carry the load, {check.what}: {check.why}"


def _waveform(load: Load, ratings: Ratings) -> Iterator[Check]:
    """Yield whether the outlet's waveform suits what is plugged in."""
    motors = [a.name for a in _motors(load)]
    if ratings.waveform == "sine":
        yield Check("waveform", "carries it", "sine")
    elif ratings.waveform == "stepped":
        doubt = f"; {', '.join(motors)} may not start on it or run hot, its maker decides" if motors else ""
        yield Check("waveform", "not checked", f"stepped{doubt}")


def _voltage(load: Load, ratings: Ratings) -> Iterator[Check]:
    """Yield whether each appliance gets the voltage it is made for; outlets wander by a tenth."""
    if ratings.volts is None:
        return
    unknown = [a.name for a in load.appliances if a.volts is None]
    off = [a.name for a in load.appliances if a.volts is not None
           and abs(a.volts / ratings.volts - 1) > lookup("tolerance of a voltage").value]  # fmt: skip
    if off:
        yield Check("voltage", "does not carry it", f"not made for {show(ratings.volts)}: {', '.join(off)}")
    elif unknown:
        yield Check("voltage", "not checked", f"{show(ratings.volts)}; not known: {', '.join(unknown)}")
    else:
        yield Check("voltage", "carries it", show(ratings.volts))


def _smallest(load: Load, ratings: Ratings) -> Iterator[Check]:
    """Yield whether the load keeps an output awake that switches itself off below some watts."""
    if ratings.sleeps_below is None:
        return
    limit = float(ratings.sleeps_below.magnitude)
    least, most = (sum(_level_w(a, pick) for a in load.appliances) for pick in (np.min, np.max))
    why = f"the output sleeps below {show(ratings.sleeps_below)}, the load falls to {show(Q_(least, 'W'))}"
    finding: Finding = "carries it" if least >= limit else "does not carry it" if most < limit else "not checked"
    yield Check("smallest power", finding, why)


def _motors(load: Load) -> list[Appliance]:
    return [a for a in load.appliances if a.motor is not None or a.surge is not None]


def _apparent(load: Load, power_factor: float) -> pint.Quantity:
    """Return the largest apparent power: as measured, else from the watts, motors with this power factor [VA]."""
    motors, total_va = _motors(load), 0.0
    for a in load.appliances:
        power_w = 0.0 if a.peak is None else a.peak.m_as("W")
        measured, assumed = a.apparent, power_w / (power_factor if a in motors else 1.0)
        total_va += assumed if measured is None else max(measured.m_as("VA"), power_w)
    return Q_(total_va, "VA")


def _starts(load: Load, peak: pint.Quantity, rating: pint.Quantity | None) -> Iterator[Check]:
    """Yield the check of the hardest start, the rest of the load steady, and of all motors starting at once."""
    motors = _motors(load)
    if not motors:
        yield Check("start", "not checked", "no motor and no start was measured")
        return
    times, more = lookup("start over running power"), []
    for appliance in motors:
        caught = appliance.surge if appliance.surge is not None else Q_(0, "W")
        running = appliance.motor if appliance.motor is not None else Q_(0, "W")
        steady = appliance.peak if appliance.peak is not None else running
        low, high = max(caught, running * times.low), max(caught, running * times.high)
        more.append((low - steady, high - steady))
    yield _against("start", peak + max(low for low, _ in more), peak + max(high for _, high in more), rating)
    if len(motors) > 1:
        low, high = (sum((each[end] for each in more), start=peak) for end in (0, 1))
        check = _against(RESTART, low, high, rating)
        yield (
            check if check.finding == "carries it" else replace(check, why=f"{check.why}; plug in one after the other")
        )


def _against(what: str, low: pint.Quantity, high: pint.Quantity, rating: pint.Quantity | None) -> Check:
    """Return whether a rating holds against what is asked, a band from low to high."""
    asks = f"asks {show(low)}" if low == high else f"asks {show(low)} to {show(high)}"
    if rating is None:
        return Check(what, "not checked", f"{asks}; the unit's rating is not known")
    why = f"{asks} of {show(rating)}"
    if high <= rating:
        return Check(what, "carries it", why)
    return Check(what, "does not carry it" if low > rating else "not checked", why)


def _level_w(appliance: Appliance, pick: Callable[[np.ndarray], float]) -> float:
    """Return the least or most that an appliance draws [W]."""
    over = appliance.mean_power.value.m_as("W") / (appliance.pattern.mean_w or 1)
    return float(pick(appliance.pattern.power_w)) * over
