"""How a unit is known: from print, or from its own run-downs. The two are never mixed.

A route stands on one side, and says in plain numbers what there is, what the unit itself takes, and what a fast
discharge and the cold make lost. Every relation stands here or in `battery` and `inverter` once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Literal, NamedTuple

import numpy as np
import pint

from ..estimate import Estimate, not_negative
from ..sources import lookup, temperature
from ..units import Q_, Refusal, number, of_parts, show
from .battery import Rate
from .inverter import Inverter
from .rundowns import RundownLine
from .temperature import TemperatureCurve

# Makes plain numbers of an Estimate in its own unit, within physical limits: one, or a row for each draw.
Read = Callable[..., Any]


class Share(NamedTuple):
    """One share of the printed capacity on its way to what is usable: label, share [-], and whether it was measured."""

    label: str
    share: Any
    measured: bool


@dataclass(frozen=True)
class Heater:
    """What keeps the cells from freezing, from the unit's own battery.

    Parameters
    ----------
    power : Estimate
        Mean power while it is on, on the side of the route [W].
    below : pint.Quantity
        It is on where the unit stands colder than this, and keeps the cells at it [degC].
    """

    power: Estimate
    below: pint.Quantity

    @classmethod
    def of(cls, given: Any) -> Heater | None:
        """Return the heater given as power [W] and temperature [degC], or none."""
        if given is None:
            return None
        power, below = of_parts(given, 2, f"heater={given!r}", "its mean power, and the temperature it keeps",
                                'Write heater=("12 W", "0 degC").')  # fmt: skip
        return cls(not_negative(power, "W", "heater"), temperature(below, "heater"))

    def on(self, unit_at: Any) -> bool:
        """Return whether it is on at a temperature of the room [degC]."""
        return unit_at is not None and number(unit_at, "degC", "unit_at") < number(self.below, "degC", "below")


@dataclass(frozen=True, kw_only=True)
class Route:
    """What a unit holds and takes: by print on its battery's side, by run-downs on its outlet's.

    By print every loss is charged on the battery's side. By run-downs depth of discharge and conversion loss are in the
    energy already, and nothing charges them again; what differs from the tests is a ratio to them: temperature, rate,
    age.

    Parameters
    ----------
    printed : pint.Quantity
        Printed capacity, packs included [Wh].
    holds : tuple of Estimate
        What its cells when new, or as tested, give of the print on this side: the product of these [-].
    health : Estimate
        Capacity today over that printed, or over that in the tests [-].
    depth_of_discharge : Estimate
        Share of the capacity that the unit gives up before it cuts off [-].
    inverter : Inverter
        What is asked on this side for a load at the outlet: at the outlet standby, load, and the bend of the loss.
    curve : TemperatureCurve
        What the cold leaves.
    rating_hours : pint.Quantity
        The discharge for which the printed capacity holds [h].
    rate_exponent : Estimate
        k of t ~ power^-k, above the rating or about the run-downs [-].
    k1 : Estimate, optional
        What is lost between the battery and this side, in proportion; None where it is not known [-].
    heater : Heater, optional
        Its power on this side.
    known : frozenset of str
        What was measured: "capacity", "depth_of_discharge", "health", "standby", "efficiency".
    line : RundownLine, optional
        From `fit_rundowns`; None by print.
    """

    printed: pint.Quantity
    holds: tuple[Estimate, ...]
    health: Estimate
    depth_of_discharge: Estimate
    inverter: Inverter
    curve: TemperatureCurve
    rating_hours: pint.Quantity
    rate_exponent: Estimate
    k1: Estimate | None
    heater: Heater | None
    known: frozenset[str]
    line: RundownLine | None = None

    @classmethod
    def by_rundowns(cls, line: RundownLine, tested: pint.Quantity, standby: Estimate, rated: pint.Quantity,
                    **own: Any) -> Route:  # fmt: skip
        """Return the route of a line through the run-downs of what has a printed capacity [Wh], with its standby [W].

        Parameters
        ----------
        rated : pint.Quantity
            Largest steady power [W].
        own
            Its health, k1 and heater.
        """
        takes = Inverter(standby, Estimate.exact(Q_(0, "1")), (line.bend * rated).to("1"), rated)
        return cls(
            printed=tested, holds=((line.energy / tested).to("1"), line.next_run),
            depth_of_discharge=Estimate.exact(Q_(1, "1")), inverter=takes, curve=line.curve,
            rating_hours=Q_(lookup(f"rating hours, {line.curve.chemistry}").value, "h"),
            rate_exponent=line.rate_exponent, line=line,
            known=frozenset(["capacity", "depth_of_discharge", "standby", "efficiency"]), **own,
        )  # fmt: skip

    @property
    def side(self) -> Literal["battery", "outlet"]:
        """Where every number stands."""
        return "battery" if self.line is None else "outlet"

    @property
    def warnings(self) -> tuple[str, ...]:
        """What limits what its run-downs say."""
        return () if self.line is None else self.line.warnings

    @property
    def heated_in_tests(self) -> bool:
        """Whether its run-downs have the heater in their standby already."""
        return self.heater is not None and self.line is not None and self.heater.on(self.line.room)

    def cells_at(self, unit_at: Any) -> Any:
        """Return the temperature of the cells where the unit stands at ``unit_at`` [degC]."""
        return self.heater.below if self.heater is not None and self.heater.on(unit_at) else unit_at

    def measured(self, *names: str) -> bool:
        """Return whether all of these were measured."""
        return self.known >= {*names}

    def shares(self, read: Read) -> list[Share]:
        """Return what of the printed capacity a full unit gives on this side [-]; depth of discharge comes last."""
        depth = self.depth_of_discharge
        cells, health, deep = (show(each.to("%"), 0) for each in (self.holds[0], self.health, depth))
        held, since = f"cells hold {cells} of the print", ""
        if self.line is not None:
            held, since = "printed to measured at the outlet", " since the tests"
        return [
            Share(held, np.prod([read(each, 0) for each in self.holds], axis=0), self.measured("capacity")),
            Share(f"{health} health{since}", read(self.health, 0), self.measured("health")),
            Share(f"depth of discharge {deep}", read(depth, 0, 1), self.measured("depth_of_discharge")),
        ]

    def takes(self, read: Read) -> tuple[Any, Any, Any]:
        """Return a, b and c of `battery.asked_w` [W, -, 1/W]; by run-downs the loss may bend either way."""
        standby, b, c = self.inverter.takes
        return read(standby, 0), read(b, 1), read(c, 0 if self.line is None else -np.inf)

    def rate(self, read: Read, printed_wh: Any) -> Rate:
        """Return what a discharge faster than the rating, or than the run-downs, costs; a slower one than these gives.

        P_H = C / H,   by run-downs E / T, as much of the print as they measured over their time     (1)
        """
        exponent = read(self.rate_exponent, 1)
        if self.line is None:
            return Rate(printed_wh / self.rating_hours.m_as("h"), exponent, 1.0)  # (1)
        return Rate(printed_wh * read(self.holds[0], 0) / self.line.reference.m_as("h"), exponent, 0.0)  # (1)

    def cold(self, read: Read, cells: Any) -> Any:
        """Return the capacity at a temperature of the cells over that of the shares [-]."""
        if self.line is None:
            return read(self.curve.at(cells, "unit_at"), 0)
        if self.line.room is None:
            raise Refusal("unit_at for run-downs that state no temperature", "the room's temperature in the tests",
                          'Write fit_rundowns(..., room="20 degC"), or leave unit_at out.')  # fmt: skip
        then = self.cells_at(self.line.room)
        return read(self.curve.at(cells, "unit_at"), 0) / read(self.curve.at(then, "room"), 0)

    def inflow(self, read: Read) -> Any:
        """Return what recharge at the battery is worth on this side, 1 / (1 + k1) [-]."""
        if self.k1 is None:
            needed = "the proportional loss of its inverter: what flows into the battery is less at the outlet"
            remedy = 'Write BackupUnit.from_rundowns(..., k1="8 %"), by its sheet or Inverter.from_efficiency(...).k1.'
            raise Refusal("recharge of a unit that was measured at its outlet", needed, remedy)
        return 1 / (1 + read(self.k1, 0))

    def keeps(self, read: Read) -> Any:
        """Return what of a charge counts, at the rate that its energy holds for [-].

        (P_r / P_H)^(k - 1), at most 1,   P_r = C / (H (1 + k1))                              (1)

        What was charged is there in full at the rating, C in H hours; P_H, the power of run-downs, gets less of it.
        """
        if self.line is None:
            return 1.0
        reference_w, exponent, _ = self.rate(read, 1.0)
        return np.minimum(self.inflow(read) / self.rating_hours.m_as("h") / reference_w, 1) ** (exponent - 1)  # (1)

    def changed(self, *, measured: bool = False, **other: Any) -> Route:
        """Return the route with another standby [W] or other fields of its own, which were measured or not."""
        known = self.known | {*other} if measured else self.known - {*other}
        if self.line is not None:
            known = self.known
            if "depth_of_discharge" in other:
                raise Refusal("a depth of discharge for a unit that was measured by run-downs", "a unit from print",
                              "Its run-downs went down to its own cut-off.")  # fmt: skip
        if "standby" in other:
            other["inverter"] = replace(self.inverter, standby=other.pop("standby"))
        return replace(self, known=known, **other)

    def with_packs(self, count: int, pack: pint.Quantity, standby: Estimate | None) -> Route:
        """Return the route with more packs: each with its printed capacity [Wh] and what it takes [W], if known.

        By run-downs with and without packs it gives as they told, else of its print as much as the rest.
        """
        printed, holds, inverter = self.printed + count * pack, self.holds, self.inverter
        if self.line is not None and self.line.pack is not None:
            energy = holds[0] * self.printed + count * self.line.pack.energy
            holds = ((energy / printed).to("1"), *holds[1:])
        if standby is not None:
            inverter = replace(inverter, standby=inverter.standby + count * standby)
        return replace(self, printed=printed, holds=holds, inverter=inverter)

    def fixed(self) -> list[str]:
        """Return the table's coefficients without a band that this route rests on."""
        chemistry = self.curve.chemistry
        rating, coldest = lookup(f"rating hours, {chemistry}"), lookup(f"coldest charging, {chemistry}")
        own = self.line is not None or float(self.rating_hours.m_as("h")) != rating.value
        return [coldest.name] if own else [rating.name, coldest.name]
