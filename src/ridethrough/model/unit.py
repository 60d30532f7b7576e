"""A battery unit, known by one of two routes that are never mixed: from print, or from its own run-downs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Protocol

import pint

from ..estimate import Estimate, estimate, not_negative
from ..units import Refusal, positive, show
from .battery import Battery
from .inverter import Inverter
from .load import Load

Entry = tuple[str, Estimate, bool]  # a label, an energy [Wh], and whether it was measured


class Rundowns(Protocol):
    """What a fit of run-downs brings: the energy to share and the standby, both at the outlet."""

    @property
    def energy(self) -> Estimate: ...
    @property
    def standby(self) -> Estimate: ...


@dataclass(frozen=True)
class Printed:
    """The printed route: capacity from the box, every loss on the battery side."""

    battery: Battery
    inverter: Inverter

    side = "battery"

    @property
    def printed(self) -> pint.Quantity:
        """Capacity printed on the box [Wh]."""
        return self.battery.printed

    @property
    def standby(self) -> Estimate:
        """Power with nothing plugged in, from the battery [W]."""
        return self.inverter.standby

    def steps(self, start: Any) -> list[Entry]:
        """Return the printed capacity and what is lost on the way to what is usable [Wh]."""
        return [(label, energy, False) for label, energy in self.battery.steps(start)]

    def losses(self, load: Load, hours: pint.Quantity) -> list[Entry]:
        """Return what the unit itself takes while it carries the load [Wh], negative."""
        conversion = (self.inverter.conversion_loss(load) * hours).to("Wh")
        return [("conversion loss", -conversion, False), (*_standby(self.standby, hours), False)]

    def with_more(self, capacity: pint.Quantity) -> Printed:
        """Return the route with more printed capacity [Wh]."""
        return replace(self, battery=self.battery.with_more(capacity))

    def with_standby(self, standby: Estimate) -> Printed:
        """Return the route with another standby [W] and the same conversion loss."""
        return replace(self, inverter=replace(self.inverter, standby=standby))


@dataclass(frozen=True)
class Measured:
    """The measured route: energy and standby of the run-down line, every number at the outlet.

    Depth of discharge and conversion loss are in the energy already; charging them again is what this route
    leaves no room for.
    """

    printed: pint.Quantity
    energy: Estimate
    standby: Estimate

    side = "outlet"

    def steps(self, start: Any) -> list[Entry]:
        """Return the printed capacity and one line that leads to what was measured at the outlet [Wh].

        usable = E * start                                                                    (1)
        """
        charge = estimate(start, "1", "start")
        printed, usable = Estimate.exact(self.printed), self.energy * charge  # (1)
        return [
            ("printed on the box", printed, False),
            ("printed to measured at the outlet", self.energy - printed, True),
            (f"{show(100 * charge.value, 0)} % full at the start", usable - self.energy, False),
        ]

    def losses(self, load: Load, hours: pint.Quantity) -> list[Entry]:
        """Return what the unit itself takes [Wh], negative; it does not depend on the load."""
        return [(*_standby(self.standby, hours), True)]

    def with_more(self, capacity: pint.Quantity) -> Measured:
        """Return the route with more printed capacity [Wh], taken to deliver the share that was measured."""
        printed = self.printed + capacity
        return replace(self, printed=printed, energy=self.energy * (printed / self.printed))

    def with_standby(self, standby: Estimate) -> Measured:
        """Return the route with another standby at the outlet [W]."""
        return replace(self, standby=standby)


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
    """

    rated: pint.Quantity
    rated_va: pint.Quantity | None = None
    surge: pint.Quantity | None = None

    @classmethod
    def of(cls, rated: Any, rated_va: Any = None, surge: Any = None) -> Ratings:
        """Return the ratings given as text or quantities."""
        return cls(
            positive(rated, "W", "rated"),
            None if rated_va is None else positive(rated_va, "VA", "rated_va"),
            None if surge is None else positive(surge, "W", "surge"),
        )


@dataclass(frozen=True)
class BackupUnit:
    """A battery unit as bought, with its packs.

    Parameters
    ----------
    name : str
        What the kit calls it.
    route : Printed or Measured
        How it is known; packs included.
    ratings : Ratings
        Packs add capacity, never inverter.
    pack : pint.Quantity, optional
        Printed capacity of one more pack [Wh]; None if no packs are known.
    packs_max : int
        How many packs can be added [-].
    packs : int
        How many are added [-].
    """

    name: str
    route: Printed | Measured
    ratings: Ratings
    pack: pint.Quantity | None = None
    packs_max: int = 0
    packs: int = 0

    @classmethod
    def from_print(
        cls, name: str, *, capacity: Any, chemistry: str, standby: Any, rated: Any, efficiency: Any, at: Any = None,
        rated_va: Any = None, surge: Any = None, depth_of_discharge: Any = None, pack: Any = None, packs_max: int = 0,
    ) -> BackupUnit:  # fmt: skip
        """Return the unit that box and data sheet describe.

        Parameters
        ----------
        name : str
            What the kit calls it.
        capacity : str or pint.Quantity
            Printed capacity [Wh].
        chemistry : str
            One of `battery.CHEMISTRIES`.
        standby : Estimate, str or pint.Quantity
            Power from the battery with nothing plugged in [W].
        rated : str or pint.Quantity
            Largest steady power at the outlet [W].
        efficiency, at : Estimate, str or pint.Quantity
            Outlet over battery power [-], and the load at which it holds [W].
        rated_va, surge : str or pint.Quantity, optional
            Largest steady apparent power [VA], largest power in a start [W].
        depth_of_discharge : Estimate, str or float, optional
            Usable share [-]; else the table's band for the chemistry.
        pack : str or pint.Quantity, optional
            Printed capacity of one pack [Wh].
        packs_max : int
            How many can be added [-].

        Example
        -------
        >>> BackupUnit.from_print("mine", capacity="1.2 kWh", chemistry="iron phosphate", standby="9 W",
        ...                       rated="800 W", efficiency="88 %", at="300 W")
        <BackupUnit 'mine': 1,200 Wh printed, standby 9 W at the battery>
        """
        route = Printed(
            Battery.from_print(capacity, chemistry, depth_of_discharge),
            Inverter.from_efficiency(standby, efficiency, at, rated),
        )
        ratings = Ratings.of(rated, rated_va, surge)
        return cls(name, route, ratings, None if pack is None else positive(pack, "Wh", "pack"), packs_max)

    @classmethod
    def from_rundowns(
        cls, name: str, line: Rundowns, *, printed: Any, rated: Any, rated_va: Any = None, surge: Any = None,
        pack: Any = None, packs_max: int = 0,
    ) -> BackupUnit:  # fmt: skip
        """Return the unit as its own run-downs measured it.

        Parameters
        ----------
        name : str
            What the kit calls it.
        line : RundownLine
            From `fit_rundowns`: energy [Wh] and standby [W], both at the outlet.
        printed : str or pint.Quantity
            Printed capacity of what was tested [Wh].
        rated, rated_va, surge, pack, packs_max
            As in `from_print`.
        """
        route = Measured(positive(printed, "Wh", "printed"), line.energy.to("Wh"), line.standby.to("W"))
        ratings = Ratings.of(rated, rated_va, surge)
        return cls(name, route, ratings, None if pack is None else positive(pack, "Wh", "pack"), packs_max)

    @property
    def printed(self) -> pint.Quantity:
        """Capacity printed on the box, packs included [Wh]."""
        return self.route.printed

    @property
    def standby(self) -> Estimate:
        """Power with nothing plugged in, on the side of the route [W]."""
        return self.route.standby

    @property
    def inverter(self) -> Inverter:
        """The loss curve of the printed route; a measured unit has its losses in its energy instead."""
        if isinstance(self.route, Measured):
            raise Refusal(
                f"the loss curve of {self.name}, which was measured by run-downs",
                "a unit from print",
                "Its conversion loss is part of the measured energy; charging it again would count it twice.",
            )
        return self.route.inverter

    def with_packs(self, count: int) -> BackupUnit:
        """Return the unit with ``count`` more packs: more capacity, the same inverter and standby.

        Raises
        ------
        Refusal
            If the unit takes no packs or not so many.
        """
        if not isinstance(count, int) or isinstance(count, bool) or count < 0:
            raise Refusal(f"{count!r} packs", "a whole number of zero or more", "Write unit.with_packs(1).")
        room = self.packs_max - self.packs if self.pack is not None else 0
        if count > room:
            raise Refusal(
                f"{count} more packs on {self.label}",
                f"at most {room} more",
                f"Write .with_packs({room}) or take a larger unit.",
            )
        if not count or self.pack is None:
            return self
        return replace(self, route=self.route.with_more(count * self.pack), packs=self.packs + count)

    def with_standby(self, standby: Any) -> BackupUnit:
        """Return the unit with another standby [W], on the same side, and nothing else changed."""
        return replace(self, route=self.route.with_standby(not_negative(standby, "W", "standby")))

    @property
    def label(self) -> str:
        """Name, and packs where there are some: "Unit B with 1 pack"."""
        return self.name if not self.packs else f"{self.name} with {self.packs} pack{'s' if self.packs > 1 else ''}"

    def __repr__(self) -> str:
        return (
            f"<BackupUnit {self.label!r}: {show(self.printed)} printed, "
            f"standby {show(self.standby.value)} at the {self.route.side}>"
        )


def _standby(standby: Estimate, hours: pint.Quantity) -> tuple[str, Estimate]:
    return f"standby, {show(hours)} x {show(standby.value)}", -(standby * hours).to("Wh")
