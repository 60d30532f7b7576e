"""What run-downs tell of a unit: the energy to share and the standby, both at the outlet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import pint

from ..estimate import Estimate, through
from ..known import Listed, notes
from ..units import Refusal, show
from .battery import Rate, asked_w, drained_of_cycles_w, drained_w
from .load import Load
from .temperature import TemperatureCurve


class Pack(NamedTuple):
    """What each pack adds, at the outlet: energy to share [Wh] and standby [W]."""

    energy: Estimate
    standby: Estimate


@dataclass(frozen=True, eq=False)
class RundownLine(Listed):
    """What a unit gives at its outlet, by its run-downs; make it with `fit_rundowns`.

    Parameters
    ----------
    energy, standby : Estimate
        E, the energy to share at the outlet in a run as long as ``reference`` [Wh], and S, the standby as
        the outlet sees it, P_0 / (1 + k1) [W]. They are correlated.
    rate_exponent, idling, bend : Estimate
        k, 1 where every rate gives the same energy [-]; i, the standby under load over that with nothing plugged in
        [-]; c, by which the loss bends with the load [1/W].
    next_run : Estimate
        The next run's time over the mean of many: 1, give or take the run-to-run spread [-].
    reference : pint.Quantity
        Geometric mean of the run times [h].
    room : pint.Quantity or None
        Temperature that they hold for [degC]; None where none was stated.
    curve : TemperatureCurve
        What the cold leaves, by chemistry or by the user's own runs.
    points : pandas.DataFrame
        Each run-down beside what the line says.
    warnings : tuple of str
        What limits the claim.
    runs, settings : tuple of Rundown, mapping
        What `fit_rundowns` was given.
    pack : Pack, optional
        What runs with more packs tell of each; the rest holds without them.
    """

    energy: Estimate
    standby: Estimate
    rate_exponent: Estimate
    idling: Estimate
    bend: Estimate
    next_run: Estimate
    reference: pint.Quantity
    room: pint.Quantity | None
    curve: TemperatureCurve
    points: pd.DataFrame
    warnings: tuple[str, ...]
    runs: tuple[Any, ...]
    settings: Mapping[str, Any]
    pack: Pack | None = None

    def hours(self, load: Any) -> Estimate:
        """Return how long the next run lasts at a load [h].

        t = E / P_d,   P_d by `drained_of_cycles_w` with k, P_H = E / T, a = S and c              (1)

        Parameters
        ----------
        load : Load, Estimate, str or pint.Quantity
            A load with its pattern and day-to-day spread, or a mean power that is taken as steady [W].

        Notes
        -----
        T is ``reference``. Whether the power while a load runs decides the rate, or its mean, is open: of the two,
        the one that leaves t less certain gives the width. The interval is for one run, not for the mean of many.
        The gain of a meter that read both the load and the run-downs cancels.
        """
        plugged = load if isinstance(load, Load) else Load.steady(load)
        own = self.standby if plugged.mean_power.magnitude else self.standby / self.idling
        drain = own.value + plugged.mean_power.value
        if not drain.magnitude > 0:
            raise Refusal(f"a drain of {show(drain)}", "more than zero", "Add a run-down with nothing plugged in.")
        variance, ref_h = plugged.variance_w2, float(self.reference.magnitude)

        def lasts(power: Estimate, moment: bool) -> Estimate:
            def run_time(at: np.ndarray) -> np.ndarray:
                energy, standby, power_w, k, c, next_run = at
                rate = Rate(energy / ref_h, k, 0.0)
                x = asked_w(power_w, variance, standby, 1, c)
                cycles = drained_of_cycles_w(power_w, variance, (standby, 1, c), rate)
                return np.array([energy * next_run / (cycles if moment else drained_w(x, x, *rate))])  # (1)

            inputs = [self.energy, own, power, self.rate_exponent, self.bend, self.next_run]
            return through(run_time, inputs, ["h"])[0]

        length = lasts(plugged.mean_power, moment=True).value
        power = (plugged.energy_over(length) / length).to("W")
        by_moment, by_mean = (lasts(power, moment) for moment in (True, False))
        widest = max(by_moment, by_mean, key=lambda found: float(found.u.magnitude))
        value = Estimate.band(by_moment.value, by_moment.value, by_mean.value, "rate of the moment")
        return widest - widest.value + value

    def __repr__(self) -> str:
        said = notes("warning", self.warnings)
        runs = f"{len(self.runs)} run-down{'s' * (len(self.runs) > 1)}"
        more = f"; each pack {self.pack.energy} and {self.pack.standby}" if self.pack else ""
        return f"<RundownLine of {runs}, at the outlet: {self.energy}, to share; standby {self.standby}{more}{said}>"

    def _repr_html_(self) -> str:
        return super()._repr_html_() + self.points.to_html(index=False)
