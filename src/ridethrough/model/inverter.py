"""What the unit may carry, and what it takes from its battery to do so: standby, proportional and resistive loss."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pint

from ..estimate import Estimate, estimate, not_negative, through, values
from ..sources import coefficient, numbered
from ..units import Q_, Refusal, of_parts, positive, show
from .battery import asked_w
from .load import Load

WAVEFORMS = ("sine", "stepped")
UNITS = {"rated": "W", "rated_va": "VA", "surge": "W", "volts": "V", "sleeps_below": "W"}  # of the ratings


@dataclass(frozen=True)
class Ratings:
    """What the inverter may carry; None where it is not known.

    Parameters
    ----------
    rated : pint.Quantity
        Largest steady power [W].
    rated_va : pint.Quantity, optional
        Largest steady apparent power [VA].
    surge : pint.Quantity, optional
        Largest power for the moment of a start [W].
    waveform : {"sine", "stepped"}, optional
        Shape of the outlet's voltage; "stepped" is sold as modified sine.
    volts : pint.Quantity, optional
        At the outlet [V].
    legs : int
        2 where the rating is split over two legs, each with half of it [-].
    sleeps_below : pint.Quantity, optional
        Power below which the output switches itself off [W].
    """

    rated: pint.Quantity
    rated_va: pint.Quantity | None = None
    surge: pint.Quantity | None = None
    waveform: str | None = None
    volts: pint.Quantity | None = None
    legs: int = 1
    sleeps_below: pint.Quantity | None = None

    def __post_init__(self) -> None:
        for name, unit in UNITS.items():
            if name == "rated" or getattr(self, name) is not None:
                vars(self)[name] = positive(getattr(self, name), unit, name)
        if self.waveform not in (None, *WAVEFORMS):
            raise Refusal(f"waveform={self.waveform!r}", f"one of {', '.join(WAVEFORMS)}", 'Write waveform="sine".')
        if self.legs not in (1, 2) or isinstance(self.legs, bool):
            raise Refusal(f"legs={self.legs!r}", "1, or 2 for split phase", "Write legs=2.")
        if self.surge is not None and self.surge < self.rated:
            raise Refusal(f"surge={show(self.surge)} beside rated={show(self.rated)}",
                          "no less than it may carry steadily", "Check both, or leave surge out.")  # fmt: skip

    @classmethod
    def of(cls, rated: Any, **more: Any) -> Ratings:
        """Return the ratings given as text or quantities; ratings themselves are returned as they are.

        Parameters
        ----------
        rated, more
            As in `Ratings` itself.

        Example
        -------
        >>> Ratings.of("1800 W", surge="3.6 kW", waveform="sine").surge
        <Quantity(3600.0, 'watt')>
        """
        return rated if isinstance(rated, Ratings) else cls(rated, **more)


@dataclass(frozen=True)
class Inverter:
    """The unit between battery and outlet.

    P_b(P) = P_0 + (1 + k1) P + k2 P^2 / P_rated                                              (1)

    Parameters
    ----------
    standby : Estimate
        P_0, what the unit takes from its battery with nothing plugged in [W].
    k1, k2 : Estimate
        Proportional and resistive loss [-].
    rated : pint.Quantity
        P_rated, the largest steady power at the outlet [W].

    Notes
    -----
    P is AC power at the outlet, P_b power from the battery. Standby is P_b(0): a part of the efficiency
    curve, never charged on top of an efficiency. Lessons 02 and 03.

    References
    ----------
    The form is that of Schmidt and Sauer, 1996 (from memory).
    """

    standby: Estimate
    k1: Estimate
    k2: Estimate
    rated: pint.Quantity

    @classmethod
    def from_efficiency(cls, standby: Any, efficiency: Any, at: Any, rated: Any) -> Inverter:
        """Return the inverter that has this standby and, at the load ``at``, this efficiency.

        k1 = 1/eta - 1 - P_0/P - k2 P/P_rated                                                 (1)

        Parameters
        ----------
        standby : Estimate, str or pint.Quantity
            From the battery, nothing plugged in [W].
        efficiency : Estimate, str or float
            Outlet power over battery power at the load ``at`` [-]; standby is part of it.
        at : str or pint.Quantity
            The load at which the efficiency holds [W].
        rated : str or pint.Quantity
            Largest steady power at the outlet [W].

        Raises
        ------
        Refusal
            If the efficiency comes without its load, or leaves less loss than the standby alone.

        Example
        -------
        >>> unit = Inverter.from_efficiency(standby="10 W", efficiency="80 %", at="100 W", rated="1000 W")
        >>> unit.battery_power("100 W").value
        <Quantity(125.0, 'watt')>
        """
        p_0, rating = not_negative(standby, "W", "standby"), positive(rated, "W", "rated")
        if at is None:
            given = f"an efficiency of {efficiency} beside a standby of {show(p_0.value)}, without a load"
            raise Refusal(given, "the load at which the efficiency holds: standby is part of every efficiency, and its "
                          "share changes with the load, so it would be charged twice",
                          'Write for example efficiency="88 %", at="300 W".')  # fmt: skip
        eta, load = estimate(efficiency, "1", "efficiency", guard=positive), positive(at, "W", "at")
        k2 = coefficient("resistive loss")
        k1 = (1 / eta - 1 - p_0 / load - k2 * (load / rating)).to("1")  # (1)
        if k1.magnitude < 0:
            lost = ((1 / eta - 1) * load).to("W").value
            given = f"an efficiency of {show(eta.to('%'), 0)} at {show(load)}, a loss of {show(lost)}"
            remedy = "Check which load the efficiency belongs to, and on which side the standby was measured."
            raise Refusal(f"{given}, beside a standby of {show(p_0.value)}",
                          "an efficiency that leaves room for the standby, which is part of it", remedy)  # fmt: skip
        return cls(p_0, k1, k2, rating)

    @classmethod
    def fit(cls, points: Sequence[tuple[Any, Any]], rated: Any, *, meter: Any = None) -> Inverter:
        """Return the inverter whose loss goes through measured points, by least squares.

        P_b - P = P_0 + k1 P + k2 P^2 / P_rated,   P_0, k1, k2 >= 0                           (1)

        Parameters
        ----------
        points : sequence of pairs of (Estimate, str or pint.Quantity)
            Power at the outlet and power from the battery, three different loads or more [W], [W].
        rated : str or pint.Quantity
            Largest steady power at the outlet [W].
        meter : Meter or pair of Meter, optional
            What read both, or the outlet's and the battery's; exact where left out [-].

        Returns
        -------
        Inverter
            Its three parameters with the scatter of the points about the curve, one influence for all three, none
            where three points leave none to see; and with the meters' errors. Two meters differ by their gains, and
            the loss is what lies between them.

        Raises
        ------
        Refusal
            With fewer than three different loads, or where more comes out than goes in.

        Example
        -------
        >>> Inverter.fit([("0 W", "10 W"), ("100 W", "120 W"), ("200 W", "230 W")], rated="500 W").standby
        <Estimate 10 W, 95 %: 10 to 10 W>
        """
        from scipy.optimize import nnls

        rating, units = positive(rated, "W", "rated"), ("W", "1", "1")
        for pair in points:
            of_parts(pair, 2, f"points={points!r}", "pairs of powers", 'Write [("0 W", "9 W"), ("60 W", "75 W"), ...].')
        meters = meter if isinstance(meter, tuple) else (meter, meter)
        outlet, battery = ([_read(pair[at], meters[at], side) for pair in points]
                           for at, side in enumerate(("outlet", "battery")))  # fmt: skip
        out_w, in_w = values(outlet), values(battery)
        loads = len(set(out_w.tolist()))
        if loads < len(units):
            remedy = "Measure nothing plugged in, a light and a heavy load, or use Inverter.from_efficiency(...)."
            raise Refusal(f"{out_w.size} points at {loads} loads", "three different loads or more", remedy)
        if (in_w < out_w).any() or (out_w < 0).any():
            given = f"a point with {in_w[in_w < out_w]} W from the battery for {out_w[in_w < out_w]} W at the outlet"
            raise Refusal(given, "more from the battery than comes out",
                          "Write each point as (power at the outlet, power from the battery).")  # fmt: skip

        def design(out_w: np.ndarray) -> np.ndarray:
            return np.column_stack([np.ones_like(out_w), out_w, out_w**2 / float(rating.magnitude)])

        found, residual = nnls(design(out_w), in_w - out_w)  # (1)
        active = found > 0  # a parameter held at zero is not fitted

        def fitted(at: np.ndarray) -> np.ndarray:
            out_w, in_w = np.split(at, 2)
            return active * (np.linalg.pinv(design(out_w) * active) @ (in_w - out_w))

        freedom = out_w.size - int(active.sum())
        variance, n = residual**2 / freedom if freedom else 0.0, in_w.size
        scatter = Estimate.jointly([0.0] * n, variance * np.eye(n), ["W"] * n, "scatter about the loss curve",
                                   dof=freedom or math.inf)  # fmt: skip
        read = [*outlet, *(power + error for power, error in zip(battery, scatter, strict=True))]
        p_0, k1, k2 = through(fitted, read, units)
        return cls(p_0, k1, k2, rating)

    def weighted_efficiency(self, scheme: str) -> Estimate:
        """Return the efficiency averaged over loads as a published scheme weights them [-].

        Parameters
        ----------
        scheme : {"CEC", "European"}
            Both weight the loads of grid-tie inverters; neither is the load of a refrigerator. Lesson 03.
        """
        weighted = [weight * self.efficiency(share * self.rated) for share, weight in scheme_weights(scheme).items()]
        return sum(weighted[1:], weighted[0]).to("1")

    def battery_power(self, load: Any) -> Estimate:
        """Return the power from the battery for a steady power or a `Load` at the outlet [W].

        A load that varies takes the mean of P_b(P), which is more than P_b of the mean.

        Parameters
        ----------
        load : Load, Estimate, str or pint.Quantity
            What is plugged in [W].
        """
        plugged = load if isinstance(load, Load) else Load.steady(load)
        variance, inputs = plugged.variance_w2, [plugged.mean_power, *self.takes]
        return through(lambda at: np.array([asked_w(at[0], variance, *at[1:])]), inputs, ["W"])[0]

    @property
    def takes(self) -> tuple[Estimate, Estimate, Estimate]:
        """a, b and c of `asked_w` [W], [-], [1/W]."""
        return self.standby, self.k1 + Q_(1, "1"), (self.k2 / self.rated).to("1/W")

    def conversion_loss(self, load: Load) -> Estimate:
        """Return the mean loss that comes with the load, standby left out [W]."""
        return self.battery_power(load) - load.mean_power - self.standby

    def efficiency(self, load: Any) -> Estimate:
        """Return outlet power over battery power at a load [-]."""
        plugged = load if isinstance(load, Load) else Load.steady(load)
        return (plugged.mean_power / self.battery_power(plugged)).to("1")

    def __repr__(self) -> str:
        return f"<Inverter: standby {show(self.standby.value)}, rated {show(self.rated)}>"


def _read(power: Any, meter: Any, side: str) -> Estimate:
    """Return a power of a loss curve as its meter read it [W]; nothing plugged in is known without one."""
    shown = estimate(power, "W", side)
    if meter is not None and not hasattr(meter, "reading"):
        raise Refusal(f"meter={meter!r}", "a Meter, or a pair of them", f"Write meter=Meter({str(meter)!r}).")
    return shown if meter is None or not shown.magnitude or shown.u.magnitude else meter.reading(shown)


def scheme_weights(scheme: str) -> dict[float, float]:
    """Return a weighting scheme: share of rated load -> weight, both [-]."""
    weights = {percent / 100: entry.value for percent, entry in numbered(f"{scheme} weight at ", " % load").items()}
    if not weights:
        raise Refusal(f"the scheme {scheme!r}", "one that is published", 'Write "CEC" or "European".')
    return weights
