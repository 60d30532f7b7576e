"""The loop closed: the appliance ran on the unit for real, and what happened stands beside what was predicted."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from html import escape
from typing import Any

import pandas as pd

from ..answer.ride import Ride, ride
from ..estimate import Estimate
from ..known import Known
from ..measure.bench import fit_rundowns
from ..measure.meter import Meter
from ..measure.rundown import Rundown
from ..model.load import Load
from ..model.routes import Route
from ..model.unit import BackupUnit
from ..sources import temperature
from ..units import Q_, Refusal, of_kind, positive, rows_beside, show

SUSPECTS = rows_beside(__file__, "suspects.csv")
AGREES, FAR, OPEN = "agrees", "does not agree", "cannot tell"
DREW = "power at the outlet"


@dataclass(frozen=True)
class Check:
    """One number as predicted and as observed.

    Parameters
    ----------
    what : str
        What was compared.
    predicted, observed : Drawn or Estimate
        As the account says, and as it came [h or W].
    at_least : bool
        Whether it would have gone on [-].
    """

    what: str
    predicted: Known
    observed: Estimate
    at_least: bool = False

    @property
    def away(self) -> float:
        """Observed less predicted, in the unit of the prediction."""
        return float((self.observed.value - self.predicted.value).m_as(self.predicted.value.units))

    @property
    def normalised(self) -> float:
        """The normalised error E_n [-].

        E_n = |x - X| / sqrt(U(x)^2 + U(X)^2)                                                 (1)

        with the expanded uncertainties of both; where an interval is lopsided, its half on the side of the other. Of
        two numbers without a doubt that differ nobody can tell: nan.

        References
        ----------
        ISO 13528, "E_n scores", and ISO/IEC 17043, annex B (both from memory): at most 1 is satisfactory.
        """
        low, high = self.predicted.interval()
        half = high - self.predicted.value if self.away > 0 else self.predicted.value - low
        together = math.hypot(*(float(u.m_as(self.predicted.value.units)) for u in (half, self.observed.expanded())))
        if not together:
            return math.nan if self.away else 0.0
        return abs(self.away) / together  # (1)

    @property
    def says(self) -> str:
        """Whether both agree, E_n at most 1; or nobody can tell: no doubt, or one "at least" too little."""
        beyond = self.predicted.at_least and self.away > 0
        too_little = self.at_least and (self.away <= 0 or self.normalised <= 1)
        if beyond or too_little or math.isnan(self.normalised):
            return OPEN
        return AGREES if self.normalised <= 1 else FAR

    @property
    def cells(self) -> tuple[str, ...]:
        """What was compared, what that says, E_n where it tells, and both numbers."""
        seen = f"at least {show(self.observed.value)}" if self.at_least else str(self.observed)
        error = "" if self.says == OPEN else f"{self.normalised:.2f}"
        return self.what, self.says, error, str(self.predicted), seen

    def __str__(self) -> str:
        what, says, error, predicted, seen = self.cells
        return f"{what}: {says}{error and f', E_n = {error}'}; predicted {predicted}; observed {seen}"


@dataclass(frozen=True)
class Agreement:
    """A prediction beside the run for real; make it with `agreement`.

    Parameters
    ----------
    account : Ride
        What was predicted.
    run : Rundown
        What happened, as one more run-down of the unit.
    checks : tuple of Check
        The run time; and where the energy was metered, what the appliance drew, and the run time at that power.
    """

    account: Ride
    run: Rundown
    checks: tuple[Check, ...]

    @property
    def says(self) -> str:
        """Whether the run time agrees: "agrees", "does not agree" or "cannot tell"."""
        return self.checks[0].says

    @property
    def suspects(self) -> tuple[str, ...]:
        """What to look at where something does not agree, what the prediction is least sure of first."""
        appliance, unit = self.checks[1:] or self.checks * 2  # not metered, the run time stands for both
        of = {"appliance": appliance, "unit": unit, f"unit, {self.account.unit.route.side}": unit}
        shares, found = list(self.account.lasts.shares()["influence"]), []
        for row in SUSPECTS:
            check, words = of.get(row["of"]), row["influence"].split("|")
            if check is not None and check.says == FAR:
                text = row["longer" if (check.away > 0) != (check.what == DREW) else "shorter"]
                ranks = (at for at, name in enumerate(shares) if any(word in name for word in words))
                found += [(next(ranks, len(shares)), text)] if text else []
        return tuple(text for _, text in sorted(found, key=lambda each: each[0]))

    @property
    def unit(self) -> BackupUnit:
        """The unit with this run among its run-downs: one more measurement.

        Raises
        ------
        Refusal
            If the unit is known from print, or this was no run from full like its run-downs.
        """
        unit, outage, remedy = self.account.unit, self.account.outage, 'rt.protocol("run-down") tells how.'
        route, old = unit.route, unit.route.line
        if old is None:
            needed = "run-downs at two loads: one alone does not part energy from standby"
            remedy = f"Run it down at a second load; fit_rundowns([agreement.run, ...]) takes this run too; {remedy}"
            raise Refusal(f"one run of {unit.name}, known from print", needed, remedy)
        one = Q_(1, "1")
        if unit.packs or outage.recharge or outage.start.value != one or route.health.value != one:
            raise Refusal("a run with packs or recharge, from less than full, or of an aged unit",
                          "one like the run-downs before", f"Note it in your table of run-downs; {remedy}")  # fmt: skip
        line = fit_rundowns([*old.runs, self.run], **old.settings)
        own = {"health": route.health, "k1": route.k1, "heater": route.heater}
        standby = unit.standby + (line.standby - old.standby)
        return replace(unit, route=Route.by_rundowns(line, unit.printed, standby, unit.ratings.rated, **own))

    def __repr__(self) -> str:
        told = "\n  ".join([*map(str, self.checks), *(f"suspect: {each}" for each in self.suspects)])
        return f"<Agreement: {told}>"

    def _repr_html_(self) -> str:
        columns = ["what", "says", "E_n", "predicted", "observed"]
        table = pd.DataFrame([check.cells for check in self.checks], columns=columns).to_html(index=False)
        return f"{table}<ol>{''.join(f'<li>{escape(each)}</li>' for each in self.suspects)}</ol>"


def agreement(
    account: Ride, ran: Any, *, delivered: Any = None, meter: Meter | None = None, room: Any = None,
    stopped_early: bool = False, left: Any = None, within: Any = "5 min",
) -> Agreement:  # fmt: skip
    """Return how a run for real agrees with what was predicted, and what to suspect where it does not.

    Parameters
    ----------
    account : Ride or Ledger
        The prediction for this run: its start, its temperatures, its load.
    ran : str or pint.Quantity
        How long the unit carried the load, as "21 h 40 min" [h].
    delivered : str or pint.Quantity, optional
        Energy that a meter counted at the outlet in that time; it parts the appliance from the unit [Wh].
    meter : Meter, optional
        What counted it; exact where left out.
    room : str or pint.Quantity, optional
        Where the unit stood; as in the prediction where left out [degC].
    stopped_early, left
        As in `Rundown` [-].
    within : str or pint.Quantity
        How well the moment it switched off is known [h].

    Notes
    -----
    The prediction holds the spread from run to run and from day to day. Both numbers are taken as independent; where
    one meter's gain is in both, E_n is too small. E_n lies above 1 in one of twenty runs though nothing is wrong.
    Lesson 11.
    """
    of_kind(account, Ride, "account", "an account or a ride", "Write account=rt.ledger(load, unit, outage).")
    of_kind(meter, Meter | None, "meter", "a meter", 'Write meter=rt.Meter("1 %").')
    hours, stood, cool = positive(ran, "h", "ran"), account.outage.unit_at, account.outage.room
    shift = account.mean_power.value / account.load.mean_power.value if cool else 1
    load = None if delivered is not None else (account.load.energy_over(hours) / hours * shift).to("W")
    at = (stood and stood.mean) if room is None else temperature(room, "room")
    run = Rundown.of(Rundown(load, hours, delivered, at, stopped_early, left, account.unit.packs))
    lasted = run.lasts + Estimate.within("0 h", positive(within, "h", "within", zero=True), "moment it switched off")
    checks = [Check("run time", account.lasts, lasted, run.at_least)]
    if delivered is not None:
        drew = run.power(meter or Meter())
        steady = Load.steady(drew) if cool is None else Load.steady(drew).in_a_room_of(cool.mean)
        again = ride(steady, account.unit, account.outage).lasts
        checks += [Check(DREW, account.mean_power, drew), Check("run time at that power", again, lasted, run.at_least)]
        run = replace(run, load=drew, delivered=None)
    return Agreement(account, run, tuple(checks))
