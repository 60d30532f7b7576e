"""A battery unit: battery, inverter and the packs that can be added."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import pint

from ..estimate import estimate
from ..units import Refusal, quantity, show
from .battery import Battery
from .inverter import Inverter


@dataclass(frozen=True)
class BackupUnit:
    """A battery unit as bought, with its packs.

    Parameters
    ----------
    name : str
        What the kit calls it.
    battery : Battery
        Packs included.
    inverter : Inverter
        Packs add capacity, never inverter.
    pack : pint.Quantity, optional
        Printed capacity of one more pack [Wh]; None if no packs are known.
    packs_max : int
        How many packs can be added [-].
    packs : int
        How many are added [-].
    """

    name: str
    battery: Battery
    inverter: Inverter
    pack: pint.Quantity | None = None
    packs_max: int = 0
    packs: int = 0

    @classmethod
    def from_print(
        cls,
        name: str,
        *,
        capacity: Any,
        chemistry: str,
        standby: Any,
        rated: Any,
        efficiency: Any,
        at: Any = None,
        rated_va: Any = None,
        surge: Any = None,
        depth_of_discharge: Any = None,
        pack: Any = None,
        packs_max: int = 0,
    ) -> BackupUnit:
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
        <BackupUnit 'mine': 1,200 Wh printed, standby 9 W>
        """
        return cls(
            name,
            Battery.from_print(capacity, chemistry, depth_of_discharge),
            Inverter.from_efficiency(standby, efficiency, at, rated, rated_va=rated_va, surge=surge),
            None if pack is None else quantity(pack, "Wh", "pack"),
            packs_max,
        )

    def with_packs(self, count: int) -> BackupUnit:
        """Return the unit with ``count`` more packs: more capacity, the same inverter and standby.

        Raises
        ------
        Refusal
            If the unit takes no packs or not so many.
        """
        if not isinstance(count, int) or count < 0:
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
        return replace(self, battery=self.battery.with_more(count * self.pack), packs=self.packs + count)

    def with_standby(self, standby: Any) -> BackupUnit:
        """Return the unit with another standby [W] and the same conversion loss."""
        return replace(self, inverter=replace(self.inverter, standby=estimate(standby, "W", "standby")))

    @property
    def label(self) -> str:
        """Name, and packs where there are some: "Unit B with 1 pack"."""
        return self.name if not self.packs else f"{self.name} with {self.packs} pack{'s' if self.packs > 1 else ''}"

    def __repr__(self) -> str:
        return (
            f"<BackupUnit {self.label!r}: {show(self.battery.printed)} printed, "
            f"standby {show(self.inverter.standby.value)}>"
        )
