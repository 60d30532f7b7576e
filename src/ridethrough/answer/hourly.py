"""Load and unit in a room whose temperature changes: hour by hour, until what was taken meets what can be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ..estimate import Estimate
from ..model.load import Load
from ..model.room import in_room
from ..model.unit import BackupUnit
from ..units import Q_, Refusal
from .ledger import ledger
from .outage import Outage


@dataclass(frozen=True)
class Emptying:
    """A unit that empties hour by hour while its room changes; make it with `hour_by_hour`.

    Parameters
    ----------
    used, used_warm : tuple of Estimate
        Energy that load and unit have taken at the full hours, one more than there are hours; with the unit in the
        warm it has no heater to feed [Wh].
    usable : tuple of Estimate
        What the unit gives in all with its cells as cold as in each hour [Wh].
    warm : Estimate
        What it gives in all at the temperature it is known for [Wh].
    """

    used: tuple[Estimate, ...]
    used_warm: tuple[Estimate, ...]
    usable: tuple[Estimate, ...]
    warm: Estimate

    @cached_property
    def ends(self) -> Estimate:
        """When what was used meets what is usable in that hour [h]."""
        return _meets(self.used, self.usable)

    @cached_property
    def ends_warm(self) -> Estimate:
        """When it would, with the unit in the warm and the load where it is [h]."""
        return _meets(self.used_warm, [self.warm] * len(self.usable))

    def __repr__(self) -> str:
        return f"<Emptying over {len(self.usable)} hours>"


def _meets(used: Sequence[Estimate], usable: Sequence[Estimate]) -> Estimate:
    """Return when what was used meets what is usable in that hour [h]."""
    for hour, there in enumerate(usable):
        left, asked = there - used[hour], used[hour + 1] - used[hour]
        if left.value < asked.value:
            part = (left / asked).to("1") if left.value.magnitude > 0 else Estimate.exact("0 %").to("1")
            return (part + hour) * Q_(1, "h")
    raise Refusal(
        f"{len(usable)} hours, after which the unit is not empty", "more of them", "Give more hours in room_c."
    )


def hour_by_hour(load: Load, unit: BackupUnit, room_c: ArrayLike, *, start: Any = "100 %") -> Emptying:
    """Return how a unit empties, load and unit in a room whose temperature changes from hour to hour.

    used(n) = sum of what load and unit take in the hours before n                            (1)

    Parameters
    ----------
    load : Load
        One cold appliance, with the room it was measured in [W].
    unit : BackupUnit
        In the same room, its cells as warm as the air.
    room_c : array of shape (n,)
        Mean temperature of each hour [degC].
    start : Estimate, str or float
        State of charge at the beginning [-].

    Notes
    -----
    The slope of draw against temperature is one number for all hours. Each hour's draw has its own day-to-day spread.
    The cells are taken to be as warm as the air: a heavy battery follows within a day. Lesson 05.
    """
    if load.appliances[0].room is None:
        raise Refusal(f"{load.name} without the room it was measured in", "its temperature",
                      'Write load.in_a_room_of("3 degC", cabinet="freezer").')  # fmt: skip
    accounts, in_the_warm = [], []
    for celsius in np.asarray(room_c, float):
        room = Q_(float(celsius), "degC")
        moved = in_room(load, room=room)
        moved = load.named(load.name) if moved is load else moved  # each hour's draw varies by itself
        accounts.append(ledger(moved, unit, Outage("1 h", start=start, unit_at=room)))
        in_the_warm.append(ledger(moved, unit, Outage("1 h", start=start)))
    used, used_warm = (
        tuple(accumulate((account.needed for account in each), initial=Estimate.exact("0 Wh")))  # (1)
        for each in (accounts, in_the_warm)
    )
    return Emptying(used, used_warm, tuple(account.available for account in accounts), in_the_warm[0].available)
