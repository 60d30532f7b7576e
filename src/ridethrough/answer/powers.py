"""What goes in and out of a battery while nothing turns: some rows in some steps, at constant power."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from ..model.battery import drained_w
from ..model.charger import LEAST
from .case import Case
from .stretches import Stretch


class Powers(NamedTuple):
    """What goes in and out, on the side of the route, arrays of shape (rows,) or (steps, rows); make it with `powers`.

    Parameters
    ----------
    missed : array
        What load and unit ask and don't get [W].
    direct, lacks, gives : array
        What of it flows in, what does not, and what of that the battery gives [W].
    falls : array
        What leaves the charge meanwhile [W].
    offered, idle : array
        What flows in [W], and the share of it that comes whether it is taken or not, one number if one source [-].
    takes, kept : array
        What of a surplus a charger takes that is far from full [W], and the share of it that comes into the charge [-].
    slack_h : array of shape (rows,)
        Gap to full within which a charger takes less, over what it takes [h].
    """

    missed: np.ndarray
    direct: np.ndarray
    lacks: np.ndarray
    gives: np.ndarray
    falls: np.ndarray
    offered: np.ndarray
    idle: np.ndarray | float
    takes: np.ndarray
    kept: np.ndarray
    slack_h: np.ndarray


def powers(case: Case, stretch: Stretch, step: Any, who: Any, *, on: np.ndarray, awake: np.ndarray,
           warm: np.ndarray) -> Powers:  # fmt: skip
    """Return what goes in and out of some rows in one step of a stretch, or in all.

    Parameters
    ----------
    step, who
        Which: index of the step, indices of the rows; a slice for all.
    on, awake, warm : arrays of bool
        Which of these rows ask at all, have a charge to give, and may be charged.
    """

    def of(table: np.ndarray) -> np.ndarray:
        return table[0, who] if len(table) == 1 else table[step, who]

    asked, drained, lift, none = of(stretch.asked_w), of(stretch.drained_w), stretch.own.lift[who], np.zeros(on.size)
    if stretch.flow is None:
        gives = _where(awake, asked)
        falls = _where(awake, drained) / lift
        return Powers(none if awake.all() else asked - gives, none, asked, gives, falls, none, none, none, none, none)
    offered, limit = of(stretch.flow.power_w), case.limit_w[who]
    asks = _where(on, asked)
    net = _where(warm, offered) - asks
    takes = np.minimum(np.maximum(net, 0), limit) if net.max() > 0 else none
    lacks = np.maximum(-net, 0) if net.min() < 0 else none
    gives, falls, direct = _where(awake, lacks), none, asks - lacks
    if lacks is not none:
        part, (reference, exponent, least) = gives / np.maximum(asked, LEAST), case.rate
        falls = drained_w(gives, of(stretch.rate_w) * part, reference[who], exponent[who], least) / lift
        if stretch.cycles:
            falls = np.where(np.arange(case.rows)[who] == 0, part * drained / lift, falls)
    missed = none if awake.all() else np.where(awake, 0.0, asked - direct - gives)
    idle = of(stretch.flow.idle) if isinstance(stretch.flow.idle, np.ndarray) else stretch.flow.idle
    return Powers(missed, direct, lacks, gives, falls, offered, idle, takes,
                  of(stretch.flow.efficiency) / lift, case.tapers_wh[who] / np.maximum(limit, LEAST))  # fmt: skip


def _where(mask: np.ndarray, power: np.ndarray) -> np.ndarray:
    """Return a power in the rows that have it, else 0."""
    return power if mask.all() else np.where(mask, power, 0.0)
