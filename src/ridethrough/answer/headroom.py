"""Whether the inverter can carry the load: steadily, in volt-amperes, and in the moment of a start."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import pint

from ..model.load import Load
from ..model.ratings import Ratings
from ..model.unit import BackupUnit
from ..sources import lookup
from ..units import Q_, show

Finding = Literal["carries it", "does not carry it", "not checked"]


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


def headroom(load: Load, unit: BackupUnit) -> tuple[Check, ...]:
    """Return what the inverter was checked for, and what was not checked.

    Parameters
    ----------
    load : Load
        Peaks of all appliances are taken to fall together; one motor starts at a time, the one that asks most.
    unit : BackupUnit
        Its inverter's ratings [W], [VA].

    Returns
    -------
    tuple of Check
        Steady power, apparent power and start, in this order; then waveform, voltage and smallest power, each
        only where the unit's ratings state it.

    Notes
    -----
    A start caught by a meter is at least what the motor asks: a meter that shows a value every ten seconds
    misses most starts. Without one, the band of the table of coefficients is used. Lesson 03.
    """
    ratings, peak = unit.ratings, load.peak
    stated = (*_waveform(load, ratings), *_voltage(load, ratings), *_smallest(load, ratings))
    if peak is None:
        missing = "the largest power of the load was not measured"
        powers = ("steady power", "apparent power", "start")
        return (*(Check(what, "not checked", missing) for what in powers), *stated)
    factor = lookup("power factor of a small motor")
    return (
        _against("steady power", peak, peak * ratings.legs, ratings.rated),
        _against("apparent power", _va(peak, factor.high), _va(peak * ratings.legs, factor.low), ratings.rated_va),
        _start(load, peak, ratings.surge),
        *stated,
    )


def _waveform(load: Load, ratings: Ratings) -> Iterator[Check]:
    """Yield whether the outlet's waveform suits what is plugged in."""
    motors = [a.name for a in load.appliances if a.motor is not None or a.surge is not None]
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
    least = sum(float(a.levels_w[a.shares > 0].min()) for a in load.appliances)
    most = sum(float(a.levels_w[a.shares > 0].max()) for a in load.appliances)
    why = f"the output sleeps below {show(ratings.sleeps_below)}, the load falls to {show(Q_(least, 'W'))}"
    finding: Finding = "carries it" if least >= limit else "does not carry it" if most < limit else "not checked"
    yield Check("smallest power", finding, why)


def _start(load: Load, peak: pint.Quantity, rating: pint.Quantity | None) -> Check:
    """Return the check of the hardest start: the rest of the load steady, one motor starting."""
    motors = [a for a in load.appliances if a.motor is not None or a.surge is not None]
    if not motors:
        return Check("start", "not checked", "no motor and no start was measured")
    times = lookup("start over running power")
    asked = []
    for appliance in motors:
        caught = appliance.surge if appliance.surge is not None else Q_(0, "W")
        running = appliance.motor if appliance.motor is not None else Q_(0, "W")
        rest = peak - (appliance.peak if appliance.peak is not None else running)
        low, high = max(caught, running * times.low), max(caught, running * times.high)
        asked.append((rest + low, rest + high))
    return _against("start", max(low for low, _ in asked), max(high for _, high in asked), rating)


def _against(what: str, low: pint.Quantity, high: pint.Quantity, rating: pint.Quantity | None) -> Check:
    """Return whether a rating holds against what is asked, a band from low to high."""
    asks = f"asks {show(low)}" if low == high else f"asks {show(low)} to {show(high)}"
    if rating is None:
        return Check(what, "not checked", f"{asks}; the unit's rating is not known")
    why = f"{asks} of {show(rating)}"
    if high <= rating:
        return Check(what, "carries it", why)
    return Check(what, "does not carry it" if low > rating else "not checked", why)


def _va(power: pint.Quantity, power_factor: float) -> pint.Quantity:
    return Q_(power.to("W").magnitude / power_factor, "VA")
