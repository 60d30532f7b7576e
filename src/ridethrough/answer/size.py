"""How big: backward from the outage to the printed capacity, and to packs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pint

from ..model.load import Load
from ..model.unit import BackupUnit
from ..sources import lookup
from ..units import Q_, Refusal, number, show
from .headroom import Finding, headroom
from .ledger import Ledger, ledger, plugged
from .outage import Outage

LARGE = 1e6  # degrees of freedom and sizes beyond which nothing changes


@dataclass(frozen=True)
class Size:
    """What an outage asks for; make it with `size`.

    Parameters
    ----------
    printed : pint.Quantity
        The capacity that a box with the losses of ``like`` must have printed on it [Wh].
    packs : int or None
        The fewest packs on ``like`` that do; None where even all of them do not [-].
    account : Ledger
        The account with these packs, or with all of them.
    confidence : float
        The chance to last that was asked for [-].
    inverter : str
        The worst that `headroom` finds; with "does not carry it" no number of packs does.
    """

    printed: pint.Quantity
    packs: int | None
    account: Ledger
    confidence: float
    inverter: str

    def __repr__(self) -> str:
        unit, outage = self.account.unit, self.account.outage
        short = "does not carry the load" if self.inverter == "does not carry it" else "does not, and takes no more"
        fits = f"{unit.label} {short}" if self.packs is None else f"{unit.label} does"
        return (f"<Size for {show(outage.duration)} at {100 * self.confidence:.0f} %: "
                f"{show(self.printed, 0)} printed; {fits}>")  # fmt: skip


def size(load: Load, outage: Any, *, like: BackupUnit, confidence: float | None = None) -> Size:
    """Return how much capacity must be printed on a box like this one, and how many packs that takes.

    chance(printed) = confidence, solved for the printed capacity                             (1)

    Parameters
    ----------
    load : Load
        What is plugged in [W].
    outage : Outage, str or pint.Quantity
        The outage, or its length [h].
    like : BackupUnit
        A unit whose standby, conversion and battery are taken as they are; only its capacity varies.
    confidence : float, optional
        The chance to last and keep the reserve [-]; from where the verdict is covered, where left out.

    Raises
    ------
    Refusal
        If the outage has recharge, or no capacity is large enough.

    Notes
    -----
    A larger box mostly comes with a larger standby: the printed capacity is for one that does not. Lesson 07.

    Example
    -------
    >>> unit = BackupUnit.from_print("mine", capacity="1 kWh", chemistry="iron phosphate", standby="10 W",
    ...                              rated="500 W", efficiency="80 %", at="100 W", depth_of_discharge="100 %",
    ...                              pack="800 Wh", packs_max=2)
    >>> size(Load.steady("100 W"), "12 h", like=unit)
    <Size for 12 h at 90 %: 1,500 Wh printed; mine with 1 pack does>
    """
    plugged(load, like)
    when = Outage.of(outage)
    aim = lookup("covered from").value if confidence is None else number(confidence, "1", "confidence")
    if not 0 < aim < 1:
        raise Refusal(f"confidence={confidence}", "a chance between 0 and 1", "Write confidence=0.9.")
    accounts = [ledger(load, like.with_packs(n), when) for n in range(like.packs_max - like.packs + 1)]
    if not accounts[0].needed.value.magnitude:
        raise Refusal("no load and no standby", "something that takes energy", "Plug in a load, or give the standby.")
    checks = headroom(accounts[0].load, like)
    found: list[Finding] = [check.finding for check in checks]
    worst = next((each for each in ("does not carry it", "not checked") if each in found), "carries it")
    able = worst != "does not carry it"
    fewest = next((n for n, account in enumerate(accounts) if able and account.chance >= aim), None)
    return Size(_printed(load, when, like, aim), fewest, accounts[-1 if fewest is None else fewest], aim, worst)


def _printed(load: Load, outage: Outage, like: BackupUnit, aim: float) -> pint.Quantity:
    """Return (1) of `size` [Wh]: where what is left, less its width at that chance, is zero."""
    from scipy.optimize import brentq
    from scipy.special import stdtrit

    now = float(like.printed.magnitude)

    def spare(printed_wh: float) -> float:
        """Return what is left beyond the width that the chance asks for [Wh]."""
        left = ledger(load, like.with_capacity(Q_(printed_wh, "Wh")), outage).left
        return float(left.value.magnitude) + float(stdtrit(min(left.dof, LARGE), 1 - aim)) * float(left.u.magnitude)

    most = now
    while spare(most) < 0:
        most *= 2
        if most > LARGE * now:
            raise Refusal(
                f"{show(outage.duration)} on a box like {like.name}",
                "a load and a start that some box can carry",
                "Look at outage.start and outage.unit_at.",
            )
    least = most / 2
    while spare(least) > 0:
        least /= 2
    return Q_(float(brentq(spare, least, most)), "Wh")
