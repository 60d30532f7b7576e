"""What a battery's rows are on their way: what changes, what stays within a stretch, and what goes in and out."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, NamedTuple

import numpy as np

Array = np.ndarray


@dataclass
class State:
    """What changes on the way, arrays of shape (rows,); from ``rate`` on sums over the outage [Wh].

    Parameters
    ----------
    charge : array
        Charge, what is out of reach included [Wh].
    on, full : arrays
        Whether the unit is on, and whether a generator that runs until it is full has stopped.
    empty_h, cold_h : array
        When it ran empty first, inf for never; how long cells must still be warmed until they take charge [h].
    rate : array
        What left the battery beyond what it gave, as it was asked fast.
    unserved : array
        What of all that was asked did not come.
    direct, stored, charge_loss, spilled : array
        What flowed in: straight to the load, into the battery, lost on the way there, and without room.
    loads : array of shape (appliances, rows)
        What each appliance asked of the unit.
    asked, own, heater : array
        All that was asked, what the unit took for itself, its heater's included, and the heater's alone.
    kept_back : array
        What cells that became colder or warmer took or gave, and what went to fill a charge up to its floor.
    ran, made : array
        How long a generator ran [h], and what it made, at its own outlet.
    """

    charge: Array
    on: Array
    full: Array
    empty_h: Array
    cold_h: Array
    rate: Array
    unserved: Array
    direct: Array
    stored: Array
    charge_loss: Array
    spilled: Array
    loads: Array
    asked: Array
    own: Array
    heater: Array
    kept_back: Array
    ran: Array
    made: Array

    @classmethod
    def begun(cls, charge: Array, appliances: int) -> State:
        """Return the state before anything came."""
        rows, names = charge.size, [each.name for each in fields(cls)]
        none = {name: np.zeros((appliances, rows) if name == "loads" else rows) for name in names}
        return cls(**none | {"charge": charge, "on": np.ones(rows, bool), "full": np.zeros(rows, bool),
                             "empty_h": np.full(rows, np.inf)})  # fmt: skip

    def part(self, who: Any) -> State:
        """Return a copy of some rows."""
        return State(*(np.array(each[..., who]) for each in vars(self).values()))

    def put(self, who: Any, other: State) -> None:
        """Take some rows over from another."""
        for mine, theirs in zip(vars(self).values(), vars(other).values(), strict=True):
            mine[..., who] = theirs


class Fixed(NamedTuple):
    """What stays as it is within a stretch, arrays of shape (rows,).

    Parameters
    ----------
    full_wh, floor_wh, restart_wh : array
        Charge when full, below which none is given, and above that from which an empty unit turns on again [Wh].
    lift, heater_w, warming_h : array
        As in `Own`, and how long cells are warmed that took the cold of the room [h].
    limit_w, slack_h : array
        The most that a charger takes [W], and the gap to full within which it takes less, over what it takes [h].
    reference_w, exponent : array
        As in `drained_w` [W, -].
    best : array of bool
        Whether the row is the best estimate.
    """

    full_wh: Array
    floor_wh: Array
    restart_wh: Array
    lift: Array
    heater_w: Array
    warming_h: Array
    limit_w: Array
    slack_h: Array
    reference_w: Array
    exponent: Array
    best: Array


class Powers(NamedTuple):
    """What goes in and out, arrays of shape (rows,) or (steps, rows).

    Parameters
    ----------
    missed : array
        What load and unit ask and don't get [W].
    direct, lacks, gives : array
        What of it flows in, what does not, and what of that the battery gives [W].
    falls : array
        What leaves the charge meanwhile [W].
    offered, idle : array
        What flows in [W], and the share of it that comes whether it is taken or not [-].
    takes, kept : array
        What of a surplus a charger takes that is far from full [W], and the share of it that comes into the charge [-].
    """

    missed: Array
    direct: Array
    lacks: Array
    gives: Array
    falls: Array
    offered: Array
    idle: Array
    takes: Array
    kept: Array
