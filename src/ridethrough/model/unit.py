"""A battery unit, known by one of two routes that are never mixed: from print, or from its own run-downs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, cast

import pint

from ..estimate import Estimate, estimate, not_negative
from ..sources import coefficient, lookup, usual
from ..units import Q_, Refusal, of_kind, positive, show, whole
from .battery import known_chemistry, of_chemistry, stored_energy
from .inverter import Inverter, Ratings
from .routes import Heater, Route
from .rundowns import RundownLine
from .temperature import TemperatureCurve


@dataclass(frozen=True)
class BackupUnit:
    """A battery unit as bought, with its packs.

    Parameters
    ----------
    name : str
        What the kit calls it.
    route : Route
        How it is known; packs included.
    ratings : Ratings
        Packs add capacity, never inverter.
    charge_power : Estimate
        The most that its charger takes, before charge loss [W]; packs add none.
    taper_from : Estimate
        Charge from which it takes less and less, in proportion to what is missing to full [-].
    pack : pint.Quantity, optional
        Printed capacity of one more pack [Wh]; None if no packs are known.
    packs_max : int
        How many packs can be added [-].
    packs : int
        How many are added [-].
    pack_standby : Estimate, optional
        What each pack takes by being there, on the side of the route [W]; None where it was not measured.
    """

    name: str
    route: Route
    ratings: Ratings
    charge_power: Estimate
    taper_from: Estimate
    pack: pint.Quantity | None = None
    packs_max: int = 0
    packs: int = 0
    pack_standby: Estimate | None = None

    @classmethod
    def of(cls, unit: Any, name: str = "unit") -> BackupUnit:
        """Return ``unit`` itself, or refuse what is none."""
        remedy = f'Write {name}=read_units("units.csv")["Unit B"], or {name}=BackupUnit.from_print(...).'
        return cast(BackupUnit, of_kind(unit, cls, name, "a unit", remedy))

    @classmethod
    def from_print(
        cls, name: str, *, capacity: Any, chemistry: str, rated: Any, standby: Any = None, efficiency: Any = None,
        at: Any = None, inverter: Inverter | None = None, volts: Any = None, depth_of_discharge: Any = None,
        health: Any = "100 %", rating_hours: Any = None, curve: TemperatureCurve | None = None, heater: Any = None,
        pack: Any = None, packs_max: int = 0, pack_standby: Any = None, charge_power: Any = None,
        taper_from: Any = None,
    ) -> BackupUnit:  # fmt: skip
        """Return the unit that box and data sheet describe.

        Parameters
        ----------
        name : str
            What the kit calls it.
        capacity : Estimate, str or pint.Quantity
            As printed [Wh], or [Ah] with ``volts``.
        chemistry : str
            One of `battery.CHEMISTRIES`.
        volts : str or pint.Quantity, optional
            Nominal voltage of what the ampere-hours were printed on [V].
        depth_of_discharge : Estimate, str or float, optional
            Usable share [-]; else the table's value and band for the chemistry.
        health : Estimate, str or float
            Capacity today over that printed [-]; see `aged`.
        rating_hours : str or pint.Quantity, optional
            The discharge that the capacity was rated for [h]; else the table's for the chemistry.
        curve : TemperatureCurve, optional
            From the user's own cold run-down; else the table's for the chemistry.
        standby : Estimate, str or pint.Quantity
            Power from the battery with nothing plugged in [W].
        rated : Ratings, str or pint.Quantity
            Largest steady power at the outlet [W]; with more to say, ``Ratings.of(...)``.
        efficiency, at : Estimate, str or pint.Quantity
            Outlet over battery power [-], and the load at which it holds [W].
        inverter : Inverter, optional
            Its measured loss curve, `Inverter.fit`, instead of standby and efficiency.
        heater : pair of (str or pint.Quantity), optional
            Mean power of what warms the cells, from the battery [W], and the temperature that it keeps [degC].
        pack : str or pint.Quantity, optional
            Printed capacity of one pack [Wh].
        packs_max : int
            How many can be added [-].
        pack_standby : Estimate, str or pint.Quantity, optional
            What each pack takes by being there, from the battery [W].
        charge_power : Estimate, str or pint.Quantity, optional
            The most its charger takes [W]; else the table's band.
        taper_from : Estimate, str or float, optional
            Charge from which it takes less and less [-]; else the table's band.

        Notes
        -----
        Numbers given as text or Quantity are a sheet's: they get the table's bands of what sheets are worth. An
        Estimate is taken as it is, and as measured.

        Example
        -------
        >>> BackupUnit.from_print("mine", capacity="1.2 kWh", chemistry="iron phosphate", standby="9 W",
        ...                       rated="800 W", efficiency="88 %", at="300 W")
        <BackupUnit 'mine': 1,200 Wh printed, standby 9 W at the battery>
        """
        of_kind(inverter, Inverter | None, "inverter", "an inverter", "Write inverter=Inverter.fit(points, rated).")
        ratings, printed = Ratings.of(rated), stored_energy(getattr(capacity, "value", capacity), volts)
        if (inverter is None) == (standby is None and efficiency is None):
            given = "a measured curve beside standby and efficiency" if inverter else "a unit without its losses"
            remedy = 'Write standby="9 W", efficiency="88 %", at="300 W", or inverter=Inverter.fit(points, rated).'
            raise Refusal(given, "either standby and efficiency, or a measured curve", remedy)
        told = {"capacity": capacity, "depth_of_discharge": depth_of_discharge, "health": health,
                "standby": inverter or standby, "efficiency": inverter or efficiency}  # fmt: skip
        rating = lookup(f"rating hours, {known_chemistry(chemistry)}")
        holds = coefficient("capacity over its print")
        if isinstance(capacity, Estimate):
            holds = (capacity / capacity.value).to("1")
        else:
            usual(printed, "printed capacity", "capacity")
        route = Route(
            printed=printed, holds=(holds,), health=not_negative(health, "1", "health"),
            depth_of_discharge=estimate(depth_of_discharge, "1", "depth_of_discharge",
                                        of_chemistry("depth of discharge", chemistry)),
            inverter=inverter or _by_sheet(standby, efficiency, at, ratings.rated),
            curve=TemperatureCurve.of(curve, chemistry), k1=Estimate.exact(Q_(0, "1")), heater=Heater.of(heater),
            rating_hours=positive(Q_(rating.value, "h") if rating_hours is None else rating_hours, "h", "rating_hours"),
            rate_exponent=of_chemistry("rate exponent above the rating", chemistry),
            known=frozenset(what for what, given in told.items() if isinstance(given, Estimate | Inverter)),
        )  # fmt: skip
        return cls(name, route, ratings, **_about(printed, charge_power, taper_from, pack, packs_max, pack_standby))

    @classmethod
    def from_rundowns(
        cls, name: str, line: RundownLine, *, printed: Any, rated: Any, health: Any = "100 %", heater: Any = None,
        k1: Any = None, pack: Any = None, packs_max: int = 0, pack_standby: Any = None, charge_power: Any = None,
        taper_from: Any = None,
    ) -> BackupUnit:  # fmt: skip
        """Return the unit as its own run-downs measured it.

        Parameters
        ----------
        name : str
            What the kit calls it.
        line : RundownLine
            From `fit_rundowns`: energy [Wh] and standby [W], both at the outlet, and those of a pack where runs
            with packs told them.
        printed : str or pint.Quantity
            Printed capacity of what was tested [Wh].
        health : Estimate, str or float
            Capacity today over that in the tests [-].
        k1 : Estimate, str or float, optional
            Proportional loss of its inverter; needed for recharge only [-].
        rated, heater, pack, packs_max, pack_standby, charge_power, taper_from
            As in `from_print`; powers at the outlet.

        Raises
        ------
        Refusal
            If the run-downs gave more than is printed.
        """
        of_kind(line, RundownLine, "line", "a run-down line", "Write line=fit_rundowns([...]).")
        tested = usual(positive(printed, "Wh", "printed"), "printed capacity", "printed")
        if pack_standby is None and line.pack is not None:
            pack_standby = line.pack.standby
        if line.energy.interval()[0] > tested:
            given = f"{show(line.energy.value)} from run-downs of a box that says {show(tested)}"
            remedy = "Check hours and loads, and count its packs in printed."
            raise Refusal(given, "no more at the outlet than is printed", remedy)
        loss, ratings = None if k1 is None else not_negative(k1, "1", "k1"), Ratings.of(rated)
        own = {"health": not_negative(health, "1", "health"), "k1": loss, "heater": Heater.of(heater)}
        route = Route.by_rundowns(line, tested, line.standby.to("W"), ratings.rated, **own)
        return cls(name, route, ratings, **_about(tested, charge_power, taper_from, pack, packs_max, pack_standby))

    @property
    def printed(self) -> pint.Quantity:
        """Capacity printed on the box, packs included [Wh]."""
        return self.route.printed

    @property
    def standby(self) -> Estimate:
        """Power with nothing plugged in, on the side of the route [W]."""
        return self.route.inverter.standby

    @property
    def chemistry(self) -> str:
        """What its battery is made of."""
        return self.route.curve.chemistry

    @property
    def inverter(self) -> Inverter:
        """The loss curve of the printed route; a measured unit has its losses in its energy instead."""
        if self.route.line is not None:
            remedy = "Its conversion loss is part of the measured energy; charging it again would count it twice."
            raise Refusal(f"the loss curve of {self.name}, measured by run-downs", "a unit from print", remedy)
        return self.route.inverter

    def with_packs(self, count: int) -> BackupUnit:
        """Return the unit with ``count`` more packs: more capacity, the packs' own standby, the same inverter.

        Raises
        ------
        Refusal
            If the unit takes no packs or not so many.
        """
        room = self.packs_max - self.packs if self.pack is not None else 0
        if whole(count, "count") > room:
            remedy = f"Write .with_packs({room}) or take a larger unit."
            raise Refusal(f"{count} more packs on {self.label}", f"at most {room} more", remedy)
        if not count or self.pack is None:
            return self
        route = self.route.with_packs(count, self.pack, self.pack_standby)
        return replace(self, route=route, packs=self.packs + count)

    @property
    def extensions(self) -> list[BackupUnit]:
        """The unit as it is, with one more pack, and so on up to all that can be added."""
        return [self.with_packs(more) for more in range(self.packs_max - self.packs + 1)]

    def with_capacity(self, printed: Any) -> BackupUnit:
        """Return the unit with another printed capacity [Wh], packs included, and nothing else changed."""
        return replace(self, route=self.route.changed(printed=positive(printed, "Wh", "printed")))

    def with_standby(self, standby: Any) -> BackupUnit:
        """Return the unit with another standby [W], on the same side: measured if an Estimate, else by its sheet."""
        return self._with(standby, standby=_standby(standby))

    def with_health(self, health: Any) -> BackupUnit:
        """Return the unit with another health [-]: capacity over that printed, or over that of its run-downs."""
        return self._with(health, health=not_negative(health, "1", "health"))

    def with_depth(self, depth: Any) -> BackupUnit:
        """Return the unit from print with another depth of discharge [-]."""
        return self._with(depth, depth_of_discharge=not_negative(depth, "1", "depth"))

    def _with(self, given: Any, **other: Any) -> BackupUnit:
        """Return the unit with a number changed, which was measured if it was given as an Estimate."""
        return replace(self, route=self.route.changed(**other, measured=isinstance(given, Estimate)))

    @property
    def label(self) -> str:
        """Name, and packs where there are some: "Unit B with 1 pack"."""
        return " with ".join(filter(None, (self.name, packs_in_words(self.packs))))

    def __repr__(self) -> str:
        own = f"standby {show(self.standby.value)} at the {self.route.side}"
        return f"<BackupUnit {self.label!r}: {show(self.printed)} printed, {own}>"


def packs_in_words(count: int | None) -> str:
    """Return how many packs there are: "1 pack", "2 packs"; nothing where there are none."""
    return f"{count} pack{'s' * (count > 1)}" if count else ""


def _standby(given: Any) -> Estimate:
    """Return a standby as it is known [W]: one of a sheet with the table's band of what sheets are worth."""
    found = not_negative(given, "W", "standby")
    return found if isinstance(given, Estimate) else found * coefficient("standby over its sheet")


def _by_sheet(standby: Any, efficiency: Any, at: Any, rated: pint.Quantity) -> Inverter:
    """Return the inverter that a data sheet describes."""
    Inverter.from_efficiency(standby, efficiency, at, rated)  # refuses what cannot be, in the sheet's own numbers
    if not isinstance(efficiency, Estimate):
        efficiency = estimate(efficiency, "1", "efficiency") + coefficient("efficiency beyond its sheet")
    return Inverter.from_efficiency(_standby(standby), efficiency, at, rated)


def _about(printed: pint.Quantity, charge_power: Any, taper_from: Any, pack: Any, packs_max: int,
           pack_standby: Any) -> dict[str, Any]:  # fmt: skip
    """Return what a unit's charger takes and what its packs add, of fields' names; for a printed capacity [Wh]."""
    if whole(packs_max, "packs_max") and pack is None:
        raise Refusal("packs without their capacity", "the printed capacity of one",
                      'Write pack="700 Wh", packs_max=2.')  # fmt: skip
    table = (coefficient("charge power over printed capacity") * printed).to("W")
    return {
        "charge_power": estimate(charge_power, "W", "charge_power", table, positive),
        "taper_from": estimate(taper_from, "1", "taper_from", coefficient("taper from")),
        "pack": None if pack is None else usual(positive(pack, "Wh", "pack"), "printed capacity", "pack"),
        "packs_max": packs_max,
        "pack_standby": None if pack_standby is None else not_negative(pack_standby, "W", "pack_standby"),
    }
