"""Whether the inverter, or a generator, can carry the load; what the numbers leave out and may hurt."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import pint

from ..model.battery import takes_charge
from ..model.inverter import Ratings
from ..model.load import Appliance, Load
from ..model.recharge import Generator, Recharge
from ..model.unit import BackupUnit
from ..sources import lookup
from ..units import Q_, show
from .outage import Outage

Finding = Literal["carries it", "does not carry it", "not checked"]
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
    peak, motors = Load.of(load).peak, [a for a in load.appliances if a.motor is not None or a.surge is not None]
    stated = _stated(load, [a.name for a in motors], ratings)
    if peak is None:
        missing = "the largest power of the load was not measured"
        return (*(Check(what, "not checked", missing) for what in ("steady power", "apparent power", "start")), *stated)
    factor, peak_w = lookup("power factor of a small motor"), _watts(peak)
    low_va, high_va = (sum(_apparent_va(a, end if a in motors else 1) for a in load.appliances)
                       for end in (factor.high, factor.low))  # fmt: skip
    return (
        _against("steady power", "W", peak_w, peak_w * ratings.legs, ratings.rated),
        _against("apparent power", "VA", low_va, high_va * ratings.legs, ratings.rated_va),
        *_starts(motors, peak_w, ratings.surge),
        *stated,
    )


def worst_of(load: Load, unit: BackupUnit | Generator) -> Finding:
    """Return the worst that `headroom` finds; a restart decides nothing, motors can be plugged in one by one."""
    found = {check.finding for check in headroom(load, unit) if check.what != RESTART}
    return _finding("does not carry it" in found, "not checked" in found)


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


def _finding(fails: Any, may_fail: Any) -> Finding:
    """Return what is found of something that fails, may fail, or does neither."""
    if fails:
        return "does not carry it"
    return "not checked" if may_fail else "carries it"


def _against(what: str, unit: str, low: float, high: float, rating: pint.Quantity | None) -> Check:
    """Return whether a rating holds against what is asked, a band from low to high in a unit."""
    asks = " to ".join(show(Q_(end, unit)) for end in dict.fromkeys((low, high)))
    if rating is None:
        return Check(what, "not checked", f"asks {asks}; the unit's rating is not known")
    most = rating.m_as(unit)
    return Check(what, _finding(low > most, high > most), f"asks {asks} of {show(rating)}")


def _starts(motors: Sequence[Appliance], peak_w: float, rating: pint.Quantity | None) -> Iterator[Check]:
    """Yield the check of the hardest start, the rest of the load steady, and of all motors starting at once."""
    if not motors:
        yield Check("start", "not checked", "no motor and no start was measured")
        return
    times = lookup("start over running power")
    caught, running, steady = np.transpose([(_watts(a.surge), _watts(a.motor), _watts(a.peak)) for a in motors])
    low, high = (np.maximum(caught, running * end) - steady for end in (times.low, times.high))
    yield _against("start", "W", peak_w + low.max(), peak_w + high.max(), rating)
    if len(motors) > 1:
        check = _against(RESTART, "W", peak_w + low.sum(), peak_w + high.sum(), rating)
        mind = "" if check.finding == "carries it" else "; plug in one after the other"
        yield replace(check, why=check.why + mind)


def _stated(load: Load, motors: Sequence[str], ratings: Ratings) -> Iterator[Check]:
    """Yield whether waveform, voltage and smallest power suit what is plugged in, each where the sheet tells it."""
    if ratings.waveform is not None:
        stepped = ratings.waveform == "stepped"
        doubt = f"; {', '.join(motors)} may not start on it or run hot, its maker decides" if stepped and motors else ""
        yield Check("waveform", _finding(False, stepped), ratings.waveform + doubt)
    if ratings.volts is not None:
        said, wanders = show(ratings.volts), lookup("tolerance of a voltage").value
        unknown = [a.name for a in load.appliances if a.volts is None]
        off = [a.name for a in load.appliances if a.volts is not None and abs(a.volts / ratings.volts - 1) > wanders]
        why = said + (f"; not known: {', '.join(unknown)}" if unknown else "")
        if off:
            why = f"not made for {said}: {', '.join(off)}"
        yield Check("voltage", _finding(off, unknown), why)
    if ratings.sleeps_below is not None:
        limit_w = _watts(ratings.sleeps_below)
        levels = [a.pattern.power_w * (_watts(a.mean_power.value) / (a.pattern.mean_w or 1)) for a in load.appliances]
        least, most = (float(sum(map(end, levels))) for end in (np.min, np.max))
        why = f"the output sleeps below {show(ratings.sleeps_below)}, the load falls to {show(Q_(least, 'W'))}"
        yield Check("smallest power", _finding(most < limit_w, least < limit_w), why)


def _watts(power: pint.Quantity | None) -> float:
    return 0.0 if power is None else float(power.m_as("W"))


def _apparent_va(one: Appliance, power_factor: float) -> float:
    """Return an appliance's largest apparent power: as measured, at least its watts, or what those come to [VA]."""
    power_w = _watts(one.peak)
    return power_w / power_factor if one.apparent is None else max(float(one.apparent.m_as("VA")), power_w)
