"""The energy ledger: an account from the printed capacity down to what is left.

Every line stands on one side: the battery's for a unit known from print, the outlet's for a unit measured by
run-downs. The lines sum to what is left, to rounding error.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import pandas as pd

from ..estimate import Estimate
from ..model.battery import takes_charge
from ..model.load import Load
from ..model.room import in_room
from ..model.routes import Measured, cells_at
from ..model.unit import BackupUnit
from ..sources import lookup, table_of
from ..units import Q_, Refusal, show
from .headroom import headroom
from .outage import Outage

Verdict = Literal["covered", "tight", "short"]


@dataclass(frozen=True)
class Line:
    """One line of the ledger.

    Parameters
    ----------
    label : str
        What a reader sees.
    kind : {"total", "battery", "load", "loss"}
        Totals are sums of the lines above them; the others add up.
    energy : Estimate
        Gains positive, losses negative [Wh].
    measured : bool
        Measured, or only assumed from print and table.
    """

    label: str
    kind: Literal["total", "battery", "load", "loss"]
    energy: Estimate
    measured: bool = False


@dataclass(frozen=True)
class Ledger:
    """The account of one load on one unit through one outage; make it with `ledger`.

    Parameters
    ----------
    load, unit, outage
        What the account is for.
    lines : tuple of Line
        In order, the printed capacity first and what is left last.
    available, needed, left : Estimate
        Usable energy, energy that the outage asks for, and their difference [Wh].
    """

    load: Load
    unit: BackupUnit
    outage: Outage
    lines: tuple[Line, ...]
    available: Estimate
    needed: Estimate
    left: Estimate

    @property
    def chance(self) -> float:
        """The chance that the unit lasts the outage and the reserve is left [-]."""
        return self.left.chance_above("0 Wh")

    @property
    def verdict(self) -> Verdict:
        """Covered, tight or short, by the chance to last (limits in the table of coefficients)."""
        return verdict_of(self.chance)

    @property
    def lasts(self) -> Estimate:
        """How long the unit lasts [h].

        t = available / (needed / t), each until then                                         (1)

        Notes
        -----
        Until the reserve is reached, if one is kept. Exact for a steady load. A cycling load is taken at its
        mean, so this is right within one cycle.

        Raises
        ------
        Refusal
            If nothing at all is asked for: then there is no end.
        """
        if not self.needed.value.magnitude:
            raise Refusal(
                "no load and no standby", "something that takes energy", "Plug in a load, or give the standby."
            )
        first = (self.available / (self.needed / self.outage.duration)).to("h")
        if first.value.magnitude <= 0:
            return first - first.value  # empty, or a reserve that was never there
        until = first.value  # days differ as they do until then, whatever comes after
        losses = self.unit.route.losses(self.load, until, self.outage.unit_at)
        asked = sum((-energy for _, energy, _ in losses), start=self.load.energy_over(until))
        return (self.available / (asked / until)).to("h")  # (1)

    @property
    def headline(self) -> str:
        """The conclusion in one line of words and numbers."""
        missing = self.left.value.magnitude < 0
        amount, half = (-self.left if missing else self.left).spoken()
        word = "missing" if missing else "left"
        return f"{self.verdict.capitalize()}: {amount} {word} after {show(self.outage.duration)}, give or take {half}"

    @property
    def cautions(self) -> tuple[str, ...]:
        """What the numbers leave out and may hurt."""
        return cautions_of(self.unit, self.outage)

    def sources(self) -> pd.DataFrame:
        """Return the table's coefficients that the account rests on, with band and source."""
        return table_of([*self.available.rests_on(), *self.needed.rests_on(), *self.unit.route.fixed()])

    @property
    def inverter(self) -> str:
        """What the inverter was checked for, in a line."""
        checks = headroom(self.load, self.unit)
        if all(check.finding == "not checked" for check in checks):
            return f"inverter not checked: {checks[0].why}"
        return "inverter: " + "; ".join(map(str, checks))

    @property
    def rows(self) -> pd.DataFrame:
        """The lines as a table.

        Returns
        -------
        pandas.DataFrame
            Columns: line, energy (Wh), low (Wh) and high (Wh) of the 95 % interval, side, basis.
        """
        table = []
        for line in self.lines:
            low, high = line.energy.interval()
            table.append(
                {
                    "line": line.label,
                    "energy (Wh)": float(line.energy.value.magnitude),
                    "low (Wh)": float(low.magnitude),
                    "high (Wh)": float(high.magnitude),
                    "side": self.unit.route.side,
                    "basis": basis_of(line),
                }
            )
        return pd.DataFrame(table)

    def __str__(self) -> str:
        """Return headline and lines as plain text."""
        width = max(len(line.label) for line in self.lines)
        rows = [f"{line.label:<{width}}  {show(line.energy.value, 0):>10}" for line in self.lines]
        return "\n".join([self.headline, *rows, self.inverter, *(f"caution: {each}" for each in self.cautions)])

    __repr__ = __str__

    def _repr_html_(self) -> str:
        body = "".join(
            f"<tr><th scope='row' style='text-align:left;font-weight:{'bold' if line.kind == 'total' else 'normal'}'>"
            f"{line.label}</th><td>{show(line.energy.value, 0)}</td>"
            f"<td>{basis_of(line)}</td></tr>"
            for line in self.lines
        )
        return f"<table><caption>{self.headline}</caption>{body}</table>"


def ledger(load: Load, unit: BackupUnit, outage: Any) -> Ledger:
    """Return the energy account of a load on a unit through an outage, by the route the unit is known by.

    printed:   available = printed * health * depth of discharge * (start - (1 - cold * rate))
               needed    = t (mean P + k1 mean P + k2 mean P^2 / P_rated + P_0)               (1)
    measured:  available = E * health * (start - (1 - cold)),  needed = t (mean P + S)        (1)
    both:      left      = available - needed

    cold is the capacity where the unit stands over that at 25 degC (printed) or that in its run-downs (measured).

    Parameters
    ----------
    load : Load
        What is plugged in, powers at the outlet [W].
    unit : BackupUnit
        The battery unit, packs included.
    outage : Outage, str or pint.Quantity
        The outage, or its length [h].

    Returns
    -------
    Ledger
        Every line on one side [Wh]: the battery's by the printed route, the outlet's by the measured one.
        Conversion loss and standby are separate lines, and neither is part of the other.

    Example
    -------
    >>> unit = BackupUnit.from_print("mine", capacity="1 kWh", chemistry="iron phosphate", standby="10 W",
    ...                              rated="500 W", efficiency="80 %", at="100 W", depth_of_discharge="100 %")
    >>> ledger(Load.steady("100 W"), unit, "4 h").left.value
    <Quantity(500.0, 'watt_hour')>
    """
    when = Outage.of(outage)
    plugged(load, unit)
    hours, route = when.duration, unit.route
    if when.recharge:
        raise Refusal("an outage with recharge", "one without, for an account of energies alone",
                      "Write ride(load, unit, outage) or spread(load, unit, outage).")  # fmt: skip
    load = as_seen_by(load, when)
    steps, losses = route.steps(load, when.start, when.unit_at), route.losses(load, hours, when.unit_at)
    if when.reserve.magnitude:
        steps.append(("reserve kept back", -Estimate.exact(when.reserve), False))
    loads = [(f"{a.name}, {show(hours)}", -a.energy_over(hours), a.measured) for a in load.appliances]

    available = sum((energy for _, energy, _ in steps[1:]), start=steps[0][1])
    needed = -sum((energy for _, energy, _ in (*loads, *losses)), start=Estimate.exact("0 Wh"))  # (1)
    left = available - needed
    trusted = all(measured for _, _, measured in (*steps[1:], *loads, *losses))
    lines = [
        Line(steps[0][0], "total", steps[0][1]),
        *(Line(label, "battery", energy, measured) for label, energy, measured in steps[1:]),
        Line("usable", "total", available, all(measured for _, _, measured in steps[1:])),
        *(Line(label, "load", energy, measured) for label, energy, measured in loads),
        *(Line(label, "loss", energy, measured) for label, energy, measured in losses),
        Line("left over" if left.value.magnitude >= 0 else "missing", "total", left, trusted),
    ]
    return Ledger(load, unit, when, tuple(lines), available, needed, left)


def cautions_of(unit: BackupUnit, outage: Outage) -> tuple[str, ...]:
    """Return what the numbers leave out and may hurt."""
    route, found = unit.route, []
    cells = cells_at(route.heater, outage.unit_at)
    if cells is not None and not takes_charge(route.chemistry, cells):
        coldest = Q_(lookup(f"coldest charging, {route.chemistry}").value, "degC")
        found.append(f"do not charge it below {show(coldest)}: warm it first")
        found += ["recharge is not counted: the cells are too cold"] if outage.recharge else []
    if unit.packs and unit.pack_standby is None:
        found.append("what the packs take for themselves is not known, and not counted")
    if isinstance(route, Measured):
        found += route.line.warnings
    return tuple(found)


def basis_of(line: Line) -> str:
    """Return what a line rests on; a total rests on the lines above it."""
    return "total" if line.kind == "total" else "measured" if line.measured else "assumed"


def plugged(load: Any, unit: Any) -> None:
    """Refuse what is no load or no unit."""
    if not isinstance(load, Load):
        raise Refusal(f"load={load!r}", "a load", 'Write Load.steady("38 W"), or measure_draw(log).as_load().')
    if not isinstance(unit, BackupUnit):
        raise Refusal(f"unit={unit!r}", "a unit", 'Write read_units("units.csv")["Unit B"], or BackupUnit.from_print.')


def verdict_of(chance: float) -> Verdict:
    """Return covered, tight or short by the chance to last [-]; the one rule."""
    if chance >= lookup("covered from").value:
        return "covered"
    return "tight" if chance >= lookup("tight from").value else "short"


def as_seen_by(load: Load, outage: Outage) -> Load:
    """Return the load as the outage sees it: its schedules within the hours, its cold appliances in the room."""
    hours = float(outage.duration.magnitude)
    load = Load(tuple(appliance.within(hours, outage.begins_h) for appliance in load.appliances))
    if outage.room is None:
        return load
    if all(appliance.room is None for appliance in load.appliances):
        raise Refusal(
            f"room={show(outage.room, 0)}, and no appliance with the room it was measured in",
            "the temperature in which each cold appliance was measured",
            'Write load.in_a_room_of("20 degC"), or leave room out.',
        )
    each = [Load((appliance,)) for appliance in load.appliances]
    ends = () if outage.room_c is None else (float(outage.room_c.min()), float(outage.room_c.max()))
    for one in each:
        for celsius in ends if one.appliances[0].room is not None else ():
            in_room(one, room=Q_(celsius, "degC"))  # refuses an hour that is too cold or too hot
    moved = [one if one.appliances[0].room is None else in_room(one, room=outage.room) for one in each]
    return Load(tuple(one.appliances[0] for one in moved))
